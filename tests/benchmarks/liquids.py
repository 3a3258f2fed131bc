"""Random liquids, a probe of our own that reads them, the rule that freezes an end: shared by the estimator's benchmark and tests.

Independent of `hardware.simulated` on purpose, so that the estimator is not checked by the code that feeds it in a rehearsal.
Times are whole seconds of session time from 0, temperatures Celsius, straight between two seconds.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from monitor.core.development.beliefs import Beliefs, ProbeModel, TrustChange, Vessel
from monitor.core.development.estimator import Estimator
from monitor.core.development.rate import Coefficient
from monitor.core.probes.readings import Quality, Reading
from tests.benchmarks.physics import pace

FAULTS: dict[str, Quality] = {"missing": "missing", "crc": "crc", "reset": "reset"}
FROZEN_S = 45.0
"""READY 30 s and drain 15 s before the end: the end is fixed this long before it comes."""
AIR_LAG_S = 120.0


def pace_of(law: Coefficient, celsius: float) -> float:
    """Rate at a temperature by the law's numbers, not by the program's law."""
    return pace(celsius, law.per_10_c, law.reference_c)


@dataclass
class Liquid:
    """One liquid and what is known of it. `faults`: (from, until, kind) of the developer probe; kind as in the contract's traces."""

    temps_c: list[float]
    law: Coefficient
    target_ref_s: float
    bath_c: list[float] | None = None
    room_c: float | None = None
    faults: list[tuple[float, float, str]] = field(default_factory=list)
    lag_s: float = 8.0
    start_off_c: float = 0.0
    noise_c: float = 0.03
    """Before the register (own estimate, as `troubles.NOISE_C`)."""
    offset_c: float = 0.0
    vessel: Vessel | None = None
    probe: bool = True
    comparison_sd_c: float = 0.29
    pour_c: float | None = None

    def at(self, t: float) -> float:
        """The true temperature at `t` seconds."""
        i = min(int(t), len(self.temps_c) - 2)
        return self.temps_c[i] + (self.temps_c[i + 1] - self.temps_c[i]) * (t - i)

    def true_done(self, t: float, law: Coefficient | None = None) -> float:
        """The true integral from 0 to `t`: Simpson's rule on every second, with the benchmarks' own law (`physics.pace`)."""
        law = law or self.law
        whole = int(t)
        total = 0.0
        for i in range(whole):
            a, b = self.temps_c[i], self.temps_c[i + 1]
            total += (pace_of(law, a) + 4 * pace_of(law, 0.5 * (a + b)) + pace_of(law, b)) / 6
        return total + (t - whole) * pace_of(law, self.at(0.5 * (t + whole)))

    def true_end(self) -> float:
        """When the true integral reaches the target."""
        total, i = 0.0, 0
        while True:
            a, b = self.temps_c[i], self.temps_c[i + 1]
            piece = (pace_of(self.law, a) + 4 * pace_of(self.law, 0.5 * (a + b)) + pace_of(self.law, b)) / 6
            if total + piece >= self.target_ref_s:
                return i + (self.target_ref_s - total) / piece
            total += piece
            i += 1

    def beliefs(self) -> Beliefs:
        """What the station would know of it."""
        probes = [ProbeModel("developer", "developer", self.lag_s, self.comparison_sd_c)] if self.probe else []
        if self.bath_c is not None:
            probes.append(ProbeModel("bath", "bath", 0.0, self.comparison_sd_c))
        if self.room_c is not None:
            probes.append(ProbeModel("room", "room", 0.0, 0.29))
        return Beliefs(self.law.reference_c, tuple(probes), self.vessel, self.pour_c)


def quantised(celsius: float) -> float:
    """The register's nearest value at 12 bits."""
    return round(celsius * 16.0) / 16.0


def readings(liquid: Liquid, rng: random.Random, until_s: float) -> Iterator[list[Reading]]:
    """One list of readings a second: developer (through its lag, exact for straight pieces), bath, room."""
    sheath = liquid.temps_c[0] + liquid.start_off_c
    fresh = random.Random(rng.random())
    last = quantised(sheath + liquid.offset_c)
    was = ""
    e, e_air = math.exp(-1.0 / liquid.lag_s), math.exp(-1.0 / AIR_LAG_S)
    for i in range(int(until_s)):
        kind = next((k for a, b, k in liquid.faults if a <= i < b), "")
        if i and was == "air":
            sheath = (liquid.room_c or 0.0) + (sheath - (liquid.room_c or 0.0)) * e_air
        elif i:
            a, b = liquid.temps_c[i - 1], liquid.temps_c[i]
            slope = b - a
            sheath = b - slope * liquid.lag_s + (sheath - a + slope * liquid.lag_s) * e
        was = kind
        row = []
        if liquid.probe:
            value = quantised(sheath + liquid.offset_c + rng.gauss(0.0, liquid.noise_c))
            if kind in FAULTS:
                raw = 85.0 if kind == "reset" else None
                row.append(Reading(float(i), "developer", "developer", raw, None, FAULTS[kind]))
            else:
                last = last if kind == "stuck" else value
                row.append(Reading(float(i), "developer", "developer", last, last, "good"))
        if liquid.bath_c is not None:
            value = quantised(liquid.bath_c[i] + fresh.gauss(0.0, 0.02))
            row.append(Reading(float(i), "bath", "bath", value, value, "good"))
        if liquid.room_c is not None:
            value = quantised(liquid.room_c + fresh.gauss(0.0, 0.02))
            row.append(Reading(float(i), "room", "room", value, value, "good"))
        yield row


@dataclass
class Outcome:
    """What came of one liquid: errors in per cent of the target, and how the estimator judged itself."""

    end_s: float
    delivered_percent: float
    counted_percent: float
    done_error_ref_s: float
    done_sd_ref_s: float
    changes: list[TrustChange]
    sources: list[str]


def develop(liquid: Liquid, rng: random.Random, true_law: Coefficient | None = None) -> Outcome:
    """Run the estimator over one liquid by the person's rule: the end freezes 45 s before it comes."""
    estimator = Estimator(liquid.beliefs())
    estimator.begin(1, 0.0, liquid.law, liquid.law.reference_c)
    changes: list[TrustChange] = []
    sources: list[str] = []
    end = math.inf
    frozen = False
    for i, row in enumerate(readings(liquid, rng, len(liquid.temps_c) - 1)):
        if i > end + 1:
            break
        for reading in row:
            changes += estimator.read(reading)
        changes += estimator.advance(i + 0.2)
        sources.append(estimator.temperature(i + 0.2).source)
        if not frozen:
            estimator.done(1, i + 0.2)
            end = estimator.end(1, liquid.target_ref_s, i + 0.2).end_t_s
            frozen = end - FROZEN_S <= i + 1.0
        if frozen and i + 1.0 > end:
            break
    done = estimator.done(1, end)
    truth = liquid.true_done(end, true_law)
    target = liquid.target_ref_s
    error = done.done_ref_s - truth
    return Outcome(end, 100 * (truth / target - 1), 100 * error / target, error, done.sd_ref_s, changes, sources)


# Ways that are not ours


def steady(liquid: Liquid, celsius: float) -> float:
    """End by a clock that was told one temperature at the start."""
    return liquid.target_ref_s / pace_of(liquid.law, celsius)


def naive(liquid: Liquid, rng: random.Random, smoothing_s: float) -> float:
    """End by integrating what the probe says (trapezoid), smoothed with `smoothing_s`; frozen like ours, at the last rate."""
    done, shown, last_t, last_r = 0.0, None, 0.0, 1.0
    for i, row in enumerate(readings(liquid, rng, len(liquid.temps_c) - 1)):
        for r in row:
            if r.role != "developer" or r.celsius is None:
                continue
            keep = math.exp(-(i - last_t) / smoothing_s) if smoothing_s else 0.0
            shown = r.celsius if shown is None else shown * keep + r.celsius * (1 - keep)
            now = pace_of(liquid.law, shown)
            done += 0.5 * (now + (last_r if i else now)) * (i - last_t)
            last_t, last_r = float(i), now
        end = last_t + (liquid.target_ref_s - done) / last_r
        if end - FROZEN_S <= i + 1.0:
            return end
    return end


def first_reading(liquid: Liquid, rng: random.Random) -> float:
    """The one reading that a person takes at the start."""
    for row in readings(liquid, rng, 1):
        for r in row:
            if r.celsius is not None:
                return r.celsius
    return liquid.law.reference_c


# Families

LONG = 1100
NORMAL = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
WARM = Coefficient(38.0, 2.0, 0.1, (34.0, 42.0))


def newton(rng: random.Random, start: float, seconds: int) -> list[float]:
    """Towards a room 2 to 8 C away, time constant 20 to 60 minutes."""
    gap, tau = rng.choice((-1, 1)) * rng.uniform(2, 8), rng.uniform(1200, 3600)
    return [start + gap * (1 - math.exp(-t / tau)) for t in range(seconds)]


def ramp(rng: random.Random, start: float, seconds: int) -> list[float]:
    """A straight drift up to 0.2 C a minute."""
    slope = rng.uniform(-0.2, 0.2) / 60
    return [start + slope * t for t in range(seconds)]


def sine(rng: random.Random, start: float, seconds: int) -> list[float]:
    """A heater that hunts: 0.1 to 0.3 C, every 6 to 20 minutes."""
    size, period, phase = rng.uniform(0.1, 0.3), rng.uniform(360, 1200), rng.uniform(0, 2 * math.pi)
    return [start + size * (math.sin(2 * math.pi * t / period + phase) - math.sin(phase)) for t in range(seconds)]


def hot_water(rng: random.Random, start: float, seconds: int) -> list[float]:
    """A cooling liquid into which warm or cold water is stirred once: 0.5 to 1.5 C with 10 to 40 s (own estimate, see
    `troubles.STIRRED_S`)."""
    base = newton(rng, start, seconds)
    at, size, tau = rng.uniform(60, 300), rng.choice((-1, 1)) * rng.uniform(0.5, 1.5), rng.uniform(10, 40)
    return [v + (size * (1 - math.exp(-(t - at) / tau)) if t > at else 0.0) for t, v in enumerate(base)]


def drift(rng: random.Random, start: float, seconds: int = LONG) -> list[float]:
    """One of the four, by chance."""
    kinds: tuple[Callable[[random.Random, float, int], list[float]], ...] = (newton, ramp, sine, hot_water)
    return rng.choice(kinds)(rng, start, seconds)


def _start(rng: random.Random) -> float:
    return rng.uniform(18.5, 22.0)


def clean(rng: random.Random) -> Liquid:
    """A settled probe, a liquid that drifts."""
    return Liquid(drift(rng, _start(rng)), NORMAL, 480.0, noise_c=rng.uniform(0.02, 0.03))


def settling(rng: random.Random) -> Liquid:
    """The probe starts 3 C off."""
    liquid = clean(rng)
    liquid.start_off_c = rng.choice((-3.0, 3.0))
    return liquid


def warm(rng: random.Random) -> Liquid:
    """At 38 C, probe from the bench."""
    liquid = Liquid(drift(rng, rng.uniform(36.5, 39.0)), WARM, 480.0)
    liquid.start_off_c = rng.uniform(-3.0, 3.0)
    return liquid


def step(rng: random.Random) -> Liquid:
    """The liquid steps at once by 0.5 to 2.5 C."""
    liquid = clean(rng)
    at, size = int(rng.uniform(60, 300)), rng.choice((-1, 1)) * rng.uniform(0.5, 2.5)
    liquid.temps_c = [v + (size if t > at else 0.0) for t, v in enumerate(newton(rng, _start(rng), LONG))]
    return liquid


def stand(rng: random.Random) -> Liquid:
    """An hour in a vessel that nears the room's temperature."""
    seconds = 6400
    gap, tau = rng.choice((-1, 1)) * rng.uniform(1, 4), rng.uniform(2400, 7200)
    start = _start(rng)
    temps = [start + gap * (1 - math.exp(-t / tau)) for t in range(seconds)]
    return Liquid(temps, NORMAL, 3600.0)


def faults(rng: random.Random) -> Liquid:
    """Brief faults: two to five of 3 to 30 s."""
    liquid = clean(rng)
    for _ in range(rng.randint(2, 5)):
        at = rng.uniform(20, 420)
        liquid.faults.append((at, at + rng.uniform(3, 30), rng.choice(("missing", "crc", "reset", "stuck"))))
    return liquid


def quiet(rng: random.Random) -> Liquid:
    """A settled probe, a liquid that drifts without anything stirred in."""
    liquid = clean(rng)
    liquid.temps_c = rng.choice((newton, ramp, sine))(rng, _start(rng), LONG)
    return liquid


def stirred_unseen(rng: random.Random) -> Liquid:
    """The probe hangs in air, and water may be stirred in just then: nobody can know when. No budget."""
    liquid = air(rng)
    liquid.temps_c = hot_water(rng, _start(rng), LONG)
    return liquid


def air(rng: random.Random) -> Liquid:
    """The probe hangs in the room's air for half a minute to three."""
    liquid = quiet(rng)
    liquid.room_c = rng.uniform(8.0, 26.0)
    at = rng.uniform(60, 300)
    liquid.faults.append((at, at + rng.uniform(30, 180), "air"))
    return liquid


def tank(rng: random.Random, seconds: int = LONG, start_sd_c: float = 0.0) -> tuple[list[float], list[float], Vessel]:
    """(developer, bath, vessel): a bath that drifts and a tank that starts with it, give or take, and follows; its lag is known to 2 %
    (`troubles.LEARNED_SD` and `troubles.tank` say where that and the range come from)."""
    bath = newton(rng, _start(rng), seconds) if rng.random() < 0.7 else sine(rng, _start(rng), seconds)
    lag = rng.uniform(180, 540)
    temp = bath[0] + rng.gauss(0.0, start_sd_c)
    temps = [temp]
    e = math.exp(-1.0 / lag)
    for a, b in pairwise(bath):
        slope = b - a
        temp = b - slope * lag + (temp - a + slope * lag) * e
        temps.append(temp)
    sd = 0.02 * lag
    return temps, bath, Vessel(lag + rng.gauss(0.0, sd), sd)


def lost(rng: random.Random) -> Liquid:
    """The probe vanishes in a tank whose bath and lag are known."""
    temps, bath, vessel = tank(rng)
    liquid = Liquid(temps, NORMAL, 480.0, bath_c=bath, vessel=vessel)
    liquid.faults.append((rng.uniform(60, 300), 9e9, "missing"))
    return liquid


def held(rng: random.Random) -> Liquid:
    """The probe vanishes and nothing else is known; nobody stirs in water after that."""
    liquid = quiet(rng)
    liquid.faults.append((rng.uniform(60, 300), 9e9, "missing"))
    return liquid


def bath_and_lag(rng: random.Random, start_sd_c: float = 0.0) -> Liquid:
    """Only the bath's probe and a learned lag."""
    temps, bath, vessel = tank(rng, start_sd_c=start_sd_c)
    return Liquid(temps, NORMAL, 480.0, bath_c=bath, vessel=vessel, probe=False)


FAMILIES: dict[str, Callable[[random.Random], Liquid]] = {
    "clean": clean,
    "settling": settling,
    "warm": warm,
    "step": step,
    "stand": stand,
    "brief faults": faults,
    "probe in air": air,
    "lost, bath known": lost,
    "held": held,
    "bath with lag": bath_and_lag,
    "stirred unseen": stirred_unseen,
}
BUDGETS = {
    "clean": (0.12, 0.55),
    "settling": (0.12, 0.55),
    "warm": (0.12, 0.55),
    "step": (0.12, 0.55),
    "stand": (0.025, 0.1),
    "brief faults": (0.14, 0.7),
    "probe in air": (0.19, 1.0),
    "lost, bath known": (0.08, 0.25),
    "held": (0.8, 3.2),
    "bath with lag": (0.21, 0.5),
}
"""The project's budgets, delivered: rms and worst in per cent of the target."""
COUNTED_BUDGET = 0.03
