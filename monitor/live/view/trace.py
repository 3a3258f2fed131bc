"""A small trace of developer and bath in character cells: braille dots, or letters where the terminal knows no others.

The developer is a solid line where it was measured and a dotted one where it was only estimated; the bath is dashed. Both
are named at their right end, so that nothing hangs on colour. Pure. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from monitor.live.view.state import Point
from monitor.live.view.text import Line, Piece, cut

LEAST_SPAN_C = 1.0
LEAST_SPAN_S = 120.0
SCALE_CELLS = 8
NAME_CELLS = 10
LEAST_ROWS = 5
_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
Value = Callable[[Point], float | None]
NAMES = ("developer", "bath")


def draw(trace: Sequence[Point], begins: Sequence[tuple[float, str]], width: int, rows: int, unicode: bool) -> list[Line]:
    """The trace in exactly `rows` lines (at least `LEAST_ROWS`) of at most `width` cells; fewer lines where nothing is known yet."""
    columns, plot_rows = width - SCALE_CELLS - NAME_CELLS, rows - 2
    known = [v for p in trace for v in (p.developer_c, p.bath_c) if v is not None]
    if not known or columns < 8 or plot_rows < 3:
        return []
    low_c, high_c = _scale(min(known), max(known))
    until_s = trace[-1].t_s
    from_s = min(trace[0].t_s, until_s - LEAST_SPAN_S)
    plot = (_Braille if unicode else _Letters)(columns, plot_rows, from_s, until_s, low_c, high_c)
    plot.bath(_sampled(trace, lambda p: p.bath_c, plot.across, from_s, until_s))
    plot.developer(_sampled(trace, lambda p: p.developer_c, plot.across, from_s, until_s), _guessed(trace, plot.across, from_s, until_s))
    names = _names(trace[-1], plot_rows, low_c, high_c)
    edge = "\u2502" if unicode else "|"
    lines: list[Line] = []
    for row, cells in enumerate(plot.lines()):
        scale = high_c if row == 0 else low_c if row == plot_rows - 1 else None
        text = "" if scale is None else f"{scale:.1f} C"
        line = [Piece(f"{text:>{SCALE_CELLS - 1}}{edge}", "dim"), Piece(cells)]
        lines.append([*line, Piece(f" {names[row]}", "bold")] if row in names else line)
    lines.append([Piece(" " * (SCALE_CELLS - 1) + _stages(begins, columns, from_s, until_s, unicode), "dim")])
    lines.append([Piece(cut(" " * max(0, min(SCALE_CELLS - 1, width - len(plot.key))) + plot.key, width), "dim")])
    return lines


def _scale(low_c: float, high_c: float) -> tuple[float, float]:
    """Round limits, at least `LEAST_SPAN_C` apart."""
    low_c, high_c = math.floor(low_c * 2.0 - 0.2) / 2.0, math.ceil(high_c * 2.0 + 0.2) / 2.0
    lacking_c = max(0.0, LEAST_SPAN_C - (high_c - low_c))
    return low_c - lacking_c / 2.0, high_c + lacking_c / 2.0


def _place(t_s: float, across: int, from_s: float, until_s: float) -> int:
    return min(across - 1, max(0, round((t_s - from_s) / (until_s - from_s) * (across - 1))))


def _sampled(trace: Sequence[Point], value: Value, across: int, from_s: float, until_s: float) -> list[float | None]:
    """One value a column: the last that fell into it; empty columns between two known ones lie on the straight line between."""
    out: list[float | None] = [None] * across
    for point in trace:
        out[_place(point.t_s, across, from_s, until_s)] = value(point)
    known = [i for i, v in enumerate(out) if v is not None]
    for left, right in pairwise(known):
        a, b = out[left], out[right]
        if a is None or b is None or right - left > max(6, across // 8):
            continue
        for i in range(left + 1, right):
            out[i] = a + (b - a) * (i - left) / (right - left)
    return out


def _guessed(trace: Sequence[Point], across: int, from_s: float, until_s: float) -> list[bool]:
    """Whether the developer was only estimated, for each column; an empty one is like the last before it."""
    told: dict[int, bool] = {}
    for point in trace:
        told[_place(point.t_s, across, from_s, until_s)] = point.estimated
    out, last = [], False
    for i in range(across):
        last = told.get(i, last)
        out.append(last)
    return out


def _row(celsius: float, rows: int, low_c: float, high_c: float) -> int:
    return min(rows - 1, max(0, round((high_c - celsius) / (high_c - low_c) * (rows - 1))))


def _names(last: Point, rows: int, low_c: float, high_c: float) -> dict[int, str]:
    """Row by row the name that ends there; two in one row stand one below the other."""
    ends = [(c, name) for c, name in ((last.developer_c, NAMES[0]), (last.bath_c, NAMES[1])) if c is not None]
    names: dict[int, str] = {}
    for celsius, name in sorted(ends, reverse=True):
        row = _row(celsius, rows, low_c, high_c)
        while row in names and row < rows - 1:
            row += 1
        if row in names:  # at the bottom: the upper name moves up
            names[row - 1] = names.pop(row)
        names[row] = name
    return names


def _stages(begins: Sequence[tuple[float, str]], columns: int, from_s: float, until_s: float, unicode: bool) -> str:
    """The line below the plot: where each stage began, by name as far as there is room."""
    line = ["\u2500" if unicode else "-"] * (columns + 1)
    line[0] = "\u2514" if unicode else "+"
    free_from = 0
    for t_s, name in begins:
        at = 1 + _place(t_s, columns, from_s, until_s)
        later = [1 + _place(b, columns, from_s, until_s) for b, _ in begins if b > t_s]
        text = ("\u2534" if unicode else "|") + name
        text = text[: min([*later, columns + 1]) - at]
        if at >= free_from and text:
            line[at : at + len(text)] = text
            free_from = at + len(text)
    return "".join(line[: columns + 1])


class _Braille:
    """Two dots across and four down in each cell."""

    key = "dotted: only estimated; dashed: bath"

    def __init__(self, columns: int, rows: int, from_s: float, until_s: float, low_c: float, high_c: float) -> None:
        self.across, self._down = columns * 2, rows * 4
        self._columns, self._rows = columns, rows
        self._limits = (low_c, high_c)
        self._cells = [[0] * columns for _ in range(rows)]

    def bath(self, values: Sequence[float | None]) -> None:
        """Dashes: three dots in five."""
        self._line(values, lambda i: i % 5 < 3)

    def developer(self, values: Sequence[float | None], guessed: Sequence[bool]) -> None:
        """Every dot, each third where estimated."""
        self._line(values, lambda i: not guessed[i] or i % 3 == 0)

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
        return ["".join(chr(0x2800 + bits) for bits in row) for row in self._cells]


class _Letters:
    """One letter in a cell, of the usual hundred."""

    key = "o developer, ? only estimated, - bath"

    def __init__(self, columns: int, rows: int, from_s: float, until_s: float, low_c: float, high_c: float) -> None:
        self.across = columns
        self._rows = rows
        self._limits = (low_c, high_c)
        self._cells = [[" "] * columns for _ in range(rows)]

    def bath(self, values: Sequence[float | None]) -> None:
        """One letter."""
        self._put(values, lambda _: "-")

    def developer(self, values: Sequence[float | None], guessed: Sequence[bool]) -> None:
        """Another letter where estimated."""
        self._put(values, lambda i: "?" if guessed[i] else "o")

    def _put(self, values: Sequence[float | None], letter: Callable[[int], str]) -> None:
        for i, value in enumerate(values):
            if value is not None:
                self._cells[_row(value, self._rows, *self._limits)][i] = letter(i)

    def lines(self) -> list[str]:
        """Row by row."""
        return ["".join(row) for row in self._cells]
