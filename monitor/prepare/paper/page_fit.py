"""How large the type of a printed page may be so that everything fits on one page. Arithmetic only, no fonts are opened.

Widths are those of the plain sans-serif face that Liberation Sans, Arial, Helvetica and Nimbus Sans share (the metric
files of the 35 PostScript standard faces, from memory; checked by printing). Text is broken between words as a browser
does. Another face may be wider: `SAFETY` is for that, `NARROWED` for the usual one. Tests: tests/prepare/paper/test_card.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

FACE = '"Liberation Sans", Arial, Helvetica, "Nimbus Sans", Narrowed, sans-serif'
NARROWED = """\
@font-face { font-family: Narrowed; src: local("DejaVu Sans"); size-adjust: 86%; }
@font-face { font-family: Narrowed; src: local("DejaVu Sans Bold"); font-weight: bold; size-adjust: 82%; }
"""
"""Where none of the others is installed (many a small Linux has DejaVu Sans alone), that face brought to their width; measured in a
browser: within 2 per cent of `width_em`."""
LINE_EM = 1.25
PAGE_PT = (190 / 25.4 * 72, 277 / 25.4 * 72)
"""Printable width and height of A4 with margins of 10 mm, in points."""
LARGEST_PT, SMALLEST_PT, STEP_PT = 13.5, 5.0, 0.1
SAFETY = 0.97
KEPT_EM = 10.0
"""What stays blank at the foot of a column, because a title stands above and a heading is not parted from its first question."""
GAP_PT = 18.0
"""Between two columns."""
BOLD = 1.06
"""How much wider the bold face is, about."""

_WIDTHS = {
    191: "'", 222: "ijl", 260: "|", 278: " !,./:;[\\]Ift", 333: "()-`r", 334: "{}", 355: '"', 389: "*", 469: "^", 500: "Jcksvxyz",
    556: "#$0123456789?L_abdeghnopqu", 584: "+<=>~", 611: "FTZ", 667: "&ABEKPSVXY", 722: "CDHNRUw", 778: "GOQ", 833: "Mm", 889: "%",
    944: "W", 1015: "@",
}  # fmt: skip
_WIDTH = {letter: width / 1000.0 for width, letters in _WIDTHS.items() for letter in letters}
_OTHER = 0.7


def width_em(text: str) -> float:
    """Width of a text in em of its own size."""
    return sum(_WIDTH.get(letter, _OTHER) for letter in text)


def lines_of(text: str, room_em: float) -> int:
    """How many lines a text takes in a column `room_em` wide (in em of its own size); words longer than a line are broken."""
    lines, used = 1, 0.0
    space = _WIDTH[" "]
    for wide in _words_em(text):
        if used and used + space + wide > room_em:
            lines, used = lines + 1, 0.0
        used += wide if not used else space + wide
        while used > room_em > 0:
            lines, used = lines + 1, used - room_em
    return lines


@lru_cache(maxsize=1024)
def _words_em(text: str) -> tuple[float, ...]:
    """How wide its words are: a page asks for each size that its type may have."""
    return tuple(width_em(word) for word in text.split())


@dataclass(frozen=True, slots=True)
class Text:
    """A text of the page: size in em (`size_pt`: in points, whatever the type is), share of the width, `padding_em` of it lost, `above_em`
    added to its first line."""

    words: str
    size_em: float = 1.0
    share: float = 1.0
    padding_em: float = 0.0
    above_em: float = 0.0
    bold: bool = False
    size_pt: float | None = None
    line_em: float = LINE_EM

    def height_em(self, page_em: float, type_pt: float) -> float:
        """Its height where the page is `page_em` wide and the type `type_pt`."""
        size_em = self.size_em if self.size_pt is None else self.size_pt / type_pt
        room_em = (self.share * page_em - self.padding_em) / size_em / (BOLD if self.bold else 1.0)
        return lines_of(self.words, max(1.0, room_em)) * size_em * self.line_em + self.above_em


@dataclass(frozen=True, slots=True)
class Block:
    """A piece of the page: its HTML, rows of texts side by side, and other height, `padding_em`."""

    html: str
    rows: tuple[tuple[Text, ...], ...]
    padding_em: float

    def height_em(self, page_em: float, type_pt: float) -> float:
        """Its height where the page is `page_em` wide and the type `type_pt`."""
        return self.padding_em + sum(max(text.height_em(page_em, type_pt) for text in row) for row in self.rows)


def below(*texts: Text) -> tuple[tuple[Text, ...], ...]:
    """Texts one below the other."""
    return tuple((text,) for text in texts)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two stacks of blocks side by side, as one piece of the page. `share`: of the width, the left one's; `gap_em` between them."""

    html: str
    left: tuple[Block, ...]
    right: tuple[Block, ...]
    share: float
    gap_em: float = 1.0

    def height_em(self, page_em: float, type_pt: float) -> float:
        """That of the taller one."""
        left_em, right_em = (page_em * share - self.gap_em / 2.0 for share in (self.share, 1.0 - self.share))
        return max(
            sum(block.height_em(left_em, type_pt) for block in self.left), sum(block.height_em(right_em, type_pt) for block in self.right)
        )


def type_size_pt(blocks: Sequence[Block | Pair], columns: int = 1) -> float:
    """The largest size with which all blocks fit on one A4 page of so many columns, at least `SMALLEST_PT`."""
    steps = round((LARGEST_PT - SMALLEST_PT) / STEP_PT)
    width_pt, height_pt = (PAGE_PT[0] - GAP_PT * (columns - 1)) / columns, PAGE_PT[1] * SAFETY * columns
    for step in range(steps):
        size_pt = LARGEST_PT - step * STEP_PT
        if sum(block.height_em(width_pt / size_pt, size_pt) for block in blocks) * size_pt <= height_pt - KEPT_EM * size_pt * (columns - 1):
            return round(size_pt, 1)
    return SMALLEST_PT
