"""The settings: one YAML document of one person and machine, checked whole before anything is done with it."""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from duskhold.app.document import Part, load
from duskhold.app.verdict_settings import RigSettings, VerdictSettings
from duskhold.camera.address import parse_address
from duskhold.light.filters import STRONGEST_STOPS, Filter, parse_filter, parse_filters
from duskhold.light.looks import LOOKS, Look
from duskhold.light.place import Place
from duskhold.plan.lean import Lean
from duskhold.plan.limits import Limits


def settings_path(given: str | None, environment: Mapping[str, str]) -> Path | None:
    """The file to read: the one given, $DUSKHOLD_SETTINGS, or the user's own; None when there is none of these.

    A file that was named is returned whether it exists or not; the user's own only when it exists.
    """
    named = given or environment.get("DUSKHOLD_SETTINGS")
    if named:
        return Path(named).expanduser()
    own = own_settings_path(environment)
    return own if own.exists() else None


def own_settings_path(environment: Mapping[str, str]) -> Path:
    """Where this user's settings lie by default."""
    folder = environment.get("XDG_CONFIG_HOME") or Path(environment.get("HOME", "~")).expanduser() / ".config"
    return Path(folder) / "duskhold" / "settings.yaml"


def load_settings(path: Path | None) -> "Settings":
    """The settings in `path`, or the defaults. Raises `DocumentWrong`; `OSError` when it cannot be read."""
    return Settings() if path is None else load(path, Settings)


def _label(given: object) -> object:
    # `label: 10` is what people write; in the document it is a number.
    return f"{given:g}" if isinstance(given, (int, float)) and not isinstance(given, bool) else given


def _checked_label(label: str) -> str:
    parse_filter(label)
    return label


def _checked_labels(labels: str) -> str:
    parse_filters(labels)
    return labels


def _one_word(name: str) -> str:
    if not name or "," in name or name.split() != [name]:
        raise ValueError(f"must be one word without commas, not {name!r}")
    return name


def _date(given: object) -> object:
    if not isinstance(given, str):
        return given
    try:
        return date.fromisoformat(given)
    except ValueError:
        raise ValueError(f"must be a date such as 2026-10-14, not {given!r}") from None


def _address(text: str) -> str:
    parse_address(text)
    return text


def checked_zone(name: str) -> str:
    """The name itself. Raises `ValueError` when the machine knows no such zone."""
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, IsADirectoryError):
        raise ValueError(f"must be a time zone such as Europe/Lisbon or UTC, not {name!r}") from None
    return name


Label = Annotated[str, BeforeValidator(_label), AfterValidator(_checked_label)]
Labels = Annotated[str, BeforeValidator(_label), AfterValidator(_checked_labels)]
Stops = Annotated[float, Field(ge=0, le=STRONGEST_STOPS)]


class PlaceSettings(Part):
    name: str | None = None
    latitude_deg: float = Field(ge=-90, le=90)
    longitude_deg: float = Field(ge=-180, le=180)

    def place(self) -> Place:
        return Place(self.latitude_deg, self.longitude_deg)


class Channels(Part):
    """What a filter takes from each channel, in stops."""

    red: Stops
    green: Stops
    blue: Stops


class FilterSettings(Part):
    """A filter in the bag: the name its owner calls it by, the label on it, and what was measured of it."""

    name: Annotated[str, AfterValidator(_one_word)]
    label: Label
    measured_stops: Channels | None = None
    measured_on: Annotated[date | None, BeforeValidator(_date)] = None
    infrared: str | None = None
    polariser: bool = False

    def filter(self) -> Filter:
        """As measured, with the green channel for the whole, or else as labelled."""
        measured = self.measured_stops
        if measured is None:
            return Filter(self.name, parse_filter(self.label).stops)
        return Filter(self.name, measured.green, (measured.red, measured.green, measured.blue))


class LimitSettings(Part):
    """Past these nothing is exposed without a person's say. Reserves: common practice, no source."""

    shortest_s: float = Field(default=Limits().shortest_s, ge=0.1)
    longest_s: float = Field(default=Limits().longest_s, le=7200)
    correction_max_stops: float = Field(default=Limits().correction_max_stops, gt=0, le=6)
    reading_age_max_s: float = Field(default=Limits().reading_age_max_s, gt=0, le=7200)
    opening_slip_max_s: float = Field(default=Limits().opening_slip_max_s, gt=0, le=60)
    cap_margin_s: float = Field(default=Limits().cap_margin_s, gt=0, le=60)
    disk_reserve_mb: int = Field(default=500, ge=50)
    battery_reserve_percent: int = Field(default=15, ge=0, le=90)
    shots_reserve: int = Field(default=4, ge=1)

    def exposure(self) -> Limits:
        """Those that bound a single exposure. Raises `BadLimits` where two of them contradict each other."""
        return Limits(
            longest_s=self.longest_s,
            shortest_s=self.shortest_s,
            correction_max_stops=self.correction_max_stops,
            reading_age_max_s=self.reading_age_max_s,
            opening_slip_max_s=self.opening_slip_max_s,
            cap_margin_s=self.cap_margin_s,
        )

    @model_validator(mode="after")
    def _check_against_each_other(self) -> "LimitSettings":
        self.exposure()
        return self


class LeanSettings(Part):
    """On which side to err, in stops."""

    dusk_longer_stops: float = Field(default=0.0, ge=0, le=1)
    dawn_shorter_stops: float = Field(default=0.0, ge=0, le=1)

    def lean(self) -> Lean:
        return Lean(self.dusk_longer_stops, self.dawn_shorter_stops)


class LookSettings(Part):
    """A look of one's own, or one's own figures for a look of the table."""

    name: Annotated[str, AfterValidator(_one_word)]
    shortest_s: float = Field(gt=0, le=7200)
    longest_s: float = Field(gt=0, le=7200)
    tolerance_share: float = Field(default=0.25, gt=0, lt=1)

    @model_validator(mode="after")
    def _check_order(self) -> "LookSettings":
        if self.shortest_s > self.longest_s:
            raise ValueError("shortest_s must not be above longest_s")
        return self


class SimulatedCameraSettings(Part):
    """What stands before the simulated camera, for trying things at home."""

    seed: int = Field(default=1, ge=0)
    filters: Labels = "6"
    rate_stops_per_min: float = Field(default=0.0, ge=-3, le=3)


class Settings(Part):
    place: PlaceSettings | None = None
    zone: Annotated[str, AfterValidator(checked_zone)] | None = None
    camera: Annotated[str, AfterValidator(_address)] = "simulated"
    data: str | None = Field(default=None, min_length=1)
    filters: tuple[FilterSettings, ...] = ()
    limits: LimitSettings = LimitSettings()
    verdict: VerdictSettings = VerdictSettings()
    rig: RigSettings | None = None
    lean: LeanSettings = LeanSettings()
    looks: tuple[LookSettings, ...] = ()
    alarm_command: tuple[Annotated[str, Field(min_length=1)], ...] = ()
    outings: str | None = Field(default=None, min_length=1)
    simulated_camera: SimulatedCameraSettings = SimulatedCameraSettings()

    @model_validator(mode="after")
    def _check_names(self) -> "Settings":
        names = [one.name for one in self.filters]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"two filters have the name {twice[0]!r}; each needs its own")
        return self

    def look_table(self) -> tuple[Look, ...]:
        """The table of looks, one's own figures first."""
        own = [
            Look(one.name, one.shortest_s, one.longest_s, one.tolerance_share, "your own figures") for one in self.looks
        ]
        names = {look.name for look in own}
        return (*own, *(look for look in LOOKS if look.name not in names))

    def filters_from(self, labels: str) -> tuple[Filter, ...]:
        """A list such as `strong,d0.9`: names of filters in the bag, or labels. Raises `BadFilter`."""
        bag = {one.name: one.filter() for one in self.filters}
        words = [word.strip() for word in labels.split(",")]
        if not any(word in bag for word in words):
            return parse_filters(labels)
        return tuple(bag.get(word) or parse_filter(word) for word in words)
