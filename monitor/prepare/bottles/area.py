"""Film area in units of 80 square inches (516 cm2), the unit in which the capacity of solutions is counted. Pure.

Source of the unit and its equivalents (36-exposure roll = roll film = four 4x5 in = one 8x10 in): a public wiki on fixer
capacity and hobby texts; a navy manual counts the same way. Other sheets count by their area. A 24-exposure roll as
24/36 of a long one: common practice, no source. Tests: tests/prepare/bottles/test_area.py.
"""

from __future__ import annotations

import re
from fractions import Fraction

from monitor.core.text.quantities import QuantityWrong, shown

UNIT_SQ_IN = 80
CM_PER_INCH = Fraction(254, 100)
"""Exact."""
ROLLS: dict[str, Fraction] = {
    "36": Fraction(1), "24": Fraction(24, 36), "12": Fraction(12, 36), "roll": Fraction(1), "double roll": Fraction(2),
}  # fmt: skip
SHORTEST_CM, LONGEST_CM = 1, 200
"""Of a sheet's sides: a test clip, and more than the widest rolls (from memory, no source)."""
ALLOWED = 'allowed: "36", "24" or "12" (exposures), "roll", "double roll", or a sheet such as "4x5" (inches) or "9x12 cm"'
_SHEET = re.compile(r"(\d+(?:\.\d+)?)\s*x\s*(\d+(?:\.\d+)?)\s*(cm|in)?", re.ASCII)


def units_of(film: str, count: int = 1) -> float:
    """Units in `count` films of one size: six "4x5" are 1.5. Raises `InputWrong` for an unknown size or a count below 1."""
    if count < 1:
        raise QuantityWrong(f"{count} films", "allowed: one film or more")
    word = film.strip().lower()
    if word in ROLLS:
        return float(count * ROLLS[word])
    match = _SHEET.fullmatch(word) if len(word) <= 40 else None
    if match is None:
        raise QuantityWrong(f"{shown(film)} is not a known film size", ALLOWED)
    sides_cm = [Fraction(side) * (1 if match[3] == "cm" else CM_PER_INCH) for side in match.group(1, 2)]
    if not all(SHORTEST_CM <= side <= LONGEST_CM for side in sides_cm):
        raise QuantityWrong(f"{shown(film)} is no size of a film", f"allowed: sides of {SHORTEST_CM} to {LONGEST_CM} cm (0.4 to 78 in)")
    area = Fraction(match[1]) * Fraction(match[2])
    if match[3] == "cm":
        area /= CM_PER_INCH**2
    units = float(count * area / UNIT_SQ_IN)
    if not 0 < units <= 1000:
        raise QuantityWrong(f"{count} of {shown(film)} are {units:g} units", "allowed: above 0, at most 1000 units of 80 sq in")
    return units
