"""The contract suite runs on every subject; the served body is started once and put in order after each test."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from subjects import SERVED_PROFILE, InProcess, Subject, ThroughLibrary

from duskhold.camera.serving import ServedBody


@pytest.fixture(scope="session")
def served_body(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBody]:
    options = [word for each in SERVED_PROFILE for word in ("--profile", each)]
    with ServedBody(tmp_path_factory.mktemp("served"), [*options, "--lifetime", "300"]) as body:
        yield body


@pytest.fixture(params=["in process", "through the library"])
def subject(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Subject]:
    """One connected subject after the other."""
    if request.param == "in process":
        simulated = InProcess(tmp_path)
        simulated.camera.connect()
        yield simulated
        return
    served = ThroughLibrary(request.getfixturevalue("served_body"), tmp_path / "library")
    served.camera.connect()
    yield served
    served.restore()
