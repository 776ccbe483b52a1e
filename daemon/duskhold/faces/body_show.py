"""What is connected, in plain words, and its settings put back as they were found."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer
from duskhold.faces.check import change_body, show_changes
from duskhold.faces.inputs import folders_of, saying_journal_errors, settings_of, zone_of
from duskhold.faces.trouble import not_asked, saying_trouble

if TYPE_CHECKING:
    from duskhold.app.bodies import Habits, Pulled
    from duskhold.app.station import Station
    from duskhold.camera.port import Identity, Setting

EXIT_FAILED = 4
DIAL_ONLY = "It cannot be held open from here; timed exposures up to its longest dial time still work."
_LOST = {
    "closes": "A lost lead closes its shutter",
    "stays_open": "A lost lead leaves its shutter open until the lead is back",
    "unknown": "What a lost lead does to its shutter could not be told",
}
PROVEN_HERE = "Its family is proven on the simulated body only: `duskhold body bench` proves this one."
UNPROVEN = "Its family was never seen at work here: run `duskhold body bench` before a night alone."


def show(args: argparse.Namespace) -> Answer:
    """Who the body is, how its shutter is held, and what it says of itself."""
    with _at_body(args) as (camera, station, _):
        station.await_body()
        said = station.link.settings()
        identity = _identity(station)
        known = _known(station, identity)
        lines = _known_lines(station, identity)
    body = _body(camera, identity, dict(said)) | known
    return Answer(body, 0, partial(_show, body, lines))


def restore(args: argparse.Namespace) -> Answer:
    """Put the settings back as the check and connecting found them."""
    from duskhold.app.check import as_found, ask_facts, memory_path
    from duskhold.app.check import restore as put_back
    from duskhold.app.check_memory import read_memory

    zone = zone_of(settings_of(args))
    with _at_body(args) as (camera, station, state):
        facts = ask_facts(station, zone)
        memory = read_memory(memory_path(state, facts.identity.serial))
        known = bool(as_found(station, facts, memory))
        changes = [change_body(each) for each in put_back(station, facts, memory, zone)]
    failed = any(each["trouble"] for each in changes)
    body = {"camera": camera, "found_before": known, "changed": changes}
    return Answer(body, EXIT_FAILED if failed else 0, partial(_show_restored, body))


@contextmanager
def _at_body(args: argparse.Namespace) -> "Iterator[tuple[str, Station, Any]]":
    """The camera, its station and its state folder; what goes wrong there is said."""
    from duskhold.app.check import NoBody
    from duskhold.app.check_memory import MemoryDamaged
    from duskhold.app.station import at_station
    from duskhold.faces.expose import camera_of
    from duskhold.shutter.holder_link import HolderRefused

    settings = settings_of(args)
    camera, folders = camera_of(args, settings), folders_of(args, settings)
    with saying_trouble(), saying_journal_errors(), at_station(camera, settings, folders) as station:
        try:
            yield camera, station, folders.places(camera).state
        except (NoBody, HolderRefused, MemoryDamaged) as error:
            raise not_asked("not_asked", error) from error


def _identity(station: "Station") -> "Identity":
    from duskhold.app.check import NoBody

    identity = station.identity()
    if identity is None:
        raise NoBody(station.why_nobody())
    return identity


def _known(station: "Station", identity: "Identity") -> dict[str, Any]:
    """What the bench learnt of this body with this library."""
    from duskhold.app.bodies import habits_of, has_passed, latency_of, pulled_of

    latency = latency_of(station.folders, identity)
    habits, pulled = habits_of(station.folders, identity), pulled_of(station.folders, identity)
    return {
        "latency": asdict(latency) if latency.frames else None,
        "habits": None if habits is None else asdict(habits),
        "lost_lead": None if pulled is None else asdict(pulled),
        "bench_passed": has_passed(station.folders, identity),
    }


def _known_lines(station: "Station", identity: "Identity") -> list[str]:
    from duskhold.app.bodies import habits_of, pulled_of

    habits = habits_of(station.folders, identity)
    return [] if habits is None else list(habit_lines(habits, pulled_of(station.folders, identity)))


def habit_lines(habits: "Habits", pulled: "Pulled | None") -> "Iterator[str]":
    """What the bench saw, in sentences."""
    for one in habits.told:
        said = "does not say how long" if one.exif_s is None else f"says {one.exif_s:g} s"
        yield f"Held for {one.open_s:.2f} s, its picture {said}."
    speed = "" if habits.bytes_per_s is None else f", brought home at {habits.bytes_per_s / 1e6:.1f} MB/s"
    yield f"{habits.files} files of {habits.file_bytes / 1e6:.1f} MB a frame{speed}."
    share = habits.dark_frame_share
    dark = "it takes a dark frame of its own" if share > 0.5 else "it takes no dark frame of its own"
    yield f"Busy for {habits.busy_s:.1f} s after the longest: {dark} ({share:.2f} s for each second)."
    if pulled is not None:
        yield f"{_LOST[pulled.word]} (tried by hand)."


def _body(camera: str, identity: "Identity", said: "dict[Setting, str]") -> dict[str, Any]:
    from duskhold.camera.port import Setting

    return {
        "camera": camera,
        "model": identity.model,
        "serial": identity.serial,
        "vendor_extension": f"0x{identity.vendor_extension:04X}",
        "family": identity.family,
        "library": identity.library,
        "holds": identity.holds,
        "proven": identity.proven,
        "needs": list(identity.needs),
        "widgets": dict(identity.widgets),
        "says": {setting.value: word for setting, word in said.items()},
        "says_nothing_of": [setting.value for setting in Setting if setting not in said],
    }


def _show(body: dict[str, Any], lines: list[str]) -> None:
    from duskhold.camera.widgets import HELD_BY

    wording.say(f"{body['model']}, serial {body['serial']}, at {body['camera']} (library {body['library']}).")
    widgets = body["widgets"]
    held = f", held by `{widgets[HELD_BY]}`" if HELD_BY in widgets else ""
    wording.say(f"Control family: {body['family']}, vendor extension {body['vendor_extension']}{held}.")
    wording.say(_proof(body))
    for need in body["needs"]:
        wording.say(f"Before a held frame: {need}.")
    for name, word in body["says"].items():
        wording.say(f"  {name:<18} {word:<20} {widgets.get(name, '')}".rstrip())
    if body["latency"] is not None:
        latency = body["latency"]
        wording.say(f"Latency: {latency['seconds'] * 1000:+.0f} ms, give or take {latency['sigma_s'] * 1000:.0f} ms.")
    for line in lines:
        wording.say(line)
    if body["says_nothing_of"]:
        wording.say(f"It cannot be asked: {', '.join(body['says_nothing_of'])}.")


def _proof(body: dict[str, Any]) -> str:
    if not body["holds"]:
        return DIAL_ONLY
    if body["bench_passed"]:
        return "Proven: it held its frames on the bench."
    return PROVEN_HERE if body["proven"] else UNPROVEN


def _show_restored(body: dict[str, Any]) -> None:
    show_changes(body["changed"])
    if not body["changed"]:
        wording.say("Nothing to put back." if body["found_before"] else "Nothing was set from here before.")
