"""`solve --want`: a wanted time or look, the apertures and ISO values that may be set, and what to fit for it."""

import argparse
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from duskhold.faces.answer import Wrong
from duskhold.faces.inputs import read

if TYPE_CHECKING:
    from duskhold.faces.solve import Question
    from duskhold.light.looks import Look
    from duskhold.plan.bag import Base, Kit, Proposal, Setting, Wanted

USUAL_APERTURES = "f/8:f/13"
"""Sharp range on a large sensor: common practice, no source."""
BASE_ISO = "100"
MOST_PROPOSALS = 5
_DEFAULT_TOLERANCE = 0.25
_HALF_CLICK = 2.0 ** (1.0 / 24.0)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted, with what, and the look it came from."""

    wanted: "Wanted"
    base: "Base"
    kit: "Kit"
    look: "Look | None"


@dataclass(frozen=True, slots=True)
class Offers:
    """What to fit and set now, best first, and the best for the light ten and twenty minutes later."""

    wish: Wish
    now: "tuple[Proposal, ...]"
    later: "tuple[tuple[float, Proposal | None], ...]"


def add_want_options(parser: argparse.ArgumentParser) -> None:
    """The options of a wanted time."""
    wanted = parser.add_argument_group("wanted time: which filters from the bag")
    wanted.add_argument("--bag", action="store_const", const=True, help="offer other filters from the settings' bag")
    wanted.add_argument("--want", metavar="TIME|look:NAME", help="120s, 2min, or a look such as look:cloud-streaks")
    wanted.add_argument("--apertures", metavar="N:N", default=USUAL_APERTURES, help=f"range ({USUAL_APERTURES})")
    wanted.add_argument("--iso-limit", metavar="N", help="highest ISO to consider; only the metered one without it")


def wish_for(args: argparse.Namespace, question: "Question") -> Wish | None:
    """What `--want` asks for; None without it. Raises `Wrong`."""
    if args.want is None:
        return None
    if not question.bag:
        raise Wrong(
            "bad_input", "There is no filter in the bag.", field="--want",
            hint="`duskhold set-up --filters strong=x1000,light=3` puts them there.",
        )  # fmt: skip
    if question.apertures is None:
        raise Wrong("usage", "The aperture of the base exposure is needed.", field="--aperture", hint="--aperture f/11")
    wanted, look = _wanted(args.want, question)
    return Wish(wanted, _base(question), _kit(args, question), look)


def proposals_for(question: "Question", wish: Wish) -> Offers:
    """What to fit for it."""
    from duskhold.plan.bag import plan_b, propose
    from duskhold.plan.outlook import outlook

    delay_s = (question.opens_utc - question.metered_utc).total_seconds()
    forecast = outlook(question.drift, question.metered_utc, question.opens_utc)
    now = propose(wish.wanted, wish.base, wish.kit, forecast, delay_s)
    return Offers(wish, now[:MOST_PROPOSALS], plan_b(wish.wanted, wish.base, wish.kit, forecast, delay_s))


def seconds_from(text: str) -> float:
    """`120`, `120s`, `2min` or `2:00` in seconds. Raises `ValueError`."""
    bare = text.strip().lower()
    try:
        if ":" in bare:
            minutes, seconds = bare.split(":")
            found = 60.0 * float(minutes) + float(seconds)
        elif bare.endswith("min"):
            found = 60.0 * float(bare.removesuffix("min"))
        else:
            found = float(bare.removesuffix("s"))
    except ValueError:
        found = math.nan
    if not (math.isfinite(found) and 0.0 < found <= 86_400.0):
        raise ValueError(f"{text!r} is no time such as 120s, 2min or look:cloud-streaks")
    return found


def _wanted(text: str, question: "Question") -> "tuple[Wanted, Look | None]":
    from duskhold.light.looks import find_look, looks_of
    from duskhold.plan.bag import Wanted

    table = question.settings.look_table()
    if text.lower().startswith("look:"):
        look = read("--want", text[5:], lambda name: find_look(name, table))
        return Wanted(look.wanted_s, look.shortest_s, look.longest_s), look
    wanted_s = read("--want", text, seconds_from)
    found = looks_of(wanted_s, table)
    share = min((look.tolerance_share for look in found), default=_DEFAULT_TOLERANCE)
    return Wanted(wanted_s, wanted_s * (1.0 - share), wanted_s * (1.0 + share)), found[0] if found else None


def _base(question: "Question") -> "Base":
    from duskhold.light.dials import ISO
    from duskhold.plan.bag import Base

    assert question.apertures is not None, "checked before"
    iso = question.isos[0] if question.isos else ISO.true_value(BASE_ISO)
    return Base(question.base_s, question.apertures[0], iso)


def _kit(args: argparse.Namespace, question: "Question") -> "Kit":
    from duskhold.light.dials import APERTURE, ISO
    from duskhold.plan.bag import Kit, Setting

    first, _, last = args.apertures.partition(":")
    widest = read("--apertures", first, APERTURE.true_value)
    narrowest = read("--apertures", last or first, APERTURE.true_value)
    if widest > narrowest:
        raise Wrong("bad_input", "The wider aperture comes first.", field="--apertures", hint="--apertures f/8:f/13")
    apertures = [Setting(mark.name, mark.true_value) for mark in APERTURE.thirds]
    inside = tuple(one for one in apertures if widest / _HALF_CLICK < one.true_value < narrowest * _HALF_CLICK)
    base_iso = _base(question).iso
    limit = base_iso if args.iso_limit is None else read("--iso-limit", args.iso_limit, ISO.true_value)
    return Kit(question.bag, inside, _isos(base_iso, limit))


def _isos(base_iso: float, limit: float) -> "tuple[Setting, ...]":
    from duskhold.light.dials import ISO
    from duskhold.plan.bag import Setting

    stops = range(max(0, math.floor(math.log2(limit / base_iso) + 0.01)) + 1)
    marks = [ISO.nearest(base_iso * 2.0**stop) for stop in stops]
    return tuple(Setting(mark.name, mark.true_value) for mark in marks)
