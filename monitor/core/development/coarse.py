"""What a code of a coarse register says: that the probe is within half a step of it, and no more.

Many readings of one code are not many measurements of one temperature; a code that changes is a sharp one of the edge between two.
A filter takes a code by the likelihood of its bin, with the mean and the variance that this leaves (assumed density filtering: T. P.
Minka, Expectation Propagation for Approximate Bayesian Inference (2001), section 3.1: from memory). Where unknowns must enter straight
(`likelihood`), edges and stretches of one code stand for the readings. Temperatures in C, variances in C^2.
Tests: tests/core/development/test_coarse.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.filter import QUANTUM_C

FAR_SDS = 5.0
"""A value expected further than this outside the code's bin is taken to be at the bin's edge: what the bin leaves lies there."""
LEAST_CURVATURE, TELLS_NOTHING = 1e-6, 1e6
"""Where the logarithm of the likelihood bends less than the first (1/C^2), the code tells nothing new: variance, C^2."""
LEAST_VAR = 1e-6
"""No code measures better, C^2."""
ROUNDED_VAR = QUANTUM_C**2 / 12.0
"""A decimal step rounded into sixteenths lies so far off its place (reports of users of such clones, no source)."""
STUCK_READINGS, STUCK_LEAP_C, STUCK_LEAP_S = 8, 2.5 * QUANTUM_C, 3.0
STUCK_AFTER, STUCK_GOES_ON = 3, 0.75
"""A code of a fine register that stood for so many readings, and then leapt by this within so long, was an old one: a probe that moves
through its lag shows the codes between. Not if it goes on by this share of the leap in the next three: a probe that is lifted into cold
air falls as fast from the first second on (this project's own choice)."""
EDGE_SHARE = 0.125
"""Standard deviation, as a share of a coarse step, with which the edge between two codes is known to be the probe's temperature when the
code changes (this project's own choice)."""


@dataclass(frozen=True, slots=True)
class Code:
    """What a code makes of an expected value: it is as good as a measurement `celsius` of this `variance`. `log`: natural logarithm of how
    likely the code was; `surprise`: by how many standard deviations the value was expected outside the bin, signed, 0 within."""

    celsius: float
    variance: float
    log: float
    surprise: float


def code(expected_c: float, expected_var: float, said_c: float, step_c: float, noise: float) -> Code:
    """Take the code `said_c` of a register with this step, where `expected_c` was expected; `noise`: variance before the register."""
    total = expected_var + noise + (0.0 if _in_sixteenths(step_c) else ROUNDED_VAR)
    sd = math.sqrt(total)
    low, high = (said_c - 0.5 * step_c - expected_c) / sd, (said_c + 0.5 * step_c - expected_c) / sd
    outside = max(low, -high, 0.0)
    surprise = outside if low > 0.0 else -outside
    if outside > FAR_SDS:
        edge_c = said_c + math.copysign(0.5 * step_c, -surprise)
        return Code(edge_c, total - expected_var, -0.5 * outside * outside - math.log(outside * math.sqrt(2.0 * math.pi)), surprise)
    share = _between(low, high)
    at_low, at_high = _density(low), _density(high)
    slope = (at_low - at_high) / (share * sd)
    curvature = slope * slope - (low * at_low - high * at_high) / (share * total)
    if curvature < LEAST_CURVATURE:
        return Code(expected_c, TELLS_NOTHING, math.log(share), surprise)
    return Code(expected_c + slope / curvature, max(1.0 / curvature - expected_var, LEAST_VAR), math.log(share), surprise)


def _in_sixteenths(step_c: float) -> bool:
    return abs(step_c / QUANTUM_C - round(step_c / QUANTUM_C)) < 1e-9


def _density(z: float) -> float:
    return math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)


def _between(low: float, high: float) -> float:
    """The normal probability between the two, exact in the tails."""
    if high < 0.0:
        low, high = -high, -low
    return 0.5 * (math.erfc(low / math.sqrt(2.0)) - math.erfc(high / math.sqrt(2.0)))


@dataclass(frozen=True, slots=True)
class Point:
    """At `t_s` the probe was at `celsius`, with this variance."""

    t_s: float
    celsius: float
    variance: float


def points(readings: Sequence[tuple[float, float]], step_c: float, noise: float) -> list[Point]:
    """What readings (t s, C; rising in time) of one probe measure: each its own value; with a coarse step an edge halfway between two
    readings whose codes differ by one step, and one value for each stretch of one code, in its middle; the newest stretch at its end. An
    old value that a fine register has repeated until it leapt is left out."""
    within = noise + step_c * step_c / 12.0
    if step_c <= QUANTUM_C:
        return [Point(t, z, within) for t, z in _not_stuck(readings)]
    at_an_edge = noise + (EDGE_SHARE * step_c) ** 2
    found: list[Point] = []
    since_s, before_s, before_c = readings[0][0], *readings[0]
    for t, z in readings[1:]:
        moved_c = abs(z - before_c)
        if moved_c >= 0.5 * step_c:
            found.append(Point(0.5 * (since_s + before_s), before_c, within))
            if moved_c <= 1.5 * step_c:
                found.append(Point(0.5 * (before_s + t), 0.5 * (z + before_c), at_an_edge))
            since_s = t
        before_s, before_c = t, z
    return [*found, Point(before_s, before_c, within)]


def _not_stuck(readings: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Without the repetitions of an old value. Of each the first reading stays."""
    kept: list[tuple[float, float]] = []
    same = 0
    for k, (t, z) in enumerate(readings):
        before_s, before_c = readings[max(k - 1, 0)]
        if z == before_c:
            same += 1
        else:
            leap_c, after = abs(z - before_c), readings[k + 1 : k + 1 + STUCK_AFTER]
            over = len(after) == STUCK_AFTER and abs(after[-1][1] - z) < STUCK_GOES_ON * leap_c
            if over and leap_c >= STUCK_LEAP_C and t - before_s <= STUCK_LEAP_S and same >= STUCK_READINGS:
                del kept[1 - same :]
            same = 1
        kept.append((t, z))
    return kept
