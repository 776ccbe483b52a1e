"""What is on the card, through a session of the camera library: listed, and fetched in pieces or whole.

The session is the library's own object, and so are its errors; whoever calls turns them into ours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

from duskhold.camera.port import BodyRefused, Picture

_PIECE_BYTES = 1 << 20
_FOLDERS_DEEP_MAX = 6
_FILE_AS_IT_IS = 1  # GP_FILE_TYPE_NORMAL (libgphoto2, gphoto2-file.h): not its preview, nor its Exif alone


def list_pictures(session: Any, folder: str = "/", depth: int = 0) -> Iterator[Picture]:
    """Every file, folder by folder."""
    for name in sorted(names_of(session.folder_list_files(folder))):
        size = int(session.file_get_info(folder, name).file.size)
        yield Picture(folder, name, size)
    if depth < _FOLDERS_DEEP_MAX:
        for name in sorted(names_of(session.folder_list_folders(folder))):
            yield from list_pictures(session, f"{folder.rstrip('/')}/{name}", depth + 1)


def fetch_pieces(session: Any, picture: Picture, size: int, take: Callable[[bytes], None]) -> int:
    """Hand out a file in pieces; how many bytes. Raises `BodyRefused` for a file that ends before its `size`."""
    folder, name, done = picture.folder, picture.name, 0
    piece = bytearray(min(_PIECE_BYTES, max(1, size)))
    while done < size:
        count = int(session.file_read(folder, name, _FILE_AS_IT_IS, done, memoryview(piece)))
        if count <= 0:
            raise BodyRefused(f"{folder}/{name} ends after {done} of {size} bytes")
        take(bytes(piece[:count]))
        done += count
    return done


def fetch_whole(session: Any, picture: Picture, take: Callable[[bytes], None]) -> int:
    """For bodies that do not hand out pieces: said before the first one, so nothing is taken twice."""
    file = session.file_get(picture.folder, picture.name, _FILE_AS_IT_IS)
    content = bytes(memoryview(file.get_data_and_size()))  # the library's own memory, gone with its file
    for start in range(0, len(content), _PIECE_BYTES):
        take(content[start : start + _PIECE_BYTES])
    return len(content)


def names_of(listed: Any) -> list[str]:
    """The names in a list of the library's."""
    return [str(listed.get_name(index)) for index in range(listed.count())]
