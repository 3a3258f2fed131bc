"""How contrast grows with time: G = G_end (1 - exp(-k t)) laid through the person's own films, and the times for N-1 to N+2.

The law is the integrated form of "the rate of development is proportional to what is left to be developed" (C. E. K. Mees, Jahrbuch
fuer Photographie 25 (1911), p. 167: dD/dt = K (D_end - D); with the gradient in place of a density: Sheppard and Mees 1907, from memory).
For two films of which one was developed twice as long it has a closed form, k = ln(G1/(G2 - G1))/t1, which the tests use. Contrast for N+n:
a range of subject one stop shorter shall fill the same range of densities, so 7/(7 - n) of the normal gradient (zone system
arithmetic, common practice, no source). Pure. Tests: tests/prepare/sensitometry/test_growth.py.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from monitor.core.errors import InputWrong
from monitor.core.text.doubt import SHOWN
from monitor.core.text.quantities import format_duration, format_number

RANGE_STOPS = 7.0
"""From zone I to zone VIII: the range of a normal subject (zone system, common practice, no source)."""
PUSHES = (-1, 0, 1, 2)
NORMAL_GRADIENT = 0.58
"""For printing on a normal grade: a contrast index of 0.56 to 0.60 (a US Navy text, Photography (Advanced), chapter 2)."""
LEAST_RATIO = 1.2
"""The longest of the films is developed at least so many times as long as the shortest: less shows nothing (a choice, no source)."""


@dataclass(frozen=True, slots=True)
class FilmAt:
    """One film: developed for `time_s` (at the reference), its average gradient and one standard deviation of it."""

    time_s: float
    gradient: float
    sd: float


@dataclass(frozen=True, slots=True)
class Growth:
    """`end`: the gradient that no time exceeds; `k_per_s`; their variances and covariance, those of the films' scatter included."""

    films: tuple[FilmAt, ...]
    end: float
    k_per_s: float
    var_end: float
    var_k: float
    cov: float

    def gradient(self, time_s: float) -> float:
        """At this time."""
        return self.end * -math.expm1(-self.k_per_s * time_s)

    def gradient_sd(self, time_s: float) -> float:
        """One standard deviation of the law at this time."""
        by_end, by_k = -math.expm1(-self.k_per_s * time_s), self.end * time_s * math.exp(-self.k_per_s * time_s)
        return math.sqrt(max(0.0, by_end**2 * self.var_end + by_k**2 * self.var_k + 2.0 * by_end * by_k * self.cov))

    def time_s(self, gradient: float) -> float | None:
        """Seconds for this gradient; None where no time is enough."""
        return -math.log1p(-gradient / self.end) / self.k_per_s if 0.0 < gradient < self.end else None

    def between_s(self, gradient: float) -> tuple[float | None, float | None]:
        """The times at which the law's band of two standard deviations reaches this gradient: first its upper edge, then its lower one.
        None where it does not within ten times the longest of the films."""
        return tuple(self._reaches(gradient, side) for side in (SHOWN, -SHOWN))  # type: ignore[return-value]

    def _reaches(self, gradient: float, side: float) -> float | None:
        last_s = 10.0 * self.tested_s[1]
        steps = [last_s * i / 2000.0 for i in range(1, 2001)]
        return next((t for t in steps if self.gradient(t) + side * self.gradient_sd(t) >= gradient), None)

    def as_far_as_s(self, normal_s: float, ratio: float, k_per_s: float) -> float | None:
        """The time with `ratio` times the gradient of `normal_s`, at this k; as k goes to nothing, `ratio` times as long. What the films'
        contrast ends at does not matter here."""
        if k_per_s * normal_s < 1e-6:
            return ratio * normal_s
        wanted = ratio * -math.expm1(-k_per_s * normal_s)
        return -math.log1p(-wanted) / k_per_s if wanted < 1.0 else None

    @property
    def tested_s(self) -> tuple[float, float]:
        """The shortest and the longest of the films' times."""
        times = [film.time_s for film in self.films]
        return min(times), max(times)


def grow(films: Sequence[FilmAt]) -> Growth:
    """Least squares, weighted by the films' doubts; with more than two films their scatter widens the doubt. Raises `InputWrong`."""
    if len(films) < 2:
        raise InputWrong(f"{len(films)} film; allowed: two or more, developed for different times")
    shortest, longest = min(f.time_s for f in films), max(f.time_s for f in films)
    if longest < LEAST_RATIO * shortest:
        raise InputWrong("these films were developed for nearly the same time; allowed: times that differ by a fifth or more")
    if not all(film.gradient > 0 and film.sd > 0 and film.time_s > 0 for film in films):
        raise InputWrong("a film without a gradient, a time or a doubt above zero; allowed: films whose wedge has all three")
    k = _best_k(films, 0.01 / longest, 20.0 / shortest)
    if k * longest < 0.05:
        raise InputWrong(
            "these films' contrast grows as fast as their time, or faster, and does not show where it ends; "
            "allowed: films that lie farther apart, or read again"
        )
    end = _best_end(films, k)
    a = b = c = chi = 0.0
    for film in films:
        grown, weight = -math.expm1(-k * film.time_s), 1.0 / film.sd**2
        by_k = end * film.time_s * math.exp(-k * film.time_s)
        a, b, c = a + weight * grown**2, b + weight * by_k**2, c + weight * grown * by_k
        chi += weight * (film.gradient - end * grown) ** 2
    determinant = a * b - c * c
    wider = max(1.0, chi / (len(films) - 2)) if len(films) > 2 else 1.0
    return Growth(tuple(films), end, k, wider * b / determinant, wider * a / determinant, -wider * c / determinant)


def _best_end(films: Sequence[FilmAt], k: float) -> float:
    pairs = [(-math.expm1(-k * f.time_s), f.gradient, 1.0 / f.sd**2) for f in films]
    return sum(w * g * y for g, y, w in pairs) / sum(w * g * g for g, _, w in pairs)


def _best_k(films: Sequence[FilmAt], low: float, high: float) -> float:
    """The k of the least sum of squares: a coarse look on a logarithmic scale, then a golden section."""

    def off(log_k: float) -> float:
        k = math.exp(log_k)
        end = _best_end(films, k)
        return sum(((f.gradient + end * math.expm1(-k * f.time_s)) / f.sd) ** 2 for f in films)

    marks = [math.log(low) + (math.log(high) - math.log(low)) * i / 200.0 for i in range(201)]
    best = min(range(201), key=lambda i: off(marks[i]))
    a, b = marks[max(0, best - 1)], marks[min(200, best + 1)]
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(100):
        c, d = b - golden * (b - a), a + golden * (b - a)
        if off(c) < off(d):
            b = d
        else:
            a = c
    return math.exp(0.5 * (a + b))


@dataclass(frozen=True, slots=True)
class PushTime:
    """One row: N+`push` wants `gradient`; `time_s` between `low_s` and `high_s` (two standard deviations), None where no time is enough
    or the films do not show it; `tested`: the time lies inside the films'."""

    push: int
    gradient: float
    time_s: float | None
    low_s: float | None
    high_s: float | None
    tested: bool


def push_times(growth: Growth, normal_gradient: float) -> list[PushTime]:
    """N-1 to N+2 for a wanted normal gradient. Raises `InputWrong` for one that is none."""
    if not 0.1 <= normal_gradient <= 3.0:
        raise InputWrong(f"a normal gradient of {normal_gradient:g}; allowed: 0.1 to 3")
    return [_row(growth, push, normal_gradient * _ratio(push), None) for push in PUSHES]


def push_times_from(growth: Growth, normal_s: float) -> list[PushTime]:
    """N-1 to N+2 where the person knows the normal time: only how fast contrast grows is in doubt, not where it stands."""
    if normal_s <= 0:
        raise InputWrong("a normal time of zero; allowed: above 0:00")
    return [_row(growth, push, growth.gradient(normal_s) * _ratio(push), normal_s) for push in PUSHES]


def _ratio(push: int) -> float:
    return RANGE_STOPS / (RANGE_STOPS - push)


def _row(growth: Growth, push: int, wanted: float, normal_s: float | None) -> PushTime:
    time_s = growth.time_s(wanted)
    if normal_s is None:
        low_s, high_s = growth.between_s(wanted)
    else:
        around = SHOWN * math.sqrt(growth.var_k)
        ks = (max(0.0, growth.k_per_s - around), growth.k_per_s + around)
        found = [growth.as_far_as_s(normal_s, _ratio(push), k) for k in ks]
        known = [t for t in found if t is not None]
        low_s, high_s = min(known, default=None), max(known, default=None) if None not in found else None
    low, high = growth.tested_s
    return PushTime(push, wanted, time_s, low_s, high_s, time_s is not None and low <= time_s <= high)


def push_name(push: int) -> str:
    """Such as "N-1", "N", "N+2"."""
    return "N" if push == 0 else f"N{push:+d}"


def growth_lines(growth: Growth, rows: Sequence[PushTime], normal_said: str) -> Iterator[str]:
    """Times in words, each with its interval."""
    times = ", ".join(f"{format_duration(f.time_s)}: {f.gradient:.2f}" for f in sorted(growth.films, key=lambda f: f.time_s))
    yield f"your films, time and average gradient: {times}; the contrast ends near {growth.end:.2f}"
    yield f"normal is {normal_said}; the times in brackets are two standard deviations away"
    for row in rows:
        name = f"  {push_name(row.push):<4} gradient {row.gradient:.2f}"
        if row.time_s is None:
            yield f"{name}: no time is enough; this film and developer end near {growth.end:.2f}"
            continue
        unsure = "" if row.tested else "; outside your films' times: test it"
        yield f"{name}: {format_duration(row.time_s)}{_between(row)}{unsure}"
    normal = next(row for row in rows if row.push == 0)
    if normal.time_s is not None:
        tested = [(row.push, row.time_s) for row in rows if row.push and row.tested and row.time_s is not None]
        factors = ", ".join(f"{push_name(push)} {format_number(time_s / normal.time_s, 2)}" for push, time_s in tested)
        if factors:
            yield f"as a factor of the normal time, for the recipe's key factor: {factors}"
    yield "Common practice expects 0.7 to 0.8 for N-1 and 1.25 to 1.4 for N+1. Your own films rule; try one film before one that matters."


def _between(row: PushTime) -> str:
    if row.time_s is not None and row.low_s is not None and row.high_s is not None and row.high_s - row.low_s < 1.0:
        return ""
    low = "nothing" if row.low_s is None else format_duration(row.low_s)
    if row.high_s is None:
        return f" ({low} or longer; your films do not show how long at most)"
    return f" ({low} to {format_duration(row.high_s)})"
