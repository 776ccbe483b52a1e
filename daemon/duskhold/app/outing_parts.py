"""What an outing file may contain, part by part, as a person writes it."""

from collections.abc import Callable
from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from duskhold.app.document import Part
from duskhold.app.settings import FilterSettings, PlaceSettings
from duskhold.light.dials import APERTURE, ISO, SHUTTER, Dial, Mark
from duskhold.plan.outing import Costs, Kind, LeaveBy, Prompting, Want
from duskhold.plan.stamp import utc_from

_WANT, _LEAVE_BY, _PROMPTING, _COSTS = Want(Kind.ONE), LeaveBy(), Prompting(), Costs()

Way = Literal["down", "up"]
Words = tuple[str, ...]
Altitude = Annotated[float, Field(ge=-90, le=90)]
Seconds = Annotated[float, Field(gt=0, le=7200)]
Pause = Annotated[float, Field(ge=0, le=7200)]
Percent = Annotated[float, Field(ge=0, le=90)]


def _moment(given: object) -> object:
    return utc_from(given) if isinstance(given, str) else given


def _day(given: object) -> object:
    if not isinstance(given, str):
        return given
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise ValueError(f"must be a day such as 2026-10-14, not {given!r}") from None


def _mark(dial: Dial) -> Callable[[object], object]:
    """A number or a text such as "1/8" is a mark of this dial; anything else is for the model to refuse."""

    def read(given: object) -> object:
        is_number = isinstance(given, (int, float)) and not isinstance(given, bool)
        return dial.find(f"{given:g}" if is_number else str(given)) if is_number or isinstance(given, str) else given

    return read


Moment = Annotated[datetime, BeforeValidator(_moment)]
Day = Annotated[date, BeforeValidator(_day)]
Time = Annotated[Mark, BeforeValidator(_mark(SHUTTER))]
Aperture = Annotated[Mark, BeforeValidator(_mark(APERTURE))]
Iso = Annotated[Mark, BeforeValidator(_mark(ISO))]


def _none_twice(bag: tuple[FilterSettings, ...]) -> tuple[FilterSettings, ...]:
    names = [one.name for one in bag]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"two filters have the name {twice[0]!r}; each needs its own")
    return bag


class SunPart(Part):
    altitude_deg: Altitude
    direction: Way


class EventPart(Part):
    name: Literal["sunset", "sunrise"]
    offset_min: float = Field(default=0.0, ge=-720, le=720)


class LightPart(Part):
    base: Time
    direction: Way


class StartPart(Part):
    """Exactly one of these."""

    clock: Moment | None = None
    sun: SunPart | None = None
    event: EventPart | None = None
    light: LightPart | None = None

    @model_validator(mode="after")
    def _check_one(self) -> "StartPart":
        if sum(one is not None for one in (self.clock, self.sun, self.event, self.light)) != 1:
            raise ValueError("give exactly one of clock, sun, event, light")
        return self


class WantPart(Part):
    kind: Literal["one", "again", "tone", "eye", "look", "bracket", "pairs", "watch"]
    base: Time | None = None
    first_s: Seconds | None = None
    duration_s: Seconds | None = None
    look: str | None = None
    make_up_share: float = Field(default=_WANT.make_up_share, ge=0, le=1)
    steps: tuple[Annotated[float, Field(ge=-6, le=6)], ...] = ()
    between_s: Pause = _WANT.between_s
    every_s: float = Field(default=_WANT.every_s, ge=10, le=7200)
    base_frames: int = Field(default=_WANT.base_frames, ge=1, le=20)


class KitPart(Part):
    filters: Words | None = None
    bag: Annotated[tuple[FilterSettings, ...], AfterValidator(_none_twice)] | None = None
    aperture: Aperture
    iso: Iso
    apertures: tuple[Aperture, ...] = ()
    isos: tuple[Iso, ...] = ()


class LeaveByPart(Part):
    at: Moment | None = None
    in_min: float | None = Field(default=None, gt=0, le=1440)
    pack_min: float = Field(default=_LEAVE_BY.pack_min, ge=0, le=240)


class BoundsPart(Part):
    """What is left out comes from the settings, or from the look."""

    longest_s: Seconds | None = None
    shortest_s: Seconds | None = None
    sun_altitude_deg: Altitude | None = None
    leave_by: LeaveByPart | None = None
    frames: int | None = Field(default=None, ge=1, le=2000)
    battery_reserve_percent: Percent | None = None
    disk_reserve_mb: int | None = Field(default=None, ge=50)


class PromptsPart(Part):
    announce_min: float = Field(default=_PROMPTING.announce_s / 60.0, ge=0, le=60)
    patience_min: float = Field(default=_PROMPTING.patience_s / 60.0, gt=0, le=120)
    change_s: Pause = _PROMPTING.change_s
    fallback: Literal["hold", "aperture", "iso", "stop"] = "hold"


class CostsPart(Part):
    storing_s: Pause = _COSTS.storing_s
    battery_percent_per_min: float = Field(default=_COSTS.battery_percent_per_min, ge=0, le=50)
    disk_mb: float = Field(default=_COSTS.disk_bytes / 1e6, ge=0, le=10_000)


class OutingPart(Part):
    """The whole file."""

    name: str = Field(min_length=1)
    place: PlaceSettings | None = None
    day: Day | None = None
    start: StartPart
    want: WantPart
    kit: KitPart
    bounds: BoundsPart = BoundsPart()
    dark: Literal["in_camera", "after", "none"] = "none"
    darks_after: int | None = Field(default=None, ge=1, le=20)
    prompts: PromptsPart = PromptsPart()
    in_doubt: Literal["ask", "go_on", "stop"] = "ask"
    after_link_loss: Literal["stop", "resume"] = "stop"
    costs: CostsPart = CostsPart()
