"""The pictures of a running stage for a column of 358 px, by the one strip writer: the rail and the temperatures.

The rail is the whole stage: movements above, filled up to now, strokes at READY and NOW, the end as a bracket as wide as its doubt. What
was estimated is dotted, gaps stay gaps, names stand at the ends of their lines. Pure.
Tests: tests/page/test_slots.py, tests/page/test_in_browser.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from monitor.core.drawing.strips import DEGREES, Drawing, Scale, nice_step, ticks
from monitor.core.drawing.strips import Point as Px
from monitor.core.drawing.words import apart, width
from monitor.core.recipe.values import Stage
from monitor.core.text.degrees import figure, unit
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration
from monitor.live.view.hands import moment_s, moved_spans
from monitor.live.view.state import Point, ViewState
from monitor.live.view.words import bounds
from monitor.page import sentences

WIDE, SIZE = 358.0, 13.0
RAIL_HIGH, TRACE_HIGH = 66.0, 146.0
LEAST_SPAN = 1.0
"""Degrees that the picture shows at least, in the unit shown: noise is no curve."""
GAP_S = 6.0
"""Points farther apart than this are not joined."""
MINUTES_S = (60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)


def rail(state: ViewState) -> str:
    """The rail of the stage that runs; empty where none does."""
    seen, stage = state.seen, state.stage
    if stage is None or seen.began_s is None or seen.end_t_s is None or stage.has_no_clock:
        return ""
    began_s, end_s = seen.began_s, seen.end_t_s
    around_s = two_sd(seen.end_sd_s or 0.0) if seen.steered and not seen.frozen else 0.0
    first_s, last_s = bounds(seen) or (end_s - around_s, end_s + around_s)
    whole_s = max(began_s + max(stage.begin_to_end_s, stage.at_most_s or 0.0), last_s, state.t_s)
    x = Scale(began_s, max(whole_s, began_s + 1.0), 1.0, WIDE - 8.0)
    drawn = Drawing(WIDE, SIZE)
    drawn.height = RAIL_HIGH
    for from_s, until_s in moved_spans(state, stage, began_s, whole_s):
        drawn.rect(x.at(from_s), 4.0, max(2.0, x.at(min(until_s, whole_s)) - x.at(from_s)), 6.0, "moves")
    top, bottom = 18.0, 38.0
    drawn.rect(x.at(began_s), top, x.at(end_s) - x.at(began_s), bottom - top, "bed")
    now_x = x.at(min(state.t_s, max(end_s, began_s)))
    if now_x > x.at(began_s):
        drawn.rect(x.at(began_s), top, now_x - x.at(began_s), bottom - top, "full")
    for at_s in _strokes(state):
        if began_s <= at_s <= whole_s:
            drawn.stroke(x.at(at_s), top - 6.0, x.at(at_s), bottom + 5.0, "mark")
    _bracket(drawn, x.at(max(began_s, first_s)), x.at(last_s), top - 6.0, bottom + 5.0)
    _minutes(drawn, x, began_s, end_s, RAIL_HIGH - 5.0)
    told = (format_duration(float(int(state.t_s - began_s))), format_duration(end_s - began_s))
    return drawn.svg(sentences.RAIL_SAYS.format(stage=stage.name, at=told[0], end=told[1]))


def _strokes(state: ViewState) -> Iterable[float]:
    """When READY and NOW come; in an at-least stage the minimum and the limit."""
    seen, stage = state.seen, state.stage
    assert stage is not None
    now_s = moment_s(seen, stage)
    if seen.until == "time":
        return (now_s - stage.ready_s if seen.ready_s is None else seen.ready_s, now_s)
    return (now_s, *(() if stage.at_most_s is None else ((seen.began_s or 0.0) + stage.at_most_s,)))


def _bracket(drawn: Drawing, left: float, right: float, top: float, bottom: float) -> None:
    """The end: as wide as its doubt, and never narrower than can be seen."""
    middle, half = (left + right) / 2.0, max(3.0, (right - left) / 2.0)
    for edge, inward in ((middle - half, 3.0), (min(WIDE - 1.0, middle + half), -3.0)):
        drawn.line([(edge + inward, top), (edge, top), (edge, bottom), (edge + inward, bottom)], "bar")


def _minutes(drawn: Drawing, x: Scale, began_s: float, end_s: float, y: float) -> None:
    """Whole minutes where there is room, and the end in full: it is the number that counts."""
    end = format_duration(float(round(end_s - began_s)))
    at = min(x.at(end_s), WIDE - width(end, SIZE, bold=True) / 2.0 - 1.0)
    drawn.text(at, y, end, "b", "middle")
    room = at - width(end, SIZE, bold=True) / 2.0 - 8.0
    for t_s in ticks(0.0, x.high - began_s, 6, MINUTES_S):
        told = f"{t_s / 60.0:.0f}"
        place = max(x.at(began_s + t_s), width(told, SIZE) / 2.0)
        if place + width(told, SIZE) / 2.0 < room:
            drawn.text(place, y, told, "d", "middle")


def trace(state: ViewState, points: Sequence[Point]) -> str:
    """The temperatures of the stage so far, or of the last minutes where none runs."""
    from_s, until_s = _span(state)
    curve = "developer" if state.stage is None or state.stage.role == "develop" else sentences.PROBE_CURVE
    return drawn_between(points, from_s, until_s, _band(state.stage), (_clock(state, from_s), _clock(state, until_s)), curve)


def development(stage: Stage, points: Sequence[Point], begin_s: float, end_s: float) -> str:
    """The temperatures of a whole stage that is over."""
    return drawn_between(points, begin_s, end_s, _band(stage), ("0:00", format_duration(float(round(end_s - begin_s)))))


def _band(stage: Stage | None) -> tuple[float, float] | None:
    """What is wanted, in the unit shown."""
    if stage is None or stage.band_c is None:
        return None
    return figure(stage.reference_c - stage.band_c), figure(stage.reference_c + stage.band_c)


def drawn_between(
    points: Sequence[Point], from_s: float, until_s: float, band: tuple[float, float] | None, ends: tuple[str, str],
    curve: str = "developer",
) -> str:  # fmt: skip
    """The picture. `ends`: what stands at the two ends of its time; `curve`: the name of the developer's own line."""
    shown = [p for p in points if from_s - 1e-6 <= p.t_s <= until_s + 1e-6]
    known = [figure(v) for p in shown for v in (p.developer_c, p.bath_c) if v is not None]
    drawn = Drawing(WIDE, SIZE)
    drawn.height = TRACE_HIGH
    if len(known) < 2:
        return drawn.svg(sentences.TRACE_NOTHING)
    low, high = _room([*known, *(band or ())])
    names = [n for n in ("developer", "bath") if any((p.developer_c if n == "developer" else p.bath_c) is not None for p in shown)]
    called = {"developer": curve}
    right = WIDE - max(width(called.get(name, name), SIZE) for name in names) - 8.0
    x, y = Scale(from_s, until_s, 34.0, right), Scale(low, high, TRACE_HIGH - 24.0, 10.0)
    if band is not None:
        drawn.rect(x.from_px, y.at(band[1]), right - x.from_px, y.at(band[0]) - y.at(band[1]), "band")
        drawn.text(x.from_px + 4.0, y.at(band[1]) + 13.0, sentences.WANTED, "d")
    step = max(1.0, nice_step(high - low, 4, DEGREES))
    for value in (math.ceil(low / step) * step + k * step for k in range(int((high - low) / step) + 1)):
        if value <= high:
            drawn.stroke(x.from_px, y.at(value), right, y.at(value), "grid")
            drawn.text(x.from_px - 5.0, y.at(value) + 4.5, f"{value:.0f}°", "d", "end")
    for piece in _pieces(shown, lambda p: p.bath_c, lambda p: 0):
        drawn.line(_px(piece, lambda p: p.bath_c, x, y), "bath")
    for piece in _pieces(shown, lambda p: p.developer_c, lambda p: int(p.estimated)):
        drawn.line(_px(piece, lambda p: p.developer_c, x, y), "dots" if piece[-1].estimated else "main")
    for piece in _pieces(shown, own_c := _within(low, high), lambda p: 0):
        drawn.line(_px(piece, own_c, x, y), "said")
    _names(drawn, names, shown, x, y, curve)
    drawn.text(x.from_px, TRACE_HIGH - 4.0, ends[0], "d")
    drawn.text(right, TRACE_HIGH - 4.0, ends[1], "d", "end")
    own = [figure(p.developer_c) for p in shown if p.developer_c is not None] or known
    said = {"low": f"{min(own):.1f}", "high": f"{max(own):.1f} °{unit()}", "now": f"{own[-1]:.1f}"}
    return drawn.svg(sentences.TRACE_SAYS.format(**said))


def _within(low: float, high: float) -> Callable[[Point], float | None]:
    """What its own probe says while it is not believed, as far as it lies on the picture."""
    return lambda p: p.disbelieved_c if p.disbelieved_c is not None and low <= figure(p.disbelieved_c) <= high else None


def _span(state: ViewState) -> tuple[float, float]:
    began_s = state.seen.began_s if state.stage is not None else None
    until_s = max(state.t_s, (began_s or 0.0) + 60.0) if began_s is not None else state.t_s
    return (until_s - 300.0, until_s) if began_s is None else (began_s, until_s)


def _clock(state: ViewState, t_s: float) -> str:
    """On the stage's own clock; how long ago where none runs."""
    if state.stage is None or state.seen.began_s is None:
        return "now" if t_s >= state.t_s else f"{format_duration(state.t_s - t_s)} ago"
    return format_duration(max(0.0, float(int(t_s - state.seen.began_s))))


def _room(known: Sequence[float]) -> tuple[float, float]:
    low, high = min(known), max(known)
    lacking = max(0.0, LEAST_SPAN - (high - low))
    return low - lacking / 2.0 - 0.1, high + lacking / 2.0 + 0.1


def _pieces(points: Sequence[Point], value: Callable[[Point], float | None], kind: Callable[[Point], int]) -> list[list[Point]]:
    """Stretches that are one line of one kind: a gap in time or in what is known ends one; one of another kind begins at its last point."""
    found: list[list[Point]] = []
    gap_s = max(GAP_S, 3.0 * (points[-1].t_s - points[0].t_s) / len(points))
    before: Point | None = None
    for point in points:
        if value(point) is None:
            before = None
            continue
        if before is None or point.t_s - before.t_s > gap_s:
            found.append([point])
        elif kind(point) != kind(before):
            found.append([before, point])
        else:
            found[-1].append(point)
        before = point
    return found


def _px(points: Sequence[Point], value: Callable[[Point], float | None], x: Scale, y: Scale) -> list[Px]:
    return [(x.at(p.t_s), y.at(figure(v))) for p in points if (v := value(p)) is not None]


def _names(drawn: Drawing, names: Sequence[str], shown: Sequence[Point], x: Scale, y: Scale, curve: str) -> None:
    """At the ends of the lines, apart from each other."""
    last = [next(v for p in reversed(shown) if (v := p.developer_c if n == "developer" else p.bath_c) is not None) for n in names]
    tops = apart([(y.at(figure(v)) - 8.0, 15.0) for v in last], 0.0, TRACE_HIGH - 20.0)
    for name, top in zip(names, tops, strict=True):
        drawn.text(x.to_px + 5.0, top + 12.0, curve if name == "developer" else name, "" if name == "developer" else "o")
