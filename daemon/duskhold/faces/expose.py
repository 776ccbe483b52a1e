"""`duskhold expose`: hold the shutter for one frame, for a given time or for one computed from a metered exposure."""

import argparse
import secrets
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING, Any, cast

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.countdown import Countdown, clock
from duskhold.faces.inputs import (
    folders_of,
    home_of,
    now_utc,
    number_of,
    person_is_there,
    saying_journal_errors,
    settings_of,
    zone_of,
)
from duskhold.faces.solve import add_solve_options
from duskhold.faces.trouble import catching_signals, saying_trouble, status_after, watch_of

if TYPE_CHECKING:
    from datetime import tzinfo

    from duskhold.app.exposing import Watch
    from duskhold.app.settings import Settings
    from duskhold.app.station import Station
    from duskhold.journal.entry import Frame
    from duskhold.plan.command import Refused, ShutterCommand

LONGEST_WAIT_S = 6 * 3600.0
LEAD_S = 0.1
"""From the decision to the opening: the order, the black box and the opening call."""

START_UP_S = 8.0
"""For starting the shutter process and settling what an earlier run left."""

EXIT_FAILED = 4
EXIT_OF = {"complete": 0, "cut_short": 4, "link_lost": 4, "refused": 3, "failed": 4, "unknown": 4}


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "expose",
        help="hold the shutter for one frame and bring it home",
        description="Hold the shutter for --for seconds, or for the time that `solve` computes from the same options "
        "at the moment of opening. Ctrl-C closes the shutter and keeps the frame. A computed time that lies on the "
        "body's own dial is left to the body, which nothing can stop; --for is always held.",
    )
    parser.add_argument("--for", dest="seconds", type=float, metavar="SECONDS", help="hold for this long")
    parser.add_argument("--camera", metavar="ADDRESS", help="simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT")
    add_solve_options(parser)


def run(args: argparse.Namespace) -> Answer:
    """Expose one frame; the record is the answer, also when nothing was opened."""
    from duskhold.app.record import frame_record
    from duskhold.app.settling import settle_the_past
    from duskhold.app.station import at_station

    settings = settings_of(args)
    camera = camera_of(args, settings)
    _check(args)
    countdown = Countdown(sys.stderr)
    folders = folders_of(args, settings)
    with catching_signals() as caught, saying_trouble(), saying_journal_errors(), ExitStack() as stack:
        if args.opens is not None:
            # An idle camera is let go after a minute: it is taken up only shortly before it is needed.
            _wait_for(args, START_UP_S, countdown, caught)
        station = stack.enter_context(at_station(camera, settings, folders))
        watch = watch_of(countdown, caught)
        earlier = settle_the_past(station, watch)
        notices = cast(list[str], station.link.state()["notices"])
        began_utc = now_utc()
        frame = _expose(args, station, watch, countdown, caught)
        countdown.clear()
        from duskhold.app.writing_down import write_down_since  # only now: what it imports would delay the opening

        notices = [*notices, *write_down_since(station, began_utc, earlier)]
    home = home_of(settings)
    body = frame_record(frame, home) | {"notices": notices}
    body |= {"earlier": [frame_record(one, home) for one in earlier]}
    status = status_after(caught, frame_status(body))
    return Answer(body, status, partial(show, body, zone_of(settings)))


def camera_of(args: argparse.Namespace, settings: "Settings") -> str:
    """The camera's address, from the command line or the settings. Raises `Wrong`."""
    from duskhold.camera.address import parse_address
    from duskhold.faces.inputs import read

    return str(read("--camera", args.camera or settings.camera, parse_address))


def _check(args: argparse.Namespace) -> None:
    """What is wrong with the options is said before anything is started."""
    from duskhold.faces.solve import ask

    computed = [args.base, args.metered, args.opens, args.rate, args.place, args.readings]
    shot = [args.aperture, args.iso, None if args.filters == "none" else args.filters]
    if args.seconds is None and not any(option is not None for option in computed):
        raise Wrong(
            "usage", "How long is not said.", field="--for",
            hint="--for SECONDS holds that long; --base, --filters, --metered and --rate or --place compute it.",
        )  # fmt: skip
    if args.seconds is None:
        ask(args, opens_utc=now_utc())
    elif any(option is not None for option in (*computed, *shot)):
        raise Wrong("usage", "A given time and a computed one exclude each other.", field="--for")
    else:
        number_of("--for", args.seconds, 1e-3, 86_400.0, "s")


def frame_status(body: dict[str, Any]) -> int:
    """A frame that opened and of which nothing came home is a failure, however well it was held."""
    held = body["open_s"] is None or body["open_s"] > 0
    return EXIT_FAILED if held and not body["files"] else EXIT_OF[body["outcome"]]


def _expose(
    args: argparse.Namespace, station: "Station", watch: "Watch", countdown: Countdown, caught: list[signal.Signals]
) -> "Frame":
    from duskhold.app.dialling import dialled
    from duskhold.app.exposing import expose, refuse, refuse_command
    from duskhold.app.ordering import order_of
    from duskhold.app.readiness import unproven
    from duskhold.plan.command import Refused
    from duskhold.plan.role import Role

    if args.opens is not None:
        _wait_for(args, LEAD_S, countdown, caught)
    command, reasoning = _command(args, station)
    if isinstance(command, Refused):
        outcome = refuse_command(station, command, args.seconds, reasoning)
    elif (trouble := None if person_is_there() else unproven(station)) is not None:
        outcome = refuse(station, order_of(station, command, Role.LONG, reasoning), trouble.code, trouble.reason)
    else:
        computed_s = None if command.decision is None else command.open_s
        with dialled(station, computed_s) as mark:
            outcome = expose(station, order_of(station, command, Role.LONG, reasoning, mark), watch)
    frame = station.journal.frame(outcome.frame_id)
    assert frame is not None, outcome.frame_id
    return frame


def _wait_for(args: argparse.Namespace, early_s: float, countdown: Countdown, caught: list[signal.Signals]) -> None:
    """Wait until so long before the opening that was asked for."""
    from duskhold.faces.inputs import moment_of

    opens_utc = moment_of("--opens", args.opens)
    if (opens_utc - now_utc()).total_seconds() > LONGEST_WAIT_S:
        raise Wrong("bad_input", "That is more than 6 hours away.", field="--opens", hint="Start again nearer to it.")
    while (left_s := (opens_utc - now_utc()).total_seconds() - early_s) > 0 and not caught:
        countdown.say(f"opens in {clock(left_s + early_s)}   Ctrl-C leaves")
        time.sleep(min(0.2, left_s))
    if caught:
        raise Wrong(
            "interrupted", "Interrupted before the opening; nothing was exposed.", exit_status=status_after(caught, 130)
        )


def _command(args: argparse.Namespace, station: "Station") -> "tuple[ShutterCommand | Refused, dict[str, object]]":
    """The order as it is authorized now, and the reasoning of a time that is computed for this very opening."""
    from duskhold.app.ordering import known_latency
    from duskhold.faces.solve import ask, decide
    from duskhold.faces.solve_answer import recorded_body
    from duskhold.plan.command import FrameId, authorize, authorize_hold
    from duskhold.plan.stamp import mint_frame_id

    now = now_utc()
    frame_id = FrameId(mint_frame_id(now, secrets.token_hex(2)))
    limits = station.settings.limits.exposure()
    if args.seconds is not None:
        return authorize_hold(frame_id, args.seconds, limits), {"asked": {"for_s": args.seconds}}
    question = ask(args, opens_utc=now + timedelta(seconds=LEAD_S))
    decision = decide(question)
    reasoning = recorded_body(question, decision, known_latency(station).sigma_s)
    return authorize(frame_id, decision, limits, now), reasoning


def show(body: dict[str, Any], zone: "tzinfo | None") -> None:
    """The record, for people, with what else could be done."""
    show_frame(body, zone)
    show_ways_out(body["decision"])


def show_ways_out(decision: dict[str, Any]) -> None:
    """What else could be done with a frame that was not taken, where its record has that."""
    from duskhold.faces.solve_table import show_ways

    ways = decision.get("ways_out")
    if ways and not decision.get("choice"):
        show_ways(ways)


def show_frame(body: dict[str, Any], zone: "tzinfo | None") -> None:
    """The record of a frame just taken, for people."""
    from duskhold.faces.frames import show_records

    if body["earlier"]:
        show_records("Left behind by an earlier run, now recorded", body["earlier"], zone)
    wording.print_table(_title(body), ("", "", ""), [*_rows(body, zone)])
    for file in body["files"]:
        print(f"  {file['path']}  {file['bytes'] / 1e6:.1f} MB")
    if body["reason"]:
        wording.print_line(body["reason"])
    for notice in body["notices"]:
        wording.print_line(f"note: {notice}")


def _rows(body: dict[str, Any], zone: "tzinfo | None") -> Iterator[list[str]]:
    from duskhold.plan.stamp import utc_from

    yield ["frame", body["frame_id"], ""]
    if body["planned_s"] is not None:
        yield ["planned", wording.duration(body["planned_s"]), _reasoning(body["decision"])]
    dial = body["decision"].get("dial")
    if dial is not None:
        yield ["timing", f"the body's own dial at {dial['mark']}", "could not be stopped early"]
    if body["open_s"] is not None and body["outcome"] != "refused":
        sigma_s = body["open_s_sigma_s"]
        doubt = "" if not sigma_s else f"give or take {sigma_s * 1000:.0f} ms"
        yield ["open", f"{body['open_s']:.2f} s", doubt]
    elif body["open_s_range"] is not None:
        least_s, most_s = body["open_s_range"]
        yield ["open", f"{wording.duration(least_s)} to {wording.duration(most_s)}", "not known better"]
    for word in ("opened", "closed"):
        if body[f"{word}_utc"]:
            moment = utc_from(body[f"{word}_utc"])
            yield [word, f"{wording.clock_utc(moment)} UTC", wording.clock_local(moment, zone)]


def _reasoning(decision: dict[str, Any]) -> str:
    correction = decision.get("correction_stops")
    if correction is None:
        return ""
    return f"{wording.duration(decision['plain_s'])} plain, {wording.stops(correction)} for the light since metering"


def _title(body: dict[str, Any]) -> str:
    open_s = body["open_s"]
    held = "open time not known" if open_s is None else f"open {wording.duration(open_s)}"
    titles = {
        "complete": f"Frame complete: {held}",
        "cut_short": f"Closed early and kept: {held}",
        "refused": "Not exposed",
        "link_lost": f"Link lost: {held}; look at the camera",
    }
    return titles.get(body["outcome"], f"Look at the camera: {body['outcome']}, {held}")
