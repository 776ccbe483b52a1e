"""What the page says beside the frames: why the evening ended, what was asked and came of it, what was lost and why."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import html5lib
import pytest

from duskhold.app.evening_account import account_of, accounts_of
from duskhold.app.evening_record import EveningRecord
from duskhold.frames.account import Account
from duskhold.frames.evening import Evening
from duskhold.frames.page import page_html
from duskhold.journal.entry import Frame, Intent, Note, Stamp
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Event, Said, Ticked, Word

START = datetime(2027, 3, 9, 18, 40, tzinfo=UTC)
TOLD: list[tuple[float, Event | str, str]] = [
    (0, "begin", "begins"),
    (1, "trouble", "no word of a coming sleep: that lost nothing"),
    (10, "prompt", "take off the six, then say done"),
    (190, "unanswered", "nobody answered: take off the six"),
    (250, Said(Word.DONE), ""),
    (255, "denied", "the six still on (-6.1 stop)"),
    (280, Said(Word.DONE), ""),
    (285, "verified", "the pixels say that it is done"),
    (300, "picture_fault", "moved 3.0 px: the tripod has sunk <1 mm>"),
    (400, "held", "link: the camera does not answer; say resume to go on"),
    (460, Ticked(), ""),
    (465, "held", "2 spots: drops on the glass: look, then say resume"),
    (500, Said(Word.RESUME), ""),
    (600, "prompt", "fit the three"),
    (610, "held", "held: say resume to go on"),
    (620, Said(Word.RESUME), ""),
    (640, "held", "dew: look, then say resume"),
    (700, "stop", "time to pack"),
    (701, "stop", "another reason, too late"),
    (705, "ended", "time to pack"),
]


def kept(journal: Journal, until_s: float = 1e9) -> None:
    record = EveningRecord.begin(journal, "dusk", "usb", "name: dusk", Stamp(START, 0.0, "boot"))
    for at_s, what, line in TOLD:
        if at_s > until_s:
            return
        at = Stamp(START + timedelta(seconds=at_s), at_s, "boot")
        if isinstance(what, str):
            journal.note(record.note_of(what, line, {"reason": "leave_by"}), at)
        else:
            record.keep(what, at.utc, at)
    journal.note(Note("evening_stop", {"evening_id": "dawn", "line": "of another evening"}), Stamp(START, 0.0, "boot"))


@pytest.fixture
def account(tmp_path: Path) -> Account:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        kept(journal)
        return account_of(journal, "dusk")


def test_why_it_ended_and_what_was_asked_and_lost(account: Account) -> None:
    assert account.sentences() == [
        "The series ended at 18:51:40: time to pack (leave by).",
        "18:40:10 take off the six: nobody had answered by 18:43:10, answered 18:44:10, "
        "denied by the pixels 18:44:15 (the six still on (-6.1 stop)), answered 18:44:40, "
        "proven by the pixels 18:44:45.",
        "18:50:00 fit the three: never answered.",
        "18:45:00 moved 3.0 px: the tripod has sunk <1 mm>.",
        "18:46:40 to 18:48:20 (1:40), held: 2 spots: drops on the glass.",
        "18:50:10 to 18:50:20 (0:10), held: somebody said hold.",
        "18:50:40 to 18:51:40 (1:00), held: dew.",
    ]


def test_the_same_for_programs(account: Account) -> None:
    body = account.body()
    assert body["stop"] == {"reason": "leave_by", "line": "time to pack", "at_utc": "2027-03-09T18:51:40.000Z"}
    prompts = body["prompts"]
    assert isinstance(prompts, list) and [step["word"] for step in prompts[0]["course"]] == [
        "unanswered", "answered", "denied", "answered", "verified",
    ]  # fmt: skip


def test_one_that_has_not_ended_says_so(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        kept(journal, until_s=470.0)
        account = account_of(journal, "dusk")
    assert account.ending() == "The series has not come to its end: its program ended before it."
    assert account.sentences()[-1] == "18:46:40 to the end, held: 2 spots: drops on the glass."
    assert account.body()["stop"] is None


def test_every_evening_of_the_days_frames_has_its_own(tmp_path: Path) -> None:
    intents = [
        Intent(str(number), "usb", "long", "held", 1.0, 6.0, {} if name is None else {"evening_id": name})
        for number, name in enumerate(("dusk", None, "dusk", "dawn"))
    ]
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        kept(journal)
        found = accounts_of(journal, [Frame(one, Stamp(START, 0.0, "boot"), None) for one in intents])
    assert [(one.evening_id, one.line) for one in found] == [("dusk", "time to pack"), ("dawn", "of another evening")]


def test_the_page_has_it_in_plain_lines(account: Account) -> None:
    page = page_html(Evening(f"Evening of {date(2027, 3, 9)}", (), accounts=(account,)))
    html5lib.HTMLParser(strict=True).parse(page)
    assert "<p>The series ended at 18:51:40: time to pack (leave by).</p>" in page
    assert "<li>18:50:00 fit the three: never answered.</li>" in page
    assert "the tripod has sunk &lt;1 mm&gt;" in page
    assert page.index("Asked of a person") < page.index("Losses and causes") < page.index("Frames</h2>")
