"""All that the estimator's arithmetic knows at one moment, and how readings and time carry it on.

A copy of a `Moment` is a snapshot from which a stretch can be computed again. Which source it follows is set from outside (`follow`).
Tests: tests/core/development/test_moment.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.core.development.ambient import Ambient
from monitor.core.development.coarse import EDGE_SHARE
from monitor.core.development.filter import (
    AIR,
    PROBE,
    QUANTUM_C,
    SLOPE,
    START_SLOPE_SD_C_PER_S,
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
from monitor.core.development.handling import TANK_WATER_ML, USUAL_ML, Handling, Warming
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.rivals import Bank
from monitor.core.development.sensitivity import Systematics
from monitor.core.probes.readings import PLAUSIBLE_C

BATH_START_SD_C = 1.0
"""Standard deviation where the bath's temperature stands for the developer's at its begin (contract, section 5)."""
WALL_SHARE = round(TANK_WATER_ML / (TANK_WATER_ML + USUAL_ML), 2)
"""A tank that nobody has tempered takes what is poured into it so far of the way to the room's air. Whether somebody has is not known: it
is a standard deviation."""
WALL_READ_S = 60.0
"""A room that is first read within this after the pouring-in still tells how warm the wall was (this project's own choice)."""
HELD_SD_C_PER_S = 0.1 / 60.0
"""The uncertainty of a held temperature grows 0.1 C a minute (contract, section 5)."""
RETURN_SD_C = 0.3
"""Added when a probe returns: an estimate without readings may be off by more than its own deviation says (tuned on this project's own
liquids)."""
VESSEL_NOISE = Noise(slope=0.0, transient=0.0, liquid=4e-6)
"""Process noise of the vessel model: 0.015 C in a minute (a hand round the tank, a tank on the bench; this project's own choice)."""
LEAK_SD_C_PER_S = 0.03 / 60.0
"""What hands and the room's air add to a tank in a bath all the time: standard deviation (the project's practice: 0.1 C for 10 to 15 s out
of the bath)."""
LONGEST_STEP_S = 5.0
"""A longer stretch is carried in steps of this length. Beyond it three readings say nothing of the noise."""
BEYOND_READ_C = 4.5
"""A liquid's temperature is clamped to at most this far outside the range of all readings: the most that a held drift can make (0.45 C a
minute that fades in 10 minutes)."""
FURTHEST_FROM_PROBE_C = 15.0
"""A liquid's temperature is clamped to this distance from its probe's reading (this project's own choice)."""
STEEPEST_SLOPE_C_PER_S = 1.5 / 60.0
STEEPEST_TRANSIENT_C_PER_S = 0.5
"""Slopes are clamped to these (a bowl loses up to 0.3 C a minute, the project's practice, section 6; hot water stirred in: 5 C in ten
seconds, common practice, no source)."""
NOISE_FIRST = 0.03**2
NOISE_RANGE = (0.02**2, 0.12**2)
"""Variance of a reading's noise without quantisation, C^2: start value and bounds of what is learned from the readings."""
NOISE_START = 20
NOISE_MEMORY = 90
"""The noise is a running mean over so many readings; the start value counts as `NOISE_START` of them."""
NOISE_CLIP = 8.0
"""One reading counts for at most this many times the variance believed: it may be an outlier."""
LAG_MISFIT = 0.015
"""A probe in its sleeve follows the liquid not quite with one lag: standard deviation of a reading as a share of how far it is behind
(tuned on this project's own liquids)."""
DWELL_ASKED = 10
"""A coarse code that stands is taken once in so many readings, and where the probe is expected beyond its edge: it says the same again."""
UNSEEN_STIR = 1e-7
"""Variance that the slow slope gains in a second where codes are coarse, (C/s)^2: they show water stirred in as a slope that then is not
there. 0.8 C within 100 s, once in 600 s (the rate in `rivals`)."""
AIR_UNKNOWN = (18.0, 8.0)
"""The room's air before any room probe: mean and standard deviation, C (practice of this project)."""
ROOM_SD_C = 0.5
"""Standard deviation between the room's probe and the air where a lifted probe hangs (this project's own choice)."""
ROOM_MEMORY = 10.0
"""That difference is constant, so the room's readings are not independent: so many of them together count as one."""


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
    off_c: float = 0.0
    """One that returns: how far the liquid is from what was believed meanwhile, as its readings have it by now."""
    moved_c: tuple[float, float] = (0.0, 0.0)
    """By how much the liquid was warmer than the probe before it has said, all the time: mean and standard deviation."""
    transient_sd_c_per_s: float = 0.001
    """Standard deviation of the liquid's transient slope as a probe is taken up after none was followed."""

    def due(self, t: float) -> bool:
        """Whether it comes before a reading at `t`: a probe is used from that reading on, a loss comes after the last good one."""
        return self.since_t_s <= t if self.drift == "liquid" else self.since_t_s < t


@dataclass(frozen=True, slots=True)
class Pour:
    """What is known of the developer as it is poured in, if no probe was ever believed. `measured`: by the person; otherwise a bath that
    has been read is used instead."""

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
    handling: Handling | None = None


class Moment:
    """The state at `t`. `bank` has the liquid's models, `ambient` what surrounds the vessel.

    `attach`: the next reading of the followed probe is its first. `known`: a probe has been believed. `room`: the room has been read.
    `handled`: the integral whose vessel is taken in the hands now and then; `unread_wall`: the one that began before the room was read.
    `between_c`: the range of all that was read. `bases`: for each integral, what `systematics` was at its begin. `steps_c`: the step of
    each probe's register where it is not the usual one; shared by all copies, so what is learned later holds for the past too. `dwell`:
    for how many readings one coarse code has stood.
    """

    __slots__ = (
        "ambient",
        "attach",
        "bank",
        "bases",
        "bath_c",
        "between_c",
        "drift",
        "dwell",
        "follows_room",
        "handled",
        "known",
        "lag_s",
        "last_two",
        "law",
        "noise",
        "noises",
        "probe",
        "room",
        "room_c",
        "steps_c",
        "systematics",
        "t",
        "unread_wall",
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
        self.steps_c: dict[str, float] = {}
        self.dwell = 0
        self.ambient = Ambient()
        self.systematics = Systematics()
        self.law: RateLaw | None = None
        self.handled: Key | None = None
        self.unread_wall: Key | None = None
        self.bases: dict[int, dict[str, float]] = {}

    def copy(self) -> Moment:
        """An independent copy."""
        other = object.__new__(Moment)
        other.t, other.bank, other.drift, other.probe = self.t, self.bank.copy(), self.drift, self.probe
        other.lag_s, other.attach, other.room, other.noise = self.lag_s, self.attach, self.room, self.noise
        other.ambient, other.systematics, other.law = self.ambient.copy(), self.systematics.copy(), self.law
        other.bases = dict(self.bases)
        other.known, other.room_c = self.known, self.room_c
        other.handled, other.unread_wall = self.handled, self.unread_wall
        other.bath_c, other.follows_room, other.between_c = self.bath_c, self.follows_room, self.between_c
        other.noises, other.last_two = self.noises, self.last_two
        other.steps_c, other.dwell = self.steps_c, self.dwell
        return other

    def another_liquid(self, celsius: float, sd_c: float) -> None:
        """Nothing is known of the liquid but this; what is known of room, bath and noise stays."""
        fresh = Moment(self.t, celsius, sd_c, "").bank
        air = self.bank.mean()
        fresh.tracks[0].replace(AIR, air.x[AIR], air.c[AIR][AIR])
        self.bank, self.drift, self.probe, self.attach, self.known = fresh, "held", "", False, False
        self.bases = {}

    def another_sensor(self, celsius: float, probe: str, lag_s: float) -> None:
        """What was followed was another liquid: this one reads `celsius`. What has been counted is shifted by what that makes, and
        uncertain by half of it."""
        self.bank.close()
        track = self.bank.tracks[0]
        off_c = celsius - track.x[T]
        for count in track.counts.values():
            missed = count.done * count.law.log_rate_slope(celsius) * off_c
            count.done = max(count.done + missed, 0.0)
            count.var += 0.25 * missed * missed
        track.replace(T, celsius, RETURN_SD_C**2)
        track.replace(SLOPE, 0.0, START_SLOPE_SD_C_PER_S**2)
        self.ambient = Ambient()
        self.drift, self.probe, self.lag_s, self.attach = "liquid", probe, lag_s, True

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
                off_c, sd_c = self._at_the_wall(key.pour, key.handling)
                self._believe(key.pour.celsius + off_c, math.hypot(key.pour.sd_c, sd_c))
                said = key.handling is not None and key.handling.tempered is not None
                self.unread_wall = key if said and not self.room else None
        for track in self.bank.tracks:
            track.counts[key.number] = Count(key.law)
        self.bases[key.number] = dict(self.systematics.of_ref_s)
        self.law = key.law
        self.handled = key if key.handling is not None and key.handling.held else None

    def _at_the_wall(self, pour: Pour, handling: Handling | None) -> tuple[float, float]:
        """What a tank that is as cold or warm as the room makes of a measured developer, where it is known to be, or else may make of it:
        mean and standard deviation, C."""
        if not pour.measured:
            return 0.0, 0.0
        track = self.bank.tracks[0]
        air_c, air_sd_c = track.x[AIR], math.sqrt(track.c[AIR][AIR])
        if handling is not None and handling.tempered is not None:
            return handling.at_the_wall(pour.celsius, air_c, air_sd_c)
        return 0.0, 0.0 if self.follows_room else WALL_SHARE * math.hypot(air_c - pour.celsius, air_sd_c)

    def _heard(self, celsius: float) -> None:
        """Widen the range of all that was read of the liquid or of what surrounds it."""
        low, high = self.between_c
        if not low <= celsius <= high:
            self.between_c = (min(low, celsius), max(high, celsius))

    def _believe(self, celsius: float, sd_c: float) -> None:
        self._heard(celsius)
        for track in self.bank.tracks:
            track.replace(T, celsius, sd_c * sd_c)

    def read_ambient(self, probe: str, t: float, celsius: float, measured: bool) -> None:
        """A reading of what surrounds the vessel. The bath's first one also stands for the liquid; the room's never does."""
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
        if segment.moved_c[1] > 0.0:
            track.all_moved(*segment.moved_c)
        self.drift, self.lag_s = segment.drift, segment.lag_s
        if segment.drift == "liquid":
            self.probe = segment.probe
            self.attach = True
            if before != "liquid" and segment.different:
                track.loosen(uncertain_c * uncertain_c + max(RETURN_SD_C, abs(segment.off_c)) ** 2)
            elif segment.different:
                track.widen(T, uncertain_c * uncertain_c)
            if before != "liquid":
                track.replace(SLOPE, track.x[SLOPE] if before == "held" else 0.0, START_SLOPE_SD_C_PER_S**2)
                track.replace(TRANSIENT, 0.0, segment.transient_sd_c_per_s**2)
            return
        if segment.drift == "held":
            track.x[SLOPE] = segment.slope_c_per_s
        if before == "liquid" or segment.drift != before:
            track.replace(TRANSIENT, 0.0, HELD_SD_C_PER_S**2 if segment.drift == "held" else 0.0)
        if segment.drift == "vessel":
            track.replace(SLOPE, 0.0, 0.0)
            track.replace(TRANSIENT, 0.0, LEAK_SD_C_PER_S**2)

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
            warming = self.warming(h)
            return vessel_step(h, self.lag_s, level, slope) if warming is None else warming.step(h, slope)
        return held_step(h)

    def warming(self, h: float) -> Warming | None:
        """How the vessel goes on in the next `h` seconds, where it is handled. None where it is let alone."""
        key = self.handled
        if key is None or key.handling is None:
            return None
        share = key.handling.share(self.t - key.begin_t_s, h)
        air_c = self.bank.tracks[0].x[AIR]
        return None if share <= 0.0 else key.handling.warming(share, self.lag_s, self.ambient.at(self.t)[0], air_c)

    def _one_step(self, h: float) -> None:
        step = self.step(h)
        if self.drift == "liquid":
            self.bank.predict(step)
            if self.step_c > QUANTUM_C:
                for track in self.bank.tracks:
                    track.widen(SLOPE, UNSEEN_STIR * h)
        else:
            self.bank.drift(step, VESSEL_NOISE if self.drift == "vessel" else Noise(0.0, 0.0, 0.0))
        x = self.bank.tracks[0].x
        if self.drift == "vessel":
            ambient_c = self.ambient.at(self.t)[0]
            self.systematics.follow_vessel(step, self.ambient.probe or "", self.lag_s, ambient_c, x[T], self.warming(h))
        if self.bases and self.law is not None:
            self.systematics.count(self.law, x[T] - 0.5 * h * x[SLOPE], h)

    @property
    def reading_variance(self) -> float:
        """Of one reading of the probe: noise as learned, quantisation."""
        return self.noise + self.step_c * self.step_c / 12.0

    @property
    def step_c(self) -> float:
        """Step of the register of the probe that is followed."""
        return self.steps_c.get(self.probe, QUANTUM_C)

    def read(self, t: float, celsius: float, pending: list[Key]) -> float:
        """A reading of the probe that is followed. Returns the surprise in standard deviations, signed."""
        h = t - self.t
        self._heard(celsius)
        self.bank.mix(h)
        self.carry(t, pending)
        if self.attach:
            self.attach = False
            if self.step_c > QUANTUM_C:
                self.last_two = ((t, celsius), (t, celsius))
            self.known = True
            for track in self.bank.tracks:
                track.replace(PROBE, celsius, self.reading_variance)
            self.systematics.follow_probe(self.probe)
            return 0.0
        before_c = self.last_two[1][1]
        self._learn_noise(t, celsius)
        value_c, variance, code_step_c = celsius, self.reading_variance, None
        if self.step_c > QUANTUM_C:
            moved_c = abs(celsius - before_c)
            self.dwell = self.dwell + 1 if moved_c < 0.5 * self.step_c else 0
            if self.dwell or moved_c > 1.5 * self.step_c:
                off_c = abs(self.bank.tracks[0].x[PROBE] - celsius)
                if self.dwell % DWELL_ASKED and off_c < 0.5 * self.step_c:
                    return 0.0
                variance, code_step_c = self.noise, self.step_c
            else:
                value_c, variance = 0.5 * (celsius + before_c), self.noise + (EDGE_SHARE * self.step_c) ** 2
        if "air" not in self.bank.kinds:
            x = self.bank.tracks[0].x
            variance += (LAG_MISFIT * (x[T] - x[PROBE])) ** 2
        surprise, total = self.bank.update(value_c, variance, self.room, code_step_c)
        self._keep_within(celsius)
        return surprise / math.sqrt(total)

    def _keep_within(self, celsius: float) -> None:
        """Clamp temperatures, slopes and counts to what is physically possible, whatever a probe that was elsewhere has said."""
        coldest, warmest = self.between_c[0] - BEYOND_READ_C, self.between_c[1] + BEYOND_READ_C
        low = max(celsius - FURTHEST_FROM_PROBE_C, coldest, PLAUSIBLE_C[0])
        high = min(celsius + FURTHEST_FROM_PROBE_C, warmest, PLAUSIBLE_C[1])
        for track, kind in zip(self.bank.tracks, self.bank.kinds, strict=True):
            x = track.x
            if kind != "air":
                x[T] = min(max(x[T], low), high)
            else:
                x[T] = min(max(x[T], PLAUSIBLE_C[0]), PLAUSIBLE_C[1])
            x[SLOPE] = min(max(x[SLOPE], -STEEPEST_SLOPE_C_PER_S), STEEPEST_SLOPE_C_PER_S)
            x[TRANSIENT] = min(max(x[TRANSIENT], -STEEPEST_TRANSIENT_C_PER_S), STEEPEST_TRANSIENT_C_PER_S)
        if self.bases and self.law is not None:
            slowest, fastest = rate(self.law, coldest), rate(self.law, warmest)
            for track in self.bank.tracks:
                track.bound(slowest, fastest)

    def shift(self, celsius: float) -> None:
        """The probe has repeated an old value and now leaps to `celsius`: shift the liquid by the same amount. Call before `read`."""
        for track in self.bank.tracks:
            off = celsius - track.x[PROBE]
            track.replace(T, track.x[T] + off, track.c[T][T] + 0.25 * off * off)
            track.replace(PROBE, celsius, self.reading_variance)

    def _learn_noise(self, t: float, celsius: float) -> None:
        """Learn the noise from the middle one of three readings against the straight line between its neighbours, whatever the model."""
        (t0, z0), (t1, z1) = self.last_two
        self.last_two = ((t1, z1), (t, celsius))
        if not t0 < t1 < t or t - t0 > LONGEST_STEP_S:
            return
        share = (t1 - t0) / (t - t0)
        off = z1 - z0 - share * (celsius - z0)
        quantised = self.step_c * self.step_c / 12.0
        if self.step_c > QUANTUM_C:
            off, quantised = abs(off) - self.step_c, 0.0
            if off < 1e-6:
                return  # a code more or less tells nothing of the noise
        seen = min(off * off / (1.0 + share * share + (1.0 - share) ** 2), NOISE_CLIP * self.reading_variance)
        low, high = NOISE_RANGE
        self.noises = min(self.noises + 1, NOISE_MEMORY)
        noise = self.noise + (seen - quantised - self.noise) / self.noises
        self.noise = min(max(noise, low), high)

    def read_room(self, celsius: float) -> None:
        """The room's probe measures the air, never the liquid: a door that opens must not move what was counted. While a rival model hangs
        in air, it keeps what it has learned of the air at that place, which changes as the room does."""
        key, self.unread_wall = self.unread_wall, None
        if key is not None and key.pour is not None and self.drift != "liquid" and self.t - key.begin_t_s < WALL_READ_S:
            was_c, was_sd_c = self._at_the_wall(key.pour, key.handling)  # the wall was as warm as the room turns out to be
            self.bank.tracks[0].replace(AIR, celsius, ROOM_SD_C**2)
            off_c, sd_c = self._at_the_wall(key.pour, key.handling)
            track = self.bank.tracks[0]
            track.x[T] += off_c - was_c
            track.c[T][T] = max(track.c[T][T] + sd_c * sd_c - was_sd_c * was_sd_c, sd_c * sd_c)
        learning = self.room and (self.bank.mixing or self.bank.kinds == ("air",))
        for track in self.bank.tracks:
            if learning:
                track.x[AIR] += celsius - self.room_c
                if self.bank.air_lag_s is None:
                    track.nudge(AIR, celsius, ROOM_SD_C**2 * ROOM_MEMORY)
            else:
                track.replace(AIR, celsius, ROOM_SD_C**2)
        self.room, self.room_c = True, celsius
