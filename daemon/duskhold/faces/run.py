"""`duskhold run`: one outing's evening in the foreground, from its check to its last frame."""

import argparse
import signal
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, saying_journal_errors, settings_of, zone_of
from duskhold.faces.outings import bag_for, saying_outing_errors
from duskhold.faces.signals import hearing_signals
from duskhold.faces.trouble import saying_trouble, status_after

if TYPE_CHECKING:
    from duskhold.app.evening_run import EveningProgram, Gone, Hooks, Place
    from duskhold.app.evening_story import Story
    from duskhold.faces.evening_screen import EveningScreen
    from duskhold.plan.evening_words import Word

EXIT_FAILED = 4
_ELSEWHERE = "No keys are heard here: `duskhold tell WORD` says done, close, hold, resume, leaving; times are UTC."
_FAILED = ("in_doubt", "picture_faults", "fault")


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "run",
        help="run an outing's evening here and now, to its end",
        description="Checks the camera, waits for the start, takes every frame, asks for filters, and ends by the "
        "first limit. Keys: c close and keep, h hold after this frame, d done it, l leaving, r resume, space heard; "
        "`duskhold tell` says the same from elsewhere. Ctrl-C closes, keeps and ends. An evening whose program died is "
        "gone on with: nothing is fired before a person says resume.",
    )
    parser.add_argument("outing", metavar="OUTING.yaml", help="the outing; config/outings has commented examples")
    parser.add_argument("--camera", metavar="ADDRESS", help="simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT")
    parser.add_argument("--time-is-right", action="store_true", help="you have looked: this computer's clock is right")


def run(args: argparse.Namespace) -> Answer:
    """Run it; the answer is its story, also when it was left."""
    from duskhold.app.check import awaits_restore
    from duskhold.app.evening_bell import Bell
    from duskhold.app.evening_run import Hooks, Place
    from duskhold.app.folders import ensure_private
    from duskhold.faces.evening_screen import EveningScreen
    from duskhold.faces.expose import camera_of

    settings = settings_of(args)
    folders = folders_of(args, settings)
    place = Place(camera_of(args, settings), settings, folders, bag_for(args, settings), zone_of(settings))
    screen = EveningScreen(sys.stderr)
    bell = Bell(settings.alarm_command, screen.sound, screen.complain)
    hooks = Hooks(bell, screen.seen, screen.follow, screen.told)
    with saying_trouble(), saying_journal_errors():
        ensure_private(folders.runtime)
        story, caught = _run(args, place, hooks, screen)
    status = EXIT_FAILED if story.reason in _FAILED or story.is_unsettled else 0
    changed = awaits_restore(folders.places(place.camera).state)
    body = story.body() | {"settings_changed": changed}
    return Answer(body, status_after(caught, status), partial(_show, story, changed))


def _run(
    args: argparse.Namespace, place: "Place", hooks: "Hooks", screen: "EveningScreen"
) -> tuple["Story", list[signal.Signals]]:
    from duskhold.app.clock_gate import ClockWord
    from duskhold.app.evening_run import EveningProgram, take_up
    from duskhold.app.evening_story import story_of
    from duskhold.app.station import stamp_now
    from duskhold.faces.evening_screen import Keys, terminal_is_there
    from duskhold.journal.journal import Journal
    from duskhold.plan.evening_words import PERSON

    path = Path(args.outing).expanduser()
    person = ClockWord(True, PERSON) if args.time_is_right else None
    with ExitStack() as stack:
        journal = stack.enter_context(Journal.open(place.own.journal))
        with saying_outing_errors(path), _saying_damage():
            taken = take_up(place, path, journal, stamp_now())
        program = EveningProgram(place, taken, journal, hooks, person)
        socket = _socket(place, program)
        stack.callback(socket.close)
        caught = stack.enter_context(hearing_signals(partial(_on_signal, program)))
        if terminal_is_there() and not args.json:
            screen.legend()
            stack.enter_context(Keys(sys.stdin, partial(_say, program)).heard())
        else:
            print(_ELSEWHERE, file=sys.stderr, flush=True)
        with screen.shown():
            gone: Gone = program.run()
        return story_of(place, taken, gone, journal), caught


@contextmanager
def _saying_damage() -> Iterator[None]:
    from duskhold.app.evening_record import EveningDamaged

    try:
        yield
    except EveningDamaged as error:
        said, hint = str(error), "A changed outing, be it by a comment, begins a new evening."
        raise Wrong("evening_damaged", f"{said[:1].upper()}{said[1:]}.", hint=hint, exit_status=EXIT_FAILED) from error


def _socket(place: "Place", program: "EveningProgram") -> Any:
    from duskhold.app.evening_socket import evening_socket
    from duskhold.app.hearing import hear
    from duskhold.app.word_socket import AlreadyRunning, WordSocket

    try:
        return WordSocket(evening_socket(place.folders), partial(hear, program.inbox))
    except AlreadyRunning as error:
        hint = "`duskhold tell leaving` ends it; `duskhold tell state` says how it stands."
        raise Wrong("already_running", f"{str(error).capitalize()}.", hint=hint, exit_status=3) from error


def _say(program: "EveningProgram", word: "Word") -> None:
    from duskhold.app.evening_loop import Happened
    from duskhold.plan.evening_words import Said

    program.inbox.offer(Happened(Said(word)))


def _on_signal(program: "EveningProgram", number: signal.Signals) -> None:
    """Ctrl-C ends the evening; told to end, it is left to the next start. Twice leaves without the pictures."""
    from duskhold.plan.evening_words import Word

    if number is not signal.SIGINT:
        program.leave(f"the program was told to end ({number.name})")
    elif program.was_interrupted:
        program.field.leave_pictures()
    else:
        program.was_interrupted = True
        _say(program, Word.LEAVING)


def _show(story: "Story", settings_changed: bool) -> None:
    from duskhold.faces import wording

    wording.say(f"{story.name}: {story.line}")
    rows = []
    for frame in story.frames:
        held, files = wording.open_time(frame), str(len(frame["files"]))
        rows.append([str(frame["frame_id"]), str(frame["role"]), str(frame["outcome"]).replace("_", " "), held, files])
    if rows:
        wording.print_table("Frames", ("frame", "role", "outcome", "open", "files"), rows)
    if settings_changed:
        wording.say("The camera's settings were changed for this: `duskhold body restore` puts them back as they were.")
