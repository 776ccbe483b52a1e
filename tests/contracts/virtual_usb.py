"""Run by itself: what the library's own virtual USB camera does through our adapter, as one line of JSON.

A process of its own, because the library has to be pointed to its virtual port before it is imported.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from duskhold.camera.address import Address, Way
from duskhold.camera.port import BodyRefused, CameraEvent, Setting


def look(folder: Path) -> dict[str, Any]:
    os.environ["VCAMERADIR"] = str(folder / "pictures")
    from duskhold.camera.gphoto import GphotoCamera  # only now: the library reads the folder when it is imported

    camera = GphotoCamera(Address(Way.USB), folder / "library")
    identity = camera.connect()
    seen: dict[str, Any] = {"holds": identity.holds, "model": identity.model}
    seen["settings"] = {setting.value: word for setting, word in camera.settings().items()}
    aperture = camera.choices(Setting.APERTURE)[1]
    seen["changed"] = [aperture, camera.change(Setting.APERTURE, aperture)]
    try:
        camera.open_shutter()
    except BodyRefused as refused:
        seen["open"] = str(refused)
    seen["close"] = camera.close_shutter().value
    camera.expose_dial()
    events: list[CameraEvent] = []
    for _ in range(12):
        events += camera.wait(0.1)
    seen["events"] = [each.kind.value for each in events]
    picture = next(each.picture for each in events if each.picture is not None)
    pieces: list[bytes] = []
    seen["fetched"] = camera.fetch(picture, pieces.append)
    seen["begins"] = b"".join(pieces)[:2].hex()
    camera.disconnect()
    return seen


if __name__ == "__main__":
    print(json.dumps(look(Path(sys.argv[1]))))
