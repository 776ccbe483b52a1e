"""Learning a body's latency: dial frames and held frames in turn, in steady light, and what their levels say."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from duskhold.app.bodies import Latency, keep
from duskhold.app.exposing import Order, Watch, expose
from duskhold.app.station import Station
from duskhold.camera.port import Identity, Setting
from duskhold.frames.measure import measure_level
from duskhold.journal.entry import Outcome
from duskhold.light.dials import SHUTTER
from duskhold.plan.latency import Learnt, interleave, learn_latency
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_text
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.report import Kind

CAP_MARGIN_S = 5.0
CLIPPED_MAX = 0.001
METHOD = "levels of held frames between dial frames, in steady light"


class LearningFailed(Exception):
    """The body could not be learnt; the message says why and what to do. Nothing kept before was changed."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a learning run found, whose body it is, and where it is kept."""

    identity: Identity
    learnt: Learnt
    dial_s: float
    kept: Path


@contextmanager
def dial_as_found(station: Station) -> Iterator[None]:
    """The shutter dial is put back afterwards, if the body then takes it."""
    before = station.link.settings().get(Setting.SHUTTER)
    try:
        yield
    finally:
        if before is not None:
            with suppress(HolderRefused, HolderSilent):
                station.link.change(Setting.SHUTTER, before)


def learn_body(station: Station, held_frames: int, dial: str, watch: Watch, told: Callable[[str], None]) -> Lesson:
    """Take `held_frames` held frames between dial frames at the dial time `dial`, and keep what they say.

    Raises `LearningFailed`, `NotLearnable`, `MeasureError` or `HolderRefused`.
    """
    identity = station.identity()
    if identity is None:
        raise LearningFailed(station.why_nobody())
    if not identity.holds:
        raise LearningFailed("this body cannot be held open from here; timed exposures on its own dial still work")
    dial_s = SHUTTER.true_value(dial)
    held: list[tuple[float, float]] = []
    dial_levels = [_dial_level(station, dial, dial_s, watch)]
    for number in range(held_frames):
        told(f"held frame {number + 1} of {held_frames}")
        held.append(_held_level(station, dial_s, watch))
        dial_levels.append(_dial_level(station, dial, dial_s, watch))
    learnt = learn_latency(interleave(dial_levels, held), dial_s)
    latency = Latency(learnt.latency_s, learnt.sigma_s, learnt.frames, utc_text(utc_now()), METHOD)
    return Lesson(identity, learnt, dial_s, keep(station.folders, identity, latency))


def _dial_level(station: Station, dial: str, dial_s: float, watch: Watch) -> float:
    station.link.change(Setting.SHUTTER, dial)  # a held frame leaves the dial at bulb
    return _level(_exposed(station, Kind.DIAL, Role.BASE, dial_s, watch))


def _held_level(station: Station, open_s: float, watch: Watch) -> tuple[float, float]:
    """Level, and the seconds between our two calls: the order carries no latency, so that they are its open time."""
    outcome = _exposed(station, Kind.HELD, Role.LONG, open_s, watch)
    assert outcome.open_s is not None
    return _level(outcome), outcome.open_s


def _exposed(station: Station, kind: Kind, role: Role, open_s: float, watch: Watch) -> Outcome:
    order = Order(
        frame_id=mint_frame_id(utc_now(), secrets.token_hex(2)),
        kind=kind,
        role=role,
        open_s=open_s,
        cap_s=open_s + CAP_MARGIN_S,
        latency_s=0.0,
        latency_sigma_s=0.0,
        decision={"asked": {"learning": METHOD}},
    )
    outcome = expose(station, order, watch)
    if outcome.outcome != "complete":
        raise LearningFailed(f"frame {outcome.frame_id} is {outcome.outcome}: {outcome.reason or 'no reason given'}")
    return outcome


def _level(outcome: Outcome) -> float:
    """The green level of the frame's raw file."""
    raws = [Path(str(file["path"])) for file in outcome.files if not _is_jpeg(str(file["path"]))]
    if not raws:
        raise LearningFailed("the body stored no raw file: set its quality to raw, or raw and JPEG")
    level = measure_level(raws[0])
    if level.clipped_share > CLIPPED_MAX:
        raise LearningFailed(
            f"{raws[0].name} is clipped in {level.clipped_share:.1%} of its pixels: stop down, or take a shorter dial"
        )
    return level.green


def _is_jpeg(path: str) -> bool:
    return path.lower().endswith((".jpg", ".jpeg"))
