"""`duskhold frames`: the latest frames, as the journals have them."""

import argparse
import textwrap
from functools import partial
from typing import TYPE_CHECKING, Any, cast

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, home_of, saying_journal_errors, settings_of, zone_of
from duskhold.frames.remarks import judged, words_of
from duskhold.plan.stamp import utc_from

if TYPE_CHECKING:
    from datetime import tzinfo

USUAL_LIMIT = 20
LARGEST_LIMIT = 100_000
LONGEST_WORDS = 120
"""Of a remark, in a list; `note` and the page have all of it."""

Record = dict[str, Any]


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "frames",
        help="the latest frames and what became of them",
        description="The latest frames, newest first: true open times, outcomes and files. "
        "Frames of the simulated camera have a journal of their own and are listed among the others.",
    )
    parser.add_argument("--limit", metavar="N", type=int, default=USUAL_LIMIT, help=f"how many ({USUAL_LIMIT})")


def run(args: argparse.Namespace) -> Answer:
    """The records of the latest frames."""
    from duskhold.app.overview import latest_frames
    from duskhold.app.record import frame_record

    if not 1 <= args.limit <= LARGEST_LIMIT:
        raise Wrong("bad_input", f"{args.limit} is not within 1 to {LARGEST_LIMIT}.", field="--limit")
    settings = settings_of(args)
    folders = folders_of(args, settings)
    with saying_journal_errors():
        records = [frame_record(frame, home_of(settings)) for frame in latest_frames(folders, args.limit)]
    title = f"Frames in {folders.data}, newest first"
    return Answer({"frames": records}, 0, partial(show_records, title, records, zone_of(settings)))


def show_records(title: str, records: list[Record], zone: "tzinfo | None") -> None:
    """Print frames as a table, one line each."""
    if not records:
        wording.say(f"{title}: none yet.")
        return
    head = ("frame", "outcome", "open", "opened UTC", "local", "")
    wording.print_table(title, head, [_row(record, zone) for record in records])


def _row(record: Record, zone: "tzinfo | None") -> list[str]:
    opened = record["opened_utc"]
    moment = utc_from(opened) if opened else None
    return [
        record["frame_id"],
        record["outcome"].replace("_", " "),
        wording.open_time(record),
        wording.clock_utc(moment) if moment else "–",
        wording.clock_local(moment, zone) if moment else "–",
        "; ".join(_remarks(record)),
    ]


def _said(record: Record) -> list[str]:
    return [said for said in (judged(record), *words_of(record)) if said]


def _remarks(record: Record) -> list[str]:
    remarks = [record["role"]]
    planned_s = record["planned_s"]
    if planned_s is not None and record["outcome"] != "complete":
        remarks.append(f"{wording.duration(planned_s)} planned")
    if record["open_s"] is None and record["open_s_range"]:
        least_s, most_s = cast(list[float], record["open_s_range"])
        remarks.append(f"open {wording.duration(least_s)} to {wording.duration(most_s)}")
    files = record["files"]
    if files:
        remarks.append(f"{len(files)} file" + ("s" if len(files) > 1 else ""))
    if record["reason"]:
        remarks.append(record["reason"])
    remarks.extend(textwrap.shorten(said, LONGEST_WORDS, placeholder="…") for said in _said(record))
    return remarks
