"""Pictures made from pictures: 16-bit TIFF copies that say what they are and what they were made from.

Nothing of what the camera made is ever touched; a copy is written beside it under a name of its own.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from duskhold.frames.picture_file import PictureCorrupt
from duskhold.frames.rename import rename_to_free_name

Deep = NDArray[np.uint16]


def develop(like: Path, numbers: NDArray[np.float32]) -> Deep:
    """Raw numbers with the black level in them, developed as the raw file `like` would be, as (height, width, 3).

    Its white balance and colours, the curve of sRGB, no brightening. Numbers are rounded to whole ones, which adds
    0.29 of one to the noise. Raises `PictureCorrupt` when they do not fit the file.
    """
    import rawpy

    with rawpy.imread(str(like)) as raw:
        place = raw.raw_image_visible
        if place.shape != numbers.shape:
            raise PictureCorrupt(f"{like.name} has other dimensions than the numbers to develop.")
        place[:] = np.clip(np.rint(numbers), 0, 65535).astype(np.uint16)
        developed = raw.postprocess(output_bps=16, use_camera_wb=True, no_auto_bright=True, gamma=(2.4, 12.92))
    return np.asarray(developed, dtype=np.uint16)


def write_derived(place: Path, numbers: Deep, story: Mapping[str, Any]) -> Path:
    """Write a 16-bit TIFF that tells `story` in its description. Raises `FileExistsError` where something stands."""
    import tifffile

    told = json.dumps({"derived": True, "curve": "sRGB", **story}, allow_nan=False)
    place.parent.mkdir(parents=True, exist_ok=True)
    hidden = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        with hidden.open("xb") as out:
            tifffile.imwrite(
                out, numbers, photometric="rgb", description=told, software="duskhold", metadata=None, byteorder="<"
            )
            out.flush()
            os.fsync(out.fileno())
        rename_to_free_name(hidden, place)
    finally:
        hidden.unlink(missing_ok=True)
    return place
