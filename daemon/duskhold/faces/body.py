"""`duskhold body`: what is connected, what can be learnt of it, and its settings put back as they were found."""

import argparse
import sys
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.countdown import Countdown
from duskhold.faces.inputs import folders_of, person_is_there, saying_journal_errors, settings_of
from duskhold.faces.trouble import catching_signals, saying_trouble, status_after, watch_of

if TYPE_CHECKING:
    from duskhold.app.bodies import Habits, Pulled
    from duskhold.app.learning import Lesson

FEWEST_FRAMES, USUAL_FRAMES, MOST_FRAMES = 3, 8, 60


def add_parser(subparsers: Any) -> None:
    """Declare the command and what can be done with a body."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "body",
        help="what is connected, how exactly it keeps time, and its settings put back",
        description="Without a deed: what is connected, how its shutter is held, and what it can be asked.",
    )
    camera = "simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT"
    parser.add_argument("--camera", metavar="ADDRESS", help=camera)
    deeds = parser.add_subparsers(dest="deed", metavar="DEED")
    restore = deeds.add_parser(
        "restore",
        help="put the settings back as `check --fix` and connecting found them",
        description="Puts back what `check --fix` found before it set anything, and where pictures went before "
        "connecting sent them to the card; forgets it when all is back, and lets go of the camera.",
    )
    restore.add_argument("--camera", metavar="ADDRESS", default=argparse.SUPPRESS, help=camera)
    clear = deeds.add_parser(
        "clear",
        help="say that you have looked: the shutter is closed, frames may be taken again",
        description="After closing calls that left the shutter open, nothing is exposed until it is proven closed and "
        "a person has looked at the camera. This says that you have. It is refused while the shutter may be open.",
    )
    clear.add_argument(
        "--replaced",
        action="store_true",
        help="another camera took the place of one whose frame or pictures are outstanding, and that one does not come "
        "back: its frame is recorded as far as it is known, and what it stored stays on its card",
    )
    clear.add_argument("--camera", metavar="ADDRESS", default=argparse.SUPPRESS, help=camera)
    bench = deeds.add_parser(
        "bench",
        help="learn close minus open latency, and how the body goes about a frame, in steady light",
        description="Takes held frames and dial frames in turn and learns from their raw levels how much longer or "
        "shorter a held exposure really is. Needs steady light, a raw file, and a scene that does not move or clip: "
        "an evenly lit wall, out of focus, indoors. Then holds a frame of 2 s and one of 5 s: what their pictures say, "
        "how long the body is busy, its files, and how fast the lead is. The frames are kept.",
    )
    bench.add_argument("--camera", metavar="ADDRESS", default=argparse.SUPPRESS, help=camera)
    bench.add_argument("--frames", metavar="N", type=int, default=USUAL_FRAMES, help=f"held frames ({USUAL_FRAMES})")
    bench.add_argument("--dial", metavar="TIME", default="1", help="dial time to compare with, true powers of two (1)")
    bench.add_argument(
        "--pull",
        action="store_true",
        help="you are at the camera, and pull its lead when asked to: what a lost lead does to an open shutter",
    )


def run(args: argparse.Namespace) -> Answer:
    """Do the deed."""
    from duskhold.faces import body_show

    if args.deed is None:
        return body_show.show(args)
    deeds = {"restore": body_show.restore, "clear": _clear, "bench": _bench}
    return deeds[args.deed](args)


def _clear(args: argparse.Namespace) -> Answer:
    """A person has looked: clear the latch, if the shutter is proven closed."""
    from duskhold.app.settling import give_up_replaced
    from duskhold.app.station import at_station
    from duskhold.faces.expose import camera_of
    from duskhold.shutter.holder_link import HolderRefused

    settings = settings_of(args)
    camera, folders = camera_of(args, settings), folders_of(args, settings)
    with (
        catching_signals() as caught,
        saying_trouble(),
        saying_journal_errors(),
        at_station(camera, settings, folders) as station,
    ):
        try:
            given_up = give_up_replaced(station, watch_of(Countdown(sys.stderr), caught)) if args.replaced else []
            station.link.clear_latch()
        except HolderRefused as refused:
            said, hint = str(refused), _HINTS.get(refused.code)
            raise Wrong(refused.code, f"{said[:1].upper()}{said[1:]}.", hint=hint, exit_status=3) from refused
        latched = station.link.state()["latched"]
    frames = [frame.asked.frame_id for frame in given_up]
    return Answer({"camera": camera, "latched": latched, "given_up": frames}, 0, partial(_show_cleared, frames))


_KEPT = "Nothing that was known was changed. `duskhold check` tells how the body should be set."
_HINTS = {
    "not_closed": "Close it by hand, then ask again.",
    "not_replaced": "Plug in the camera that took its place, wait some seconds, then ask again.",
}


def _show_cleared(frames: list[str]) -> None:
    for frame in frames:
        wording.say(f"{frame} is recorded as far as it is known; nothing more is fetched of it.")
    print("Frames may be taken again.")


def _bench(args: argparse.Namespace) -> Answer:
    """Learn and answer."""
    from duskhold.app.benching import learn_habits, pull_lead
    from duskhold.app.learning import LearningFailed, dial_as_found, learn_body
    from duskhold.app.settling import settle_the_past
    from duskhold.app.station import at_station
    from duskhold.faces.expose import camera_of
    from duskhold.frames.measure import MeasureError
    from duskhold.light.dials import SHUTTER, NotOnDial
    from duskhold.plan.latency import NotLearnable
    from duskhold.shutter.holder_link import HolderRefused

    if not FEWEST_FRAMES <= args.frames <= MOST_FRAMES:
        raise Wrong("bad_input", f"{args.frames} is not within {FEWEST_FRAMES} to {MOST_FRAMES}.", field="--frames")
    try:
        SHUTTER.true_value(args.dial)
    except NotOnDial as wrong:
        raise Wrong("bad_input", f"{wrong}.", field="--dial") from wrong
    if args.pull and not person_is_there():
        raise Wrong("usage", "Pulling the lead needs you at a terminal.", field="--pull", hint="Leave --pull out.")
    settings = settings_of(args)
    camera, folders = camera_of(args, settings), folders_of(args, settings)
    countdown = Countdown(sys.stderr)
    with (
        catching_signals() as caught,
        saying_trouble(),
        saying_journal_errors(),
        at_station(camera, settings, folders) as station,
    ):
        watch = watch_of(countdown, caught)
        settle_the_past(station, watch)
        try:
            with dial_as_found(station):
                lesson = learn_body(station, args.frames, args.dial, watch, countdown.say)
                habits = learn_habits(station, watch, countdown.say)
                pulled = pull_lead(station, watch, _ask_aloud) if args.pull else None
        except (LearningFailed, NotLearnable, MeasureError, HolderRefused) as error:
            status = status_after(caught, 4)
            raise Wrong("not_learnt", f"{error}.", hint=_KEPT, exit_status=status) from error
        finally:
            countdown.clear()
    body = _body(lesson, habits, pulled)
    return Answer(body, status_after(caught, 0), partial(_show, lesson, habits, pulled))


def _ask_aloud(line: str) -> None:
    print(f"\a{line}", file=sys.stderr, flush=True)


def _body(lesson: "Lesson", habits: "Habits", pulled: "Pulled | None") -> dict[str, object]:
    return {
        "body": {"model": lesson.identity.model, "serial": lesson.identity.serial, "library": lesson.identity.library},
        "latency_s": round(lesson.learnt.latency_s, 6),
        "latency_sigma_s": round(lesson.learnt.sigma_s, 6),
        "frames": lesson.learnt.frames,
        "dial_s": lesson.dial_s,
        "drift_stops": round(lesson.learnt.drift_stops, 4),
        "habits": asdict(habits),
        "lost_lead": None if pulled is None else asdict(pulled),
        "kept": str(lesson.kept),
    }


def _show(lesson: "Lesson", habits: "Habits", pulled: "Pulled | None") -> None:
    from duskhold.faces.body_show import habit_lines

    learnt = lesson.learnt
    found = f"{learnt.latency_s * 1000:+.0f} ms against our two calls, give or take {learnt.sigma_s * 1000:.0f} ms"
    print(f"{lesson.identity.model}, serial {lesson.identity.serial}")
    wording.say(f"A held frame is {found}")
    drift = f"the light drifted {learnt.drift_stops:.3f} stop"
    wording.say(f"({learnt.frames} held frames of {lesson.dial_s:g} s; {drift}).")
    for line in habit_lines(habits, pulled):
        wording.say(line)
    wording.say(f"Later frames on this body allow for it. Kept in {lesson.kept}")
