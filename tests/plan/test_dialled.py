"""When a computed time is left to the body's dial: within 0.02 stop of what the dial really runs."""

import pytest

from duskhold.plan.dialled import DIAL_WITHIN_STOPS, find_dial_time


@pytest.mark.parametrize(
    ("open_s", "mark"),
    [
        (32.0, "30"),  # a dial that says 30 runs 32 s: powers of two, ISO 2720's series
        (32.0 * 2**0.0199, "30"),
        (32.0 * 2**0.0201, None),
        (30.0, None),
        (8.0 * 2**-0.0199, "8"),
        (8.0 * 2**-0.0201, None),
        (2**1.5, "3"),  # half stops
        (2**2.5, None),  # "6" in half stops, but a dial in thirds runs 6.35 s at "6"
        (2 ** (8 / 3), None),
        (2 ** (14 / 3), "25"),
        (64.0, None),
        (1000.0, None),
        (0.25, "1/4"),
    ],
)
def test_only_a_dial_time_within_two_hundredths_of_a_stop_is_taken(open_s: float, mark: str | None) -> None:
    found = find_dial_time(open_s)
    assert (found and found.name) == mark
    assert DIAL_WITHIN_STOPS == 0.02
