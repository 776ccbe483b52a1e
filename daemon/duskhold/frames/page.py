"""The evening's page: one HTML file that needs no network, reads on a phone, and prints well."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from html import escape
from typing import Any

from duskhold.frames.evening import Evening, EveningFrame, compared_with, findings_of, good_frames, unjudged_frames
from duskhold.frames.remarks import judged, last_said, words_of
from duskhold.frames.verdict import BASE_FRAME

_STYLE = """
:root{color-scheme:light dark;--ink:#1d2733;--soft:#5b6875;--paper:#fbfaf7;--card:#fff;--line:#d9dcdf;--good:#2c6e49;
--bad:#a33b20;--dot:#b4541a;--curve:#3d6b9e}
@media(prefers-color-scheme:dark){:root{--ink:#e6e4df;--soft:#a3abb3;--paper:#14181d;--card:#1d232a;--line:#38414a;
--good:#7fc79c;--bad:#ef9a7f;--dot:#f0a45d;--curve:#86b4e6}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:72rem;padding:1rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,sans-serif}
h1{font-size:1.5rem;line-height:1.25;margin:.25rem 0}h2{font-size:1.15rem;margin:2rem 0 .5rem}
p{margin:.4rem 0}p,li{overflow-wrap:anywhere}.soft{color:var(--soft)}
.sheet{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,19rem),1fr));gap:1rem;align-items:start}
article{background:var(--card);border:1px solid var(--line);border-radius:.5rem;overflow:hidden;break-inside:avoid}
article>div{padding:.6rem .8rem}article>img{display:block;width:100%;height:auto}
article h3{font-size:1rem;margin:0;overflow-wrap:anywhere}
.good{color:var(--good)}.bad{color:var(--bad)}ul{margin:.3rem 0;padding-left:1.1rem}
.crops{margin-top:.5rem}.crops img{width:100%;height:auto;display:block;image-rendering:pixelated}
.wide{overflow-x:auto}table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid var(--line);vertical-align:top}
td.number,th.number{text-align:right;white-space:nowrap}
svg{display:block;width:100%;height:auto;max-height:24rem}svg text{fill:var(--soft);font-size:16px}
@media(max-width:40rem){.plan tr{display:grid;grid-template-columns:5.2rem 3.6rem 1fr 1fr 1fr;padding:.35rem 0;
border-bottom:1px solid var(--line)}.plan th,.plan td{border:0;padding:.1rem .2rem}.plan .result{grid-column:1/-1}}
@media print{body{background:#fff;color:#000;max-width:none;padding:0;font-size:.8rem}svg{max-height:15rem}
article{border-color:#999}.sheet{grid-template-columns:repeat(3,1fr)}h2{break-after:avoid}}
"""
_MOST_LINES = 20
_WIDTH, _HEIGHT, _LEFT, _BOTTOM, _TOP, _RIGHT = 480, 280, 64, 46, 34, 14


def page_html(evening: Evening) -> str:
    """The whole page."""
    known = {str(frame.record["frame_id"]) for frame in compared_with(evening)}
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(evening.title)}</title><style>{_STYLE}</style></head><body>",
        f"<header><h1>{escape(evening.title)}</h1><p class='soft'>{escape(_summary(evening))}</p></header>",
        "<main>",
        _endings(evening),
        _light_section(evening),
        _prompts(evening),
        _losses(evening),
        "<section><h2>Frames</h2><div class='sheet'>",
        *(_card(frame, known) for frame in evening.frames),
        "</div></section>",
        _plan_table(evening),
        *(f"<p class='soft'>{escape(note)}</p>" for note in evening.notes),
        "</main></body></html>",
    ]
    return "\n".join(part for part in parts if part) + "\n"


def _summary(evening: Evening) -> str:
    frames = evening.frames
    faulty, unjudged = len(frames) - good_frames(evening), unjudged_frames(evening)
    known = f"{faulty} with a fault" if faulty else "none with a known fault"
    unknown = f", {unjudged} not compared with another frame" if unjudged else ""
    open_s = sum(float(frame.record["open_s"] or 0.0) for frame in frames)
    plural = "s" if len(frames) != 1 else ""
    return (
        f"{len(frames)} frame{plural}, {known}{unknown}; shutter open for {open_s / 60:.1f} min. "
        f"{_said_of_them(frames)}{_without_base(evening)}Times are UTC{evening.local}."
    )


def _said_of_them(frames: Sequence[EveningFrame]) -> str:
    said = [last_said(frame.record, "keep") for frame in frames]
    parts = [f"{said.count(keep)} {word}" for keep, word in ((True, "to keep"), (False, "rejected")) if keep in said]
    return f"Of these {' and '.join(parts)}, as somebody said. " if parts else ""


def _without_base(evening: Evening) -> str:
    """What nobody can see where frames are compared with a long frame."""
    first = [_clock(frame.record) for frame in compared_with(evening)]
    if not first:
        return ""
    return (
        f"Without a base frame the others are compared with the long frame of {' and of '.join(first)}: "
        "a fault that this one has itself is not seen. "
    )


def _endings(evening: Evening) -> str:
    """Why each series of the evening ended."""
    return "".join(f"<p>{escape(account.ending())}</p>" for account in evening.accounts)


def _prompts(evening: Evening) -> str:
    """What was asked of a person, and what came of it."""
    lines = [one.sentence() for account in evening.accounts for one in account.asked]
    return _list_section("Asked of a person", lines)


def _list_section(title: str, lines: list[str], before: str = "") -> str:
    more = [f"and {len(lines) - _MOST_LINES} more, in the journal."] * (len(lines) > _MOST_LINES)
    items = "".join(f"<li>{escape(line)}</li>" for line in [*lines[:_MOST_LINES], *more])
    listed = f"<ul>{items}</ul>" if items else ""
    return f"<section><h2>{title}</h2>{before}{listed}</section>" if before or items else ""


def _card(frame: EveningFrame, known: set[str]) -> str:
    record = frame.record
    name = escape(str(record["frame_id"]))
    picture = _image(frame.thumbnail, f"{record['role']} frame {name}") if frame.thumbnail else ""
    findings = findings_of(frame)
    fine = "good" if frame.measured else "complete"
    is_first = str(record["frame_id"]) in known and frame.measured is None
    note = "The others are compared with this one; a fault of its own is not seen." if is_first else None
    said = [each for each in (judged(record), *words_of(record)) if each]
    word = f"<span class='bad'>{escape(findings[0])}</span>" if findings else f"<span class='good'>{fine}</span>"
    verdict = (frame.measured or {}).get("verdict", [])
    lines = "".join(f"<li>{escape(finding['text'])}</li>" for finding in verdict)
    against = frame.against or BASE_FRAME
    crops = "" if frame.crops_jpeg is None else _image(frame.crops_jpeg, f"details of the {against} and of this one")
    shown = f"<div class='crops'>{crops}</div><p class='soft'>Details: above the {against}, below this one.</p>"
    return (
        f"<article>{picture}<div><h3>{escape(str(record['role']))} · {escape(_clock(record))}</h3>"
        f"<p class='soft'>{name}</p><p>{escape(_length(record))}{escape(_sun(frame))} · {word}</p>"
        + (f"<ul>{lines}</ul>" if lines else "")
        + "".join(f"<p>“{escape(each)}”</p>" for each in said)
        + "".join(f"<p class='soft'>{escape(each)}</p>" for each in (record.get("reason"), frame.trouble, note) if each)
        + (shown if crops else "")
        + "</div></article>"
    )


def _plan_table(evening: Evening) -> str:
    rows = "".join(
        f"<tr><td>{escape(_clock(frame.record))}</td><td>{escape(str(frame.record['role']))}</td>"
        f"<td class='number'>{_seconds(frame.record.get('planned_s'))}</td>"
        f"<td class='number'>{_seconds(frame.record.get('open_s'))}</td>"
        f"<td class='number'>{_signed((frame.measured or {}).get('level_error_stops'))}</td>"
        f"<td class='result'>{escape(_result(frame))}</td></tr>"
        for frame in evening.frames
    )
    head = (
        "<tr><th>opened</th><th>role</th><th class='number'>planned</th><th class='number'>open</th>"
        "<th class='number'>level</th><th class='result'>result</th></tr>"
    )
    return (
        "<section><h2>Plan and result</h2><div class='wide'><table class='plan'><thead>"
        f"{head}</thead><tbody>{rows}</tbody></table></div></section>"
        if rows
        else ""
    )


def _result(frame: EveningFrame) -> str:
    return "; ".join(findings_of(frame)) or ("good" if frame.measured else "complete")


def _losses(evening: Evening) -> str:
    rows = "".join(
        f"<tr><td>{escape(cause)}</td><td class='number'>{count}</td></tr>" for cause, count, _ in evening.losses()
    )
    table = (
        "<div class='wide'><table><thead><tr><th>cause</th>"
        f"<th class='number'>frames</th></tr></thead><tbody>{rows}</tbody></table></div>"
    )
    lines = [one.sentence() for account in evening.accounts for one in account.losses]
    return _list_section("Losses and causes", lines, table if rows else "")


def _light_section(evening: Evening) -> str:
    known = [
        (frame, lit_utc, frame.level_stops)
        for frame in evening.frames
        if (lit_utc := frame.lit_utc) is not None and frame.level_stops is not None
    ]
    if len(known) < 2:
        return ""
    start = known[0][1]
    measured = [((lit_utc - start).total_seconds() / 60, stops) for _, lit_utc, stops in known]
    zero = measured[0][1]
    points = [(minute, stops - zero) for minute, stops in measured]
    rings = {index for index, (frame, _, _) in enumerate(known) if frame.record["role"] != "base"}
    modelled = [(seconds / 60, stops) for seconds, stops in evening.modelled]
    said = "Stops against the first dot. Full dots: base frames; rings: through a filter, by its stored stops."
    said += " Line: clear sky over this place." if modelled else ""
    return f"<section><h2>Light</h2>{_chart(points, rings, modelled)}<p class='soft'>{said}</p></section>"


def _chart(points: list[tuple[float, float]], rings: set[int], curve: list[tuple[float, float]]) -> str:
    both = points + curve
    least_x, most_x = min(x for x, _ in both), max(x for x, _ in both)
    least_y, most_y = min(y for _, y in both) - 0.3, max(y for _, y in both) + 0.3

    def place(x: float, y: float) -> tuple[float, float]:
        across = (x - least_x) / max(most_x - least_x, 1e-6)
        up = (y - least_y) / max(most_y - least_y, 1e-6)
        return _LEFT + across * (_WIDTH - _LEFT - _RIGHT), _HEIGHT - _BOTTOM - up * (_HEIGHT - _BOTTOM - _TOP)

    dots = "".join(
        f"<circle cx='{x:.1f}' cy='{y:.1f}' r='5' stroke='var(--dot)' stroke-width='2.5' "
        f"fill='var(--{'paper' if index in rings else 'dot'})'/>"
        for index, (x, y) in enumerate(place(*each) for each in points)
    )
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in (place(*each) for each in curve))
    drawn = f"<polyline points='{line}' fill='none' stroke='var(--curve)' stroke-width='2'/>" if curve else ""
    steps = _ticks(least_y, most_y)
    grid = "".join(_grid_line(value, place(least_x, value)[1]) for value in steps)
    minutes = "".join(
        f"<text x='{place(value, least_y)[0]:.1f}' y='{_HEIGHT - 24}' text-anchor='middle'>{value:g}</text>"
        for value in _ticks(least_x, most_x)
    )
    return (
        f"<svg viewBox='0 0 {_WIDTH} {_HEIGHT}' role='img' aria-label='Light in stops against minutes'>"
        f"{grid}{minutes}<text x='{_WIDTH - _RIGHT}' y='{_HEIGHT - 4}' text-anchor='end'>minutes</text>"
        f"<text x='2' y='16'>stops</text>{drawn}{dots}</svg>"
    )


def _grid_line(value: float, y: float) -> str:
    line = f"<line x1='{_LEFT}' x2='{_WIDTH - _RIGHT}' y1='{y:.1f}' y2='{y:.1f}' stroke='var(--line)'/>"
    said = f"{value:+g}".replace("-", "−") if value else "0"
    return f"{line}<text x='{_LEFT - 6}' y='{y + 5:.1f}' text-anchor='end'>{said}</text>"


def _ticks(least: float, most: float) -> list[float]:
    span = most - least
    step = next((each for each in (0.1, 0.25, 0.5, 1, 2, 5, 10, 20, 60, 120) if span / each <= 6), 600)
    first = int(least // step) + 1
    return [round(index * step, 6) for index in range(first, first + 8) if index * step <= most]


def _image(content: bytes, said: str) -> str:
    coded = base64.b64encode(content).decode()
    return f"<img src='data:image/jpeg;base64,{coded}' alt='{escape(said)}'>"


def _clock(record: Any) -> str:
    opened = record.get("opened_utc")
    return str(opened)[11:19] if opened else "not opened"


def _length(record: Any) -> str:
    open_s, planned_s = record.get("open_s"), record.get("planned_s")
    if open_s is None:
        return "open time not known"
    planned = "" if planned_s is None or abs(open_s - planned_s) < 0.05 else f" of {_seconds(planned_s)}"
    return f"{_seconds(open_s)}{planned}"


def _seconds(value: object) -> str:
    if not isinstance(value, (int, float)):
        return "–"
    tenths = round(value * 10)
    return f"{value:.3g} s" if tenths < 600 else f"{tenths // 600}:{tenths % 600 / 10:04.1f}"


def _signed(value: object) -> str:
    if not isinstance(value, (int, float)):
        return "–"
    hundredths = round(value, 2) + 0.0  # never a minus before nothing
    return f"{hundredths:+.2f}".replace("-", "−")


def _sun(frame: EveningFrame) -> str:
    return "" if frame.sun_altitude_deg is None else f" · sun {frame.sun_altitude_deg:.1f}°".replace("-", "−")
