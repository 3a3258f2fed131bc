"""What the person's own films say about the next one: a series of judged numbers, and a temperature law of their own.

It advises nothing beyond arithmetic on the person's own data, and refuses that with fewer than three sessions.
Tests: tests/review/test_judgement.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.rate import Arrhenius, Fit, fit
from monitor.core.errors import InputWrong
from monitor.review.integrals import integral, mean_kinetic_temperature, weights
from monitor.review.measures import Review
from monitor.review.timeline import counted_from_to

LEAST_SERIES = 3
SAME_DENSITY = 0.1
"""Densities of a series for a temperature law may differ by this much; more would be read as temperature. A choice, no source."""
T_95 = (
    12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
)  # fmt: skip
"""Student's t, two-sided 95 %, for 1 to 20 degrees of freedom (standard table; held against scipy in a test); beyond, 2.086."""


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One session of a series: development done, and the number that was judged."""

    session: str
    done_ref_s: float
    value: float


@dataclass(frozen=True, slots=True)
class SeriesFit:
    """value = intercept + slope ln(done), least squares. `sd`: of one value about the line. `interval`: 95 % of the line at `done`.

    Straight in ln(done) over a modest range is common practice for contrast; outside the data it is not to be used.
    """

    what: str
    points: tuple[SeriesPoint, ...]
    intercept: float
    slope: float
    sd: float

    @property
    def _log_mean(self) -> float:
        return sum(math.log(p.done_ref_s) for p in self.points) / len(self.points)

    @property
    def _spread(self) -> float:
        mean = self._log_mean
        return sum((math.log(p.done_ref_s) - mean) ** 2 for p in self.points)

    @property
    def t(self) -> float:
        """Student's t for the 95 % interval."""
        return T_95[min(len(self.points) - 2, len(T_95)) - 1]

    def at(self, done_ref_s: float) -> tuple[float, float]:
        """(value on the line, half-width of its 95 % interval)."""
        x = math.log(done_ref_s)
        half = self.t * self.sd * math.sqrt(1.0 / len(self.points) + (x - self._log_mean) ** 2 / self._spread)
        return self.intercept + self.slope * x, half

    def wanted(self, value: float) -> tuple[float, float, float]:
        """(done, low, high): seconds of development at the reference for a wanted value with its 95 % interval (E. C. Fieller, 1954).

        Raises `InputWrong` where the data do not show that the value moves with development.
        """
        mean_x = self._log_mean
        mean_y = self.intercept + self.slope * mean_x
        g = (self.t * self.sd) ** 2 / (self.slope**2 * self._spread) if self.slope else math.inf
        if g >= 1.0:
            raise InputWrong(
                f"these {len(self.points)} sessions do not show that {self.what} moves with development (the slope may be nothing); "
                "allowed: more sessions, or sessions that differ more in development"
            )
        away = (value - mean_y) / self.slope
        half = self.t * self.sd / abs(self.slope) * math.sqrt((1.0 - g) / len(self.points) + away**2 / self._spread)
        low, high = (mean_x + (away - half) / (1.0 - g), mean_x + (away + half) / (1.0 - g))
        return math.exp(mean_x + away), math.exp(low), math.exp(high)

    @property
    def range_ref_s(self) -> tuple[float, float]:
        """Least and most development of the series."""
        done = [p.done_ref_s for p in self.points]
        return min(done), max(done)


def fit_series(points: Sequence[SeriesPoint], what: str) -> SeriesFit:
    """Fit a series. Raises `InputWrong` for fewer than three sessions or for sessions that do not differ in development."""
    if len(points) < LEAST_SERIES:
        raise InputWrong(
            f"{len(points)} judged session{'' if len(points) == 1 else 's'} with {what}; "
            f"allowed: {LEAST_SERIES} or more, since fewer tell nothing about how sure it is"
        )
    xs = [math.log(p.done_ref_s) for p in points]
    ys = [p.value for p in points]
    mean_x, mean_y = sum(xs) / len(xs), sum(ys) / len(ys)
    spread = sum((x - mean_x) ** 2 for x in xs)
    if spread < 1e-4:
        raise InputWrong("these sessions have all the same development; allowed: sessions that differ in it, by a fifth or more in all")
    slope = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True)) / spread
    intercept = mean_y - slope * mean_x
    rest = sum((y - intercept - slope * x) ** 2 for x, y in zip(xs, ys, strict=True))
    return SeriesFit(what, tuple(points), intercept, slope, math.sqrt(rest / (len(points) - 2)))


@dataclass(frozen=True, slots=True)
class OwnLaw:
    """A temperature law from films developed at different temperatures to the same density.

    `sd_kj_mol`: standard error of the energy; `rows`: session, steady temperature that would have done as much, seconds.
    """

    fitted: Fit
    sd_kj_mol: float
    reference_c: float
    rows: tuple[tuple[str, float, float], ...]


def own_law(reviews: Sequence[tuple[str, Review, float | None]], reference_c: float) -> OwnLaw:
    """Fit the energy for which all films had the same development. Entries: session, review, measured density or None.

    Each film's whole trace counts: its steady temperature is found by the energy itself, again and again until both agree.
    Raises `InputWrong` for fewer than three, for densities that differ, or temperatures that do not.
    """
    if len(reviews) < LEAST_SERIES:
        raise InputWrong(
            f"{len(reviews)} sessions; allowed: {LEAST_SERIES} or more, developed at different temperatures to the same density"
        )
    densities = [d for _, _, d in reviews if d is not None]
    if densities and max(densities) - min(densities) > SAME_DENSITY:
        raise InputWrong(
            f"densities from {min(densities):g} to {max(densities):g}; allowed: the same density within {SAME_DENSITY:g}, else development "
            "and temperature are mixed up"
        )
    energy = 65.0
    rows: list[tuple[str, float, float]] = []
    fitted: Fit | None = None
    for _ in range(6):
        law = Arrhenius(reference_c, energy, 0.0, (0.0, 60.0))
        rows = [(name, *_steady(review, law)) for name, review, _ in reviews]
        if max(c for _, c, _ in rows) - min(c for _, c, _ in rows) < 1.0:
            raise InputWrong(
                "the temperatures differ by less than 1 C; allowed: films developed at temperatures that differ by 2 C or more"
            )
        fitted = fit([(c, s) for _, c, s in rows])
        energy = fitted.activation_energy_kj_mol
        if not 1.0 < energy < 400.0:
            raise InputWrong(f"the films ask for an energy of {energy:.0f} kJ/mol, which no developer has; allowed: 10 to 200")
    assert fitted is not None
    sd = fitted.sd_kj_mol
    assert sd is not None  # three or more
    return OwnLaw(fitted, sd, reference_c, tuple(rows))


def _steady(review: Review, law: Arrhenius) -> tuple[float, float]:
    """(steady temperature by the law, counted seconds) of the develop stage."""
    numbers = next((s for s in review.numbers.stages if s.role == "develop" and s.mean_c is not None), None)
    if numbers is None or review.recipe is None:
        raise InputWrong(f"{review.numbers.file}: no develop stage with a measured temperature; allowed: sessions that have one")
    part = next(p for p in review.stretches if p.stage == numbers.stage and p.sheet == numbers.sheet)
    from_s, to_s = counted_from_to(review.recipe.stages[part.stage - 1], part)
    smoothed = review.tracks[part.stage].smoothed
    done, _, _ = integral(law, smoothed.celsius, weights(smoothed.t_s, from_s, to_s))
    return mean_kinetic_temperature(law, done / (to_s - from_s)), to_s - from_s
