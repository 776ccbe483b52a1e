"""Base frames: short frames at the body's own dial without the strong filter, and the light that their pixels tell."""

from __future__ import annotations

import math
import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from duskhold.app.exposing import Order, Watch, expose
from duskhold.app.picture_choice import picture_among
from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.camera.words import meaning
from duskhold.frames.measure import WHOLE, Area, MeasureError
from duskhold.frames.picture import Picture
from duskhold.frames.picture_file import PictureUnread, read_picture
from duskhold.frames.reading import (
    AreaLevel,
    Weights,
    chosen_weights,
    measure_area,
    reading_of,
    without_lamps,
    without_sparkle,
)
from duskhold.frames.shooting import ExposureUnknown, Shooting, shooting_of
from duskhold.journal.entry import Outcome
from duskhold.light.dials import SHUTTER, Mark, NotOnDial
from duskhold.light.reading import Reading
from duskhold.plan.role import Role
from duskhold.plan.stamp import mint_frame_id, utc_from, utc_text
from duskhold.shutter.clock import utc_now
from duskhold.shutter.holder_link import HolderRefused, HolderSilent
from duskhold.shutter.report import Kind

CAP_MARGIN_S = 5.0


class BaseFailed(Exception):
    """There is no base frame to compute from; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class Taken:
    """One frame at the dial: its outcome, the dial's word, how it was exposed, and its picture."""

    outcome: Outcome
    dial: str
    shooting: Shooting
    path: Path
    picture: Picture


@dataclass(frozen=True, slots=True)
class Seen:
    """A base frame with the level of the area that counts, and the reading that this gives."""

    taken: Taken
    level: AreaLevel
    reading: Reading

    def body(self) -> dict[str, object]:
        """As the record has it."""
        shooting = self.taken.shooting
        return {
            "frame_id": self.taken.outcome.frame_id,
            "taken_utc": utc_text(self.reading.taken_utc),
            "dial": self.taken.dial,
            "open_s": shooting.open_s,
            "f_number": shooting.f_number,
            "iso": shooting.iso,
            "level_stops": self.reading.level_stops,
            "sigma_stops": self.reading.sigma_stops,
            "level_share": self.level.rgb[1],
            "clipped_share": self.level.clipped_share,
            "at_least": self.level.at_least,
            "path": str(self.taken.path),
        }


def dial_of(station: Station) -> str:
    """The body's shutter dial as it stands. Raises `BaseFailed` for bulb; `HolderRefused`, `HolderSilent`."""
    said = station.link.settings().get(Setting.SHUTTER)
    if said is None or isinstance(meaning(Setting.SHUTTER, said), str):
        raise BaseFailed(f"the body's dial says {said or 'nothing'}, which is no time to take a base frame at")
    return said


def mark_of(dial: str) -> Mark:
    """The dial's word by its meaning: a mark with the time that it really runs; a time between marks is itself."""
    number = meaning(Setting.SHUTTER, dial)
    assert isinstance(number, float), "a time"
    try:
        return SHUTTER.find(f"{number:.9f}")
    except NotOnDial:
        return Mark(dial, number)


def set_dial(station: Station, time: str) -> str:
    """Set the dial; returns what it then says. Raises `BaseFailed`, `HolderSilent`."""
    try:
        return station.link.change(Setting.SHUTTER, time)
    except HolderRefused as refused:
        raise BaseFailed(f"the dial cannot be set to {time}: {refused}") from refused


def put_dial_back(station: Station, dial: str) -> None:
    """As it stood before a held frame left it at bulb; a body that will not is no error."""
    with suppress(HolderRefused, HolderSilent):
        station.link.change(Setting.SHUTTER, dial)


def take_at_dial(station: Station, role: Role, watch: Watch) -> Taken:
    """One frame at the dial as it stands, brought home and read.

    Raises `BaseFailed`, `JournalError`, `HolderRefused` or `HolderSilent`.
    """
    dial = dial_of(station)
    mark = mark_of(dial)
    order = Order(
        frame_id=mint_frame_id(utc_now(), secrets.token_hex(2)),
        kind=Kind.DIAL,
        role=role,
        open_s=mark.true_value,
        cap_s=mark.true_value + CAP_MARGIN_S,
        latency_s=0.0,
        latency_sigma_s=0.0,
        decision={"asked": {"dial": dial}},
    )
    outcome = expose(station, order, watch)
    if outcome.outcome != "complete" or outcome.opened_utc is None:
        raise BaseFailed(f"frame {order.frame_id} is {outcome.outcome}: {outcome.reason or 'no reason given'}")
    return _read(outcome, dial, mark.true_value)


def see(bases: Sequence[Taken], chosen: Area | Path = WHOLE) -> tuple[tuple[Seen, ...], Weights]:
    """The levels of base frames over one area of all of them, without lamps and what moves; and that area.

    `chosen` is a rectangle or a weight map. Raises `MeasureError`, `OSError`.
    """
    newest = bases[-1].picture
    weights = without_lamps(newest, chosen_weights(newest, chosen))
    for earlier in bases[:-1]:
        if earlier.picture.small.shape == newest.small.shape:
            weights = without_sparkle(earlier.picture, newest, weights)
    return tuple(_seen(one, weights) for one in bases), weights


def against(base: Seen, weights: Weights, outcome: Outcome) -> dict[str, object]:
    """How much brighter the long frame is than the base frame, in stops over the same area; `reason` where not told."""
    try:
        path = picture_of(outcome)
        picture = read_picture(path)
        if picture.small.shape != base.taken.picture.small.shape or picture.kind is not base.taken.picture.kind:
            return _not_told("the pictures differ in kind or size")
        level = measure_area(picture, weights)
    except (BaseFailed, PictureUnread, MeasureError, OSError) as error:
        return _not_told(str(error))
    stops = [math.log2(long / short) for long, short in zip(level.rgb, base.level.rgb, strict=True)]
    return {
        "stops": stops[1],
        "stops_rgb": dict(zip(("red", "green", "blue"), stops, strict=True)),
        "sigma_stops": math.hypot(level.sigma_stops, base.level.sigma_stops),
        "clipped_share": level.clipped_share,
        "at_least": level.at_least,
        "reason": None,
    }


def picture_of(outcome: Outcome) -> Path:
    """The frame's raw file, or its JPEG where there is no raw. Raises `BaseFailed`."""
    path = picture_among(outcome.files)
    if path is None:
        raise BaseFailed(f"no picture of frame {outcome.frame_id} came home")
    return path


def opened_utc_of(outcome: Outcome) -> datetime:
    assert outcome.opened_utc is not None, "it has opened"
    return utc_from(outcome.opened_utc)


def _not_told(reason: str) -> dict[str, object]:
    return {"stops": None, "stops_rgb": None, "sigma_stops": None, "clipped_share": None, "reason": reason}


def _read(outcome: Outcome, dial: str, open_s: float) -> Taken:
    path = picture_of(outcome)
    try:
        told = shooting_of(path)
        # The journal's clock and the dial's true time are better known than what the body writes into its picture.
        shooting = Shooting(open_s, told.f_number, told.iso, opened_utc_of(outcome))
        return Taken(outcome, dial, shooting, path, read_picture(path))
    except (ExposureUnknown, PictureUnread, OSError) as error:
        raise BaseFailed(f"frame {outcome.frame_id} cannot be read: {error}") from error


def _seen(taken: Taken, weights: Weights) -> Seen:
    level = measure_area(taken.picture, weights)
    return Seen(taken, level, reading_of(level, taken.picture, taken.shooting, 0.0, Role.BASE.value))
