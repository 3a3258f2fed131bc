"""The timeline of an evening as a picture: both vessels, every pour and turn, where two films clash. Pure.

Baths differ by their words, not by colour alone; a filled ring is a clash as planned, an open one a clash that drift would make.
Tests: tests/prepare/evening/test_picture.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from monitor.core.drawing.strips import LIGHT, STROKES, Drawing, Scale, alone, time_axis
from monitor.core.drawing.words import width
from monitor.core.text.quantities import format_duration
from monitor.prepare.evening.planned import Planned
from monitor.prepare.evening.timeline import FilmTime
from monitor.prepare.evening.told import SIGNS

WIDE_PX, TEXT_PX, LANE_PX, GAP_PX = 900.0, 13.0, 30.0, 26.0
LEFT_PX, RIGHT_PX = 76.0, 30.0
MOST_TICKS = 9
TURN_PX, POUR_PX = 5.0, 14.0


def picture(plan: Planned, wide_px: float = WIDE_PX, legend: bool = True) -> tuple[str, float]:
    """The timeline as SVG in a page, `wide_px` wide; and its height in px. `legend`: with a line that says what the rings are."""
    drawing = Drawing(wide_px, TEXT_PX)
    x = Scale(0.0, max(plan.end_s, 60.0), LEFT_PX, wide_px - RIGHT_PX)
    top = 6.0
    y = top
    for vessel in plan.evening.vessels:
        films = [film for film in plan.films if film.film.vessel == vessel]
        drawing.text(4.0, y + GAP_PX + 0.65 * LANE_PX, "" if vessel is None else vessel[:9], "b")
        _lane(drawing, x, y, films)
        y += GAP_PX + LANE_PX
    y += 10.0
    drawing.text(4.0, y + POUR_PX, "hands", "b")
    _hands(drawing, x, y, plan)
    y += POUR_PX + 16.0
    time_axis(drawing, x, top, y, MOST_TICKS)
    if plan.clashes and legend:
        rings = "rings: two films want the hands together, filled as planned, open if an end moves by up to 5 %"
        drawing.text(LEFT_PX, y + 2.9 * TEXT_PX, rings, "d")
    drawing.height = y + (3.4 if plan.clashes and legend else 1.8) * TEXT_PX
    return drawing.svg(_in_words(plan)), drawing.height


def _lane(drawing: Drawing, x: Scale, y: float, films: Sequence[FilmTime]) -> None:
    """One vessel: each film's name over its baths."""
    for film in films:
        begin_px = x.at(film.start_s)
        room_px = max(40.0, next((x.at(f.start_s) for f in films if f.start_s > film.start_s), x.to_px + RIGHT_PX) - begin_px - 6.0)
        drawing.text(begin_px, y + GAP_PX - 7.0, _cut(f"{film.film.number} {film.film.what}", room_px))
        for at in film.stages:
            left, wide = x.at(at.begin_s), x.at(at.end_s) - x.at(at.begin_s)
            if wide <= 0:
                continue
            drawing.rect(left, y + GAP_PX, wide, LANE_PX, "band" if at.stage.role == "develop" else "ground")
            drawing.rect(left, y + GAP_PX, wide, LANE_PX, "box")
            named = next((w for w in (at.stage.name, SIGNS[at.stage.role]) if width(w, TEXT_PX) <= wide - 4.0), "")
            if named:
                drawing.text(left + wide / 2.0, y + GAP_PX + 0.65 * LANE_PX, named, anchor="middle")


def _hands(drawing: Drawing, x: Scale, y: float, plan: Planned) -> None:
    """Long bars for pours, short ones for turning, as wide as they keep the hands; a ring where two films clash."""
    turning = [m for m in plan.moments if m.what.endswith(": agitate")]
    others = [m for m in plan.moments if not m.what.endswith(": agitate")]
    for found, high in ((turning, TURN_PX), (others, POUR_PX)):
        pieces = [(x.at(m.t_s), max(1.2, min(x.at(m.t_s + m.busy_s), x.to_px + RIGHT_PX) - x.at(m.t_s))) for m in found]
        drawing.rects(pieces, y + POUR_PX - high, high, "full" if found is others else "said-full")
    by_moment: dict[float, bool] = {}
    for clash in plan.clashes:
        at_s = max(clash.first.t_s, clash.second.t_s)
        by_moment[at_s] = by_moment.get(at_s, False) or clash.overlap_s > 0
    for at_s, now in sorted(by_moment.items(), key=lambda item: item[1]):
        drawing.mark(x.at(at_s), y + POUR_PX + 8.0, filled=now, radius=4.0)


def _cut(words: str, room_px: float) -> str:
    while len(words) > 1 and width(words, TEXT_PX) > room_px:
        words = words[:-1]
    return words.rstrip()


def _in_words(plan: Planned) -> str:
    films = "; ".join(
        f"film {f.film.number}, {f.film.what}{'' if f.film.vessel is None else f', {f.film.vessel}'}:"
        f" {format_duration(f.start_s)} to {format_duration(f.end_s)}"
        for f in plan.films
    )
    return f"Timeline of {plan.evening.name}. {films}. {len(plan.clashes)} times two films want the hands together (rings)."


_OWN = (
    ".strip .box{fill:none;stroke:var(--ink);stroke-width:1.2}.strip .ground{fill:var(--ground);stroke:none}"
    ".strip .said-full{fill:var(--dim);stroke:none}"
)
LANES = f":root{{{LIGHT}}}{STROKES}{_OWN}\n"
"""What a page with this picture wants in its style: black on white."""


def picture_alone(plan: Planned) -> str:
    """The timeline as a file of its own, in the colours that its reader prefers."""
    return alone(picture(plan)[0]).replace(STROKES, STROKES + _OWN, 1)
