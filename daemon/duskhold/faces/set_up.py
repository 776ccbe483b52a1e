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
    from duskhold.app.arrangement import PlannedFile, Wish
    from duskhold.app.installation import FileDone, Installation

Record = dict[str, Any]

SYSTEM_MANIFEST = Path("/var/lib/duskhold/set-up.json")
EXIT_SOMETHING_LEFT = 3


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "set-up",
        help="settings, udev rule and units for this machine",
        description="Asks for what is not given as an option (on a terminal) and prints the settings, the udev rule "
        "and the units that it would write. Nothing is written without --apply.",
    )
    parser.add_argument("--place", metavar="LAT,LON", help="where you photograph most, north and east positive")
    parser.add_argument("--zone", metavar="ZONE", help="zone of local times, such as Europe/Lisbon")
    parser.add_argument("--filters", metavar="LIST", help="filters in the bag: strong=x1000,d0.9")
    parser.add_argument(
        "--camera", metavar="ADDRESS", help="usb (the default), usb:SERIAL, simulated or ptpip:HOST:PORT:EVENTPORT"
    )
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
    wish = None if args.system or args.undo else _wish(args)
    files = [one for part in _parts(args, wish) for one in _records(part, args)]
    left = [one for one in files if one["done"] == "kept" and (args.apply or args.undo)]
    steps = _steps(args, files) if args.apply or args.undo else [_applying(args, wish)]
    body: Record = {"applied": args.apply, "undone": args.undo, "files": files, "next": steps}
    return Answer(body, EXIT_SOMETHING_LEFT if left else 0, partial(_show, body))


@dataclass(frozen=True, slots=True)
class _Part:
    """Files that one kind of user may write: oneself, or root."""

    installation: "Installation"
    files: "Sequence[PlannedFile]"
    needs_root: bool


def _wish(args: argparse.Namespace) -> "Wish":
    from duskhold.faces.wish import settings_target, wish_of

    return wish_of(args, settings_target(args))


def _parts(args: argparse.Namespace, wish: "Wish | None") -> list[_Part]:
    from duskhold.app.arrangement import own_files, system_files
    from duskhold.app.folders import folders_for
    from duskhold.app.installation import Installation
    from duskhold.faces.wish import settings_target

    root = Path(args.root).absolute()
    system = _Part(Installation(root, SYSTEM_MANIFEST), system_files(args.group), needs_root=root == Path("/"))
    if args.system:
        return [system]
    manifest = folders_for(None, os.environ).state / "set-up.json"
    own_installation = Installation(root, manifest)
    files = () if wish is None else own_files(wish, settings_target(args), os.environ)
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


def _applying(args: argparse.Namespace, wish: "Wish | None") -> str:
    """The command that writes what was shown, with every answer in it."""
    words = [_program(), "set-up"]
    options = {"settings": args.settings, "group": args.group, "root": args.root}
    if wish is not None:
        place = None if wish.place is None else f"{wish.place[0]},{wish.place[1]}"
        bag = ",".join(f"{name}={label}" for name, label in wish.filters)
        options |= {"place": place, "zone": wish.zone, "filters": bag or None, "camera": wish.camera}
    usual = {"group": "plugdev", "root": "/"}
    words += [f"--{name}={value}" for name, value in options.items() if value not in (None, usual.get(name))]
    return shlex.join([*words, *(["--system"] if args.system else []), "--apply"])


def _steps(args: argparse.Namespace, files: list[Record]) -> list[str]:
    """The commands that the person runs afterwards: this program starts no services and becomes nobody else."""
    if args.root != "/":
        return []
    steps = []
    act, waiting = ("--undo", "would_remove") if args.undo else ("--apply", "would_write")
    if any(one["needs_root"] and one["done"] == waiting for one in files):
        steps.append(f"sudo {shlex.join([_program(), 'set-up', '--system', '--group', args.group, act])}")
    steps.append("sudo udevadm control --reload && sudo udevadm trigger --subsystem-match=usb")
    if not args.system:
        steps.append("systemctl --user daemon-reload")
    if args.apply and not args.system:
        steps.append("systemctl --user enable --now duskhold-keeper.service")
        steps.append("systemctl --user enable --now duskhold.service  # where evenings are to begin by themselves")
        steps.append("loginctl enable-linger  # so that it starts with the machine, before anybody logs in")
        steps.append(f'sudo usermod -aG {shlex.quote(args.group)} "$USER"  # counts from the next login on')
    return steps


def _program() -> str:
    return str(Path(sys.executable).with_name("duskhold"))


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
