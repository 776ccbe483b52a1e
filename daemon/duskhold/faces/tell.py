"""`duskhold tell`: a word of a person to the evening that runs on this machine."""

import argparse
from dataclasses import replace
from functools import partial
from typing import Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, now_utc, settings_of

SAID = {
    "close": "close the shutter now and keep the frame; the series goes on",
    "hold": "take nothing more after this frame, until resume",
    "done": "what was asked for is done; the pixels are looked at before it is believed",
    "leaving": "close now, keep the frame, end the evening",
    "resume": "go on after a hold or a fault",
    "heard": "the alarm was heard",
}
STATE = "state"
_CLOSES = ("close", "leaving")


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    said = "; ".join(f"{word}: {what}" for word, what in SAID.items())
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "tell",
        help="say a word to the running evening: close, hold, done, leaving, resume, heard",
        description=f"{said}; state: only say how it stands. Every word quiets the alarm.",
    )
    parser.add_argument("word", metavar="WORD", help=f"{', '.join(SAID)} or {STATE}")


def run(args: argparse.Namespace) -> Answer:
    """What the evening answered."""
    from duskhold.app.evening_socket import evening_socket
    from duskhold.app.word_socket import NothingRuns, ask

    known, word = (*SAID, STATE), args.word.lower()  # a phone begins a row with a capital
    if word not in known:
        raise Wrong("usage", f"{args.word!r} is no word.", field="WORD", hint=f"Words: {', '.join(known)}.")
    settings = settings_of(args)
    try:
        answer = ask(evening_socket(folders_of(args, settings)), word)
    except NothingRuns as error:
        hint = "`duskhold run OUTING.yaml` begins one; `duskhold serve` begins them at their time."
        raise Wrong("nothing_runs", f"No evening runs here: {error}.", hint=hint, exit_status=3) from error
    if "error" in answer:
        said = answer["error"]
        raise Wrong(str(said["code"]), str(said["message"]), exit_status=4)
    return Answer(answer, 0, partial(_show, word, answer))


def _show(word: str, answer: dict[str, Any]) -> None:
    from duskhold.faces.standing import lines_of, to_do, view_from
    from duskhold.plan.evening_view import Phase

    body = answer["evening"]
    view = None if body is None else view_from(body)
    # What was said is known to whoever said it, and what still holds is in the lines below.
    known = {word} if view is None else {word, view.stop, view.line, to_do(view)}
    for line in answer["answers"]:
        if line not in known:
            wording.say(line)
    if view is None:
        wording.say(answer["waiting"])
        return
    if word in _CLOSES and view.phase is Phase.OPEN:
        view = replace(view, until_utc=None)  # it closes now, whatever was planned
    for line in lines_of(view, now_utc()):
        wording.say(line)
    if answer.get("next"):
        wording.say(f"After this evening: {answer['next']}")
    if word == "hold" and view.phase is not Phase.HELD and view.stop is None:
        wording.say("Nothing more is taken after this frame, until resume.")
