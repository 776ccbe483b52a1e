"""What a machine needs so that a camera can be used on it: the files, as they would be written. Writes nothing."""

import shlex
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import yaml

from duskhold.app.folders import folders_for

USUAL_GROUP = "plugdev"
UNIT = "duskhold-keeper.service"
SERVICE = "duskhold.service"
_FOLDERS_NAMED = ("DUSKHOLD_RUNTIME", "XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME")
"""A service does not see what a login shell exports, and would look for the camera's process elsewhere."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What the person answered. `filters` are pairs of a name and a label; None where nothing was said."""

    place: tuple[float, float] | None = None
    zone: str | None = None
    filters: tuple[tuple[str, str], ...] = ()
    camera: str = "usb"
    group: str = USUAL_GROUP


@dataclass(frozen=True, slots=True)
class PlannedFile:
    """A file with its text. `path` is absolute, before any `--root` is put in front of it."""

    path: Path
    what: str
    text: str


def own_files(wish: Wish, settings: Path, environment: Mapping[str, str]) -> tuple[PlannedFile, ...]:
    """Files in this user's own folders: settings, and the units of keeper and evenings."""
    home = Path(environment.get("HOME", "~")).expanduser()
    config = Path(environment.get("XDG_CONFIG_HOME") or home / ".config")
    command = shlex.join(_keeper_command(wish.camera, environment)).replace("%", "%%")
    unit = _filled(UNIT, CAMERA=wish.camera.replace("%", "%%"), COMMAND=command)
    return (
        PlannedFile(settings, "settings", settings_text(wish)),
        PlannedFile(config / "systemd" / "user" / UNIT, "unit of the keeper", unit),
        PlannedFile(
            config / "systemd" / "user" / SERVICE, "unit of the evenings", _service(wish, settings, environment)
        ),
    )


def system_files(group: str) -> tuple[PlannedFile, ...]:
    """Files that only root may write: access to cameras, and the right to close them on time."""
    rules, limits = "71-duskhold.rules", "duskhold-limits.conf"
    return (
        PlannedFile(Path("/etc/udev/rules.d") / rules, "udev rule", _filled(rules, GROUP=group)),
        PlannedFile(Path("/etc/security/limits.d/duskhold.conf"), "limits of the group", _filled(limits, GROUP=group)),
    )


def settings_text(wish: Wish) -> str:
    """A settings file with what was answered."""
    said: dict[str, object] = {}
    if wish.place is not None:
        said["place"] = {"latitude_deg": wish.place[0], "longitude_deg": wish.place[1]}
    if wish.zone is not None:
        said["zone"] = wish.zone
    said["camera"] = wish.camera
    if wish.filters:
        said["filters"] = [{"name": name, "label": label} for name, label in wish.filters]
    head = "# Written by `duskhold set-up`. Everything else has a default; config/example.yaml shows every field.\n"
    return head + yaml.safe_dump(said, sort_keys=False, allow_unicode=True)


def _filled(name: str, **values: str) -> str:
    text = (resources.files("duskhold.app") / "templates" / name).read_text(encoding="utf-8")
    for key, value in values.items():
        text = text.replace(f"@{key}@", value)
    return text


def _service(wish: Wish, settings: Path, environment: Mapping[str, str]) -> str:
    command = shlex.join([sys.executable, "-m", "duskhold", "serve", "--settings", str(settings)])
    named = [f"{name}={environment[name]}" for name in _FOLDERS_NAMED if environment.get(name)]
    lines = "\n".join(f"Environment={_quoted(one)}" for one in named) or "# Folders are where they are by default."
    filled = {"CAMERA": wish.camera, "COMMAND": command, "ENVIRONMENT": lines}
    return _filled(SERVICE, **{name: text.replace("%", "%%") for name, text in filled.items()})


def _quoted(text: str) -> str:
    """As systemd.exec(5) reads an assignment with spaces in it."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _keeper_command(camera: str, environment: Mapping[str, str]) -> list[str]:
    places = folders_for(None, environment).places(camera)
    shared = ["--runtime", str(places.runtime), "--state", str(places.state)]
    holder = [sys.executable, "-m", "duskhold.shutter.holding", "--camera", camera, *shared]
    return [sys.executable, "-m", "duskhold.shutter.keeper", "--foreground", *shared, "--", *holder]
