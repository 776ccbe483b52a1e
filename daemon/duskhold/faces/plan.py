"""`duskhold plan`: the timeline of an outing at home, as a table, as JSON and as a picture."""

import argparse
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Answer
from duskhold.faces.inputs import folders_of, moment_of, now_utc, number_of, settings_of, zone_of
from duskhold.faces.outings import outing_of

if TYPE_CHECKING:
    from duskhold.plan.decision import Drift
    from duskhold.plan.outing import Outing


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "plan",
        help="the timeline of an outing before going out: frames, filter changes, darks, what is left, why it ends",
        description="Goes through an outing as the evening itself would, by the clear sky of its place: every frame, "
        "every change of filters, darks, battery and disk, and what ends it. Opens nothing.",
    )
    parser.add_argument("outing", metavar="OUTING.yaml", help="the outing; config/outings has commented examples")
    parser.add_argument("--rate", metavar="R", type=float, help="the light changes by R stops a minute (0: steady)")
    parser.add_argument("--battery", metavar="PERCENT", type=float, help="the camera's battery when it begins")
    parser.add_argument("--after", metavar="UTC", help="without a day, the first start after this instant (now)")
    parser.add_argument("--picture", metavar="FILE", help="draw it: .png, .svg or .pdf")


def run(args: argparse.Namespace) -> Answer:
    """The plan."""
    from duskhold.app.evening_means import free_bytes
    from duskhold.faces.plan_answer import Planned, plan_body
    from duskhold.faces.plan_table import show_plan
    from duskhold.plan.at_home import standing_at_home
    from duskhold.plan.stops import Means
    from duskhold.plan.timeline import plan_timeline

    settings = settings_of(args)
    asked_utc = now_utc() if args.after is None else moment_of("--after", args.after)
    outing = outing_of(args, settings, asked_utc)
    battery = None if args.battery is None else number_of("--battery", args.battery, 0.0, 100.0, "percent")
    drift, source = _light(args, outing)
    free = free_bytes(folders_of(args, settings).data)
    means = Means(battery, free, outing.costs.battery_percent_per_min)
    timeline = plan_timeline(outing, standing_at_home(outing, drift, means))
    planned = Planned(outing, timeline, drift, source, is_past=timeline.standing.opens_utc < now_utc())
    if args.picture is not None:
        from duskhold.faces.plan_picture import draw_plan

        draw_plan(args.picture, planned)
    return Answer(plan_body(planned, args.picture), 0, partial(show_plan, planned, zone_of(settings), args.picture))


def _light(args: argparse.Namespace, outing: "Outing") -> tuple["Drift", str]:
    from duskhold.plan.at_home import drift_at_home
    from duskhold.plan.decision import SteadyDrift

    if args.rate is not None:
        return SteadyDrift(number_of("--rate", args.rate, -3.0, 3.0, "stops a minute")), "rate"
    return drift_at_home(outing), "taken_for_steady" if outing.place is None else "clear_sky"
