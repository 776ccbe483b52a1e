"""The login manager by D-Bus, with jeepney, which is plain Python and speaks the protocol itself."""

from __future__ import annotations

import os
from collections import deque

from jeepney import DBusAddress, DBusErrorResponse, MatchRule, Message, Properties, message_bus, new_method_call
from jeepney.io.blocking import DBusConnection, Proxy, open_dbus_connection

from duskhold.app.sleep_watch import NoLoginManager

_MANAGER = DBusAddress(
    "/org/freedesktop/login1", bus_name="org.freedesktop.login1", interface="org.freedesktop.login1.Manager"
)
_PATIENCE_S = 5.0
# Nobody there; no answer; an error for an answer; nobody let in, or an answer that is none; no way that jeepney knows.
_FAILURES = (OSError, EOFError, DBusErrorResponse, LookupError, ValueError, RuntimeError)


class BusLoginManager:
    """One connection, for one thread; every failure is `NoLoginManager`."""

    def __init__(self, connection: DBusConnection) -> None:
        self._connection = connection
        self._words: deque[Message] = deque(maxlen=8)
        rule = MatchRule(
            type="signal", interface=_MANAGER.interface, member="PrepareForSleep", path=_MANAGER.object_path
        )
        try:
            Proxy(message_bus, connection, timeout=_PATIENCE_S).AddMatch(rule)
            self._filter = connection.filter(rule, queue=self._words)
            # Only to see that it is there: a signal of nobody would be waited for in vain.
            self._ask(Properties(_MANAGER).get("PreparingForSleep"))
        except _FAILURES as error:
            raise NoLoginManager(_said(error)) from error

    @classmethod
    def connect(cls) -> BusLoginManager:
        """Raises `NoLoginManager` where there is no bus, or nobody on it."""
        try:
            return cls(open_dbus_connection("SYSTEM", enable_fds=True))
        except _FAILURES as error:
            raise NoLoginManager(_said(error)) from error

    def delay(self) -> int:
        what = ("sleep", "duskhold", "the shutter is closed first", "delay")
        try:
            answer = self._ask(new_method_call(_MANAGER, "Inhibit", "ssss", what))
            descriptor = answer.body[0].to_raw_fd()
        except _FAILURES as error:
            raise NoLoginManager(_said(error)) from error
        assert isinstance(descriptor, int)
        os.set_inheritable(descriptor, False)
        return descriptor

    def next_word(self, wait_s: float) -> bool | None:
        if not self._words:
            try:
                self._connection.recv_messages(timeout=wait_s)
            except TimeoutError:
                return None
            except _FAILURES as error:
                raise NoLoginManager(_said(error)) from error
        return bool(self._words.popleft().body[0]) if self._words else None

    def close(self) -> None:
        self._connection.close()

    def _ask(self, message: Message) -> Message:
        answer = self._connection.send_and_get_reply(message, timeout=_PATIENCE_S)
        if answer.header.message_type.name == "error":
            raise DBusErrorResponse(answer)
        return answer


def _said(error: BaseException) -> str:
    return str(error) or type(error).__name__
