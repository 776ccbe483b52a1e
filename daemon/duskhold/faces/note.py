"""`duskhold note`: what a person says of a frame afterwards."""

import argparse
from functools import partial
from typing import Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import folders_of, home_of, line_of, saying_journal_errors, settings_of
from duskhold.frames.remarks import judged, words_of

LONGEST_NOTE = 2000
STARS = range(1, 6)


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "note",
        help="say something of a frame: words, keep or reject, stars",
        description="Words of yours to a frame, the latest long one unless another is named. They are added to "
        "the journal, where nothing is ever taken away, and stand in `frames`, in the report and in the side files "
        "that it writes.",
    )
    parser.add_argument("words", metavar="WORD", nargs="*", help="what is to be remembered")
    parser.add_argument("--frame", metavar="ID", help="which frame (the latest long one)")
    parser.add_argument("--stars", metavar="N", type=int, help="1 to 5")
    kept = parser.add_mutually_exclusive_group()
    kept.add_argument("--keep", dest="keep", action="store_true", default=None, help="worth keeping")
    kept.add_argument("--reject", dest="keep", action="store_false", help="not worth keeping; its files stay")


def run(args: argparse.Namespace) -> Answer:
    """The frame with everything that was said of it."""
    from duskhold.app.record import frame_record
    from duskhold.app.remark import NoSuchFrame, Remark, remark_on
    from duskhold.app.station import stamp_now

    typed = " ".join(args.words)
    text = line_of("WORD", typed, LONGEST_NOTE) if typed.strip() else None
    if text is None and args.keep is None and args.stars is None:
        raise Wrong("usage", "Nothing was said.", field="WORD", hint="Give words, --keep, --reject or --stars.")
    if args.stars is not None and args.stars not in STARS:
        raise Wrong("bad_input", f"{args.stars} is not within {STARS[0]} to {STARS[-1]}.", field="--stars")
    settings = settings_of(args)
    with saying_journal_errors():
        try:
            frame = remark_on(folders_of(args, settings), args.frame, Remark(text, args.keep, args.stars), stamp_now)
        except NoSuchFrame:
            said = "There is no frame yet." if args.frame is None else f"No journal has a frame {args.frame}."
            raise Wrong("no_frame", said, field="--frame", hint="`duskhold frames` lists them.") from None
    record = frame_record(frame, home_of(settings))
    return Answer(record, 0, partial(_show, record))


def _show(record: dict[str, Any]) -> None:
    is_told = record["open_s"] is not None or record["planned_s"] is None
    length = wording.open_time(record) if is_told else f"{wording.duration(record['planned_s'])} planned"
    wording.say(f"{record['frame_id']}, {record['role']}, {length}:")
    for said in (judged(record), *words_of(record)):
        if said:
            wording.print_line(said)
