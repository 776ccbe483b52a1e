"""What several folders of tests share: a rig of real processes, and a way to run without shrinking."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import Phase, settings
from rig import SMALL, Rig, rig

# For whoever only wants to know whether a counterexample exists, not the smallest one: `--hypothesis-profile=unshrunk`.
settings.register_profile("unshrunk", phases=(Phase.explicit, Phase.generate), print_blob=False)

# The same examples every time where a surprise would stop somebody else's change; new ones wherever people work.
settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")


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
