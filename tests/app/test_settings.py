"""Settings: the example is valid and complete, limits agree, complaints name line and field."""

from datetime import date
from pathlib import Path

import pytest
import yaml
from pydantic import BaseModel

from duskhold.app.document import DocumentWrong
from duskhold.app.settings import Settings, load_settings, own_settings_path, settings_path
from duskhold.light.filters import BadFilter, Filter

EXAMPLE = Path(__file__).parents[2] / "config" / "example.yaml"


def complaint(folder: Path, text: str) -> str:
    path = folder / "settings.yaml"
    path.write_text(text)
    with pytest.raises(DocumentWrong) as caught:
        load_settings(path)
    return str(caught.value).removeprefix(f"{path}, ")


def test_the_example_is_valid() -> None:
    settings = load_settings(EXAMPLE)
    assert settings.place is not None
    assert settings.place.place().longitude_deg == -5.55
    assert settings.filters[0].filter() == Filter("strong", 10.23, (10.05, 10.23, 10.30))
    assert settings.filters[0].measured_on == date(2026, 5, 2)
    assert settings.filters[2].filter() == Filter("light", 3.0)


def test_the_example_shows_every_field() -> None:
    example = yaml.safe_load(EXAMPLE.read_text().replace("# data:", "data:").replace("# outings:", "outings:"))
    settings = load_settings(EXAMPLE)

    def check(shown: dict[str, object], part: BaseModel) -> None:
        assert set(shown) == set(type(part).model_fields)
        for name, value in shown.items():
            if isinstance(value, dict):
                check(value, getattr(part, name))

    check(example, settings)


def test_the_examples_limits_are_the_defaults() -> None:
    assert load_settings(EXAMPLE).limits == Settings().limits


def test_no_file_is_every_default() -> None:
    assert load_settings(None) == Settings()
    assert Settings().camera == "simulated"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("zone: Mars/Base", "line 1: zone: must be a time zone such as Europe/Lisbon or UTC, not 'Mars/Base'"),
        ("zone: ../etc", "line 1: zone: must be a time zone such as Europe/Lisbon or UTC, not '../etc'"),
        (
            "camera: bluetooth",
            "line 1: camera: 'bluetooth' is no camera address; write simulated, usb, usb:SERIAL or "
            "ptpip:HOST:PORT:EVENTPORT",
        ),
        ("place:\n  latitude_deg: 91\n  longitude_deg: 0", "line 2: place.latitude_deg: must be at most 90, not 91"),
        ("place:\n  latitude_deg: 1", "line 1: place.longitude_deg: is missing"),
        ("limits:\n  longest_s: 9000", "line 2: limits.longest_s: must be at most 7200, not 9000"),
        (
            "camera: usb\nlimits:\n  longest_s: 2\n  shortest_s: 5",
            "line 2: limits: shortest_s: 5 s is not below longest_s, 2 s",
        ),
        (
            "filters:\n- name: a\n  label: 1000",
            "line 3: filters[0].label: '1000' reads as 1000 stops; a factor is written x1000, a density d1000",
        ),
        (
            "filters:\n- {name: a, label: 3}\n- {name: a, label: 6}",
            "line 1: two filters have the name 'a'; each needs its own",
        ),
        (
            "filters:\n- name: a\n  label: 3\n  measured_on: May",
            "line 4: filters[0].measured_on: must be a date such as 2026-10-14, not 'May'",
        ),
        ("filters:\n- {name: a b, label: 3}", "line 2: filters[0].name: must be one word without commas, not 'a b'"),
        ("simulated_camera: {seed: 1.5}", "line 1: simulated_camera.seed: must be a whole number, not 1.5"),
    ],
)  # fmt: skip
def test_complaints(tmp_path: Path, text: str, expected: str) -> None:
    assert complaint(tmp_path, text) == expected


def test_filters_by_name_or_label() -> None:
    settings = load_settings(EXAMPLE)
    strong, other = settings.filters_from("strong, d0.9")
    assert strong.stops_rgb == (10.05, 10.23, 10.30)
    assert other.stops == pytest.approx(2.990, abs=0.001)  # density over log10 2, ISO 5-2
    assert settings.filters_from("none") == ()
    with pytest.raises(BadFilter):
        settings.filters_from("strong,unheard")


def test_which_file_is_read(tmp_path: Path) -> None:
    home = {"HOME": str(tmp_path)}
    assert settings_path(None, home) is None
    own = own_settings_path(home)
    own.parent.mkdir(parents=True)
    own.write_text("")
    assert own == tmp_path / ".config/duskhold/settings.yaml"
    assert settings_path(None, home) == own
    assert settings_path(None, home | {"DUSKHOLD_SETTINGS": "/a/b.yaml"}) == Path("/a/b.yaml")
    assert settings_path("c.yaml", home | {"DUSKHOLD_SETTINGS": "/a/b.yaml"}) == Path("c.yaml")
    elsewhere = home | {"XDG_CONFIG_HOME": str(tmp_path / "else")}
    assert own_settings_path(elsewhere) == tmp_path / "else/duskhold/settings.yaml"
