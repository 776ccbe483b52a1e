"""`duskhold rehearse OUTING.yaml`: the whole evening of an outing on the simulated camera, before going out."""

import argparse
import sys
import time
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, now_utc, saying_journal_errors, settings_of
from duskhold.faces.outings import outing_of, saying_outing_errors
from duskhold.faces.telling import Once, row
from duskhold.faces.trouble import catching_signals, saying_trouble, status_after
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.app.evening_rehearsal import Rehearsed, Staging
    from duskhold.plan.outing import Outing

WEATHERS = ("clear", "thin", "broken")
PEOPLE = ("prompt", "late", "careless", "away")
EXIT_NOT_ENDED = 4
_QUIET = ("frame",)
"""Frames are in the table at the end."""
_PLANNED = ("left", "replanned")
"""What is left changes with every frame: it is said once, and the table shows what came of it."""
_MARKS = {"ring": "! ", "person": "> "}


def add_outing_options(parser: argparse.ArgumentParser) -> None:
    """What stages an outing's evening."""
    parser.add_argument("outing", metavar="OUTING.yaml", nargs="?", help="rehearse this outing's evening instead")
    parser.add_argument("--faults", metavar="SPEC", help="NAME=VALUE, with commas between: link_drop=3,press_busy=5%%")
    parser.add_argument("--weather", choices=WEATHERS, help="of the outing's evening (by its seed)")
    parser.add_argument("--person", choices=PEOPLE, default="prompt", help="who answers the prompts (prompt)")
    parser.add_argument("--speed", metavar="X|max", default="max", help="simulated seconds per real second (max)")


def run(args: argparse.Namespace) -> Answer:
    """Rehearse the outing; the answer is what became of every frame, and where it lies."""
    from duskhold.app.evening_rehearsal import rehearse_outing
    from duskhold.frames.store import StoreError

    began_s = time.monotonic()
    settings = settings_of(args)
    staging = _staging(args)
    outing = outing_of(args, settings, now_utc())
    path = Path(args.outing).expanduser()
    print(f"Seed {args.seed}", file=sys.stderr, flush=True)
    say = _Teller(args.json)
    with catching_signals() as caught, saying_trouble(), saying_journal_errors(), saying_outing_errors(path):
        try:
            folders, text = folders_of(args, settings), path.read_text(encoding="utf-8")
            found = rehearse_outing(outing, text, staging, folders, say, lambda: bool(caught))
        except StoreError as error:
            raise Wrong("rehearsal_failed", f"{str(error).rstrip('.')}.", exit_status=EXIT_NOT_ENDED) from error
        except ValueError as error:
            raise Wrong("bad_input", f"{str(error).rstrip('.')}.", field="--faults") from error
    body = _body(outing, staging, found)
    body["took_s"] = round(time.monotonic() - began_s, 1)
    status = EXIT_NOT_ENDED if found.reason == "not_ended" else 0
    return Answer(body, status_after(caught, status), partial(_show, body))


class _Teller:
    """Tells the evening line by line as it goes, on the error stream; with --json it keeps quiet."""

    def __init__(self, is_quiet: bool) -> None:
        self._is_quiet, self._is_planned, self._once = is_quiet, False, Once()

    def __call__(self, at_utc: datetime, word: str, line: str) -> None:
        is_old = word in _QUIET or (word in _PLANNED and self._is_planned)
        self._is_planned |= word in _PLANNED
        said = self._once.said(word, line)
        if said is not None and not (self._is_quiet or is_old):
            print(row(at_utc, f"{_MARKS.get(word, '')}{said}", sys.stderr), file=sys.stderr, flush=True)


def _staging(args: argparse.Namespace) -> "Staging":
    from duskhold.app.evening_rehearsal import Staging
    from duskhold.camera.faults import read_faults

    faults = tuple(word for word in (args.faults or "").replace(" ", ",").split(",") if word)
    faults = _rejoined(faults)
    try:
        read_faults(faults)
    except ValueError as error:
        raise Wrong("bad_input", f"{str(error).rstrip('.')}.", field="--faults") from error
    return Staging(args.seed, args.weather, args.person, faults, _speed(args.speed))


def _rejoined(words: tuple[str, ...]) -> tuple[str, ...]:
    """Attempts are listed with commas too: `link_drop=2,5` is one fault."""
    found: list[str] = []
    for word in words:
        if "=" in word or not found:
            found.append(word)
        else:
            found[-1] += f",{word}"
    return tuple(found)


def _speed(text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = float(text)
    except ValueError:
        speed = 0.0
    if not 0.0 < speed <= 1e6:
        hint = "60 shows an hour in a minute; max does not wait at all."
        raise Wrong("bad_input", f"{text!r} is no speed.", field="--speed", hint=hint)
    return speed


def _body(outing: "Outing", staging: "Staging", found: "Rehearsed") -> dict[str, Any]:
    from duskhold.app.record import frame_record

    written = found.written
    return {
        "outing": outing.name,
        "seed": staging.seed,
        "begins_utc": utc_text(found.world.begins_utc + timedelta(minutes=10)),
        "stop": {"reason": found.reason, "line": found.line},
        "frames": [
            frame_record(frame, outing.place) | {"level_stops": found.levels.get(frame.asked.frame_id)}
            for frame in found.frames
        ],
        "folder": str(found.folder),
        "page": None if written is None else str(written.page),
        "reason": None if written is not None else "nothing was taken, so there is nothing to report",
    }


def _show(body: dict[str, Any]) -> None:
    from duskhold.faces import wording

    wording.say(f"{body['outing']}: {body['stop']['line']}")
    rows = []
    first = next((one["level_stops"] for one in body["frames"] if one["role"] == "long" and one["level_stops"]), None)
    for number, frame in enumerate(body["frames"], 1):
        opened = frame.get("opened_utc")
        at = "" if opened is None else str(opened)[11:19]
        rows.append(
            [
                str(number),
                at,
                str(frame["role"]),
                wording.open_time(frame),
                _level(frame, first),
                str(frame["outcome"]).replace("_", " "),
                _verdict(frame),
                str(len(frame["files"])),
            ]
        )
    if rows:
        wording.print_table(
            "Frames: opened UTC; level of the land in stops, against the first long frame",
            ("n", "opened", "role", "open", "level", "outcome", "verdict", "files"),
            rows,
        )
    print(f"Page    {body['page'] or 'none: ' + str(body['reason'])}")
    print(f"Folder  {body['folder']}")


def _verdict(frame: dict[str, Any]) -> str:
    """Its codes, as `compare` says them."""
    verdict = frame["verdict"]
    if verdict is None:
        return ""
    codes = [str(finding["code"]).replace("_", " ") for finding in verdict["measured"].get("verdict", ())]
    return ", ".join(codes) or ("good" if verdict["good"] else "not measured")


def _level(frame: dict[str, Any], first: float | None) -> str:
    from duskhold.faces import wording

    if frame["role"] != "long" or frame["level_stops"] is None or first is None:
        return ""
    return wording.signed(frame["level_stops"] - first, 2)
