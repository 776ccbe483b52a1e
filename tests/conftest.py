"""What several folders of tests share: a rig of real processes, and a way to run without shrinking."""

from __future__ import annotations

import os
import tempfile
import time
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


# Whoever runs them sits in any zone, at any terminal: tests say which they mean. Served bodies have clocks of UTC.
os.environ["TZ"] = "UTC"
time.tzset()
for _name in ("COLUMNS", "LINES", "NO_COLOR", "FORCE_COLOR"):
    os.environ.pop(_name, None)


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
