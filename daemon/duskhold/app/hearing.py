"""Words from outside as events, and what the evening answered, as programs read it."""

from __future__ import annotations

import queue
from datetime import datetime

from duskhold.app.evening_loop import Call, Happened, Heard, Inbox
from duskhold.app.word_socket import ANSWER_WITHIN_S, Body
from duskhold.plan.evening_view import View
from duskhold.plan.evening_words import Said, Word
from duskhold.plan.stamp import utc_text

STATE = "state"


def hear(inbox: Inbox, word: str) -> Body:
    """Put a word into the queue and wait for the answer; `state` only asks how it stands."""
    answers: queue.Queue[Body] = queue.Queue(1)
    if inbox.is_over:
        return _error("ending", "The evening is over, and its program is just ending; say it again in a moment.")
    if word == STATE:
        offered = inbox.offer(Call(answer=lambda view: answers.put(heard_body(Heard((), view)))))
    elif word in list(Word):
        offered = inbox.offer(Happened(Said(Word(word)), lambda heard: answers.put(heard_body(heard))))
    else:
        known = ", ".join((*Word, STATE))
        return _error("unknown_word", f"{word!r} is no word of an evening, which knows {known}.")
    if not offered:
        return _error("too_busy", "The evening has too much to do just now; say it again.")
    try:
        return answers.get(timeout=ANSWER_WITHIN_S)
    except queue.Empty:
        return _error("no_answer", f"The evening did not answer within {ANSWER_WITHIN_S:.0f} s; look at the camera.")


def heard_body(heard: Heard) -> Body:
    """What was answered, and how it stands now."""
    return {"answers": list(heard.lines), "evening": view_body(heard.view)}


def view_body(view: View) -> dict[str, object]:
    """A view in the words of the interface."""
    return {
        "phase": view.phase.value,
        "line": view.line,
        "role": view.role,
        "until_utc": _text(view.until_utc),
        "open_s": view.open_s,
        "next_open_s": view.next_open_s,
        "why": view.why,
        "filters": list(view.filters),
        "frames_done": view.frames_done,
        "frames_left": view.frames_left,
        "ends_utc": _text(view.ends_utc),
        "verdict": view.verdict,
        "alarm": view.alarm,
        "pack_utc": _text(view.pack_utc),
        "light_ends_utc": _text(view.light_ends_utc),
        "stop": view.stop,
    }


def _text(moment: datetime | None) -> str | None:
    return None if moment is None else utc_text(moment)


def _error(code: str, message: str) -> Body:
    return {"error": {"code": code, "message": message, "field": None, "hint": None}}
