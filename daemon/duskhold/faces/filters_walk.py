"""`duskhold filters measure NAME --camera ADDRESS`: the three frames at a camera, with a person who fits the filter."""

import argparse
import sys
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.countdown import Countdown
from duskhold.faces.inputs import saying_journal_errors
from duskhold.faces.trouble import catching_signals, saying_trouble, watch_of
from duskhold.faces.vigil import Vigil, ensure_somebody_answers, stay_awake

if TYPE_CHECKING:
    from duskhold.app.folders import Folders
    from duskhold.app.measuring import Walked
    from duskhold.app.settings import Settings
    from duskhold.plan.bag import BagFilter


def walk_at_camera(
    args: argparse.Namespace, settings: "Settings", folders: "Folders", known: "BagFilter"
) -> "tuple[Walked, Folders]":
    """Take the frames; also where the measurement belongs: simulated ones lie apart. Raises `Wrong`."""
    from duskhold.app.calibrating import Step
    from duskhold.app.measuring import walk
    from duskhold.app.one import bare_lens, fit
    from duskhold.app.settling import settle_the_past
    from duskhold.app.station import at_station
    from duskhold.faces.expose import camera_of
    from duskhold.faces.one_show import saying_base_failures
    from duskhold.light.filters import NO_FILTER

    ensure_somebody_answers(args)
    camera, countdown = camera_of(args, settings), Countdown(sys.stderr)
    lines = {
        Step.BARE_BEFORE: "An even wall or sky, nothing on the lens",
        Step.FILTERED: f"Fit the filter ({known.name}) and change nothing else",
        Step.BARE_AFTER: "Take it off again and change nothing else",
    }
    with (
        catching_signals() as caught,
        saying_trouble(),
        saying_journal_errors(),
        at_station(camera, settings, folders) as station,
        saying_base_failures(caught),
    ):
        watch = watch_of(countdown, caught)
        settle_the_past(station, watch)
        if args.base is not None:
            from duskhold.app.base_frames import set_dial

            set_dial(station, args.base)
        vigil = Vigil(countdown, caught, stay_awake(station))

        def ready(step: Step) -> None:
            vigil.until_done(args, lines[step])
            fit(station, known.glass if step is Step.FILTERED else NO_FILTER)

        try:
            with bare_lens(station):
                return walk(station, known.glass.stops, watch, ready), station.folders
        finally:
            countdown.clear()


def named_in_bag(name: str, bag: "tuple[BagFilter, ...]") -> "BagFilter":
    """The filter of this name: its label says how long to expose through it. Raises `Wrong`."""
    for one in bag:
        if one.name == name:
            return one
    known = ", ".join(one.name for one in bag) or "none yet"
    raise Wrong(
        "bad_input", f"There is no filter {name!r} in the bag.", field="--name",
        hint=f"In the bag: {known}. Its label says how long to expose through it.",
    )  # fmt: skip
