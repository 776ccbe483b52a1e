"""A profile for whoever only wants to know whether a counterexample exists, not the smallest one."""

from __future__ import annotations

from hypothesis import Phase, settings

settings.register_profile("unshrunk", phases=(Phase.explicit, Phase.generate), print_blob=False)
