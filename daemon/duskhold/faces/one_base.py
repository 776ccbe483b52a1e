"""The base frames of `duskhold one`: taken, looked at, and taken again where they are clipped."""

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.area import area_of
from duskhold.faces.inputs import now_utc, person_is_there

if TYPE_CHECKING:
    from duskhold.app.base_frames import Seen, Taken
    from duskhold.faces.one import Post, Wish
    from duskhold.frames.reading import Weights

_GO_ON = "g"


@dataclass(frozen=True, slots=True)
class Based:
    """What the long frame is compared with: the dial's word, the base frames with their levels, and their area."""

    dial: str
    seen: "tuple[Seen, ...]"
    weights: "Weights"


def base_frames(wish: "Wish", post: "Post") -> Based:
    """The base frames, not clipped unless a person or `--go-on` says that it does not matter.

    Raises `Wrong` when they are and nobody says so; `BaseFailed`, `MeasureError`.
    """
    from duskhold.app.base_frames import see

    dial = _dial(wish, post, wish.args.base or "")
    while True:
        based = Based(dial, *see(_take(wish, post), area_of(wish.args)))
        if not based.seen[-1].level.at_least or wish.args.go_on:
            return based
        answer = _asked(wish, post, based)
        if answer.lower() == _GO_ON:
            return based
        dial = _dial(wish, post, answer)


def _dial(wish: "Wish", post: "Post", typed: str) -> str:
    """The dial set to what was typed, or as it stands; a person is asked until that is a time for a base frame."""
    from duskhold.app.base_frames import BaseFailed, dial_of, set_dial

    while True:
        try:
            if typed:
                set_dial(post.station, typed)
            return dial_of(post.station)
        except BaseFailed as failed:
            if wish.args.json or not person_is_there():
                raise
            said = str(failed).rstrip(".")
        typed = post.vigil.enter(
            f"{said[:1].upper()}{said[1:]}.\nTurn the dial to the time that meters right and press Enter, or type it:"
        )


def _asked(wish: "Wish", post: "Post", based: Based) -> str:
    share = based.seen[-1].level.clipped_share
    told = f"The base frame is clipped on {100.0 * share:.1f} % of its area: nobody knows how bright the scene is"
    if wish.args.json or not person_is_there():
        raise Wrong(
            "base_clipped", f"{told}.", exit_status=3, field="--base",
            hint=f"A shorter time than {based.dial}; --go-on takes it all the same where only glitter is clipped.",
        )  # fmt: skip
    return post.vigil.enter(
        f"{told}.\nTurn the dial from {based.dial} to a shorter time and press Enter, or type that time; "
        f"{_GO_ON} takes it as it is:"
    )


def _take(wish: "Wish", post: "Post") -> "list[Taken]":
    """`--between` from one opening to the next."""
    from duskhold.app.base_frames import opened_utc_of, take_at_dial
    from duskhold.plan.role import Role

    post.vigil.countdown.say("base frame: nothing on the lens that comes off")
    bases = [take_at_dial(post.station, Role.BASE, post.watch)]
    while len(bases) < wish.args.bases:
        next_utc = opened_utc_of(bases[-1].outcome) + timedelta(seconds=wish.between_s)
        post.vigil.pause((next_utc - now_utc()).total_seconds(), "next base frame")
        bases.append(take_at_dial(post.station, Role.BASE, post.watch))
    return bases
