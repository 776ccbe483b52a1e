"""`solve --bracket` and `solve --stack`: several frames in place of one, each for its own moment."""

import argparse
import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from duskhold.faces import wording
from duskhold.faces.answer import Wrong
from duskhold.faces.inputs import number_of, read
from duskhold.plan.stamp import utc_text

if TYPE_CHECKING:
    from duskhold.faces.solve import Question
    from duskhold.light.bracket import Bracket, BracketUnfinishable, Member, Order
    from duskhold.plan.burst import Burst
    from duskhold.plan.decision import ExposureDecision

MOST_STEPS, WIDEST_STOPS = 9, 6.0
MOST_STACKED = 10_000
_BRACKET_GAP_S, _STACK_GAP_S = 10.0, 1.0
_ORDERS = {"shortest_first": "shortest first", "longest_first": "longest first"}


@dataclass(frozen=True, slots=True)
class Several:
    """What the options ask for: a bracket in the order that is proposed and in the other, and a stack.

    The frames of a stack are held as metered: `first_stops` and `last_stops` are how bright the light then is.
    """

    bracket: "Bracket | BracketUnfinishable | None"
    other_order: "Bracket | BracketUnfinishable | None"
    burst: "Burst | None"
    first_stops: float
    last_stops: float
    question: "Question"
    decision: "ExposureDecision"


def add_several_options(parser: argparse.ArgumentParser) -> None:
    """The options of several frames."""
    asked = parser.add_argument_group("several frames in place of one")
    asked.add_argument("--bracket", metavar="STOPS,STOPS", help="a bracket of long frames around it: -1,0,1")
    asked.add_argument("--stack", metavar="N", type=int, help="N frames of the same dose, to be averaged")
    asked.add_argument("--gap", metavar="S", type=float, help="between two frames (10; of a stack 1)")
    asked.add_argument("--picture-mb", metavar="MB", type=float, default=50.0, help="stack: one picture (50)")
    asked.add_argument("--lead-mb-per-s", metavar="MB", type=float, default=25.0, help="stack: over the lead (25)")
    asked.add_argument("--buffer", metavar="N", type=int, default=20, help="stack: frames that the camera holds (20)")


def several_for(args: argparse.Namespace, question: "Question", decision: "ExposureDecision") -> Several:
    """Work out what is asked for. Raises `Wrong`."""
    from duskhold.light.bracket import best_bracket, plan_bracket
    from duskhold.plan.outlook import outlook

    if args.bracket is None and args.stack is None and args.gap is not None:
        raise Wrong("usage", "A pause is one between several frames: --bracket or --stack.", field="--gap")
    light, delay_s = outlook(question.drift, question.metered_utc, question.opens_utc), decision.delay_s
    bracket = other = burst = None
    ends_s = delay_s
    if args.bracket is not None:
        steps, gap_s = read("--bracket", args.bracket, _steps), _gap(args, _BRACKET_GAP_S)
        dose_s = decision.plain_s * 2.0 ** question.leaning_stops(decision.rate_stops_per_min)
        bracket = best_bracket(light, dose_s, steps, delay_s, gap_s)
        other = plan_bracket(light, dose_s, steps, delay_s, gap_s, _opposite(bracket.order))
    if args.stack is not None:
        burst = _burst(args, question)
        ends_s += burst.shot_s
    first_stops, last_stops = light.level_stops(delay_s), light.level_stops(ends_s)
    return Several(bracket, other, burst, first_stops, last_stops, question, decision)


def several_body(found: Several) -> dict[str, object]:
    """As the JSON object has it; null for what was not asked."""
    bracket, burst = found.bracket, found.burst
    return {
        "bracket": None if bracket is None else _bracket_body(bracket, found)
        | {"other_order": None if found.other_order is None else _bracket_body(found.other_order, found)},
        "stack": None if burst is None else _burst_body(found, burst),
    }  # fmt: skip


def show_several(found: Several) -> None:
    """In tables."""
    if found.bracket is not None:
        _show_bracket(found)
    if found.burst is not None:
        _show_burst(found, found.burst)


def _steps(text: str) -> tuple[float, ...]:
    try:
        steps = tuple(float(word) for word in text.split(","))
    except ValueError:
        steps = ()
    if not all(abs(step) <= WIDEST_STOPS for step in steps) or not 2 <= len(set(steps)) == len(steps) <= MOST_STEPS:
        raise ValueError(
            f"{text!r} is not 2 to {MOST_STEPS} steps in stops, each once, within ±{WIDEST_STOPS:g}: -1,0,1"
        )
    return steps


def _gap(args: argparse.Namespace, usual_s: float) -> float:
    return number_of("--gap", usual_s if args.gap is None else args.gap, 0.0, 3600.0, "s")


def _opposite(order: "Order") -> "Order":
    from duskhold.light.bracket import Order

    return Order.LONGEST_FIRST if order is Order.SHORTEST_FIRST else Order.SHORTEST_FIRST


def _burst(args: argparse.Namespace, question: "Question") -> "Burst":
    from duskhold.plan.burst import BurstKit, plan_burst

    frames = int(number_of("--stack", args.stack, 2, MOST_STACKED, "frames"))
    kit = BurstKit(
        gap_s=_gap(args, _STACK_GAP_S),
        picture_bytes=1e6 * number_of("--picture-mb", args.picture_mb, 0.1, 2000.0, "MB"),
        lead_bytes_per_s=1e6 * number_of("--lead-mb-per-s", args.lead_mb_per_s, 0.1, 5000.0, "MB/s"),
        buffer_frames=int(number_of("--buffer", args.buffer, 1, 10_000, "frames")),
    )
    return plan_burst(question.base_s, question.change.cost_stops, frames, kit)


def _bracket_body(bracket: "Bracket | BracketUnfinishable", found: Several) -> dict[str, object]:
    from duskhold.light.bracket import Bracket

    if not isinstance(bracket, Bracket):
        return {"order": bracket.order.value, "frames": [], "ends_utc": None, "longest_over_shortest": None,
                "reason": _unfinished(bracket)}  # fmt: skip
    frames = [
        {"step_stops": one.step_stops, "opens_utc": utc_text(_utc(found, one.opens_s)), "open_s": one.open_s,
         "closes_utc": utc_text(_utc(found, one.opens_s + one.open_s)),
         "uncorrected_error_stops": one.uncorrected_error_stops, "limits_exceeded": list(_exceeded(found, one))}
        for one in bracket.members
    ]  # fmt: skip
    return {"order": bracket.order.value, "frames": frames, "ends_utc": utc_text(_utc(found, bracket.ends_s)),
            "longest_over_shortest": bracket.spread, "reason": None}  # fmt: skip


def _utc(found: Several, at_s: float) -> datetime:
    return found.question.opens_utc + timedelta(seconds=at_s - found.decision.delay_s)


def _exceeded(found: Several, one: "Member") -> tuple[str, ...]:
    """Limits of the settings past which `expose` would refuse this frame."""
    from duskhold.plan.decision import exceeded

    correction_stops = math.log2(one.open_s / found.decision.plain_s) - one.step_stops
    return exceeded(one.open_s, correction_stops, one.opens_s, found.question.settings.limits.exposure())


def _unfinished(bracket: "BracketUnfinishable") -> str:
    step, short = wording.signed(bracket.step_stops, 2), bracket.short.shortfall_stops
    return f"the light does not suffice for the frame of {step} stop: short by {short:.2f} stop"


def _show_bracket(found: Several) -> None:
    from duskhold.light.bracket import Bracket

    bracket, other = found.bracket, found.other_order
    if not isinstance(bracket, Bracket):
        assert bracket is not None, "asked for"
        wording.say(f"The bracket cannot be finished in either order: {_unfinished(bracket)}.")
        return
    rows = [
        [
            f"{wording.signed(one.step_stops, 2)} stop",
            wording.clock_utc(_utc(found, one.opens_s)),
            wording.duration(one.open_s),
            ", ".join([f"{wording.stops(one.uncorrected_error_stops)} without correction", *_past(found, one)]),
        ]
        for one in bracket.members
    ]
    title = f"Bracket, {_ORDERS[bracket.order.value]}: times differ {bracket.spread:.1f} : 1"
    if isinstance(other, Bracket):
        title += f" ({_ORDERS[other.order.value]} {other.spread:.1f} : 1)"
    wording.print_table(title, ("", "opens (UTC)", "open", ""), rows)


def _past(found: Several, one: "Member") -> list[str]:
    return [f"past {name}: expose would refuse" for name in _exceeded(found, one)]


def _burst_body(found: Several, burst: "Burst") -> dict[str, object]:
    return {
        "frames": burst.frames,
        "frame_s": burst.frame_s,
        "open_s": burst.open_s,
        "equals_stops": burst.equals_stops,
        "noise_divided_by": burst.noise_divided_by,
        "needed_bytes": burst.needed_bytes,
        "backlog_frames": burst.backlog_frames,
        "full_after_s": burst.full_after_s,
        "full_at_frame": burst.full_at_frame,
        "shot_s": burst.shot_s,
        "home_s": burst.home_s,
        "first_stops": found.first_stops,
        "last_stops": found.last_stops,
    }


def _show_burst(found: Several, burst: "Burst") -> None:
    rows = [
        ["each", wording.duration(burst.frame_s), f"{wording.duration(burst.open_s)} open in all"],
        ["equals", f"{burst.equals_stops:.1f} stops", "as the filter on one frame"],
        ["noise", f"÷ {burst.noise_divided_by:.1f}", "of the average, where it is random"],
        ["disk", f"{burst.needed_bytes / 1e9:.2f} GB", "before it starts"],
    ]
    if burst.full_after_s is not None:
        rows.append(
            ["buffer full", wording.duration(burst.full_after_s), f"after frame {burst.full_at_frame}, then paced"]
        )
    rows += [
        ["shot in", wording.duration(burst.shot_s), f"all home after {wording.duration(burst.home_s)}"],
        ["first frame", wording.stops(found.first_stops), "against what was metered: each is held as metered"],
        ["last frame", wording.stops(found.last_stops), ""],
    ]
    wording.print_table(f"A stack of {burst.frames} frames", ("", "", ""), rows)
