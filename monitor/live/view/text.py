"""Text on a grid of character cells: width, cutting, folding. For the view of a session; pure, no terminal is touched.

A line is a list of pieces, each with one of four styles that need no colour. Nothing here knows of sessions.
Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Style = Literal["", "bold", "dim", "bold reverse"]


@dataclass(frozen=True, slots=True)
class Piece:
    """Some characters in one style."""

    text: str
    style: Style = ""


Line = list[Piece]


def plain(line: Sequence[Piece]) -> str:
    """The characters alone."""
    return "".join(piece.text for piece in line)


def clean(text: str) -> str:
    """The text without anything that could move a cursor or make a line: what is not printable becomes `?`."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def cells(text: str) -> int:
    """How many cells the text takes: wide characters two, marks that combine none."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def cut(text: str, width: int) -> str:
    """The text in at most `width` cells; a cut one ends in `..`."""
    if cells(text) <= width:
        return text
    mark = ".."[: max(0, width)]
    kept, used = [], 0
    for c in text:
        used += cells(c)
        if used > width - len(mark):
            break
        kept.append(c)
    return "".join(kept) + mark


def cut_line(line: Sequence[Piece], width: int) -> Line:
    """A line in at most `width` cells."""
    out: Line = []
    left = width
    for piece in line:
        if left <= 0:
            break
        text = cut(piece.text, left)
        out.append(Piece(text, piece.style))
        left -= cells(text)
    return out


def fold(text: str, width: int) -> list[str]:
    """The text in lines of at most `width` cells, broken at spaces where that is possible. At least one line."""
    lines: list[str] = []
    current = ""
    for word in text.split():
        joined = f"{current} {word}" if current else word
        if cells(joined) <= width:
            current = joined
            continue
        if current:
            lines.append(current)
        while cells(word) > width:
            head = word[: max(1, width)]
            while cells(head) > width and len(head) > 1:
                head = head[:-1]
            lines.append(head)
            word = word[len(head) :]
        current = word
    return [*lines, current] if current or not lines else lines


def labelled(label: str, text: str, width: int, column: int, style: Style = "") -> list[Line]:
    """`label` in a column of its own, then the text, folded under itself."""
    folded = fold(text, max(8, width - column))
    lines = [[Piece(cut(label, column - 1).ljust(column), "dim"), Piece(folded[0], style)]]
    lines += [[Piece(" " * column), Piece(more, style)] for more in folded[1:]]
    return [cut_line(line, width) for line in lines]
