"""When a target will be reached with the expected drift, and how uncertain development at that moment is.

The expected drift is the filter's slope, which fades out; it stops at the room's temperature where that is known. A vessel with a
learned lag follows bath or room. Tests: tests/core/development/test_forecast.py, figures: tests/benchmarks/bench_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise

from monitor.core.development.filter import AIR, HELD_FADE_S, SLOPE, TRANSIENT, TRANSIENT_S, T, Track
from monitor.core.development.moment import Moment
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.rivals import NOISES
from monitor.core.development.sensitivity import add_to, variance

DRIFT_FADE_S = 1500.0
"""A slope of unknown cause fades with this time constant (that of a bowl is 20 to 60 minutes: the project's practice, section 8)."""
SLOWEST_FALL_S = 600.0
"""Shortest time constant with which a liquid approaches the room's temperature (this project's own choice)."""
VESSEL_TAKEOVER_S = 120.0
"""The measured slope fades into the vessel model's with this time constant (this project's own choice)."""
NODES = ((0.06943184420297371, 0.17392742256872692), (0.33000947820757187, 0.32607257743127307),
         (0.6699905217924281, 0.32607257743127307), (0.9305681557970262, 0.17392742256872692))
"""Gauss-Legendre, four points on (0, 1) (NIST DLMF, table 3.5.2)."""
LONGEST_AHEAD_S = 4 * 86400.0
"""No end is forecast further ahead."""


def expected(moment: Moment, track: Track, follows: tuple[float, float, float] | None) -> Callable[[float], float]:
    """The liquid's temperature as a function of seconds from now. `follows`: a vessel's lag (s), and level (C) and slope (C/s) of bath or
    room; None where unknown."""
    x = track.x
    t0, s, u = x[T], x[SLOPE], x[TRANSIENT]
    if moment.drift == "held":
        return lambda ahead: t0 + s * HELD_FADE_S * (1.0 - math.exp(-ahead / HELD_FADE_S))
    if moment.drift == "vessel":
        s = u = 0.0
    if follows is not None:
        lag, level, ambient_slope = follows
        limit = level - t0
        extra = s - limit / lag if moment.drift == "liquid" else 0.0

        def towards(ahead: float) -> float:
            e = math.exp(-ahead / lag)
            faded = VESSEL_TAKEOVER_S * (1.0 - math.exp(-ahead / VESSEL_TAKEOVER_S))
            slope = ambient_slope * (DRIFT_FADE_S * (1.0 - math.exp(-ahead / DRIFT_FADE_S)) - lag * (1.0 - e))
            return t0 + limit * (1.0 - e) + slope + extra * faded + u * TRANSIENT_S * (1.0 - math.exp(-ahead / TRANSIENT_S))

        return towards
    fade = DRIFT_FADE_S
    gap = x[AIR] - t0
    if moment.room and s * gap > 0.0:
        fade = max(gap / s, SLOWEST_FALL_S)

    def drifting(ahead: float) -> float:
        return t0 + s * fade * (1.0 - math.exp(-ahead / fade)) + u * TRANSIENT_S * (1.0 - math.exp(-ahead / TRANSIENT_S))

    return drifting


def _pieces(start: float, ahead: float) -> list[tuple[float, float]]:
    """Cut the stretch into pieces on which the expected temperature is smooth enough for four nodes."""
    cuts = [start, *(c for c in (start + 150.0, start + 900.0) if c < ahead), ahead]
    return list(pairwise(cuts))


def development(law: RateLaw, at: Callable[[float], float], start: float, ahead: float) -> float:
    """Development between `start` and `ahead` (seconds from now), in seconds at the reference."""
    total = 0.0
    log_rate, exp = law.log_rate, math.exp
    for left, right in _pieces(start, ahead):
        width = right - left
        total += width * math.fsum(w * exp(log_rate(at(left + width * n))) for n, w in NODES)
    return total


def solve(law: RateLaw, at: Callable[[float], float], start: float, missing_ref_s: float) -> float:
    """Seconds from now until `missing_ref_s` have been done, counted from `start`. Newton's method; r is above 0, so there is one
    solution."""
    first = rate(law, at(start))
    ahead = start + missing_ref_s / first
    if missing_ref_s <= 0.0:
        return ahead
    for _ in range(20):
        off = development(law, at, start, ahead) - missing_ref_s
        change = off / rate(law, at(ahead))
        ahead = min(max(ahead - change, start), start + LONGEST_AHEAD_S)
        if abs(change) < 0.01:
            break
    return ahead


def noise_variance(moment: Moment, track: Track, number: int | None, law: RateLaw, start: float, ahead: float, celsius: float) -> float:
    """Variance of development at `ahead` from what the filter knows: state and counts at the moment, process noise from then on."""
    h = max(ahead - start, 0.0)
    slope = rate(law, celsius) * law.log_rate_slope(celsius)
    fade = HELD_FADE_S if moment.drift == "held" else DRIFT_FADE_S
    lever = 0.5 * h * h if h < fade else fade * (h - 0.5 * fade)
    jt, js = slope * h, slope * lever
    ju = slope * (0.5 * h * h if moment.drift == "held" else TRANSIENT_S * min(h, 0.5 * h * h / TRANSIENT_S))
    c = track.c
    v = [jt * a + js * b + ju * d for a, b, d in zip(c[T], c[SLOPE], c[TRANSIENT], strict=True)]
    total = v[T] * jt + v[SLOPE] * js + v[TRANSIENT] * ju
    if moment.drift == "liquid":
        curve = slope * slope * NOISES["calm"].slope
        total += curve * h**5 / 20.0 if h < fade else curve * fade**3 * h * h / 20.0
    if number is not None:
        count = track.counts[number]
        total += count.var + 2.0 * (count.cov[T] * jt + count.cov[SLOPE] * js + count.cov[TRANSIENT] * ju)
    return max(total, 0.0)


def systematic_variance(moment: Moment, number: int | None, law: RateLaw, sds: Mapping[str, float], h: float, celsius: float) -> float:
    """Variance of development `h` seconds from now, at about `celsius`, from comparison, vessel's lag and rate law."""
    of = dict(moment.systematics.of_ref_s)
    add_to(of, moment.systematics.of_c, law, celsius, max(h, 0.0))
    base = moment.systematics.of_ref_s if number is None else moment.bases[number]
    return variance(of, sds, base)

