"""Outing files as commands take them."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.inputs import folders_of

if TYPE_CHECKING:
    from duskhold.app.settings import Settings
    from duskhold.plan.bag import BagFilter
    from duskhold.plan.outing import Outing

_HINT = "config/outings/ has commented examples."


def outing_of(args: argparse.Namespace, settings: "Settings", now_utc: datetime) -> "Outing":
    """The outing that `args.outing` names, with the bag as it was measured last. Raises `Wrong`."""
    from duskhold.app.outing_file import load_outing

    path = Path(args.outing).expanduser()
    with saying_outing_errors(path):
        return load_outing(path, settings, bag_for(args, settings), now_utc)


def bag_for(args: argparse.Namespace, settings: "Settings") -> "tuple[BagFilter, ...]":
    """The bag as it was measured last. Raises `Wrong`."""
    from duskhold.app.bag import MeasurementUnread, bag_of

    try:
        return bag_of(settings, folders_of(args, settings))
    except MeasurementUnread as error:
        raise Wrong("bad_measurement", f"{error}.", field="--data", exit_status=3) from error


@contextmanager
def saying_outing_errors(path: Path) -> Iterator[None]:
    """What is wrong with the outing in `path` becomes a `Wrong` that names file, line and field."""
    from duskhold.app.document import DocumentWrong
    from duskhold.plan.outing import BadOuting

    try:
        yield
    except DocumentWrong as wrong:
        field = wrong.problems[0].field or "OUTING"
        raise Wrong("bad_outing", f"{wrong}.", field=field, hint=_HINT) from wrong
    except BadOuting as wrong:
        raise Wrong("bad_outing", f"{path}: {wrong}.", field=wrong.field, hint=_HINT) from wrong
    except (FileNotFoundError, PermissionError, IsADirectoryError, UnicodeDecodeError) as error:
        said = getattr(error, "strerror", None) or "it is no text"
        raise Wrong("bad_outing", f"{path} cannot be read: {said}.", field="OUTING", hint=_HINT) from error
