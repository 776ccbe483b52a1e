"""The command line's frame: where options may stand, how errors look, what help imports."""

import argparse
import json
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from duskhold.faces import cli
from duskhold.faces.answer import Answer, Wrong
from duskhold.faces.command_line import command_in, with_values_joined

DUSKHOLD = [sys.executable, "-m", "duskhold"]


def probe(run: Any) -> SimpleNamespace:
    def add_parser(subparsers: Any) -> None:
        parser = subparsers.add_parser("status", help="a command for this test")
        parser.add_argument("--place")
        parser.add_argument("--altitude", type=float, nargs="+")
        parser.add_argument("--rate", type=float, default=0.0)

    return SimpleNamespace(add_parser=add_parser, run=run)


def shown(args: argparse.Namespace) -> Answer:
    body: dict[str, object] = {name: value for name, value in vars(args).items() if name != "command"}
    return Answer(body, 0, lambda: print("shown"))


@pytest.fixture
def duskhold(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    def with_command(run: Any) -> Any:
        monkeypatch.setattr(cli, "COMMANDS", ("status",))
        monkeypatch.setattr(cli, "_module", lambda name: probe(run))

        def called(*words: str) -> tuple[int, str, str]:
            status = cli.main(words)
            said = capsys.readouterr()
            return status, said.out, said.err

        return called

    return with_command


@pytest.mark.parametrize(
    "words",
    [
        ("--json", "--settings", "a.yaml", "--data", "d", "status"),
        ("status", "--json", "--settings", "a.yaml", "--data", "d"),
        ("--data=d", "status", "--json", "--settings=a.yaml"),
        ("--settings", "status", "--data", "x", "status", "--data", "d", "--json", "--settings", "a.yaml"),
    ],
)
def test_common_options_stand_before_or_after_the_command(duskhold: Any, words: tuple[str, ...]) -> None:
    status, out, err = duskhold(shown)(*words)
    body = json.loads(out)
    assert (status, err) == (0, "")
    assert (body["json"], body["settings"], body["data"]) == (True, "a.yaml", "d")


def test_common_options_left_out_are_none(duskhold: Any) -> None:
    seen: list[argparse.Namespace] = []

    def run(args: argparse.Namespace) -> Answer:
        seen.append(args)
        return shown(args)

    assert duskhold(run)("status") == (0, "shown\n", "")
    assert (seen[0].json, seen[0].settings, seen[0].data) == (None, None, None)


@pytest.mark.parametrize("place", ["-33.9,18.4", "-33.9,-18.4", "-.5,0", "51,-0.1"])
def test_negative_places_are_values(duskhold: Any, place: str) -> None:
    _, out, _ = duskhold(shown)("status", "--place", place, "--json")
    assert json.loads(out)["place"] == place


def test_several_negative_numbers_after_one_option(duskhold: Any) -> None:
    _, out, _ = duskhold(shown)("--json", "status", "--altitude", "-6", "-12.5", "0", "--rate", "-1e-2")
    body = json.loads(out)
    assert (body["altitude"], body["rate"]) == ([-6.0, -12.5, 0.0], -0.01)


def test_a_wrong_option_is_one_json_object(duskhold: Any) -> None:
    status, out, err = duskhold(shown)("status", "--rate", "fast", "--json")
    error = json.loads(out)["error"]
    assert (status, err) == (2, "")
    assert set(error) == {"code", "message", "field", "hint"}
    assert (error["code"], error["field"], error["message"]) == ("usage", "--rate", "'fast' is no number.")


@pytest.mark.parametrize("words", [("status", "--rat", "1"), ("status", "--rate"), ("stat",), ("status", "more"), ()])
def test_bad_usage_is_said_plainly_and_exits_2(duskhold: Any, words: tuple[str, ...]) -> None:
    status, out, err = duskhold(shown)(*words)
    assert (status, out) == (2, "")
    assert err.startswith("duskhold: ")
    assert "--help" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("exit_status", [2, 3, 4, 130, 143])
def test_what_a_command_finds_wrong_keeps_its_exit_status(duskhold: Any, exit_status: int) -> None:
    def run(args: argparse.Namespace) -> Answer:
        raise Wrong("no_card", "No card.", field="camera", hint="Put one in.", exit_status=exit_status)

    status, out, _ = duskhold(run)("--json", "status")
    assert status == exit_status
    assert json.loads(out) == {
        "error": {"code": "no_card", "message": "No card.", "field": "camera", "hint": "Put one in."}
    }
    assert duskhold(run)("status") == (exit_status, "", "duskhold: camera: No card.\n  Put one in.\n")


def test_an_answer_may_carry_a_failed_frame(duskhold: Any) -> None:
    status, out, _ = duskhold(lambda args: Answer({"outcome": "link_lost"}, 4, lambda: None))("--json", "status")
    assert (status, json.loads(out)) == (4, {"outcome": "link_lost"})


def test_the_systems_errors_are_said_not_raised(duskhold: Any) -> None:
    def run(args: argparse.Namespace) -> Answer:
        Path("/nonexistent/folder/file").read_bytes()
        return shown(args)

    status, out, _ = duskhold(run)("--json", "status")
    assert status == 3
    assert json.loads(out)["error"]["field"] == "/nonexistent/folder/file"


def test_ctrl_c_is_130(duskhold: Any) -> None:
    def run(args: argparse.Namespace) -> Answer:
        raise KeyboardInterrupt

    status, out, _ = duskhold(run)("--json", "status")
    assert (status, json.loads(out)["error"]["code"]) == (130, "interrupted")


def test_not_a_number_is_a_programmers_error(duskhold: Any) -> None:
    with pytest.raises(ValueError, match="Out of range float"):
        duskhold(lambda args: Answer({"open_s": float("nan")}, 0, lambda: None))("--json", "status")


def test_programmers_errors_are_not_hidden(duskhold: Any) -> None:
    def run(args: argparse.Namespace) -> Answer:
        raise AssertionError("a bug")

    with pytest.raises(AssertionError, match="a bug"):
        duskhold(run)("status")


def test_the_commands_name_is_found_among_options() -> None:
    assert command_in(["--data", "sky", "--json", "solve", "--base", "1"]) == "solve"
    assert command_in(["--data=sky", "solve"]) == "solve"
    assert command_in(["--json"]) is None


def test_only_values_that_look_like_options_are_joined() -> None:
    words = ["sky", "--place", "-33.9,18.4", "--altitude", "-6", "-12", "--json", "-h"]
    assert with_values_joined(words) == [
        "sky",
        "--place=-33.9,18.4",
        "--altitude",
        "-6",
        "-12",
        "--json",
        "-h",
    ]


def test_help_names_every_command_and_imports_nothing_heavy() -> None:
    code = (
        "import sys; from duskhold.faces.cli import main; status = main(['--help']); "
        "heavy = {'numpy', 'cv2', 'matplotlib', 'rich', 'ephem', 'pydantic', 'yaml', 'gphoto2', 'sqlite3',"
        " 'PIL', 'rawpy', 'tifffile', 'asyncio'} & set(sys.modules); "
        "print('HEAVY', sorted(heavy)); sys.exit(status)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "HEAVY []" in done.stdout
    for name in cli.COMMANDS:
        assert f"\n    {name}" in done.stdout


def test_a_reader_that_goes_away_is_no_error() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    done = subprocess.run(
        [*DUSKHOLD, "--help"],
        env=environment,
        stdout=write_end,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write_end)
    assert (done.returncode, done.stderr) == (cli.EXIT_UNREAD, "")


@pytest.mark.parametrize(
    ("words", "helped"),
    [(["weather", "8"], "`duskhold weather --help`"), (["note", "x", "--camera", "usb"], "`duskhold note --help`"),
     (["body", "restore", "now"], "`duskhold body --help`"), (["--colour"], "`duskhold --help`")],
)  # fmt: skip
def test_what_a_command_does_not_take_leads_to_its_own_help(
    words: list[str], helped: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(words) == 2
    said = capsys.readouterr().err
    assert words[-1] in said and f"{helped} shows what it takes." in said
