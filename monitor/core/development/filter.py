"""The estimator's arithmetic: a Kalman filter of liquid and probe with development done in it.

State of one `Track`: the liquid's temperature, its slow slope, a transient slope that dies within a minute, the probe's
own temperature (first-order lag behind the liquid, exact for straight and for dying slopes), the room's air. Beside it any
number of `Count`s: development done since one film's begin, each with its covariance to the state, so that a reading also
corrects what was counted before (R. E. Kalman, J. Basic Eng. 82 (1960) 35; fixed-point smoothing as in B. D. O. Anderson and
J. B. Moore, Optimal Filtering (1979), chapter 7: from memory).

Tests: tests/core/development/test_filter.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from monitor.core.development.integral import simpson
from monitor.core.development.rate import RateLaw

T, SLOPE, TRANSIENT, PROBE, AIR = range(5)
"""Places in the state: liquid C, slow slope C/s, transient slope C/s, the probe's own temperature C, the room's air C."""

TRANSIENT_S = 60.0
"""The transient slope dies with this time constant: stirring in hot water takes about a minute (practice of this project)."""
AIR_LAG_S = 120.0
"""Time constant of a steel-sheathed probe in still air (the project's practice, section 6)."""
START_SLOPE_SD_C_PER_S = 0.004
"""What a liquid or a bath may drift before anything is known: 0.24 C a minute (design, section 2)."""
HELD_FADE_S = 600.0
"""Without readings the last slope fades out with this time constant (contract, section 5)."""
QUANTUM_C = 0.0625
"""Step of the probe's register at 12 bits (data sheet); its variance is step^2/12."""

Drift = Literal["liquid", "held", "vessel"]


@dataclass(frozen=True, slots=True)
class Noise:
    """Process noise of a model. Variance that slow slope, transient slope, liquid and air gain in a second; variance that the liquid
    (`jump`) and the transient slope (`stir`) gain once, when the model is entered."""

    slope: float
    transient: float
    liquid: float = 1e-7
    air: float = 1e-5
    jump: float = 0.0
    stir: float = 0.0


QUIET = Noise(slope=0.0, transient=0.0, liquid=0.0)
"""No process noise: the drift is taken as known."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step's transition: liquid = keep T + toward + by_slope s + by_transient u; probe = p_probe P + p_liquid T + p_slope s +
    p_transient u + p_air A."""

    h: float
    keep: float
    toward: float
    by_slope: float
    by_transient: float
    slope_keep: float
    transient_keep: float
    p_probe: float
    p_liquid: float
    p_slope: float
    p_transient: float
    p_air: float


def probe_response(h: float, lag_s: float, decay: float) -> tuple[float, float, float, float]:
    """What a probe that follows the liquid with `lag_s` (0: at once) keeps of itself after `h` seconds, and what it takes of the liquid,
    of its slope and of its transient. `decay`: what is left of the transient by then."""
    if lag_s < 1e-3:
        return 0.0, 1.0, h, TRANSIENT_S * (1.0 - decay)
    lag = lag_s if abs(lag_s - TRANSIENT_S) > 0.01 else TRANSIENT_S + 0.01
    e = math.exp(-h / lag)
    taken = 1.0 - e
    return e, taken, h - lag * taken, TRANSIENT_S * (taken - (decay - e) / (1.0 - lag / TRANSIENT_S))


@lru_cache(maxsize=512)
def liquid_step(h: float, lag_s: float) -> Step:
    """The probe follows the liquid with `lag_s` (0: at once). Kept, since readings come at the same intervals again and again."""
    decay = math.exp(-h / TRANSIENT_S)
    return Step(h, 1.0, 0.0, h, TRANSIENT_S * (1.0 - decay), 1.0, decay, *probe_response(h, lag_s, decay), 0.0)


def air_step(h: float, lag_s: float = AIR_LAG_S) -> Step:
    """The probe hangs in air and relaxes towards it with `lag_s`; the liquid drifts on."""
    decay, e = math.exp(-h / TRANSIENT_S), math.exp(-h / lag_s)
    return Step(h, 1.0, 0.0, h, TRANSIENT_S * (1.0 - decay), 1.0, decay, e, 0.0, 0.0, 0.0, 1.0 - e)


def held_step(h: float) -> Step:
    """No readings: the slow slope fades. The transient's place holds a constant unknown slope, whose deviation makes the uncertainty
    grow by 0.1 C a minute."""
    fade = math.exp(-h / HELD_FADE_S)
    return Step(h, 1.0, 0.0, HELD_FADE_S * (1.0 - fade), h, fade, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0)


def vessel_step(h: float, lag_s: float, ambient_c: float, ambient_slope: float) -> Step:
    """No readings, but the vessel's lag is known: the liquid follows bath or room, which drifts straight over the step."""
    e = math.exp(-h / lag_s)
    toward = ambient_c * (1.0 - e) + ambient_slope * (h - lag_s * (1.0 - e))
    return Step(h, e, toward, 0.0, lag_s * (1.0 - e), 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0)


class Count:
    """Development done since one begin: mean, covariance with the five states, variance; all in seconds at the reference.
    `lasted_s`: seconds since that begin."""

    __slots__ = ("cov", "done", "lasted_s", "law", "var")

    def __init__(self, law: RateLaw, done: float = 0.0, cov: list[float] | None = None, var: float = 0.0, lasted_s: float = 0.0) -> None:
        self.law = law
        self.lasted_s = lasted_s
        self.done = done
        self.cov = [0.0] * 5 if cov is None else cov
        self.var = var

    def copy(self) -> Count:
        """An independent copy."""
        return Count(self.law, self.done, self.cov[:], self.var, self.lasted_s)


class Track:
    """One model's belief: state `x`, covariance `c` (5 x 5), counts by key."""

    __slots__ = ("c", "counts", "x")

    def __init__(self, x: list[float], c: list[list[float]], counts: dict[int, Count]) -> None:
        self.x = x
        self.c = c
        self.counts = counts

    def copy(self) -> Track:
        """An independent copy."""
        return Track(self.x[:], [row[:] for row in self.c], {k: n.copy() for k, n in self.counts.items()})

    def predict(self, step: Step, noise: Noise) -> None:
        """Carry state, covariance and counts over one step."""
        h = step.h
        t, s, u, p, a = self.x
        end = step.keep * t + step.toward + step.by_slope * s + step.by_transient * u
        if self.counts:
            self._count(h, t, end, s, u)
        keep, bs, bu, fs, fu = step.keep, step.by_slope, step.by_transient, step.slope_keep, step.transient_keep
        pp, pt, ps, pu, pa = step.p_probe, step.p_liquid, step.p_slope, step.p_transient, step.p_air
        self.x = [end, fs * s, fu * u, pp * p + pt * t + ps * s + pu * u + pa * a, a]
        c0, c1, c2, c3, c4 = self.c
        rows = (
            [keep * v0 + bs * v1 + bu * v2 for v0, v1, v2 in zip(c0, c1, c2, strict=True)],
            [fs * v for v in c1],
            [fu * v for v in c2],
            [pp * v3 + pt * v0 + ps * v1 + pu * v2 + pa * v4 for v0, v1, v2, v3, v4 in zip(c0, c1, c2, c3, c4, strict=True)],
            c4,
        )
        self.c = [
            [keep * r0 + bs * r1 + bu * r2, fs * r1, fu * r2, pp * r3 + pt * r0 + ps * r1 + pu * r2 + pa * r4, r4]
            for r0, r1, r2, r3, r4 in rows
        ]
        for n in self.counts.values():
            r0, r1, r2, r3, r4 = n.cov
            n.cov = [keep * r0 + bs * r1 + bu * r2, fs * r1, fu * r2, pp * r3 + pt * r0 + ps * r1 + pu * r2 + pa * r4, r4]
        self._add_noise(h, noise)

    def _add_noise(self, h: float, noise: Noise) -> None:
        """Add a step's process noise, as if the transient did not decay within the step and the probe responded only after it. At one
        reading a second this makes a calm liquid's variance less than 0.5 % too large, a lively one's less than 3 %."""
        c = self.c
        both = noise.slope + noise.transient
        c[T][T] += noise.liquid * h + both * h * h * h / 3.0
        half = h * h / 2.0
        c[T][SLOPE] += noise.slope * half
        c[SLOPE][T] += noise.slope * half
        c[T][TRANSIENT] += noise.transient * half
        c[TRANSIENT][T] += noise.transient * half
        c[SLOPE][SLOPE] += noise.slope * h
        c[TRANSIENT][TRANSIENT] += noise.transient * h
        c[AIR][AIR] += noise.air * h

    def _count(self, h: float, start: float, end: float, s: float, u: float) -> None:
        """Development over the step along the mean path, with its Jacobian r'(T) h to the state at the step's start."""
        middle = 0.5 * (start + end)
        c0, c1, c2 = self.c[T], self.c[SLOPE], self.c[TRANSIENT]
        law: RateLaw | None = None
        more = jt = js = 0.0
        v: list[float] = []
        vj = 0.0
        for n in self.counts.values():
            if n.law is not law:
                law = n.law
                r = math.exp(law.log_rate(middle))
                more = simpson(math.exp(law.log_rate(start)), r, math.exp(law.log_rate(end)), h)
                jt = r * law.log_rate_slope(middle) * h
                js = 0.5 * jt * h
                v = [jt * v0 + js * (v1 + v2) for v0, v1, v2 in zip(c0, c1, c2, strict=True)]
                vj = v[0] * jt + (v[1] + v[2]) * js
            w = n.cov
            n.done += more
            n.lasted_s += h
            n.var += 2.0 * (w[0] * jt + (w[1] + w[2]) * js) + vj
            n.cov = [w[0] + v[0], w[1] + v[1], w[2] + v[2], w[3] + v[3], w[4] + v[4]]

    def update(self, place: int, value: float, variance: float) -> tuple[float, float]:
        """Take a direct measurement of one state. Returns the innovation and its variance before the update."""
        c = self.c
        row = c[place]
        total = row[place] + variance
        surprise = value - self.x[place]
        scale = surprise / total
        x, (q0, q1, q2, q3, q4) = self.x, row
        self.x = [x[0] + q0 * scale, x[1] + q1 * scale, x[2] + q2 * scale, x[3] + q3 * scale, x[4] + q4 * scale]
        new = []
        for r0, r1, r2, r3, r4 in c:
            g = (r0, r1, r2, r3, r4)[place] / total
            new.append([r0 - g * q0, r1 - g * q1, r2 - g * q2, r3 - g * q3, r4 - g * q4])
        self.c = new
        for n in self.counts.values():
            w0, w1, w2, w3, w4 = n.cov
            here = n.cov[place]
            g = here / total
            n.done += here * scale
            n.var -= g * here
            n.cov = [w0 - g * q0, w1 - g * q1, w2 - g * q2, w3 - g * q3, w4 - g * q4]
        return surprise, total

    def nudge(self, place: int, value: float, variance: float) -> None:
        """Take a direct measurement of one state without moving the others."""
        gain = self.c[place][place] / (self.c[place][place] + variance)
        self.x[place] += gain * (value - self.x[place])
        here = self.c[place][place] * (1.0 - gain)
        for i in range(5):
            self.c[i][place] *= 1.0 - gain
            self.c[place][i] = self.c[i][place]
        self.c[place][place] = here
        for n in self.counts.values():
            n.cov[place] *= 1.0 - gain

    def bound(self, slowest: float, fastest: float) -> None:
        """Clamp each count to what these two rates give in its seconds. A clamped count gains the square of the correction as variance."""
        for n in self.counts.values():
            done = min(max(n.done, slowest * n.lasted_s), fastest * n.lasted_s)
            if done != n.done:
                n.var += (done - n.done) ** 2
                n.done = done

    def replace(self, place: int, value: float, variance: float) -> None:
        """Set one state anew, uncorrelated with the rest."""
        self.x[place] = value
        for i in range(5):
            self.c[i][place] = 0.0
            self.c[place][i] = 0.0
        self.c[place][place] = variance
        for n in self.counts.values():
            n.cov[place] = 0.0

    def loosen(self, variance: float) -> None:
        """Make the liquid's temperature less certain, and with it all that is correlated with it: if the temperature was wrong, what was
        counted meanwhile was wrong too."""
        here = self.c[T][T]
        if here <= 0.0:
            self.c[T][T] = variance
            return
        k = math.sqrt(1.0 + variance / here)
        for i in range(5):
            if i != T:
                self.c[i][T] *= k
                self.c[T][i] *= k
        self.c[T][T] = here + variance
        for n in self.counts.values():
            n.var += (k * k - 1.0) * n.cov[T] * n.cov[T] / here
            n.cov[T] *= k

    def all_moved(self, by_c: float, sd_c: float) -> None:
        """The liquid is warmer by this than was believed, give or take a standard deviation, and has been ever since each count began."""
        x = self.x
        for n in self.counts.values():
            n.done *= math.exp(n.law.log_rate(x[T] + by_c) - n.law.log_rate(x[T]))
            per_c = n.done * n.law.log_rate_slope(x[T] + by_c)
            n.var += (per_c * sd_c) ** 2
            n.cov[T] += per_c * sd_c * sd_c
        x[T] += by_c
        self.c[T][T] += sd_c * sd_c

    def widen(self, place: int, variance: float) -> None:
        """Add variance to one state."""
        self.c[place][place] += variance
