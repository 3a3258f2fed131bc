"""Storms: short random sessions with dense faults, leaps, gaps, several probes and begins, for what may never happen.

No budget of accuracy: nothing may be raised, no answer may be physically impossible. Shared by `bench_storms` and the tests.
Tests: tests/core/development/test_estimator_storms.py.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
from monitor.core.development.estimator import Estimator
from monitor.core.development.rate import Coefficient, RateLaw, rate
from monitor.core.probes.readings import Quality, Reading, Role
from tests.benchmarks.liquids import quantised

LAW = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
OTHER = Coefficient(24.0, 2.0, 0.1, (18.0, 30.0))
PLAUSIBLE_C = (-2.0, 60.0)
SLACK_C = 4.6
"""A liquid may have been this far outside all that was ever read, and a held drift may go on by as much again (0.45 C a minute that fades
in 10 minutes, with a little for rounding)."""
FAULTS = ("", "", "", "", "missing", "crc", "reset", "stuck", "air", "leap")
BAD: dict[str, Quality] = {"missing": "missing", "crc": "crc", "reset": "reset"}


@dataclass
class _Probe:
    """One probe of the storm: what hangs where, and what is wrong with it until when."""

    model: ProbeModel
    sheath: float
    fault: str = ""
    until: float = 0.0
    code: float = 20.0

    def read(self, t: float, h: float, liquid: float, room: float, rng: random.Random) -> Reading:
        """A reading at `t`, `h` seconds after the last one."""
        if t >= self.until:
            self.fault, self.until = rng.choice(FAULTS), t + rng.choice((3.0, 7.0, 20.0, 40.0, 80.0, 120.0, 400.0))
        around, lag = (room, 120.0) if self.fault == "air" else (liquid, max(self.model.lag_s, 0.1))
        self.sheath += (around - self.sheath) * (1.0 - math.exp(-h / lag))
        if self.fault in BAD:
            return Reading(t, self.model.name, self.model.role, None, None, BAD[self.fault])
        if self.fault == "leap" and rng.random() < 0.2:
            wild = quantised(rng.uniform(*PLAUSIBLE_C))
            return Reading(t, self.model.name, self.model.role, wild, wild, "good")
        if self.fault != "stuck":
            self.code = min(max(quantised(self.sheath + rng.gauss(0.0, 0.03)), PLAUSIBLE_C[0]), PLAUSIBLE_C[1])
        return Reading(t, self.model.name, self.model.role, self.code, self.code, "good")


def _beliefs(rng: random.Random) -> Beliefs:
    lags: tuple[tuple[str, Role, float], ...] = (
        ("developer", "developer", rng.choice((0.0, 3.0, 8.0, 20.0, 40.0))),
        ("witness", "witness", rng.choice((2.0, 8.0))),
        ("bath", "bath", rng.choice((0.0, 8.0))),
        ("room", "room", 0.0),
        ("wash", "wash", 8.0),
    )
    probes = tuple(ProbeModel(name, role, lag) for name, role, lag in lags if rng.random() < 0.75)
    vessel = Vessel(rng.uniform(60.0, 900.0), rng.uniform(1.0, 60.0), rng.choice(("bath", "room"))) if rng.random() < 0.5 else None
    return Beliefs(20.0, probes, vessel, rng.choice((None, None, 18.0, 21.0)))


@dataclass
class Storm:
    """What one storm came to: the extremes that were seen. `wrong`: physically impossible answers, in words."""

    wrong: list[str]
    highest_c: float
    lowest_c: float


def storm(seed: int, seconds: float = 900.0) -> Storm:
    """Run one storm. Whatever the estimator raises comes out of here."""
    rng = random.Random(f"storm {seed}")
    estimator = Estimator(_beliefs(rng))
    out = Storm([], -math.inf, math.inf)
    liquid, room, bath = rng.uniform(16.0, 24.0), rng.choice((8.0, 15.0, 26.0)), rng.uniform(15.0, 24.0)
    probes = [_Probe(p, rng.uniform(10.0, 30.0)) for p in estimator._beliefs.probes]
    keys: dict[int, tuple[float, RateLaw | None]] = {}
    seen = [20.0, *(c for c in (estimator._beliefs.pour_c,) if c is not None)]
    t, number = 0.0, 0
    sparse = rng.choice((1.0, 1.0, 1.0, 4.0, 12.0))
    while t < seconds:
        h = sparse * rng.choice((0.3, 1.0, 1.0, 1.0, 1.3)) if rng.random() > 0.01 else rng.uniform(1.0, 90.0)
        t += h
        liquid += rng.gauss(0.0, 0.003) * math.sqrt(h) + (rng.uniform(-2.5, 2.5) if rng.random() < 0.004 else 0.0)
        bath += rng.gauss(0.0, 0.005) * math.sqrt(h) + (rng.uniform(-4.0, 4.0) if rng.random() < 0.003 else 0.0)
        room += rng.uniform(-9.0, 9.0) if rng.random() < 0.01 else 0.0
        for probe in probes:
            if rng.random() < 0.05:
                continue
            around = bath if probe.model.role in ("bath", "wash") else room if probe.model.role == "room" else liquid
            reading = probe.read(t - rng.uniform(0.0, 0.25 * h), h, around, room, rng)
            if reading.celsius is not None and reading.role != "wash":
                seen.append(reading.celsius)
            estimator.read(reading)
        if rng.random() < 0.7:
            estimator.advance(t)
        if rng.random() < 0.01 or (t > 20.0 and not keys):
            number += 1
            law = rng.choice((LAW, LAW, LAW, OTHER, None)) if not keys else next(iter(keys.values()))[1]
            begin = max(t + rng.uniform(-60.0, 20.0), 0.0)
            keys[number] = (begin, law)
            estimator.begin(number, begin, law, 20.0)
        if len(keys) > 3:
            gone = rng.choice(list(keys))
            del keys[gone]
            estimator.forget(gone)
        _judge(estimator, t, keys, min(seen), max(seen), out)
    return out


def _judge(estimator: Estimator, t: float, keys: dict[int, tuple[float, RateLaw | None]], low: float, high: float, out: Storm) -> None:
    here = estimator.temperature(t)
    out.highest_c, out.lowest_c = max(out.highest_c, here.celsius), min(out.lowest_c, here.celsius)
    if not low - 2.0 * SLACK_C <= here.celsius <= high + 2.0 * SLACK_C or not 0.0 < here.sd_c < math.inf:
        out.wrong.append(f"{t:.0f} s: {here.celsius:.1f} C +/- {here.sd_c:.1f}, read {low:.1f} to {high:.1f} C")
    for key, (begin, law) in keys.items():
        done = estimator.done(key, t)
        lasted = max(t - begin, 0.0)
        least = lasted * (rate(law, low - SLACK_C) if law else 1.0)
        most = lasted * (rate(law, high + SLACK_C) if law else 1.0)
        if not least - 1e-6 <= done.done_ref_s <= most + 1e-6 or not 0.0 <= done.sd_ref_s < math.inf:
            out.wrong.append(f"{t:.0f} s: {done.done_ref_s:.1f} s +/- {done.sd_ref_s:.1f} done, possible {least:.1f} to {most:.1f}")
        end = estimator.end(key, 600.0, t)
        if not math.isfinite(end.end_t_s) or not math.isfinite(end.sd_s):
            out.wrong.append(f"{t:.0f} s: end {end.end_t_s} +/- {end.sd_s}")
