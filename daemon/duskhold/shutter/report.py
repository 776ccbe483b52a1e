"""What is asked of the shutter, and what is reported of it: plain data, as it goes over the wire."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import Enum


class Kind(Enum):
    """How the end of the opening is timed."""

    HELD = "held"  # by this program
    DIAL = "dial"  # by the body, at the time on its dial


class Outcome(Enum):
    """What became of a frame."""

    COMPLETE = "complete"
    CUT_SHORT = "cut_short"
    LINK_LOST = "link_lost"
    REFUSED = "refused"
    FAILED = "failed"
    UNKNOWN = "unknown"


class ShutterState(Enum):
    """What is known of the shutter now. Silence is `UNKNOWN`, never the last known value."""

    CLOSED = "closed"
    OPEN = "open"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Exposure:
    """One opening with its end. `latency_s` is close minus open latency of this body, `latency_sigma_s` its doubt.

    `origin` names who asked (a data folder), so that a frame nobody collected is recorded where it belongs.
    """

    frame_id: str
    kind: Kind
    open_s: float
    cap_s: float
    latency_s: float
    latency_sigma_s: float
    origin: str

    def as_message(self) -> dict[str, object]:
        return asdict(self) | {"kind": self.kind.value}

    @staticmethod
    def from_message(body: Mapping[str, object]) -> Exposure:
        """Read from the wire or the black box. Raises `ValueError` naming the field that is wrong."""
        numbers = {name: _number(body, name) for name in ("open_s", "cap_s", "latency_s", "latency_sigma_s")}
        if not 0 < numbers["open_s"] <= numbers["cap_s"]:
            raise ValueError("open_s must be over 0 and not over cap_s")
        return Exposure(
            frame_id=_text(body, "frame_id"),
            kind=Kind(_text(body, "kind")),
            origin=_text(body, "origin"),
            **numbers,
        )


@dataclass(frozen=True, slots=True)
class ShutterReport:
    """The true story of one opening.

    `open_s` is the best estimate of the true open time in seconds, 0 when nothing opened, None when not known;
    `open_s_range` bounds it where it is not exact. `settled` is False while the shutter may still be open. `serial`
    is the body's; `given_up` when a person said that this body does not come back; `denied` when the body said of the
    closing that nothing was open: it may have closed by itself before.
    """

    frame_id: str
    kind: Kind
    outcome: Outcome
    planned_s: float
    open_s: float | None
    open_s_sigma_s: float | None
    open_s_range: tuple[float, float] | None
    opened_utc: str | None
    closed_utc: str | None
    shutter: ShutterState
    reason: str
    origin: str
    settled: bool
    serial: str = ""
    given_up: bool = False
    denied: bool = False

    @property
    def has_nothing_to_fetch(self) -> bool:
        """Whether no picture can come of it: it never opened, or its body does not come back."""
        return self.settled and (self.open_s == 0.0 or self.given_up)

    @property
    def about_s(self) -> float:
        """For how long it was open or, where that is not known, was to be: how long the body may be busy with it."""
        return self.open_s if self.open_s is not None else self.planned_s

    def as_message(self) -> dict[str, object]:
        return asdict(self) | {
            "kind": self.kind.value,
            "outcome": self.outcome.value,
            "shutter": self.shutter.value,
        }

    @staticmethod
    def from_message(body: Mapping[str, object]) -> ShutterReport:
        """The reverse of `as_message`. Raises `ValueError`, `KeyError` or `TypeError` for anything else."""
        bounds = body["open_s_range"]
        if not (bounds is None or isinstance(bounds, (list, tuple))):
            raise ValueError(f"open_s_range is {bounds!r}")
        plain = {
            name: body[name]
            for name in (
                "frame_id",
                "planned_s",
                "open_s",
                "open_s_sigma_s",
                "opened_utc",
                "closed_utc",
                "reason",
                "origin",
                "settled",
            )
        }
        return ShutterReport(
            kind=Kind(body["kind"]),
            outcome=Outcome(body["outcome"]),
            shutter=ShutterState(body["shutter"]),
            open_s_range=None if bounds is None else (float(bounds[0]), float(bounds[1])),
            serial=str(body.get("serial", "")),  # lines from before it was written have none
            given_up=body.get("given_up") is True,
            denied=body.get("denied") is True,
            **plain,  # type: ignore[arg-type]
        )


def _number(body: Mapping[str, object], name: str) -> float:
    value = body.get(name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) < 1e6:
        raise ValueError(f"{name} must be a number of seconds, not {value!r}")
    return float(value)


def _text(body: Mapping[str, object], name: str) -> str:
    value = body.get(name)
    if not isinstance(value, str) or not 0 < len(value) <= 4096:
        raise ValueError(f"{name} must be a text, not {value!r}")
    return value
