"""What the library's error numbers mean, which depends on what was being done.

Numbers of libgphoto2 (gphoto2-result.h, gphoto2-port-result.h). Written down here so that they can be read and
tested without the library.
"""

from __future__ import annotations

from enum import IntEnum

from duskhold.camera.address import Way
from duskhold.camera.port import (
    CameraBusy,
    CameraClaimed,
    CameraError,
    CameraMissing,
    Closing,
    LinkHung,
    LinkLost,
    PermissionMissing,
)

ANSWER_LIMIT_S = 2.4
"""A little less than the library's own limit for one answer over PTP/IP."""
_AT_ONCE_S = 1.0


class Code(IntEnum):
    OK = 0
    GENERAL = -1
    BAD_PARAMETERS = -2
    NOT_SUPPORTED = -6
    IO = -7
    TIMEOUT = -10
    IO_READ = -34
    NO_SUCH_DEVICE = -52
    CLAIMED = -53
    BUSY = -110


def read_beginning(code: int, way: Way, place: str) -> CameraError:
    """Why a session did not begin."""
    if code == Code.CLAIMED:
        return CameraClaimed("another program holds the camera; end it, or free it with `gio mount -s gphoto2`")
    if code == Code.TIMEOUT:
        return LinkHung("the body does not answer")
    if code == Code.IO and way is Way.USB:
        return PermissionMissing(
            "the camera is there, but this user may not open it; `duskhold set-up` prints the udev rule"
        )
    return CameraMissing(f"no camera answers at {place}")


def read_error(code: int, took_s: float) -> CameraError | None:
    """What went wrong in a session; None for a number that says nothing by itself.

    A call that took as long as an answer may take has met a hung link, whatever its number: a setting that could
    not be read in time has the number of one that does not exist.
    """
    if code == Code.BUSY:
        return CameraBusy("the body is busy")
    if code == Code.TIMEOUT or took_s > ANSWER_LIMIT_S:
        return LinkHung("the body does not answer")
    if code in (Code.IO, Code.IO_READ, Code.NO_SUCH_DEVICE):
        return LinkLost("the link to the body is gone")
    return None


def read_closing(code: int, took_s: float) -> Closing | CameraError:
    """What a failed closing call says of the shutter.

    The library sends the stop and then asks every 0.1 s, for 5 s, whether the body has done it. Its last answer
    counts: busy means closed, the general error after all that asking means that it is still exposing, and the
    general error at once that the stop itself was refused, as it is when nothing is open.
    """
    if code == Code.BUSY:
        return Closing.CLOSED_BUSY
    if code == Code.GENERAL:
        return Closing.NOTHING_OPEN if took_s < _AT_ONCE_S else Closing.STILL_OPEN
    return read_error(code, took_s) or Closing.STILL_OPEN
