"""The line of a running evening, and the keys that say words to it."""

from __future__ import annotations

import io
import os
import pty
import queue
import re
import termios
from dataclasses import replace
from datetime import timedelta

import pytest
from evening_bench import BEGUN_UTC, VIEW

from duskhold.faces.evening_screen import KEYS, LEGEND, EveningScreen, Keys, legend
from duskhold.faces.tell import SAID
from duskhold.faces.telling import Once
from duskhold.plan.evening_view import Phase
from duskhold.plan.evening_words import Ended, Ring, Take, Tell, Urgency, Word
from duskhold.plan.role import Role

OPEN = replace(VIEW, phase=Phase.OPEN, role="long", frames_done=3)


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_what_the_evening_says_goes_above_the_line() -> None:
    out = Terminal()
    screen = EveningScreen(out)
    screen.told(Tell("verified", "the pixels say that it is done", {}))
    screen.told(Tell("alarm", "0.001 s late", {}))
    screen.told(Ring(Urgency.LEAVE, "time to pack"))
    screen.told(Ended("leave_by", "it is time to pack"))
    screen.sound()
    said = out.getvalue()
    assert "  the pixels say that it is done\n" in said and "! LEAVE: time to pack" in said
    assert "over: it is time to pack" in said
    assert "late" not in said
    assert said.endswith("\a")


def test_what_was_rung_is_not_said_again() -> None:
    out = Terminal()
    screen = EveningScreen(out)
    screen.told(Ring(Urgency.DO, "fit the six, then say done"))
    screen.told(Tell("prompt", "fit the six", {}))
    screen.told(Ring(Urgency.FAILED, "the lead came off"))
    screen.told(Tell("held", "the lead came off", {}))
    assert len(out.getvalue().splitlines()) == 2


def test_what_was_rung_a_while_ago_is_said_when_it_comes_again() -> None:
    once = Once()
    assert once.said("ring", "held: say resume to go on") is not None
    assert once.said("held", "say resume to go on") is None
    assert once.said("person", "resume") == "resume"
    assert once.said("held", "say resume to go on") == "say resume to go on"
    out = Terminal()
    screen = EveningScreen(out)
    screen.told(Ring(Urgency.FAILED, "started again; say resume to go on"))
    screen.told(Tell("person", "hold", {}))
    screen.told(Tell("held", "say resume to go on", {}))
    assert len(out.getvalue().splitlines()) == 2


def test_where_there_is_no_terminal_lines_are_written_with_their_time_and_nothing_sounds() -> None:
    out = io.StringIO()
    screen = EveningScreen(out)
    screen.follow(VIEW, BEGUN_UTC)
    screen.seen({"phase": "open", "closes_in_s": 5.0})
    screen.told(Ring(Urgency.DO, "fit the six, then say done"))
    screen.told(Take(Role.LONG, 95.0, 100.0, None, ("six",), "f/11", "100", {}))
    screen.told(Tell("frame", "long cut_short: a person said so", {}))
    screen.sound()
    with screen.shown():
        pass
    lines = out.getvalue().splitlines()
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ  .+", line) for line in lines)
    assert [line[22:] for line in lines] == [
        "! DO: fit the six, then say done", "long frame opens, 1:35 behind six", "long cut short: a person said so",
    ]  # fmt: skip


def test_a_terminal_that_went_away_ends_what_is_shown_and_nothing_else() -> None:
    class Gone(Terminal):
        def write(self, text: str) -> int:
            raise OSError(5, "Input/output error")

    screen = EveningScreen(Gone())
    screen.follow(OPEN, BEGUN_UTC)
    with screen.shown():
        screen.told(Ring(Urgency.DO, "fit the six"))
        screen.sound()


def test_the_line_is_drawn_while_it_runs() -> None:
    out = Terminal()
    screen = EveningScreen(out)
    screen.follow(replace(OPEN, until_utc=BEGUN_UTC + timedelta(seconds=30)), BEGUN_UTC)
    screen.seen({"phase": "open", "closes_in_s": 29.0})
    with screen.shown():
        for _ in range(100):
            if "OPEN  " in out.getvalue():
                break
            screen._over.wait(0.05)
    assert "OPEN  28." in out.getvalue() or "OPEN  29.0" in out.getvalue()


def test_keys_say_words_and_others_say_nothing() -> None:
    heard: queue.Queue[Word] = queue.Queue()
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r") as stream:
        before = termios.tcgetattr(theirs)
        with Keys(stream, heard.put).heard():
            os.write(ours, b"xCh d\nlr")
            words = [heard.get(timeout=5.0) for _ in range(6)]
        assert termios.tcgetattr(theirs) == before
    os.close(ours)
    assert words == [Word.CLOSE, Word.HOLD, Word.HEARD, Word.DONE, Word.LEAVING, Word.RESUME]
    assert heard.empty()


def test_a_terminal_that_hangs_up_ends_the_keys_and_nothing_else() -> None:
    ours, theirs = pty.openpty()
    with os.fdopen(theirs, "r") as stream, Keys(stream, pytest.fail).heard():
        os.close(ours)


def test_the_legend_has_every_key() -> None:
    assert set(KEYS.values()) == set(Word)
    for key, word in KEYS.items():
        assert any(one.startswith(f"{'space' if key == ' ' else key} {word.value[:4]}") for one in LEGEND)
    assert max(len(row) for row in legend(40).splitlines()) < 40


def test_the_words_of_tell_are_those_of_an_evening() -> None:
    assert set(SAID) == {word.value for word in Word}
