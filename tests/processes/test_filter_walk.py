"""`duskhold filters measure NAME --camera`: the three frames at a served body, with the test as the person's hand.

The truth is what the test fits: 6.20 stops in green, a little more in blue; the light fades meanwhile.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from rig import Rig

SETTINGS = "filters: [{name: strong, label: 6}, {name: other, label: 3}]\n"


def measure(bench: Rig, *words: str) -> tuple[str, ...]:
    path = bench.folder / "settings.yaml"
    path.write_text(SETTINGS, encoding="utf-8")
    return ("filters", "measure", *words, "--settings", str(path))


@pytest.mark.parametrize("bench", [("--filters", "none", "--rate", "-0.3")], indirect=True)
def test_a_filter_is_measured_with_a_person_who_fits_it_and_takes_it_off(bench: Rig) -> None:
    words = measure(bench, "strong", "--camera", bench.body.address, "--base", "1/15", "--wait", "3")
    process = bench.start(*words)
    bench.body.wait_for("closed", 1, 20.0)
    bench.body.order("fit", filters="6.10/6.20/6.30")
    bench.body.wait_for("closed", 2, 30.0)
    bench.body.order("fit", filters="none")
    status, body = bench.finish(process, 60.0)
    assert status == 0, body
    assert body["stops"] == pytest.approx({"red": 6.10, "green": 6.20, "blue": 6.30}, abs=0.05)
    assert body["drift_stops"] < 0.0
    assert Path(body["folder"]).is_relative_to(bench.folder / "data" / "filters" / "strong")
    assert len(body["evidence"]) == 3
    assert len(bench.openings()) == 3
    assert bench.pictures_home()
    status, bag = bench.run("filters", *words[-2:])
    assert bag["filters"][0]["stops"] == pytest.approx(6.20, abs=0.05)


@pytest.mark.parametrize(
    ("words", "field"),
    [(("unknown", "--fitted"), "--name"), (("strong",), "--fitted"), (("--fitted",), "--name")],
)
def test_what_cannot_be_asked_is_said_before_anything_starts(bench: Rig, words: tuple[str, ...], field: str) -> None:
    status, answer = bench.run(*measure(bench, *words, "--camera", bench.body.address))
    assert (status, answer["error"]["field"]) == (2, field)
    assert bench.state() is None
