"""How an evening stands, in a person's words: one line for its screen, a few for whoever asks from elsewhere."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from duskhold.faces import wording
from duskhold.faces.countdown import GAP, clock
from duskhold.plan.evening_view import Phase, View
from duskhold.plan.stamp import utc_from

NOTHING = "nothing"
_AWAITED = (Phase.OPEN, Phase.WAITING, Phase.WATCHING, Phase.BETWEEN)
_OVER = ("resting", "ended")
OPENED = ("open", "timed")
_SHUTTER = {
    "": "opening",
    "closing": "closing",
    "proving": "closing",
    "storing": "closed, storing",
    "silent": "shutter process silent",
    "lost": "LINK LOST",
}
ROLES = {"long": "long frame", "base": "base frame", "scout": "scout frame", "dark": "dark frame"}
_TIMES = ("until_utc", "ends_utc", "pack_utc", "light_ends_utc")


def awaited_utc(view: View) -> datetime | None:
    """What a person waits for: the end of an open frame, the next opening, the start. None for what only gives up
    then, and for the limits of the evening."""
    is_limit = view.until_utc in (view.pack_utc, view.light_ends_utc)
    return None if is_limit or view.phase not in _AWAITED else view.until_utc


def line_of(view: View, left_s: float | None, shutter: str) -> str:
    """The one line of the screen: what happens, how long still, what a person must do. `left_s` is until what is
    awaited; `shutter` is the phase of the shutter process in this frame, "" while it has none."""
    parts = [_now(view, left_s, shutter)]
    if view.line != NOTHING:
        parts.append(to_do(view))
    elif view.phase is Phase.BETWEEN and (next_s := _next_s(view)) is not None:
        parts.append(f"long frame {length(next_s)}")
    parts += [] if view.phase in _OVER else [count(view)]
    return GAP.join(parts)


def lines_of(view: View, now_utc: datetime) -> list[str]:
    """The same for whoever asks."""
    awaited = awaited_utc(view)
    left_s = None if awaited is None else (awaited - now_utc).total_seconds()
    said = [_sentence(view, left_s)]
    if view.stop is not None:
        said.append(f"The series is over: {view.stop}.")
    elif (next_s := _next_s(view)) is not None:
        said.append(f"The next long frame: {length(next_s)}.")
    return [*(line for line in said if line), f"Long frames: {count(view)}."]


def view_from(body: Mapping[str, Any]) -> View:
    """A view as the evening's socket tells it. Raises `ValueError` for another phase or what is no time."""
    given: dict[str, Any] = {name: body.get(name) for name in View.__dataclass_fields__}
    for name in _TIMES:
        given[name] = None if given[name] is None else utc_from(given[name])
    return View(**given | {"phase": Phase(body["phase"]), "filters": tuple(body["filters"])})


def to_do(view: View) -> str:
    """What a person must do, without the word that stands before it anyway."""
    return view.line.removeprefix("held: ")


def length(seconds: float) -> str:
    """`1:35`, `4 s`, `1/2 s` as `0.5 s`: a time that does not run."""
    if seconds < 10.0:
        return f"{seconds:.2g} s"
    return f"{seconds:.0f} s" if seconds < 59.5 else wording.duration(round(seconds)).removesuffix(".0")


def count(view: View) -> str:
    """`3 done, 22 left`; nothing is left once the series is over."""
    left = "" if view.frames_left is None or view.stop is not None else f", {view.frames_left} left"
    return f"{view.frames_done} done{left}"


def role_of(view: View) -> str:
    """`long frame`."""
    return "frame" if view.role is None else ROLES.get(view.role, view.role)


def _next_s(view: View) -> float | None:
    """How long the next long frame would be; None where none comes after the one that is open."""
    is_open = view.phase is Phase.OPEN and view.role == "long"
    is_last = view.frames_left is not None and view.frames_left <= is_open
    return None if is_last or view.stop is not None else view.next_open_s


def _now(view: View, left_s: float | None, shutter: str) -> str:
    if view.phase is Phase.OPEN:
        return _open(view, left_s, shutter)
    left = "" if left_s is None or left_s <= 0.0 else clock(left_s).strip()
    # While a person has something to do the light is no longer what is waited for.
    asks = view.line != NOTHING
    match view.phase:
        case Phase.WAITING:
            return f"starts in {left}" if left else "waits for you" if asks else "starts"
        case Phase.WATCHING:
            return f"watches the light, looks in {left}" if left else "watches the light"
        case Phase.BETWEEN:
            return f"next frame in {left}" if left else "between frames"
        case Phase.ASKING:
            return "WAITS FOR YOU" if asks else "looks whether it is done"
    return _STILL[view.phase]


_STILL: Mapping[str, str] = {
    "checking": "checks the camera",
    "measuring": "looks at the picture",
    "held": "HELD",
    "unsettled": "LOOK AT THE CAMERA",
    "resting": "over",
    "ended": "over",
}


def _open(view: View, left_s: float | None, shutter: str) -> str:
    """Whether it is open says the shutter process alone; past its planned end it is on its way to be closed."""
    if shutter in OPENED:
        word = "closing" if left_s is not None and left_s <= 0.0 else "OPEN"
    else:
        word = _SHUTTER.get(shutter, shutter)
    counts = word == "OPEN" and left_s is not None
    return f"{word}  {clock(left_s or 0.0)}   {role_of(view)}" if counts else f"{word}   {role_of(view)}"


def _sentence(view: View, left_s: float | None) -> str:
    left = "" if left_s is None or left_s <= 0.0 else clock(left_s).strip()
    asked = "" if view.line == NOTHING else to_do(view)
    match view.phase:
        case Phase.OPEN:
            how = f"open, {left} left" if left else "being closed, and stored"
            said = f"The {role_of(view)} is {how}."
        case Phase.WAITING:
            said = f"Waits for the start, in {left}." if left else "" if asked else "It starts."
        case Phase.WATCHING:
            said = f"Watches the light; looks again in {left}." if left else "Watches the light."
        case Phase.BETWEEN:
            said = f"Between frames; the next opens in {left}." if left else "Between frames."
        case Phase.ASKING:
            said = "" if asked else "Looks whether it is done."
        case Phase.HELD:
            return f"Held: {asked or 'say resume to go on'}."
        case Phase.CHECKING:
            said = "Checks the camera."
        case Phase.MEASURING:
            said = "Looks at the last picture."
        case _:
            return f"{asked[:1].upper()}{asked[1:]}." if asked else ""
    return " ".join(filter(None, [said, f"Waits for you: {asked}." * bool(asked)]))
