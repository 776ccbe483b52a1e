"""A wrong clock, one that is set, a computer that slept with the shutter open: what is told, and that nothing fires.

The real evening machine, loop and clock watch, in simulated time; the camera is played by the test.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import pytest

from duskhold.app.evening_clock import ClockLook, ClockWatch, EveningClock
from duskhold.app.evening_loop import EveningLoop, Inbox
from duskhold.light.crossings import Direction
from duskhold.light.place import Place
from duskhold.light.sign import signed
from duskhold.plan.bag import Setting
from duskhold.plan.evening import Evening
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.evening_words import (
    Begun,
    Checked,
    ClockConfirmed,
    CloseNow,
    Effect,
    Event,
    FrameTold,
    MeansTold,
    Measured,
    ReadMeans,
    Ring,
    RunCheck,
    Said,
    Take,
    Tell,
    Word,
)  # fmt: skip
from duskhold.plan.outing import Bounds, ClockStart, Kind, LeaveBy, Outing, OutingKit, Start, SunStart, Want

BEGUN_UTC = datetime(2027, 3, 9, 17, 0, tzinfo=UTC)
PLACE = Place(56.04, -5.93)  # the invented narrows of the rehearsal
FIRST_S = 60.0
KIT = OutingKit((), (), Setting("f/8", 8.0), Setting("100", 100.0))


def outing(start: Start, bounds: Bounds) -> Outing:
    return Outing("Clock faults", start, Want(Kind.AGAIN, first_s=FIRST_S), KIT, PLACE, bounds)


NOW = outing(ClockStart(BEGUN_UTC), Bounds(frames=5, leave_by=LeaveBy(in_min=90.0)))


@dataclass
class Played:
    """A camera that answers at once, and whose frames close when the test says, or are told to."""

    inbox: Inbox
    taken: list[Take] = field(default_factory=list)
    closed: int = 0
    rung: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    is_idle: bool = True
    is_alive: bool = True

    def carry_out(self, effect: Effect) -> None:
        match effect:
            case Take():
                self.taken.append(effect)
            case CloseNow():
                self.closed += 1
            case RunCheck():
                self.inbox.post(Checked(()))
            case ReadMeans():
                self.inbox.post(MeansTold(90.0, 10**11))
            case Ring(_, line):
                self.rung.append(line)
            case Tell(word, _, _):
                self.told.append(word)

    def follow(self, view: View, now_utc: datetime) -> None:
        """Nothing of it is shown."""


class NoPen:
    def keep(self, event: Event, now_utc: datetime) -> None:
        """The journal is another test's."""

    def note(self, word: str, line: str, detail: dict[str, object]) -> None:
        """As above."""


class NoRinger:
    """The test itself looks whether a deadline has come."""

    def arm(self, name: str, in_s: float, ring: Callable[[], None]) -> None:
        """Nothing."""

    def disarm(self, name: str) -> None:
        """Nothing."""


class Night:
    """The evening with its loop and its watch; `go` lets time pass second by second."""

    def __init__(self, asked: Outing, confirmed: bool, wall_off_s: float = 0.0) -> None:
        self.boot_s, self.slept_s, self.wall_off_s = 1000.0, 0.0, wall_off_s
        begun_utc = BEGUN_UTC + timedelta(seconds=wall_off_s)
        self.inbox = Inbox()
        self.camera = Played(self.inbox)
        self.clock = EveningClock(begun_utc, lambda: self.boot_s)
        self.evening = Evening(asked, begun_utc)
        self.loop = EveningLoop(self.evening, self.clock, NoPen(), self.camera, NoRinger(), self.inbox)
        self.watch = ClockWatch(self.inbox.post, lambda: None, self._look)
        self.say(Begun(confirmed))

    def say(self, event: Event) -> None:
        self.inbox.post(event)
        self._settle()

    def go(self, seconds: int) -> None:
        for _ in range(seconds):
            self.boot_s += 1.0
            self._settle()

    def step(self, seconds: float) -> None:
        """Somebody, or a time service, sets the clock."""
        self.wall_off_s += seconds
        self.go(1)

    def sleep(self, seconds: float) -> None:
        self.boot_s += seconds
        self.slept_s += seconds
        self.go(1)

    def close(self, open_s: float, outcome: str = "complete") -> None:
        """The frame that is open is told, and measured as it was planned."""
        take = self.camera.taken[-1]
        closed_utc = self.clock.now_utc()
        frame_id = f"frame-{len(self.camera.taken)}"
        opened_utc = closed_utc - timedelta(seconds=open_s)
        self.say(FrameTold(frame_id, take.role, outcome, open_s, opened_utc, closed_utc, True, "", 2))
        self.say(Measured(frame_id, 8.0, 0.02))

    def stands(self) -> Phase:
        return self.loop.view().phase

    @property
    def taken(self) -> int:
        return len(self.camera.taken)

    def _settle(self) -> None:
        self.watch.look_once()
        self.loop.turn(0.0)  # the loop looks for what is overdue as well
        while not self.inbox.is_empty:
            self.loop.turn(0.0)

    def _look(self) -> ClockLook:
        real_s = BEGUN_UTC.timestamp() + self.boot_s - 1000.0 + self.wall_off_s
        return ClockLook(real_s, self.boot_s, self.boot_s - self.slept_s)


def test_without_faults_it_takes_frames() -> None:
    night = Night(NOW, confirmed=True)
    assert night.taken == 1
    night.go(60)
    night.close(60.0)
    night.go(20)
    assert night.taken == 2


BY_SUN = outing(
    SunStart(-2.0, Direction.DOWN, BEGUN_UTC), Bounds(sun_altitude_deg=-8.0, leave_by=LeaveBy(in_min=120.0))
)


def test_hours_wrong_nothing_that_hangs_on_the_sun_begins_before_somebody_says_that_the_time_is_right() -> None:
    # A board without a battery clock, five hours behind: by it the sun is high, and by a clock ahead it is night.
    for wrong_s in (-5 * 3600.0, 5 * 3600.0):
        night = Night(BY_SUN, confirmed=False, wall_off_s=wrong_s)
        night.go(40)
        assert night.taken == 0
        assert any("time" in line for line in night.camera.rung)


def test_the_right_time_that_comes_by_a_large_step_is_a_persons_decision() -> None:
    night = Night(BY_SUN, confirmed=False, wall_off_s=-5 * 3600.0)
    night.step(5 * 3600.0)
    night.say(ClockConfirmed("the system's time synchronisation"))
    night.go(5)
    assert night.stands() is Phase.HELD
    assert night.taken == 0
    night.say(Said(Word.RESUME))
    # Sunset, and two degrees more: about 18:30 UTC on this day (its altitudes are tested elsewhere).
    assert night.stands() is Phase.WAITING
    assert night.taken == 0


@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
def test_a_step_of_an_hour_with_the_shutter_open_spoils_no_frame_and_fires_none(step_s: float) -> None:
    night = Night(NOW, confirmed=True)
    night.go(20)
    night.step(step_s)
    assert night.taken == 1
    assert any(f"{signed(step_s, 0)} s" in line for line in night.camera.rung)
    night.go(40)
    night.close(61.0)
    night.go(600)
    assert night.taken == 1 and night.stands() is Phase.HELD
    # Leaving in 90 minutes is counted from the beginning, whatever the clock says.
    pack_utc = night.loop.view().pack_utc
    assert pack_utc is not None
    assert (pack_utc - night.clock.now_utc()).total_seconds() == pytest.approx(78 * 60.0 - 661.0, abs=3.0)
    night.say(Said(Word.RESUME))
    night.go(30)
    assert night.taken == 2


@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
def test_a_step_of_an_hour_while_it_waits_for_its_start_neither_begins_nor_misses_it_unsaid(step_s: float) -> None:
    start_utc = BEGUN_UTC + timedelta(minutes=30)
    night = Night(outing(ClockStart(start_utc), Bounds(frames=2)), confirmed=True)
    night.go(10)
    night.step(step_s)
    night.go(60)
    assert night.taken == 0 and night.stands() is Phase.HELD


def test_a_small_step_is_told_and_goes_on() -> None:
    night = Night(NOW, confirmed=True)
    night.go(20)
    night.step(-5.0)
    assert "clock" in night.camera.told
    night.go(40)
    night.close(61.0)
    night.go(30)
    assert night.taken == 2


def test_twenty_minutes_of_sleep_with_the_shutter_open_are_told_and_nothing_goes_on_by_itself() -> None:
    night = Night(NOW, confirmed=True)
    night.go(20)
    night.sleep(1200.0)
    assert any("slept for 1200 s" in line for line in night.camera.rung)
    assert night.taken == 1
    night.close(1221.0)
    night.go(300)
    assert night.taken == 1 and night.stands() is Phase.HELD
    night.say(Said(Word.RESUME))
    night.go(60)
    # The light went on while it slept: whatever comes first is reasoned from what is seen anew.
    assert night.taken == 2
    assert night.camera.taken[-1].role.value in ("scout", "base")


def test_a_sleep_past_the_time_to_leave_ends_it() -> None:
    night = Night(NOW, confirmed=True)
    night.go(20)
    night.sleep(95 * 60.0)
    night.close(95 * 60.0 + 21.0)
    night.go(5)
    assert night.taken == 1
    assert night.stands() is Phase.RESTING, "it rings until somebody hears it"
    night.say(Said(Word.HEARD))
    assert night.stands() is Phase.ENDED
