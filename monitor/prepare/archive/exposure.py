"""The arithmetic of an exposure before the film is in the camera: filter, bellows, reciprocity by the person's own table.

Sources. Bellows: the light on the film falls with the square of its distance from the lens, so the factor is (extension / focal
length) squared; at life size, with twice the focal length, that is 4 (thin lens, optics textbooks). Filter: its factor multiplies the
time, a stop is a factor of two (by definition). Reciprocity: no law of ours; between two points of the person's table the times lie on
a straight line in their logarithms, which is exact for Schwarzschild's law (1899: exposures of the same intensity times time^p are
equal), and outside the table nothing is said. The order is filter, bellows, reciprocity: the film feels the whole of the time (common
practice, no source). Pure. Tests: tests/prepare/archive/test_exposure.py.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import QuantityWrong, format_duration, format_number, read_duration, shown

MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}
SAME = 1e-9
_LENGTH = re.compile(r"(\d{1,5}(?:\.\d{1,3})?)\s*(mm|cm|in)", re.ASCII)
_SECONDS = re.compile(r"(?:(\d{1,6}(?:\.\d{1,4})?)|1/(\d{1,5}))\s*s", re.ASCII)
_FACTOR = re.compile(r"(\d{1,4}(?:\.\d{1,3})?)\s*x", re.ASCII)
_STOPS = re.compile(r"(\d{1,2}(?:\.\d{1,3})?)\s*stops?", re.ASCII)
LONGEST_S = 86400.0


def read_length_mm(text: str) -> float:
    """Millimetres from text such as "150 mm", "15 cm" or "6 in". Raises `InputWrong`; zero is refused."""
    found = _LENGTH.fullmatch(text.strip())
    if found is None or float(found[1]) <= 0:
        raise QuantityWrong(f"{shown(text)} is not a length", 'allowed: a number and its unit, such as "150 mm", "15 cm" or "6 in"')
    return float(found[1]) * MM[found[2]]


def read_exposure_s(text: str) -> float:
    """Seconds from text such as "1/4 s", "8 s" or "2:30". Raises `InputWrong`; zero and more than a day are refused."""
    words = text.strip()
    found = _SECONDS.fullmatch(words)
    try:
        if found is None:
            seconds = read_duration(words)
        else:
            seconds = float(found[1]) if found[1] is not None else 1.0 / int(found[2])
    except (QuantityWrong, ZeroDivisionError):
        seconds = 0.0
    if not 0 < seconds <= LONGEST_S:
        raise QuantityWrong(f"{shown(text)} is not a time of exposure", 'allowed: such as "1/4 s", "8 s" or "2:30", a day at most')
    return seconds


def read_filter(text: str) -> float:
    """A factor, 1 or more, from text such as "4x" or "2 stops". Raises `InputWrong`."""
    words = text.strip()
    if (found := _FACTOR.fullmatch(words)) is not None and float(found[1]) >= 1.0:
        return float(found[1])
    if (found := _STOPS.fullmatch(words)) is not None:
        return float(2.0 ** float(found[1]))
    raise QuantityWrong(f"{shown(text)} is not a filter's factor", 'allowed: such as "4x" or "2 stops"')


def bellows_factor(focal_mm: float, extension_mm: float) -> float:
    """By how much the time grows where film and lens are `extension_mm` apart. Raises `InputWrong` below the focal length, where nothing
    is sharp."""
    if extension_mm < focal_mm - SAME:
        raise InputWrong(
            f"an extension of {format_number(extension_mm)} mm with a lens of {format_number(focal_mm)} mm; "
            "allowed: from the focal length on (measure from lens board to film)"
        )
    return (extension_mm / focal_mm) ** 2


@dataclass(frozen=True, slots=True)
class ReciprocityTable:
    """The person's own: (time that the meter wants, time that the film needs), seconds, both rising."""

    points: tuple[tuple[float, float], ...]

    def needed_s(self, metered_s: float) -> float:
        """The time that the film needs. Raises `InputWrong` outside the table, except below a first point that needs no correction."""
        (first_s, first_needed_s), (last_s, _) = self.points[0], self.points[-1]
        if metered_s < first_s and abs(first_needed_s - first_s) <= SAME * first_s:
            return metered_s
        if not first_s * (1 - SAME) <= metered_s <= last_s * (1 + SAME):
            raise InputWrong(
                f"{exposure_words(metered_s)} is outside your table; allowed: {exposure_words(first_s)} to {exposure_words(last_s)}, "
                "or one more point from a test of your own"
            )
        after = min(max(1, bisect_left([m for m, _ in self.points], metered_s)), len(self.points) - 1)
        (m0, n0), (m1, n1) = self.points[after - 1], self.points[after]
        share = math.log(metered_s / m0) / math.log(m1 / m0)
        return math.exp(math.log(n0) + share * math.log(n1 / n0))


def read_table(pairs: Sequence[str]) -> ReciprocityTable:
    """A table from words such as "1 s=1 s" and "10 s=0:20". Raises `InputWrong`."""
    points = []
    for pair in pairs:
        metered, equals, needed = pair.partition("=")
        if not equals:
            raise InputWrong(f'{shown(pair)} is not a pair; allowed: "METERED=NEEDED", such as "10 s=20 s"')
        points.append((read_exposure_s(metered), read_exposure_s(needed)))
    return table_of(points)


def table_of(points: Sequence[tuple[float, float]]) -> ReciprocityTable:
    """A table from its points, in any order. Raises `InputWrong` for fewer than two, and where a film would need less than is metered."""
    rows = sorted(points)
    if len(rows) < 2:
        raise InputWrong('a table of one point; allowed: two points or more, such as "1 s=1 s" "10 s=20 s"')
    for metered_s, needed_s in rows:
        if not (0 < metered_s <= LONGEST_S and needed_s <= LONGEST_S):
            raise InputWrong(f"a point of {metered_s:g} s and {needed_s:g} s; allowed: times above 0, a day at most")
        if needed_s < metered_s * (1 - SAME):
            raise InputWrong(
                f"{exposure_words(metered_s)} that needs only {exposure_words(needed_s)}; allowed: a time needed that is no shorter"
            )
    for (m0, n0), (m1, n1) in pairwise(rows):
        if m1 <= m0 * (1 + SAME) or n1 <= n0:
            raise InputWrong(
                f"{exposure_words(m0)} and {exposure_words(m1)} do not rise together; allowed: each time once, longer needs more"
            )
    return ReciprocityTable(tuple(rows))


@dataclass(frozen=True, slots=True)
class Exposure:
    """A time worked out. Factors without unit, times in seconds; `with_factors_s`: before reciprocity; `needed_s`: after it."""

    metered_s: float
    filter_factor: float
    bellows_factor: float
    with_factors_s: float
    needed_s: float
    by_table: bool

    @property
    def stops(self) -> float:
        """How many stops more than was metered."""
        return math.log2(self.needed_s / self.metered_s)


def expose(metered_s: float, filter_factor: float = 1.0, bellows: float = 1.0, table: ReciprocityTable | None = None) -> Exposure:
    """The time for the film: filter, bellows, then the table. Raises `InputWrong` outside the table."""
    with_factors_s = metered_s * filter_factor * bellows
    needed_s = with_factors_s if table is None else table.needed_s(with_factors_s)
    return Exposure(metered_s, filter_factor, bellows, with_factors_s, needed_s, table is not None)


def exposure_words(seconds: float) -> str:
    """Such as "1/4 s", "2.5 s" or "3:20"."""
    if seconds < 0.3:
        return f"1/{round(1.0 / seconds)} s"
    return f"{seconds:.2g} s" if seconds < 9.95 else f"{seconds:.0f} s" if seconds < 60 else format_duration(seconds)


def exposure_lines(exposure: Exposure, under_enlarger: bool = False) -> list[str]:
    """The answer first, then how it came about. `under_enlarger`: a print's, to which the reciprocity of film says nothing."""
    lines = [f"expose {exposure_words(exposure.needed_s)} ({exposure.stops:.1f} stops more than metered)"]
    steps = [f"metered {exposure_words(exposure.metered_s)}"]
    if exposure.filter_factor != 1.0:
        steps.append(f"filter x {format_number(exposure.filter_factor, 2)}")
    if exposure.bellows_factor != 1.0:
        steps.append(f"bellows x {format_number(exposure.bellows_factor, 2)}")
    lines.append(f"  {', '.join(steps)}: {exposure_words(exposure.with_factors_s)}")
    if exposure.by_table:
        lines.append(f"  by your own table {exposure_words(exposure.with_factors_s)} needs {exposure_words(exposure.needed_s)}")
    elif exposure.with_factors_s >= 1.0 and not under_enlarger:
        lines.append("  from a second on most films need more than that: keep a table of your own (evenbath archive table)")
    return lines
