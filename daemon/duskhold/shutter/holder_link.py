"""The other side of the holder's socket: what a command says to the process that holds the camera."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Mapping
from pathlib import Path

from duskhold.camera.port import Picture, Setting
from duskhold.shutter.clock import mono_now_s
from duskhold.shutter.report import Exposure, Kind
from duskhold.shutter.wire import Inbox, Message, WireError, pack, receive, request

ANSWER_MAX_S = 3.0  # the control thread never calls the camera
ERRAND_MAX_S = 330.0
SUCCESSOR_MAX_S = 30.0  # it connects and closes before it listens
RETRY_EVERY_S = 0.1


class HolderSilent(Exception):
    """No holder answers: what its shutter does is unknown."""


class HolderRefused(Exception):
    """The holder said no. `code` is stable; `closes_in_s` is the rest of the frame that is in the way, if any."""

    def __init__(self, code: str, message: str, closes_in_s: float | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.closes_in_s = closes_in_s


class HolderLink:
    """A connection that is made again when the holder was replaced, for up to `patience_s` seconds.

    Only questions are repeated. An order to expose is sent once: whether it arrived is asked by `state`. While
    `is_kept` says that a keeper lives, its next holder is on its way, and every question but `state` waits for it.
    """

    def __init__(self, path: Path, patience_s: float, is_kept: Callable[[], bool] = lambda: False) -> None:
        self._path = path
        self._patience_s = patience_s
        self._is_kept = is_kept
        self._connection: socket.socket | None = None
        self._inbox = Inbox()

    def state(self) -> Message:
        """Phase, shutter, refusal, reports, identity. Raises `HolderSilent`."""
        return self._ask(request("state"))

    def awaited_state(self) -> Message:
        """The same of a holder that has not let go of the camera; one that follows is waited for."""
        return self._ask_patiently(request("state"))

    def expose(self, exposure: Exposure) -> None:
        """Order one exposure, once. Raises `HolderRefused`, or `HolderSilent` when the answer never came."""
        word = "expose" if exposure.kind is Kind.HELD else "expose_dial"
        self.awaited_state()  # makes the connection, so that only a fresh break leaves the order in doubt
        answer = self._once(request(word, **exposure.as_message()), ANSWER_MAX_S)
        if _was_released(answer):  # in between: it was refused, so it may be sent again
            self.awaited_state()
            answer = self._once(request(word, **exposure.as_message()), ANSWER_MAX_S)
        self._checked(answer)

    def close_shutter(self, frame_id: str) -> None:
        """Close now and keep. Harmless when it is closed."""
        self._checked(self._ask(request("close", frame_id=frame_id)))

    def new_pictures(self) -> list[Picture]:
        """What is on the card now and was not before the frame."""
        answer = self._checked(self._ask_patiently(request("pictures"), ERRAND_MAX_S))
        new = answer["new"]
        assert isinstance(new, list)
        return [Picture(**picture) for picture in new]

    def fetch(self, picture: Picture, descriptor: int) -> int:
        """Have the holder write the picture into an open file; returns the bytes written. Sent once."""
        order = request("fetch", folder=picture.folder, name=picture.name, size_bytes=picture.size_bytes)
        answer = self._checked(self._once(order, ERRAND_MAX_S, [descriptor]))
        count = answer["bytes"]
        assert isinstance(count, int)
        return count

    def settings(self) -> Mapping[Setting, str]:
        answer = self._checked(self._ask_patiently(request("settings"), ERRAND_MAX_S))
        said = answer["settings"]
        assert isinstance(said, dict)
        return {Setting(name): str(value) for name, value in said.items()}

    def change(self, setting: Setting, value: str) -> str:
        answer = self._checked(self._ask_patiently(request("change", setting=setting.value, value=value), ERRAND_MAX_S))
        return str(answer["value"])

    def collected(self, frame_id: str) -> None:
        """Its report is in the journal and its pictures are home. A holder that then ends is waited out."""
        answer = self._checked(self._ask_patiently(request("collected", frame_id=frame_id)))
        if answer.get("recycling") is True:
            self.close()
            self.awaited_state()

    def clear_latch(self) -> None:
        self._checked(self._ask_patiently(request("clear_latch")))

    def give_up_body(self) -> None:
        """A person says that another camera took the place of the one whose frames are outstanding."""
        self._checked(self._ask_patiently(request("give_up_body")))

    def release(self) -> None:
        self._checked(self._ask(request("release")))

    def close(self) -> None:
        """Hang up. The shutter goes on by itself."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None
            self._inbox = Inbox()

    def _ask(self, message: Message, answer_max_s: float = ANSWER_MAX_S) -> Message:
        give_up_s = mono_now_s() + self._patience_s
        while True:
            try:
                return self._once(message, answer_max_s)
            except HolderSilent:
                if mono_now_s() >= give_up_s:
                    raise
                time.sleep(RETRY_EVERY_S)

    def _ask_patiently(self, message: Message, answer_max_s: float = ANSWER_MAX_S) -> Message:
        """Ask, and wait for the next holder while there is somebody to start it."""
        give_up_s = mono_now_s() + SUCCESSOR_MAX_S
        while True:
            try:
                answer = self._ask(message, answer_max_s)
            except HolderSilent:
                if mono_now_s() >= give_up_s or not self._is_kept():
                    raise
            else:
                if not _was_released(answer) or mono_now_s() >= give_up_s or not self._is_kept():
                    return answer
                self.close()  # the last one answers to the very end
            time.sleep(RETRY_EVERY_S)

    def _once(self, message: Message, answer_max_s: float, descriptors: list[int] | None = None) -> Message:
        try:
            connection = self._connected()
            connection.settimeout(answer_max_s)
            if descriptors:
                socket.send_fds(connection, [pack(message)], descriptors)
            else:
                connection.sendall(pack(message))
            return receive(connection, self._inbox)
        except (OSError, WireError) as error:
            self.close()
            raise HolderSilent(f"the shutter process does not answer ({error})") from error

    def _connected(self) -> socket.socket:
        if self._connection is None:
            connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
            connection.settimeout(ANSWER_MAX_S)
            try:
                connection.connect(str(self._path))
            except OSError:
                connection.close()
                raise
            self._connection = connection
        return self._connection

    @staticmethod
    def _checked(answer: Message) -> Message:
        error = answer.get("error")
        if isinstance(error, dict):
            closes_in_s = answer.get("closes_in_s")
            raise HolderRefused(
                str(error["code"]),
                str(error["message"]),
                closes_in_s if isinstance(closes_in_s, float) else None,
            )
        return answer


def _was_released(answer: Message) -> bool:
    """Whether the holder has let go of the camera, and does nothing more."""
    error = answer.get("error")
    return answer.get("phase") == "released" or (isinstance(error, dict) and error.get("code") == "released")
