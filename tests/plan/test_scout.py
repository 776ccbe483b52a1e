"""The scout frame's ISO and dial time: a few seconds where the long frame takes minutes."""

import pytest

from duskhold.plan.scout import ISO_MAX, LONGEST_S, is_worth_it, isos_for, plan_scout


@pytest.mark.parametrize(
    ("base_s", "base_iso", "glass_stops", "isos", "dial"),
    [
        (0.25, 100.0, 10.0, (6400.0, 3200.0, 1600.0, 800.0, 400.0, 200.0, 100.0), "4"),  # 256 s by six stops of ISO
        (1 / 16, 100.0, 10.0, (1600.0, 800.0, 400.0, 200.0, 100.0), "4"),
        (1 / 16, 100.0, 5.3, (100.0,), "2"),
        (1.0, 64.0, 10.23, (4096.0, 2048.0, 1024.0, 512.0, 256.0, 128.0, 64.0), "15"),
        (8.0, 100.0, 10.0, (6400.0, 3200.0, 1600.0, 800.0, 400.0, 200.0, 100.0), "30"),
        (0.25, 12800.0, 6.0, (12800.0,), "15"),
    ],
)
def test_a_scout(base_s: float, base_iso: float, glass_stops: float, isos: tuple[float, ...], dial: str) -> None:
    assert isos_for(base_s, base_iso, glass_stops) == isos
    plan = plan_scout(base_s, base_iso, glass_stops, isos[0])
    assert (plan.mark.name, plan.iso) == (dial, isos[0])
    assert plan.mark.true_value <= LONGEST_S
    assert isos[0] <= max(ISO_MAX, base_iso)


def test_a_body_that_has_not_got_the_iso_takes_a_longer_scout() -> None:
    assert plan_scout(0.25, 100.0, 10.0, 1600.0).mark.true_value == 16.0


def test_a_short_frame_is_its_own_scout() -> None:
    assert is_worth_it(240.0)
    assert not is_worth_it(4.0)
