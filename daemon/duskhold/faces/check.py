"""`duskhold check`: the list before the shot, with what is wrong, why it matters and what to do."""

import argparse
import sys
from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.inputs import (
    folders_of,
    now_utc,
    number_of,
    person_is_there,
    saying_journal_errors,
    settings_of,
    zone_of,
)
from duskhold.faces.trouble import not_asked, saying_trouble

if TYPE_CHECKING:
    from duskhold.app.check import Change
    from duskhold.app.check_memory import CheckMemory
    from duskhold.app.checklist import Item, Wanted
    from duskhold.app.settings import Settings


EXIT_NOT_READY = 3
MARKS = {"ok": "ok", "bad": "BAD", "unknown": "?", "not_applicable": "-"}


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "check",
        help="the list before the shot: settings, card, battery, clock, and what only a person can see",
        description="Reads what the body says of itself and judges it. What it cannot say is asked once for each "
        "set-up, on a terminal only; unknown is never right. Leaves with 0 when everything is right, else with 3.",
    )
    parser.add_argument("--camera", metavar="ADDRESS", help="simulated, usb, usb:SERIAL or ptpip:HOST:PORT:EVENTPORT")
    parser.add_argument(
        "--fix", action="store_true", help="set what can be set; what was there is kept for `body restore`"
    )
    parser.add_argument("--tick", metavar="ITEM,...", help="items that a person has seen to, as ids")
    parser.add_argument("--new-set-up", action="store_true", help="forget what was said of the set-up before")
    parser.add_argument("--frames", type=int, default=10, metavar="N", help="how many frames are planned (10)")
    parser.add_argument("--iso", default="100", metavar="ISO", help="the base ISO of this body (100)")
    parser.add_argument("--dark-frame", choices=("off", "on"), default="off", help="whether the body's own is wanted")


def run(args: argparse.Namespace) -> Answer:
    """Ask, judge, perhaps put right, and judge again."""
    from duskhold.app.check import NoBody, ask_facts, fix, memory_path
    from duskhold.app.check_memory import MemoryDamaged, read_memory
    from duskhold.app.checklist import is_ready, judge
    from duskhold.app.station import at_station
    from duskhold.faces.expose import camera_of
    from duskhold.shutter.holder_link import HolderRefused

    settings = settings_of(args)
    camera, folders, zone = camera_of(args, settings), folders_of(args, settings), zone_of(settings)
    wanted, ticked = _wanted(args, settings), _ticked(args.tick)
    with saying_trouble(), saying_journal_errors(), at_station(camera, settings, folders) as station:
        try:
            facts = ask_facts(station, zone)
            memory = read_memory(memory_path(folders.places(camera).state, facts.identity.serial))
            changes = fix(station, facts, wanted, memory, zone) if args.fix else []
            facts = ask_facts(station, zone) if changes else facts
        except (NoBody, HolderRefused, MemoryDamaged) as error:
            raise not_asked("not_checked", error) from error
    _listen(args, memory, ticked, judge(facts, wanted, memory.answers(now_utc())))
    items = judge(facts, wanted, memory.answers(now_utc()))
    ready = is_ready(items)
    body = _body(camera, items, changes, ready)
    settable = [] if args.fix else [item.item for item in items if item.fix is not None]
    return Answer(body, 0 if ready else EXIT_NOT_READY, partial(_show, body, settable))


def change_body(change: "Change") -> dict[str, object]:
    """One setting that was set, for JSON."""
    return {
        "setting": change.setting.value,
        "was": change.was,
        "asked": change.asked,
        "now": change.now,
        "trouble": change.trouble,
    }


def show_changes(changes: list[dict[str, Any]]) -> None:
    for change in changes:
        setting, asked, trouble = change["setting"], change["asked"], change["trouble"]
        if trouble:
            wording.say(f"{setting}: set it to {asked} on the body; from here it could not be set ({trouble}).")
        else:
            wording.say(f"{setting}: {change['was']} is now {change['now']}.")


def _wanted(args: argparse.Namespace, settings: "Settings") -> "Wanted":
    from duskhold.app.checklist import Wanted
    from duskhold.camera.port import Setting
    from duskhold.camera.words import meaning

    number_of("--frames", args.frames, 1, 10_000, "frames")
    if isinstance(meaning(Setting.ISO, args.iso), str):
        raise Wrong("bad_input", f"{args.iso!r} is no ISO number.", field="--iso", hint="Write a number, such as 64.")
    limits = settings.limits
    return Wanted(
        frames=args.frames,
        iso=args.iso,
        dark_frame=args.dark_frame,
        battery_percent=min(100, limits.battery_reserve_percent + 15),
        disk_reserve_bytes=limits.disk_reserve_mb * 1_000_000,
    )


def _ticked(text: str | None) -> list[str]:
    from duskhold.app.checklist import item_ids

    ticked = [word.strip() for word in (text or "").split(",") if word.strip()]
    for word in ticked:
        if word not in item_ids():
            raise Wrong("bad_input", f"{word!r} is no item.", field="--tick", hint=f"Items: {', '.join(item_ids())}.")
    return ticked


def _listen(args: argparse.Namespace, memory: "CheckMemory", ticked: list[str], items: "list[Item]") -> None:
    """Take what a person says; ask only on a terminal."""
    from duskhold.app.check import unanswered

    if args.new_set_up:
        memory.forget_answers()
    for name in ticked:
        memory.remember(name, True, now_utc())
    try:
        if not args.json and person_is_there() and sys.stdout.isatty():
            for item in unanswered(items):
                if item.item not in ticked:
                    _ask(memory, item)
    finally:
        memory.write()  # whoever leaves in the middle has answered what was asked until then


def _ask(memory: "CheckMemory", item: "Item") -> None:
    from duskhold.faces.questions import ask

    right = ask(f"{item.item}: {item.expected}? (y/n, - leaves it open)", "-", _yes_or_no)
    if right is not None:
        memory.remember(item.item, right, now_utc())


def _yes_or_no(typed: str) -> bool:
    if typed.lower() not in ("y", "yes", "n", "no"):
        raise ValueError("y or n")
    return typed.lower().startswith("y")


def _body(camera: str, items: "list[Item]", changes: "list[Change]", ready: bool) -> dict[str, Any]:
    return {
        "camera": camera,
        "ready": ready,
        "items": [
            {
                "item": item.item,
                "state": item.state.value,
                "source": item.source.value,
                "value": item.value,
                "expected": item.expected,
                "why": item.why,
                "advice": item.advice,
            }
            for item in items
        ],
        "changed": [change_body(change) for change in changes],
    }


def _show(body: dict[str, Any], settable: list[str]) -> None:
    show_changes(body["changed"])
    rows = [(each["item"], MARKS[each["state"]], each["value"] or "", _said(each)) for each in body["items"]]
    wording.print_table(f"Check of {body['camera']}", ("item", "", "value", "what to do"), rows)
    for line in last_lines(body, settable):
        wording.say(line)


def last_lines(body: dict[str, Any], settable: list[str]) -> Iterator[str]:
    """What is left to see to, where the eye is when the list has gone by."""
    from duskhold.app.checklist import PEOPLE

    if body["ready"]:
        yield "Ready."
        return
    states = {each["item"]: each["state"] for each in body["items"]}
    wrong = [item for item, state in states.items() if state == "bad"]
    unknown = [item for item, state in states.items() if state == "unknown"]
    yield "Not ready."
    for word, left in (
        ("Wrong", wrong),
        ("Set by `--fix`", settable),
        ("Not told by the body", [item for item in unknown if item not in PEOPLE]),
        ("Only you can see", [item for item in unknown if item in PEOPLE]),
    ):
        if left:
            yield f"{word}: {', '.join(left)}."
    if unknown:
        yield "What you have seen to yourself: `--tick item,item`."


def _said(item: dict[str, Any]) -> str:
    if item["state"] not in ("bad", "unknown"):
        return ""
    return f"{item['advice'] or ''} ({item['why']})".strip()
