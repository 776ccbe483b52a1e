"""`duskhold check` and `duskhold body` on badly set bodies of every family, through the real processes."""

from __future__ import annotations

import argparse
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.check_memory import CheckMemory, read_memory
from duskhold.app.checklist import PEOPLE, Item, Source, State, item_ids
from duskhold.app.folders import Folders
from duskhold.camera.serving import ServedBody
from duskhold.faces.check import _listen, last_lines
from duskhold.faces.cli import main
from duskhold.shutter.holder_link import HolderLink, HolderSilent

BAD = {"iso": "800", "white_balance": "auto", "drive": "self_timer", "mode": "aperture", "focus": "single"}
EVERYWHERE = {"mode", "iso", "white_balance", "focus", "clock"}
PLANTED: dict[str, tuple[Mapping[str, str], set[str]]] = {
    "toggle": (
        {"dark_frame": "on", "exposure_delay": "on", "bracketing": "on", "auto_iso": "on", "stabiliser": "on"}
        | {"electronic_shutter": "on", "quality": "jpeg", "shutter": "30"},
        {"dark_frame", "exposure_delay", "bracketing", "auto_iso", "stabiliser", "quality", "shutter", "self_timer"}
        | {"electronic_shutter"},
    ),
    "press": (
        {"mirror_lock": "on", "bracketing": "on", "live_view": "on", "quality": "jpeg", "shutter": "30"},
        {"mirror_lock", "bracketing", "live_view", "quality", "shutter", "self_timer"},
    ),
    "press-old": (
        {"mirror_lock": "on", "bracketing": "on", "live_view": "on", "quality": "jpeg", "shutter": "30"},
        {"mirror_lock", "bracketing", "live_view", "quality", "shutter", "self_timer"},
    ),
    "standard": ({"drive": "continuous"}, {"drive"}),
}
UNKNOWN = {
    "toggle": {"mirror_lock", "live_view"},
    "press": {"stabiliser", "electronic_shutter", "dark_frame", "exposure_delay"},
    "press-old": {"stabiliser", "electronic_shutter", "dark_frame", "exposure_delay"},
    "standard": {
        *("stabiliser", "electronic_shutter", "dark_frame", "exposure_delay", "quality", "free_shots"),
        *("mirror_lock", "bracketing", "live_view"),
    },
}


class Machine:
    """A served body of one family, badly set, and the command in folders of its own."""

    def __init__(self, folder: Path, family: str) -> None:
        self.folder = folder
        self.family = family
        planted = {**BAD, **PLANTED[family][0]}
        options = [word for name, value in planted.items() for word in ("--set", f"{name}={value}")]
        quick = ("--profile", "render=false", "--lifetime", "120", "--profile", "clock_offset_s=40")
        self.body = ServedBody(folder / "body", ["--family", family, *quick, *options])

    def run(self, *words: str) -> tuple[int, dict[str, Any]]:
        line = [sys.executable, "-m", "duskhold", *words, "--json", "--data", str(self.folder / "data")]
        done = subprocess.run(
            [*line, "--camera", self.body.address],
            env=os.environ
            | {
                "DUSKHOLD_RUNTIME": str(self.folder / "run"),
                "XDG_STATE_HOME": str(self.folder / "state"),
                "XDG_CONFIG_HOME": str(self.folder / "config"),
            },
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.stdout, done.stderr
        answer: dict[str, Any] = json.loads(done.stdout)
        return done.returncode, answer

    def end(self) -> None:
        """Let go of the camera, so that holder and keeper end by themselves."""
        for socket in (self.folder / "run").rglob("holder"):
            link = HolderLink(socket, patience_s=0.0)
            with suppress(HolderSilent):
                pid = link.state()["pid"]
                assert isinstance(pid, int)
                os.kill(pid, signal.SIGTERM)
            link.close()


@pytest.fixture(params=list(PLANTED))
def machine(request: pytest.FixtureRequest) -> Iterator[Machine]:
    with tempfile.TemporaryDirectory(prefix="dh-") as folder:  # a socket's path must stay short
        made = Machine(Path(folder), request.param)
        with made.body:
            yield made
            made.end()


def states(answer: Mapping[str, Any]) -> dict[str, str]:
    return {each["item"]: each["state"] for each in answer["items"]}


def test_every_planted_fault_is_found_put_right_and_put_back(machine: Machine) -> None:
    planted = EVERYWHERE | PLANTED[machine.family][1]
    status, before = machine.run("check")
    found = states(before)
    assert list(found) == item_ids()
    assert {name for name, state in found.items() if state == "bad"} == planted
    assert {name for name, state in found.items() if state == "unknown"} == UNKNOWN[machine.family] | set(PEOPLE)
    assert (status, before["ready"]) == (3, False)
    _, said = machine.run("body")

    ticks = ",".join(sorted(UNKNOWN[machine.family] | set(PEOPLE)))
    status, fixed = machine.run("check", "--fix", "--tick", ticks)
    # The focus switch of one family can only be read; everything else that was bad can be set.
    left = {"focus"} if machine.family.startswith("press") else set()
    assert {name for name, state in states(fixed).items() if state == "bad"} == left
    assert (status, fixed["ready"]) == ((3, False) if left else (0, True))

    status, restored = machine.run("body", "restore")
    assert (status, restored["found_before"]) == (0, True)
    assert not [each for each in restored["changed"] if each["trouble"]]
    status, again = machine.run("body")
    assert status == 0, again
    differs = {name for name, word in said["says"].items() if again["says"][name] != word}
    assert differs <= {"clock", "battery"}
    offset_s = {each["item"]: each["value"] for each in machine.run("check")[1]["items"]}["clock"]
    # Set twice and read twice, each to a whole second, by processes that may have to wait for their turn.
    assert abs(float(offset_s.removesuffix(" s")) - 40.0) <= 3.0
    assert machine.run("body", "restore")[1]["found_before"] is False


@pytest.mark.parametrize("machine", ["toggle"], indirect=True)
def test_where_pictures_went_before_connecting_is_put_back(machine: Machine) -> None:
    places = Folders(machine.folder, machine.folder / "state" / "duskhold", machine.folder).places(machine.body.address)
    kept = places.state / "library" / "gphoto" / "settings"  # in this family the target is a setting of the library
    kept.parent.mkdir(parents=True)
    kept.write_text("ptp2=capturetarget=sdram\n")
    assert machine.run("body")[1]["says"]["target"] == "Memory card"
    assert "capturetarget=card" in kept.read_text()
    for _ in range(2):  # connecting changes it every time, and so it can be put back every time
        status, restored = machine.run("body", "restore")
        changed = [(each["setting"], each["was"], each["now"]) for each in restored["changed"]]
        assert (status, restored["found_before"], changed) == (0, True, [("target", "Memory card", "Internal RAM")])
        assert "capturetarget=sdram" in kept.read_text()
    # Nobody takes a picture in the session that would lose it.
    assert machine.run("body")[1]["says"]["target"] == "Memory card"


def test_what_is_left_is_named_below_the_list() -> None:
    states = {"mode": "bad", "focus": "bad", "live_view": "unknown", "iso": "ok", "ring": "unknown", "lead": "ok"}
    items = [{"item": item, "state": state} for item, state in states.items()]
    assert list(last_lines({"ready": False, "items": items}, ["mode"])) == [
        "Not ready.",
        "Wrong: mode, focus.",
        "Set by `--fix`: mode.",
        "Not told by the body: live_view.",
        "Only you can see: ring.",
        "What you have seen to yourself: `--tick item,item`.",
    ]
    assert list(last_lines({"ready": False, "items": items[:1]}, [])) == ["Not ready.", "Wrong: mode."]
    assert list(last_lines({"ready": True, "items": items[3:4]}, [])) == ["Ready."]


def test_what_was_answered_before_ctrl_c_is_not_asked_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = iter(["y", "no"])

    def answer(question: str) -> str:
        try:
            return next(typed)
        except StopIteration:
            raise KeyboardInterrupt from None

    for stream in ("stdin", "stdout"):
        monkeypatch.setattr(f"sys.{stream}.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", answer)
    items = [Item(each, State.UNKNOWN, Source.PERSON, None, "right", "") for each in ("eyepiece", "ring", "lead")]
    args = argparse.Namespace(json=None, new_set_up=False)
    with pytest.raises(KeyboardInterrupt):
        _listen(args, CheckMemory(tmp_path / "memory.json"), ["leave_by"], items)
    said = read_memory(tmp_path / "memory.json").said
    assert {name: each.right for name, each in said.items()} == {"leave_by": True, "eyepiece": True, "ring": False}
    assert capsys.readouterr().out.endswith("\n")


@pytest.mark.parametrize("iso", ["banana", "auto", "-100"])
def test_an_iso_that_is_no_number_is_said_before_the_camera_is_asked(
    iso: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["--data", str(tmp_path), "check", "--camera", "simulated", f"--iso={iso}"]) == 2
    assert f"--iso: {iso!r} is no ISO number" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_the_body_says_what_it_is(machine: Machine) -> None:
    status, answer = machine.run("body")
    assert status == 0
    families = {"toggle": "bulb toggle", "press": "release button", "press-old": "old bulb", "standard": "open capture"}
    assert answer["family"] == families[machine.family]
    assert answer["holds"] and answer["proven"]
    assert not set(answer["says"]) & set(answer["says_nothing_of"])
    widgets = {"toggle": "bulb", "press": "eosremoterelease", "press-old": "bulb", "standard": "movie"}
    assert answer["widgets"]["shutter is held by"] == widgets[machine.family]
    assert set(answer["says"]) <= set(answer["widgets"])
    assert answer["bench_passed"] is False
