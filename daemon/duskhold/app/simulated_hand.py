"""The person's hand at the simulated camera during an evening: fits what was asked once `done` is said."""

from __future__ import annotations

from pathlib import Path

from duskhold.app.station import Station
from duskhold.camera.hand import write_fitted
from duskhold.light.filters import Filter
from duskhold.plan.evening_words import Tell, Word
from duskhold.plan.outing import Outing

_CAP = Filter("cap", 30.0)


class SimulatedHand:
    """Hears what the evening tells; `fitted` is what it holds to be fitted at first."""

    def __init__(self, station: Station, outing: Outing, fitted: tuple[str, ...]) -> None:
        self._file, self._outing = Path(str(station.simulation["fitted_file"])), outing
        self._fitted = fitted
        self._asked: tuple[str, ...] | None = None
        self._fit()

    @staticmethod
    def at(station: Station, outing: Outing, fitted: tuple[str, ...]) -> SimulatedHand | None:
        """A hand where the camera is simulated; at a real one there is a person."""
        return SimulatedHand(station, outing, fitted) if "fitted_file" in station.simulation else None

    def hear(self, tell: Tell) -> None:
        detail = tell.detail
        if tell.word == "prompt" and "darks" in detail:
            self._asked = (_CAP.label,)
        elif tell.word == "prompt":
            removed, added = _names(detail.get("remove")), _names(detail.get("fit"))
            self._asked = (*(name for name in self._fitted if name not in removed), *added)
        elif tell.word == "person" and tell.line == Word.DONE.value and self._asked is not None:
            self._fitted, self._asked = self._asked, None
            self._fit()

    def leave(self) -> None:
        """As it was before the evening."""
        write_fitted(self._file, None)

    def _fit(self) -> None:
        glass = _CAP if self._fitted == (_CAP.label,) else self._outing.kit.glass(self._fitted)
        write_fitted(self._file, glass)


def _names(given: object) -> tuple[str, ...]:
    return tuple(str(each) for each in given) if isinstance(given, list) else ()
