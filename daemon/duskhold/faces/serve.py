"""`duskhold serve`: the service that runs the outings of a folder at their time, for systemd or by hand."""

import argparse
import os
import signal
import sys
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import Any

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, now_utc, saying_journal_errors, settings_of, zone_of
from duskhold.faces.outings import bag_for
from duskhold.faces.signals import hearing_signals
from duskhold.faces.telling import row
from duskhold.faces.trouble import saying_trouble


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "serve",
        help="run the outings of a folder at their time, as a service",
        description="Looks through a folder of outings, begins each ten minutes before its start, and goes on with "
        "what was left in the middle. Begins nothing before the time is confirmed. `duskhold tell` speaks to it; "
        "`duskhold set-up` writes its unit.",
    )
    parser.add_argument("--camera", metavar="ADDRESS", help="simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT")
    parser.add_argument("--outings", metavar="DIR", help="the folder; otherwise that of the settings, or beside them")


def run(args: argparse.Namespace) -> Answer:
    """Serve until told to end."""
    from duskhold.app.evening_bell import Bell
    from duskhold.app.evening_run import Hooks, Place
    from duskhold.app.evening_socket import evening_socket
    from duskhold.app.folders import ensure_private
    from duskhold.app.service import Service, Surroundings
    from duskhold.app.service_notice import ServiceNotice
    from duskhold.app.settings import own_settings_path, settings_path
    from duskhold.app.word_socket import AlreadyRunning, WordSocket
    from duskhold.faces.expose import camera_of
    from duskhold.journal.journal import Journal

    settings = settings_of(args)
    folders = folders_of(args, settings)
    place = Place(camera_of(args, settings), settings, folders, bag_for(args, settings), zone_of(settings))
    beside = (settings_path(args.settings, os.environ) or own_settings_path(os.environ)).parent
    folder = Path(args.outings or settings.outings or beside / "outings").expanduser()
    notice = ServiceNotice()
    bell = Bell(settings.alarm_command, lambda: None, _say)
    hooks = Hooks(
        bell,
        follow=lambda view, _now: notice.status(f"{view.phase.value}: {view.line}"),
        told=_told,
        alive=notice.alive,
    )
    with ExitStack() as stack:
        for trouble in (saying_trouble(), saying_journal_errors()):
            stack.enter_context(trouble)
        ensure_private(folders.runtime)
        journal = stack.enter_context(Journal.open(place.own.journal))
        service = Service(place, folder, journal, Surroundings(notice, _say, hooks))
        try:
            socket = WordSocket(evening_socket(folders), service.hear)
        except AlreadyRunning as error:
            raise Wrong("already_running", f"{str(error).capitalize()}.", exit_status=3) from error
        stack.callback(socket.close)
        caught = stack.enter_context(hearing_signals(partial(_leave, service)))
        service.run()
    return Answer({"ended_by": caught[0].name if caught else None}, 0, lambda: None)


def _leave(service: Any, number: signal.Signals) -> None:
    service.leave(f"the service was told to end ({number.name})")


def _told(effect: object) -> None:
    """What an evening says goes into the service's log."""
    line = getattr(effect, "line", None)
    if isinstance(line, str):
        _say(f"{getattr(effect, 'word', type(effect).__name__.lower())}: {line}")


def _say(line: str) -> None:
    print(row(now_utc(), line, sys.stderr), file=sys.stderr, flush=True)
