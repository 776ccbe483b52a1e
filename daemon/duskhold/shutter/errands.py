"""What may be asked of the camera between exposures: its settings, its pictures."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass

from duskhold.camera.port import Camera, Picture, Setting
from duskhold.shutter.desk import Errand
from duskhold.shutter.stock import Stock, StockUnknown
from duskhold.shutter.wire import Message, WireError

READ_BUDGET_S = 30.0
FETCH_BUDGET_S = 300.0  # the largest raw files over the slowest lead
WORDS = frozenset({"pictures", "fetch", "settings", "change"})


@dataclass(frozen=True, slots=True)
class Errands:
    """Makes errands out of requests. `run` is called by the camera thread only."""

    camera: Camera
    stock: Stock
    told: list[Picture]  # the pictures whose events came since the opening

    def make(self, word: str, body: Mapping[str, object], client: int, descriptors: list[int]) -> Errand:
        """The errand for a request. Raises `WireError` for a body that is not of its word."""
        if word == "pictures":
            return Errand(word, client, self._pictures, READ_BUDGET_S)
        if word == "settings":
            return Errand(word, client, self._settings, READ_BUDGET_S)
        if word == "change":
            return Errand(word, client, self._change(body), READ_BUDGET_S)
        if len(descriptors) != 1:
            raise WireError("`fetch` comes with one open file")
        return Errand(word, client, self._fetch(body, descriptors.pop()), FETCH_BUDGET_S)

    def take_stock(self) -> Errand:
        """Note what is on the card, for the next frame; nobody waits for the answer."""

        def run() -> Message:
            self.told.clear()
            self.stock.take(self.camera.pictures())
            return {}

        return Errand("list", None, run, READ_BUDGET_S)

    def count_new(self) -> int:
        """How many pictures the card has that it had not when nothing was outstanding."""
        return len(self._new_among(self.camera.pictures()))

    def _pictures(self) -> Message:
        everything = self.camera.pictures()
        mine = self._of_the_frame(self._new_among(everything))
        if not mine and not self.stock.is_known:
            raise StockUnknown
        return {"new": [asdict(picture) for picture in mine], "on_card": len(everything)}

    def _new_among(self, everything: Sequence[Picture]) -> list[Picture]:
        """Where nobody knows what was on the card before, only what the body told of is new for certain."""
        if self.stock.is_known:
            return self.stock.new(everything)
        names = {_stem(picture) for picture in self.told}
        return [picture for picture in everything if _stem(picture) in names]

    def _of_the_frame(self, fresh: list[Picture]) -> list[Picture]:
        """Those that belong to a picture the body told of (a raw has a JPEG of the same name), when it told of any."""
        names = {_stem(picture) for picture in self.told}
        return [picture for picture in fresh if not names or _stem(picture) in names]

    def _settings(self) -> Message:
        return {"settings": {setting.value: value for setting, value in self.camera.settings().items()}}

    def _change(self, body: Mapping[str, object]) -> Callable[[], Message]:
        try:
            setting = Setting(body.get("setting"))
        except ValueError as error:
            raise WireError(f"no setting is called {body.get('setting')!r}") from error
        value = body.get("value")
        if not isinstance(value, str):
            raise WireError("`value` must be a text")
        return lambda: {"value": self.camera.change(setting, value)}

    def _fetch(self, body: Mapping[str, object], descriptor: int) -> Callable[[], Message]:
        folder, name, size = body.get("folder"), body.get("name"), body.get("size_bytes")
        if not (isinstance(folder, str) and isinstance(name, str) and isinstance(size, int)):
            raise WireError("`fetch` names a picture by `folder`, `name` and `size_bytes`")

        def run() -> Message:
            with os.fdopen(descriptor, "wb") as file:
                count = self.camera.fetch(Picture(folder, name, size), lambda piece: _write(file.fileno(), piece))
            return {"bytes": count}

        return run


def _stem(picture: Picture) -> str:
    return picture.name.rpartition(".")[0]


def _write(descriptor: int, piece: bytes) -> None:
    view = memoryview(piece)
    while view:
        view = view[os.write(descriptor, view) :]
