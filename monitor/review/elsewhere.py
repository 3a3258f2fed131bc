"""Which readings were not the liquid's, seen with hindsight: the probe left its line for a while and came back to it.

A probe that was lifted out and put back, or that a plume has passed, leaves the liquid's line and meets it again; water that was stirred
in leaves another line. Live must decide on the way and looks back for minutes only (`monitor/core/development/excursion.py`); here
the readings of the whole stage speak. The explanations are weighed by the likelihoods of the same smoother: one liquid all along; one that
was moved at both ends, or moved about in between; a liquid without these readings, and somewhere else in between. Where that is
likeliest the readings are left out. Tests: tests/review/test_elsewhere.py, figures:
tests/benchmarks/bench_doubt.py (`--review`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.excursion import BACK_S, EDGE_C, EDGE_SDS, OFF_C, OFF_SDS, PRIOR, SURE
from monitor.core.development.likelihood import sum_log
from monitor.core.probes.classify import STALE_S
from monitor.review.smoother import LEVELS, Measurement, log_likelihoods

LINE_S = 20.0
"""A line is known after so long (several lags of a probe)."""
LONGEST_S = 400.0
"""What has not come back by then has not left for a while: the liquid is another one (this project's own choice)."""
KEEPS, KEEPS_C = 0.2, 0.8 * OFF_C
"""What passes the probe may leave so much of itself in the liquid, as a share of how far the readings were off, and at most."""
SOMEWHERE_LOG = -10.0
"""How likely it is that it happens between these two moments of a stage and no others: once in 2000 s, and one of some thousand pairs."""
COASTING = LEVELS[0]
"""A line goes on as a calm liquid does."""


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """From `from_s` to before `to_s` the readings were up to `off_c` off the liquid, with this probability."""

    from_s: float
    to_s: float
    off_c: float
    probability: float

    @property
    def left_out(self) -> bool:
        """Whether the liquid is taken to be without them."""
        return self.probability >= SURE


def elsewhere(measured: Sequence[Measurement], lag_s: float) -> list[Elsewhere]:
    """What is found among the readings of one probe (rising in time), in their order, apart from each other."""
    found: list[Elsewhere] = []
    kept = list(measured)
    for from_s, to_s, off_c in _away(measured, lag_s):
        one = _weigh(kept, lag_s, from_s, to_s, off_c)
        if one is not None:
            found.append(one)
            if one.left_out:
                kept = without(kept, [one])
    return found


def without(measured: Sequence[Measurement], found: Sequence[Elsewhere]) -> list[Measurement]:
    """What is left of the readings."""
    return [m for m in measured if not any(one.left_out and one.from_s <= m.t_s < one.to_s for one in found)]


def _weigh(measured: Sequence[Measurement], lag_s: float, from_s: float, to_s: float, off_c: float) -> Elsewhere | None:
    away = [m for m in measured if from_s <= m.t_s < to_s]
    outside = [m for m in measured if not from_s <= m.t_s < to_s]
    if len(away) < 3 or not outside:
        return None
    alone = [Measurement(m.t_s, m.celsius, m.sd_c, 0) for m in away]
    one_liquid = _log(measured, lag_s)
    moved = [_log(measured, lag_s, (from_s, to_s))]
    moved += [_log(measured, lag_s, lively=(from_s, to_s, level)) for level in range(1, len(LEVELS))]
    liquid = [one_liquid, *(log + SOMEWHERE_LOG for log in moved)]
    left = _log(outside, lag_s) + _log(alone, 0.0) + math.log(PRIOR) + SOMEWHERE_LOG
    return Elsewhere(from_s, to_s, off_c, math.exp(left - sum_log([left, *liquid])))


def _log(
    measured: Sequence[Measurement], lag_s: float, moved_s: Sequence[float] = (), lively: tuple[float, float, int] | None = None
) -> float:
    """Logarithm of the likelihood of readings of one probe, with each liveliness as likely as another."""
    own = [Measurement(m.t_s, m.celsius, m.sd_c, 0) for m in measured]
    return sum_log(log_likelihoods(own, [lag_s], moved_s, lively)) - math.log(len(LEVELS))


def _away(measured: Sequence[Measurement], lag_s: float) -> list[tuple[float, float, float]]:
    """Stretches (from, to, greatest distance) in which the readings were off the line of before, and after which they were on it again."""
    found: list[tuple[float, float, float]] = []
    k = 0
    while k < len(measured):
        line, k = _Line(measured[k]), k + 1
        while k < len(measured):
            now = measured[k]
            off_c, sd_c = line.off(now)
            known = now.t_s - line.since_s >= LINE_S
            if known and abs(off_c) > max(OFF_C, OFF_SDS * sd_c):
                stretch = _until_back(measured, line, k, lag_s)
                if stretch is None:
                    break  # another liquid: its line begins here
                back, farthest_c = stretch
                found.append((line.left_s, measured[back].t_s, farthest_c))
                line.left_s, k = measured[back].t_s, back
            else:
                line.take(now, known)
                k += 1
    return [(a, b, c) for a, b, c in found if b - a > STALE_S]


def _until_back(measured: Sequence[Measurement], line: _Line, first: int, lag_s: float) -> tuple[int, float] | None:
    """The number of the first reading that is on the line again and stays there, and how far they had been off; None if none is."""
    farthest_c, back = 0.0, None
    for k in range(first, len(measured)):
        now = measured[k]
        if now.t_s - line.left_s > LONGEST_S:
            return None
        off_c, sd_c = line.off(now)
        if abs(off_c) <= max(EDGE_C, EDGE_SDS * sd_c, min(KEEPS * abs(farthest_c), KEEPS_C)):
            back = k if back is None else back
            if now.t_s - measured[back].t_s >= BACK_S + lag_s:
                return back, farthest_c
        else:
            back = None
            farthest_c = off_c if abs(off_c) > abs(farthest_c) else farthest_c
    return None


class _Line:
    """A straight line through readings as they come, by the calmest liveliness; the probe's lag shifts it and does not bend it."""

    def __init__(self, first: Measurement) -> None:
        self.since_s = self.left_s = self._t_s = first.t_s
        self._level, self._slope = first.celsius, 0.0
        self._var, self._cov, self._slope_var = first.sd_c**2, 0.0, 0.02**2

    def off(self, now: Measurement) -> tuple[float, float]:
        """How far a reading lies off the line, and the standard deviation of that."""
        level, var, _, _ = self._ahead(now.t_s)
        return now.celsius - level, math.sqrt(var + now.sd_c**2)

    def take(self, now: Measurement, known: bool) -> None:
        """One more reading. `known`: the line has been known for a while; then one that may be off it does not draw it along."""
        level, var, cov, slope_var = self._ahead(now.t_s)
        spread = var + now.sd_c**2
        off_c = now.celsius - level
        if known and abs(off_c) > EDGE_SDS * math.sqrt(spread):
            return
        self.left_s = now.t_s
        gain, slope_gain = var / spread, cov / spread
        self._t_s, self._level, self._slope = now.t_s, level + gain * off_c, self._slope + slope_gain * off_c
        self._var, self._cov, self._slope_var = var - gain * var, cov - gain * cov, slope_var - slope_gain * cov

    def _ahead(self, t_s: float) -> tuple[float, float, float, float]:
        h, (walk, bend) = t_s - self._t_s, COASTING
        var = self._var + 2.0 * h * self._cov + h * h * self._slope_var + walk**2 * h + bend**2 * h**3 / 3.0
        cov = self._cov + h * self._slope_var + bend**2 * h * h / 2.0
        return self._level + self._slope * h, var, cov, self._slope_var + bend**2 * h
