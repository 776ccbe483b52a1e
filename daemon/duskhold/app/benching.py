"""How a body goes about a frame: what it makes of 2 s and of 5 s, how long it is busy, and what a lost lead does."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from duskhold.app.bodies import Habits, Pulled, Told, keep, latency_of
from duskhold.app.exposing import Order, Watch, expose
from duskhold.app.learning import CAP_MARGIN_S, LearningFailed
from duskhold.app.station import Station
from duskhold.camera.port import Identity
from duskhold.frames.shooting import ExposureUnknown, written_s
from duskhold.journal.entry import Outcome
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_text
from duskhold.shutter.clock import mono_now_s, utc_now
from duskhold.shutter.report import Kind
from duskhold.shutter.wire import Message

TRIALS_S = (2.0, 5.0)
EXIF_OFF_MAX_S = 0.7  # bodies round to a second, or to a mark of the dial
PULL_HOLD_S, PULL_AT_S, AWAY_S = 30.0, 10.0, 8.0
NEAR_S = 2.5  # of a rounded Exif time to the instant of a loss; common practice, no source
_BUSY = ("closing", "proving", "storing")


@dataclass(frozen=True, slots=True)
class Trial:
    """One held frame: its outcome, and how long the body was busy after it."""

    outcome: Outcome
    busy_s: float


def learn_habits(station: Station, watch: Watch, told: Callable[[str], None]) -> Habits:
    """Hold the trial frames and keep what they say. Raises `LearningFailed` when one is not as long as it was held."""
    identity = _identity(station)
    trials = []
    for open_s in TRIALS_S:
        told(f"a frame of {open_s:g} s")
        trials.append(_trial(station, identity, open_s, watch))
    habits = habits_from(trials)
    keep(station.folders, identity, habits)
    return habits


def habits_from(trials: Sequence[Trial]) -> Habits:
    """What trial frames of different lengths say together, shortest first. Raises `LearningFailed`."""
    told = tuple(Told(one.outcome.open_s or 0.0, _exif_s(one.outcome)) for one in trials)
    for one in told:
        if one.exif_s is not None and abs(one.exif_s - one.open_s) > EXIF_OFF_MAX_S:
            raise LearningFailed(
                f"a frame held for {one.open_s:.1f} s says {one.exif_s:g} s in its picture: this body is not held as "
                "it should be; look at its bulb mode and its release settings"
            )
    files = trials[-1].outcome.files
    if not files:
        raise LearningFailed("no picture of the trial frames came home")
    more_s = trials[-1].busy_s - trials[0].busy_s
    return Habits(
        told=told,
        busy_s=round(trials[-1].busy_s, 2),
        dark_frame_share=round(max(0.0, more_s / (told[-1].open_s - told[0].open_s)), 3),
        files=len(files),
        file_bytes=_bytes(trials[-1].outcome),
        bytes_per_s=_bytes_per_s([one.outcome for one in trials]),
        learnt_utc=utc_text(utc_now()),
    )


def pull_lead(
    station: Station,
    watch: Watch,
    told: Callable[[str], None],
    hold_s: float = PULL_HOLD_S,
    pull_at_s: float = PULL_AT_S,
) -> Pulled:
    """Hold a frame, have a person pull the lead and put it back, and keep what the body did.

    Raises `LearningFailed` when the lead was not pulled, or did not come back.
    """
    identity = _identity(station)
    follow = _Following(told, hold_s, pull_at_s)
    order = _order(station, identity, hold_s)
    outcome = expose(station, order, replace(watch, seen=lambda state: _both(watch, follow, state)))
    if follow.lost_after_s is None or outcome.outcome == "complete":
        raise LearningFailed("the lead was not lost while the shutter was open")
    if follow.back_after_s is None or not outcome.settled:
        raise LearningFailed("the lead did not come back: look at the camera, and put it back")
    exif_s = _exif_s(outcome)
    word = _word(exif_s, follow.lost_after_s, follow.back_after_s)
    pulled = Pulled(word, exif_s, round(follow.lost_after_s, 2), round(follow.back_after_s, 2), utc_text(utc_now()))
    keep(station.folders, identity, pulled)
    return pulled


def _word(exif_s: float | None, lost_after_s: float, back_after_s: float) -> str:
    """What the picture's own time says: over at the loss, or only when somebody came back and closed it."""
    if exif_s is None or back_after_s - lost_after_s < 2.0 * NEAR_S:
        return "unknown"
    if abs(exif_s - lost_after_s) < NEAR_S:
        return "closes"
    return "stays_open" if abs(exif_s - back_after_s) < NEAR_S else "unknown"


@dataclass(slots=True)
class _Following:
    """Asks for the lead at its time, and notes when the link went and came back, in seconds of open time."""

    told: Callable[[str], None]
    hold_s: float
    pull_at_s: float
    opened_s: float | None = None
    lost_after_s: float | None = None
    back_after_s: float | None = None
    _asked: set[str] = field(default_factory=set)

    def seen(self, state: Message) -> None:
        now_s, phase = mono_now_s(), state["phase"]
        open_for_s = state.get("open_for_s")
        if isinstance(open_for_s, float):
            self.opened_s = now_s - open_for_s
        if self.opened_s is None:
            return
        after_s = now_s - self.opened_s
        if phase == "open" and after_s >= self.pull_at_s:
            self._ask_once("PULL THE LEAD NOW, at the camera")
        elif phase == "lost":
            self.lost_after_s = after_s if self.lost_after_s is None else self.lost_after_s
            if after_s - self.lost_after_s >= AWAY_S:
                self._ask_once("PUT THE LEAD BACK NOW")
        elif self.lost_after_s is not None and self.back_after_s is None and phase != "silent":
            self.back_after_s = after_s

    def _ask_once(self, line: str) -> None:
        if line not in self._asked:
            self._asked.add(line)
            self.told(line)


def _both(watch: Watch, follow: _Following, state: Message) -> None:
    if state["phase"] not in ("open", "lost"):
        watch.seen(state)  # its line must not write over what the person is asked to do
    follow.seen(state)


def _trial(station: Station, identity: Identity, open_s: float, watch: Watch) -> Trial:
    busy: list[float] = []

    def seen(state: Message) -> None:
        watch.seen(state)
        if state["phase"] in _BUSY:
            busy.append(mono_now_s())

    outcome = expose(station, _order(station, identity, open_s), replace(watch, seen=seen))
    if outcome.outcome != "complete":
        raise LearningFailed(f"frame {outcome.frame_id} is {outcome.outcome}: {outcome.reason or 'no reason given'}")
    return Trial(outcome, busy[-1] - busy[0] if busy else 0.0)


def _order(station: Station, identity: Identity, open_s: float) -> Order:
    latency = latency_of(station.folders, identity)
    return Order(
        frame_id=mint_frame_id(utc_now(), secrets.token_hex(2)),
        kind=Kind.HELD,
        role=Role.LONG,
        open_s=open_s,
        cap_s=open_s + CAP_MARGIN_S,
        latency_s=latency.seconds,
        latency_sigma_s=latency.sigma_s,
        decision={"asked": {"bench": open_s}},
    )


def _identity(station: Station) -> Identity:
    identity = station.identity()
    if identity is None:
        raise LearningFailed(station.why_nobody())
    return identity


def _exif_s(outcome: Outcome) -> float | None:
    """The open time in the first picture that tells one."""
    for file in outcome.files:
        try:
            return written_s(Path(str(file["path"])))
        except (ExposureUnknown, OSError):
            continue
    return None


def _bytes(outcome: Outcome) -> int:
    return sum(_count(file) for file in outcome.files)


def _count(file: Mapping[str, object]) -> int:
    count = file["bytes"]
    assert isinstance(count, int)
    return count


def _bytes_per_s(outcomes: Sequence[Outcome]) -> float | None:
    took = [one.report.get("fetch_s") for one in outcomes]
    took_s = sum(one for one in took if isinstance(one, float))
    return round(sum(map(_bytes, outcomes)) / took_s) if took_s > 0.0 else None
