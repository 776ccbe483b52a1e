"""The evening machine against an adversary: orders of events that no friendly evening has."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from adversary_bench import BEGUN, KIT, LEVEL_EV, PLACE, PLAIN, Bench, tone

from duskhold.light.crossings import Direction
from duskhold.light.filters import parse_filter
from duskhold.light.reading import Reading
from duskhold.plan import evening_words as words
from duskhold.plan.bag import BagFilter
from duskhold.plan.evening import Evening
from duskhold.plan.evening_words import Ended, Fault, Ring, Said, Take, Word
from duskhold.plan.known_light import KnownLight, Reference
from duskhold.plan.outing import (
    AfterLinkLoss,
    Bounds,
    Dark,
    Fallback,
    Kind,
    LeaveBy,
    Outing,
    Prompting,
    SunStart,
)
from duskhold.plan.role import Role
from duskhold.plan.series import next_frame
from duskhold.plan.stops import StopReason

# Faults and people


def test_a_link_that_is_back_resumes_nothing_but_a_lost_link() -> None:
    for fault in (Fault.CLOCK, Fault.SHUTTER, Fault.STORAGE):
        bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
        bench.to_first_long()
        bench.feed(words.FaultSeen(fault, "something that only a person can judge"))
        bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
        bench.feed(words.FaultGone(Fault.LINK))
        bench.answer()
        assert bench.evening.state.held is not None, fault
        assert bench.open is None, fault


def test_a_link_that_is_back_does_not_end_a_persons_hold() -> None:
    for at_once in (True, False):
        bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
        bench.to_first_long()
        bench.wait(9.0)
        assert bench.open is not None
        bench.say(Word.HOLD)
        if at_once:
            bench.finish()
        bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
        if not at_once:
            bench.finish("link_lost")
        bench.feed(words.FaultGone(Fault.LINK))
        bench.answer()
        bench.wait(60.0)
        assert bench.open is None, at_once
        bench.say(Word.RESUME)
        assert bench.take().role is Role.SCOUT


def test_a_lost_link_alone_goes_on_when_agreed() -> None:
    bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
    bench.to_first_long()
    bench.feed(words.FaultSeen(Fault.LINK, "pulled"))
    bench.feed(words.FaultGone(Fault.LINK))
    assert bench.take().role is Role.SCOUT


def test_a_failed_check_does_not_hide_a_fault() -> None:
    bench = Bench(replace(PLAIN, after_link_loss=AfterLinkLoss.RESUME))
    bench.feed(words.FaultSeen(Fault.SHUTTER, "it may be open"))
    bench.asked.clear()
    bench.feed(words.Checked(("focus",)))
    held = bench.evening.state.held
    assert held is not None and held.fault is Fault.SHUTTER
    bench.say(Word.RESUME)
    assert any(isinstance(one, words.RunCheck) for _, one in bench.said[-3:]), "it is checked again"


def test_whoever_resumes_over_an_open_prompt_is_asked_again_before_any_fallback() -> None:
    prompting = Prompting(patience_s=60.0, fallback=Fallback.APERTURE)
    bench = _at_prompt(tone(prompting=prompting))
    bench.wait(61.0)
    bench.take()  # the scout of the fallback: nobody changed anything
    bench.feed(words.FaultSeen(Fault.POWER, "the computer slept"))
    bench.finish() if bench.open is not None else None
    request = bench.evening.state.request
    assert request is not None
    bench.true_filters = request.after.filters  # did it, and said only resume
    orders = len(bench.orders())
    bench.say(Word.RESUME)
    bench.answer()
    assert len(bench.orders()) == orders, "nothing is taken before somebody answers"
    assert bench.rings()[-1].startswith(request.line())
    bench.wait(61.0)
    assert bench.orders()[-1].role is Role.SCOUT, "the fallback looks first"


def _at_prompt(outing: Outing) -> Bench:
    """An evening whose light has faded to the first change of filters."""
    bench = Bench(outing)
    bench.to_first_long()
    while bench.evening.state.request is None:
        bench.take()
    return bench


def test_nobody_there_is_not_rung_for_again_and_again_and_the_series_ends() -> None:
    for fallback in (Fallback.HOLD, Fallback.APERTURE):
        bench = _at_prompt(tone(prompting=Prompting(patience_s=60.0, fallback=fallback)))
        rings, began = len(bench.rings()), bench.now
        bench.dimmed_stops = 6.0  # a scout denies that the filters are as before
        while bench.ended() is None and bench.now - began < timedelta(hours=4):
            bench.wait(30.0)
            if bench.open is not None:
                bench.finish()
        assert bench.ended() == "nobody_answered", fallback
        # Two hours until it is given up, and half an hour in which that rings unheard.
        assert bench.now - began < timedelta(hours=2.7)
        assert len(bench.rings()) - rings <= 3, bench.rings()[rings:]


def test_a_prompt_that_is_over_does_not_ring_on() -> None:
    bench = _at_prompt(tone(prompting=Prompting(patience_s=60.0, fallback=Fallback.STOP)))
    bench.wait(61.0)
    assert bench.ended() == "nobody_answered"
    assert bench.evening.state.alarm is None


def test_scouts_that_never_agree_come_to_an_end() -> None:
    bench = Bench()
    bench.take()
    bench.do_as_asked()
    for number in range(12):
        bench.wait(15.0)
        if bench.open is None:
            break
        bench.finish(off_stops=0.6 if number % 2 else -0.6)
        bench.answer()
    assert number < 6
    assert bench.evening.state.request is not None and not bench.evening.state.request.answered


def test_the_clock_is_asked_for_once() -> None:
    bench = Bench(replace(PLAIN, start=SunStart(-1.0, Direction.DOWN, BEGUN), place=PLACE), confirmed=False)
    assert len(bench.rings()) == 1
    bench.say(Word.HEARD)
    bench.wait(600.0)
    assert len(bench.rings()) == 1
    assert not bench.orders()
    bench.say(Word.DONE)
    assert bench.evening.state.time_confirmed


def test_darks_that_cannot_be_measured_come_to_an_end() -> None:
    bounds = Bounds(frames=1)
    bench = Bench(replace(PLAIN, bounds=bounds, dark=Dark.AFTER, darks_after=2))
    bench.to_first_long()
    bench.say(Word.DONE)
    for _ in range(8):
        bench.wait(1.0)
        if bench.open is None:
            break
        take, bench.open = bench.open, None
        bench.now += timedelta(seconds=take.open_s)
        bench.feed(words.FrameTold("d", take.role, "complete", take.open_s, None, bench.now, True, ""))
        bench.feed(words.NotMeasured("d", "no raw file came home"))
    assert sum(one.role is Role.DARK for one in bench.orders()) == 2
    assert bench.ended() == "frames_done"


def test_the_reason_that_ended_the_series_stays_when_it_is_time_to_pack() -> None:
    bounds = Bounds(frames=1, leave_by=LeaveBy(in_min=20.0, pack_min=5.0))
    prompting = Prompting(patience_s=3600.0)
    bench = Bench(replace(PLAIN, bounds=bounds, dark=Dark.AFTER, prompting=prompting))
    bench.to_first_long()
    assert bench.evening.state.stop is StopReason.FRAMES_DONE
    bench.wait(1200.0)
    bench.say(Word.HEARD)
    assert bench.ended() == "frames_done"
    assert any("time to pack" in line for line in bench.rings()), "and it is said all the same"


def test_nothing_changes_after_the_end() -> None:
    bench = Bench()
    bench.answer()
    bench.finish()
    bench.say(Word.LEAVING)
    assert bench.ended() == "left_by_person"
    for event in (Said(Word.LEAVING), Said(Word.HOLD), Said(Word.RESUME), words.Woke(9.0), words.ClockStepped(7200.0)):
        assert not any(isinstance(one, Ring | Take | Ended | words.CloseNow) for one in bench.feed(event)), event
        assert bench.evening.deadline_utc() is None


# The clock


def test_a_step_of_the_clock_is_no_patience_spent() -> None:
    for step_s in (3 * 3600.0, -3 * 3600.0):
        bench = _at_prompt(tone(prompting=Prompting(patience_s=300.0, fallback=Fallback.STOP)))
        bench.feed(words.ClockStepped(step_s))
        bench.say(Word.RESUME)
        bench.wait(120.0)
        assert bench.ended() is None, step_s
        bench.wait(400.0)
        assert bench.ended() == "nobody_answered", step_s


def test_minutes_to_leave_go_with_the_clock() -> None:
    bounds = Bounds(leave_by=LeaveBy(in_min=30.0, pack_min=10.0))
    for step_s in (3600.0, -3600.0):
        bench = Bench(replace(PLAIN, bounds=bounds))
        bench.to_first_long()
        before = bench.evening.state.ends.pack_utc
        bench.feed(words.ClockStepped(step_s))
        after = bench.evening.state.ends.pack_utc
        assert before is not None and after == before + timedelta(seconds=step_s)


def test_a_start_that_is_past_is_no_reason_to_look_again_and_again() -> None:
    bench = Bench(confirmed=False)
    bench.feed(words.ClockStepped(-30.0))
    bench.answer()
    bench.wait(600.0)  # with nobody to say that the time is right
    assert len(bench.events) < 10


# Touches that gain nothing


def test_no_change_is_asked_for_that_the_pixels_could_not_prove() -> None:
    bag = (BagFilter("ten", parse_filter("10.0"), 0.03), BagFilter("nine", parse_filter("9.8"), 0.03),
           BagFilter("six", parse_filter("6.0"), 0.03))  # fmt: skip
    bench = _at_prompt(tone(kit=replace(KIT, bag=bag, filters=("ten",))))
    request = bench.evening.state.request
    assert request is not None and request.after.filters == ("six",)


def test_the_order_of_names_is_no_other_set_up() -> None:
    bench = Bench(tone(kit=replace(KIT, filters=("three", "six"))))
    bench.to_first_long()
    while bench.evening.state.request is None:
        bench.take()
    request = bench.evening.state.request
    assert set(request.after.filters) != set(request.before.filters)


# What the pixels say


def test_another_plate_is_not_taken_for_the_one_asked_for() -> None:
    bench = Bench()
    bench.take()
    bench.true_filters = ("ten", "three")  # the ten in place of the six
    bench.say(Word.DONE)
    bench.take()
    assert bench.tells("denied")
    assert bench.orders()[-1].role is Role.SCOUT
    bench.true_filters = ("six", "three")
    bench.say(Word.DONE)
    bench.take()
    assert bench.tells("verified")


def test_a_person_who_says_so_twice_is_believed() -> None:
    bench = Bench()
    bench.take()
    bench.do_as_asked()
    bench.take_with(-1.6)
    assert bench.tells("denied")
    bench.say(Word.DONE)
    bench.take_with(-1.6)
    told = bench.tells("verified")
    assert told and "1.6 stop more than the bag says" in told[0].line


def test_a_lamp_between_two_readings_ends_no_program() -> None:
    light = KnownLight(None, 1800.0)
    light.reference = Reference(0.125, LEVEL_EV)
    for second, level_ev in ((0.0, 2.0), (1.0, LEVEL_EV), (1.5, 2.0), (3.0, LEVEL_EV)):
        light.see_light(Reading(BEGUN + timedelta(seconds=second), level_ev, 0.01, "scout"), ())
        metered = light.metered()
        assert metered is not None
        found = next_frame(PLAIN, Evening(PLAIN, BEGUN).state.set_up, metered, BEGUN + timedelta(hours=8))
        assert found is not None


# Counting


def test_the_last_frame_ends_it_at_once() -> None:
    bench = Bench(replace(PLAIN, want=replace(PLAIN.want, kind=Kind.ONE)))
    bench.to_first_long()
    assert bench.ended() == "frames_done"
    pairs = Bench(replace(PLAIN, want=replace(PLAIN.want, kind=Kind.PAIRS), bounds=Bounds(frames=1)))
    pairs.to_first_long()
    assert pairs.ended() == "frames_done"
    assert len(pairs.tells("prompt")) == 1, "no filters are taken off for a frame that never comes"


def test_a_bracket_begins_again_until_the_frames_are_taken() -> None:
    want = replace(PLAIN.want, kind=Kind.BRACKET, steps=(-1.0, 0.0, 1.0))
    bench = Bench(replace(PLAIN, want=want, bounds=Bounds(frames=5), kit=replace(KIT, filters=("six",))))
    bench.to_first_long()
    while bench.ended() is None:
        bench.take()
    steps = [float(str(one.reasoning["step_stops"])) for one in bench.orders() if one.role is Role.LONG]
    assert sorted(steps[:3]) == [-1.0, 0.0, 1.0]
    assert steps[3:] == [1.0, 0.0], "the longest first, now that the fading is known"


def test_a_frame_whose_measurement_a_crash_lost_is_counted() -> None:
    bench = Bench(replace(PLAIN, bounds=Bounds(frames=2)))
    bench.to_first_long()
    bench.wait(9.0)
    take, bench.open = bench.open, None
    assert take is not None and take.role is Role.LONG
    bench.now += timedelta(seconds=take.open_s)
    bench.feed(words.FrameTold("x", take.role, "complete", take.open_s, None, bench.now, True, ""))
    bench.feed(words.Restarted(settled=True))
    bench.say(Word.RESUME)
    bench.answer()
    bench.wait(120.0)
    if bench.open is not None:
        bench.finish()
    assert sum(one.role is Role.LONG for one in bench.orders()) == 2
    assert bench.ended() == "frames_done"
