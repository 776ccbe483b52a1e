-- What people said is looked for before every frame, by its word.

CREATE INDEX note_of_word ON note (word, number);
