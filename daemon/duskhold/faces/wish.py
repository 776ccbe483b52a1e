"""What set-up is to write: from options, from questions on a terminal, and from the settings that are there."""

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from duskhold.camera.address import parse_address
from duskhold.faces.inputs import person_is_there, read, settings_of
from duskhold.faces.questions import ask
from duskhold.light.filters import parse_filter
from duskhold.light.place import parse_place

if TYPE_CHECKING:
    from duskhold.app.arrangement import Wish
    from duskhold.app.settings import Settings

Filters = tuple[tuple[str, str], ...]
Value = TypeVar("Value")


def settings_target(args: argparse.Namespace) -> Path:
    """The settings file that set-up writes, whether it is there yet or not."""
    from duskhold.app.settings import own_settings_path, settings_path

    return (settings_path(args.settings, os.environ) or own_settings_path(os.environ)).absolute()


def wish_of(args: argparse.Namespace, target: Path) -> "Wish":
    """Everything that set-up needs to know. Raises `Wrong` for an option that cannot be taken."""
    from duskhold.app.arrangement import Wish
    from duskhold.app.settings import Settings

    there = Path(args.root).absolute() / target.relative_to("/")
    if there.exists():
        known = settings_of(argparse.Namespace(settings=str(there)))
    else:
        known = Settings(camera="usb", zone=_machine_zone())
    place = _answer(args, "place", "Where do you photograph most (LAT,LON)?", _place_text(known), parse_place)
    zone = _answer(args, "zone", "Which time zone?", known.zone or "", _zone)
    filters = _answer(args, "filters", "Which filters are in the bag (name=label, ...)?", _bag(known), read_filters)
    camera = _answer(args, "camera", "Which camera (usb, simulated, ptpip:...)?", known.camera, _camera)
    return Wish(
        place=None if place is None else (place.latitude_deg, place.longitude_deg),
        zone=zone,
        filters=filters or (),
        camera=camera or "usb",
        group=args.group,
    )


def read_filters(text: str) -> Filters:
    """`strong=x1000,d0.9` as pairs of name and label; without a name, the label is the name."""
    pairs = []
    for word in text.split(","):
        name, _, label = word.strip().rpartition("=")
        parse_filter(label)
        pairs.append((name.strip() or label, label.strip()))
    names = [name for name, _ in pairs]
    if len(set(names)) < len(names):
        raise ValueError("two filters have the same name; give each its own, as in light=3")
    return tuple(pairs)


def _answer(
    args: argparse.Namespace, name: str, question: str, assumed: str, reader: Callable[[str], Value]
) -> Value | None:
    given: str | None = getattr(args, name)
    if given is not None:
        return read(f"--{name}", given, reader)
    if person_is_there() and sys.stdout.isatty() and not args.json:
        return ask(question, assumed, reader)
    return reader(assumed) if assumed else None


def _zone(text: str) -> str:
    from duskhold.app.settings import checked_zone

    return checked_zone(text)


def _camera(text: str) -> str:
    return str(parse_address(text))


def _place_text(known: "Settings") -> str:
    place = known.place
    return "" if place is None else f"{place.latitude_deg},{place.longitude_deg}"


def _bag(known: "Settings") -> str:
    return ",".join(f"{one.name}={one.label}" for one in known.filters)


def _machine_zone() -> str | None:
    name = Path("/etc/localtime").resolve().as_posix().partition("/zoneinfo/")[2]
    return name or None
