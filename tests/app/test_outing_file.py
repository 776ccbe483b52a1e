"""Outing files: the examples load and plan, what is written is what is meant, complaints name file, line and field."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from duskhold.app.document import DocumentWrong
from duskhold.app.outing_file import load_outing
from duskhold.app.settings import Settings
from duskhold.light.crossings import Direction
from duskhold.light.filters import parse_filter
from duskhold.plan.at_home import standing_at_home
from duskhold.plan.bag import BagFilter, Setting
from duskhold.plan.outing import (
    AfterLinkLoss,
    Base,
    ClockStart,
    Dark,
    Doubt,
    EventStart,
    Fallback,
    Kind,
    LeaveBy,
    LightStart,
    Outing,
    SunStart,
)
from duskhold.plan.timeline import plan_timeline

EXAMPLES = sorted((Path(__file__).parents[2] / "config" / "outings").glob("*.yaml"))
NOW = datetime(2026, 3, 20, 15, 0, tzinfo=UTC)
BAG = tuple(BagFilter(name, parse_filter(label), 0.1) for name, label in (("six", "6.1"), ("ten", "10.2")))
WHOLE = """\
name: Whole
place: {name: Polvarrow Quay, latitude_deg: 50.2, longitude_deg: -4.1}
start:
  clock: 2026-03-20T18:00:00Z
want:
  kind: again
  base: 1/8
kit:
  filters: [six]
  aperture: f/11
  iso: 100
bounds:
  frames: 5
"""


def load(folder: Path, text: str, settings: Settings | None = None, bag: tuple[BagFilter, ...] = BAG) -> Outing:
    path = folder / "outing.yaml"
    path.write_text(text)
    return load_outing(path, settings or Settings(), bag, NOW)


def changed(old: str, new: str) -> str:
    assert WHOLE.count(old) == 1
    return WHOLE.replace(old, new)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_load_and_plan(path: Path) -> None:
    outing = load_outing(path, Settings(), (), NOW)
    plan = plan_timeline(outing, standing_at_home(outing))
    assert plan.frames
    assert plan.stop.reason is not None
    assert plan.standing.opens_utc.year == 2026


def test_the_examples_show_what_the_issue_names() -> None:
    outings = [load_outing(path, Settings(), (), NOW) for path in EXAMPLES]
    assert {outing.want.kind for outing in outings} >= {
        Kind.ONE, Kind.AGAIN, Kind.TONE, Kind.EYE, Kind.BRACKET, Kind.LOOK,
    }  # fmt: skip
    assert {type(outing.start) for outing in outings} == {ClockStart, SunStart, EventStart, LightStart}
    assert {outing.dark for outing in outings} == set(Dark)


def test_what_is_written_is_what_is_meant(tmp_path: Path) -> None:
    outing = load(
        tmp_path,
        WHOLE
        + """\
  longest_s: 300
  shortest_s: 2
  sun_altitude_deg: -8
  leave_by: {in_min: 90, pack_min: 10}
  battery_reserve_percent: 20
  disk_reserve_mb: 2000
dark: after
darks_after: 3
prompts: {announce_min: 4, patience_min: 2, change_s: 45, fallback: stop}
in_doubt: go_on
after_link_loss: resume
costs: {storing_s: 12, battery_percent_per_min: 0.62, disk_mb: 80}
""",
    )
    assert (outing.name, outing.want.kind, outing.want.base) == ("Whole", Kind.AGAIN, Base("1/8", 0.125))
    assert outing.start == ClockStart(datetime(2026, 3, 20, 18, tzinfo=UTC))
    assert (outing.kit.aperture, outing.kit.iso) == (Setting("f/11", 2.0**3.5), Setting("100", 100.0))
    assert outing.kit.bag == BAG
    bounds = outing.bounds
    assert (bounds.longest_s, bounds.shortest_s, bounds.sun_altitude_deg, bounds.frames) == (300, 2, -8, 5)
    assert bounds.leave_by == LeaveBy(in_min=90, pack_min=10)
    assert (bounds.battery_reserve_percent, bounds.disk_reserve_bytes) == (20, 2_000_000_000)
    assert (outing.dark, outing.darks_after) == (Dark.AFTER, 3)
    prompting = outing.prompting
    assert (prompting.announce_s, prompting.patience_s, prompting.change_s) == (240, 120, 45)
    assert (prompting.fallback, outing.doubt) == (Fallback.STOP, Doubt.GO_ON)
    assert outing.after_link_loss is AfterLinkLoss.RESUME
    assert (outing.costs.storing_s, outing.costs.battery_percent_per_min) == (12, 0.62)
    assert outing.costs.disk_bytes == 80_000_000


def test_what_is_left_out_comes_from_the_settings(tmp_path: Path) -> None:
    settings = Settings.model_validate(
        {
            "place": {"latitude_deg": 50.2, "longitude_deg": -4.1},
            "limits": {"longest_s": 200, "battery_reserve_percent": 25, "disk_reserve_mb": 900},
            "lean": {"dusk_longer_stops": 0.3},
        }
    )
    without_place = "\n".join(line for line in WHOLE.splitlines() if not line.startswith("place"))
    outing = load(tmp_path, without_place, settings)
    assert outing.place is not None
    assert outing.place.latitude_deg == 50.2
    assert outing.bounds.longest_s == 200  # usually 240
    assert outing.bounds.battery_reserve_percent == 25
    assert outing.bounds.disk_reserve_bytes == 900_000_000
    assert (outing.limits.longest_s, outing.lean.dusk_longer_stops) == (200, 0.3)


@pytest.mark.parametrize(
    ("start", "day", "expected"),
    [
        ("sun: {altitude_deg: -2, direction: down}", "2026-10-14", datetime(2026, 10, 14, 12, 16, 24, tzinfo=UTC)),
        ("sun: {altitude_deg: -2, direction: up}", "2026-10-14", datetime(2026, 10, 14, 0, 16, 24, tzinfo=UTC)),
        ("event: {name: sunset}", "2026-10-14", datetime(2026, 10, 14, 12, 16, 24, tzinfo=UTC)),
        ("event: {name: sunrise}", "2026-10-14", datetime(2026, 10, 14, 0, 16, 24, tzinfo=UTC)),
        ("light: {base: 1/2, direction: down}", "2026-10-14", datetime(2026, 10, 14, 12, 16, 24, tzinfo=UTC)),
        ("sun: {altitude_deg: -2, direction: down}", None, NOW),
    ],
)
def test_the_day_counts_from_the_places_own_noon_or_midnight(
    tmp_path: Path, start: str, day: str | None, expected: datetime
) -> None:
    """4.1 degrees west are 16 min 24 s."""
    text = changed("clock: 2026-03-20T18:00:00Z", start) + (f"day: {day}\n" if day else "")
    outing = load(tmp_path, text)
    assert isinstance(outing.start, (SunStart, EventStart, LightStart))
    assert outing.start.from_utc == expected


def test_an_event_has_its_offset(tmp_path: Path) -> None:
    start = load(tmp_path, changed("clock: 2026-03-20T18:00:00Z", "event: {name: sunset, offset_min: -20}")).start
    assert start == EventStart(Direction.DOWN, -20, NOW)


def test_a_start_by_the_light_is_also_the_base(tmp_path: Path) -> None:
    text = changed("clock: 2026-03-20T18:00:00Z", "light: {base: 1/2, direction: down}").replace("  base: 1/8\n", "")
    outing = load(tmp_path, text)
    assert isinstance(outing.start, LightStart)
    assert (outing.start.base_s, outing.want.base) == (0.5, Base("0.5", 0.5))  # as the dial has it


def test_a_bag_of_its_own(tmp_path: Path) -> None:
    outing = load(tmp_path, changed("kit:\n", "kit:\n  bag: [{name: six, label: d1.8}]\n"))
    assert [(one.name, round(one.glass.stops, 2)) for one in outing.kit.bag] == [("six", 5.98)]


def test_the_filters_that_come_nearest_are_chosen(tmp_path: Path) -> None:
    by_duration = changed("  filters: [six]\n", "").replace("base: 1/8", "base: 1/8\n  duration_s: 8")
    assert load(tmp_path, by_duration).kit.filters == ("six",)  # 1/8 s and 6.1 stops are 8.6 s
    by_look = by_duration.replace("duration_s: 8", "look: no-people")
    outing = load(tmp_path, by_look)
    assert outing.kit.filters == ("ten",)  # 1/8 s and 10.2 stops are 147 s
    assert (outing.bounds.shortest_s, outing.bounds.longest_s) == (120, 240)  # the look's own times
    narrower = load(tmp_path, by_look + "  longest_s: 220\n")
    assert (narrower.bounds.shortest_s, narrower.bounds.longest_s) == (120, 220)


def test_a_wanted_time_is_within_bounds_that_nobody_gave(tmp_path: Path) -> None:
    long = load(tmp_path, changed("base: 1/8", "first_s: 300"))
    assert (long.bounds.shortest_s, long.bounds.longest_s) == (1.0, 375.0)
    short = load(tmp_path, changed("base: 1/8", "first_s: 0.8"))
    assert short.bounds.shortest_s == pytest.approx(0.6)
    assert short.bounds.longest_s == 240.0


LINES = [
    # what is there can be read
    (changed("kind: again", "kind: agian"), 6, "want.kind"),
    (changed("  frames: 5", "  frames: five"), 13, "bounds.frames"),
    (changed("  frames: 5", "  frames: 0"), 13, "bounds.frames"),
    (changed("  frames: 5", "  frmaes: 5"), 13, "bounds.frmaes"),
    (WHOLE + "weather: fine\n", 14, "weather"),
    (changed("name: Whole\n", ""), 1, "name"),
    (changed("2026-03-20T18:00:00Z", "2026-03-20T18:00:00"), 4, "start.clock"),
    (changed("2026-03-20T18:00:00Z", "18:00"), 4, "start.clock"),
    (changed("base: 1/8", "base: 1/9"), 7, "want.base"),
    (changed("base: 1/8", "base: true"), 7, "want.base"),
    (changed("aperture: f/11", "aperture: f/12"), 10, "kit.aperture"),
    (changed("iso: 100", "iso: 101x"), 11, "kit.iso"),
    (WHOLE + "  leave_by: {at: 2026-03-20T20:00:00}\n", 14, "bounds.leave_by.at"),
    (WHOLE + "  longest_s: .inf\n", 14, "bounds.longest_s"),
    (WHOLE + "day: 20.3.2026\n", 14, "day"),
    (changed("latitude_deg: 50.2", "latitude_deg: 95"), 2, "place.latitude_deg"),
    (WHOLE + "prompts:\n  fallback: pray\n", 15, "prompts.fallback"),
    (changed("kit:\n", "kit:\n  bag: [{name: six, label: 6}, {name: six, label: 3}]\n"), 9, "kit.bag"),
    (changed("kit:\n", "kit:\n  bag: [{name: six, label: 6000}]\n"), 9, "kit.bag[0].label"),
    # one thing or the other
    (changed("  clock: 2026-03-20T18:00:00Z", "  clock: 2026-03-20T18:00:00Z\n  event: {name: sunset}"), 3, "start"),
    (WHOLE + "day: 2026-03-20\n", 14, "day"),
    (WHOLE + "darks_after: 2\n", 14, "darks_after"),
    (changed("base: 1/8", "base: 1/8\n  first_s: 30"), 7, "want.base"),
    (changed("  base: 1/8\n", ""), 5, "want.base"),
    (changed("base: 1/8", "first_s: 30\n  duration_s: 30"), 8, "want.duration_s"),
    (changed("base: 1/8", "base: 1/8\n  look: mist\n  duration_s: 30"), 8, "want.look"),
    (changed("base: 1/8", "base: 1/8\n  look: fog"), 8, "want.look"),
    (changed("kind: again", "kind: look"), 5, "want.look"),
    (changed("  filters: [six]\n", ""), 8, "kit.filters"),
    (changed("  filters: [six]\n", "").replace("base: 1/8", "first_s: 30\n  look: mist"), 9, "kit.filters"),
    (changed("kind: again", "kind: watch"), 9, "kit.filters"),
    (WHOLE + "  leave_by: {pack_min: 5}\n", 14, "bounds.leave_by"),
    # one thing against another
    (changed("clock: 2026-03-20T18:00:00Z", "light: {base: 1/2, direction: down}").replace("base: 1/8", "first_s: 30"),
     7, "want.first_s"),
    (changed("kind: again", "kind: bracket"), 5, "want.steps"),
    (changed("base: 1/8", "base: 1/8\n  steps: [-1, 1]"), 8, "want.steps"),
    (changed("kind: again", "kind: bracket").replace("base: 1/8", "first_s: 30\n  steps: [-1, 1]")
     .replace("frames: 5", "frames: 4"), 8, "want.steps"),
    (changed("base: 1/8", "base: 1/8\n  make_up_share: 0.7"), 8, "want.make_up_share"),
    (changed("filters: [six]", "filters: [seven]"), 9, "kit.filters"),
    (changed("filters: [six]", "filters: [six, six]"), 9, "kit.filters"),
    (
        changed("  filters: [six]", "  filters: [pol]\n  bag: [{name: pol, label: 1.6, polariser: true}]"),
        9,
        "kit.filters",
    ),
    (changed("iso: 100", "iso: 100\n  apertures: [f/8, f/9]"), 10, "kit.aperture"),
    (WHOLE + "  longest_s: 20\n  shortest_s: 30\n", 15, "bounds.shortest_s"),
    (
        changed("base: 1/8", "first_s: 30") + "  longest_s: 240\n  shortest_s: 300\n", 15, "bounds.shortest_s",
    ),
    (WHOLE + "  longest_s: 2000\n", 14, "bounds.longest_s"),
    (changed("base: 1/8", "first_s: 400\n").replace("frames: 5", "longest_s: 300"), 7, "want.first_s"),
    (changed("base: 1/8", "base: 1/8\n  duration_s: 300") + "  longest_s: 240\n", 8, "want.duration_s"),
    (changed("base: 1/8", "base: 1/8\n  duration_s: 4000"), 8, "want.duration_s"),
    (WHOLE + "prompts:\n  fallback: aperture\n", 15, "prompts.fallback"),
    (changed("iso: 100", "iso: 100\n  apertures: [f/11, f/16]") + "prompts:\n  fallback: aperture\n", 16,
     "prompts.fallback"),
    (changed("iso: 100", "iso: 100\n  isos: [50, 100]") + "prompts:\n  fallback: iso\n", 16, "prompts.fallback"),
    (changed("kind: again", "kind: one"), 13, "bounds.frames"),
    (changed("kind: again", "kind: bracket\n  steps: [-1, 0, 1]"), 14, "bounds.frames"),
    (WHOLE + "  leave_by: {at: 2027-03-20T20:00:00Z}\n", 14, "bounds.leave_by"),
    (changed("clock: 2026-03-20T18:00:00Z", "light: {base: 1/2, direction: down}")
     + "  leave_by: {at: 2026-03-22T18:00:00Z}\n", 14, "bounds.leave_by"),
    (WHOLE + "  leave_by: {at: 2026-03-20T17:00:00Z}\n", 14, "bounds.leave_by"),
    (WHOLE + "  leave_by: {at: 2026-03-20T18:05:00Z}\n", 14, "bounds.leave_by"),
    (WHOLE + "  leave_by: {in_min: 10}\n", 14, "bounds.leave_by"),
    (changed("bounds:\n  frames: 5\n", ""), 1, "bounds"),
    (
        changed("clock: 2026-03-20T18:00:00Z", "sun: {altitude_deg: -6, direction: down}")
        + "  sun_altitude_deg: -3\n",
        14,
        "bounds.sun_altitude_deg",
    ),
    (changed("clock: 2026-03-20T18:00:00Z", "sun: {altitude_deg: -60, direction: down}"), 4, "start.sun"),
    (changed("clock: 2026-03-20T18:00:00Z", "event: {name: sunset}") + "  sun_altitude_deg: 2\n", 14,
     "bounds.sun_altitude_deg"),
    (changed("frames: 5", "sun_altitude_deg: -60"), 13, "bounds.sun_altitude_deg"),
    (
        "\n".join(line for line in WHOLE.splitlines() if not line.startswith("place")).replace(
            "clock: 2026-03-20T18:00:00Z", "event: {name: sunset}"
        ),
        2,
        "start",
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "line", "field"), LINES, ids=[f"{field}-{n}" for n, (_, _, field) in enumerate(LINES)]
)
def test_complaints_name_file_line_and_field(tmp_path: Path, text: str, line: int, field: str) -> None:
    with pytest.raises(DocumentWrong) as caught:
        load(tmp_path, text)
    problem = caught.value.problems[0]
    assert (problem.line, problem.field) == (line, field)
    assert str(caught.value).startswith(f"{tmp_path / 'outing.yaml'}, line {line}: {field}: ")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (
            changed("2026-03-20T18:00:00Z", "2026-03-20T18:00:00"),
            "'2026-03-20T18:00:00' has no offset from UTC: end it with Z, or with one such as +02:00",
        ),
        (changed("base: 1/8", "base: 1/9"), "'1/9' is not on the shutter dial; the nearest marks are 1/10 and 1/8"),
        (changed("  frames: 5", "  frmaes: 5"), "is not known here (did you mean frames?)"),
        (changed("bounds:\n  frames: 5\n", ""), "nothing ends this outing: give sun_altitude_deg, leave_by or frames"),
        (changed("filters: [six]", "filters: [seven]"), "'seven' is not in the bag, which has six, ten"),
        (WHOLE + "  leave_by: {at: 2026-03-20T18:05:00Z}\n", "it would begin at 2026-03-20 18:00Z, when it is time"),
        (WHOLE + "  leave_by: {at: 2026-03-21T18:05:00Z}\n", "more than a day before it is time to leave"),
        (
            changed("aperture: f/11", "aperture:"),
            "must be a mark of the camera's dial, such as 1/8, f/8 or 100, not empty",
        ),
        (changed("clock: 2026-03-20T18:00:00Z", "clock: 18"), "must be a moment with its zone, such as 2026-10-14T17"),
        ("day: 3\n" + WHOLE, "must be a day such as 2026-10-14, not 3"),
    ],
)
def test_complaints_say_what_is_allowed(tmp_path: Path, text: str, expected: str) -> None:
    with pytest.raises(DocumentWrong) as caught:
        load(tmp_path, text)
    assert expected in str(caught.value)


def test_a_light_that_may_come_after_the_time_to_leave_refuses_nothing(tmp_path: Path) -> None:
    text = changed("clock: 2026-03-20T18:00:00Z", "light: {base: 1/2, direction: down}")
    outing = load(tmp_path, text + "  leave_by: {at: 2026-03-20T18:00:00Z}\n")
    begins_utc = standing_at_home(outing).opens_utc
    assert begins_utc > datetime(2026, 3, 20, 18, tzinfo=UTC)
    assert plan_timeline(outing, standing_at_home(outing)).frames == ()


def test_a_light_that_has_come_already_begins_at_once(tmp_path: Path) -> None:
    path = tmp_path / "late.yaml"
    path.write_text(changed("clock: 2026-03-20T18:00:00Z", "light: {base: 1/2, direction: down}"))
    late_utc = datetime(2026, 3, 20, 20, tzinfo=UTC)
    assert standing_at_home(load_outing(path, Settings(), BAG, late_utc)).opens_utc == late_utc


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        load_outing(tmp_path / "none.yaml", Settings(), BAG, NOW)


def test_a_frame_of_the_examples_begins_when_it_says() -> None:
    (path,) = [path for path in EXAMPLES if path.stem == "one-frame"]
    outing = load_outing(path, Settings(), (), NOW)
    assert isinstance(outing.start, EventStart)
    begins_utc = standing_at_home(outing).opens_utc
    # Sunset at 57.32 N 5.61 W that day is worked to 17:21:55 (trade arithmetic); this place is next to it.
    assert abs(begins_utc - datetime(2026, 10, 14, 17, 21, 55, tzinfo=UTC) - timedelta(minutes=5)) < timedelta(
        seconds=30
    )
