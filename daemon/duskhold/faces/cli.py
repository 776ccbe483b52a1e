"""The command line: finds the command, runs it, prints its answer or what was wrong.

A command is a module of this package with `add_parser(subparsers)` and `run(args) -> Answer`. Only the module
of the command asked for is imported, so that starting stays fast; help imports them all, so `add_parser` and
the top of such a module may import only what is cheap.
"""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import Any, Protocol, cast

from duskhold import __version__
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.command_line import Parser, add_common_options, command_in, with_values_joined
from duskhold.faces.voice import Voice, voice_for

COMMANDS = (
    "sky",
    "solve",
    "plan",
    "filters",
    "look",
    "depth",
    "check",
    "expose",
    "one",
    "run",
    "serve",
    "tell",
    "rehearse",
    "body",
    "status",
    "frames",
    "note",
    "weather",
    "compare",
    "report",
    "dark",
    "leak",
    "stack",
    "set-up",
)

EXIT_NOT_READY = 3
EXIT_INTERRUPTED = 130
EXIT_UNREAD = 141  # what a shell shows for a writer whose reader went away


class Command(Protocol):
    """What the module of a command offers."""

    def add_parser(self, subparsers: Any) -> None: ...

    def run(self, args: argparse.Namespace) -> Answer: ...


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status; operating errors are said, not raised."""
    words = list(sys.argv[1:] if argv is None else argv)
    try:
        return _run(words, voice_for(words))
    except BrokenPipeError:
        _forget_output()
        return EXIT_UNREAD


def _run(words: Sequence[str], voice: Voice) -> int:
    try:
        answer = _answer(words)
        voice.say(answer)
    except SystemExit as left:  # argparse leaves this way after --help and --version
        sys.stdout.flush()
        return int(left.code or 0)
    except BrokenPipeError:
        raise
    except (Wrong, KeyboardInterrupt, OSError) as error:
        wrong = _as_wrong(error)
        voice.complain(wrong)
        return wrong.exit_status
    return answer.exit_status


def _answer(words: Sequence[str]) -> Answer:
    name = command_in(words)
    parser = _parser(COMMANDS if name not in COMMANDS else (name,))
    args, left = parser.parse_known_args(with_values_joined(words))
    if left:
        command = f"duskhold {name}" if name in COMMANDS else "duskhold"
        hint = f"`{command} --help` shows what it takes."
        raise Wrong("usage", f"Unrecognized arguments: {' '.join(left)}.", hint=hint)
    if args.command is None:
        raise Wrong("usage", "No command was given.", hint="`duskhold --help` lists the commands.")
    return _module(args.command).run(args)


def _parser(names: Sequence[str]) -> Parser:
    parser = Parser(
        prog="duskhold",
        description="Holds a camera's shutter open for the time that changing light needs, and brings the frame home.",
    )
    parser.add_argument("--version", action="version", version=f"duskhold {__version__}")
    add_common_options(parser)
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for name in names:
        _module(name).add_parser(subparsers)
    _give_common_options(subparsers)
    return parser


def _give_common_options(subparsers: Any) -> None:
    """The common options are understood behind a command too, and behind what it divides into."""
    for subparser in subparsers.choices.values():
        add_common_options(subparser, default=argparse.SUPPRESS)
        for action in list(subparser._actions):
            if isinstance(action, argparse._SubParsersAction):
                _give_common_options(action)


def _module(name: str) -> Command:
    return cast(Command, importlib.import_module(f"duskhold.faces.{name.replace('-', '_')}"))


def _as_wrong(error: Wrong | KeyboardInterrupt | OSError) -> Wrong:
    if isinstance(error, Wrong):
        return error
    if isinstance(error, KeyboardInterrupt):
        return Wrong("interrupted", "Interrupted.", exit_status=EXIT_INTERRUPTED)
    where = str(error.filename) if error.filename is not None else None
    said = error.strerror or str(error)
    return Wrong("system", f"The system said: {said}.", field=where, exit_status=EXIT_NOT_READY)


def _forget_output() -> None:
    # Whoever read our output went away; the interpreter's last flush must not complain about it either.
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
