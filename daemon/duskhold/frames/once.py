"""Small files written whole, once, and never over another."""

import os
import secrets
from pathlib import Path

from duskhold.frames.rename import rename_to_free_name

_SAME_NAME_MAX = 1000


def write_once(place: Path, content: bytes) -> Path:
    """Write the file, durably; where another of that name stands, under the next free one, `name-2`.

    The same content again adds nothing. Raises `OSError`.
    """
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        with hidden.open("xb") as out:
            out.write(content)
            out.flush()
            os.fsync(out.fileno())
        for number in range(1, _SAME_NAME_MAX):
            name = place if number == 1 else place.with_name(f"{place.stem}-{number}{place.suffix}")
            try:
                rename_to_free_name(hidden, name)
            except FileExistsError:
                if name.read_bytes() == content:
                    return name
            else:
                return name
    finally:
        hidden.unlink(missing_ok=True)
    raise FileExistsError(f"{place} and {_SAME_NAME_MAX} names after it are taken")
