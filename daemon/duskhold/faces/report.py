"""`duskhold report`: an evening written down, as a page, a table, a log, checksums and side files."""

import argparse
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, place_of, read, saying_journal_errors, settings_of, zone_of

if TYPE_CHECKING:
    from duskhold.app.reporting import Written


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "report",
        help="write an evening down: page, table, log, checksums, side files",
        description="Measures the day's frames, each against the base frame before it (in an evening without one, "
        "against its first long frame), and writes into the folder `record` beside them: a page that needs no network, "
        "a table, a plain log, checksums, one side file a frame. No picture is touched and no file replaced.",
    )
    parser.add_argument("--day", metavar="DATE", help="the day in UTC on which it began; the latest otherwise")
    parser.add_argument("--place", metavar="LAT,LON", help="for the sun and the modelled light")
    parser.add_argument(
        "--with-position", action="store_const", const=True, help="put the position into the side files"
    )


def run(args: argparse.Namespace) -> Answer:
    """Where everything was written."""
    from duskhold.app.overview import journal_paths
    from duskhold.app.reporting import asked_on, gather_evening, write_evening
    from duskhold.app.writing_down import RECORD_FOLDER

    settings = settings_of(args)
    folders = folders_of(args, settings)
    place = place_of("--place", args.place) if args.place else settings.place.place() if settings.place else None
    if args.with_position and place is None:
        raise Wrong("bad_input", "No position is known.", field="--with-position", hint="Give one with --place.")
    day = read("--day", args.day, date.fromisoformat, "A day is written 2026-10-14.") if args.day else None
    with saying_journal_errors():
        day, asked = asked_on(journal_paths(folders), day)
    written = []
    for one in asked:
        began = one.frames[0].written.utc.date()
        folder = one.journal.parent / "frames" / began.isoformat() / RECORD_FOLDER
        evening = gather_evening(one.frames, began, place, zone_of(settings), one.accounts)
        written.append(write_evening(evening, folder, began, place if args.with_position else None))
    if not written:
        raise Wrong("no_frames", f"There are no frames of {day}." if day else "There are no frames yet.", field="--day")
    return Answer({"reports": [_body(one) for one in written]}, 0, partial(_show, written))


def _body(written: "Written") -> dict[str, object]:
    from duskhold.frames.evening import good_frames, unjudged_frames

    evening = written.evening
    return {
        "page": str(written.page),
        "table": str(written.table),
        "log": str(written.log),
        "checksums": str(written.checksums),
        "side_files": [str(path) for path in written.side_files],
        "frames": len(evening.frames),
        "good": good_frames(evening),
        "unjudged": unjudged_frames(evening),
        "losses": [{"cause": cause, "frames": ids} for cause, _, ids in evening.losses()],
        "evenings": [account.body() for account in evening.accounts],
    }


def _show(written: "list[Written]") -> None:
    for one in written:
        wording.say(Path(one.log).read_text(encoding="utf-8"))
        for account in one.evening.accounts:
            wording.say("\n".join(account.sentences()))
        for cause, count, ids in one.evening.losses():
            wording.say(f"{cause}: {count} ({', '.join(ids)})")
        wording.say(f"The page of the evening: {one.page}")
