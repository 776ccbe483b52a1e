"""Which family a body belongs to, told by the names of its widgets and by its summary as the library prints it."""

from __future__ import annotations

import pytest

from duskhold.camera.families import (
    BULB,
    BUTTON,
    NO_FAMILY,
    OPEN_CAPTURE,
    TOGGLE,
    ControlFamily,
    Holding,
    Offer,
    family_of,
)


def summary(vendor: int, *capabilities: str) -> str:
    head = f"Model: Body\nVendor Extension ID: 0x{vendor:x} (1.0)\n" if vendor else "Model: Body\n"
    return f"{head}\nDevice Capabilities:\n\tFile Download, No File Deletion\n\t{', '.join(capabilities)}\n\n"


PLAIN = ("Generic Image Capture", "No Open Capture", "No vendor specific capture")
OPEN = ("Generic Image Capture", "Open Capture", "No vendor specific capture")
NOTHING = ("No Image Capture", "No Open Capture", "No vendor specific capture")


@pytest.mark.parametrize(
    ("names", "text", "family"),
    [
        (["bulb", "bulb", "controlmode", "capturetarget"], summary(0xA, *PLAIN), TOGGLE),
        (["bulb", "controlmode", "capturetarget"], summary(0xA, *PLAIN), NO_FAMILY),
        (["bulb", "controlmode"], summary(0xA, *NOTHING), TOGGLE),
        (["bulb", "eosremoterelease", "eosmoviemode"], summary(0xB, *PLAIN), BUTTON),
        (["bulb", "bulb", "eosmoviemode"], summary(0xB, *PLAIN), BULB),
        (["bulb", "eosmoviemode"], summary(0xB, *PLAIN), NO_FAMILY),
        (["bulb", "movie"], summary(0, *OPEN), OPEN_CAPTURE),
        (["bulb", "movie"], summary(0, *PLAIN), NO_FAMILY),
        (["bulb"], summary(0x1C, *PLAIN), NO_FAMILY),
        ([], summary(0, *NOTHING), NO_FAMILY),
    ],
)
def test_a_family_is_told_by_what_is_offered(names: list[str], text: str, family: ControlFamily) -> None:
    assert family_of(Offer(names, lambda: text)) == family


@pytest.mark.parametrize(
    ("vendor", "names"),
    [(0x11, ["bulb", "bulb"]), (0xE, ["bulb"]), (0xFFFD, ["bulb", "bulb"]), (0x1C, ["bulb", "bulb"])],
)
def test_other_toggles_are_known_unproven_and_say_what_they_need(vendor: int, names: list[str]) -> None:
    found = family_of(Offer(names, lambda: summary(vendor, *PLAIN)))
    assert (found.vendor_extension, found.holding, found.proven) == (vendor, Holding.TOGGLE, False)
    assert found.needs


def test_a_body_of_a_known_family_is_not_asked_for_its_summary() -> None:
    """A summary reads every property, which is no question for a body whose shutter may be open."""

    def never() -> str:
        raise AssertionError("asked for the summary")

    assert family_of(Offer(["bulb", "bulb", "controlmode"], never)) == TOGGLE
    assert family_of(Offer(["bulb", "eosremoterelease", "eosmoviemode"], never)) == BUTTON
    assert family_of(Offer(["bulb", "bulb", "eosmoviemode"], never)) == BULB
