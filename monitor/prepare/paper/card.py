"""The wall card: one printed A4 page in large type that still works when everything electric has failed.

Decides its content, and how large the type can be so that it fits one page: the jugs from left to right, the stages
with time, movement, pouring off and how long each may wait, the times over temperature for each steered stage, the sheets'
way out, what can be heard, what to do when something happens, cautions, and a line for the emergency number. The page is one HTML file
without script, picture or network, black on white. Tests: tests/prepare/paper/test_card.py, which prints it in a real browser.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from monitor.core.recipe.conditions import dark_baths
from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.recipe.values import SAME, Recipe, Stage
from monitor.core.session.agitation import QUIET_S
from monitor.core.session.presses import FOOT_IN_BRIEF
from monitor.core.session.sounds import SIGNALS, TENS_FROM, Signal
from monitor.core.text.degrees import figure, plain, plain_difference, unit
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.cautions import RULE, cautions_for
from monitor.prepare.paper.page_fit import FACE, LINE_EM, NARROWED, Block, Pair, Text, below, lines_of, type_size_pt
from monitor.prepare.recipes.read_back import time_grid
from monitor.prepare.waiting import ALARM_FIRST, waits_for

CELL_ROW_EM = 1.88
MOST_ACROSS = 5
"""So many jugs stand side by side on the paper; more go on in the next row."""
DIGITS_EM = 0.96
"""Height of a line of large digits."""
READABLE_PT, NEARLY = 9.0, 0.9
"""Smaller type is not read on a wall (common practice, no source)."""
MOST_ROWS = 15
"""With more degrees than this the chart's steps are coarser; the reference is always included."""


@dataclass(frozen=True, slots=True)
class Big:
    """Sizes of the times of stages and of the chart, points; and the least part of the page's width that the chart's column has."""

    stage_pt: float
    chart_pt: float
    least_share: float = 0.0

    @property
    def chart_share(self) -> float:
        """The part of the page's width for the chart: what a degree and two times need, or more."""
        return max(0.0149 * self.chart_pt, self.least_share)


SIZES = (Big(27.0, 27.0), Big(27.0, 22.0), Big(27.0, 18.0), Big(27.0, 14.0), Big(20.0, 12.0), Big(14.0, 10.0), Big(9.0, 7.0))
"""27 points are 36 px: digits of 7 mm, which are read at 1.5 m (about 15 minutes of arc; common practice, no source)."""


Fitted = tuple[Big, list[Block | Pair], float]
"""Sizes of the times, the page's blocks, and the size that the other type then has, points."""


def card_html(recipe: Recipe) -> str:
    """The page for one recipe. Self-contained; one A4 page when printed."""
    big, blocks, size_pt = _fitted(recipe)
    body = "\n".join(block.html for block in blocks)
    title = escape(recipe.name)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: card for the wall</title>\n<style>\n{style(size_pt, big)}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _fitted(recipe: Recipe) -> Fitted:
    """The sizes of the times, the blocks and the size of the other type."""

    def tried() -> Iterator[Fitted]:
        for big in SIZES:
            ways = [list(_blocks(recipe, big, *way)) for way in ((3, False), (2, False), (3, True))]
            size_pt, blocks = max(((type_size_pt(way), way) for way in ways), key=lambda found: found[0])
            yield big, blocks, size_pt

    return readable(tried())


def readable(tried: Iterable[Fitted]) -> Fitted:
    """The first of these, from the largest times on, whose other type is not too small to read. Where all of them are too small, smaller
    times would not save the page: then the first whose type is at most a tenth below the best."""
    found: list[Fitted] = []
    for fitted in tried:
        found.append(fitted)
        if fitted[2] >= READABLE_PT:
            return fitted
    best_pt = max(size_pt for _, _, size_pt in found)
    return next(fitted for fitted in found if fitted[2] >= NEARLY * best_pt)


def style(size_pt: float, big: Big) -> str:
    """The page's CSS."""
    return f"""{NARROWED}@page {{ size: A4 portrait; margin: 10mm; }}
* {{ box-sizing: border-box; }}
html {{ font: {size_pt}pt/{LINE_EM} {FACE}; color: #000; background: #fff; }}
body {{ margin: 0 auto; max-width: 190mm; overflow-wrap: break-word; }}
h1 {{ font-size: 1.4em; line-height: 1.15; margin: 0; }}
h2 {{ font-size: 1.1em; margin: .4em 0 .15em; border-bottom: .14em solid #000; }}
p {{ margin: .15em 0; }}
.clock {{ font-size: 1.2em; font-weight: bold; border: .16em solid #000; padding: .05em .5em; margin: .25em 0; }}
.jugs {{ display: grid; gap: .35em; }}
.jug {{ position: relative; border: .1em solid #000; border-top-width: .5em; padding: .1em .3em .25em 2.1em; }}
.jug b {{ display: block; }}
.jug .place {{ position: absolute; left: .2em; font-size: 1.9em; line-height: 1.25; font-weight: bold; }}
table {{ width: 100%; border-collapse: collapse; }}
th {{ text-align: left; font-weight: normal; border-bottom: .08em solid #000; padding: 0 .3em; }}
td {{ border-bottom: .05rem solid #000; padding: .1rem .3rem; vertical-align: top; }}
td.time {{ padding: 0 .3rem; font-size: {big.stage_pt}pt; line-height: {DIGITS_EM}; font-weight: bold; }}
td.time {{ vertical-align: middle; white-space: nowrap; }}
td small {{ display: block; font-size: 1rem; }}
tr.main td {{ border-top: .16rem solid #000; border-bottom: .16rem solid #000; }}
.never {{ font-weight: bold; }}
.cells {{ display: grid; grid-template-columns: repeat(6, 1fr); gap: .2em; }}
.of4 {{ grid-template-columns: repeat(4, 1fr); }}
.cell {{ display: flex; justify-content: space-between; gap: .35em; align-items: baseline; white-space: nowrap; }}
.cell {{ border: .06em solid #000; padding: 0 .3em; }}
.cell b {{ font-size: 1.3em; line-height: 1.2; }}
.pair {{ display: flex; gap: 1em; }}
.pair > div:first-child {{ flex: 0 0 calc({100 * big.chart_share:.1f}% - .5em); }}
.pair > div:last-child {{ flex: 1; min-width: 0; }}
.chart th, .chart td {{ padding: 0 .25rem; white-space: nowrap; text-align: right; vertical-align: baseline; }}
.chart td {{ font-size: {big.chart_pt}pt; line-height: {DIGITS_EM}; font-weight: bold; }}
.chart th[scope=row] {{ font-size: {big.chart_pt}pt; line-height: {DIGITS_EM}; text-align: left; border-bottom: .05rem solid #000; }}
.chart td.reference {{ border: .16rem solid #000; }}
.alarm {{ font-weight: bold; font-size: 1.15em; }}
.fields {{ display: grid; grid-template-columns: repeat(3, 1fr); }}
.fields {{ border: .1em solid #000; padding: .2em .5em 1.6em; margin-top: .4em; }}
.apart {{ display: block; padding-bottom: .2em; }}
.apart span {{ display: block; padding-bottom: .9em; }}
h2, tr, .jug, .cell, .fields {{ break-inside: avoid; }}
@media screen {{ body {{ padding: 10px 12px; }} }}
@media screen and (max-width: 640px) {{
html {{ font-size: 15px; }}
.jugs {{ grid-template-columns: repeat(2, 1fr) !important; }}
.cells {{ grid-template-columns: repeat(2, 1fr); }}
.pair, .fields {{ display: block; }}
.fields span {{ display: block; padding-bottom: 1.4em; }}
.stages, .stages tbody, .stages tr, .stages td, .stages tr.main td {{ display: block; border: 0; padding: 0; }}
.stages tr:first-child {{ display: none; }}
.stages tr {{ border-bottom: .1em solid #000; padding: .4em 0; }}
.stages td:first-child {{ float: left; margin-right: .4em; }}
.stages td[data-what]:not(:empty)::before {{ content: attr(data-what) ": "; }}
}}
"""


def _blocks(recipe: Recipe, big: Big, beside: int, fields_below: bool) -> Iterator[Block | Pair]:
    """From above; the charts stand at the left of what can be heard, what may happen and the cautions, or of the first `beside` of them.

    `fields_below`: the numbers to be filled in stand below the charts, not at the foot of the page."""
    yield _head(recipe)
    yield _jugs(recipe)
    yield _stages(recipe, big)
    if recipe.sheets is not None:
        yield sheets_block(recipe)
    charts = tuple(chart(recipe, stage, big) for stage in recipe.stages if stage.has_times_by_temperature)
    fields_below = fields_below and bool(charts)
    left = (*charts, fields(apart=True)) if fields_below else charts
    words = (sounds(recipe), _happens(recipe), cautions(recipe))
    if charts:
        sides = "".join(f"<div>{chr(10).join(block.html for block in side)}</div>\n" for side in (left, words[:beside]))
        yield Pair(f'<div class="pair">{sides}</div>', left, words[:beside], big.chart_share)
    yield from words[beside:] if charts else words
    if not fields_below:
        yield fields(apart=False)


def _head(recipe: Recipe) -> Block:
    film = _film_words(recipe)
    clock = f"Start the second clock {recipe.goes_in}. It still runs when everything electric has failed."
    html = f'<h1>{escape(recipe.name)}</h1>\n<p class="film">{escape(film)}</p>\n<p class="clock">{clock}</p>'
    return Block(html, below(Text(recipe.name, 1.4, bold=True), Text(film), Text(clock, 1.2, padding_em=1.6, bold=True)), 1.0)


_LIGHTS = {
    "infrared": "infrared: no lamp, and invisible light is light",
    "paper": "your tested safelight alone",
}
"""What else than total darkness a card says of bare film or paper."""


def _film_words(recipe: Recipe) -> str:
    what = f"{recipe.what}; " if recipe.what else ""
    light = _LIGHTS.get(recipe.film, f"no light of any colour on bare {recipe.medium}")
    closed = "" if recipe.lifted else f"; lid on until {lid_until(recipe)}"
    return f"{what}{recipe.material}, {recipe.vessel}; {light}{closed}."


def lid_until(recipe: Recipe) -> str:
    """Until when a closed vessel stays closed."""
    off = recipe.lid_off_at
    return "fixed" if off is None else f"stage {off.number} ({off.name})"


def _jugs(recipe: Recipe) -> Block:
    """Boxes from left to right: numbered jugs by their number; without numbers, the solutions in order of use."""
    places: dict[int, Stage] = {}
    for stage in recipe.stages:
        if stage.jug is not None:
            places.setdefault(stage.jug, stage)
    if places:
        boxes = [(str(place), places[place]) for place in sorted(places)]
    else:
        boxes = [(str(i), stage) for i, stage in enumerate((s for s in recipe.stages if s.role not in ("load", "wash")), 1)]
    heading = f"{recipe.place.capitalize()}s from left to right"
    cells, columns = [], []
    for place, stage in boxes:
        lines = _jug_lines(stage)
        if len(boxes) > MOST_ACROSS:
            lines = [lines[0], ", ".join(lines[1:])]
        cells.append(
            f'<div class="jug"><span class="place">{place}</span><b>{escape(lines[0])}</b>'
            + "".join(f"{escape(line)}<br>" for line in lines[1:]) + "</div>"
        )  # fmt: skip
        columns.append(lines)
    across = len(boxes) if len(boxes) <= MOST_ACROSS else math.ceil(len(boxes) / math.ceil(len(boxes) / MOST_ACROSS))
    grid = f"grid-template-columns: repeat({max(1, across)}, 1fr)"
    html = f'<h2>{heading}</h2>\n<div class="jugs" style="{grid}">{"".join(cells)}</div>'
    rows: list[tuple[Text, ...]] = []
    for first in range(0, len(boxes), max(1, across)):
        shown = columns[first : first + across]
        for i in range(max(map(len, shown))):
            words = [column[i] if i < len(column) else "" for column in shown]
            rows.append(tuple(Text(word, 1.0, 1.0 / across, 2.4, 0.9 if i == 0 else 0.0, bold=i == 0) for word in words))
    return Block(html, (*below(Text(heading, 1.1)), *rows), 1.0)


def _jug_lines(stage: Stage) -> list[str]:
    """What, how thin, how much, how warm."""
    lines = [stage.solution or stage.name]
    dilution = [] if stage.dilution is None else [str(stage.dilution)]
    volume = [] if stage.volume_ml is None else [format_volume(stage.volume_ml)]
    if dilution or volume:
        lines.append(", ".join(dilution + volume))
    if stage.volume_ml is not None:
        parts = stage.stock_and_water_ml
        if parts is not None:
            lines.append(f"{format_number(parts[0], 1)} ml stock + {format_number(parts[1], 1)} ml water")
    stated = stage.reference_stated
    band = f" +/- {plain_difference(stage.band_c, 2)}" if stage.band_c else ""
    lines.append(f"{'' if stated else 'near '}{plain(stage.reference_c)}{band if stated else ''}")
    return lines


_COLUMNS = (3.0, 20.0, 15.5, 26.0, 15.0, 20.5)
"""Widths of the table's columns, per cent: number, stage, time, move, pour off, may wait."""


def _row(name: str, small: str, time: str, big: Big, *others: str) -> tuple[Text, ...]:
    """One row of the table as texts side by side; what is said of the time stands below the stage's name."""
    above = 0.22
    shares = [percent / 100 for percent in _COLUMNS[1:]]
    below_name = LINE_EM * lines_of(small, 9.0) if small else 0.0
    return (
        Text(name, 1.0, shares[0], 0.6, above + below_name, bold=True),
        Text(time, 1.0, shares[1], 0.6, 0.1, bold=True, size_pt=big.stage_pt if time != DARK else None, line_em=DIGITS_EM),
        *(Text(words, 1.0, share, 0.6, above) for words, share in zip(others, shares[2:], strict=True)),
    )


DARK = "dark"
"""What stands in place of a time where no clock runs."""
_QUIET = f"no movement in the last {format_duration(QUIET_S)}"


def _stages(recipe: Recipe, big: Big) -> Block:
    heading = "Stages, by the second clock"
    rows, texts = [], list(below(Text(heading, 1.1), Text("stage")))
    waits = {wait.stage: wait for wait in waits_for(recipe)}
    out = "lift out" if recipe.lifted else "pour off"
    for stage in recipe.stages:
        time, small = _time_words(stage)
        moving, pour, wait = agitation_words(stage), _pour_words(recipe, stage), waits[stage.number].short
        where = f" ({recipe.place} {stage.jug})" if stage.jug is not None else ""
        never = ' class="never"' if waits[stage.number].most_s == 0 else ""
        main = ' class="main"' if stage.role in ("develop", "fix", "bleach-fix") else ""
        rows.append(
            f'<tr{main}><td>{stage.number}</td><td><b>{escape(stage.name)}</b>{where}'
            + (f"<small>{escape(small)}</small>" if small else "")
            + f'</td><td class="{"time" if time != DARK else "dark"}">{time}</td>'
            f'<td data-what="move">{escape(moving)}</td><td data-what="{out}">{escape(pour)}</td>'
            f'<td{never} data-what="may wait">{escape(wait)}</td></tr>'
        )  # fmt: skip
        texts.append(_row(f"{stage.name}{where}", small, time, big, moving, pour, wait))
    head = f"<tr><th></th><th>stage</th><th>time</th><th>move</th><th>{out}</th><th>may wait</th></tr>"
    widths = "".join(f'<col style="width:{percent}%">' for percent in _COLUMNS)
    html = f'<h2>{heading}</h2>\n<table class="stages"><colgroup>{widths}</colgroup>{head}\n{chr(10).join(rows)}\n</table>'
    return Block(html, tuple(texts), 1.0 + 0.1 * len(rows))


def _time_words(stage: Stage) -> tuple[str, str]:
    """The time, and what stands beside it in small type."""
    if stage.role == "load":
        return DARK, "no clock"
    small = []
    if stage.until == "at least":
        small.append("at least")
    if stage.counted == "full to empty":
        small.append("from full")
    if stage.appearance_factor is not None:
        small.append("at most; tap at the first trace")
    elif stage.steer:
        small.append(f"at {plain(stage.reference_c)}")
    return format_duration(stage.target_ref_s), ", ".join(small)


def agitation_words(stage: Stage) -> str:
    """How this bath is moved; empty for a load."""
    if stage.continuous:
        return "all the time"
    if not stage.agitation:
        return "" if stage.role == "load" else "none"
    words = []
    for burst in stage.agitation:
        for_words = format_duration(burst.for_s)
        if burst.from_s is not None:
            words.append(f"first {for_words}" if burst.from_s == 0 else f"{for_words} at {format_duration(burst.from_s)}")
        else:
            every = "each minute" if burst.every_s == 60 else f"every {format_duration(burst.every_s or 0)}"
            words.append(f"{for_words} {every}")
    return ", then ".join(words) + (f"; {_QUIET}" if stage.until == "time" else "")


def _pour_words(recipe: Recipe, stage: Stage) -> str:
    if stage.role == "load":
        return ""
    if stage.until == "at least":
        return "after it"
    if recipe.sheets is not None and stage.role == "develop":
        return f"lift each {format_duration(stage.drain_s)} before its time"
    if stage.counted == "full to empty":
        return f"{verb(recipe)} at {format_duration(stage.target_ref_s)} from full"
    if stage.appearance_factor is not None:
        return f"{verb(recipe)} at {format_number(stage.appearance_factor)} x the first trace's time"
    gate = f"; begin only within {plain_difference(stage.gate.band_c)}" if stage.gate is not None else ""
    return f"{verb(recipe)} at {format_duration(stage.target_ref_s - stage.drain_s)}{gate}"


def verb(recipe: Recipe) -> str:
    """How film leaves a bath in this vessel."""
    return "lift" if recipe.lifted else "pour"


def chart(recipe: Recipe, stage: Stage, big: Big, whose: str = "") -> Block:
    """Whole degrees down, the half that follows each across; in Fahrenheit every second degree down, the next one across. `whose`: what
    its heading begins with where several recipes are on one page."""
    step, told = time_grid(stage)
    at_reference = figure(stage.reference_c) / step
    rows = _thinned(sorted({place // 2 for place in told}), math.floor(at_reference / 2.0 + SAME))
    factor = "" if stage.factor == 1 else f", x {format_number(stage.factor)} included"
    heading = f"{f'{whose}: ' if whose else ''}{stage.name}: time at one steady temperature of the developer itself{factor}"
    lines, texts = [], []
    for row in rows:
        cells = []
        for place in (2 * row, 2 * row + 1):
            mark = ' class="reference"' if abs(place - at_reference) <= SAME else ""
            cells.append(f"<td{mark}>{format_duration(told[place]) if place in told else ''}</td>")
        lines.append(f'<tr><th scope="row">{2 * row * step:.0f} {unit()}</th>{"".join(cells)}</tr>')
        texts.append((Text("0", 1.0, 1.0, 0.0, 0.05, size_pt=big.chart_pt, line_em=DIGITS_EM),))
    drain = "" if stage.counted == "full to empty" else f" {verb(recipe).capitalize()} {format_duration(stage.drain_s)} before it."
    low_c, high_c = stage.valid_c or (stage.reference_c, stage.reference_c)
    data = f"Outside {plain(low_c)} to {plain(high_c)}: outside data."
    on_grid = abs(at_reference - round(at_reference)) <= SAME
    odd = "" if on_grid else f" {format_duration(stage.target_ref_s)} at {plain(stage.reference_c, 2)}."
    note = f"If it drifts, take the middle of where it was.{odd}{drain} {data}"
    across = (".0", ".5") if step < 1.0 else ("+0", "+1")
    head = f'<tr><th></th><th scope="col">{across[0]}</th><th scope="col">{across[1]}</th></tr>'
    html = f'<h2>{escape(heading)}</h2>\n<table class="chart">{head}\n{chr(10).join(lines)}\n</table>\n<p>{note}</p>'
    return Block(html, (*below(Text(heading, 1.1, bold=True), Text(".0")), *texts, *below(Text(note))), 1.0)


def _thinned(degrees: Sequence[int], reference: int) -> list[int]:
    """At most `MOST_ROWS` degrees: every second, third ... one, but always the ends and the reference."""
    every = 1
    while True:
        kept = [c for i, c in enumerate(degrees) if i % every == 0 or i == len(degrees) - 1 or c == reference]
        if len(kept) <= MOST_ROWS:
            return kept
        every += 1


def sheets_block(recipe: Recipe, whose: str = "") -> Block:
    """When each sheet goes in and comes out. The recipe must have sheets; `whose` as in `chart`."""
    sheets = recipe.sheets
    if sheets is None:
        raise AssertionError("a recipe without sheets")
    heading = f"{whose}: sheets" if whose else "Sheets"
    heading += ", counted from the first one in, at the reference"
    cells = []
    for number, (factor, exit_s) in enumerate(zip(sheets.factors, recipe.sheet_exits_s, strict=True), 1):
        own = "" if factor == 1 else f" x {format_number(factor)}"
        enter = format_duration((number - 1) * sheets.interval_s)
        cells.append(f'<div class="cell"><span>{number}: in {enter}{own}</span><b>{format_duration(exit_s)}</b></div>')
    order = "Order in = order out." if len(set(sheets.factors)) == 1 else "Each has its own time: lift them by this list."
    note = f"{order} Shuffle from bottom to top. The fixing time counts from the last sheet."
    columns, of = (6, "") if len(set(sheets.factors)) == 1 else (4, " of4")
    html = f'<h2>{escape(heading)}</h2>\n<div class="cells{of}">{"".join(cells)}</div>\n<p>{note}</p>'
    return Block(html, below(Text(heading, 1.1), Text(note)), 1.2 + math.ceil(len(cells) / columns) * CELL_ROW_EM)


def sounds(*recipes: Recipe) -> Block:
    """The table of sounds; what these recipes never let sound is left out."""
    heading = "What you hear, and what the hands do"
    signals = [signal for signal in SIGNALS if any(_may_sound(signal, recipe) for recipe in recipes)]
    text = " ".join(f"{signal.name.upper()} {signal.heard}: {signal.do}." for signal in signals)
    items = " ".join(f"<b>{signal.name.upper()}</b> {escape(signal.heard)}: {escape(signal.do)}." for signal in signals)
    html = f"<h2>{heading}</h2>\n<p>{items} <b>{escape(FOOT_IN_BRIEF)}</b></p>"
    return Block(html, below(Text(heading, 1.1), Text(f"{text} {FOOT_IN_BRIEF}")), 1.0)


def _may_sound(signal: Signal, recipe: Recipe) -> bool:
    if signal.name in ("double-tick", "sheet"):
        return recipe.sheets is not None
    if signal.name == "over":
        return any(stage.role in FIXING_ROLES for stage in recipe.stages)
    if signal.name == "click":
        return False  # the line about the foot tells of it
    return signal.name != "answer-tens" or any(stage.target_ref_s >= 60 * TENS_FROM for stage in recipe.stages)


def _happens(recipe: Recipe) -> Block:
    heading = "When something happens (common practice, no source)"
    dark = "stay in the dark, " if dark_baths(recipe) else ""
    text = (
        f"A stage may wait as the last column says; developer never. Power gone: {dark}go on by the second clock."
        f" Light fell on bare {recipe.medium}: note the stage, finish all the same."
    )
    html = f'<h2>{heading}</h2>\n<p class="alarm">{ALARM_FIRST}</p>\n<p>{text}</p>'
    return Block(html, below(Text(heading, 1.1), Text(ALARM_FIRST, 1.15, bold=True), Text(text)), 1.1)


def cautions(*recipes: Recipe) -> Block:
    """Those of these recipes that belong on a wall, each once."""
    heading = "Cautions"
    wanted = {caution.id: caution for recipe in recipes for caution in cautions_for(recipe)}
    wanted[RULE.id] = wanted.pop(RULE.id)  # which always comes last
    texts = [caution.text for caution in wanted.values() if "wall card" in caution.where and caution.id != "second clock"]
    html = f"<h2>{heading}</h2>\n" + "\n".join(f"<p>{escape(text)}</p>" for text in texts)
    return Block(html, below(Text(heading, 1.1), *map(Text, texts)), 0.7 + 0.18 * len(texts))


def fields(apart: bool) -> Block:
    """Numbers to be filled in by hand, side by side or `apart`, one below the other."""
    names = ("Emergency number", "Poison advice", "Who knows that I am here")
    html = f'<p class="fields{" apart" if apart else ""}">' + "".join(f"<span>{name}</span>" for name in names) + "</p>"
    return Block(html, below(*map(Text, names)) if apart else below(Text(names[0])), 4.0 if apart else 2.6)
