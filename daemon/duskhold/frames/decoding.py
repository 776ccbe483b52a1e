"""Coded pictures decoded, and what the decoder complains of heard: it fills damage up with grey and goes on.

The decoder says so on the process's standard error and nowhere else. That is overheard while a picture is decoded, and
passed on afterwards.
"""

from __future__ import annotations

import os
import re
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

_STDERR = 2
# As the reference implementation of ITU-T T.81 words what it says of damaged data.
_DAMAGE = re.compile(r"^(Corrupt JPEG data|Premature end of JPEG|Inconsistent progression)[^\n]*", re.MULTILINE)
_LEFT_OVER = re.compile(r"(\d+) extraneous bytes before marker 0xd9")
_PADDING_VALUES = 2


class DecoderComplained(Exception):
    """The picture was decoded, and not all of it is what was taken; the message has the decoder's words."""


def decode(path: Path, how: int) -> NDArray[np.uint8] | None:
    """Blue, green, red, turned as its Exif asks; None where it cannot be decoded. `how` is a mode of the decoder.

    Raises `DecoderComplained`.
    """
    with _overheard() as said:
        numbers = cv2.imread(os.fspath(path), how)
    if numbers is not None and _damage(path, said):
        # Another thread may have been decoding as well: alone, the words can only be about this one.
        with _overheard_alone() as said:
            numbers = cv2.imread(os.fspath(path), how)
        told = _damage(path, said)
        if told is not None:
            raise DecoderComplained(told)
    return None if numbers is None else np.asarray(numbers, dtype=np.uint8)


def _damage(path: Path, said: list[str]) -> str | None:
    for found in _DAMAGE.finditer("".join(said)):
        left_over = _LEFT_OVER.search(found[0])
        if left_over is None or not _is_padding(path, int(left_over[1])):
            return found[0].lower()
    return None


def _is_padding(path: Path, count: int) -> bool:
    """Some bodies fill the data up to a full block with one value before the mark at its end: no damage."""
    content = path.read_bytes()
    end = content.find(b"\xff\xd9", content.rfind(b"\xff\xda"))
    return len(set(content[max(0, end - count) : end])) <= _PADDING_VALUES


class _Ear:
    """Standard error of the process, lent for as long as anybody decodes."""

    def __init__(self) -> None:
        self.turn = threading.Condition()
        self.listeners = 0
        self._own = -1
        self._heard = -1

    def open(self) -> int:
        """Returns from where to read. With `turn` held."""
        if self.listeners == 0:
            sys.stderr.flush()
            self._own = os.dup(_STDERR)
            self._heard = os.memfd_create("complaints", os.MFD_CLOEXEC)
            os.dup2(self._heard, _STDERR)
        self.listeners += 1
        return os.fstat(self._heard).st_size

    def close(self, start: int) -> str:
        """Returns what was said since. With `turn` held."""
        said = os.pread(self._heard, os.fstat(self._heard).st_size - start, start)
        self.listeners -= 1
        if self.listeners == 0:
            os.dup2(self._own, _STDERR)
            whole = os.pread(self._heard, os.fstat(self._heard).st_size, 0)
            if whole:
                os.write(_STDERR, whole)
            os.close(self._heard)
            os.close(self._own)
        self.turn.notify_all()
        return said.decode(errors="replace")


_EAR = _Ear()


@contextmanager
def _overheard() -> Iterator[list[str]]:
    """What is said on standard error meanwhile, in the list at its end."""
    said: list[str] = []
    with _EAR.turn:
        start = _EAR.open()
    try:
        yield said
    finally:
        with _EAR.turn:
            said.append(_EAR.close(start))


@contextmanager
def _overheard_alone() -> Iterator[list[str]]:
    """The same while nobody else decodes; others wait until it ends."""
    said: list[str] = []
    with _EAR.turn:
        _EAR.turn.wait_for(lambda: _EAR.listeners == 0)
        start = _EAR.open()
        try:
            yield said
        finally:
            said.append(_EAR.close(start))
