"""The picture of one stage in character cells: what to move, what is done and the temperatures, all on the same columns.

The columns are the stage's own clock from its begin to its end, the plan's whole length from the start. The developer is a solid line
where it was measured, every other dot where it was only estimated, and what a probe says that is not believed is dotted thinly; the
bath is dashed. Values stand at the ends of their lines, so that nothing hangs on colour. Pure. Tests: tests/live/view/test_layout.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from monitor.core.text.degrees import figure, unit
from monitor.core.text.quantities import format_duration
from monitor.live.view.state import Point
from monitor.live.view.text import Line, Piece, Style, cells

LEAST_SPAN_C = 2
LEAST_COLUMNS = 8
STEPS_S = (15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0)
STEPS_C = (1, 2, 5, 10, 20, 50)
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
Value = Callable[[Point], float | None]


@dataclass(frozen=True, slots=True)
class Axis:
    """The columns of everything that is drawn: session seconds `from_s` to `until_s`, told on a clock that reads 0:00 at `zero_s`."""

    from_s: float
    until_s: float
    zero_s: float
    columns: int

    def at(self, t_s: float) -> int:
        """The column that this moment lies in; -1 before the first, `columns` after the last."""
        if t_s == self.until_s:
            return self.columns - 1
        return min(self.columns, max(-1, math.floor((t_s - self.from_s) / (self.until_s - self.from_s) * self.columns + 1e-9)))


@dataclass(frozen=True, slots=True)
class Ending:
    """What stands at the end of a line: the value in bold, then a word. `celsius`: where."""

    celsius: float
    figure: str
    word: str


def movement(axis: Axis, spans: Sequence[tuple[float, float]], t_s: float, unicode: bool) -> Line:
    """The rail of movements, session seconds: what has been moved stands out, what comes is dim."""
    mark = "\u2584" if unicode else "="
    row = [" "] * axis.columns
    for from_s, until_s in spans:
        first, last = max(0, axis.at(from_s)), axis.at(max(from_s, until_s - 1e-3))
        for column in range(first, min(axis.columns - 1, last) + 1):
            row[column] = mark
    here = max(0, min(axis.columns, axis.at(t_s) + 1))
    return [Piece("".join(row[:here])), Piece("".join(row[here:]), "dim")]


def progress(axis: Axis, t_s: float, end_s: float, marks: Sequence[tuple[float, str]], unicode: bool) -> Line:
    """The rail of the stage: full up to now, empty up to its end, with a letter for each call."""
    full, empty = ("\u2588", "\u2591") if unicode else ("#", ".")
    here, last = axis.at(t_s), min(axis.columns - 1, axis.at(end_s))
    row = [full if i < here or (i == here and t_s >= end_s) else empty if i <= last else " " for i in range(axis.columns)]
    named: dict[int, str] = {}
    for at_s, letter in marks:
        column = axis.at(at_s)
        if 0 <= column < axis.columns:
            named[column] = letter
    line: Line = []
    for i, cell in enumerate(row):
        style: Style = "bold" if i in named else "" if cell == full else "dim"
        text = named.get(i, cell)
        if line and line[-1].style == style:
            line[-1] = Piece(line[-1].text + text, style)
        else:
            line.append(Piece(text, style))
    return line


def times(axis: Axis, end_s: float | None) -> str:
    """The line below the plot: round times, and the end; never two in one place."""
    row = [" "] * (axis.columns + 6)

    def put(t_s: float, text: str) -> None:
        at = axis.at(t_s)
        if 0 <= at <= axis.columns and at + len(text) <= len(row) and all(c == " " for c in row[max(0, at - 1) : at + len(text) + 1]):
            row[at : at + len(text)] = text

    if end_s is not None:
        put(end_s, format_duration(end_s - axis.zero_s))
    span_s = axis.until_s - axis.from_s
    step_s = next((s for s in STEPS_S if span_s / s * 7 <= axis.columns), STEPS_S[-1])
    for k in range(math.ceil((axis.from_s - axis.zero_s) / step_s), math.floor((axis.until_s - axis.zero_s) / step_s) + 1):
        put(axis.zero_s + k * step_s, format_duration(k * step_s))
    return "".join(row).rstrip()


def draw(
    trace: Sequence[Point], axis: Axis, rows: int, wanted: tuple[float, float] | None, endings: Sequence[Ending], left: int, width: int,
    unicode: bool,
) -> list[Line]:  # fmt: skip
    """Exactly `rows` lines (at least 3) of at most `width` cells, blank where nothing is known yet. `left`: cells of the scale;
    `wanted`: the band, whose bracket stands at the right edge."""
    trace = [_in_unit(p) for p in trace if p.t_s >= axis.from_s - 1e-6]
    wanted = None if wanted is None else (figure(wanted[0]), figure(wanted[1]))
    endings = [replace(e, celsius=figure(e.celsius)) for e in endings]
    known = [v for p in trace for v in (p.developer_c, p.bath_c) if v is not None]
    if not known:
        return [[] for _ in range(rows)]
    low_c, high_c = _scale([*known, *(wanted or ())])
    plot = (_Braille if unicode else _Letters)(axis.columns, rows, low_c, high_c)
    plot.thin(_sampled(trace, lambda p: _inside(p.disbelieved_c, low_c, high_c), plot.across, axis))
    plot.bath(_sampled(trace, lambda p: p.bath_c, plot.across, axis))
    plot.developer(_sampled(trace, lambda p: p.developer_c, plot.across, axis), _guessed(trace, plot.across, axis))
    step = next((s for s in STEPS_C if (high_c - low_c) / s <= rows - 1), STEPS_C[-1])
    sign = f"\u00b0{unit()}" if unicode else unit()
    scale = {_row(c, rows, low_c, high_c): f"{c:d}" for c in range(low_c, high_c + 1) if (c - low_c) % step == 0}
    scale[0] = f"{high_c:d} {sign}"
    names = _ends([e for e in endings if low_c <= e.celsius <= high_c], rows, low_c, high_c)
    bracket = _bracket(wanted, rows, low_c, high_c, unicode)
    named = next((row for row in bracket if row not in names), None)
    start = left + min(axis.columns, max(0, axis.at(trace[-1].t_s)) + 2) + 1
    lines: list[Line] = []
    for row, text in enumerate(plot.lines()):
        line = [Piece(scale.get(row, "").ljust(left), "dim"), Piece(text)]
        if row in names:
            told = names[row]
            line = [line[0], Piece(text[: start - left - 1].ljust(start - left)), Piece(told.figure, "bold"), Piece(f" {told.word}")]
        if row in bracket:
            word = "wanted " if row == named else ""
            room = width - sum(cells(p.text) for p in line)
            line += [Piece((word + bracket[row]).rjust(room), "dim")] if room > len(word) else []
        lines.append(line)
    return lines


def _in_unit(point: Point) -> Point:
    """As it stands in the picture, whose scale is in the unit that people see."""
    if unit() == "C":
        return point
    developer_c, bath_c, disbelieved_c = (
        None if celsius is None else figure(celsius) for celsius in (point.developer_c, point.bath_c, point.disbelieved_c)
    )
    return replace(point, developer_c=developer_c, bath_c=bath_c, disbelieved_c=disbelieved_c)


def _inside(celsius: float | None, low_c: float, high_c: float) -> float | None:
    return None if celsius is None or not low_c <= celsius <= high_c else celsius


def _scale(known: Sequence[float]) -> tuple[int, int]:
    """Whole degrees around what is known, at least `LEAST_SPAN_C` apart."""
    low, high = math.floor(min(known) - 0.05), math.ceil(max(known) + 0.05)
    lacking = max(0, LEAST_SPAN_C - (high - low))
    return low - lacking // 2, high + lacking - lacking // 2


def _place(t_s: float, across: int, axis: Axis) -> int | None:
    place = math.floor((t_s - axis.from_s) / (axis.until_s - axis.from_s) * across + 1e-9)
    return min(place, across - 1) if 0 <= place <= across else None


def _sampled(trace: Sequence[Point], value: Value, across: int, axis: Axis) -> list[float | None]:
    """One value a column: the last that fell into it; empty columns between two known ones lie on the straight line between."""
    out: list[float | None] = [None] * across
    for point in trace:
        place = _place(point.t_s, across, axis)
        if place is not None:
            out[place] = value(point)
    known = [i for i, v in enumerate(out) if v is not None]
    for left, right in pairwise(known):
        a, b = out[left], out[right]
        if a is None or b is None or right - left > max(6, across // 8):
            continue
        for i in range(left + 1, right):
            out[i] = a + (b - a) * (i - left) / (right - left)
    return out


def _guessed(trace: Sequence[Point], across: int, axis: Axis) -> list[bool]:
    """Whether the developer was only estimated, for each column; an empty one is like the last before it."""
    told = {_place(point.t_s, across, axis): point.estimated for point in trace}
    out, last = [], False
    for i in range(across):
        last = told.get(i, last)
        out.append(last)
    return out


def _row(celsius: float, rows: int, low_c: float, high_c: float) -> int:
    return min(rows - 1, max(0, round((high_c - celsius) / (high_c - low_c) * (rows - 1))))


def _ends(endings: Sequence[Ending], rows: int, low_c: float, high_c: float) -> dict[int, Ending]:
    """Row by row what ends there, the warmest first; what would share a row gets the next one."""
    told = sorted(endings, key=lambda e: -e.celsius)[:rows]
    places = [_row(e.celsius, rows, low_c, high_c) for e in told]
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + 1)
    for i in range(len(places) - 1, -1, -1):
        places[i] = min(places[i], rows - 1 if i == len(places) - 1 else places[i + 1] - 1)
    return dict(zip(places, told, strict=True))


def _bracket(wanted: tuple[float, float] | None, rows: int, low_c: float, high_c: float, unicode: bool) -> dict[int, str]:
    """The band at the right edge, row by row."""
    if wanted is None:
        return {}
    low, high = (_row(c, rows, low_c, high_c) for c in wanted)
    if low == high:
        return {low: "]"}
    corner, side, end = ("\u2510", "\u2502", "\u2518") if unicode else ("+", "|", "+")
    return {high: corner, **dict.fromkeys(range(high + 1, low), side), low: end}


class _Braille:
    """Two dots across and four down in each cell."""

    def __init__(self, columns: int, rows: int, low_c: float, high_c: float) -> None:
        self.across, self._down = columns * 2, rows * 4
        self._limits = (low_c, high_c)
        self._cells = [[0] * columns for _ in range(rows)]

    def bath(self, values: Sequence[float | None]) -> None:
        """Dashes: three dots in six."""
        self._line(values, lambda i: i % 6 < 3)

    def thin(self, values: Sequence[float | None]) -> None:
        """One dot in four."""
        self._line(values, lambda i: i % 4 == 0)

    def developer(self, values: Sequence[float | None], guessed: Sequence[bool]) -> None:
        """Every dot, each other one where estimated."""
        self._line(values, lambda i: not guessed[i] or i % 2 == 0)

    def _line(self, values: Sequence[float | None], drawn: Callable[[int], bool]) -> None:
        before: int | None = None
        for i, value in enumerate(values):
            if value is None:
                before = None
                continue
            row = _row(value, self._down, *self._limits)
            if drawn(i):
                reach = range(min(row, before), max(row, before) + 1) if before is not None and drawn(i - 1) else (row,)
                for y in reach:
                    if y != before or y == row:
                        self._cells[y // 4][i // 2] |= _DOTS[y % 4][i % 2]
            before = row

    def lines(self) -> list[str]:
        """Row by row."""
        return ["".join(chr(0x2800 + bits) if bits else " " for bits in row) for row in self._cells]


class _Letters:
    """One letter in a cell, of the usual hundred: `o` measured, `?` estimated, `.` not believed, `-` bath."""

    def __init__(self, columns: int, rows: int, low_c: float, high_c: float) -> None:
        self.across = columns
        self._rows = rows
        self._limits = (low_c, high_c)
        self._cells = [[" "] * columns for _ in range(rows)]

    def bath(self, values: Sequence[float | None]) -> None:
        """One letter."""
        self._put(values, lambda _: "-")

    def thin(self, values: Sequence[float | None]) -> None:
        """One letter."""
        self._put(values, lambda _: ".")

    def developer(self, values: Sequence[float | None], guessed: Sequence[bool]) -> None:
        """One letter, another where estimated."""
        self._put(values, lambda i: "?" if guessed[i] else "o")

    def _put(self, values: Sequence[float | None], letter: Callable[[int], str]) -> None:
        for i, value in enumerate(values):
            if value is not None:
                self._cells[_row(value, self._rows, *self._limits)][i] = letter(i)

    def lines(self) -> list[str]:
        """Row by row."""
        return ["".join(row) for row in self._cells]
