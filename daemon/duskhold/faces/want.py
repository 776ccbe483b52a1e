"""`solve --want`: a wanted time, look or streak, which apertures and ISO values may be set, and what to fit for it."""

import argparse
import math
from dataclasses import dataclass, replace
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
class Cloud:
    """How fast cloud goes over the picture, as `duskhold look` measures it."""

    px_per_s: float
    frame_px: int


@dataclass(frozen=True, slots=True)
class Wish:
    """What is wanted, with what, and by which table and cloud its look is foretold.

    `said` is what gives the time, such as a look; empty where the time itself is wanted.
    """

    wanted: "Wanted"
    said: str
    base: "Base"
    kit: "Kit"
    table: "tuple[Look, ...]"
    cloud: Cloud | None

    def looks_of(self, open_s: float) -> tuple[str, ...]:
        """The looks that a time falls into."""
        from duskhold.light.looks import looks_of

        return tuple(look.name for look in looks_of(open_s, self.table))

    def streak_share(self, open_s: float) -> float | None:
        """How long a streak the cloud draws, as a share of the width; None where its speed was not told."""
        from duskhold.light.motion import streak_share

        return None if self.cloud is None else streak_share(self.cloud.px_per_s, self.cloud.frame_px, open_s)


@dataclass(frozen=True, slots=True)
class Offers:
    """What to fit and set now, best first, and the best for the light ten and twenty minutes later.

    `are_all`: nothing is fitted, so that nobody asks how long to hold the bare lens.
    """

    wish: Wish
    now: "tuple[Proposal, ...]"
    later: "tuple[tuple[float, Proposal | None], ...]"
    are_all: bool


def add_want_options(parser: argparse.ArgumentParser) -> None:
    """The options of a wanted time."""
    wanted = parser.add_argument_group("wanted time: which filters from the bag")
    wanted.add_argument("--bag", action="store_const", const=True, help="offer other filters from the settings' bag")
    wanted.add_argument(
        "--want", metavar="TIME|look:NAME|streak:SHARE", help="120s, 2min, look:mist, or cloud that draws streak:0.15"
    )
    wanted.add_argument("--cloud", metavar="PX_PER_S/PX", help="its speed over the picture's width, as `look` tells")
    wanted.add_argument("--apertures", metavar="N:N", default=USUAL_APERTURES, help=f"range ({USUAL_APERTURES})")
    wanted.add_argument("--iso-limit", metavar="N", help="highest ISO (the metered one; 100 where --iso is not told)")


def wish_for(args: argparse.Namespace, question: "Question") -> Wish | None:
    """What `--want` asks for; None without it. Raises `Wrong`."""
    cloud = None if args.cloud is None else read("--cloud", args.cloud, _cloud_from)
    if args.want is None:
        if cloud is not None:
            raise Wrong(
                "usage", "A speed of cloud belongs to a wanted time.", field="--want", hint="--want streak:0.15"
            )
        return None
    if not question.bag:
        raise Wrong(
            "bad_input", "There is no filter in the bag.", field="--want",
            hint="`duskhold set-up --filters strong=x1000,light=3` puts them there.",
        )  # fmt: skip
    if question.apertures is None:
        raise Wrong("usage", "The aperture of the base exposure is needed.", field="--aperture", hint="--aperture f/11")
    table = question.settings.look_table()
    wanted, said = _wanted(args.want, table, cloud)
    return Wish(wanted, said, _base(question), _kit(args, question), table, cloud)


def proposals_for(question: "Question", wish: Wish) -> Offers:
    """What to fit for it."""
    from duskhold.plan.bag import plan_b, propose
    from duskhold.plan.outlook import outlook

    delay_s = (question.opens_utc - question.metered_utc).total_seconds()
    forecast = outlook(question.drift, question.metered_utc, question.opens_utc)
    leaning_stops = question.leaning_stops(forecast.rate_stops_per_min(delay_s))
    base = replace(wish.base, base_s=wish.base.base_s * 2.0**leaning_stops)
    now = propose(wish.wanted, base, wish.kit, forecast, delay_s)
    later = plan_b(wish.wanted, base, wish.kit, forecast, delay_s)
    return Offers(wish, now[:MOST_PROPOSALS], later, are_all=not question.filters)


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
    if not 1e-4 <= found <= 86_400.0:
        raise ValueError(f"{text!r} is no time such as 120s, 2min or look:cloud-streaks")
    return found


def _wanted(text: str, table: "tuple[Look, ...]", cloud: Cloud | None) -> "tuple[Wanted, str]":
    from duskhold.light.looks import find_look, looks_of
    from duskhold.plan.bag import Wanted

    kind, _, name = text.strip().lower().partition(":")
    if kind == "look":
        look = read("--want", name, lambda word: find_look(word, table))
        return Wanted(look.wanted_s, look.shortest_s, look.longest_s), look.name
    if kind == "streak":
        return _wanted_streak(name, table, cloud)
    wanted_s = read("--want", text, seconds_from)
    share = min((look.tolerance_share for look in looks_of(wanted_s, table)), default=_DEFAULT_TOLERANCE)
    return Wanted(wanted_s, wanted_s * (1.0 - share), wanted_s * (1.0 + share)), ""


def _wanted_streak(text: str, table: "tuple[Look, ...]", cloud: Cloud | None) -> "tuple[Wanted, str]":
    from duskhold.light.looks import CLOUD_STREAKS, find_look
    from duskhold.light.motion import time_for_streak_s
    from duskhold.plan.bag import Wanted

    share = read("--want", text, _share_from)
    if cloud is None:
        raise Wrong(
            "usage", "A streak needs the speed of the cloud.", field="--cloud",
            hint="`duskhold look --shift 96 --between 20 --frame-px 8256` tells it: --cloud 4.8/8256",
        )  # fmt: skip
    wanted_s = time_for_streak_s(cloud.px_per_s, cloud.frame_px, share)
    shortest_s, longest_s = find_look(CLOUD_STREAKS, table).bounds_s(wanted_s)
    return Wanted(wanted_s, shortest_s, longest_s), f"a streak of {100.0 * share:g} % of the width"


def _share_from(text: str) -> float:
    bare, per = (text.removesuffix("%"), 100.0) if text.endswith("%") else (text, 1.0)
    try:
        share = float(bare) / per
    except ValueError:
        share = math.nan
    if not 0.001 <= share <= 3.0:
        raise ValueError(f"{text!r} is no share of the width such as streak:0.15 or streak:15%")
    return share


def _cloud_from(text: str) -> Cloud:
    from duskhold.light.motion import SLOWEST_CLOUD_PX_PER_S

    speed, _, width = text.partition("/")
    try:
        found = Cloud(float(speed), int(width))
    except ValueError:
        found = Cloud(math.nan, 0)
    if not (SLOWEST_CLOUD_PX_PER_S <= found.px_per_s <= 1e5 and 16 <= found.frame_px <= 100_000):
        raise ValueError(f"{text!r} is no speed in pixels per second over a width in pixels, such as 4.8/8256")
    return found


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
