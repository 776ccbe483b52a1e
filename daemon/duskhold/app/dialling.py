"""A computed time left to the body's dial, where the body has such a dial; the dial is put back afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager, suppress

from duskhold.app.station import Station
from duskhold.camera.port import Setting
from duskhold.light.dials import Mark
from duskhold.plan.dialled import find_dial_time
from duskhold.shutter.holder_link import HolderRefused, HolderSilent


@contextmanager
def dialled(station: Station, open_s: float | None) -> Iterator[Mark | None]:
    """The dial's mark for `open_s`, set on the body and read back; None when the frame has to be held.

    None as well for `open_s` None. A body that does not take the mark, or does not answer, is no error here.
    """
    mark = None if open_s is None else find_dial_time(open_s)
    before = None if mark is None else _set(station, mark)
    try:
        yield mark if before is not None else None
    finally:
        if before is not None:
            # A held frame sets its dial itself: one that could not be put back ruins nothing.
            with suppress(HolderRefused, HolderSilent):
                station.link.change(Setting.SHUTTER, before)


def _set(station: Station, mark: Mark) -> str | None:
    """What the dial said before it was set to `mark`; None when it was not."""
    try:
        before = station.link.settings().get(Setting.SHUTTER)
        station.link.change(Setting.SHUTTER, mark.name)
    except (HolderRefused, HolderSilent):
        return None
    return before
