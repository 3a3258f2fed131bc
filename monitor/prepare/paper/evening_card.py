"""The wall card of an evening: one printed A4 page for several films in one or two vessels; it works when everything electric has failed.

Decides its content, and how large the type can be so that it fits one page: the timeline, when each bath of each film goes in by one second
clock, how each bath is moved and how long it may wait, the times at other temperatures, what can be heard and which switch does what,
what to do if the unit dies, cautions, and lines for the emergency numbers. Blocks that the card of one film has are that card's.
Tests: tests/prepare/paper/test_evening_card.py, which prints it in a real browser.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from html import escape

from monitor.core.evening.turns import ARMED_BEFORE_S
from monitor.core.recipe.conditions import dark_baths
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.degrees import plain
from monitor.core.text.quantities import format_duration, format_volume
from monitor.prepare.evening.picture import LANES, picture
from monitor.prepare.evening.planned import Planned
from monitor.prepare.evening.supplies import Mix, Supplies
from monitor.prepare.evening.timeline import FilmTime, StageTime
from monitor.prepare.evening.told import media
from monitor.prepare.paper.card import (
    DIGITS_EM,
    Big,
    Fitted,
    agitation_words,
    cautions,
    chart,
    fields,
    lid_until,
    readable,
    sheets_block,
    sounds,
    style,
)
from monitor.prepare.paper.page_fit import LINE_EM, PAGE_PT, Block, Pair, Text, below, type_size_pt
from monitor.prepare.waiting import ALARM_FIRST, waits_for

NARROW_PX = 700.0
"""Width of the timeline's drawing: printed over the whole page its letters are then about 10 points high."""
SIZES = tuple(Big(pt, chart_pt) for pt, chart_pt in ((27, 16), (24, 16), (22, 14), (20, 13), (18, 12), (16, 11), (14, 10), (9, 7)))
"""27 points are digits of 7 mm, which are read at 1.5 m (as on the card of one film)."""
WIDE_SHARE = 0.34
"""The part of the page's width for tables of times with much above them that says whose they are."""
LABEL_SHARE = 0.2
"""The part of the clock table's width that a film's name has."""
MOST_ACROSS = 7
"""So many baths of one film stand side by side; more go on in the next row."""


def evening_card_html(plan: Planned, needs: Supplies, switches: int | None = None) -> str:
    """The page for one evening. Self-contained; one A4 page when printed. `switches`: how many the station has, None where nobody says."""
    big, blocks, size_pt = _fitted(plan, needs, switches)
    body = "\n".join(block.html for block in blocks)
    title = escape(plan.evening.name)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}: card for the wall</title>\n<style>\n{style(size_pt, big)}{_own_style(big)}</style>\n</head>\n<body>\n{body}\n"
        "</body>\n</html>\n"
    )


def _fitted(plan: Planned, needs: Supplies, switches: int | None) -> Fitted:
    """The sizes of the times, the blocks and the size of the other type."""

    def tried() -> Iterator[Fitted]:
        for narrow in SIZES:
            ways = [(big, list(_blocks(plan, needs, switches, big))) for big in (narrow, replace(narrow, least_share=WIDE_SHARE))]
            yield max(((big, blocks, type_size_pt(blocks)) for big, blocks in ways), key=lambda found: found[2])

    return readable(tried())


def _own_style(big: Big) -> str:
    return f"""{LANES}.strip {{ width: 100%; height: auto; display: block; }}
.clocks td {{ padding: 0 .3rem; line-height: {DIGITS_EM}; }}
.clocks td b {{ font-size: {big.stage_pt}pt; white-space: nowrap; }}
.clocks td b.who {{ font-size: 1.25em; line-height: {LINE_EM}; white-space: normal; }}
.clocks td small {{ display: block; line-height: {LINE_EM}; }}
.dead {{ border: .16em solid #000; padding: .2em .5em; margin: .3em 0; }}
.dead h2 {{ border: 0; margin: 0; }}
@media screen and (max-width: 640px) {{
.clocks, .clocks tbody, .clocks tr, .clocks td {{ display: block; border: 0; padding: 0; }}
.clocks tr {{ border-bottom: .1em solid #000; padding: .4em 0; }}
.clocks td {{ display: flex; gap: .6em; align-items: baseline; }}
.clocks td b.time {{ min-width: 4.2ch; }}
}}
"""


def _blocks(plan: Planned, needs: Supplies, switches: int | None, big: Big) -> Iterator[Block | Pair]:
    recipes = [(recipe, _whose(plan, recipe)) for recipe in _recipes(plan)]
    yield _head(plan)
    yield _picture(plan)
    yield _clocks(plan, big)
    yield _jugs(plan, needs)
    yield _baths(recipes)
    for recipe, whose in recipes:
        if recipe.sheets is not None:
            yield sheets_block(recipe, whose)
    stages = [(recipe, stage, whose) for recipe, whose in recipes for stage in recipe.stages if stage.has_times_by_temperature]
    charts = tuple(chart(recipe, stage, big, whose) for recipe, stage, whose in stages)
    left = (*charts, fields(apart=True))
    alone = [recipe for recipe, _ in recipes]
    words = (_dead(plan), sounds(*alone), _switches(plan, switches), cautions(*alone))
    if charts:
        sides = "".join(f"<div>{chr(10).join(block.html for block in side)}</div>\n" for side in (left, words))
        yield Pair(f'<div class="pair">{sides}</div>', left, words, big.chart_share)
    else:
        yield from (*words, fields(apart=False))


def _recipes(plan: Planned) -> list[Recipe]:
    """Each of the recipes once, as their files and the films' own factors say."""
    found: list[Recipe] = []
    for film in plan.evening.films:
        if all(film.recipe.data != other.data for other in found):
            found.append(film.recipe)
    return found


def _whose(plan: Planned, recipe: Recipe) -> str:
    """A recipe's name, with the films that follow it and their vessels: "Roll (films 1 and 3, left; film 2, right)"."""
    films = [film for film in plan.evening.films if film.recipe.data == recipe.data]
    told: list[str] = []
    for vessel in dict.fromkeys(film.vessel for film in films):
        numbers = _films([film.number for film in films if film.vessel == vessel])
        told.append(numbers if vessel is None else f"{numbers}, {vessel}")
    return f"{recipe.name} ({'; '.join(told)})"


def _films(numbers: Sequence[int]) -> str:
    """Such as "film 2", "films 1 and 3", "films 1 to 4"; the numbers rise."""
    if len(numbers) == 1:
        return f"film {numbers[0]}"
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"films {numbers[0]} to {numbers[-1]}"
    return f"films {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _head(plan: Planned) -> Block:
    vessels = [vessel for vessel in plan.evening.vessels if vessel is not None]
    where = f", {' and '.join(vessels)}" if vessels else ""
    many = f"{len(plan.films)} film{'s' * (len(plan.films) > 1)}{where}; "
    film = f"{many}no light of any colour on bare {media(plan)}{_lids(plan)}."
    clock = f"Start a second clock {plan.films[0].recipe.goes_in}: every time on this page is on it."
    clock += " It still runs when everything electric has failed."
    html = f'<h1>{escape(plan.evening.name)}</h1>\n<p class="film">{escape(film)}</p>\n<p class="clock">{clock}</p>'
    return Block(html, below(Text(plan.evening.name, 1.4, bold=True), Text(film), Text(clock, 1.2, padding_em=1.6, bold=True)), 1.0)


def _lids(plan: Planned) -> str:
    """Until when lids stay on; nothing where some film lies open."""
    if any(film.recipe.lifted for film in plan.films):
        return ""
    earlier = [f"; film {film.film.number}: lid on until {lid_until(film.recipe)}" for film in plan.films if film.recipe.lid_off_at]
    return "".join(("; lids on until fixed", *earlier))


def _picture(plan: Planned) -> Block:
    svg, high_px = picture(plan, NARROW_PX, legend=False)
    high_pt = high_px * PAGE_PT[0] / NARROW_PX
    return Block(svg, below(Text("0", size_pt=high_pt, line_em=1.0)), 0.2)


def _clocks(plan: Planned, big: Big) -> Block:
    """A row a film: when each bath goes in, in large digits; below it what that is and when the one before leaves."""
    heading = "When each bath goes in, by the second clock"
    rows: list[str] = []
    texts: list[tuple[Text, ...]] = list(below(Text(heading, 1.1)))
    for film in plan.films:
        cells = _cells(film)
        for first in range(0, len(cells), MOST_ACROSS):
            shown = cells[first : first + MOST_ACROSS]
            vessel = f" {film.film.vessel}" if film.film.vessel is not None else ""
            who, what = (f"{film.film.number}{vessel}", film.film.what) if first == 0 else ("", "")
            told = "".join(f'<td><b class="time">{time}</b><small>{escape(small)}</small></td>' for time, small in shown)
            told += "<td></td>" * (MOST_ACROSS - len(shown)) if len(cells) > MOST_ACROSS else ""
            rows.append(f'<tr><td><b class="who">{escape(who)}</b><small>{escape(what)}</small></td>{told}</tr>')
            share = (1.0 - LABEL_SHARE) / min(MOST_ACROSS, len(cells))
            texts.append((Text(who, 1.25, LABEL_SHARE, 0.6, bold=True), *(Text(time, 1.0, share, 0.6, 0.1, bold=True, size_pt=big.stage_pt,
                          line_em=DIGITS_EM) for time, _ in shown)))  # fmt: skip
            texts.append((Text(what, 0.85, LABEL_SHARE, 0.6), *(Text(small, 0.85, share, 0.6) for _, small in shown)))
    rings = " Rings: two films want you at once, filled as planned, open if an end moves." if plan.clashes else ""
    note = f"At another temperature what comes later in that film moves by what its development does. (w): it may wait.{rings}"
    html = f'<h2>{heading}</h2>\n<table class="clocks">{chr(10).join(rows)}</table>\n<p>{note}</p>'
    return Block(html, (*texts, *below(Text(note))), 1.0 + 0.1 * len(rows))


def _cells(film: FilmTime) -> list[tuple[str, str]]:
    """Each bath's clock time, and what is done there; the film's end comes last."""
    found: list[tuple[str, str]] = []
    for at in film.stages:
        if at.stage.role == "load":
            found.append(("dark", f"{at.stage.name}, until your press"))
        else:
            found.append((format_duration(at.begin_s), _cell_words(film, at)))
    wait = " (w)" if film.stages[-1].stage.until == "at least" else ""
    return [*found, (format_duration(film.end_s), f"film out{wait}")]


def _cell_words(film: FilmTime, at: StageTime) -> str:
    stage, long = at.stage, format_duration(at.end_s - at.begin_s)
    if stage.until == "at least":
        return f"{stage.name} at least {long} (w)"
    if stage.role == "develop" and film.recipe.sheets is not None:
        return f"{stage.name} {long}, sheet by sheet"
    out = "lift out" if film.recipe.lifted else "pour off"
    return f"{stage.name} {long}, {out} {format_duration(at.end_s - stage.drain_s)}"


def _jugs(plan: Planned, needs: Supplies) -> Block:
    """What stands ready and for which films, by its jug or in the order of use."""
    mixes = sorted((*needs.mixes, *needs.from_bottles), key=lambda mix: (mix.jug is None, mix.jug or 0, mix.used_s))
    words = [_jug_words(mix) for mix in mixes]
    text = "; ".join(f"{name}{told}" for name, told in words)
    html = "; ".join(f"<b>{escape(name)}</b>{escape(told)}" for name, told in words)
    places = {film.recipe.place: None for film in plan.films}
    heading = " and ".join(f"{place}s" for place in places).capitalize()
    return Block(f"<p><b>{heading}:</b> {html}.</p>", below(Text(f"{heading}: {text}.", bold=True)), 0.3)


def _jug_words(mix: Mix) -> tuple[str, str]:
    name = f"{mix.jug} {mix.solution}" if mix.jug is not None else mix.solution
    told = [] if mix.dilution is None else [f" {mix.dilution}"]
    told += [] if mix.volume_ml is None else [f", {format_volume(mix.volume_ml)}"]
    told.append(f", {'fresh for ' if mix.once else ''}{_films(sorted(mix.films))}")
    return name, "".join(told)


def _baths(recipes: Sequence[tuple[Recipe, str]]) -> Block:
    """How each bath is moved, how warm it is and how long it may wait."""
    html, texts = [], []
    for recipe, whose in recipes:
        waits = {wait.stage: wait.short for wait in waits_for(recipe)}
        name = f"{whose}: " if len(recipes) > 1 else ""
        parts = [(stage.name, _bath_words(stage, waits[stage.number])) for stage in recipe.stages if stage.role != "load"]
        texts.append(Text(name + " ".join(f"{head}{told}" for head, told in parts), bold=True))
        html.append(f"<p>{escape(name)}" + " ".join(f"<b>{escape(head)}</b>{escape(told)}" for head, told in parts) + "</p>")
    return Block("\n".join(html), below(*texts), 0.3)


def _bath_words(stage: Stage, wait: str) -> str:
    warm = plain(stage.reference_c) if stage.reference_stated else f"near {plain(stage.reference_c)}"
    return f" {warm}, move {agitation_words(stage) or 'none'}; may wait {wait}."


def _dead(plan: Planned) -> Block:
    heading = "If the unit is dead, silent or in doubt"
    two = len(plan.evening.vessels) > 1
    order = " Both films at once: a developer goes first, then a stop bath, then a fix; turning a tank may be left out once." if two else ""
    dark = "Stay in the dark. " if any(dark_baths(film.recipe) for film in plan.films) else ""
    text = (
        f"{dark}Go on by the second clock and this page; a later film begins at its time, or later if the hands are not free."
        f"{order} A developer never waits. Do not restart anything that makes light. Light fell on bare {media(plan)}: finish all the same."
    )
    html = f'<div class="dead"><h2>{heading}</h2>\n<p class="alarm">{ALARM_FIRST}</p>\n<p>{text}</p></div>'
    alarm = Text(ALARM_FIRST, 1.15, padding_em=1.3, bold=True)
    return Block(html, below(Text(heading, 1.1, bold=True), alarm, Text(text, padding_em=1.3)), 1.4)


def _switches(plan: Planned, switches: int | None) -> Block:
    """Whose a sound is, and which switch does what."""
    vessels = [vessel for vessel in plan.evening.vessels if vessel is not None]
    heading = "Which film, which switch" if len(vessels) > 1 else "The next film"
    words: list[str] = []
    if len(vessels) > 1:
        first, second = vessels
        words.append(f"{second.upper()}: READY, NOW and ANSWER end with two short pulses. {first.upper()}: without.")
        one = (
            "One switch: a tap answers the NOW that has called longest; a hold of a second begins what waits, "
            f"{first} first; else it asks about the film begun last."
        )
        two = f"Two switches: each is its own vessel's, {first} the first, {second} the second."
        words += [one] if switches == 1 else [two] if switches == 2 else [one, two]
    before = format_duration(ARMED_BEFORE_S)
    if len(vessels) > 1:
        words.append(f"The first film of a vessel takes presses from {before} before its time on; until then a hold only asks.")
    if len(plan.films) > len(plan.evening.vessels):
        armed = f"from {before} before its time on hold a second (YES: armed), hold again: it begins"
        words.append(f"A later film: load it in the dark; {armed}.")
    if not words:
        return Block("", (), 0.0)
    text = " ".join(words)
    return Block(f"<h2>{heading}</h2>\n<p>{escape(text)}</p>", below(Text(heading, 1.1), Text(text)), 0.8)
