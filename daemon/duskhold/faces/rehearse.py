"""`duskhold rehearse`: the main job without any hardware, with pictures, numbers, and where it all lies."""

import argparse
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from duskhold.faces import rehearse_outing, wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.countdown import Countdown
from duskhold.faces.inputs import folders_of, saying_journal_errors, settings_of
from duskhold.faces.rehearse_outing import add_outing_options
from duskhold.faces.trouble import catching_signals, saying_trouble, status_after
from duskhold.plan.stamp import utc_from, utc_text

if TYPE_CHECKING:
    from duskhold.app.rehearsal import Evening, Rehearsal
    from duskhold.app.rehearsal_library import LibraryFrame
    from duskhold.app.rehearsal_tripod import Taken

Body = dict[str, Any]

USUAL_SEED = 1
EXIT_FAILED = 4
PICTURE = "rehearsal.png"


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "rehearse",
        help="the whole job on a simulated camera: no hardware, twenty seconds",
        description="A dusk of our own on the simulated camera: two base frames, the drift from their pixels, a "
        "computed long frame, and the plain time that nobody corrected beside it. Then a short frame held through the "
        "real camera library, on a simulated body served over loopback. With an outing: its whole evening instead, "
        "with weather, faults and a person. Everything is kept among simulated frames.",
    )
    parser.add_argument("--seed", metavar="N", type=int, default=USUAL_SEED, help=f"which evening ({USUAL_SEED})")
    add_outing_options(parser)


def run(args: argparse.Namespace) -> Answer:
    """Rehearse, draw, and answer with the numbers."""
    if args.seed < 0:
        raise Wrong("bad_input", f"{args.seed} is under 0.", field="--seed")
    if args.outing is not None:
        return rehearse_outing.run(args)
    began_s = time.monotonic()
    folders = folders_of(args, settings_of(args))
    print(f"Seed {args.seed}", file=sys.stderr, flush=True)
    progress = Progress(sys.stderr)
    with catching_signals() as caught, saying_trouble(), saying_journal_errors(), _saying_failures(caught):
        from duskhold.app.exposing import Watch
        from duskhold.app.rehearsal import rehearse

        watch = Watch(progress.seen, lambda: bool(caught))
        rehearsal = rehearse(folders, args.seed, progress.say, watch)
        progress.say("The picture")
        picture = _draw(rehearsal)
        progress.clear()
    body = rehearsal_body(rehearsal, picture)
    body["took_s"] = round(time.monotonic() - began_s, 1)
    status = 0 if rehearsal.library.outcome.outcome == "complete" else EXIT_FAILED
    return Answer(body, status_after(caught, status), partial(_show, body))


class Progress:
    """What is being done now, line by line, if `stream` is a terminal; a held frame counts down below."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._countdown = Countdown(stream)
        self.seen = self._countdown.seen
        self.clear = self._countdown.clear

    def say(self, line: str) -> None:
        self.clear()
        if self._stream.isatty():
            print(f"  {line} ...", file=self._stream, flush=True)


@contextmanager
def _saying_failures(caught: list[signal.Signals]) -> Iterator[None]:
    from duskhold.app.rehearsal_tripod import RehearsalFailed

    try:
        yield
    except RehearsalFailed as error:
        raise Wrong("rehearsal_failed", f"{str(error).rstrip('.')}.", exit_status=EXIT_FAILED) from error
    except KeyboardInterrupt:
        said = "Interrupted; the frames taken until now are kept."
        raise Wrong("interrupted", said, exit_status=status_after(caught, 130)) from None


def _draw(rehearsal: "Rehearsal") -> Path:
    from duskhold.faces.picture import draw_picture

    path = rehearsal.folder / PICTURE
    draw_picture(rehearsal.evening, path)
    return path


def rehearsal_body(rehearsal: "Rehearsal", picture: Path) -> Body:
    """Everything that was found, as one JSON object."""
    from duskhold.app.rehearsal_scene import BASE_DIAL, FILTER, NAME, PLACE

    evening, decision = rehearsal.evening, rehearsal.evening.decision
    taken = (evening.first, evening.second, evening.corrected, evening.uncorrected)
    files = [file.record() for one in taken for file in one.files]
    return {
        "seed": evening.scene.seed,
        "place": {"name": NAME, "latitude_deg": PLACE.latitude_deg, "longitude_deg": PLACE.longitude_deg},
        "base": {
            "dial": BASE_DIAL,
            "base_s": decision.base_s,
            "first": _taken_body(evening, evening.first),
            "second": _taken_body(evening, evening.second),
        },
        "filter": {"stops": FILTER.stops, "stops_rgb": list(FILTER.stops_rgb or ())},
        "drift": {
            "measured_stops_per_min": evening.measured_stops_per_min,
            "model_stops_per_min": evening.model_stops_per_min,
        },
        "decision": {
            "plain_s": decision.plain_s,
            "delay_s": decision.delay_s,
            "open_s": decision.open_s,
            "correction_stops": decision.correction_stops,
            "uncorrected_error_stops": decision.uncorrected_error_stops,
        },
        "corrected": _taken_body(evening, evening.corrected),
        "uncorrected": _taken_body(evening, evening.uncorrected),
        "library": _library_body(rehearsal.library),
        "files": files + [dict(file) for file in rehearsal.library.outcome.files],
        "picture": str(picture),
        "folder": str(rehearsal.folder),
        "journal": str(rehearsal.folders.journal),
    }


def _taken_body(evening: "Evening", taken: "Taken") -> Body:
    level = taken.level
    return {
        "frame_id": taken.frame_id,
        "opened_utc": utc_text(taken.opened_utc),
        "planned_s": taken.planned_s,
        "open_s": taken.open_s,
        "level_above_black": {"red": level.red, "green": level.green, "blue": level.blue},
        "clipped_share": level.clipped_share,
        "error_stops": evening.error_stops(taken),
    }


def _library_body(frame: "LibraryFrame") -> Body:
    outcome = frame.outcome
    known = outcome.open_s is not None and frame.body_open_s is not None
    return {
        "camera": frame.camera,
        "model": frame.model,
        "library": frame.library,
        "frame_id": outcome.frame_id,
        "outcome": outcome.outcome,
        "planned_s": frame.planned_s,
        "open_s": outcome.open_s,
        "open_s_sigma_s": outcome.report.get("open_s_sigma_s"),
        "body": {
            "openings": frame.openings,
            "open_s": frame.body_open_s,
            "record_minus_body_s": (outcome.open_s or 0.0) - (frame.body_open_s or 0.0) if known else None,
        },
        "reason": outcome.reason or None,
    }


def _show(body: Body) -> None:
    _show_evening(body)
    _show_library(body["library"])
    _show_places(body)


def _show_evening(body: Body) -> None:
    drift, decision, base = body["drift"], body["decision"], body["base"]
    opened = utc_from(base["second"]["opened_utc"])
    rows = [
        [
            "base frames",
            f"{base['dial']} s",
            f"levels {_level(base['first'])} and {_level(base['second'])} above black",
        ],
        ["drift, measured", _rate(drift["measured_stops_per_min"]), "from their pixels: this one is used"],
        ["drift, model", _rate(drift["model_stops_per_min"]), "a clear sky; the cloud made the difference"],
        ["plain time", wording.duration(decision["plain_s"]), f"through a filter of {body['filter']['stops']:g} stops"],
        [
            "open time",
            wording.duration(decision["open_s"]),
            f"{wording.stops(decision['correction_stops'])} for the drift",
        ],
        ["corrected frame", _error(body["corrected"]), "its level against the second base frame"],
        ["uncorrected frame", _error(body["uncorrected"]), "the plain time, held at the same moment"],
    ]
    when = f"{wording.day_utc(opened)} {wording.clock_utc(opened)} UTC"
    title = f"Seed {body['seed']}: {body['place']['name']}, {when}, simulated"
    wording.print_table(title, ("", "", ""), rows)


def _show_library(library: Body) -> None:
    body = library["body"]
    rows = [
        ["asked for", wording.duration(library["planned_s"]), library["outcome"].replace("_", " ")],
        ["in the record", _seconds(library["open_s"]), _doubt(library["open_s_sigma_s"])],
        [
            "by the body's own log",
            _seconds(body["open_s"]),
            _times(body["openings"]),
        ],
    ]
    title = f"\nHeld through libgphoto2 {library['library']}, in real time"
    wording.print_table(title, ("", "", ""), rows)
    if library["reason"]:
        print(f"  {library['reason']}")


def _show_places(body: Body) -> None:
    folders = Counter(str(Path(file["path"]).parent) for file in body["files"])
    print("\nWhere it lies")
    print(f"  the picture         {body['picture']}")
    for folder, count in folders.items():
        print(f"  {f'{count} files of frames':<18}  {folder}")
    print(f"  the journal         {body['journal']}")
    print(f"  the body's own log  {body['folder']}")
    print(f"\nTook {body['took_s']:g} s. `duskhold frames` lists the frames.")
    print("`duskhold expose --help` tells how to take real ones.")


def _level(taken: Body) -> str:
    return f"{taken['level_above_black']['green']:.0f}"


def _error(taken: Body) -> str:
    return wording.stops(taken["error_stops"])


def _rate(stops_per_min: float) -> str:
    return f"{wording.signed(stops_per_min, 3)} stop/min"


def _seconds(seconds: float | None) -> str:
    return "not known" if seconds is None else f"{seconds:.3f} s"


def _times(openings: int) -> str:
    return "opened once" if openings == 1 else f"opened {openings} times"


def _doubt(sigma_s: float | None) -> str:
    return "" if sigma_s is None else f"± {sigma_s:g} s: its latencies are not learnt yet"
