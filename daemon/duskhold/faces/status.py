"""`duskhold status`: what every shutter is doing now, and what the journals say was left unfinished."""

import argparse
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING, Any

from duskhold.faces import wording
from duskhold.faces.answer import Answer
from duskhold.faces.frames import Record, show_records
from duskhold.faces.inputs import folders_of, saying_journal_errors, settings_of, zone_of

if TYPE_CHECKING:
    from datetime import tzinfo

LATEST = 5


def add_parser(subparsers: Any) -> None:
    """Declare the command."""
    subparsers.add_parser(
        "status",
        help="what the shutter is doing, and what the journal knows",
        description="What every camera's shutter process says now, frames without a settled outcome, and the "
        "latest frames. Nothing is started or changed by asking.",
    )


def run(args: argparse.Namespace) -> Answer:
    """Cameras, journals, unfinished and latest frames."""
    from duskhold.app.overview import camera_states, journal_states, latest_frames
    from duskhold.app.record import frame_record
    from duskhold.journal.entry import Frame

    settings = settings_of(args)
    folders = folders_of(args, settings)
    with saying_journal_errors():
        journals = journal_states(folders, LATEST)
        latest = [frame_record(frame) for frame in latest_frames(folders, LATEST)]
    left = [one for journal in journals for one in journal.unfinished]
    addresses = {settings.camera, "simulated", "usb", *(one.intent.camera for one in left)}
    addresses |= {str(record["camera"]) for record in latest}
    body: Record = {
        "cameras": [asdict(camera) for camera in camera_states(folders, addresses)],
        "data": str(folders.data),
        "journals": [{"path": str(journal.path), "frames": journal.frames} for journal in journals],
        "unfinished": [frame_record(Frame(one.intent, one.written, one.known)) for one in left],
        "latest": latest,
    }
    return Answer(body, 0, partial(_show, body, zone_of(settings)))


def _show(body: Record, zone: "tzinfo | None") -> None:
    for camera in body["cameras"]:
        wording.say(_camera_line(camera))
    if not body["cameras"]:
        wording.say("No camera is held by a shutter process now.")
    for journal in body["journals"]:
        wording.say(f"Journal {journal['path']}: {journal['frames']} frames.")
    if not body["journals"]:
        wording.say(f"No journal yet in {body['data']}; `duskhold rehearse` shows the whole job without a camera.")
    if body["unfinished"]:
        show_records("Without a settled outcome", body["unfinished"], zone)
    if body["latest"]:
        show_records("Latest frames", body["latest"], zone)


def _camera_line(camera: Record) -> str:
    parts = [f"Camera {camera['camera']}: shutter {camera['shutter']}"]
    if camera["frame_id"]:
        parts.append(f"frame {camera['frame_id']}")
    if camera["open_for_s"] is not None:
        parts.append(f"open for {wording.duration(camera['open_for_s'])}")
    if camera["closes_in_s"] is not None:
        parts.append(f"closes in {wording.duration(max(0.0, camera['closes_in_s']))}")
    if camera["latched"]:
        parts.append("stopped until a person clears it")
    if camera["trouble"]:
        parts.append(camera["trouble"])
    return ", ".join(parts) + "."
