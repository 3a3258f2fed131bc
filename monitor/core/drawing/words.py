"""How wide words are, and where they find room: no word of a picture stands on another one, on a line or over the edge.

Tests: tests/core/drawing/test_words.py (also against the boxes that a real Chromium draws).
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_WIDTHS = (
    *(32, 40, 46, 84, 64, 95, 78, 27, 39, 39, 50, 84, 32, 36, 32, 34, 64, 64, 64, 64, 64, 64, 64, 64, 64, 64, 34, 34, 84, 84, 84, 53),
    *(100, 68, 69, 70, 77, 63, 58, 77, 75, 29, 29, 66, 56, 86, 75, 79, 60, 79, 69, 63, 61, 73, 68, 99, 69, 61, 69, 39, 34, 39, 84, 50),
    *(50, 61, 63, 55, 63, 62, 35, 63, 63, 28, 28, 58, 28, 97, 63, 61, 63, 63, 41, 52, 39, 63, 59, 82, 59, 59, 52, 64, 34, 64, 84),
)
"""Advance widths of the characters from the space on, in hundredths of the size (metrics of DejaVu Sans, the widest of the usual system
fonts: in another one there is more room)."""
_OTHER = 84
_NARROW = {"°": 50, "–": 50, "·": 32}
BOLD = 1.12
"""A bold word is at most so much wider."""
ON_WORDS, OVER_THE_EDGE = 1e5, 1e6
"""What it costs to write on other words, or there: more than any number of lines."""
TOUCH_PX2 = 4.0
"""Boxes that share no more than this do not look as if they stood on each other."""
ASCENT, DESCENT = 0.80, 0.24
"""Of the size, above and below the line on which a word stands."""


def width(words: str, size: float, bold: bool = False) -> float:
    """Width of a line of text, px, at a size in px."""
    hundredths = sum(_WIDTHS[ord(c) - 32] if 32 <= ord(c) < 127 else _NARROW.get(c, _OTHER) for c in words)
    return hundredths / 100.0 * size * (BOLD if bold else 1.0)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the picture, px."""

    left: float
    top: float
    right: float
    bottom: float

    def overlap(self, other: Box) -> float:
        """Area that both cover."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.bottom, other.bottom) - max(self.top, other.top)
        return max(0.0, wide) * max(0.0, high)


def box(x: float, y: float, words: str, size: float, anchor: str = "start", bold: bool = False) -> Box:
    """Where a line of text that stands on `y` lies. `anchor`: start, middle or end, of SVG."""
    wide = width(words, size, bold)
    left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * wide
    return Box(left, y - ASCENT * size, left + wide, y + DESCENT * size)


class Room:
    """What is taken on a picture: words, and lines that words should not stand on."""

    def __init__(self, whole: Box) -> None:
        self._whole = whole
        self._words: list[Box] = []
        self._lines: list[Sequence[tuple[float, float]]] = []

    def line(self, points: Sequence[tuple[float, float]]) -> None:
        """A line that is drawn here; its points in px, in the order of x."""
        self._lines.append(points)

    def take(self, taken: Box) -> None:
        """Words that stand here."""
        self._words.append(taken)

    def cost(self, wanted: Iterable[Box]) -> float:
        """How bad it would be to write here: 0 where all is free; other words and the edge cost most, a line as much as it is crossed."""
        total, whole = 0.0, self._whole
        for each in wanted:
            total += sum(ON_WORDS for taken in self._words if each.overlap(taken) > TOUCH_PX2)
            if each.left < whole.left or each.right > whole.right or each.top < whole.top or each.bottom > whole.bottom:
                total += OVER_THE_EDGE
            for points in self._lines:
                beside = range(bisect_left(points, (each.left - 2.0,)), bisect_right(points, (each.right + 2.0, math.inf)))
                total += float(len([k for k in beside if each.top - 1 <= points[k][1] <= each.bottom + 1]))
        return total

    def best(self, places: Sequence[Sequence[Box]]) -> tuple[int, float]:
        """The first of the cheapest places (each a block of lines) and its cost; it is not taken yet. Raises ValueError without any."""
        costs = [self.cost(place) for place in places]
        return costs.index(min(costs)), min(costs)


def apart(wanted: Sequence[tuple[float, float]], low: float, high: float) -> list[float]:
    """Tops for blocks of words (wanted top, height) in a column between `low` and `high`: each as near to its wish as no overlap allows.

    Where there is no room for all they overlap at the end of the column.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i][0])
    tops = [0.0] * len(wanted)
    at = low
    for i in order:
        tops[i] = max(at, wanted[i][0])
        at = tops[i] + wanted[i][1]
    limit = high
    for i in reversed(order):
        tops[i] = max(low, min(tops[i], limit - wanted[i][1]))
        limit = tops[i]
    return tops
