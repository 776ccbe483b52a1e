"""What an earlier run left behind: told once, by whoever comes next, and only when its own program is dead."""

from __future__ import annotations

from pathlib import Path
from typing import Any, cast

from duskhold.app.exposing import Watch
from duskhold.app.folders import Folders
from duskhold.app.settings import Settings
from duskhold.app.settling import recorded_of, settle_the_past
from duskhold.app.station import Station, stamp_now
from duskhold.journal.entry import Intent, Outcome
from duskhold.journal.journal import Journal

EVENING = "20270309T172000-played"


def test_an_order_that_never_arrived_is_told_at_once_where_its_program_is_known_to_be_dead(tmp_path: Path) -> None:
    class Silent:
        """A shutter process that never heard of anything."""

        def awaited_state(self) -> dict[str, object]:
            return {"frame_id": None, "reports": []}

    ours = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    others = Intent("20270309-172100-bbbb", "usb", "long", "held", 4.0, 9.0, {})
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        for intent in (ours, others):
            journal.intend(intent, stamp_now())
        folders = Folders(tmp_path, tmp_path, tmp_path)
        station = Station("usb", folders, journal, cast(Any, Silent()), Settings(), {})
        watch = Watch(lambda _state: None, lambda: False)
        (told,) = settle_the_past(station, watch, lambda one: one.decision.get("evening_id") == EVENING)
        assert told.outcome is not None
        assert (told.asked.frame_id, told.outcome.outcome, told.outcome.open_s) == (ours.frame_id, "failed", 0.0)
        # Somebody else may just be sending the other one.
        assert [one.intent.frame_id for one in journal.unfinished()] == [others.frame_id]


def test_nothing_is_said_of_a_frame_while_the_shutter_process_cannot_read_what_it_wrote_of_it(tmp_path: Path) -> None:
    class Forgetful:
        def awaited_state(self) -> dict[str, object]:
            return {"frame_id": None, "reports": [], "past_unread": "the black box cannot be read"}

    ours = Intent("20270309-172100-aaaa", "usb", "long", "held", 4.0, 9.0, {"evening_id": EVENING})
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        journal.intend(ours, stamp_now())
        folders = Folders(tmp_path, tmp_path, tmp_path)
        station = Station("usb", folders, journal, cast(Any, Forgetful()), Settings(), {})
        watch = Watch(lambda _state: None, lambda: False)
        assert settle_the_past(station, watch, lambda _one: True) == []
        assert [one.intent.frame_id for one in journal.unfinished()] == [ours.frame_id], "it may have been opened"


def test_the_frames_of_an_evening_are_found_in_the_record_whoever_settled_them(tmp_path: Path) -> None:
    with Journal.open(tmp_path / "journal.sqlite") as journal:
        for name, decision in (("aaaa", {"evening_id": EVENING}), ("bbbb", {}), ("cccc", {"evening_id": EVENING}),
                               ("dddd", {"evening_id": EVENING}), ("eeee", {"evening_id": EVENING})):  # fmt: skip
            intent = Intent(f"20270309-172100-{name}", "usb", "long", "held", 4.0, 9.0, decision)
            journal.intend(intent, stamp_now())
            if name != "dddd":
                told = Outcome(intent.frame_id, "complete", 4.0, None, None, None, "closed", name != "eeee", "")
                journal.conclude(told, stamp_now())
        found = recorded_of(journal, EVENING)
    assert [one.asked.frame_id[-4:] for one in found] == ["aaaa", "cccc"]
