"""Picture files opened, checked and read into linear light; every way in which that can fail has a name."""

from __future__ import annotations

import hashlib
import warnings
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from duskhold.frames.decoding import DecoderComplained, decode
from duskhold.frames.picture import Mosaic, Picture, picture_from_coded, picture_from_mosaic

LARGEST_PIXELS = 400_000_000
REDUCED_FROM_PIXELS = 20_000_000
"""A JPEG of that many is decoded at half size where time presses: as fine as a raw file is measured."""
SMALLEST_SIDE_PX = 64
NARROWEST = 24
"""Times as long as wide: a longer strip has no row of pieces to be measured."""
_JPEG, _PNG, _TIFF = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", (b"II*\0", b"MM\0*")
_HOLE = 64  # zeros; a block of the least coefficients takes fewer
_PIECE = 1 << 20
_NO_MARKS = np.empty(0, np.int64)
_TURNED_DEG = {1: 0, 3: 180, 6: 90, 8: 270}  # Exif tag 0x0112 (CIPA DC-008), clockwise
_RAW_TURNED_DEG = {0: 0, 3: 180, 5: 270, 6: 90}  # as the raw library numbers them


class PictureUnread(Exception):
    """A file that cannot be measured; it stays as it is. `code` is for programs."""

    code = "picture_unread"


class PictureEmpty(PictureUnread):
    code = "picture_empty"


class PictureTruncated(PictureUnread):
    code = "picture_truncated"


class PictureCorrupt(PictureUnread):
    code = "picture_corrupt"


class PictureChanged(PictureUnread):
    """Not the bytes that the camera made."""

    code = "picture_changed"


class PictureForeign(PictureUnread):
    code = "picture_foreign"


class PictureUnsuited(PictureUnread):
    """Readable, and yet nothing to measure: monochrome, 16 bits without a stated curve, too small, too large."""

    code = "picture_unsuited"


def read_picture(path: Path) -> Picture:
    """Read a JPEG, PNG, 8-bit TIFF or raw file. Raises `PictureUnread` and `OSError`."""
    return _read(path, None)


def read_picture_soon(path: Path) -> Picture:
    """The same for a picture that somebody waits for: a large JPEG at half size, at half the cost."""
    return _read(path, REDUCED_FROM_PIXELS)


def _read(path: Path, reduced_from_pixels: int | None) -> Picture:
    with path.open("rb") as file:
        head = file.read(16)
    if not head:
        raise PictureEmpty(f"{path.name} is empty (0 bytes).")
    if head.startswith(_JPEG):
        _check_jpeg(path)
        return _read_coded(path, reduced_from_pixels)
    if head.startswith(_PNG) or (head.startswith(_TIFF) and path.suffix.lower() in (".tif", ".tiff")):
        return _read_coded(path, None)
    return picture_from_mosaic(read_mosaic(path))


def ensure_unchanged(path: Path, sha256: str) -> None:
    """Raises `PictureChanged` for a file that is not what it was, and `OSError`.

    Damage that a decoder does not notice, such as one bit, changes the checksum.
    """
    with path.open("rb") as file:
        found = hashlib.file_digest(file, "sha256").hexdigest()
    if found != sha256:
        raise PictureChanged(f"{path.name} is not what it was when it came home: its SHA-256 is another.")


def read_mosaic(path: Path) -> Mosaic:
    """A raw file's numbers. Raises `PictureUnread` and `OSError`."""
    import rawpy

    with path.open("rb") as file:
        if not file.read(1):
            raise PictureEmpty(f"{path.name} is empty (0 bytes).")
    try:
        with rawpy.imread(str(path)) as raw:
            return _mosaic(path, raw)
    except (rawpy.LibRawFileUnsupportedError, rawpy.LibRawNoThumbnailError) as error:
        raise PictureForeign(f"{path.name} is no picture that this program can read.") from error
    except (rawpy.LibRawIOError, rawpy.LibRawDataError) as error:
        raise PictureTruncated(f"{path.name} ends too early or is damaged ({_said(error)}).") from error
    except rawpy.LibRawError as error:
        raise PictureCorrupt(f"{path.name} cannot be unpacked ({_said(error)}).") from error


def _mosaic(path: Path, raw: Any) -> Mosaic:
    pattern = raw.raw_pattern
    if pattern is None or raw.num_colors != 3:
        raise PictureUnsuited(
            f"{path.name} is a raw file without a pattern of three colours (monochrome or developed)."
        )
    if pattern.shape != (2, 2):
        raise PictureUnsuited(
            f"{path.name} has a colour pattern of {pattern.shape[0]} by {pattern.shape[1]}; "
            "only two by two is measured. Compare its JPEG instead."
        )
    numbers = raw.raw_image_visible.copy()
    _ensure_size(path, numbers.shape[1], numbers.shape[0])
    channels = [min(int(each), 3) for each in pattern.ravel()]
    colours = [{"R": 0, "G": 1, "B": 2}[chr(raw.color_desc[each])] for each in channels]
    black = [float(raw.black_level_per_channel[each]) for each in channels]
    return Mosaic(
        numbers=numbers,
        pattern=((colours[0], colours[1]), (colours[2], colours[3])),
        black=(black[0], black[1], black[2], black[3]),
        white=float(raw.white_level),
        turned_deg=_RAW_TURNED_DEG.get(raw.sizes.flip, 0),
        neutral=_neutral(raw),
    )


def _neutral(raw: Any) -> tuple[float, float, float]:
    red, green, blue = (float(each) for each in raw.camera_whitebalance[:3])
    return (red / green, 1.0, blue / green) if min(red, green, blue) > 0 else (1.0, 1.0, 1.0)


def _read_coded(path: Path, reduced_from_pixels: int | None) -> Picture:
    turned_deg, pixels = _checked_header(path)
    step = 2 if reduced_from_pixels is not None and pixels >= reduced_from_pixels else 1
    try:
        numbers = decode(path, cv2.IMREAD_COLOR if step == 1 else cv2.IMREAD_REDUCED_COLOR_2)
    except DecoderComplained as error:
        raise PictureCorrupt(f"{path.name} is damaged inside: the decoder says {error}.") from error
    if numbers is None:
        raise PictureCorrupt(f"{path.name} cannot be decoded: it is damaged or ends too early.")
    return picture_from_coded(numbers, turned_deg, step)


def _checked_header(path: Path) -> tuple[int, int]:
    """How far the picture is turned to be shown, in degrees clockwise; and how many pixels it has."""
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about size and odd Exif, which are judged here
            with Image.open(path) as opened:
                mode, size, bits = opened.mode, opened.size, _bits(path, opened)
                orientation = opened.getexif().get(0x0112, 1)
    except (UnidentifiedImageError, SyntaxError, ValueError, EOFError) as error:
        raise PictureCorrupt(f"{path.name} begins like a picture and cannot be read as one.") from error
    except Image.DecompressionBombError as error:
        raise PictureUnsuited(f"{path.name} is larger than {LARGEST_PIXELS // 1_000_000} million pixels.") from error
    except OSError as error:
        if error.errno is not None:
            raise
        raise PictureTruncated(f"{path.name} ends too early or is damaged ({error}).") from error
    _ensure_size(path, *size)
    if bits > 8 or mode.startswith(("I", "F")):
        raise PictureUnsuited(
            f"{path.name} has more than 8 bits a channel and does not say what curve they follow; "
            "compare the raw file or the camera's JPEG."
        )
    if mode in ("1", "L", "LA"):
        raise PictureUnsuited(f"{path.name} is monochrome; red, green and blue are needed.")
    if mode not in ("RGB", "RGBA", "P"):
        raise PictureUnsuited(f"{path.name} is not in red, green and blue ({mode}).")
    return _TURNED_DEG.get(orientation, 0), size[0] * size[1]


def _bits(path: Path, opened: Any) -> int:
    """Bits a channel; the library that opened it may say 8 and mean what it makes of 16."""
    if opened.format == "PNG":
        with path.open("rb") as file:
            return file.read(25)[24]  # the first chunk's fifth field (ISO/IEC 15948, 11.2.2)
    bits = opened.tag_v2.get(258, (8,)) if opened.format == "TIFF" else (8,)
    return int(max(bits))


def _ensure_size(path: Path, width: int, height: int) -> None:
    if min(width, height) < SMALLEST_SIDE_PX:
        raise PictureUnsuited(f"{path.name} is only {width} by {height} pixels.")
    if max(width, height) > NARROWEST * min(width, height):
        raise PictureUnsuited(f"{path.name} has {width} by {height} pixels: too narrow a strip to be measured.")
    if width * height > LARGEST_PIXELS:
        raise PictureUnsuited(f"{path.name} has {width} by {height} pixels, more than can be measured.")


def _check_jpeg(path: Path) -> None:
    """The file's end is there and no marker stands where none may (ITU-T T.81, annex B).

    The decoder fills up what is missing with grey and says nothing.
    """
    content = np.fromfile(path, np.uint8)
    scan = _scan_start(path, content)
    last = content.size - 1
    pieces = [(start, content[start : min(start + _PIECE, last)]) for start in range(scan, last, _PIECE)]
    marked = np.concatenate([np.flatnonzero(piece == 0xFF) + start for start, piece in pieces] or [_NO_MARKS])
    after = content[marked + 1]
    ends = marked[after == 0xD9]
    if not ends.size:
        raise PictureTruncated(f"{path.name} ends too early: the mark at a JPEG's end is missing.")
    # Stuffed zeros, restarts and fill bytes; between the scans of a progressive picture also tables and scans.
    inside = after[marked < ends[0]]
    allowed = (inside == 0) | ((inside >= 0xD0) & (inside <= 0xD7)) | np.isin(inside, (0xFF, 0xC4, 0xDA, 0xDB, 0xDD))
    if not allowed.all():
        raise PictureCorrupt(f"{path.name} is damaged: marks stand where none may be in a JPEG.")
    if not np.isin(inside, 0xDA).any() and _has_hole(content[:scan], content[scan : ends[0]]):
        raise PictureCorrupt(f"{path.name} is damaged: a piece of it is nothing but zeros, as a lost block leaves it.")


def _has_hole(head: NDArray[np.uint8], scan: NDArray[np.uint8]) -> bool:
    """Zeros that every decoder takes for a picture: 63 times the least coefficient, block after block.

    Not where zeros alone end a block, as they may in an even picture: the first code of a table is all zeros, and the
    first symbol what it says (ITU-T T.81, annex C; 0 in a table of AC coefficients is the end of a block).
    """
    thin = scan[::_HOLE] == 0
    begins = np.flatnonzero(thin[:-1] & thin[1:]) * _HOLE
    holes = [place for place in begins.tolist() if not scan[place : place + _HOLE].any()]
    if not holes or not scan[holes[0] :].any():  # some bodies fill up with zeros before the end
        return False
    place, first_symbols = 2, []
    while head[place + 1] != 0xDA:
        if head[place + 1] == 0xFF:  # a fill byte (annex B.1.1.2)
            place += 1
            continue
        end = place + 2 + (int(head[place + 2]) << 8 | int(head[place + 3]))
        if head[place + 1] == 0xC2:  # progressive: what zeros mean changes from scan to scan
            return False
        table = place + 4
        while head[place + 1] == 0xC4 and table + 17 < end:
            if head[table] >= 0x10:
                first_symbols.append(int(head[table + 17]))
            table += 17 + int(head[table + 1 : table + 17].sum())
        place = end
    return any(symbol != 0 for symbol in first_symbols)


def _scan_start(path: Path, content: NDArray[np.uint8]) -> int:
    place = 2
    while place + 4 <= content.size:
        if content[place] != 0xFF:
            raise PictureCorrupt(f"{path.name} is damaged: its JPEG header makes no sense at byte {place}.")
        marker = int(content[place + 1])
        if marker == 0xFF:
            place += 1
            continue
        length = int(content[place + 2]) << 8 | int(content[place + 3])
        place += 2 + length
        if marker == 0xDA:
            return place
    raise PictureTruncated(f"{path.name} ends within its JPEG header.")


def _said(error: Exception) -> str:
    said = error.args[0] if error.args else error
    return said.decode(errors="replace") if isinstance(said, bytes) else str(said)
