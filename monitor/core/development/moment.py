"""All that the arithmetic of the estimator knows at one moment, and how one event carries it on. A copy lets a stretch run again.

It is told which source to follow (`follow`); it never decides that. Tests: tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.core.development.ambient import Ambient
from monitor.core.development.filter import (
    AIR,
    PROBE,
    QUANTUM_C,
    SLOPE,
    TRANSIENT,
    Count,
    Drift,
    Noise,
    Step,
    T,
    Track,
    held_step,
    liquid_step,
    vessel_step,
)
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.rivals import Bank
from monitor.core.development.sensitivity import Systematics
from monitor.core.probes.readings import PLAUSIBLE_C

START_SLOPE_SD = 0.004
"""C/s: what a liquid may drift before anything is known (0.24 C a minute)."""
BATH_START_SD_C = 1.0
"""The bath stands for the developer at its begin with this (contract, section 5)."""
HELD_SD_C_PER_S = 0.1 / 60.0
"""The uncertainty of a held temperature grows 0.1 C a minute (contract, section 5)."""
RETURN_SD_C = 0.3
"""How far an estimate without readings may have gone astray unknown to itself, when a probe returns."""
VESSEL_NOISE = Noise(slope=0.0, transient=0.0, liquid=4e-6)
"""The vessel model's own restlessness: 0.015 C in a minute (a hand round the tank, a tank on the bench)."""
LONGEST_STEP_S = 5.0
BEYOND_C = 4.5
"""A liquid has not been further than this outside of all that was read: the held drift's most (0.45 C a minute that fades in 10 min)."""
FURTHEST_C = 15.0
STEEPEST = (1.5 / 60.0, 0.5)
"""A liquid is at most so far from its probe's reading; its slow and its transient slope are at most these, C/s (a bowl loses up to 0.3 C
a minute, the project's practice, section 6; hot water stirred in: 5 C in ten seconds, common practice, no source)."""
NOISE_FIRST = 0.03**2
NOISE_RANGE = (0.02**2, 0.12**2)
"""Variance of a reading's noise without quantisation, C^2: start value and bounds of what is learned from the surprises."""
NOISE_START = 20
NOISE_MEMORY = 90
"""Readings over which the noise is learned; the start value counts as the first so many."""
NOISE_CLIP = 8.0
"""One reading tells of at most this many times the variance believed: it may be a lie."""
AIR_UNKNOWN = (18.0, 8.0)
"""The room's air before any room probe: mean and standard deviation, C (practice of this project)."""
ROOM_SD_C = 0.5
"""The room's probe against the air where a lifted probe hangs."""
ROOM_MEMORY = 10.0
"""That difference stays: so many readings of the room's probe say together what one says."""


@dataclass(frozen=True, slots=True)
class Segment:
    """From `since_t_s` on the temperature follows this: a probe ("liquid"), the vessel model, or nothing ("held")."""

    since_t_s: float
    drift: Drift
    probe: str
    lag_s: float
    slope_c_per_s: float = 0.0
    """Held only: the slope that fades out."""
    different: bool = False
    """Another probe than the last one, or one that returns: the temperature may be off by the two comparisons."""

    def due(self, t: float) -> bool:
        """Whether it comes before a reading at `t`: a probe is used from that reading on, a loss comes after the last good one."""
        return self.since_t_s <= t if self.drift == "liquid" else self.since_t_s < t


@dataclass(frozen=True, slots=True)
class Pour:
    """Developer goes in: what is known of it if no probe ever was. `measured`: by the person; else bath or room, once read, knows
    better."""

    celsius: float
    sd_c: float
    measured: bool


@dataclass(frozen=True, slots=True)
class Key:
    """One integral: where it begins, by which law, and the number under which it is counted."""

    number: int
    begin_t_s: float
    law: RateLaw
    pour: Pour | None = None


class Moment:
    """State at `t`. `bank` is the liquid, `ambient` bath or room for the vessel model."""

    __slots__ = (
        "ambient",
        "attach",
        "bank",
        "bases",
        "bath_c",
        "between_c",
        "drift",
        "follows_room",
        "known",
        "lag_s",
        "last_two",
        "law",
        "noise",
        "noises",
        "probe",
        "room",
        "room_c",
        "systematics",
        "t",
    )

    def __init__(self, t: float, celsius: float, sd_c: float, probe: str) -> None:
        air, air_sd = AIR_UNKNOWN
        x = [celsius, 0.0, 0.0, celsius, air]
        c = [[0.0] * 5 for _ in range(5)]
        c[T][T] = sd_c * sd_c
        c[AIR][AIR] = air_sd * air_sd
        self.t = t
        self.bank = Bank([Track(x, c, {})], [1.0])
        self.drift: Drift = "held"
        self.probe = probe
        self.lag_s = 0.0
        self.attach = False
        self.room = False
        self.room_c = air
        self.bath_c: float | None = None
        self.between_c = (celsius, celsius)
        self.follows_room = False
        self.known = False
        self.noise = NOISE_FIRST
        self.noises = NOISE_START
        self.last_two = ((t, celsius), (t, celsius))
        self.ambient = Ambient()
        self.systematics = Systematics()
        self.law: RateLaw | None = None
        self.bases: dict[int, dict[str, float]] = {}

    def copy(self) -> Moment:
        """An independent copy."""
        other = object.__new__(Moment)
        other.t, other.bank, other.drift, other.probe = self.t, self.bank.copy(), self.drift, self.probe
        other.lag_s, other.attach, other.room, other.noise = self.lag_s, self.attach, self.room, self.noise
        other.ambient, other.systematics, other.law = self.ambient.copy(), self.systematics.copy(), self.law
        other.bases = dict(self.bases)
        other.known, other.room_c = self.known, self.room_c
        other.bath_c, other.follows_room, other.between_c = self.bath_c, self.follows_room, self.between_c
        other.noises, other.last_two = self.noises, self.last_two
        return other

    def keep_only(self, alive: set[int]) -> None:
        """Drop what nobody asks for."""
        self.bank.keep_only(alive)
        self.bases = {k: v for k, v in self.bases.items() if k in alive}

    def start(self, key: Key) -> None:
        """Integral `key` begins now."""
        if key.pour is not None and not self.known:
            if self.bath_c is not None and not key.pour.measured:
                bath_c = self.bath_c if self.follows_room else self.ambient.at(self.t)[0]
                self._believe(bath_c, BATH_START_SD_C)
            else:
                self._believe(key.pour.celsius, key.pour.sd_c)
        for track in self.bank.tracks:
            track.counts[key.number] = Count(key.law)
        self.bases[key.number] = dict(self.systematics.of_ref_s)
        self.law = key.law

    def _heard(self, celsius: float) -> None:
        """The liquid has been between the least and the most that was ever said of it or of what it follows, and a held drift."""
        low, high = self.between_c
        if not low <= celsius <= high:
            self.between_c = (min(low, celsius), max(high, celsius))

    def _believe(self, celsius: float, sd_c: float) -> None:
        self._heard(celsius)
        for track in self.bank.tracks:
            track.replace(T, celsius, sd_c * sd_c)

    def read_ambient(self, probe: str, t: float, celsius: float, measured: bool) -> None:
        """A reading of what the vessel follows. The bath's first one also stands for the liquid; the room's never does."""
        self._heard(celsius)
        self.ambient.read(probe, t, celsius, self.reading_variance)
        if not self.follows_room:
            self.pour_from_bath(celsius, measured)

    def pour_from_bath(self, celsius: float, measured: bool) -> None:
        """The bath's first reading stands for the liquid, where nothing better is known (contract, section 5)."""
        if self.bath_c is None and not self.known and not measured:
            self._believe(celsius, BATH_START_SD_C)
        self.bath_c = celsius

    def follow(self, segment: Segment, uncertain_c: float) -> None:
        """The source changes now. `uncertain_c`: how far two probes may differ (standard), where the probe is another one."""
        self.bank.close()
        track = self.bank.tracks[0]
        before = self.drift
        self.drift, self.lag_s = segment.drift, segment.lag_s
        if segment.drift == "liquid":
            self.probe = segment.probe
            self.attach = True
            if before != "liquid" and segment.different:
                track.loosen(uncertain_c * uncertain_c + RETURN_SD_C**2)
            elif segment.different:
                track.widen(T, uncertain_c * uncertain_c)
            if before != "liquid":
                track.replace(SLOPE, track.x[SLOPE] if before == "held" else 0.0, START_SLOPE_SD**2)
                track.replace(TRANSIENT, 0.0, 1e-6)
            return
        if segment.drift == "held":
            track.x[SLOPE] = segment.slope_c_per_s
        if before == "liquid" or segment.drift != before:
            track.replace(TRANSIENT, 0.0, HELD_SD_C_PER_S**2 if segment.drift == "held" else 0.0)
        if segment.drift == "vessel":
            track.replace(SLOPE, 0.0, 0.0)

    def carry(self, t: float, pending: list[Key]) -> None:
        """Carry on to `t`, beginning on the way every key of `pending` that is due. Never backwards."""
        while pending and pending[0].begin_t_s <= t:
            key = pending.pop(0)
            self._carry(max(key.begin_t_s, self.t))
            self.start(key)
        self._carry(t)

    def _carry(self, t: float) -> None:
        while t - self.t > 1e-9:
            h = t - self.t
            if h > LONGEST_STEP_S:
                h = LONGEST_STEP_S
            self._one_step(h)
            self.t = self.t + h if t - self.t > h else t

    def step(self, h: float) -> Step:
        """The transition of `h` seconds from now."""
        if self.drift == "liquid":
            return liquid_step(h, self.lag_s)
        if self.drift == "vessel":
            level, slope = self.ambient.at(self.t)
            return vessel_step(h, self.lag_s, level, slope)
        return held_step(h)

    def _one_step(self, h: float) -> None:
        step = self.step(h)
        if self.drift == "liquid":
            self.bank.predict(step)
        else:
            self.bank.drift(step, VESSEL_NOISE if self.drift == "vessel" else Noise(0.0, 0.0, 0.0))
        x = self.bank.tracks[0].x
        if self.drift == "vessel":
            self.systematics.follow_vessel(step, self.ambient.probe or "", self.lag_s, self.ambient.at(self.t)[0] - x[T])
        if self.bases and self.law is not None:
            self.systematics.count(self.law, x[T] - 0.5 * h * x[SLOPE], h)

    @property
    def reading_variance(self) -> float:
        """Of one reading of the probe: noise as learned, quantisation."""
        return self.noise + QUANTUM_C * QUANTUM_C / 12.0

    def read(self, t: float, celsius: float, pending: list[Key]) -> float:
        """A reading of the probe that is followed. Returns the surprise in standard deviations, signed."""
        h = t - self.t
        self._heard(celsius)
        self.bank.mix(h)
        self.carry(t, pending)
        if self.attach:
            self.attach = False
            self.known = True
            for track in self.bank.tracks:
                track.replace(PROBE, celsius, self.reading_variance)
            self.systematics.follow_probe(self.probe)
            return 0.0
        self._learn_noise(t, celsius)
        variance = self.reading_variance
        surprise, total = self.bank.update(celsius, variance, self.room)
        self._keep_within(celsius)
        return surprise / math.sqrt(total)

    def _keep_within(self, celsius: float) -> None:
        """No liquid of this trade is further from the probe, or drifts faster, than this: what says so is a probe that was elsewhere."""
        coldest, warmest = self.between_c[0] - BEYOND_C, self.between_c[1] + BEYOND_C
        low = max(celsius - FURTHEST_C, coldest, PLAUSIBLE_C[0])
        high = min(celsius + FURTHEST_C, warmest, PLAUSIBLE_C[1])
        for track, kind in zip(self.bank.tracks, self.bank.kinds, strict=True):
            x = track.x
            if kind != "air":
                x[T] = min(max(x[T], low), high)
            else:
                x[T] = min(max(x[T], PLAUSIBLE_C[0]), PLAUSIBLE_C[1])
            x[SLOPE] = min(max(x[SLOPE], -STEEPEST[0]), STEEPEST[0])
            x[TRANSIENT] = min(max(x[TRANSIENT], -STEEPEST[1]), STEEPEST[1])
        if self.bases and self.law is not None:
            slowest, fastest = rate(self.law, coldest), rate(self.law, warmest)
            for track in self.bank.tracks:
                track.bound(slowest, fastest)

    def shift(self, celsius: float) -> None:
        """The probe has been telling an old value: the liquid is as much further as the probe is. Before `read`."""
        for track in self.bank.tracks:
            off = celsius - track.x[PROBE]
            track.replace(T, track.x[T] + off, track.c[T][T] + 0.25 * off * off)
            track.replace(PROBE, celsius, self.reading_variance)

    def _learn_noise(self, t: float, celsius: float) -> None:
        """From the middle one of three readings against the straight line between its neighbours: that knows nothing of models."""
        (t0, z0), (t1, z1) = self.last_two
        self.last_two = ((t1, z1), (t, celsius))
        if not t0 < t1 < t or t - t0 > LONGEST_STEP_S:
            return
        share = (t1 - t0) / (t - t0)
        off = z1 - z0 - share * (celsius - z0)
        seen = min(off * off / (1.0 + share * share + (1.0 - share) ** 2), NOISE_CLIP * self.reading_variance)
        low, high = NOISE_RANGE
        self.noises = min(self.noises + 1, NOISE_MEMORY)
        noise = self.noise + (seen - QUANTUM_C * QUANTUM_C / 12.0 - self.noise) / self.noises
        self.noise = min(max(noise, low), high)

    def read_room(self, celsius: float) -> None:
        """The room's probe says what the air is, and nothing of the liquid: a door that opens must not move what was counted. While a
        rival hangs in air, what it has learned of that place goes on: the air there changes as the room does."""
        learning = self.room and (self.bank.mixing or self.bank.kinds == ("air",))
        for track in self.bank.tracks:
            if learning:
                track.x[AIR] += celsius - self.room_c
                track.nudge(AIR, celsius, ROOM_SD_C**2 * ROOM_MEMORY)
            else:
                track.replace(AIR, celsius, ROOM_SD_C**2)
        self.room, self.room_c = True, celsius
