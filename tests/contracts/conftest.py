"""The contract suite runs on every subject; a served body is started once and put in order after each test."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from subjects import NATURES, SERVED_PROFILE, InProcess, Subject, ThroughLibrary

from duskhold.camera.serving import ServedBody

IN_PROCESS = "in process"


class Bodies:
    """Served bodies of every family, each started when it is first asked for."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder = folder
        self._stack = stack
        self._running: dict[str, ServedBody] = {}

    def of(self, family: str) -> ServedBody:
        if family not in self._running:
            options = [word for each in SERVED_PROFILE for word in ("--profile", each)]
            body = ServedBody(self._folder / family, ["--family", family, *options, "--lifetime", "300"])
            self._running[family] = self._stack.enter_context(body)
        return self._running[family]


@pytest.fixture(scope="session")
def bodies(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bodies]:
    with ExitStack() as stack:
        yield Bodies(tmp_path_factory.mktemp("served"), stack)


@pytest.fixture(params=[IN_PROCESS, *NATURES])
def subject(request: pytest.FixtureRequest, bodies: Bodies, tmp_path: Path) -> Iterator[Subject]:
    """One connected subject after the other."""
    if request.param == IN_PROCESS:
        simulated = InProcess(tmp_path)
        simulated.camera.connect()
        yield simulated
        return
    served = ThroughLibrary(bodies.of(request.param), NATURES[request.param], tmp_path / "library")
    served.camera.connect()
    yield served
    served.restore()
