"""What `duskhold one` says to people: the frame, the light it rests on, its level, or the ways out."""

import signal
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Wrong
from duskhold.faces.expose import show_frame, show_ways_out
from duskhold.faces.trouble import status_after

if TYPE_CHECKING:
    from datetime import tzinfo


@contextmanager
def saying_base_failures(caught: Sequence[signal.Signals]) -> Iterator[None]:
    """A base frame that cannot be taken or read becomes a `Wrong`."""
    from duskhold.app.base_frames import BaseFailed
    from duskhold.frames.measure import MeasureError
    from duskhold.shutter.holder_link import HolderRefused

    try:
        yield
    except (BaseFailed, MeasureError, HolderRefused) as error:
        said = str(error).rstrip(".")
        raise Wrong(
            "no_base_frame", f"{said[:1].upper()}{said[1:]}.", field="--base", exit_status=status_after(caught, 4),
            hint="Turn the dial to the time that meters right, or say it: --base 1/15.",
        ) from error  # fmt: skip


def show(body: dict[str, Any], zone: "tzinfo | None") -> None:
    """The record, for people."""
    show_frame(body, zone)
    decision = body["decision"]
    for line in _lines(body, decision):
        wording.print_line(line)
    show_ways_out(decision)
    if body["outcome"] == "refused" and any(map(_can_be_accepted, decision.get("ways_out", ()))):
        wording.print_line("--accept-short takes it at the longest time allowed; the others need a new base frame.")


def _can_be_accepted(way: dict[str, Any]) -> bool:
    """What is longer than is allowed has a note."""
    return way["kind"] == "accept" and way["note"] is None


def _lines(body: dict[str, Any], decision: dict[str, Any]) -> Iterator[str]:
    if decision.get("choice"):
        yield f"taken all the same, {decision['choice']['shortfall_stops']:.2f} stop short of what was wanted"
    if "light" in decision:
        yield from _light_lines(decision["light"], decision["base_frames"])
    if decision.get("scout"):
        yield f"scout frame: {decision['scout']['line']}"
    if body["verdict"] is not None:
        yield from _verdict_lines(body["verdict"])
    if body["level"] is not None:
        yield _level_line(body["level"])
    if body["filter_check"] is not None and body["filter_check"]["question"]:
        yield _filter_line(body["filter_check"])


def _light_lines(light: dict[str, Any], bases: list[dict[str, Any]]) -> list[str]:
    def rate(value: float | None) -> str:
        return "not known" if value is None else f"{wording.signed(value, 3)} stop/min"

    measured, model = rate(light["measured_stops_per_min"]), rate(light["model_stops_per_min"])
    lines = [f"light: measured {measured}, clear sky {model}; {light['choice']}: {light['reason']}"]
    if light["disagreement"]:
        lines.append(light["disagreement"])
    if bases[-1]["at_least"]:
        lines.append("the base frame is clipped: it tells only how bright the scene is at least")
    return lines


def _verdict_lines(verdict: dict[str, Any]) -> list[str]:
    """The worst in one plain line; then the others, and where to look."""
    lines = [f"verdict: {verdict['line']}"]
    lines += [f"         {finding['text']}" for finding in verdict["measured"].get("verdict", [])[1:]]
    if verdict["crops"]:
        lines.append(f"         to be seen in {verdict['crops']}")
    return lines


def _level_line(level: dict[str, Any]) -> str:
    if level["stops"] is None:
        return f"level against the base frame not told: {level['reason']}"
    clipped = ", clipped: at least" if level["at_least"] else ""
    return f"level {wording.stops(level['stops'])} against the base frame{clipped}"


def _filter_line(check: dict[str, Any]) -> str:
    seen = f"{check['seen_stops']:.2f} stops seen through the filter, {check['stored_stops']:.2f} stored"
    doubt = f"{wording.stops(check['off_stops'])}, of which the light may be ±{check['light_sigma_stops']:.2f}"
    return f"{seen} ({doubt}): {check['question']} `duskhold filters measure` stores a new value."
