"""The wall card: one printed A4 page in large type that still works when everything electric has failed.

Decides its content, and how large the type can be so that it fits one page: the jugs from left to right, the stages
with time, movement, pouring off and how long each may wait, the times over temperature for each steered stage, the sheets'
way out, what can be heard, what to do when something happens, cautions, and a line for the emergency number. The page is one HTML file
without script, picture or network, black on white. Tests: tests/prepare/paper/test_card.py, which prints it in a real browser.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from html import escape

from monitor.core.recipe.kinds import CLOSED_VESSELS, FIXING_ROLES
from monitor.core.recipe.values import SAME, Recipe, Stage
from monitor.core.session.agitation import QUIET_S
from monitor.core.session.cues import SIGNALS, TENS_FROM, Signal
from monitor.core.session.presses import FOOT_IN_BRIEF
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.cautions import cautions_for
from monitor.prepare.paper.page_fit import FACE, LINE_EM, NARROWED, Block, Text, below, type_size_pt
from monitor.prepare.recipes.read_back import chart_points
from monitor.prepare.waiting import ALARM_FIRST, waits_for

CELL_ROW_EM = 1.88
MOST_CELLS = 30
"""With more points than this the chart's steps are coarser; the reference is always included."""


def card_html(recipe: Recipe) -> str:
    """The page for one recipe. Self-contained; one A4 page when printed."""
    blocks = list(_blocks(recipe))
    size_pt = type_size_pt(blocks)
    body = "\n".join(block.html for block in blocks)
    title = escape(recipe.name)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{title}: card for the wall</title>\n<style>\n{_style(size_pt)}</style>\n</head>\n<body>\n{body}\n</body>\n</html>\n"
    )


def _style(size_pt: float) -> str:
    return f"""{NARROWED}@page {{ size: A4 portrait; margin: 10mm; }}
* {{ box-sizing: border-box; }}
html {{ font: {size_pt}pt/{LINE_EM} {FACE}; color: #000; background: #fff; }}
body {{ margin: 0 auto; max-width: 190mm; overflow-wrap: break-word; }}
h1 {{ font-size: 1.7em; line-height: 1.15; margin: 0; }}
h2 {{ font-size: 1.1em; margin: .55em 0 .2em; border-bottom: .14em solid #000; }}
p {{ margin: .15em 0; }}
.film {{ font-size: 1.1em; }}
.clock {{ font-size: 1.2em; font-weight: bold; border: .16em solid #000; padding: .15em .5em; margin: .35em 0; }}
.jugs {{ display: grid; grid-auto-flow: column; grid-auto-columns: 1fr; gap: .35em; }}
.jug {{ border: .1em solid #000; border-top-width: .5em; padding: .1em .3em .25em; }}
.jug b {{ display: block; }}
.jug .place {{ font-size: 1.9em; line-height: 1.1; font-weight: bold; }}
table {{ width: 100%; border-collapse: collapse; }}
th {{ text-align: left; font-weight: normal; border-bottom: .08em solid #000; padding: 0 .3em; }}
td {{ border-bottom: .05rem solid #000; padding: .48rem .3rem .08rem; vertical-align: top; }}
td.time {{ padding-top: .08rem; font-size: 1.5em; line-height: 1.15; font-weight: bold; }}
td.time small, .cell small {{ font-size: .55em; font-weight: normal; }}
tr.main td {{ border-top: .16rem solid #000; border-bottom: .16rem solid #000; }}
.never {{ font-weight: bold; }}
.cells {{ display: grid; grid-template-columns: repeat(6, 1fr); gap: .2em; }}
.of4 {{ grid-template-columns: repeat(4, 1fr); }}
.cell {{ display: flex; justify-content: space-between; gap: .35em; align-items: baseline; white-space: nowrap; }}
.cell {{ border: .06em solid #000; padding: 0 .3em; }}
.cell b {{ font-size: 1.3em; line-height: 1.2; }}
.cell.reference {{ outline: .16em solid #000; }}
.alarm {{ font-weight: bold; font-size: 1.15em; }}
.fields {{ display: grid; grid-template-columns: repeat(3, 1fr); }}
.fields {{ border: .1em solid #000; padding: .2em .5em 1.6em; margin-top: .5em; }}
h2, tr, .jug, .cell, .fields {{ break-inside: avoid; }}
"""


def _blocks(recipe: Recipe) -> Iterator[Block]:
    yield _head(recipe)
    yield _jugs(recipe)
    yield _stages(recipe)
    for stage in recipe.stages:
        if stage.steer and stage.law is not None:
            yield _chart(recipe, stage)
    if recipe.sheets is not None:
        yield _sheets(recipe)
    yield _sounds(recipe)
    yield _happens(recipe)
    yield _cautions(recipe)
    yield _fields()


def _head(recipe: Recipe) -> Block:
    film = _film_words(recipe)
    clock = "Start your second clock with mine. It still runs when everything electric has failed."
    html = f'<h1>{escape(recipe.name)}</h1>\n<p class="film">{escape(film)}</p>\n<p class="clock">{clock}</p>'
    return Block(html, below(Text(recipe.name, 1.7, bold=True), Text(film, 1.1), Text(clock, 1.2, padding_em=1.6, bold=True)), 1.35)


def _film_words(recipe: Recipe) -> str:
    what = f"{recipe.what}; " if recipe.what else ""
    light = "infrared: no lamp, and invisible light is light" if recipe.film == "infrared" else "no light of any colour on bare film"
    closed = "" if recipe.vessel not in CLOSED_VESSELS else "; lid on until fixed"
    return f"{what}{recipe.film} film, {recipe.vessel}; {light}{closed}."


_PLACES = {"lidded tank": "jug", "drum": "jug", "open tank": "tank", "open tray": "tray"}


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
    heading = f"{_PLACES[recipe.vessel].capitalize()}s from left to right"
    cells, columns = [], []
    for place, stage in boxes:
        lines = _jug_lines(stage)
        cells.append(
            f'<div class="jug"><span class="place">{place}</span><b>{escape(lines[0])}</b>'
            + "".join(f"{escape(line)}<br>" for line in lines[1:]) + "</div>"
        )  # fmt: skip
        columns.append(lines)
    html = f"<h2>{heading}</h2>\n<div class=\"jugs\">{''.join(cells)}</div>"
    share = 1.0 / max(1, len(boxes))
    rows = tuple(
        tuple(
            Text(column[i] if i < len(column) else "", 1.0, share, 0.9, bold=i == 0) for column in columns
        )
        for i in range(max(map(len, columns), default=0))
    )
    return Block(html, (*below(Text(heading, 1.1)), *rows), 4.0)


def _jug_lines(stage: Stage) -> list[str]:
    """What, how thin, how much, how warm."""
    lines = [stage.solution or stage.name]
    if stage.dilution is not None:
        lines.append(str(stage.dilution))
    if stage.volume_ml is not None:
        lines.append(format_volume(stage.volume_ml))
        parts = stage.stock_and_water_ml
        if parts is not None:
            lines.append(f"{format_number(parts[0], 1)} ml stock + {format_number(parts[1], 1)} ml water")
    stated = stage.reference_stated
    band = f" +/- {format_number(stage.band_c, 2)} C" if stage.band_c else ""
    lines.append(f"{'' if stated else 'near '}{format_number(stage.reference_c)} C{band if stated else ''}")
    return lines


_COLUMNS = (3.0, 19.0, 22.0, 23.0, 16.0, 17.0)
"""Widths of the table's columns, per cent: number, stage, time, move, pour off, may wait."""


def _row(name: str, time: str, small: str, *others: str) -> tuple[Text, ...]:
    """One row of the table as texts side by side, all on the base line of the time, which is in larger type.

    Padding does that: browsers do not align base lines in printed tables.
    """
    above = 0.48
    shares = [percent / 100 for percent in _COLUMNS[1:]]
    # The time's letters count 1.5/1.4 of the size that is reckoned with, those behind it 0.55 of that.
    counted = time + small[: math.ceil(len(small) * 0.62)]
    return (
        Text(name, 1.0, shares[0], 0.6, above, bold=True),
        Text(counted, 1.4, shares[1], 0.6, 0.1, bold=True),
        *(Text(words, 1.0, share, 0.6, above) for words, share in zip(others, shares[2:], strict=True)),
    )


_QUIET = f"No movement in the last {format_duration(QUIET_S)} before pouring off."


def _stages(recipe: Recipe) -> Block:
    heading = "Stages, by the second clock"
    rows, texts = [], list(below(Text(heading, 1.1), Text("stage")))
    waits = {wait.stage: wait for wait in waits_for(recipe)}
    for stage in recipe.stages:
        time, small = _time_words(stage)
        moving, pour, wait = _agitation_words(stage), _pour_words(recipe, stage), waits[stage.number].short
        where = f" ({_PLACES[recipe.vessel]} {stage.jug})" if stage.jug is not None else ""
        never = ' class="never"' if waits[stage.number].most_s == 0 else ""
        main = ' class="main"' if stage.role in ("develop", "fix", "bleach-fix") else ""
        rows.append(
            f'<tr{main}><td>{stage.number}</td><td><b>{escape(stage.name)}</b>{where}</td>'
            f'<td class="time">{time}<small> {escape(small)}</small></td><td>{escape(moving)}</td><td>{escape(pour)}</td>'
            f"<td{never}>{escape(wait)}</td></tr>"
        )  # fmt: skip
        texts.append(_row(f"{stage.name}{where}", time, small, moving, pour, wait))
    out = "pour off" if recipe.vessel in CLOSED_VESSELS else "lift out"
    head = f"<tr><th></th><th>stage</th><th>time</th><th>move</th><th>{out}</th><th>may wait</th></tr>"
    widths = "".join(f'<col style="width:{percent}%">' for percent in _COLUMNS)
    html = f"<h2>{heading}</h2>\n<table><colgroup>{widths}</colgroup>{head}\n{chr(10).join(rows)}\n</table>"
    if any(stage.agitation and stage.until == "time" for stage in recipe.stages):
        html += f"\n<p>{_QUIET}</p>"
        texts += below(Text(_QUIET))
    return Block(html, tuple(texts), 1.2 + 0.25 * len(rows))


def _time_words(stage: Stage) -> tuple[str, str]:
    """The time, and what stands beside it in small type."""
    if stage.role == "load":
        return "dark", "no clock"
    small = []
    if stage.until == "at least":
        small.append("at least")
    if stage.counted == "full to empty":
        small.append("from full")
    if stage.steer:
        small.append(f"at {format_number(stage.reference_c)} C")
    return format_duration(stage.target_ref_s), ", ".join(small)


def _agitation_words(stage: Stage) -> str:
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
    return ", then ".join(words)


def _pour_words(recipe: Recipe, stage: Stage) -> str:
    if stage.role == "load":
        return ""
    if stage.until == "at least":
        return "after it"
    if recipe.sheets is not None and stage.role == "develop":
        return f"lift each {format_duration(stage.drain_s)} before its time"
    if stage.counted == "full to empty":
        return f"{_verb(recipe)} at {format_duration(stage.target_ref_s)} from full"
    gate = f"; begin only within {format_number(stage.gate.band_c)} C" if stage.gate is not None else ""
    return f"{_verb(recipe)} at {format_duration(stage.target_ref_s - stage.drain_s)}{gate}"


def _verb(recipe: Recipe) -> str:
    return "pour" if recipe.vessel in CLOSED_VESSELS else "lift"


def _chart(recipe: Recipe, stage: Stage) -> Block:
    points = _thinned([(float(p["celsius"]), float(p["planned_s"])) for p in chart_points(stage)], stage.reference_c)
    factor = "" if stage.factor == 1 else f", x {format_number(stage.factor)} included"
    heading = f"{stage.name}: time at one steady temperature of the developer itself{factor}"
    cells = []
    for celsius, planned_s in points:
        mark = " reference" if abs(celsius - stage.reference_c) <= SAME else ""
        cells.append(f'<div class="cell{mark}"><span>{format_number(celsius, 2)} C</span><b>{format_duration(planned_s)}</b></div>')
    low_c, high_c = points[0][0], points[-1][0]
    drain = "" if stage.counted == "full to empty" else f" {_verb(recipe).capitalize()} {format_duration(stage.drain_s)} before it."
    data = f"Outside {format_number(low_c)} C to {format_number(high_c)} C: outside data."
    note = f"If it drifts, take the middle of where it was.{drain} {data}"
    html = f"<h2>{escape(heading)}</h2>\n<div class=\"cells\">{''.join(cells)}</div>\n<p>{note}</p>"
    rows = math.ceil(len(cells) / 6)
    return Block(html, below(Text(heading, 1.1, bold=True), Text(note)), 1.2 + rows * CELL_ROW_EM)


def _thinned(points: Sequence[tuple[float, float]], reference_c: float) -> list[tuple[float, float]]:
    """At most `MOST_CELLS` points: every second, third ... one, but always the ends and the reference."""
    every = 1
    while True:
        kept = [p for i, p in enumerate(points) if i % every == 0 or i == len(points) - 1 or abs(p[0] - reference_c) <= SAME]
        if len(kept) <= MOST_CELLS:
            return kept
        every += 1


def _sheets(recipe: Recipe) -> Block:
    sheets = recipe.sheets
    if sheets is None:
        raise AssertionError("a recipe without sheets")
    heading = "Sheets, counted from the first one in, at the reference"
    cells = []
    for number, (factor, exit_s) in enumerate(zip(sheets.factors, recipe.sheet_exits_s, strict=True), 1):
        own = "" if factor == 1 else f" x {format_number(factor)}"
        enter = format_duration((number - 1) * sheets.interval_s)
        cells.append(f'<div class="cell"><span>{number}: in {enter}{own}</span><b>{format_duration(exit_s)}</b></div>')
    order = "Order in = order out." if len(set(sheets.factors)) == 1 else "Each has its own time: lift them by this list."
    note = f"{order} Shuffle from bottom to top. The fixing time counts from the last sheet."
    columns, of = (6, "") if len(set(sheets.factors)) == 1 else (4, " of4")
    html = f"<h2>{heading}</h2>\n<div class=\"cells{of}\">{''.join(cells)}</div>\n<p>{note}</p>"
    return Block(html, below(Text(heading, 1.1), Text(note)), 1.2 + math.ceil(len(cells) / columns) * CELL_ROW_EM)


def _sounds(recipe: Recipe) -> Block:
    """The table of sounds; what this recipe never lets sound is left out."""
    heading = "What you hear, and what the hands do"
    signals = [signal for signal in SIGNALS if _may_sound(signal, recipe)]
    text = " ".join(f"{signal.name.upper()} {signal.heard}: {signal.do}." for signal in signals)
    items = " ".join(f"<b>{signal.name.upper()}</b> {escape(signal.heard)}: {escape(signal.do)}." for signal in signals)
    html = f"<h2>{heading}</h2>\n<p>{items} <b>{escape(FOOT_IN_BRIEF)}</b></p>"
    return Block(html, below(Text(heading, 1.1), Text(f"{text} {FOOT_IN_BRIEF}")), 1.2)


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
    text = (
        "A stage may wait as the last column says; developer never. Power gone: stay in the dark, go on by the second clock."
        " Light fell on bare film: note the stage, finish all the same."
    )
    html = f'<h2>{heading}</h2>\n<p class="alarm">{ALARM_FIRST}</p>\n<p>{text}</p>'
    return Block(html, below(Text(heading, 1.1), Text(ALARM_FIRST, 1.15, bold=True), Text(text)), 1.3)


def _cautions(recipe: Recipe) -> Block:
    heading = "Cautions"
    texts = [caution.text for caution in cautions_for(recipe) if "wall card" in caution.where and caution.id != "second clock"]
    html = f"<h2>{heading}</h2>\n" + "\n".join(f"<p>{escape(text)}</p>" for text in texts)
    return Block(html, below(Text(heading, 1.1), *map(Text, texts)), 0.9 + 0.18 * len(texts))


def _fields() -> Block:
    html = '<p class="fields"><span>Emergency number</span><span>Poison advice</span><span>Who knows that I am here</span></p>'
    return Block(html, below(Text("Emergency number")), 2.6)
