"""How much stock and water make a working solution, exactly, and which of the person's own graduates to measure them with.

Decides the amounts (exact fractions inside), whether they are enough for tank and film, which graduate measures them best
and how far its reading may be off, and a rounding that keeps the ratio. `1:31` is refused with its two meanings by
monitor.core.text.quantities. The order, heat and safety of powders are not its business. Tests: tests/prepare/water/test_mixing.py.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import QuantityWrong, format_number, format_volume, read_dilution, read_volume, shown

WARN_PERCENT = 5.0
"""With a larger reading error another graduate is suggested (a developer's strength is off by as much; ours)."""
PARTS_ALLOWED = 'allowed: "1+N" such as "1+31", parts with water last such as "1+1+100", or "stock"'
_PARTS = re.compile(r"\d+(?:\.\d+)?(?:\s*\+\s*\d+(?:\.\d+)?){2,4}", re.ASCII)
_PERCENT = re.compile(r"(\d+(?:\.\d*)?|\.\d+)\s*%", re.ASCII)


@dataclass(frozen=True, slots=True)
class Mixture:
    """Amounts in ml, exact: each stock in the order of the dilution, then water."""

    stocks_ml: tuple[Fraction, ...]
    water_ml: Fraction

    @property
    def stock_ml(self) -> Fraction:
        """All stocks together."""
        return sum(self.stocks_ml, Fraction(0))

    @property
    def total_ml(self) -> Fraction:
        """Everything together."""
        return self.stock_ml + self.water_ml


def read_parts(text: str) -> tuple[tuple[Fraction, ...], Fraction]:
    """Parts of each stock and parts of water, from "1+31", "stock" or several with water last: "1+1+100". Raises `InputWrong`."""
    stripped = text.strip()
    if len(stripped) <= 60 and _PARTS.fullmatch(stripped):
        parts = [Fraction(part.strip()) for part in stripped.split("+")]
        if any(part <= 0 for part in parts[:-1]):
            raise QuantityWrong(f"{shown(text)} has a stock with no parts", PARTS_ALLOWED)
        return tuple(parts[:-1]), parts[-1]
    return (Fraction(1),), read_dilution(text).parts_water


def read_percent(text: str) -> Fraction:
    """A strength, above 0 and at most 100 per cent, from text such as "28 %". Raises `InputWrong`; a bare number is refused."""
    match = _PERCENT.fullmatch(text.strip()) if len(text) <= 40 else None
    if match is None or not 0 < Fraction(match[1]) <= 100:
        raise QuantityWrong(f"{shown(text)} is not a strength", 'allowed: above 0 and up to 100 per cent, such as "28 %"')
    return Fraction(match[1])


def parts_from_percent(stock_percent: Fraction, wanted_percent: Fraction) -> Fraction:
    """Parts of water to one part of stock that dilute one strength (by volume) to another. Raises `InputWrong` for a stronger one."""
    if wanted_percent > stock_percent:
        raise InputWrong(
            f"{float(wanted_percent):g} % cannot be made from {float(stock_percent):g} %; allowed: at most {float(stock_percent):g} %"
        )
    return stock_percent / wanted_percent - 1


def mix(stock_parts: Sequence[Fraction], water_parts: Fraction, *, total_ml: float | None = None, stock_ml: float | None = None) -> Mixture:
    """Amounts for a wanted total, or for a given amount of stock (of the first one, where there are several).

    Raises `InputWrong` for amounts that are not above zero, and `ValueError` unless exactly one of the two is given.
    """
    if (total_ml is None) == (stock_ml is None):
        raise ValueError("one of total and stock")
    given = total_ml if total_ml is not None else stock_ml
    if given is None or not 0.0 < given <= 1e6:
        raise InputWrong(f"a volume of {given:g} ml; allowed: above zero and up to 1000 l")
    if total_ml is not None:
        one_part = Fraction(total_ml) / (sum(stock_parts, Fraction(0)) + water_parts)
    else:
        one_part = Fraction(given) / stock_parts[0]
    return Mixture(tuple(part * one_part for part in stock_parts), water_parts * one_part)


def powder_g(total_ml: float, percent: Fraction) -> float:
    """Grams of a powder for a solution of this many per cent, weight in volume: grams in 100 ml of finished solution."""
    return float(Fraction(total_ml) * percent / 100)


def check_enough(mixture: Mixture, *, tank_minimum_ml: float | None, area_units: float | None, stock_per_unit_ml: float | None) -> None:
    """Refuse less than the tank needs, or less stock than the film needs (area in units of 80 sq in). Exactly enough passes.

    Raises `InputWrong`, one line for each shortage."""
    if (area_units is None) != (stock_per_unit_ml is None):
        raise InputWrong("the film's area and the stock for one unit belong together; allowed: both or neither")
    lines = []
    total, stock = float(mixture.total_ml), float(mixture.stock_ml)
    if tank_minimum_ml is not None and total < tank_minimum_ml - 1e-9:
        lines.append(f"{format_volume(total)} is less than the tank needs; allowed: {format_volume(tank_minimum_ml)} or more")
    if area_units is not None and stock_per_unit_ml is not None:
        if not 0.0 < area_units <= 1000.0:
            raise InputWrong(f"an area of {area_units:g} units; allowed: above 0 and up to 1000, one unit being 80 sq in")
        needed = area_units * stock_per_unit_ml
        if stock < needed - 1e-9:
            wanted = format_volume(math.ceil(10.0 * total * needed / stock) / 10.0)
            lines.append(
                f"{format_volume(stock)} of stock is less than {format_number(area_units)} unit(s) of film need; "
                f"allowed: {format_volume(needed)} or more, which is {wanted} at this dilution"
            )
    if lines:
        raise InputWrong(*lines)


@dataclass(frozen=True, slots=True)
class Graduate:
    """One of the person's graduates or jugs: what it holds, and how far a reading may be off, ml."""

    holds_ml: float
    error_ml: float


def usual_error(holds_ml: float) -> float:
    """How far a careful reading may be off, ml, unless the person says: 2 % up to 50 ml, 1 % up to 250 ml, 1/24 of a larger jug.

    That is 0.5 ml of 25 ml, 1 ml of 100 ml, 25 ml of a 600 ml kitchen jug (one mark each; common practice, no source).
    """
    if holds_ml <= 50.0:
        return 0.02 * holds_ml
    return 0.01 * holds_ml if holds_ml <= 250.0 else holds_ml / 24.0


def read_graduates(text: str) -> tuple[Graduate, ...]:
    """Graduates from "25 ml, 100 ml, 600 ml"; each may give its own error: "100 ml +/- 0.5 ml". Raises `InputWrong`."""
    found = []
    for part in text.split(","):
        size, sign, error = part.partition("+/-")
        holds = read_volume(size)
        if holds <= 0:
            raise QuantityWrong(f"{shown(part.strip())} holds nothing", 'allowed: graduates such as "25 ml, 100 ml"')
        found.append(Graduate(holds, read_volume(error) if sign else usual_error(holds)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class GraduateChoice:
    """How to measure an amount: which graduate, how many fillings, and by how many per cent the result may be off."""

    graduate: Graduate
    fills: int
    error_percent: float


def best_graduate(amount_ml: float, graduates: Sequence[Graduate]) -> GraduateChoice | None:
    """The graduate with the least error for this amount. None for no amount or no graduates.

    Reading errors of several fillings are independent: they combine as the root of the sum of squares. More than two
    fillings are used only if no graduate needs fewer, more than ten never.
    """
    if amount_ml <= 0 or not graduates:
        return None
    ways = []
    for graduate in graduates:
        fills = max(1, math.ceil(amount_ml / graduate.holds_ml - 1e-9))
        if fills <= 10:
            ways.append(GraduateChoice(graduate, fills, 100.0 * graduate.error_ml * math.sqrt(fills) / amount_ml))
    usable = [w for w in ways if w.fills <= 2] or ways
    return min(usable, key=lambda w: (w.error_percent, w.fills), default=None)


def rounded(mixture: Mixture, graduate: Graduate | None) -> Mixture:
    """The same ratio with the first stock rounded up to a mark that can be read: 0.1 ml, or twice the graduate's error, rounded up."""
    first = float(mixture.stocks_ml[0])
    wish = 0.1 if graduate is None else max(0.1, 2.0 * graduate.error_ml)
    mark = next(
        (Fraction(m) for m in ("0.1", "0.2", "0.5", "1", "2", "5", "10", "20", "50", "100") if float(Fraction(m)) >= wish - 1e-9),
        Fraction(100),
    )
    marks = math.ceil(Fraction(first) / mark - Fraction(1, 10**9))
    factor = max(1, marks) * mark / mixture.stocks_ml[0]
    return Mixture(tuple(s * factor for s in mixture.stocks_ml), mixture.water_ml * factor)
