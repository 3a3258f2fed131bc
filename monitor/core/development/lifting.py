"""Has the probe been lifted out of the liquid, or has the liquid moved? Both leave a curve; its shape and its size tell.

Water stirred in reaches the probe through its lag and is over within a minute; it makes a degree or two. A probe in air goes at once
and for minutes: dry towards the room, wet towards the wet bulb, 2 to 8 C under it, and quicker (psychrometry: air temperature less
wet bulb at 35 to 70 % relative humidity, 10 to 25 C). For each shape and each moment of its beginning the unknown sizes enter
straight, so likelihoods follow from linear algebra (`likelihood`). Tests: tests/core/development/test_lifting.py, figures:
tests/benchmarks/bench_doubt.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.coarse import Point
from monitor.core.development.filter import TRANSIENT_S
from monitor.core.development.likelihood import Sums, sum_log

STIR_S = ((0.5, 0.1), (2.5, 0.15), (5.0, 0.15), (10.0, 0.2), (20.0, 0.2), (40.0, 0.15), (80.0, 0.05))
"""Time constants with which water that is stirred in spreads, seconds, and their probabilities (tuned on this project's own liquids)."""
BETWEEN = (2.0**-0.375, 2.0**-0.125, 2.0**0.125, 2.0**0.375)
"""Each stands for those about it: the likeliest one and its neighbours are tried at these multiples too, since a curve that is a quarter
too quick leaves more than the readings' noise."""
STIRRED_C = ((1.2, 0.9), (4.0, 0.1))
"""What it makes of the liquid's temperature: standard deviations, C, and their probabilities (common practice, no source)."""
DRY_S, WET_S = (100.0, 130.0, 170.0), (35.0, 47.0, 62.0, 82.0, 110.0)
"""Time constants of a probe in air, dry and wet, seconds (`AIR_LAG_S` in `filter`; evaporation makes it up to three times quicker)."""
WET = 0.7
"""A lifted probe is wet, at first."""
DRY_SD_C = 0.8
WET_BELOW_C = (4.5, 2.2)
"""Where it goes to: near the room's temperature; wet, so much below it (mean, standard deviation)."""
DRIES_SD_C_PER_S = 0.003
"""What a wet one goes to drifts as it dries: standard deviation, C/s (2 C in ten minutes; this project's own choice)."""
NO_ROOM_C = (18.0, 7.0)
"""The room, where no probe reads it: mean and standard deviation."""
LIFTED_AHEAD_LOG = math.log(600.0 / 2000.0)
"""A probe is lifted once in 2000 s, water stirred in once in 600 s (the rates of `histories` and `rivals`)."""
COARSE_ONSETS, MOST_ONSETS = 3, 25
"""Every third moment is tried as the beginning, fewer where there are many (about 25), then those about the likeliest."""
MISFIT_SD_C = 0.015
"""Standard deviation by which neither curve is quite what it is taken for (this project's own choice)."""
WORST_FIT = 3.0
"""The squares of what a curve leaves, in deviations, may be so much on average (this project's own choice)."""
FARTHEST = 3.0
"""No air is farther from where a probe in air goes to than so many standard deviations: a bad contact leaps there (this project's own
choice)."""
CHIP_S = 2.0
"""The chip follows its sleeve with about this (data sheets of sheathed probes, from memory): the curve begins a little late."""


@dataclass(frozen=True, slots=True)
class Base:
    """The probe before it all: at `t_s` this warm, drifting so, and with a drift that dies away; each with its standard deviation."""

    t_s: float
    celsius: tuple[float, float]
    slope_c_per_s: tuple[float, float]
    transient_c_per_s: tuple[float, float]

    def at(self, t_s: float) -> float:
        """What the probe would read at `t_s`."""
        h = t_s - self.t_s
        return self.celsius[0] + self.slope_c_per_s[0] * h + self.transient_c_per_s[0] * _died(h)


@dataclass(frozen=True, slots=True)
class Lifting:
    """`ahead`: natural logarithm of how many times likelier the probe has been lifted than the liquid has moved. Where it was lifted:
    since when, and with which time constant it goes where."""

    ahead: float
    since_t_s: float
    lag_s: float
    towards_c: float
    towards_sd_c: float


def weigh_lifting(
    base: Base, readings: Sequence[Point], onsets_s: Sequence[float], lag_s: float, room_c: float | None
) -> Lifting | None:
    """Weigh both for what the probe has read since `base`, beginning at one of `onsets_s`. `lag_s`: of the probe in the liquid; `room_c`:
    the room's temperature, None where it is not read. None without an onset before the newest reading, or where no curve of a probe in air
    comes near the readings, or only one that goes where no air is."""
    onsets_s = [t for t in onsets_s if readings and t < readings[-1].t_s]
    if not onsets_s:
        return None
    curves = _Curves(base, readings)
    stride = max(COARSE_ONSETS, len(onsets_s) // MOST_ONSETS)
    moved = {i: curves.moved(onsets_s[i], lag_s) for i in range(0, len(onsets_s), stride)}
    lifted = {i: curves.lifted(onsets_s[i], room_c) for i in moved}
    likeliest = (max(moved, key=lambda i: max(moved[i])), max(lifted, key=lambda i: max(one.log for one in lifted[i])))
    near = range(1 - stride, stride)
    fine = sorted({i + k for i in likeliest for k in near if 0 <= i + k < len(onsets_s)})
    air = [one for i in fine for one in lifted.get(i) or curves.lifted(onsets_s[i], room_c)]
    top = moved[likeliest[0]].index(max(moved[likeliest[0]])) // len(STIRRED_C)
    liquid = [log for i in fine for log in curves.moved(onsets_s[i], lag_s, _finer(top))]
    best = max(air, key=lambda one: one.log)
    if best.sums.misfit(best.sds) > WORST_FIT * len(readings):
        return None
    off_c, sd_c = best.sums.last(best.sds)
    if abs(off_c) > FARTHEST * best.sds[-1]:
        return None
    ahead = sum_log([one.log for one in air]) - sum_log(liquid) + LIFTED_AHEAD_LOG
    return Lifting(ahead, best.onset_s, best.lag_s, best.towards_c + off_c, sd_c)


@dataclass(frozen=True, slots=True)
class _InAir:
    """One curve of a probe in air: the logarithm of its probability, and from what it follows."""

    log: float
    onset_s: float
    lag_s: float
    towards_c: float
    sds: tuple[float, ...]
    sums: Sums


class _Curves:
    """The readings since a base, and how likely each curve makes them. Each reading is weighed by its own variance: `_weights` are
    relative to the smallest, so they are 1 where all readings are alike."""

    def __init__(self, base: Base, readings: Sequence[Point]) -> None:
        self._base, self._readings = base, readings
        self._variance = min(p.variance for p in readings) + MISFIT_SD_C**2
        self._weights = [math.sqrt(self._variance / (p.variance + MISFIT_SD_C**2)) for p in readings]
        self._flat = self._weighed([1.0] * len(readings))
        self._since = [p.t_s - base.t_s for p in readings]
        self._drift, self._dying = self._weighed(self._since), self._weighed([_died(h) for h in self._since])
        rest = self._weighed([p.celsius - base.at(p.t_s) for p in readings])
        self._still = Sums([self._flat, self._drift, self._dying], rest, self._variance)
        self._sds = (base.celsius[1], base.slope_c_per_s[1], base.transient_c_per_s[1])

    def _weighed(self, column: Sequence[float]) -> list[float]:
        return [w * v for w, v in zip(self._weights, column, strict=True)]

    def moved(self, onset_s: float, lag_s: float, spreads: Sequence[tuple[float, float]] = STIR_S) -> list[float]:
        """Logarithms of the probability that water was stirred in at `onset_s`: for each way of spreading and each size."""
        logs = []
        for tau, share in spreads:
            seen = self._weighed([_stirred(p.t_s - onset_s, tau, lag_s) for p in self._readings])
            sums = self._still.and_one_more(seen)
            logs += [math.log(share * p) + sums.evidence((*self._sds, size)) for size, p in STIRRED_C]
        return logs

    def lifted(self, onset_s: float, room_c: float | None) -> list[_InAir]:
        """The curves of a probe that was lifted at `onset_s`: dry and wet, slower and quicker. Its own drift stops then."""
        base, held_s = self._base, onset_s - self._base.t_s
        stopped = self._weighed([min(h, held_s) for h in self._since])
        died = self._weighed([_died(min(h, held_s)) for h in self._since])
        left = self._weighed([p.celsius - base.at(min(p.t_s, onset_s)) for p in self._readings])
        dry, wet = ((room_c, DRY_SD_C), WET_BELOW_C[1]) if room_c is not None else (NO_ROOM_C, NO_ROOM_C[1])
        still = Sums([self._flat, stopped, died], left, self._variance)
        since = [max(p.t_s - onset_s - CHIP_S, 0.0) for p in self._readings]
        options = []
        for (towards, sd_c), lags, p in ((dry, DRY_S, 1.0 - WET), ((dry[0] - WET_BELOW_C[0], wet), WET_S, WET)):
            away = towards - base.at(onset_s)
            for lag in lags:
                gone = self._weighed([1.0 - math.exp(-h / lag) for h in since])
                values = [v - away * g for v, g in zip(left, gone, strict=True)]
                dries = lags == WET_S
                known = still.and_one_more(self._weighed([h - lag * (1.0 - math.exp(-h / lag)) for h in since])) if dries else still
                sums = known.and_one_more(gone, values)
                sds = (*self._sds, *((DRIES_SD_C_PER_S,) if dries else ()), sd_c)
                options.append(_InAir(math.log(p / len(lags)) + sums.evidence(sds), onset_s, lag, towards, sds, sums))
        return options


def _finer(likeliest: int) -> list[tuple[float, float]]:
    """`STIR_S` with the likeliest one and its neighbours divided."""
    parts: list[tuple[float, float]] = []
    for k, (tau, share) in enumerate(STIR_S):
        parts += [(tau * by, share / len(BETWEEN)) for by in BETWEEN] if abs(k - likeliest) <= 1 else [(tau, share)]
    return parts


def _died(h: float) -> float:
    """How far a transient slope of 1 has carried after `h` seconds."""
    return TRANSIENT_S * (1.0 - math.exp(-h / TRANSIENT_S))


def _stirred(age: float, tau: float, lag: float) -> float:
    """The share of a step, spreading with `tau`, that a probe with `lag` shows after `age` seconds."""
    if age <= 0.0:
        return 0.0
    if abs(tau - lag) < 0.05 * lag:
        tau = 1.05 * lag
    return 1.0 - (tau * math.exp(-age / tau) - lag * math.exp(-age / lag)) / (tau - lag)
