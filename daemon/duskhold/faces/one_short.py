"""A frame of `duskhold one` that cannot be finished: the ways out told, and taken short where a person wants that."""

from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.inputs import person_is_there

if TYPE_CHECKING:
    from collections.abc import Mapping

    from duskhold.faces.one import Post, Wish
    from duskhold.faces.solve import Question
    from duskhold.plan.command import ShutterCommand
    from duskhold.plan.decision import ExposureDecision
    from duskhold.plan.ways_out import WayOut

_ACCEPT, _FILTER = "accept", "filter"


def short_wanted(wish: "Wish", post: "Post", question: "Question") -> bool:
    """Whether a frame that cannot be finished is to be taken at the longest time allowed, by option or by a person."""
    from duskhold.faces.solve import decide
    from duskhold.faces.solve_answer import ending_of

    if wish.args.accept_short:
        return True  # what can be finished now may be out of reach a moment later, at the opening
    decision, longest_s = decide(question), wish.settings.limits.longest_s
    can_be_finished = decision.open_s is not None and decision.open_s <= longest_s
    if can_be_finished or wish.args.json or not person_is_there():
        return False
    ways = ending_of(question, decision, bool(question.bag)).ways_out
    others = [_told(way) for way in ways if way.kind.value != _ACCEPT]
    lines = [_cannot(decision, longest_s), *(["With a new base frame:", *others] if others else [])]
    short = [way.shortfall_stops for way in ways if way.kind.value == _ACCEPT and way.open_s == longest_s]
    dark = f", {short[0]:.2f} stop short" if short else ""
    lines.append(f"Open it for {wording.duration(longest_s)} all the same{dark}?")
    return post.vigil.agreed("\n".join(lines))


def choice_body(reasoning: "Mapping[str, Any]", command: "ShutterCommand", decision: "ExposureDecision") -> object:
    """What was chosen of the ways out, as the record has it; None for a frame that is held as computed."""
    if command.open_s == decision.open_s:
        return None
    ways = (way for way in reasoning["ways_out"] if way["kind"] == _ACCEPT and way["open_s"] == command.open_s)
    hardly: dict[str, object] = {"kind": _ACCEPT, "open_s": command.open_s, "shortfall_stops": 0.0}
    return next(ways, hardly)


def _told(way: "WayOut") -> str:
    # An aperture and an ISO say what they are; a filter has a name that a person gave it.
    what = f"filter {way.setting}" if way.kind.value == _FILTER else way.setting
    note = f" ({way.note})" if way.note else ""
    return f"- {what}: {wording.duration(way.open_s)}{note}"


def _cannot(decision: "ExposureDecision", longest_s: float) -> str:
    if decision.open_s is None:
        return f"It cannot be finished: {decision.reason}."
    allowed = wording.duration(longest_s)
    return f"It would take {wording.duration(decision.open_s)}; {allowed} is the longest time allowed."
