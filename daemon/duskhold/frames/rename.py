"""A rename that never replaces what is there."""

import ctypes
import errno
import os
from pathlib import Path

_CURRENT_FOLDER = -100  # AT_FDCWD, linux/fcntl.h
_NO_REPLACE = 1  # RENAME_NOREPLACE, linux/fs.h
_NOT_OFFERED = (errno.EINVAL, errno.ENOSYS, errno.ENOTSUP)


def rename_to_free_name(old: Path, new: Path) -> None:
    """Rename within one folder. Raises `FileExistsError`, and then nothing has changed."""
    error = _rename_at_once(old, new)
    if error in _NOT_OFFERED:
        _rename_over_our_own(old, new)
    elif error:
        raise OSError(error, os.strerror(error), str(new))


def _rename_at_once(old: Path, new: Path) -> int:
    try:
        renameat2 = ctypes.CDLL(None, use_errno=True).renameat2
    except AttributeError:
        return errno.ENOSYS
    names = (os.fsencode(old), os.fsencode(new))
    failed = renameat2(_CURRENT_FOLDER, names[0], _CURRENT_FOLDER, names[1], ctypes.c_uint(_NO_REPLACE))
    return ctypes.get_errno() if failed else 0


def _rename_over_our_own(old: Path, new: Path) -> None:
    # Some card file systems have neither this rename nor hard links. The empty file that is replaced here was
    # made one line earlier, by us and nobody else.
    os.close(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o666))
    try:
        old.rename(new)
    except OSError:
        new.unlink()
        raise
