"""`duskhold one`: one guarded frame without typing a time: check, base frame, filter, computed at the real opening."""

import argparse
import secrets
import sys
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any, cast

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.area import add_area_option, area_of
from duskhold.faces.countdown import Countdown
from duskhold.faces.inputs import (
    folders_of,
    home_of,
    now_utc,
    number_of,
    person_is_there,
    read,
    saying_journal_errors,
    settings_of,
    zone_of,
)
from duskhold.faces.trouble import catching_signals, not_asked, saying_trouble, status_after, watch_of
from duskhold.faces.vigil import Vigil, add_person_options, ensure_somebody_answers, stay_awake

if TYPE_CHECKING:
    from duskhold.app.base_frames import Seen
    from duskhold.app.checklist import Item
    from duskhold.app.exposing import Watch
    from duskhold.app.folders import Folders
    from duskhold.app.one import Course
    from duskhold.app.scouting import Scouted
    from duskhold.app.settings import Settings
    from duskhold.app.station import Station
    from duskhold.faces.solve import Question
    from duskhold.journal.entry import Outcome
    from duskhold.light.filters import Filter
    from duskhold.light.reading import Reading
    from duskhold.plan.bag import BagFilter

MOST_BASES = 4
SCOUT = ("auto", "always", "never")
LONGEST_BETWEEN_S = 1800.0
_LEAD_S = 0.1
"""From the decision to the opening, as in `expose`."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the options ask for.

    `seen_sigma_stops` is how well the glass is known where it takes what the scout saw, and not what is stored of it.
    """

    args: argparse.Namespace
    settings: "Settings"
    bag: "tuple[BagFilter, ...]"
    filters: "tuple[Filter, ...]"
    glass: "Filter"
    seen_sigma_stops: float | None = None

    @property
    def between_s(self) -> float:
        between_s: float = self.args.between
        return between_s


@dataclass(frozen=True, slots=True)
class Post:
    """Where it happens: the camera, how it is watched, and how a person is waited for."""

    station: "Station"
    watch: "Watch"
    vigil: Vigil


@dataclass(slots=True)
class Before:
    """What is known before the long frame, as far as it has come: what was bad, base frames, the scout.

    `short` is whether one that cannot be finished is wanted all the same.
    """

    bad: "list[Item]"
    seen: "tuple[Seen, ...]" = ()
    scouted: "Scouted | None" = None
    short: bool = False


@dataclass(frozen=True, slots=True)
class Ended:
    """How it ended: the long frame, what was bad, how it came out against base frame and filter.

    `exit_status` is that of a person who ended it; None where the frame's own outcome says it.
    """

    outcome: "Outcome"
    bad: "list[Item]"
    level: dict[str, object] | None = None
    filter_check: dict[str, object] | None = None
    exit_status: int | None = None


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "one",
        help="one long frame, from the base frame to its level, without typing a time",
        description="Checks the camera, takes the base frame at the dial, aperture and ISO as they stand, asks for the "
        "filter, and holds a frame of the same level, computed for the moment at which it really opens. A scout frame "
        "of a few seconds tells beforehand whether filter, focus and view are right. With --bases 2 the drift is "
        "measured; with one, the clear sky of the settings' place is followed.",
    )
    parser.add_argument("--camera", metavar="ADDRESS", help="simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT")
    parser.add_argument("--filters", metavar="NAME,NAME", help="what is fitted after the base frame: names or labels")
    parser.add_argument("--base", metavar="TIME", help="set the dial to this first; otherwise it stays as it stands")
    parser.add_argument("--bases", metavar="N", type=int, default=1, help="how many base frames (1)")
    parser.add_argument("--between", metavar="SECONDS", type=float, default=120.0, help="from one to the next (120)")
    parser.add_argument(
        "--scout", choices=SCOUT, default=SCOUT[0],
        help="a short frame through the filter, at a high ISO, before a long one of 15 s and more (auto)",
    )  # fmt: skip
    parser.add_argument(
        "--go-on", action="store_true", help="take the frame although the check or the scout found something bad"
    )
    parser.add_argument("--readings", choices=("auto",), help="earlier frames on record, of this view, tell light too")
    parser.add_argument(
        "--accept-short", action="store_true", help="hold what cannot be finished for the longest time allowed"
    )
    add_area_option(parser)
    add_person_options(parser)


def run(args: argparse.Namespace) -> Answer:
    """Take the frame; its record is the answer, also when nothing was opened."""
    from duskhold.app.one import bare_lens
    from duskhold.app.record import frame_record
    from duskhold.app.settling import settle_the_past
    from duskhold.app.station import at_station
    from duskhold.app.writing_down import write_down_since
    from duskhold.faces.expose import camera_of, frame_status
    from duskhold.faces.one_show import saying_base_failures, show

    settings = settings_of(args)
    camera, folders = camera_of(args, settings), folders_of(args, settings)
    wish = _wish(args, settings, folders)
    countdown = Countdown(sys.stderr)
    with (
        catching_signals() as caught,
        saying_trouble(),
        saying_journal_errors(),
        at_station(camera, settings, folders) as station,
        saying_base_failures(caught),
    ):
        watch = watch_of(countdown, caught)
        post = Post(station, watch, Vigil(countdown, caught, stay_awake(station)))
        earlier = settle_the_past(station, watch)
        notices = cast(list[str], station.link.state()["notices"])
        began_utc = now_utc()
        try:
            with bare_lens(station):
                ended = _take(wish, post)
        finally:
            countdown.clear()
            notices = [*notices, *write_down_since(station, began_utc, earlier)]
        frame = station.journal.frame(ended.outcome.frame_id)
    assert frame is not None, ended.outcome.frame_id
    home = home_of(settings)
    body = frame_record(frame, home) | {"level": ended.level, "filter_check": ended.filter_check}
    body |= {"check": [_item_body(item) for item in ended.bad]}
    body |= {"notices": notices, "earlier": [frame_record(one, home) for one in earlier]}
    status = status_after(caught, frame_status(body) if ended.exit_status is None else ended.exit_status)
    return Answer(body, status, partial(show, body, zone_of(settings)))


def _wish(args: argparse.Namespace, settings: "Settings", folders: "Folders") -> Wish:
    from duskhold.app.bag import MeasurementUnread, bag_of, filters_from
    from duskhold.light.filters import stack

    number_of("--bases", args.bases, 1, MOST_BASES, "base frames")
    number_of("--between", args.between, 0.0, LONGEST_BETWEEN_S, "s")
    area_of(args)
    try:
        bag = bag_of(settings, folders)
    except MeasurementUnread as error:
        raise Wrong("bad_measurement", f"{error}.", field="--data", exit_status=3) from error
    names = args.filters
    if names is None and len(bag) == 1:
        names = bag[0].name
    if names is None:
        known = ", ".join(one.name for one in bag) or "none yet"
        raise Wrong("usage", "Which filter?", field="--filters", hint=f"In the bag: {known}; --filters none for none.")
    filters = read("--filters", names, partial(filters_from, bag))
    glass = stack(filters)
    if args.base is not None:
        from duskhold.light.dials import SHUTTER

        read("--base", args.base, SHUTTER.find)
    if filters:
        ensure_somebody_answers(args)
    return Wish(args, settings, bag, filters, glass)


def _take(wish: Wish, post: Post) -> Ended:
    from duskhold.app.base_frames import put_dial_back
    from duskhold.app.one import fit
    from duskhold.faces.one_base import base_frames
    from duskhold.faces.one_short import short_wanted
    from duskhold.faces.one_verdict import as_seen, ensure_no_objection, judged, judging_from, scouted_first

    before = Before([])
    with ExitStack() as stack:
        try:
            before.bad = _checked(wish, post)
            based = base_frames(wish, post)
            before.seen = based.seen
            judging = stack.enter_context(judging_from(wish, based.seen[-1]))
            if wish.filters:
                post.vigil.until_done(wish.args, f"Fit the filter ({wish.glass.label})")
                fit(post.station, wish.glass)
            asked = _question(wish, based.seen, now_utc())[1]
            before.scouted = scouted_first(wish, post, based.seen[-1], asked, judging)
            ensure_no_objection(wish, post, before.scouted)
            wish = as_seen(wish, post, before.scouted)
            before.short = short_wanted(wish, post, _question(wish, based.seen, now_utc())[1])
        except Wrong as wrong:
            return _not_taken(wish, post, wrong, before)
        outcome, question = _hold(wish, post, before)
        put_dial_back(post.station, based.dial)
        if not outcome.files:
            return Ended(outcome, before.bad)
        level, filter_check = judged(post, based, question, outcome, judging)
        return Ended(outcome, before.bad, level, filter_check)


def _not_taken(wish: Wish, post: Post, wrong: Wrong, before: Before) -> Ended:
    """Write down that the long frame was not taken, and why. Raises it again, unless a person ended it."""
    from duskhold.app.exposing import refuse_command
    from duskhold.plan.command import FrameId, RefusalCode, Refused
    from duskhold.plan.stamp import mint_frame_id

    if wrong.code not in list(RefusalCode):
        raise wrong
    frame_id = FrameId(mint_frame_id(now_utc(), secrets.token_hex(2)))
    refused = Refused(frame_id, RefusalCode(wrong.code), wrong.message, wrong.hint or "")
    outcome = refuse_command(post.station, refused, None, _told(wish, before))
    if refused.code is not RefusalCode.INTERRUPTED:
        raise wrong
    return Ended(outcome, before.bad, exit_status=wrong.exit_status)


def _checked(wish: Wish, post: Post) -> "list[Item]":
    """What is bad and was gone on with. Raises `Wrong` when it was not."""
    from duskhold.app.check import NoBody
    from duskhold.app.one import bad_items
    from duskhold.shutter.holder_link import HolderRefused

    args = wish.args
    try:
        bad = bad_items(post.station, args.bases + 1, zone_of(wish.settings))
    except (NoBody, HolderRefused) as error:
        raise not_asked("not_checked", error) from error
    if not bad or args.go_on:
        return bad
    told = "; ".join(f"{item.item} is {item.value} ({item.why}). {item.advice or ''}".strip() for item in bad)
    if not args.json and person_is_there() and post.vigil.agreed(f"{told}\nGo on anyway?"):
        return bad
    raise Wrong(
        "not_ready", f"Not right: {told}", exit_status=3, field="--go-on",
        hint="`duskhold check --fix` sets what can be set; --go-on takes the frame all the same.",
    )  # fmt: skip


def _hold(wish: Wish, post: Post, before: Before) -> "tuple[Outcome, Question]":
    """Decide for the opening as it is now, and hold; what cannot be finished is not opened."""
    from duskhold.app.dialling import dialled
    from duskhold.app.exposing import expose, refuse, refuse_command
    from duskhold.app.ordering import known_latency, order_of
    from duskhold.app.readiness import unproven
    from duskhold.faces.one_short import choice_body
    from duskhold.faces.solve import decide
    from duskhold.faces.solve_answer import recorded_body
    from duskhold.plan.command import FrameId, Refused, authorize, authorize_short
    from duskhold.plan.role import Role
    from duskhold.plan.stamp import mint_frame_id

    station, now = post.station, now_utc()
    course, question = _question(wish, before.seen, now + timedelta(seconds=_LEAD_S))
    decision = decide(question)
    sure = known_latency(station).sigma_s
    reasoning = recorded_body(question, decision, sure) | _told(wish, before) | {"light": course.body()}
    frame_id = FrameId(mint_frame_id(now, secrets.token_hex(2)))
    ordering = authorize_short if before.short else authorize
    command = ordering(frame_id, decision, station.settings.limits.exposure(), now)
    if isinstance(command, Refused):
        return refuse_command(station, command, decision.open_s, reasoning), question
    reasoning |= {"choice": choice_body(reasoning, command, decision)}
    trouble = None if person_is_there() else unproven(station)
    if trouble is not None:
        order = order_of(station, command, Role.LONG, reasoning)
        return refuse(station, order, trouble.code, trouble.reason), question
    with dialled(station, command.open_s) as mark:
        return expose(station, order_of(station, command, Role.LONG, reasoning, mark), post.watch), question


def _question(wish: Wish, seen: "tuple[Seen, ...]", opens_utc: datetime) -> "tuple[Course, Question]":
    """Counted from the newest base frame's own moment."""
    from duskhold.app.one import course_of
    from duskhold.faces.drift import own_place, shape_of
    from duskhold.faces.solve import Question
    from duskhold.plan.decision import Change

    base = seen[-1]
    metered_utc, shooting = base.reading.taken_utc, base.taken.shooting
    place = own_place(wish.settings)
    shape = None if place is None else shape_of(place, metered_utc)
    course = course_of(seen, opens_utc, wish.settings.limits.reading_age_max_s, shape, _earlier(wish, opens_utc))
    question = Question(
        settings=wish.settings,
        base_s=shooting.open_s,
        filter=wish.glass,
        change=Change(filter_stops=wish.glass.stops),
        drift=course.drift,
        metered_utc=metered_utc,
        opens_utc=opens_utc,
        filters=wish.filters,
        bag=wish.bag,
        apertures=(shooting.f_number, shooting.f_number),
        isos=(shooting.iso, shooting.iso),
        filter_sigma_stops=wish.seen_sigma_stops,
    )
    return course, question


def _earlier(wish: Wish, opens_utc: datetime) -> "tuple[Reading, ...]":
    """What frames of the same view told before, where `--readings auto` says that they are of the same view."""
    from duskhold.faces.drift import AUTO, readings_asked_for

    if wish.args.readings is None:
        return ()
    assert wish.args.readings == AUTO, "the only choice"
    return readings_asked_for(wish.args, wish.settings, opens_utc)


def _told(wish: Wish, before: Before) -> dict[str, object]:
    """What belongs into the record beside the decision."""
    return {
        "base_frames": [one.body() for one in before.seen],
        "scout": None if before.scouted is None else before.scouted.body(),
        "filters": [one.label for one in wish.filters],
        "filter_stops": wish.glass.stops,
        "filter_stops_by": "bag" if wish.seen_sigma_stops is None else "scout",
        "gone_on_with": [item.item for item in before.bad],
    }


def _item_body(item: "Item") -> dict[str, object]:
    return {"item": item.item, "value": item.value, "expected": item.expected, "why": item.why}
