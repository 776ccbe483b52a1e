"""Scout and long frame of `duskhold one` judged, and what is done when the scout says that the long would be lost."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.area import area_of
from duskhold.faces.inputs import person_is_there
from duskhold.light.filters import Filter
from duskhold.plan.budget import MEASURED_FILTER_SIGMA_STOPS

if TYPE_CHECKING:
    from duskhold.app.base_frames import Seen
    from duskhold.app.judging import Judge
    from duskhold.app.scouting import Scouted
    from duskhold.faces.one import Post, Wish
    from duskhold.faces.one_base import Based
    from duskhold.faces.solve import Question
    from duskhold.journal.entry import Outcome


@contextmanager
def judging_from(wish: "Wish", base: "Seen") -> "Iterator[Judge]":
    """A measuring process that reads the base frame while the filter is fitted."""
    from duskhold.app.judging import Judge, standards_of

    path = base.taken.path
    standards = standards_of(wish.settings, path, area_of(wish.args))
    with Judge(standards) as judging:
        judging.look_ahead(path)
        yield judging


def scouted_first(wish: "Wish", post: "Post", base: "Seen", question: "Question", judging: "Judge") -> "Scouted | None":
    """Take and judge the scout, and write down what it says; None where there is nothing to look through."""
    from duskhold.app.scouting import scout
    from duskhold.app.verdict_record import keep_verdict
    from duskhold.faces.solve import decide
    from duskhold.plan.scout import is_worth_it

    decision = decide(question)
    wanted = {"always": True, "never": False, "auto": is_worth_it(decision.plain_s)}[wish.args.scout]
    # What the light never finishes is refused anyway.
    if not wish.filters or not wanted or decision.open_s is None:
        return None
    post.vigil.countdown.say("scout frame through the filter")
    found = scout(post.station, base, wish.glass, question.drift, judging, post.watch)
    keep_verdict(post.station, found.taken.outcome, base.taken.outcome.frame_id, found.verdict)
    return found


def ensure_no_objection(wish: "Wish", post: "Post", found: "Scouted | None") -> None:
    """Raises `Wrong` where the scout says that the long frame would be lost, and nobody wants it all the same."""
    from duskhold.plan.evening_words import Act

    if found is None or found.verdict.act not in (Act.RETAKE, Act.ASK, Act.STOP) or wish.args.go_on:
        return
    line = f"The scout frame says: {found.verdict.line}."
    if not wish.args.json and person_is_there() and post.vigil.agreed(f"{line}\nOpen the long frame all the same?"):
        return
    raise Wrong(
        "scout_objects", line, exit_status=3, field="--go-on",
        hint="Put it right and start again, with a new base frame; --go-on takes the long frame all the same.",
    )  # fmt: skip


def as_seen(wish: "Wish", post: "Post", found: "Scouted | None") -> "Wish":
    """The same with the stops that the scout saw, where they are far from those stored and a person says so.

    Nobody there: what is stored counts, and the question stands in the record.
    """
    check = None if found is None else found.filter_check
    if check is None or check.question is None or wish.args.go_on or wish.args.json or not person_is_there():
        return wish
    answer = post.vigil.enter(
        f"{check.seen_stops:.2f} stops seen through the filter, {check.stored_stops:.2f} stored: {check.question}\n"
        "y and Enter exposes by what was seen; Enter alone by what is stored:"
    )
    if answer.lower() not in ("y", "yes"):
        return wish
    seen = Filter(wish.glass.label, check.seen_stops)
    sigma_stops = math.hypot(check.light_sigma_stops, MEASURED_FILTER_SIGMA_STOPS)
    return replace(wish, filters=(seen,), glass=seen, seen_sigma_stops=sigma_stops)


def judged(
    post: "Post", based: "Based", question: "Question", outcome: "Outcome", judging: "Judge"
) -> tuple[dict[str, object], dict[str, object]]:
    """The long frame's level against its base frame and what it says of the filter; all in its record, with a verdict.

    The level that was wanted is that of the base frame, as far off as the settings lean, and as short as was chosen.
    """
    from duskhold.app.base_frames import against, picture_of
    from duskhold.app.verdict_record import keep_verdict

    base, station = based.seen[-1], post.station
    level = against(base, based.weights, outcome)
    filter_check = _looked_at(question, outcome, level)
    asked = station.journal.frame(outcome.frame_id)
    reasoning = {} if asked is None else asked.asked.decision
    rate, choice = reasoning.get("rate_stops_per_min"), reasoning.get("choice")
    wanted_stops = station.settings.lean.lean().stops(rate) if isinstance(rate, float) else 0.0
    if isinstance(choice, dict):
        wanted_stops -= choice["shortfall_stops"]
    verdict = judging.judge(base.taken.path, picture_of(outcome), expected_stops=wanted_stops)
    told = {"against_base": level, "filter_check": filter_check}
    keep_verdict(station, outcome, base.taken.outcome.frame_id, verdict, told)
    return level, filter_check


def _looked_at(question: "Question", outcome: "Outcome", level: dict[str, object]) -> dict[str, object]:
    """What the pair of base and long frame says of the filter, as the record has it."""
    from duskhold.app.fitted import Through, look_at_filter
    from duskhold.plan.stamp import utc_from

    stops, reason = level["stops"], level["reason"]
    if outcome.opened_utc is None or not outcome.open_s:
        reason = "the open time is not known"
    elif level.get("at_least"):
        reason = "clipped: the filter may be weaker than it seems"
    elif isinstance(stops, float):
        through = Through(utc_from(outcome.opened_utc), outcome.open_s, stops)
        found = look_at_filter(question.filter, question.base_s, question.metered_utc, through, question.drift)
        return found.body() | {"reason": None}
    return {"label": question.filter.label, "seen_stops": None, "question": None, "reason": reason}
