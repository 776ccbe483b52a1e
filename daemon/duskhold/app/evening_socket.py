"""Where the evening of this user listens for words."""

from pathlib import Path

from duskhold.app.folders import Folders

_NAME = "evening"


def evening_socket(folders: Folders) -> Path:
    """In the runtime folder, which is this user's alone."""
    return folders.runtime / _NAME
