"""Did the probe hang in one of two layers? Mixing breaks them up, and the reading leaps to the whole's temperature: each time the same way.

Live cannot know it at the first leap and takes it for a doubt (`monitor/core/development/excursion.py`). With hindsight the leaps stand
beside each other: where they go one way, about as far, and come by the clock, at multiples of one time since the begin, hands that mix
have made them, and what each took back is what the probe had gone away from the whole since the one before. Water that is added to keep
the temperature comes when a thermometer asks for it; then, and where there is but one leap, nothing is decided and a doubt stays, as
live has it.
Tests: tests/review/test_layers.py, figures: tests/benchmarks/bench_doubt.py (`--review`, "strata").
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.crosswatch import SETTLED_LAGS
from monitor.core.development.excursion import GREATEST_SHIFT_C, LAYERED_AGAIN, LAYERED_ONCE, LAYERED_SHARE, LEAST_SHIFT_C
from monitor.core.development.replay import RERUN_S
from monitor.core.probes.classify import STALE_S
from monitor.review.smoother import Measurement

Array = NDArray[np.float64]

BEFORE_S, AFTER_S = 30.0, 45.0
"""A leap is measured by the readings of so long before and after it."""
LEAP_SDS = 4.0
MOST_LEAPS = 12
"""What a leap is, in standard deviations, and how many are looked for in one stage at most (this project's own choice)."""
FEWEST, FEWEST_READINGS = 2, 60
PERIODS = 150
CLOCK_AHEAD, ALIKE = 15.0, 0.35
"""Leaps by the clock are two at least, each at least this share of the middle one and the same way; of so many periods that are tried the
best one makes the readings exp(15) times likelier than a smooth course (this project's own choice)."""
PART_S = 250.0
"""Layers part with about this time constant (100 to 400 s; weak convection, own estimate)."""
SHORTEST_S = 45.0
"""Leaps that come quicker than this are not told apart."""
SETTLES = 3.0
"""For so many lags after a leap a reading is neither the one nor the other."""


@dataclass(frozen=True, slots=True)
class Layers:
    """`mixed_s`: when they were mixed, the begin first; `leaps_c`: by how much the reading leapt then. Both are empty without layers."""

    mixed_s: tuple[float, ...] = ()
    leaps_c: tuple[float, ...] = ()
    doubt_c: float = 0.0
    """By how much the probe may have been off all the time, where something leapt and it is not known what: standard deviation, C."""

    def off(self, times: Array) -> tuple[Array, Array]:
        """By how much the probe is off the whole at these moments: mean and standard deviation, C."""
        mean, sd = np.zeros(len(times)), np.full(len(times), self.doubt_c)
        if len(self.mixed_s) < 2:
            return mean, sd
        ends = (*self.mixed_s[1:], 2.0 * self.mixed_s[-1] - self.mixed_s[-2])
        for from_s, to_s, leap_c in zip(self.mixed_s, ends, (*self.leaps_c[1:], self.leaps_c[-1]), strict=True):
            here = (times >= from_s) & ((times < to_s) | (to_s == ends[-1]))
            gone = (1.0 - np.exp(-(times[here] - from_s) / PART_S)) / (1.0 - math.exp(-(to_s - from_s) / PART_S))
            mean[here] = -LAYERED_AGAIN * leap_c * gone
            sd[here] = math.sqrt(LAYERED_AGAIN * (1.0 - LAYERED_AGAIN)) * np.abs(leap_c * gone)
        return mean, sd

    def without(self, measured: Sequence[Measurement], lag_s: float) -> list[Measurement]:
        """The readings as the whole would have given them; those of a leap itself are left out."""
        if len(self.mixed_s) < 2:
            return list(measured)
        leapt = [m for m in measured if not any(0.0 <= m.t_s - t < SETTLES * lag_s for t in self.mixed_s[1:])]
        off, _ = self.off(np.array([m.t_s for m in leapt]) - lag_s)
        return [Measurement(m.t_s, m.celsius - o, m.sd_c, m.channel) for m, o in zip(leapt, off.tolist(), strict=True)]


def layers(measured: Sequence[Measurement], lag_s: float, begin_s: float, end_s: float) -> Layers:
    """What the readings of one probe (rising in time) tell of layers from `begin_s` to `end_s`."""
    times, values = np.array([m.t_s for m in measured]), np.array([m.celsius for m in measured])
    if len(measured) < FEWEST_READINGS:
        return Layers()
    noise_c = float(np.median([m.sd_c for m in measured]))
    found = _by_the_clock(times, values, lag_s, noise_c, begin_s, end_s)
    if found.mixed_s:
        return found
    settled_s = begin_s + max(RERUN_S[-1], SETTLED_LAGS * lag_s)
    tried_s = times[(times > settled_s) & (times < min(end_s, float(times[-1])) - AFTER_S)]
    leaps_c = [by for _, by in _leaps(times, values, tried_s.tolist(), lag_s, noise_c)]
    if not leaps_c:
        return found
    return Layers(doubt_c=LAYERED_SHARE * math.sqrt(LAYERED_ONCE * math.fsum(by * by for by in leaps_c) / len(leaps_c)))


def _leaps(times: Array, values: Array, tried_s: Sequence[float], lag_s: float, noise_c: float) -> list[tuple[float, float]]:
    """When and by how much it leapt, in the order of time: the surest is taken out of the readings before the next one is looked for."""
    found: list[tuple[float, float]] = []
    rest = values.copy()
    while len(found) < MOST_LEAPS:
        apart = [t for t in tried_s if all(abs(t - other) >= SHORTEST_S for other, _ in found)]
        leaps = [(t, *_leap(times, rest, t, lag_s, noise_c)) for t in apart]
        sure = [leap for leap in leaps if LEAST_SHIFT_C <= abs(leap[1]) <= GREATEST_SHIFT_C and abs(leap[1]) > LEAP_SDS * leap[2]]
        if not sure:
            break
        at_s, by, _ = max(sure, key=lambda leap: abs(leap[1]) / leap[2])
        found.append((at_s, by))
        rest -= by * _seen(times - at_s, lag_s)
    return sorted(found)


def _leap(times: Array, values: Array, at_s: float, lag_s: float, noise_c: float) -> tuple[float, float]:
    """By how much the line leaps at a moment, as a probe with this lag shows it, and the standard deviation of that."""
    near = (times >= at_s - BEFORE_S) & (times <= at_s + AFTER_S)
    since = times[near] - at_s
    edges = np.array([-BEFORE_S, *since, AFTER_S])
    if np.any(np.diff(edges) > STALE_S):
        return 0.0, math.inf  # somebody has been at the probe
    columns = np.column_stack([np.ones(len(since)), since, _seen(since, lag_s)])
    inverse = np.linalg.inv(columns.T @ columns)
    by = inverse @ columns.T @ values[near]
    left = values[near] - columns @ by
    spread = max(noise_c, math.sqrt(float(left @ left) / (len(since) - 3)))
    return float(by[2]), spread * math.sqrt(float(inverse[2, 2]))


def _seen(since: Array, lag_s: float) -> Array:
    """The share of a leap that a probe with this lag shows after so long."""
    seen: Array = 1.0 - np.exp(-np.maximum(since, 0.0) / max(lag_s, 1.0))
    return seen


def _by_the_clock(times: Array, values: Array, lag_s: float, noise_c: float, begin_s: float, end_s: float) -> Layers:
    """The layers, where the readings leap by the clock, each time the same way and about as far."""
    last_s = min(end_s, float(times[-1])) - AFTER_S
    if last_s < begin_s + FEWEST * SHORTEST_S:
        return Layers()
    inside = (times >= begin_s + SETTLES * lag_s) & (times <= end_s)
    t, z = times[inside], values[inside]
    if len(t) < FEWEST_READINGS:
        return Layers()
    span = (t - t[0]) / (t[-1] - t[0])
    smooth = np.column_stack([span**k for k in range(4)])

    def gone(period_s: float) -> Array:
        return _gone(t - lag_s, begin_s, _times(begin_s, end_s, period_s))

    def left(period_s: float) -> float:
        return _left(np.column_stack([smooth, gone(period_s)]), z)[1]

    about_s = min(np.geomspace(SHORTEST_S, (last_s - begin_s) / FEWEST, PERIODS).tolist(), key=left)
    period_s = min(np.linspace(0.97 * about_s, 1.03 * about_s, PERIODS // 5).tolist(), key=left)
    if 0.5 * len(t) * math.log(_left(smooth, z)[1] / left(period_s)) < CLOCK_AHEAD:
        return Layers()
    mixed = _times(begin_s, end_s, period_s)
    told = [(s, *_leap(times, values, s, lag_s, noise_c)) for s in mixed if s <= last_s]
    sizes = [by for _, by, sd in told if math.isfinite(sd)]
    middle = float(np.median(sizes)) if sizes else 0.0
    alike = len(sizes) == len(told) >= FEWEST and all(by * middle >= ALIKE * middle * middle for by in sizes)
    if not alike or not LEAST_SHIFT_C <= abs(middle) <= GREATEST_SHIFT_C:
        return Layers()
    by, _ = _left(np.column_stack([smooth, gone(period_s)]), z)
    rest = _leaps(t, z - by[-1] * gone(period_s), t[(t > begin_s + RERUN_S[-1]) & (t < last_s)].tolist(), lag_s, noise_c)
    if any(abs(leap) >= 0.5 * abs(middle) for _, leap in rest):
        return Layers()  # others came at other times
    return Layers((begin_s, *mixed), (0.0, *sizes, *[middle] * (len(mixed) - len(told))))


def _times(begin_s: float, end_s: float, period_s: float) -> tuple[float, ...]:
    return tuple(begin_s + n * period_s for n in range(1, int((end_s - begin_s) / period_s) + 1))


def _gone(times: Array, begin_s: float, mixed_s: Sequence[float]) -> Array:
    """How far a layer of this pattern has parted from the whole since the last mixing."""
    marks = np.array([begin_s, *mixed_s])
    gone: Array = 1.0 - np.exp(-(times - marks[np.maximum(np.searchsorted(marks, times, side="right") - 1, 0)]) / PART_S)
    return gone


def _left(columns: Array, values: Array) -> tuple[Array, float]:
    """What of each column is in the values, and the sum of the squares that is left."""
    by: Array = np.linalg.lstsq(columns, values, rcond=None)[0].astype(np.float64)
    off = values - columns @ by
    return by, float(off @ off)
