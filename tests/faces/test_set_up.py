"""`set-up`: nothing without --apply, everything taken away by --undo, and what it writes is what the rest reads."""

import json
import os
import re
import shlex
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from duskhold.app.evening_loop import HEARTBEAT_S
from duskhold.app.folders import folders_for
from duskhold.app.settings import load_settings
from duskhold.faces.cli import main

ANSWERS = ("--place", "-33.9,18.4", "--zone", "Africa/Johannesburg", "--filters", "strong=x1000,d0.9")


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "home"
    monkeypatch.setenv("HOME", str(folder))
    monkeypatch.setenv("DUSKHOLD_RUNTIME", str(tmp_path / "run"))
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "DUSKHOLD_SETTINGS", "SUDO_USER"):
        monkeypatch.delenv(name, raising=False)
    return folder


@pytest.fixture
def root(home: Path, tmp_path: Path) -> Path:
    return tmp_path / "root"


def set_up(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> dict[str, Any]:
    assert main(["set-up", *words, "--json"]) == status
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return body


def done(body: dict[str, Any]) -> dict[str, str]:
    return {one["what"]: one["done"] for one in body["files"]}


def texts(body: dict[str, Any]) -> dict[str, str]:
    return {one["what"]: one["text"] for one in body["files"]}


def test_nothing_is_written_without_being_told(root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    body = set_up(capsys, *ANSWERS, "--root", str(root))
    assert set(done(body)) == {
        "settings", "unit of the keeper", "unit of the evenings", "udev rule", "limits of the group",
    }  # fmt: skip
    assert set(done(body).values()) == {"would_write"}
    assert not root.exists()


def test_apply_again_and_undo(root: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert set(done(set_up(capsys, *ANSWERS, "--root", str(root), "--apply")).values()) == {"written"}
    settings = load_settings(root / home.relative_to("/") / ".config/duskhold/settings.yaml")
    assert settings.place is not None
    assert (settings.place.latitude_deg, settings.zone, settings.camera) == (-33.9, "Africa/Johannesburg", "usb")
    assert [(one.name, one.label) for one in settings.filters] == [("strong", "x1000"), ("d0.9", "d0.9")]

    again = set_up(capsys, "--root", str(root), "--apply")
    assert set(done(again).values()) == {"unchanged"}
    assert set(done(set_up(capsys, "--root", str(root), "--undo")).values()) == {"removed"}
    assert not root.exists()


def test_settings_of_ones_own_are_not_replaced(home: Path, root: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = root / home.relative_to("/") / ".config/duskhold/settings.yaml"
    own.parent.mkdir(parents=True)
    own.write_text("zone: Europe/Lisbon\nlimits:\n  longest_s: 600\n")
    body = set_up(capsys, "--place", "1,2", "--root", str(root), "--apply", status=3)
    assert done(body)["settings"] == "kept"
    assert own.read_text().endswith("longest_s: 600\n")
    assert "zone: Europe/Lisbon" in texts(body)["settings"]


def test_the_udev_rule_opens_still_image_devices_only(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    # USB Still Image Capture Device Definition 1.0: class 06, subclass 01, protocol 01; systemd's usb_id writes
    # a device's interfaces as :060101:.
    rule = texts(set_up(capsys, "--system", "--group", "cameras"))["udev rule"]
    (line,) = (line for line in rule.splitlines() if not line.startswith("#"))
    pairs = re.findall(r'([A-Z_]+(?:\{[^}]+\})?)(==|=)"([^"]*)"', line)
    assert ("ENV{ID_USB_INTERFACES}", "==", "*:060101:*") in pairs
    assert ("GROUP", "=", "cameras") in pairs
    assert ("MODE", "=", "0660") in pairs
    assert line == ", ".join(f'{key}{sign}"{value}"' for key, sign, value in pairs)


def test_the_limits_let_the_group_keep_time(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from duskhold.shutter.priority import PRIORITY

    limits = texts(set_up(capsys, "--system", "--group", "cameras"))["limits of the group"]
    lines = [line.split() for line in limits.splitlines() if not line.startswith("#")]
    assert lines == [["@cameras", "-", "rtprio", str(PRIORITY)], ["@cameras", "-", "memlock", "unlimited"]]


def test_the_unit_keeps_the_camera_where_commands_look_for_it(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    address = "ptpip:127.0.0.1:15740:15740"
    unit = texts(set_up(capsys, "--camera", address))["unit of the keeper"]
    command = shlex.split(next(line for line in unit.splitlines() if line.startswith("ExecStart="))[10:])
    places = folders_for(None, os.environ).places(address)
    shared = ["--runtime", str(places.runtime), "--state", str(places.state)]
    assert command[:4] == [sys.executable, "-m", "duskhold.shutter.keeper", "--foreground"]
    assert command[4:9] == [*shared, "--"]
    assert command[9:] == [sys.executable, "-m", "duskhold.shutter.holding", "--camera", address, *shared]
    assert "KillMode=process" in unit  # the holder outlives its keeper


def test_the_service_is_watched_and_started_again_without_limit(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(home / "some state"))
    unit = texts(set_up(capsys, "--camera", "usb"))["unit of the evenings"]
    lines = [line for line in unit.splitlines() if "=" in line and not line.startswith("#")]
    said = {name: value for name, _, value in (line.partition("=") for line in lines)}
    command = shlex.split(said["ExecStart"])
    assert command[:5] == [sys.executable, "-m", "duskhold", "serve", "--settings"]
    assert command[5].endswith("duskhold/settings.yaml")
    assert shlex.split(said["Environment"])[-1] == f"XDG_STATE_HOME={home / 'some state'}"
    assert (said["Type"], said["Restart"], said["StartLimitIntervalSec"]) == ("notify", "always", "0")
    # sd_watchdog_enabled(3) asks for a sign of life in half the time.
    assert float(said["WatchdogSec"]) > 2 * HEARTBEAT_S
    assert said["KillMode"] == "process"  # a shutter process that it started outlives it
    assert said["Wants"] == "duskhold-keeper.service"


def test_every_blank_of_a_template_is_filled(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = resources.files("duskhold.app") / "templates"
    assert len(list(folder.iterdir())) == 4
    for text in texts(set_up(capsys)).values():
        assert not re.search(r"@[A-Z]+@", text)


@pytest.mark.parametrize(
    ("words", "field"),
    [
        (("--place", "91,0"), "--place"),
        (("--zone", "Mars/Base"), "--zone"),
        (("--filters", "strong=1000"), "--filters"),
        (("--filters", "a=3,a=6"), "--filters"),
        (("--camera", "bluetooth"), "--camera"),
    ],
)
def test_options_that_cannot_be_taken(
    home: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, str], field: str
) -> None:
    assert set_up(capsys, *words, status=2)["error"]["field"] == field


def test_questions_on_a_terminal(
    root: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = iter(["somewhere", "-33.9,18.4", "", "-", "simulated"])
    asked: list[str] = []

    def answer(question: str) -> str:
        asked.append(question)
        return next(typed)

    monkeypatch.setattr("builtins.input", answer)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setattr("duskhold.faces.wish._machine_zone", lambda: "Europe/Lisbon")
    monkeypatch.setenv("COLUMNS", "40")
    assert main(["set-up", "--root", str(root)]) == 0
    said = capsys.readouterr().out
    assert len(asked) == 5  # the place twice: the first answer could not be taken
    assert asked[2].endswith("[Europe/Lisbon]: ")
    assert "'somewhere' is not LAT,LON" in said
    assert all(len(row) < 40 for question in asked for row in question.split("\n"))
    assert "zone: Europe/Lisbon" in said
    assert "camera: simulated" in said
    assert "filters" not in said
    again = shlex.split(said.splitlines()[-1])
    assert again[1:] == [
        "set-up",
        f"--root={root}",
        "--place=-33.9,18.4",
        "--zone=Europe/Lisbon",
        "--camera=simulated",
        "--apply",
    ]


def test_the_end_of_answers_is_an_interruption(
    root: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def nothing_more(question: str) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", nothing_more)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert main(["set-up", "--root", str(root)]) == 130
    assert capsys.readouterr().out.endswith("\n")  # the complaint is not on the question's row


def test_without_root_the_rest_is_said(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    body = set_up(capsys, *ANSWERS, "--apply")
    assert done(body) == {
        "settings": "written",
        "unit of the keeper": "written",
        "unit of the evenings": "written",
        "udev rule": "would_write",
        "limits of the group": "would_write",
    }
    assert any(re.match(r"sudo \S+ set-up --system --group plugdev --apply", step) for step in body["next"])
    assert set(done(set_up(capsys, "--undo")).values()) == {"removed"}


def test_with_sudo_only_the_systems_files(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SUDO_USER", "somebody")
    assert set_up(capsys, "--apply", status=2)["error"]["field"] == "--system"
    assert set(done(set_up(capsys, "--system"))) == {"udev rule", "limits of the group"}


def test_what_an_empty_bag_says_to_do_fills_it(
    home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert main(["filters"]) == 0
    told = re.search("`duskhold (.+?)`", capsys.readouterr().out)
    assert told is not None
    assert main(shlex.split(told[1])) == 0
    capsys.readouterr()
    assert main(["filters"]) == 0
    assert {"strong", "light"} <= set(capsys.readouterr().out.split())
