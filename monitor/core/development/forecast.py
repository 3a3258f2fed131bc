"""When a target will be reached, with the drift that is expected, and how far that moment is to be trusted.

What is expected: the filter's slope, fading; towards the room where its temperature is known; in a vessel with a learned lag, what
bath or room will make of it. Tests: tests/core/development/test_estimator.py, figures: tests/benchmarks/bench_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from itertools import pairwise

from monitor.core.development.filter import AIR, HELD_FADE_S, SLOPE, TRANSIENT, TRANSIENT_S, T, Track
from monitor.core.development.moment import Moment
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.sensitivity import add_to, variance

FADE_S = 1500.0
"""A slope whose cause is unknown fades with this (a bowl's time constant is 20 to 60 minutes: the project's practice, section 8)."""
SLOWEST_FALL_S = 600.0
"""A liquid approaches the room's air with at least this time constant."""
VESSEL_TAKEOVER_S = 120.0
"""The measured slope gives way to the vessel model's with this."""
SLOPE_NOISE = 2e-8
NODES = ((0.06943184420297371, 0.17392742256872692), (0.33000947820757187, 0.32607257743127307),
         (0.6699905217924281, 0.32607257743127307), (0.9305681557970262, 0.17392742256872692))
"""Gauss-Legendre, four points on (0, 1) (NIST DLMF, table 3.5.2)."""
LONGEST_S = 4 * 86400.0


def expected(moment: Moment, track: Track, follows: tuple[float, float, float] | None) -> Callable[[float], float]:
    """The liquid's temperature as a function of seconds from now. `follows`: (lag, level, slope) of what a learned vessel follows, if
    known."""
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
            slope = ambient_slope * (FADE_S * (1.0 - math.exp(-ahead / FADE_S)) - lag * (1.0 - e))
            return t0 + limit * (1.0 - e) + slope + extra * faded + u * TRANSIENT_S * (1.0 - math.exp(-ahead / TRANSIENT_S))

        return towards
    fade = FADE_S
    gap = x[AIR] - t0
    if moment.room and s * gap > 0.0:
        fade = max(gap / s, SLOWEST_FALL_S)

    def drifting(ahead: float) -> float:
        return t0 + s * fade * (1.0 - math.exp(-ahead / fade)) + u * TRANSIENT_S * (1.0 - math.exp(-ahead / TRANSIENT_S))

    return drifting


def _pieces(start: float, ahead: float) -> list[tuple[float, float]]:
    """Stretches over which the expected temperature is smooth enough for four nodes."""
    cuts = [start, *(c for c in (start + 150.0, start + 900.0) if c < ahead), ahead]
    return list(pairwise(cuts))


def development(law: RateLaw, at: Callable[[float], float], start: float, ahead: float) -> float:
    """Integral of r between two moments ahead, seconds at the reference."""
    total = 0.0
    log_rate, exp = law.log_rate, math.exp
    for left, right in _pieces(start, ahead):
        width = right - left
        total += width * math.fsum(w * exp(log_rate(at(left + width * n))) for n, w in NODES)
    return total


def solve(law: RateLaw, at: Callable[[float], float], start: float, missing_ref_s: float) -> float:
    """Seconds from now until `missing_ref_s` more have been done, counting from `start`. Newton's rule; r is above 0, so there is one."""
    first = rate(law, at(start))
    ahead = start + missing_ref_s / first
    if missing_ref_s <= 0.0:
        return ahead
    for _ in range(20):
        off = development(law, at, start, ahead) - missing_ref_s
        change = off / rate(law, at(ahead))
        ahead = min(max(ahead - change, start), start + LONGEST_S)
        if abs(change) < 0.01:
            break
    return ahead


def noise_variance(moment: Moment, track: Track, number: int | None, law: RateLaw, start: float, ahead: float, celsius: float) -> float:
    """Variance of development at `ahead`, of what the filter knows of: temperature and slope of now, restlessness from now on."""
    h = max(ahead - start, 0.0)
    slope = rate(law, celsius) * law.log_rate_slope(celsius)
    fade = HELD_FADE_S if moment.drift == "held" else FADE_S
    lever = 0.5 * h * h if h < fade else fade * (h - 0.5 * fade)
    jt, js = slope * h, slope * lever
    ju = slope * (0.5 * h * h if moment.drift == "held" else TRANSIENT_S * min(h, 0.5 * h * h / TRANSIENT_S))
    c = track.c
    v = [jt * a + js * b + ju * d for a, b, d in zip(c[T], c[SLOPE], c[TRANSIENT], strict=True)]
    total = v[T] * jt + v[SLOPE] * js + v[TRANSIENT] * ju
    if moment.drift == "liquid":
        total += slope * slope * SLOPE_NOISE * h**5 / 20.0 if h < fade else slope * slope * SLOPE_NOISE * fade**3 * h * h / 20.0
    if number is not None:
        count = track.counts[number]
        total += count.var + 2.0 * (count.cov[T] * jt + count.cov[SLOPE] * js + count.cov[TRANSIENT] * ju)
    return max(total, 0.0)


def systematic_variance(moment: Moment, number: int | None, law: RateLaw, sds: Mapping[str, float], h: float, celsius: float) -> float:
    """Variance of development `h` seconds from now at about `celsius`, of comparison, lag and rate law."""
    of = dict(moment.systematics.of_ref_s)
    add_to(of, moment.systematics.of_c, law, celsius, max(h, 0.0))
    base = moment.systematics.of_ref_s if number is None else moment.bases[number]
    return variance(of, sds, base)

