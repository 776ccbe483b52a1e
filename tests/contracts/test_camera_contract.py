"""What every camera keeps, whichever way in: the port's promises, proven by the body's own log."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, nullcontext
from pathlib import Path

import pytest
from subjects import NATURES, SERVED_PROFILE, InProcess, Subject, ThroughLibrary

from duskhold.camera.port import (
    BodyRefused,
    CameraBusy,
    CameraError,
    CameraEvent,
    CameraMissing,
    Closing,
    EventKind,
    LinkHung,
    LinkLost,
    NoCard,
    Picture,
    Setting,
)
from duskhold.camera.serving import ServedBody
from duskhold.camera.words import meaning, same_meaning

LATENESS_MAX_S = 0.05  # of calls and their answers while other tests have the cores
SETTINGS = [
    (Setting.SHUTTER, "1/60"),
    (Setting.SHUTTER, "30"),
    (Setting.SHUTTER, "bulb"),
    (Setting.APERTURE, "f/11"),
    (Setting.ISO, "200"),
    (Setting.QUALITY, "raw"),
    (Setting.QUALITY, "raw+jpeg"),
    (Setting.DARK_FRAME, "on"),
    (Setting.DARK_FRAME, "off"),
    (Setting.FOCUS, "manual"),
    (Setting.MODE, "manual"),
    (Setting.WHITE_BALANCE, "daylight"),
    (Setting.DRIVE, "single"),
    (Setting.BRACKETING, "off"),
    (Setting.EXPOSURE_DELAY, "off"),
    (Setting.MIRROR_LOCK, "off"),
    (Setting.AUTO_ISO, "off"),
    (Setting.STABILISER, "off"),
    (Setting.ELECTRONIC_SHUTTER, "off"),
]


IN_PROCESS = "in process"


class Bodies:
    """Served bodies of every family, each started when it is first asked for."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self._folder = folder
        self._stack = stack
        self._running: dict[str, ServedBody] = {}

    def of(self, family: str) -> ServedBody:
        if family not in self._running:
            options = [word for each in SERVED_PROFILE for word in ("--profile", each)]
            body = ServedBody(self._folder / family, ["--family", family, *options, "--lifetime", "300"])
            self._running[family] = self._stack.enter_context(body)
        return self._running[family]


@pytest.fixture(scope="session")
def bodies(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bodies]:
    with ExitStack() as stack:
        yield Bodies(tmp_path_factory.mktemp("served"), stack)


@pytest.fixture(params=[IN_PROCESS, *NATURES])
def subject(request: pytest.FixtureRequest, bodies: Bodies, tmp_path: Path) -> Iterator[Subject]:
    """One connected subject after the other."""
    if request.param == IN_PROCESS:
        simulated = InProcess(tmp_path)
        simulated.camera.connect()
        yield simulated
        return
    served = ThroughLibrary(bodies.of(request.param), NATURES[request.param], tmp_path / "library")
    served.camera.connect()
    yield served
    served.restore()


def hold(subject: Subject, seconds: float) -> float:
    """Hold the shutter; returns the time from the return of the opening call to the closing call."""
    subject.camera.open_shutter()
    opened_s = subject.now_s()
    subject.sleep(seconds)
    closed_s = subject.now_s()
    assert subject.camera.close_shutter() is Closing.CLOSED
    return closed_s - opened_s


def begins_only_if(subject: Subject, expected: type[CameraError]) -> AbstractContextManager[object]:
    """One family says yes to a busy body's refusal; that nothing began shows at the close."""
    return pytest.raises(expected) if subject.nature.tells_busy else nullcontext()


def wait_until(subject: Subject, is_enough: Callable[[list[CameraEvent]], bool]) -> list[CameraEvent]:
    found: list[CameraEvent] = []
    ends_s = subject.now_s() + 3.0
    while not is_enough(found) and subject.now_s() < ends_s:
        found += subject.camera.wait(0.1)
    return found


def is_complete(found: list[CameraEvent]) -> bool:
    return any(each.kind is EventKind.CAPTURE_COMPLETE for each in found)


def added(found: list[CameraEvent]) -> list[str]:
    return sorted(each.picture.name for each in found if each.picture is not None)


def fetched(subject: Subject, picture: Picture) -> bytes:
    pieces: list[bytes] = []
    count = subject.camera.fetch(picture, pieces.append)
    assert count == sum(len(each) for each in pieces)
    return b"".join(pieces)


def fail_soon(subject: Subject, expected: type[CameraError]) -> float:
    """Wait in slices until the link's loss shows, then close; returns how long it took."""
    began_s = subject.now_s()
    with pytest.raises(expected):
        for _ in range(10):
            subject.camera.wait(0.1)
        subject.camera.close_shutter()
    return subject.now_s() - began_s


def test_identity_names_the_body_and_its_family(subject: Subject) -> None:
    identity = subject.camera.connect()
    assert identity.serial == "SIM-000001"
    assert identity.model == "Simulated body"
    assert identity.vendor_extension == subject.nature.vendor_extension
    assert identity.family == subject.nature.family
    assert identity.holds and identity.proven
    assert identity.library


def test_connecting_makes_the_card_the_target(subject: Subject) -> None:
    subject.camera.connect()
    said = subject.camera.settings()
    assert (Setting.TARGET in said) is (Setting.TARGET not in subject.nature.untold)
    assert meaning(Setting.TARGET, said.get(Setting.TARGET, "card")) == "card"


def test_connecting_leaves_the_shutter_alone(subject: Subject) -> None:
    subject.camera.connect()
    assert not subject.noted("opened")
    assert not subject.noted("pressed")
    assert not subject.noted("released")


def test_a_held_shutter_opens_once_and_closes_once(subject: Subject) -> None:
    held_s = hold(subject, 0.3)
    wait_until(subject, is_complete)
    assert len(subject.noted("opened")) == 1
    (closed,) = subject.noted("closed")
    assert closed["open_s"] == pytest.approx(held_s + subject.latency_s, abs=LATENESS_MAX_S)


def test_closing_with_nothing_open_says_so(subject: Subject) -> None:
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert not subject.noted("closed")


def test_closing_twice_closes_once(subject: Subject) -> None:
    hold(subject, 0.2)
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert len(subject.noted("closed")) == 1


def test_opening_twice_is_busy_and_opens_once(subject: Subject) -> None:
    subject.camera.open_shutter()
    subject.sleep(0.1)
    with begins_only_if(subject, CameraBusy):
        subject.camera.open_shutter()
    assert subject.camera.close_shutter() is Closing.CLOSED
    assert len(subject.noted("opened")) == 1


def test_a_busy_body_does_not_open(subject: Subject) -> None:
    subject.order("strike", fault="press_busy", count=1)
    with begins_only_if(subject, CameraBusy):
        subject.camera.open_shutter()
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert not subject.noted("opened")


def test_a_refusing_body_does_not_open(subject: Subject) -> None:
    subject.order("strike", fault="press_refused", count=1)
    with pytest.raises(BodyRefused):
        subject.camera.open_shutter()
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert not subject.noted("opened")


def test_an_opening_that_was_ignored_shows_at_the_close(subject: Subject) -> None:
    subject.order("strike", fault="open_ignored", count=1)
    subject.camera.open_shutter()
    subject.sleep(0.2)
    assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    assert not subject.noted("opened")


def test_a_lost_stop_is_still_open_and_a_second_stop_closes(subject: Subject) -> None:
    subject.order("strike", fault="release_ignored", count=1)
    subject.camera.open_shutter()
    subject.sleep(0.1)
    assert subject.camera.close_shutter() is Closing.STILL_OPEN
    assert subject.camera.close_shutter() is Closing.CLOSED
    assert len(subject.noted("closed")) == 1


def test_the_bodys_own_dark_frame_leaves_it_closed_and_busy(subject: Subject) -> None:
    held_s = subject.nature.busy_hold_s
    subject.order("set", name="dark_frame", value="on")
    subject.camera.open_shutter()
    subject.sleep(held_s)
    assert subject.camera.close_shutter() is Closing.CLOSED_BUSY
    (closed,) = subject.noted("closed")
    assert closed["open_s"] == pytest.approx(held_s, abs=0.1)
    with begins_only_if(subject, CameraBusy):
        subject.camera.open_shutter()
    assert len(subject.noted("opened")) == 1


def test_a_dial_exposure_runs_the_dials_true_time(subject: Subject) -> None:
    subject.camera.change(Setting.SHUTTER, "1/4")
    subject.camera.expose_dial()
    wait_until(subject, is_complete)
    (closed,) = subject.noted("closed")
    # ISO 2720 steps are factors of two, and the mark "1/4" is one of them.
    assert closed["open_s"] == pytest.approx(0.25, abs=0.001)


def test_a_dial_exposure_at_bulb_is_refused(subject: Subject) -> None:
    if not subject.nature.dial_has_bulb:
        assert "bulb" not in [meaning(Setting.SHUTTER, each) for each in subject.camera.choices(Setting.SHUTTER)]
        return
    subject.camera.change(Setting.SHUTTER, "bulb")
    with pytest.raises(BodyRefused):
        subject.camera.expose_dial()
    assert not subject.noted("opened")


def test_a_setting_is_set_and_reads_back(subject: Subject) -> None:
    for setting, value in SETTINGS:
        cannot = setting in subject.nature.untold | subject.nature.read_only
        if cannot or (value == "bulb" and not subject.nature.dial_has_bulb):
            with pytest.raises(BodyRefused):
                subject.camera.change(setting, value)
            continue
        said = subject.camera.change(setting, value)
        assert same_meaning(setting, said, value)
        assert subject.camera.settings()[setting] == said
        assert not subject.camera.choices(setting) or said in subject.camera.choices(setting)


def test_a_word_that_no_dial_has_is_refused_and_changes_nothing(subject: Subject) -> None:
    before = subject.camera.settings()[Setting.ISO]
    with pytest.raises(BodyRefused):
        subject.camera.change(Setting.ISO, "123456")
    assert subject.camera.settings()[Setting.ISO] == before


def test_what_can_only_be_read_is_refused(subject: Subject) -> None:
    assert not subject.camera.choices(Setting.BATTERY)
    with pytest.raises(BodyRefused):
        subject.camera.change(Setting.BATTERY, "100%")


def test_every_setting_of_the_check_before_the_shot_is_told(subject: Subject) -> None:
    assert set(subject.camera.settings()) == set(Setting) - subject.nature.untold


def test_a_picture_is_told_of_listed_and_fetched_as_it_is_on_the_card(subject: Subject) -> None:
    subject.order("set", name="quality", value="raw+jpeg")
    hold(subject, 0.2)
    names = added(wait_until(subject, is_complete))
    assert [name[-4:] for name in names] == [".DNG", ".JPG"]
    listed = [each for each in subject.camera.pictures() if each.name in names]
    assert sorted(each.name for each in listed) == names
    for picture in listed:
        content = fetched(subject, picture)
        assert content == subject.card_bytes(picture.name)
        assert len(content) == picture.size_bytes > 0


def test_a_picture_can_be_fetched_by_its_event_alone(subject: Subject) -> None:
    hold(subject, 0.2)
    found = wait_until(subject, is_complete)
    picture = next(each.picture for each in found if each.picture is not None)
    assert fetched(subject, picture) == subject.card_bytes(picture.name)


def test_a_picture_whose_event_was_lost_is_listed(subject: Subject) -> None:
    before = {each.name for each in subject.camera.pictures()}
    subject.order("strike", fault="event_lost", count=1)
    hold(subject, 0.2)
    assert not added(wait_until(subject, is_complete))
    new = [each for each in subject.camera.pictures() if each.name not in before]
    assert new
    assert fetched(subject, new[0]) == subject.card_bytes(new[0].name)


def test_a_dropped_link_shows_within_a_second_and_the_shutter_closes_on_return(subject: Subject) -> None:
    subject.camera.open_shutter()
    subject.sleep(0.2)
    subject.order("drop")
    assert fail_soon(subject, LinkLost) < 1.0
    with pytest.raises(CameraMissing):
        subject.camera.connect()
    assert not subject.noted("closed")
    subject.order("return")
    subject.camera.connect()
    assert subject.camera.close_shutter() is Closing.CLOSED
    assert len(subject.noted("opened")) == 1
    assert len(subject.noted("closed")) == 1


def test_a_hung_link_is_named_and_the_shutter_closes_after_it(subject: Subject) -> None:
    subject.camera.open_shutter()
    subject.sleep(0.2)
    subject.order("hang")
    fail_soon(subject, LinkHung)
    assert not subject.noted("closed")
    subject.order("resume")
    subject.camera.connect()
    # A stop that hung may have been heard when the link went on.
    assert subject.camera.close_shutter() in (Closing.CLOSED, Closing.NOTHING_OPEN)
    subject.camera.wait(0.2)
    assert len(subject.noted("opened")) == len(subject.noted("closed")) == 1


def test_ending_a_session_never_fails(subject: Subject) -> None:
    subject.order("drop")
    subject.camera.disconnect()
    subject.camera.disconnect()
    with pytest.raises(LinkLost):
        subject.camera.settings()


def test_without_a_card_the_body_is_refused(subject: Subject) -> None:
    subject.order("eject")
    with pytest.raises(NoCard):
        subject.camera.connect()


def test_a_card_that_is_full_opens_nothing_and_gives_its_pictures(subject: Subject) -> None:
    hold(subject, 0.2)
    wait_until(subject, is_complete)
    subject.order("fill", shots=0)
    try:
        with pytest.raises(NoCard) if Setting.SHOTS_LEFT not in subject.nature.untold else nullcontext():
            subject.camera.connect()
        last = max(subject.camera.pictures(), key=lambda each: each.name)
        assert fetched(subject, last) == subject.card_bytes(last.name)
        assert subject.camera.close_shutter() is Closing.NOTHING_OPEN
    finally:
        subject.order("fill", shots=2000)


def test_without_a_card_nothing_is_said_of_its_pictures(subject: Subject) -> None:
    subject.order("eject")
    with pytest.raises(NoCard):
        subject.camera.pictures()
