"""The strip writer: strips of one picture, one above the other, on one axis of minutes; what is drawn becomes SVG text.

Decides how points are thinned and rounded, which ticks an axis has, and how strokes look (by class; the colours are CSS variables of
the page, or those of `STYLE` where a picture stands alone). Nothing depends on colour: each kind of line has its own dashes.
Tests: tests/core/drawing/test_strips.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from monitor.core.drawing.words import Box, box
from monitor.core.text.quantities import format_duration

MOST_POINTS = 400
"""Of one line."""
FLAT_PX = 0.12
"""Points that lie nearer to the straight line between their neighbours are left out."""

Point = tuple[float, float]

STROKES = (
    ".strip text{fill:var(--ink);font-family:system-ui,sans-serif;font-variant-numeric:tabular-nums}"
    ".strip .d{fill:var(--dim)}.strip .o{fill:var(--second)}.strip .b{font-weight:700}"
    ".strip path,.strip line{fill:none;stroke:var(--ink)}"
    ".strip .grid{stroke:var(--rule);stroke-opacity:.3}.strip .edge{stroke:var(--rule)}"
    ".strip .main{stroke-width:2.4;stroke-linejoin:round}.strip .thin{stroke-width:1.3}"
    ".strip .dots{stroke-width:3.6;stroke-linecap:round;stroke-dasharray:.1 6.4}"
    ".strip .bath{stroke:var(--second);stroke-width:1.4;stroke-dasharray:7 3 1.5 3}"
    ".strip .room{stroke:var(--dim);stroke-width:1.2;stroke-dasharray:11 4}"
    ".strip .said{stroke:var(--dim);stroke-width:1.4;stroke-dasharray:5 3}"
    ".strip .frame{stroke:var(--second);stroke-dasharray:1.5 3}.strip .bar{stroke-width:1.6}"
    ".strip .band{fill:var(--shade);stroke:none}.strip .doubt{fill:var(--ink);fill-opacity:.16;stroke:none}"
    ".strip .full{fill:var(--ink);stroke:none}.strip .open{fill:var(--ground);stroke:var(--ink);stroke-width:1.6}"
)
"""Style of everything that is drawn; lines differ by their dashes, not by colour alone."""
LIGHT = "--ground:#fdfdfb;--ink:#16181a;--dim:#565b60;--second:#8a3a00;--shade:#e2e7ef;--rule:#7a8087"
DARK = "--ground:#101112;--ink:#e9eaea;--dim:#a9aeb3;--second:#ffb37a;--shade:#262f3b;--rule:#8b9097"
"""The colours of a page, as CSS."""


@dataclass(frozen=True, slots=True)
class Scale:
    """From a value to px, straight. `low` and `high` must differ."""

    low: float
    high: float
    from_px: float
    to_px: float

    def at(self, value: float) -> float:
        """Where a value lies."""
        return self.from_px + (value - self.low) / (self.high - self.low) * (self.to_px - self.from_px)


def nice_step(span: float, most: int, steps: Sequence[float]) -> float:
    """The smallest of `steps` (rising) that cuts `span` into at most `most` parts; the last one doubled as often as needed."""
    for step in steps:
        if span / step <= most:
            return step
    step = steps[-1]
    while span / step > most:
        step *= 2.0
    return step


MINUTES = (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0)
DEGREES = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
SECONDS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0)


def ticks(low: float, high: float, most: int, steps: Sequence[float]) -> list[float]:
    """Round values between `low` and `high`, at most `most` + 1."""
    step = nice_step(high - low, most, steps)
    return [step * k for k in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def thinned(points: Sequence[Point], most: int = MOST_POINTS) -> list[Point]:
    """At most `most` points, px, that draw the same line: first, lowest, highest and last of every piece, then none that lies straight."""
    if len(points) > most:
        count = most // 4
        kept: list[Point] = []
        for k in range(count):
            piece = points[k * len(points) // count : (k + 1) * len(points) // count]
            marks = {0, len(piece) - 1, *(piece.index(f(piece, key=lambda p: p[1])) for f in (min, max))}
            kept += [piece[i] for i in sorted(marks)]
        points = kept
    return _straightened(points)


def _straightened(points: Sequence[Point]) -> list[Point]:
    """Without what lies within `FLAT_PX` of the straight line (Ramer 1972, Douglas and Peucker 1973)."""
    if len(points) < 3:
        return list(points)
    keep = [False] * len(points)
    keep[0] = keep[-1] = True
    todo = [(0, len(points) - 1)]
    while todo:
        a, b = todo.pop()
        (ax, ay), (bx, by) = points[a], points[b]
        slope = (by - ay) / (bx - ax) if bx != ax else 0.0
        farthest, off = 0, FLAT_PX
        for i in range(a + 1, b):
            away = abs(points[i][1] - ay - slope * (points[i][0] - ax))
            if away > off:
                farthest, off = i, away
        if farthest:
            keep[farthest] = True
            todo += [(a, farthest), (farthest, b)]
    return [point for point, kept in zip(points, keep, strict=True) if kept]


def number(value: float) -> str:
    """A coordinate with one decimal at most."""
    text = f"{value:.1f}"
    return "0" if text in ("-0.0", "0.0") else text.removesuffix(".0")


def path_of(points: Iterable[Point]) -> str:
    """The `d` of a path through points, in steps from each to the next, which are shorter than places."""
    made: list[str] = []
    x = y = 0
    for px, py in points:
        nx, ny = round(10 * px), round(10 * py)
        dx, dy = number((nx - x) / 10), number((ny - y) / 10)
        made.append(f"{'l' if made else 'M'}{dx}{'' if dy.startswith('-') else ' '}{dy}")
        x, y = nx, ny
    return "".join(made)


class Drawing:
    """One picture in the making: elements in the order in which they are drawn. `size`: of its text, px."""

    def __init__(self, width: float, size: float) -> None:
        self.width = width
        self.size = size
        self.height = 0.0
        self._parts: list[str] = []

    def add(self, element: str) -> None:
        """An element as it stands."""
        self._parts.append(element)

    def line(self, points: Sequence[Point], kind: str) -> None:
        """A line through points, thinned; one point alone is not drawn."""
        if len(points) > 1:
            self.add(f'<path class="{kind}" d="{path_of(thinned(points))}"/>')

    def area(self, upper: Sequence[Point], lower: Sequence[Point], kind: str) -> None:
        """What lies between two lines, each in the order of x."""
        if len(upper) > 1:
            around = [*thinned(upper, MOST_POINTS // 2), *reversed(thinned(lower, MOST_POINTS // 2))]
            self.add(f'<path class="{kind}" d="{path_of(around)}z"/>')

    def stroke(self, x1: float, y1: float, x2: float, y2: float, kind: str) -> None:
        """One straight stroke."""
        self.add(f'<path class="{kind}" d="{path_of(((x1, y1), (x2, y2)))}"/>')

    def rect(self, x: float, y: float, wide: float, high: float, kind: str) -> None:
        """A rectangle."""
        self.add(f'<rect class="{kind}" x="{number(x)}" y="{number(y)}" width="{number(wide)}" height="{number(high)}"/>')

    def rects(self, pieces: Iterable[tuple[float, float]], y: float, high: float, kind: str) -> None:
        """Rectangles in one row, (left, width) each, as one element."""
        d = "".join(f"M{number(x)} {number(y)}h{number(wide)}v{number(high)}h{number(-wide)}z" for x, wide in pieces)
        if d:
            self.add(f'<path class="{kind}" d="{d}"/>')

    def mark(self, x: float, y: float, filled: bool, radius: float = 4.5) -> None:
        """A round mark: filled for what was, open for what was planned."""
        self.add(f'<circle class="{"full" if filled else "open"}" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"/>')

    def text(self, x: float, y: float, words: str, kind: str = "", anchor: str = "start") -> Box:
        """A line of text that stands on `y`; the box that it fills."""
        classes = f' class="{kind}"' if kind else ""
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.add(f'<text{classes}{where} x="{number(x)}" y="{number(y)}">{escape(words, quote=False)}</text>')
        return box(x, y, words, self.size, anchor, bold="b" in kind.split())

    def svg(self, alt: str) -> str:
        """The element, without a size of its own: it fills its place. `alt`: the picture in words."""
        return (
            f'<svg class="strip" role="img" aria-label="{escape(alt)}" viewBox="0 0 {number(self.width)} {number(self.height)}" '
            f'font-size="{number(self.size)}">{"".join(self._parts)}</svg>'
        )


def time_axis(drawing: Drawing, x: Scale, top: float, bottom: float, most: int) -> None:
    """Lines at round minutes from `top` to `bottom`, m:ss below them."""
    for t_s in ticks(max(0.0, x.low), x.high, most, MINUTES):
        drawing.stroke(x.at(t_s), top, x.at(t_s), bottom, "grid")
        drawing.text(x.at(t_s), bottom + 1.35 * drawing.size, format_duration(t_s), anchor="middle")


def alone(svg: str, dark: bool | None = None) -> str:
    """A picture as a file of its own. `dark`: with these colours; None: those that its reader prefers."""
    if dark is None:
        colours = f"svg{{{LIGHT}}}@media (prefers-color-scheme:dark){{svg{{{DARK}}}}}"
    else:
        colours = f"svg{{{DARK if dark else LIGHT}}}"
    style = f"<style>{colours}svg{{background:var(--ground)}}{STROKES}</style>"
    return svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1).replace(">", f">{style}", 1) + "\n"
