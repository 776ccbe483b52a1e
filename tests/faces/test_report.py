"""`report`: an evening of the simulated camera written down; the page by an HTML parser, the sums by sha256sum."""

import csv
import hashlib
import json
import math
import subprocess
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import html5lib
import pytest
from bundled import bundled
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from duskhold.app import reporting
from duskhold.app.reporting import evening_span, gather_evening
from duskhold.faces.cli import main
from duskhold.frames.evening import Evening, EveningFrame
from duskhold.frames.ledger import COLUMNS, log_line, table_line
from duskhold.frames.page import page_html
from duskhold.journal.entry import Frame, Intent, Outcome, Refusal, Stamp
from duskhold.journal.journal import Journal
from duskhold.light.place import Place

START = datetime(2026, 10, 14, 17, 14, tzinfo=UTC)
DAY = "2026-10-14"
DECISION: dict[str, dict[str, object]] = {
    "base": {},
    "dark": {},
    "long": {"rate_stops_per_min": -0.18, "filter_stops": 2.0},
}


def stamp(minute: float) -> Stamp:
    return Stamp(START + timedelta(minutes=minute), minute * 60, "boot")


def utc(moment: datetime) -> str:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def add_frame(
    data: Path, minute: int, role: str, offset_px: int, gain: float, decision: Mapping[str, object] | None = None
) -> Path:
    """A picture that comes with scikit-image, cut `offset_px` further to the left, as the frame of that minute."""
    frame_id = f"20261014-17{14 + minute:02d}00-{minute:04x}"
    path = data / "frames" / DAY / f"{frame_id}-{role}-DSK.JPG"
    path.parent.mkdir(parents=True, exist_ok=True)
    exif = Image.Exif()
    exif.get_ifd(0x8769).update({0x829A: IFDRational(1, 4), 0x829D: IFDRational(8, 1), 0x8827: 100})
    scene = (bundled("coffee") * gain).astype("uint8")[:, 20 - offset_px : 560 - offset_px]
    Image.fromarray(scene).save(path, quality=95, exif=exif)
    content = path.read_bytes()
    file = {
        "path": str(path),
        "role": role,
        "bytes": len(content),
        "sha256": hashlib.sha256(content).hexdigest(),
    }
    opened = START + timedelta(minutes=minute)
    with Journal.open(data / "journal.sqlite") as journal:
        intent = Intent(frame_id, "usb", role, "held", 60.0, 65.0, {**DECISION[role], **(decision or {})})
        journal.intend(intent, stamp(minute))
        outcome = Outcome(
            frame_id=frame_id,
            outcome="complete",
            open_s=60.004,
            open_s_range=None,
            opened_utc=utc(opened),
            closed_utc=utc(opened + timedelta(seconds=60)),
            shutter="closed",
            settled=True,
            reason="",
            files=(file,),
        )
        journal.conclude(outcome, stamp(minute + 1))
    return path


@pytest.fixture(autouse=True)
def quiet_machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in ("DUSKHOLD_SETTINGS", "XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME"):
        monkeypatch.delenv(name, raising=False)


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """One base frame, nothing to compare."""
    add_frame(tmp_path / "short", 0, "base", 0, 0.8)
    return tmp_path / "short"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Two base frames, a good long one, a moved one, one whose file is damaged, and a refusal."""
    folder = tmp_path / "data"
    add_frame(folder, 0, "base", 0, 0.8)
    add_frame(folder, 3, "long", 0, 0.78)
    add_frame(folder, 8, "base", 0, 0.7)
    add_frame(folder, 11, "long", 5, 0.7)
    damaged = add_frame(folder, 15, "long", 0, 0.7)
    damaged.write_bytes(damaged.read_bytes()[:9000])
    with Journal.open(folder / "journal.sqlite") as journal:
        refusal = Refusal("20261014-173500-00ff", "usb", "long", "held", None, "never", "<The light> never suffices.")
        journal.refuse(refusal, stamp(21))
    return folder


def asked(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, dict[str, Any]]:
    status = main([*words, "--json"])
    body = json.loads(capsys.readouterr().out)
    assert isinstance(body, dict)
    return status, body


def test_an_evening_is_written_down(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pictures = {path: path.read_bytes() for path in data.rglob("*.JPG")}
    status, body = asked(capsys, "report", "--data", str(data), "--place", "57.32,-5.61")
    assert status == 0
    report = body["reports"][0]
    assert (report["frames"], report["good"], report["unjudged"]) == (6, 3, 0)
    assert {path: path.read_bytes() for path in pictures} == pictures
    folder = data / "frames" / DAY / "record"
    assert {Path(path).parent for path in report["side_files"]} == {folder}
    _check_page(Path(report["page"]).read_text())
    rows = list(csv.DictReader(Path(report["table"]).read_text().splitlines()))
    assert [row["role"] for row in rows] == ["base", "long", "base", "long", "long", "long"]
    assert float(rows[3]["shift_x_px"]) == pytest.approx(5, abs=0.1)
    assert float(rows[1]["level_error_stops"]) == pytest.approx(-0.08, abs=0.03)
    log = Path(report["log"]).read_text()
    assert "moved 5.0 px: the tripod was knocked or has sunk; push the feet in, take it again" in log
    assert "000f-long-DSK.JPG ends too early: the mark at a JPEG's end is missing;" in log
    causes = ["its picture is damaged", "refused", "the camera moved between the frames"]
    assert sorted(loss["cause"] for loss in report["losses"]) == causes
    sums = subprocess.run(
        ["sha256sum", "--check", "--quiet", report["checksums"]],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert sums.stdout.count("FAILED") == 1  # the file that was damaged
    assert not any(b"GPS" in Path(path).read_bytes() for path in report["side_files"])


def _check_page(page: str) -> None:
    html5lib.HTMLParser(strict=True).parse(page)
    assert "http" not in page.replace("http-equiv", "")
    assert page.count("<article>") == 6
    assert "moved 5.0 px" in page
    assert "-DSK.JPG ends too early</span>" in page and "6 frames, 3 with a fault; " in page
    assert "<circle" in page and "<polyline" in page


def test_again_adds_nothing_and_replaces_nothing(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ("report", "--data", str(short), "--day", DAY)
    first = asked(capsys, *words)[1]["reports"][0]
    folder = Path(first["page"]).parent
    before = {path: path.read_bytes() for path in folder.iterdir()}
    assert {"report.html", "frames.csv", "log.txt", "SHA256SUMS.txt"} < {path.name for path in before}
    assert asked(capsys, *words)[1]["reports"][0]["page"] == first["page"]
    assert {path: path.read_bytes() for path in folder.iterdir()} == before
    add_frame(short, 30, "base", 0, 0.5)
    later = asked(capsys, *words)[1]["reports"][0]
    assert Path(later["page"]).name == "report-2.html"
    for report in (first, later):
        assert f"sha256sum --check {Path(report['checksums']).name} " in Path(report["page"]).read_text()
    grown = {path for path, content in before.items() if path.read_bytes() != content}
    assert {path.name for path in grown} == {"frames.csv", "log.txt"}
    assert all(path.read_bytes().startswith(before[path]) for path in grown)
    assert len((folder / "log.txt").read_text().splitlines()) == len(before[folder / "log.txt"].splitlines()) + 1


def test_position_only_when_asked_for(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, body = asked(capsys, "report", "--data", str(short), "--with-position", "--place", "57.32,-5.61")
    assert status == 0
    assert all(b"57,19.2" in Path(path).read_bytes() for path in body["reports"][0]["side_files"])


def test_the_light_of_long_frames_stands_beside_that_of_base_frames(data: Path) -> None:
    with Journal.open(data / "journal.sqlite") as journal:
        evening = gather_evening(journal.frames(9), date(2026, 10, 14), Place(57.32, -5.61), ZoneInfo("Europe/Lisbon"))
    levels = [frame.level_stops for frame in evening.frames]
    assert levels[0] is not None and levels[1] is not None and levels[4] is None
    # Held as long as its base frame, of 0.08 stop less, through 2 stops: there was 1.92 stop more light.
    assert levels[1] - levels[0] == pytest.approx(2 - 0.08, abs=0.03)
    page = page_html(evening)
    assert page.count("fill='var(--paper)'") == 2
    assert page.count("fill='var(--dot)'") == 2
    assert "local time is UTC+01:00 (Europe/Lisbon)" in page
    assert "&lt;The light&gt; never suffices." in page


def test_an_evening_without_a_base_frame_has_its_light_and_does_not_call_unseen_frames_good(tmp_path: Path) -> None:
    for minute, gain in ((0, 0.8), (3, 0.8), (8, 0.6)):
        add_frame(tmp_path, minute, "long", 0, gain)
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        evening = gather_evening(journal.frames(9), date(2026, 10, 14), None)
    levels = [frame.level_stops or 0.0 for frame in evening.frames]
    assert levels[0] == levels[1]
    # IEC 61966-2-1: codes of three quarters are light of about 0.75 ** 2.2, by its approximation of the curve.
    assert levels[2] - levels[1] == pytest.approx(2.2 * math.log2(0.75), abs=0.12)
    page = page_html(evening)
    assert page.count("fill='var(--paper)'") == 3
    assert "3 frames, none with a known fault, 3 not compared with another frame" in page


def test_a_dark_frame_that_is_not_dark_is_no_good_frame(tmp_path: Path) -> None:
    add_frame(tmp_path, 0, "dark", 0, 0.02)
    add_frame(tmp_path, 3, "dark", 0, 0.6)  # the cap was forgotten
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        evening = gather_evening(journal.frames(9), date(2026, 10, 14), None)
    assert [frame.is_lit for frame in evening.frames] == [False, True]
    assert evening.losses() == [("a dark frame that light reached", 1, ["20261014-171700-0003"])]
    page = page_html(evening)
    assert "2 frames, 1 with a fault" in page and page.count("<span class='bad'>this dark frame is not dark<") == 1
    assert "this dark frame is not dark: was the cap on?" in log_line(evening.frames[1])
    assert "not dark" not in log_line(evening.frames[0])


def test_a_series_without_a_base_frame_is_compared_with_its_first_long_frame(tmp_path: Path) -> None:
    """Each with its own: that of another series shows another view."""
    one, other = {"evening_id": "dusk"}, {"evening_id": "dawn"}
    add_frame(tmp_path, 0, "long", 0, 0.7, one | {"chosen_by": "person"})
    add_frame(tmp_path, 3, "long", 0, 0.5, one | {"wanted_stops": 2.2 * math.log2(0.5 / 0.7)})
    add_frame(tmp_path, 8, "long", 5, 0.7, one)
    add_frame(tmp_path, 20, "long", 18, 0.7, other | {"chosen_by": "person"})
    add_frame(tmp_path, 24, "long", 18, 0.7, other)
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        evening = gather_evening(journal.frames(9), date(2026, 10, 14), None)
    told = [frame.measured for frame in evening.frames]
    assert [frame.base_id and frame.base_id[9:15] for frame in evening.frames] == [
        None, "171400", "171400", None, "173400",
    ]  # fmt: skip
    assert told[1] is not None and told[1]["good"] and abs(told[1]["level_error_stops"]) < 0.15
    assert told[2] is not None and [one["code"] for one in told[2]["verdict"]] == ["moved"]
    assert told[4] is not None and told[4]["good"]
    page = page_html(evening)
    html5lib.HTMLParser(strict=True).parse(page)
    assert "5 frames, 1 with a fault; shutter" in page
    assert "the others are compared with the long frame of 17:14:00 and of 17:34:00" in page
    assert page.count("The others are compared with this one") == 2
    assert "Details: above the first long frame, below this one." in page


def test_what_was_judged_when_it_came_is_not_judged_again(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    crops = tmp_path / "crops.jpg"
    crops.write_bytes(b"crops")
    measured = {"shift_px": [9.0, 0.0], "verdict": [{"code": "moved", "text": "moved 9.0 px"}], "good": False}
    verdict = {
        "measured": measured,
        "level_error_stops": 0.5,
        "wanted_stops": 0.0,
        "base_frame_id": "b",
        "reason": None,
    }
    with Journal.open(data / "journal.sqlite") as journal:
        frame = journal.frame("20261014-171700-0003")
        assert frame is not None and frame.outcome is not None
        report = {"verdict": {**verdict, "crops": str(crops)}}
        journal.conclude(replace(frame.outcome, report=report), stamp(9))
        monkeypatch.setattr(reporting, "_measured", lambda *_: pytest.fail("measured again"))
        told = gather_evening(
            [
                frame
                for frame in journal.frames(9)
                if frame.asked.frame_id in ("20261014-171400-0000", "20261014-171700-0003")
            ],
            date(2026, 10, 14),
            None,
        )
    assert (told.frames[1].base_id, told.frames[1].crops_jpeg) == ("b", b"crops")
    assert log_line(told.frames[1]).count("moved 9.0 px") == 1
    row = dict(zip(COLUMNS, next(csv.reader([table_line(told.frames[1])])), strict=True))
    assert (row["level_error_stops"], row["rate_stops_per_min"], row["filter_stops"]) == ("0.5", "-0.18", "2")


def at_hour(hour: float, camera_clock_s: float | None = None, conditions: Mapping[str, object] | None = None) -> Frame:
    moment = START.replace(hour=0, minute=0) + timedelta(hours=hour)
    told = {"clock_offset_s": camera_clock_s} if conditions is None else conditions
    intent = Intent(f"f{hour:g}", "usb", "base", "held", 1.0, 6.0, {"conditions": told or None})
    return Frame(intent, Stamp(moment, hour, "boot"), None)


def test_an_evening_across_midnight_is_one() -> None:
    dusk = [START.replace(hour=0, minute=0) + timedelta(hours=hour) for hour in (23.5, 24.5, 26.0)]
    dawn, next_dawn = dusk[0] - timedelta(hours=18.5), dusk[0] + timedelta(hours=9.5)
    moments = [dawn, *dusk, next_dawn]
    assert evening_span(moments, date(2026, 10, 14)) == (dawn, dusk[-1])
    assert evening_span(moments, date(2026, 10, 15)) == (next_dawn, next_dawn)
    assert evening_span(dusk, date(2026, 10, 15)) == (dusk[0], dusk[-1])
    assert evening_span(dusk, date(2026, 10, 16)) is None
    without_end = [dawn.replace(hour=0) + timedelta(hours=hour) for hour in range(60)]
    assert evening_span(without_end, date(2026, 10, 15)) == (without_end[24], without_end[47])


@pytest.mark.parametrize(
    ("offsets_s", "said"),
    [((-3600.4, None), "3600 s behind"), ((0.2,), "within a second"), ((2.0, 3.0, 2.0), "2 s ahead of")],
)
def test_the_cameras_clock_is_told(offsets_s: tuple[float | None, ...], said: str) -> None:
    frames = [at_hour(float(hour), offset_s) for hour, offset_s in enumerate(offsets_s)]
    assert any(said in note for note in gather_evening(frames, date(2026, 10, 14), None).notes)


def test_weather_is_told_once_and_when_it_changes() -> None:
    """A refused frame, before which nobody looked, changes nothing."""
    calm: dict[str, object] = {"air_c": -2.5, "wind_m_s": 2.0, "tide": "half-ebb"}
    windy: dict[str, object] = {"air_c": -2.5, "wind_m_s": 11.0}
    unknown: dict[str, object] = {}
    frames = [
        at_hour(float(hour), conditions=said) for hour, said in enumerate((unknown, calm, unknown, calm, windy, windy))
    ]
    notes = [note for note in gather_evening(frames, date(2026, 10, 14), None).notes if "Weather" in note]
    assert [note.split(" before ")[1] for note in notes] == [
        "f1: air −2.5 °C, wind 2 m/s, tide half-ebb.", "f4: air −2.5 °C, wind 11 m/s.",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("open_s", "said"), [(0.25, "0.25 s"), (59.97, "1:00.0"), (119.97, "2:00.0"), (179.949, "2:59.9")]
)
def test_an_open_time_is_rounded_before_it_is_cut_into_minutes(open_s: float, said: str) -> None:
    record = {"frame_id": "f", "role": "long", "outcome": "complete", "open_s": open_s, "planned_s": None}
    assert f"<p>{said} · " in page_html(Evening("Evening", (EveningFrame(record),)))


def test_nothing_to_report(tmp_path: Path, short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, code in (
        (("report", "--data", str(tmp_path / "empty")), "no_frames"),
        (("report", "--data", str(short), "--day", "2026-10-15"), "no_frames"),
        (("report", "--data", str(short), "--day", "yesterday"), "bad_input"),
        (("report", "--data", str(short), "--with-position"), "bad_input"),
    ):
        status, body = asked(capsys, *words)
        assert (status, body["error"]["code"]) == (2, code)


def test_a_file_that_is_no_longer_what_came_home_is_not_compared(
    data: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    base, long = sorted((data / "frames" / DAY).glob("*.JPG"))[:2]
    words = ("compare", str(base), str(long), "--data", str(data))
    assert asked(capsys, *words)[1]["good"] is True
    content = bytearray(long.read_bytes())
    content[content.index(b"\xff\xdb") + 10] ^= 1  # one bit of a table, which every decoder takes
    long.write_bytes(content)
    status, body = asked(capsys, *words)
    assert (status, body["error"]["code"]) == (4, "picture_changed")
    assert long.name in body["error"]["message"]
