"""A rig for every test here, whose processes end with the test."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from rig import SMALL, Rig, rig


@pytest.fixture
def bench(request: pytest.FixtureRequest) -> Iterator[Rig]:
    """A small served body; a test adds its own options by `@pytest.mark.parametrize("bench", [...], indirect=True)`."""
    options = getattr(request, "param", ())
    with tempfile.TemporaryDirectory(prefix="dh-") as folder:  # a socket's path must stay short
        made = rig(Path(folder), (*SMALL, *options))
        try:
            yield made
        finally:
            made.end()
            made.body.stop()
