"""One whole random evening, run and then held against the rules from outside: by the body's own log and the journal."""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

from outings import Chance, chance_of

from duskhold.app.evening_looking import Log
from duskhold.app.evening_simulated import SimulatedEvening
from duskhold.app.folders import Folders
from duskhold.camera.body import LogLine
from duskhold.journal.entry import Frame
from duskhold.journal.journal import Journal
from duskhold.plan.evening_words import Act, Ended, Measured, NotMeasured, Said, Take, Tell, Word
from duskhold.plan.outing import Fallback, Kind
from duskhold.plan.role import Role

MEMORY = Path("/dev/shm")
POLL_LIMIT_S = 5.0  # how long a closing call asks a body that stays open
RETURN_S = 1.0  # a link that is back is looked for this often, and closed over
SLACK_S = 0.2
ANSWER_S = 2.5  # a hung link costs each call its time limit
FRAMES_KEPT = 4000
CLOSED_ITSELF = "did not confirm the closing"
FILTER_OFF_STOPS = 0.8  # more than any filter of these evenings is off its label
TRUE_S = 0.5  # as far as the simulated latency and a hung link's end leave it open


@dataclass(frozen=True, slots=True)
class Opening:
    opened_s: float
    closed_s: float


@dataclass(frozen=True, slots=True)
class Told:
    """What an evening left behind."""

    chance: Chance
    log: Log
    body: tuple[LogLine, ...]
    frames: tuple[Frame, ...]
    unfinished: int
    stop: str | None
    cards: frozenset[str]
    disk: frozenset[str]
    reported: frozenset[str]
    missing_files: tuple[str, ...]
    outages: tuple[tuple[float, float], ...]
    pack_utc: datetime | None
    digest: str


def tell(seed: int) -> Told:
    """Run the evening of this seed to its end."""
    chance = chance_of(seed)
    home = Path(tempfile.mkdtemp(dir=MEMORY if MEMORY.is_dir() else None, prefix="evening-"))
    try:
        folders = Folders(home, home / "state", home / "run")
        with Journal.open(folders.journal) as journal:
            return _run(chance, folders, journal)
    finally:
        shutil.rmtree(home)


def _run(chance: Chance, folders: Folders, journal: Journal) -> Told:
    evening = SimulatedEvening(
        chance.outing, chance.world, folders, journal, f"evening-{chance.world.seed}", "outing",
        lambda at_utc, word, line: None, crash_at_s=chance.crash_at_s,
    )  # fmt: skip
    try:
        evening.run()
        _until_home(evening)
    finally:
        evening.close()
    frames = tuple(journal.frames(FRAMES_KEPT))
    on_disk = {path.name: path for path in folders.data.rglob("*.DNG")} | {
        path.name: path for path in folders.data.rglob("*.dng")
    }
    recorded = [str(one["path"]) for frame in frames if frame.outcome for one in frame.outcome.files]
    ended = [effect for _, effect in evening.log.effects if isinstance(effect, Ended)]
    body = evening.body
    return Told(
        chance,
        evening.log,
        tuple(body.log),
        frames,
        len(journal.unfinished()),
        ended[-1].reason if ended else None,
        frozenset(file.name for file in body.card.files()),
        frozenset(name for name in on_disk),
        frozenset(Path(path).name for path in recorded),
        tuple(path for path in recorded if not Path(path).is_file()),
        _outages(evening),
        evening.evening.state.ends.pack_utc,
        hashlib.sha256(repr((body.log, evening.log.events, evening.log.effects)).encode()).hexdigest(),
    )


def _until_home(evening: SimulatedEvening) -> None:
    """After the end of the outing whatever is still on its way comes home, as the next start would have it."""
    evening.go_home()


def _outages(evening: SimulatedEvening) -> tuple[tuple[float, float], ...]:
    """Everything that the link suffered."""
    opened = [line for line in evening.body.log if line.word == "opened"]
    found = [out for number, line in enumerate(opened, 1) for out in evening.body.faults.outages(number, line.now_s)]
    return tuple((out.from_s, out.until_s) for out in found)


def openings(told: Told) -> list[Opening]:
    """When the shutter truly opened and closed; an opening that never closes is told as one without an end."""
    opened = [line for line in told.body if line.word == "opened"]
    closed = [line for line in told.body if line.word in ("closed", "lost")]
    found = []
    for index, line in enumerate(opened):
        until = opened[index + 1].now_s if index + 1 < len(opened) else float("inf")
        ends = [each.now_s for each in closed if line.now_s <= each.now_s <= until]
        found.append(Opening(line.now_s, ends[0] if ends else float("inf")))
    return found


def takes(told: Told) -> list[tuple[float, Take]]:
    """Every order to the camera, in seconds of the body."""
    begins = told.chance.world.begins_utc
    return [((at - begins).total_seconds(), one) for at, one in told.log.effects if isinstance(one, Take)]


def broken_rules(told: Told) -> list[str]:
    """Every rule that this evening broke, in words; none is as it should be."""
    return [
        *_one_at_a_time(told), *_never_past_cap(told), *_nothing_after_packing(told), *_no_assumed_change(told),
        *_filters_are_on(told), *_everything_told(told), *_nothing_fires_after_restart(told), *_no_frame_too_many(told),
        *_every_time_is_true(told),
    ]  # fmt: skip


def _one_at_a_time(told: Told) -> list[str]:
    pairs = pairwise(openings(told))
    return [f"two openings without a close: {a} {b}" for a, b in pairs if a.closed_s > b.opened_s]


def _never_past_cap(told: Told) -> list[str]:
    found, orders = [], takes(told)
    for opening in openings(told):
        before = [take for at_s, take in orders if at_s <= opening.opened_s]
        if not before:
            found.append(f"an opening that nobody ordered: {opening}")
            continue
        allowed_s = before[-1].cap_s + SLACK_S + _trouble_s(told, opening)
        if opening.closed_s - opening.opened_s > allowed_s:
            found.append(f"open past its cap of {before[-1].cap_s:.1f} s: {opening}")
    return found


def _trouble_s(told: Told, opening: Opening) -> float:
    """How long a shutter may stay open past its cap: the link was out, or the body did not obey."""
    out = [each for each in told.outages if each[0] < opening.closed_s and each[1] > opening.opened_s]
    ignored = [line for line in told.body if line.word == "released" and line.detail["result"] == "ignored"]
    heard = [line for line in ignored if opening.opened_s <= line.now_s <= opening.closed_s]
    return sum(min(until_s, opening.closed_s) - max(from_s, opening.opened_s) + RETURN_S + ANSWER_S
               for from_s, until_s in out) + (POLL_LIMIT_S + RETURN_S) * len(heard)  # fmt: skip


def _nothing_after_packing(told: Told) -> list[str]:
    if told.pack_utc is None:
        return []
    pack_s = (told.pack_utc - told.chance.world.begins_utc).total_seconds()
    found = [
        f"open after packing began at {pack_s:.1f}: {one}"
        for one in openings(told)
        if one.closed_s > pack_s + SLACK_S + _trouble_s(told, one)
    ]
    dark = [
        line for line in told.body if line.word == "dark_frame" and float(line.detail["until_s"]) > pack_s + SLACK_S
    ]
    found += [f"an in-camera dark frame runs past packing: {line}" for line in dark]
    costs = told.chance.outing.costs.storing_s
    found += [
        f"ordered what would pass packing: {take}"
        for at_s, take in takes(told)
        if at_s + take.open_s + costs > pack_s + SLACK_S
    ]
    return found


def _no_assumed_change(told: Told) -> list[str]:
    """While a prompt is unanswered: scouts, or the agreed fallback with the filters of before."""
    found, open_prompt = [], False
    fitted_before: tuple[str, ...] = ()
    fallback = told.chance.outing.prompting.fallback
    for _, effect in sorted(_prompts(told), key=lambda one: one[0]):
        if isinstance(effect, Tell):
            open_prompt = effect.word in ("prompt", "denied")
            continue
        if isinstance(effect, Take) and effect.role is Role.LONG and open_prompt:
            if fallback not in (Fallback.APERTURE, Fallback.ISO):
                found.append(f"a long frame while a prompt was not proven done: {effect}")
            elif fitted_before and effect.filters != fitted_before:
                found.append(f"a fallback frame that assumes a change: {effect}")
        if isinstance(effect, Take) and effect.role is Role.LONG:
            fitted_before = effect.filters
    return found


def _filters_are_on(told: Told) -> list[str]:
    """What is truly before the lens, by the body's own log, is what the order of a long frame says: neither a person's
    word nor the machine's own counts. Only where nothing was there to compare with a word has to do.
    """
    outing, found = told.chance.outing, []
    begins = told.chance.world.begins_utc
    words = [
        ((at - begins).total_seconds(), one.word)
        for at, one in told.log.effects
        if isinstance(one, Tell) and one.word in ("verified", "unverified")
    ]
    at_first = outing.kit.filters if outing.want.first_s is not None else ()
    fitted = [(0.0, outing.kit.glass(at_first).stops)]
    fitted += [(line.now_s, float(str(line.detail["green"]))) for line in told.body if line.word == "fitted"]
    for opening in openings(told):
        take = [take for at_s, take in takes(told) if at_s <= opening.opened_s][-1]
        last = [word for at_s, word in words if at_s <= opening.opened_s][-1:]
        truly = [stops for at_s, stops in fitted if at_s <= opening.opened_s][-1]
        said = outing.kit.glass(take.filters).stops
        if take.role is Role.LONG and last != ["unverified"] and abs(truly - said) > FILTER_OFF_STOPS:
            found.append(f"{truly:.1f} stops are on where {take.filters} were ordered: {opening}")
    return found


def _prompts(told: Told) -> list[tuple[int, object]]:
    kept: list[tuple[int, object]] = []
    for index, (_, effect) in enumerate(told.log.effects):
        is_word = isinstance(effect, Tell) and effect.word in ("prompt", "denied", "verified", "unverified")
        if is_word or isinstance(effect, Take):
            kept.append((index, effect))
    return kept


def _everything_told(told: Told) -> list[str]:
    found = []
    if told.unfinished:
        found.append(f"{told.unfinished} intents without a settled outcome")
    if told.stop is None:
        found.append("it ended without a reason")
    if told.missing_files:
        found.append(f"recorded and not on the disk: {told.missing_files}")
    lost = [name for name in told.cards if not any(kept.endswith(name) or name in kept for kept in told.disk)]
    if lost:
        found.append(f"on the card and not on the disk: {lost}")
    return found + [f"no outcome: {frame}" for frame in told.frames if frame.outcome is None]


def _no_frame_too_many(told: Told) -> list[str]:
    """Whole frames as wanted, but for what a crash or a picture nobody could measure left uncounted."""
    wanted = told.chance.outing.frames_wanted
    long = [one for one in told.frames if one.asked.role == "long" and one.outcome is not None]
    whole = [one for one in long if one.outcome is not None and one.outcome.outcome == "complete"]
    spare = len(told.log.restarts) + sum(isinstance(one, NotMeasured) for _, one in told.log.events)
    retakes = sum(isinstance(one, Measured) and one.act is Act.RETAKE for _, one in told.log.events)
    if wanted is not None and len(whole) > wanted + spare + retakes:
        return [f"{len(whole)} long frames where {wanted} were wanted"]
    if told.stop == "frames_done" and wanted is not None and told.chance.outing.want.kind is not Kind.WATCH:
        few = len(long) < wanted - spare
        return [f"all {wanted} frames are said to be taken, and there are {len(long)}"] if few else []
    return []


def _every_time_is_true(told: Told) -> list[str]:
    """The record's open time of a whole frame is one that the body itself had, within what the record says of it."""
    truly = [one.closed_s - one.opened_s for one in openings(told)]
    found = []
    words = {line.word for line in told.body}
    for frame in told.frames:
        outcome = frame.outcome
        if outcome is not None and CLOSED_ITSELF in outcome.reason and {"battery_flat", "dark_frame"} <= words:
            continue  # its battery died and its own dark frame held the picture back: nothing tells it from a closing
        if outcome is None or outcome.outcome != "complete" or not outcome.open_s:
            continue
        least_s, most_s = outcome.open_s_range or (outcome.open_s, outcome.open_s)
        if not any(least_s - TRUE_S <= one <= most_s + TRUE_S for one in truly):
            found.append(f"recorded as {outcome.open_s} s, which the body never had: {outcome.frame_id}")
    return found


def _nothing_fires_after_restart(told: Told) -> list[str]:
    """After a crash in the middle nothing opens before a person says so."""
    found = []
    for restart in told.log.restarts:
        before = [take for at, take in told.log.effects if isinstance(take, Take) and at < restart]
        words = [
            at
            for at, event in told.log.events
            if isinstance(event, Said) and event.word is Word.RESUME and at >= restart
        ]
        until = min(words, default=None)
        fired = [
            take for at, take in told.log.effects
            if isinstance(take, Take) and at >= restart and (until is None or at < until)
        ]  # fmt: skip
        if before and fired:
            found.append(f"fired on its own after a restart: {fired[0]}")
    return found
