"""Documents are read strictly: architecture rule for YAML (our own), against YAML 1.1's known surprises."""

from pathlib import Path

import pytest
from pydantic import Field

from duskhold.app.document import SIZE_MAX_BYTES, DocumentWrong, Part, load, read_document


class Inner(Part):
    name: str
    stops: float = Field(ge=0, le=20)


class Outer(Part):
    wanted: bool = False
    count: int = 1
    rate: float = 0.0
    text: str = ""
    inner: Inner | None = None
    many: tuple[Inner, ...] = ()


def written(folder: Path, text: str) -> Path:
    path = folder / "thing.yaml"
    path.write_text(text)
    return path


def complaint(folder: Path, text: str) -> str:
    path = written(folder, text)
    with pytest.raises(DocumentWrong) as caught:
        load(path, Outer)
    message = str(caught.value)
    assert message.startswith(f"{path}, line ")
    return message.removeprefix(f"{path}, line ")


def test_plain_values(tmp_path: Path) -> None:
    many = "many:\n  - {name: one, stops: 6.2}\n  - {name: two, stops: .5}\n"
    outer = load(written(tmp_path, "wanted: true\ncount: -3\nrate: 1\ntext: a word\n" + many), Outer)
    assert (outer.wanted, outer.count, outer.rate, outer.text) == (True, -3, 1.0, "a word")
    assert outer.many == (Inner(name="one", stops=6.2), Inner(name="two", stops=0.5))


@pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n"])
def test_an_empty_document_has_every_default(tmp_path: Path, text: str) -> None:
    assert load(written(tmp_path, text), Outer) == Outer()


# YAML 1.1 (yaml.org/type/bool.html, int.html, timestamp.html) would read every one of these as no text.
@pytest.mark.parametrize(
    "word",
    [
        "yes",
        "no",
        "on",
        "off",
        "True",
        "NO",
        "17:30",
        "1:30.5",
        "2026-10-14",
        "010",
        "0x1F",
        "1_000",
        ".inf",
        ".nan",
    ],
)
def test_words_that_stay_text(tmp_path: Path, word: str) -> None:
    assert load(written(tmp_path, f"text: {word}"), Outer).text == word


@pytest.mark.parametrize(("word", "number"), [("0", 0.0), ("-0.5", -0.5), ("+2.", 2.0), ("1e-3", 1e-3), (".25", 0.25)])
def test_numbers(tmp_path: Path, word: str, number: float) -> None:
    assert load(written(tmp_path, f"rate: {word}"), Outer).rate == number


UNKNOWN_OUTER = "is not known here (did you mean rate?); known are wanted, count, rate, text, inner, many"
UNKNOWN_INNER = "is not known here (did you mean stops?); known are name, stops"
INDENTED = "this line is indented differently from the fields beside it"
QUOTES = "text with a colon needs quotes"
NOT_CLOSED = "that begins here is never closed, or lacks a comma"
NO_ALIASES = "anchors and aliases (& and *) are not used here; write it out"
TWO = "many:\n- name: a\n  stops: 1\n- name: b"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("wanted: yes", "1: wanted: must be true or false, not 'yes'"),
        ("\n\nrate: fast", "3: rate: must be a number, not 'fast'"),
        ("rate: true", "1: rate: must be a number, not true"),
        ("count: 1.5", "1: count: must be a whole number, not 1.5"),
        ("count: 17:30", "1: count: must be a whole number, not '17:30'"),
        ("text: 5", "1: text: must be text, not 5"),
        ("text:", "1: text: must be text, not empty"),
        ("rate: 1e999", "1: rate: must be a finite number, not inf"),
        ("many: 3", "1: many: must be a list, not 3"),
        ("inner: [1]", "1: inner: must be a group of fields, not a list"),
        ("inner:\n  name: a\n  stops: 21", "3: inner.stops: must be at most 20, not 21"),
        (TWO + "\n  stops: -1", "5: many[1].stops: must be at least 0, not -1"),
        (TWO, "4: many[1].stops: is missing"),
        ("count: 1\nrat: 2", f"2: rat: {UNKNOWN_OUTER}"),
        ("many:\n- stop: 1\n  stops: 1\n  name: a", f"2: many[0].stop: {UNKNOWN_INNER}"),
        ("inner:\n  zzz: 1\n  name: a\n  stops: 1", "2: inner.zzz: is not known here; known are name, stops"),
        ("count: 1\nrate: 0\ncount: 2", "3: count: stands here twice, first on line 1"),
        ("inner: {name: a, stops: 1, name: b}", "1: inner.name: stands here twice, first on line 1"),
        ("- 1\n- 2", "1: the document must be a group of fields"),
        ("just words", "1: the document must be a group of fields"),
        ("1: one", "1: the name of a field must be text, not '1'"),
        ("true: one", "1: the name of a field must be text, not 'true'"),
        ("inner: &x {name: a, stops: 1}\nmany: [*x]", f"1: many[0]: {NO_ALIASES}"),
        ("text: !!python/name:os.system x", "1: text: tags (!) are not used here"),
        ("inner: !thing {name: a, stops: 1}", "1: inner: tags (!) are not used here"),
        ("count: !!int abc", "1: count: cannot be read: invalid literal for int() with base 10: 'abc'"),
        ("wanted: !!bool yes", "1: wanted: must be true or false, not empty"),
        ("count: 1\n--- \ncount: 2", "2: this is not YAML: a second document begins here; a file has one"),
        ("rate: 1\ncount: [1\nmany: 2", f"2: this is not YAML: a list {NOT_CLOSED}"),
        ("rate: 1\ncount: {a: 1\nmany: 2", f"2: this is not YAML: a group {NOT_CLOSED}"),
        ("rate: 1\ntext: \"a\ncount: 2\n", "2: this is not YAML: a quote that begins here is never closed"),
        ("inner:\n\tname: 1", "2: this is not YAML: a tab stands here; indent with spaces"),
        ("inner:\n  name: a\n   stops: 1", f"3: this is not YAML: {INDENTED}, or has a second colon: {QUOTES}"),
        ("inner:\n    name: a\n  stops: 1", f"3: this is not YAML: {INDENTED}, or something before it is not closed"),
        ("text: Loch: at dusk", f"1: this is not YAML: {INDENTED}, or has a second colon: {QUOTES}"),
        ("text: @here", "1: this is not YAML: text that begins with such a sign needs quotes"),
        ("count: 1\nrate\ninner: {}", "2: this is not YAML: a field has no colon after its name"),
        ("text: *x", "1: this is not YAML: found undefined alias 'x'"),
        (f"count: {'x' * 400}", f"1: count: must be a whole number, not '{'x' * 59}…"),
        ("count: 1\ntext: \x07", "2: there is a character here that YAML does not allow"),
    ],
)  # fmt: skip
def test_complaints_name_line_field_and_what_is_allowed(tmp_path: Path, text: str, expected: str) -> None:
    assert complaint(tmp_path, text) == expected


def test_every_complaint_is_told_in_the_order_of_the_lines(tmp_path: Path) -> None:
    with pytest.raises(DocumentWrong) as caught:
        load(written(tmp_path, "rate: x\ncount: y\nwanted: 1\n"), Outer)
    assert [(one.line, one.field) for one in caught.value.problems] == [
        (1, "rate"),
        (2, "count"),
        (3, "wanted"),
    ]


def test_aliases_cannot_blow_up(tmp_path: Path) -> None:
    layers = ["a0: &a0 [x, x]"] + [f"a{n}: &a{n} [*a{n - 1}, *a{n - 1}]" for n in range(1, 60)]
    assert "anchors and aliases" in complaint(tmp_path, "\n".join(layers))


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / "thing.yaml"
    path.write_bytes(b"count: 1\ntext: \xff\n")
    with pytest.raises(DocumentWrong, match="line 2: this is not text in UTF-8"):
        read_document(path)


def test_a_file_that_is_too_large(tmp_path: Path) -> None:
    assert "larger than" in complaint(tmp_path, "#" * (SIZE_MAX_BYTES + 1))


def test_a_missing_file_is_the_systems_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        read_document(tmp_path / "none.yaml")
