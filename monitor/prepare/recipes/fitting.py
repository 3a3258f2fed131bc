"""Turns the person's own pairs of temperature and time into a rate: reads, fits and checks them, and writes lines to paste.

The fit is least squares of ln time on 1/T (monitor.core.development.rate.fit). A result that no recipe would accept is refused here.
No clock, no files. Tests: tests/cli/test_fit.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from monitor.core.development.rate import BOUND_C, R_J_PER_MOL_K, ZERO_C_K, Fit, fit
from monitor.core.errors import InputWrong
from monitor.core.recipe.reader import (
    DEFAULT_REFERENCE_C,
    ENERGY_RANGE_KJ_MOL,
    LONGEST_STAGE_S,
    PER_10_C_RANGE,
    REFERENCE_RANGE_C,
    REFERENCE_SAYS,
    SD_ENERGY_KJ_MOL,
    TEMPERATURE_SAYS,
    TIME_SAYS,
)
from monitor.core.recipe.values import SAME
from monitor.core.text.degrees import plain, plain_difference, span, unit
from monitor.core.text.doubt import TWO_SD, plus_minus, two_sd
from monitor.core.text.quantities import (
    QuantityWrong,
    format_duration,
    format_number,
    read_duration,
    read_temperature,
    shown,
)

PAIR_ALLOWED = 'allowed: "TEMPERATURE=TIME", such as "20 C=10:00"'
_LEAST_SPAN_C = 0.5
_LEAST_SD_KJ_MOL = 2.0
"""No fit is believed more closely than this: four published tables of 7 to 21 pairs give standard errors of 1.9 to 3.1 kJ/mol."""
_STUDENT = {1: 1.84, 2: 1.32, 3: 1.20, 4: 1.14}
"""Half-width of a 68 % interval divided by the standard error, by degrees of freedom (Student's t, any table)."""


@dataclass(frozen=True, slots=True)
class GivenPair:
    """One pair: its values, and its original text, so that 68 F stays 68 F in the lines to paste."""

    celsius: float
    seconds: float
    celsius_text: str
    time_text: str


@dataclass(frozen=True, slots=True)
class OwnRate:
    """A fit, and the reference for the recipe. `given`: the pairs as entered."""

    fit: Fit
    reference_c: float
    reference_text: str
    given: tuple[GivenPair, ...]

    @property
    def time_at_reference_s(self) -> float:
        """The person's own time if there is a pair at the reference, else the fitted one; seconds."""
        own = self.pair_at_reference
        return self.fit.time_s(self.reference_c) if own is None else own.seconds

    @property
    def pair_at_reference(self) -> GivenPair | None:
        """The pair at the reference, if there is one."""
        return next((pair for pair in self.given if abs(pair.celsius - self.reference_c) <= SAME), None)

    @property
    def sd_kj_mol(self) -> float:
        """Standard deviation of the energy for the recipe: from the residuals, but never below what published tables show. Two pairs
        leave no residuals and get the spread between published tables.
        """
        if self.fit.sd_kj_mol is None:
            return SD_ENERGY_KJ_MOL
        return max(_LEAST_SD_KJ_MOL, self.fit.sd_kj_mol * _STUDENT.get(len(self.given) - 2, 1.0))

    @property
    def sd_percent_per_c(self) -> float:
        """The same doubt for a recipe's pairs, per cent per C: d ln r / dT = E / (R T^2) at the reference (Arrhenius' law)."""
        return 100.0 * self.sd_kj_mol * 1000.0 / R_J_PER_MOL_K / (self.reference_c + ZERO_C_K) ** 2


def read_pair(text: str) -> GivenPair:
    """A pair from "20 C=10:00". Raises `InputWrong`."""
    celsius_text, equals, time_text = text.partition("=")
    if not equals:
        raise InputWrong(f"{shown(text)} is not a pair; {PAIR_ALLOWED}")
    try:
        celsius, seconds = read_temperature(celsius_text.strip()), read_duration(time_text.strip())
    except QuantityWrong as wrong:
        raise InputWrong(f"{shown(text)}: {wrong}") from None
    if not BOUND_C[0] <= celsius <= BOUND_C[1]:
        raise InputWrong(f'{shown(text)}: not a temperature for a developer; allowed: {TEMPERATURE_SAYS}')
    if not 1.0 <= seconds <= LONGEST_STAGE_S:
        raise InputWrong(f'{shown(text)}: not a time for a developer; allowed: {TIME_SAYS}')
    return GivenPair(celsius, seconds, celsius_text.strip(), time_text.strip())


def own_rate(texts: Sequence[str], reference: str | None) -> OwnRate:
    """Fit pairs given as text. The reference is 20 C if none is given. Raises `InputWrong`, with one line for each wrong pair."""
    pairs: list[GivenPair] = []
    lines: list[str] = []
    for text in texts:
        try:
            pairs.append(read_pair(text))
        except InputWrong as wrong:
            lines += wrong.lines
    if lines:
        raise InputWrong(*lines)
    reference_text = f"{format_number(DEFAULT_REFERENCE_C)} C" if reference is None else reference.strip()
    reference_c = _reference(reference_text)
    span_c = max(pair.celsius for pair in pairs) - min(pair.celsius for pair in pairs)
    if span_c < _LEAST_SPAN_C:
        allowed = f"allowed: two or more temperatures, at least {plain_difference(_LEAST_SPAN_C)} apart"
        few = "one pair gives" if len(pairs) == 1 else f"{len(pairs)} pairs within {plain_difference(span_c)} give"
        raise InputWrong(f"{few} no rate; {allowed}")
    made = fit([(pair.celsius, pair.seconds) for pair in pairs])
    low, high = ENERGY_RANGE_KJ_MOL
    if not low <= made.activation_energy_kj_mol <= high:
        what = f"these pairs give {made.activation_energy_kj_mol:.1f} kJ/mol"
        why = "the time grows with temperature" if made.activation_energy_kj_mol <= 0 else "no developer is like that: look for a mistake"
        raise InputWrong(f"{what}, {why}; allowed: {low:.0f} to {high:.0f} kJ/mol")
    return OwnRate(made, reference_c, reference_text, tuple(pairs))


def _reference(text: str) -> float:
    celsius = read_temperature(text)
    if not REFERENCE_RANGE_C[0] <= celsius <= REFERENCE_RANGE_C[1]:
        raise InputWrong(f'--reference {shown(text)} is out of range; allowed: {REFERENCE_SAYS}')
    return celsius


def not_falling(own: OwnRate) -> Iterator[str]:
    """One line for each pair that is warmer than another but has a longer time: a fit accepts it, a recipe's pairs do not."""
    shortest: GivenPair | None = None
    for pair in sorted(own.given, key=lambda pair: pair.celsius):
        if shortest is not None and pair.celsius > shortest.celsius + SAME and pair.seconds > shortest.seconds:
            yield (
                f"{pair.celsius_text}={pair.time_text} is warmer than {shortest.celsius_text}={shortest.time_text} and has a longer time; "
                "it was fitted all the same, but a recipe refuses these pairs: look for a mistake"
            )
        if shortest is None or pair.seconds < shortest.seconds:
            shortest = pair


def fit_data(own: OwnRate) -> dict[str, Any]:
    """The fit as one JSON object (contract, section 10). `residual_percent` = 100 (given / fitted - 1)."""
    return {
        "activation_energy_kj_mol": own.fit.activation_energy_kj_mol,
        "activation_energy_sd_kj_mol": own.sd_kj_mol,
        "sd_percent_per_c": own.sd_percent_per_c,
        "per_10_c": own.fit.per_10_c,
        "rms_percent": own.fit.rms_percent,
        "worst_percent": own.fit.worst_percent,
        "reference_c": own.reference_c,
        "time_at_reference_s": own.time_at_reference_s,
        "pairs": [
            {"celsius": c, "time_s": s, "fitted_s": own.fit.time_s(c), "residual_percent": residual} for c, s, residual in own.fit.pairs
        ],
        "rate_lines": list(rate_lines(own)),
    }


def rate_lines(own: OwnRate) -> Iterator[str]:
    """`rate = { ... }` for a recipe: the fitted energy, the same per 10 C, and the pairs if a recipe accepts them."""
    energy, per_10_c = own.fit.activation_energy_kj_mol, own.fit.per_10_c
    yield f'rate = {{ law = "arrhenius", activation_energy_kj_mol = {energy:.1f}, sd = {own.sd_kj_mol:.1f} }}'
    if PER_10_C_RANGE[0] <= round(per_10_c, 2) <= PER_10_C_RANGE[1]:
        sd_10 = per_10_c * math.log(per_10_c) * own.sd_kj_mol / energy
        yield f'rate = {{ law = "coefficient", per_10_c = {per_10_c:.2f}, sd = {sd_10:.2f} }}'
    if no_pairs(own) is None:
        pairs = ", ".join(f'["{pair.celsius_text}", "{pair.time_text}"]' for pair in _by_temperature(own))
        yield f'rate = {{ law = "pairs", pairs = [{pairs}], sd_percent_per_c = {own.sd_percent_per_c:.2f} }}'


def _by_temperature(own: OwnRate) -> list[GivenPair]:
    return sorted(own.given, key=lambda pair: pair.celsius)


def no_pairs(own: OwnRate) -> str | None:
    """Why a recipe would not take the pairs themselves, in a sentence without its full stop; None where it takes them."""
    for colder, warmer in pairwise(_by_temperature(own)):
        if warmer.celsius - colder.celsius <= SAME:
            return f"two of your pairs are at {plain(colder.celsius, 2)}, and a recipe takes one for each temperature"
        if warmer.seconds > colder.seconds:
            return f"the time grows from {plain(colder.celsius, 2)} to {plain(warmer.celsius, 2)}"
    if own.pair_at_reference is None:
        return f"none of your pairs is at the reference, {plain(own.reference_c, 2)}; name one of theirs with --reference"
    return None


def _time(seconds: float) -> str:
    return format_duration(seconds) if abs(seconds - round(seconds)) < 1e-9 else format_duration(seconds, 3)


def fit_lines(own: OwnRate) -> Iterator[str]:
    """The fit in words: each pair with its residual, the result, and the lines to paste."""
    yield "given          fitted    given is"
    for celsius, seconds, residual in own.fit.pairs:
        given = f"{plain(celsius, 2)} {_time(seconds):>7}"
        longer = "longer" if residual >= 0 else "shorter"
        yield f"{given}  {format_duration(own.fit.time_s(celsius), 1):>8}    {abs(residual):.1f} % {longer}"
    two = own.fit.sd_kj_mol is None
    source = ", from the spread of published tables, because two pairs leave no residuals" if two else ""
    spread = (
        f"{plus_minus(own.sd_kj_mol, 1)} kJ/mol or {two_sd(own.sd_percent_per_c) / span(1.0):.1f} % of the time "
        f"per {unit()}, {TWO_SD}{source}"
    )
    yield ""
    faster = f"{own.fit.per_10_c:.2f} times as fast at {plain(25.0)} as at {plain(15.0)}"
    yield f"{own.fit.activation_energy_kj_mol:.1f} kJ/mol ({spread}); {faster}"
    if not two:
        floor = "" if own.sd_kj_mol > _LEAST_SD_KJ_MOL else f"; the +/- is never taken below {two_sd(own.sd_kj_mol):.1f} kJ/mol"
        yield f"residuals {own.fit.rms_percent:.1f} % rms, {own.fit.worst_percent:+.1f} % at worst{floor}"
    yield ""
    yield f'For the recipe, one of these, with reference = "{own.reference_text}" and time = "{_own_time(own)}":'
    yield from rate_lines(own)
    why = no_pairs(own)
    if why is not None:
        yield f"Your pairs themselves are not among them: {why}."


def _own_time(own: OwnRate) -> str:
    own_pair = own.pair_at_reference
    return format_duration(own.time_at_reference_s) if own_pair is None else own_pair.time_text
