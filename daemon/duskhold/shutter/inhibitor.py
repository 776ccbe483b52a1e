"""Keeps the computer from sleeping while a shutter is open, through the login manager's own tool where it exists."""

from __future__ import annotations

import shutil
import subprocess
from contextlib import suppress

_TOOL = "systemd-inhibit"
ENDS_WITHIN_S = 2.0


class Inhibitor:
    """Held exactly while a shutter is open. The lock vanishes with this process, however it ends."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None

    def follow(self, shutter_open: bool) -> None:
        """Hold the lock while the shutter is open, and only then."""
        if shutter_open and self._process is None:
            self._hold()
        elif not shutter_open:
            self.release()

    def release(self) -> None:
        if self._process is None:
            return
        assert self._process.stdin is not None
        self._process.stdin.close()  # `cat` ends, and the lock with it
        try:
            self._process.wait(ENDS_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()  # a login manager that hangs must not keep the keeper from its watch
            self._process.wait()
        self._process = None

    def _hold(self) -> None:
        tool = shutil.which(_TOOL)
        if tool is None:
            return  # no login manager: nothing suspends this computer by itself
        command = [
            tool,
            "--what=sleep:shutdown:idle:handle-lid-switch",
            "--mode=block",
            "--who=duskhold",
            "--why=the shutter is open",
            "cat",
        ]
        with suppress(OSError):  # no room for a process: tried again at the next look, and the watch goes on meanwhile
            self._process = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
