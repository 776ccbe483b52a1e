"""`duskhold set-up`: the first run on a machine. Shows what it would write, writes it, takes it away again."""

import argparse
import os
import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from duskhold.faces.answer import Answer, Wrong

if TYPE_CHECKING:
    from duskhold.app.arrangement import PlannedFile
    from duskhold.app.installation import FileDone, Installation

Record = dict[str, Any]

SYSTEM_MANIFEST = Path("/var/lib/duskhold/set-up.json")
EXIT_SOMETHING_LEFT = 3


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "set-up",
        help="settings, udev rule and unit for this machine",
        description="Asks for what is not given as an option (on a terminal) and prints the settings, the udev rule "
        "and the unit that it would write. Nothing is written without --apply.",
    )
    parser.add_argument("--place", metavar="LAT,LON", help="where you photograph most, north and east positive")
    parser.add_argument("--zone", metavar="ZONE", help="zone of local times, such as Europe/Lisbon")
    parser.add_argument("--filters", metavar="LIST", help="filters in the bag: strong=x1000,d0.9")
    parser.add_argument("--camera", metavar="ADDRESS", help="usb (the default), simulated or ptpip:HOST:PORT:EVENTPORT")
    parser.add_argument("--group", metavar="NAME", default="plugdev", help="who may use cameras (plugdev)")
    parser.add_argument("--system", action="store_true", help="only the files that need root")
    parser.add_argument("--root", metavar="DIR", default="/", help="put every file under this folder, to try it out")
    act = parser.add_mutually_exclusive_group()
    act.add_argument("--apply", action="store_true", help="write the files")
    act.add_argument("--undo", action="store_true", help="take away what --apply wrote and nobody has changed since")


def run(args: argparse.Namespace) -> Answer:
    """Look, write or take away."""
    if os.environ.get("SUDO_USER") and not args.system and args.root == "/":
        raise Wrong(
            "bad_input",
            "With sudo this would write the settings of root.",
            field="--system",
            hint="Run it as yourself, and with sudo only with --system.",
        )
    files = [one for part in _parts(args) for one in _records(part, args)]
    left = [one for one in files if one["done"] == "kept" and (args.apply or args.undo)]
    body: Record = {"applied": args.apply, "undone": args.undo, "files": files, "next": _next(args, files)}
    return Answer(body, EXIT_SOMETHING_LEFT if left else 0, partial(_show, body))


@dataclass(frozen=True, slots=True)
class _Part:
    """Files that one kind of user may write: oneself, or root."""

    installation: "Installation"
    files: "Sequence[PlannedFile]"
    needs_root: bool


def _parts(args: argparse.Namespace) -> list[_Part]:
    from duskhold.app.arrangement import own_files, system_files
    from duskhold.app.folders import folders_for
    from duskhold.app.installation import Installation
    from duskhold.faces.wish import settings_target, wish_of

    root = Path(args.root).absolute()
    system = _Part(Installation(root, SYSTEM_MANIFEST), system_files(args.group), needs_root=root == Path("/"))
    if args.system:
        return [system]
    target = settings_target(args)
    manifest = folders_for(None, os.environ).state / "set-up.json"
    own_installation = Installation(root, manifest)
    files = () if args.undo else own_files(wish_of(args, target), target, os.environ)
    own = _Part(own_installation, files, needs_root=False)
    # Backwards, so that folders made for both are empty when the one that lists them is undone.
    return [system, own] if args.undo else [own, system]


def _records(part: _Part, args: argparse.Namespace) -> list[Record]:
    allowed = not part.needs_root or os.geteuid() == 0
    if args.undo:
        done = part.installation.undo() if allowed else part.installation.look_back()
    elif args.apply and allowed:
        done = part.installation.apply(part.files)
    else:
        done = part.installation.look(part.files)
    texts = {} if args.undo else {one.what: one.text for one in part.files}
    return [_record(one, part.needs_root, texts.get(one.what)) for one in done]


def _record(done: "FileDone", needs_root: bool, text: str | None) -> Record:
    return {
        "path": str(done.path),
        "what": done.what,
        "done": done.done.value,
        "needs_root": needs_root,
        "text": text,
    }


def _next(args: argparse.Namespace, files: list[Record]) -> list[str]:
    """The commands that the person runs afterwards: this program starts no services and becomes nobody else."""
    if args.root != "/":
        return []
    if not args.apply and not args.undo:
        return [_this_command(args, "--apply")]
    steps = []
    act = "--undo" if args.undo else "--apply"
    waiting = ("would_remove",) if args.undo else ("would_write",)
    if any(one["needs_root"] and one["done"] in waiting for one in files):
        steps.append(f"sudo {_program()} set-up --system --group {shlex.quote(args.group)} {act}")
    steps.append("sudo udevadm control --reload && sudo udevadm trigger --subsystem-match=usb")
    if not args.system:
        steps.append("systemctl --user daemon-reload")
    if args.apply and not args.system:
        steps.append("systemctl --user enable --now duskhold-keeper.service")
        steps.append("loginctl enable-linger  # so that it starts with the machine, before anybody logs in")
        steps.append(f'sudo usermod -aG {shlex.quote(args.group)} "$USER"  # counts from the next login on')
    return steps


def _this_command(args: argparse.Namespace, act: str) -> str:
    words = [_program(), "set-up"]
    for name in ("settings", "place", "zone", "filters", "camera", "group"):
        value = getattr(args, name)
        if value is not None and (name, value) != ("group", "plugdev"):
            words.append(shlex.quote(f"--{name}={value}"))
    return " ".join([*words, *(["--system"] if args.system else []), act])


def _program() -> str:
    return shlex.quote(str(Path(sys.executable).with_name("duskhold")))


_SAID = {
    "would_write": "would be written",
    "written": "written",
    "unchanged": "is there already, the same",
    "kept": "left as it is: it is not ours, or was changed since",
    "would_remove": "would be taken away",
    "removed": "taken away",
    "gone": "was gone already",
}


def _show(body: Record) -> None:
    for one in body["files"]:
        root = " (needs root)" if one["needs_root"] and one["done"].startswith("would") else ""
        print(f"{one['path']}: {one['what']}, {_SAID[one['done']]}{root}")
        if one["text"] and one["done"] in ("would_write", "kept"):
            print("".join(f"    {line}\n" for line in one["text"].splitlines()))
    if not body["files"]:
        print("There is nothing to take away.")
    if body["next"]:
        print("Next:")
        for step in body["next"]:
            print(f"  {step}")
