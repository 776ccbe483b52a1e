"""A real body, or a served one, through libgphoto2. The only module that imports `gphoto2`.

The library's answers are untyped; they are turned into our own types before they leave this module, and its error
numbers into what they mean (`library_errors`).

Rules of the library that shape this file: a session that failed is never used again; nothing but `wait` while the
shutter is open; its own timed waits look at the wall clock, so it is only ever asked for what is there already and
the waiting is done here.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

import gphoto2

from duskhold.camera.address import Address, Way
from duskhold.camera.claimant import name_claimant
from duskhold.camera.descriptors import LinkSockets, keep_descriptor_zero
from duskhold.camera.drivers import Driver, Hint, LibrarySaid, NoDriver, driver_for
from duskhold.camera.families import NO_FAMILY, ControlFamily, Holding, Offer, family_of
from duskhold.camera.lead import SessionLead
from duskhold.camera.library_card import fetch_pieces, fetch_whole, list_pictures, names_of
from duskhold.camera.library_errors import Code, read_beginning, read_error
from duskhold.camera.library_home import prepare_library, resolve
from duskhold.camera.port import (
    BodyRefused,
    CameraBusy,
    CameraError,
    CameraEvent,
    CameraMissing,
    Closing,
    EventKind,
    Identity,
    LinkHung,
    LinkLost,
    NoCard,
    Picture,
    Setting,
)
from duskhold.camera.target_found import keep_found
from duskhold.camera.usb_bus import list_cameras, pick_camera, pick_detected
from duskhold.camera.widgets import MISLEADING, WIDGETS, widget_for, widgets_of
from duskhold.camera.words import BULB, find_choice, meaning, same_meaning, spell_as, took

_NETWORK_MODEL = "PTP/IP Camera"
_SIGN_OF_LIFE = "0x1001"  # ISO 15740 GetDeviceInfo, through the library's way of sending any operation
_POLL_S = 0.1
_LET_IN_S = 0.1
_BACKLOG_MAX_S = 10.0


class GphotoCamera:
    """One body through libgphoto2. A new library object for every session.

    `library_folder` is where the library keeps its own settings; it is made here, because without it the library
    forgets where pictures go. Over PTP/IP the library closes descriptor 0 at the end of every session: no other
    thread of the process may open files while one ends.
    """

    def __init__(self, address: Address, library_folder: Path) -> None:
        assert address.way is not Way.SIMULATED, "the simulated body has its own adapter"
        self._address = address
        self._library_folder = library_folder
        self._host = ""
        self._camera: Any = None
        self._family: ControlFamily = NO_FAMILY
        self._driver: Driver = NoDriver()
        self._shutter_widget: Any = None
        self._kept: list[CameraEvent] = []
        self._lead = SessionLead(self._put, self._let_in_telling, self._read, self.change, self._ask_whether_alive)
        self._names: frozenset[str] = frozenset()
        self._is_spent = False

    def connect(self) -> Identity:
        """As the port says."""
        self.disconnect()
        prepare_library(self._library_folder)
        self._begin_session()
        try:
            with self._telling():
                return self._prepare()
        except NoCard:
            # The session stands: a shutter that may be open has to be closed whatever became of the card.
            raise
        except CameraError:
            self.disconnect()
            raise

    def disconnect(self) -> None:
        camera, self._camera, self._shutter_widget = self._camera, None, None
        self._kept.clear()
        if camera is None:
            return
        if self._is_spent:
            # Ending a session that hangs costs 2.5 s for each of its last words.
            self._link().cut()
        with suppress(gphoto2.GPhoto2Error):
            camera.exit()
        del camera
        keep_descriptor_zero()

    def open_shutter(self) -> None:
        try:
            with self._telling():
                self._driver.open(self._lead)
        except BodyRefused as refused:
            if self._family.holding is Holding.NONE:
                raise
            raise BodyRefused(f"{refused}; `duskhold check` tells what may stand in the way") from refused

    def close_shutter(self) -> Closing:
        self._session()
        try:
            return self._driver.close(self._lead)
        except CameraError as error:
            raise self._spent(error) from error.__cause__

    def wait(self, slice_s: float) -> Sequence[CameraEvent]:
        """As the port says. The pictures of its events have size 0: to ask for the size is to read the card."""
        ends_s = time.monotonic() + slice_s
        while True:
            self._let_in_telling()
            found, self._kept = self._kept, []
            left_s = ends_s - time.monotonic()
            if left_s <= 0 or found:
                return found
            time.sleep(min(left_s, _POLL_S))

    def expose_dial(self) -> None:
        """As the port says, but in this family the library comes back only when the exposure has ended."""
        if same_meaning(Setting.SHUTTER, self._read(Setting.SHUTTER) or "", BULB):
            raise BodyRefused("the shutter dial is at bulb, so there is no dial time")
        with self._telling():
            ends_s = time.monotonic() + _BACKLOG_MAX_S
            while self._let_in() and time.monotonic() < ends_s:
                pass
            self._kept.clear()  # a picture that is told from now on is this one
            self._session().trigger_capture()

    def settings(self) -> Mapping[Setting, str]:
        self._let_in_telling()  # one family reads from what its events told, and would go on when nobody is there
        said = {setting: self._read(setting) for setting in WIDGETS}
        return {setting: word for setting, word in said.items() if word is not None}

    def choices(self, setting: Setting) -> Sequence[str]:
        widget = self._widget(setting)
        return _choices(widget) if widget is not None and not widget.get_readonly() else ()

    def change(self, setting: Setting, value: str) -> str:
        widget = self._widget(setting)
        if widget is None or widget.get_readonly():
            raise BodyRefused(f"this body does not let its {setting.value} be set")
        self._write(setting, widget, value)
        self._let_in_telling()
        said = self._read(setting)
        if said is None or not took(setting, said, value):
            raise BodyRefused(f"{setting.value} was set to {value}, but the body says {said}")
        return said

    def pictures(self) -> Sequence[Picture]:
        """As the port says, in a session of its own: the library looks into a folder once in a session, so that a
        picture whose event was lost would never be seen."""
        try:
            self.connect()
        except CameraMissing as missing:
            raise LinkLost("the body does not answer any more") from missing
        except NoCard:
            with self._telling():
                if not self._has_card():
                    raise  # one that is only full gives what it has
        with self._telling():
            return list(list_pictures(self._session()))

    def fetch(self, picture: Picture, take: Callable[[bytes], None]) -> int:
        with self._telling():
            size = int(self._session().file_get_info(picture.folder, picture.name).file.size)
            try:
                return fetch_pieces(self._camera, picture, size, take)
            except gphoto2.GPhoto2Error as error:
                if error.code != Code.NOT_SUPPORTED:
                    raise
                return fetch_whole(self._camera, picture, take)

    # A session

    def _begin_session(self) -> None:
        self._host = resolve(self._address.host)
        model, path = self._found()
        abilities, ports = _abilities(), gphoto2.PortInfoList()
        ports.load()
        camera = gphoto2.Camera()
        camera.set_abilities(abilities[abilities.lookup_model(model)])
        camera.set_port_info(ports[ports.lookup_path(path)])
        code = _begin(camera)
        if code != gphoto2.GP_OK:
            # What the library leaves of a failed session must not look like an initiator that is still there.
            self._link().cut()
            del camera
            keep_descriptor_zero()
            raise name_claimant(read_beginning(code, self._address.way, str(self._address)), path)
        self._camera, self._is_spent = camera, False
        self._link().hurry()

    def _prepare(self) -> Identity:
        """Learn who the body is and send its pictures to the card; also wakes whatever is slow the first time."""
        names = names_of(self._camera.list_config())
        self._family = family_of(Offer(names, lambda: str(self._camera.get_summary())))
        self._names = frozenset(names) - MISLEADING.get(self._family.vendor_extension, frozenset())
        if self._family.widget is not None:
            # Fetched now, so that nothing stands between the order to open and the opening.
            self._shutter_widget = self._camera.get_single_config(self._family.widget)
        self._driver = driver_for(self._family, self._release_choices())
        identity = self._identity()
        try:
            with self._telling():
                self._check_card(identity.serial)
                self._aim_at_card(identity.serial)
        except (BodyRefused, CameraBusy) as refused:
            # With its shutter open, say. That it can be closed comes before everything about its card.
            raise NoCard(f"the body does not show that it stores on a card ({refused})", identity.serial) from refused
        return identity

    def _release_choices(self) -> list[str]:
        return _choices(self._shutter_widget) if self._family.holding is Holding.BUTTON else []

    def _found(self) -> tuple[str, str]:
        if self._address.way is Way.PTPIP:
            return _NETWORK_MODEL, f"ptpip:{self._host}:{self._address.port}:{self._address.event_port}"
        picked = pick_camera(list_cameras(), self._address.serial)
        detected = [(str(model), str(path)) for model, path in gphoto2.Camera.autodetect().items()]
        return pick_detected(detected, picked, self._address.serial)

    def _session(self) -> Any:
        if self._camera is None:
            raise LinkLost("there is no session with the camera")
        return self._camera

    def _link(self) -> LinkSockets:
        return LinkSockets(self._host, {self._address.port, self._address.event_port})

    def _identity(self) -> Identity:
        return Identity(
            model=self._text("cameramodel"),
            serial=self._text("serialnumber"),
            vendor_extension=self._family.vendor_extension,
            family=self._family.name,
            library=str(gphoto2.gp_library_version(gphoto2.GP_VERSION_VERBOSE)[0]),
            holds=not isinstance(self._driver, NoDriver),
            proven=self._family.proven,
            needs=self._family.needs,
            widgets=widgets_of(self._family.widget, self._names),
        )

    def _text(self, name: str) -> str:
        return str(self._camera.get_single_config(name).get_value()) if name in self._names else ""

    def _check_card(self, serial: str) -> None:
        if not self._has_card():
            raise NoCard("the body shows no card", serial)
        left = self._read(Setting.SHOTS_LEFT)
        if left is not None and meaning(Setting.SHOTS_LEFT, left) == "0":
            raise NoCard("the body says that no more pictures fit on the card", serial)

    def _has_card(self) -> bool:
        return bool(names_of(self._camera.folder_list_folders("/")))

    def _aim_at_card(self, serial: str) -> None:
        target = self._read(Setting.TARGET)
        if target is not None and not same_meaning(Setting.TARGET, target, "card"):
            with suppress(OSError):  # on a full disk it cannot be put back, but a shutter can be closed
                keep_found(self._library_folder, serial, target)
            self.change(Setting.TARGET, "card")

    # The shutter

    def _put(self, name: str, value: int | str) -> None:
        """Set a widget that acts. Raises `LibrarySaid`."""
        session, began_s = self._session(), time.monotonic()
        try:
            if self._shutter_widget is None or self._shutter_widget.get_name() != name:
                self._shutter_widget = session.get_single_config(name)
            self._shutter_widget.set_value(value)
            session.set_single_config(name, self._shutter_widget)
        except gphoto2.GPhoto2Error as error:
            raise LibrarySaid(int(error.code), time.monotonic() - began_s) from error

    def _let_in_telling(self) -> bool:
        with self._telling():
            return self._let_in()

    def _let_in(self) -> bool:
        """Take what is there already, for a moment; whether there was more. A card full of old pictures tells of each.

        Pictures and endings are kept for `wait`, and the driver hears of everything.
        """
        ends_s = time.monotonic() + _LET_IN_S
        while time.monotonic() < ends_s:
            kind, detail = self._session().wait_for_event(0)
            if kind == gphoto2.GP_EVENT_TIMEOUT:
                return False
            hint = _hint(kind, detail)
            if hint is None:
                continue
            self._driver.heard(hint)
            if hint is Hint.PICTURE:
                self._kept.append(
                    CameraEvent(EventKind.PICTURE_ADDED, Picture(str(detail.folder), str(detail.name), 0))
                )
            elif hint is Hint.COMPLETE:
                self._kept.append(CameraEvent(EventKind.CAPTURE_COMPLETE))
        return True

    # Settings

    def _widget(self, setting: Setting) -> Any:
        name = widget_for(setting, self._names)
        if name is None:
            return None
        with self._telling():
            return self._session().get_single_config(name)

    def _read(self, setting: Setting) -> str | None:
        try:
            widget = self._widget(setting)
        except BodyRefused:
            return None
        if widget is None:
            return None
        value = widget.get_value()
        if widget.get_type() == gphoto2.GP_WIDGET_DATE:
            return time.strftime("%Y-%m-%dT%H:%M:%S", time.localtime(value))
        return str(value)

    def _write(self, setting: Setting, widget: Any, value: str) -> None:
        if widget.get_type() == gphoto2.GP_WIDGET_DATE:
            widget.set_value(int(time.mktime(time.strptime(value, "%Y-%m-%dT%H:%M:%S"))))
        elif widget.get_type() == gphoto2.GP_WIDGET_TEXT:
            widget.set_value(spell_as(setting, value, str(widget.get_value())))
        else:
            choice = find_choice(setting, value, _choices(widget))
            if choice is None:
                raise BodyRefused(f"this body's {setting.value} does not take {value}")
            widget.set_value(choice)
        try:
            self._session().set_single_config(widget.get_name(), widget)
        except gphoto2.GPhoto2Error as error:
            # The library looks for another way to write it, finds none, and forgets why the first one failed.
            if error.code == Code.BAD_PARAMETERS and self._ask_whether_alive() is None:
                raise CameraBusy(f"{setting.value} did not take {value}: busy, or not in this mode") from error
            raise self._read_error(error, 0.0) from error

    # Errors

    @contextmanager
    def _telling(self) -> Iterator[None]:
        began_s = time.monotonic()
        try:
            yield
        except (gphoto2.GPhoto2Error, LibrarySaid) as error:
            raise self._read_error(error, time.monotonic() - began_s) from error

    def _read_error(self, error: gphoto2.GPhoto2Error | LibrarySaid, took_s: float) -> CameraError:
        known = read_error(error.code, took_s)
        if known is None:
            return self._ask_whether_alive() or BodyRefused(f"the body refused (library error {error.code})")
        return self._spent(known)

    def _ask_whether_alive(self) -> CameraError | None:
        """The general error is a refusal, unless the link that it came over has ended."""
        try:
            if self._family.holding is Holding.OPEN_CAPTURE:
                # Events of this family come unasked: asking for them says nothing of a link that is silent.
                self._put("opcode", _SIGN_OF_LIFE)
            else:
                self._session().wait_for_event(0)
        except (gphoto2.GPhoto2Error, LibrarySaid) as error:
            known = read_error(error.code, 0.0)
            return self._spent(known or LinkLost("the link to the body has ended"))
        return None

    def _spent(self, error: CameraError) -> CameraError:
        self._is_spent = isinstance(error, LinkHung | LinkLost)
        return error


def _hint(kind: int, detail: Any) -> Hint | None:
    if kind == gphoto2.GP_EVENT_FILE_ADDED:
        return Hint.PICTURE
    if kind == gphoto2.GP_EVENT_CAPTURE_COMPLETE:
        return Hint.COMPLETE
    told = detail if kind == gphoto2.GP_EVENT_UNKNOWN and isinstance(detail, str) else ""
    if told.startswith("BulbExposureTime"):
        return Hint.EXPOSING
    return Hint.BUSY if re.fullmatch(r"Camera Status [1-9]\d*", told) else None


def _begin(camera: Any) -> int:
    try:
        camera.init()
    except gphoto2.GPhoto2Error as error:
        return int(error.code)
    return int(gphoto2.GP_OK)


@cache
def _abilities() -> Any:
    """What the library knows of each model; loading it takes 70 ms."""
    known = gphoto2.CameraAbilitiesList()
    known.load()
    return known


def _choices(widget: Any) -> list[str]:
    if widget.get_type() not in (gphoto2.GP_WIDGET_RADIO, gphoto2.GP_WIDGET_MENU):
        return []
    return [str(widget.get_choice(index)) for index in range(widget.count_choices())]
