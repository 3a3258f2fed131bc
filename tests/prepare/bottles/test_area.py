"""Film area in units of 80 sq in.

Outside checks: one unit = 80 sq in (0.0516 m2) = one 36-exposure roll = one roll film = four 4x5 = one 8x10, as two public
texts on the capacity of fixers say (a wiki page on fixer capacity, and a cookbook of the darkroom, p. 108).
"""

from __future__ import annotations

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.bottles.area import units_of

SIZES: list[tuple[str, int, float]] = [
    ("36", 1, 1.0), ("24", 3, 2.0), ("12", 3, 1.0), ("roll", 1, 1.0), ("double roll", 1, 2.0), ("4x5", 4, 1.0), ("4x5", 6, 1.5),
    ("5x7", 1, 35 / 80), ("8x10", 1, 1.0), ("8x10", 1000, 1000.0),
]  # fmt: skip


@pytest.mark.parametrize(("film", "count", "units"), SIZES)
def test_sizes_count_as_the_texts_say(film: str, count: int, units: float) -> None:
    """Six 4x5 are one and a half units."""
    assert units_of(film, count) == pytest.approx(units, abs=1e-12)


def test_centimetres_are_turned_into_square_inches() -> None:
    """A unit is 516 cm2 (0.0516 m2), so a sheet of that area is one."""
    assert units_of("20 x 25.8 cm") == pytest.approx(516 / 516.128, rel=1e-6)
    assert units_of("9x12 cm") == pytest.approx(108 / 516.128, rel=1e-6)


@pytest.mark.parametrize(
    ("film", "count"), [("", 1), ("4x", 1), ("4by5", 1), ("4x5", 0), ("0x5", 1), ("110", 1), ("900x900", 9), ("8x10", 1001),
     ("0.0001x0.0001", 1), ("4x0.1", 100), ("0.9x12 cm", 1), ("201x1 cm", 1), ("79x1", 1)],
)
def test_a_size_that_is_not_known_or_of_no_film_is_refused(film: str, count: int) -> None:
    """With what is allowed."""
    with pytest.raises(InputWrong, match="allowed: "):
        units_of(film, count)


def test_the_sides_of_a_sheet_have_a_range_that_is_told() -> None:
    """Its ends are allowed."""
    assert units_of("1x1 cm") == pytest.approx(1 / 516.128)
    assert units_of("200x200 cm") == pytest.approx(40000 / 516.128)
    with pytest.raises(InputWrong, match=r'"0.0001x0.0001" is no size of a film.*allowed: sides of 1 to 200 cm \(0.4 to 78 in\)'):
        units_of("0.0001x0.0001")
