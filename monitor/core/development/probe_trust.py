"""Whether a probe in the developer or in the witness vessel is believed: one class a question, its numbers beside it.

`FirstReadings`, `SameCode`, `SecondProbe` and `Returning` each hear one probe's readings and answer with a `Verdict` where there is
one. `suspicion` asks about air. What a verdict changes is up to `estimator`. The numbers are those of the contract, section 5, and of
the project's practice, section 6. Tests: tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.beliefs import ProbeModel
from monitor.core.development.filter import PROBE, QUANTUM_C, SLOPE, TRANSIENT, TRANSIENT_S, T, Track, liquid_step
from monitor.core.development.histories import Histories, returning
from monitor.core.development.moment import Moment, Segment
from monitor.core.development.replay import GoodReading
from monitor.core.development.rivals import NOISES

LOST_S = 15.0
"""No sample for longer than this: lost (the project's practice, section 6). From 5 s on it is in doubt: the deviation grows, nothing is
said."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """A probe is to be believed since `since_t_s`, or not since then. `why` is told to the person."""

    believed: bool
    since_t_s: float
    why: str
    liquid_moved: bool = False
    """Where the stretch since then is computed again, rival models of the liquid run."""
    histories: Histories | None = None
    """What tells later whether a probe that hangs in air was in the liquid after all."""


GAIN_READINGS = 3
GAIN_SPAN_S = 1.5
"""A probe is believed first after this many good readings over this long."""


class FirstReadings:
    """The good readings of a probe that has not been believed yet."""

    def __init__(self) -> None:
        self._times_s: list[float] = []

    def hear(self, t_s: float) -> Verdict | None:
        """Take the time of a good reading. Are they enough?"""
        self._times_s.append(t_s)
        count = len(self._times_s)
        if count < GAIN_READINGS or t_s - self._times_s[0] < GAIN_SPAN_S:
            return None
        return Verdict(True, self._times_s[0], f"{count} good readings")


STUCK_READINGS = 10
STUCK_S = 20.0
STUCK_OFF_C = 0.1
STUCK_SIGMA = 3.0
STUCK_LOG = 5.0
"""A stuck code: the drift before says that the liquid left it by this much and this many deviations, and a sound probe's
noise would have shown another code but for exp(-5): one code has at most the share erf(step/2 / (noise sqrt 2))."""
STUCK_CURVE = 2e-8
"""Variance that a liquid's slope gains a second, (C/s)^2/s: as that of the calm model."""


class SameCode:
    """How long a probe's register has shown one value. `moved`: whether it has changed since it was found stuck.

    `count_before`: for how many readings the last value stood, in the first reading of a new one.
    """

    def __init__(self) -> None:
        self.moved = True
        self.count_before = 0
        self._celsius: float | None = None
        self._since_t_s = 0.0
        self._count = 0

    def hear(self, t_s: float, celsius: float) -> None:
        """Note a good reading."""
        if self._celsius is not None and abs(celsius - self._celsius) <= 1e-9:
            self._count += 1
            self.count_before = 0
            return
        self.moved = True
        self.count_before = self._count
        self._celsius, self._since_t_s, self._count = celsius, t_s, 1

    def stuck(self, t_s: float, lag_s: float, snapshots: Sequence[Moment]) -> Verdict | None:
        """Does the drift from before the value came say that the liquid has left it? `snapshots` rise in time."""
        if self._celsius is None or self._count < STUCK_READINGS or t_s - self._since_t_s < STUCK_S:
            return None
        before = next((s for s in reversed(snapshots) if s.t <= self._since_t_s), None)
        if before is None or before.drift != "liquid" or before.attach:
            return None
        track = before.bank.mean()
        h = t_s - before.t
        fade = TRANSIENT_S * (1.0 - math.exp(-h / TRANSIENT_S))
        expected_c = track.x[T] + track.x[SLOPE] * (h - lag_s) + track.x[TRANSIENT] * fade
        c = track.c
        var = c[T][T] + h * h * c[SLOPE][SLOPE] + fade * fade * c[TRANSIENT][TRANSIENT] + STUCK_CURVE * h**3 / 3.0 + before.noise
        off = abs(expected_c - self._celsius)
        same = math.erf(0.5 * QUANTUM_C / math.sqrt(2.0 * before.noise))
        if off < max(STUCK_OFF_C, STUCK_SIGMA * math.sqrt(var)) or -self._count * math.log(same) < STUCK_LOG:
            return None
        self.moved = False
        why = f"the same value for {t_s - self._since_t_s:.0f} s while the liquid has moved {off:.1f} C"
        return Verdict(False, self._since_t_s, why)


WRONG_WITNESS_C = 0.5
WRONG_WITNESS_S = 30.0
"""A second probe that differs from the believed one by this (and two deviations of their comparisons) for this long is not believed
(practice, section 6)."""


class SecondProbe:
    """A believed probe beside the one that is followed: does it still say the same?"""

    def __init__(self) -> None:
        self._alone: Track | None = None
        self._alone_t_s = 0.0
        self._differs_since_t_s: float | None = None

    def hear(self, t_s: float, celsius: float, variance: float, lag_s: float) -> None:
        """A lively filter on this probe alone: where the liquid about it would be."""
        if self._alone is None or t_s - self._alone_t_s > LOST_S:
            x = [celsius, 0.0, 0.0, celsius, 0.0]
            c = [[0.0] * 5 for _ in range(5)]
            c[T][T], c[SLOPE][SLOPE], c[TRANSIENT][TRANSIENT], c[PROBE][PROBE] = 9.0, 1e-6, 1e-3, variance
            self._alone, self._alone_t_s = Track(x, c, {}), t_s
            return
        if t_s <= self._alone_t_s:
            return
        self._alone.predict(liquid_step(t_s - self._alone_t_s, lag_s), NOISES["lively"])
        self._alone.update(PROBE, celsius, variance)
        self._alone_t_s = t_s

    def differs(self, t_s: float, liquid_c: float, apart_sd_c: float) -> Verdict | None:
        """Has it differed from the believed liquid for too long? `apart_sd_c`: of the difference of two sound probes."""
        if self._alone is None:
            return None
        off = self._alone.x[T] - liquid_c
        if abs(off) <= WRONG_WITNESS_C + 2.0 * apart_sd_c:
            self._differs_since_t_s = None
            return None
        if self._differs_since_t_s is None:
            self._differs_since_t_s = t_s
        if t_s - self._differs_since_t_s <= WRONG_WITNESS_S:
            return None
        why = f"{abs(off):.1f} C {'above' if off > 0 else 'below'} the other probe for {WRONG_WITNESS_S:.0f} s"
        return Verdict(False, self._differs_since_t_s, why)


AGREE_C = 0.3
AGREE_S = 30.0
"""Belief returns after this long of agreement this near (practice, section 6), or within two deviations of an estimate that has grown
vaguer."""
STEADY_S = 35.0
"""A probe that was away and is a liquid's again for this long is believed even where the estimate was another: a real step wins."""
LIQUID_AHEAD = 4.0
"""Air is taken back when a moving liquid is exp(4), fifty times, likelier after all."""
STILL_IN_AIR = 0.1
"""A probe that is in air with a greater probability than this does not return."""


class Returning:
    """A probe that is not believed: does it say again what the liquid should be, or was it the liquid all the time?"""

    def __init__(self, histories: Histories | None = None) -> None:
        self._histories = histories
        self._agrees_since_t_s: float | None = None
        self._liquid_since_t_s: float | None = None

    def read_room(self, celsius: float) -> None:
        """What the room's probe says."""
        if self._histories is not None:
            self._histories.read_room(celsius)

    def hear(self, reading: GoodReading, model: ProbeModel, moment: Moment) -> Histories:
        """Take a reading. `moment`: the newest one, of what is believed without this probe."""
        histories = self._histories
        if histories is None or reading.t_s - histories.air.t > LOST_S:
            back = moment.copy()
            back.follow(Segment(reading.t_s, "liquid", model.name, model.lag_s, different=True), model.comparison_sd_c)
            self._histories = histories = returning(back)
        histories.read(reading.t_s, reading.celsius)
        return histories

    def believed_again(self, t_s: float, histories: Histories, moved: bool, liquid_c: float, liquid_sd_c: float) -> Verdict | None:
        """After `hear`. `moved`: whether the code has changed since it was stuck. `liquid_c`, `liquid_sd_c`: what is believed now."""
        if histories.liquid_ahead > LIQUID_AHEAD:
            return Verdict(True, histories.since_t_s, "its readings are a moving liquid's after all", liquid_moved=True)
        if not moved or histories.in_air > STILL_IN_AIR:
            self._agrees_since_t_s = self._liquid_since_t_s = None
            return None
        if self._liquid_since_t_s is None:
            self._liquid_since_t_s = t_s
        off = histories.air.bank.mean().x[T] - liquid_c
        near = max(AGREE_C, 2.0 * liquid_sd_c)
        if abs(off) > near:
            self._agrees_since_t_s = None
        elif self._agrees_since_t_s is None:
            self._agrees_since_t_s = t_s
        if self._agrees_since_t_s is not None and t_s - self._agrees_since_t_s >= AGREE_S:
            why = f"within {near:.1f} C of the estimate for {AGREE_S:.0f} s"
            return Verdict(True, _used_from(histories, self._agrees_since_t_s), why)
        if t_s - self._liquid_since_t_s >= STEADY_S:
            why = f"steady for {STEADY_S:.0f} s, {abs(off):.1f} C {'above' if off > 0 else 'below'} the estimate"
            return Verdict(True, _used_from(histories, self._liquid_since_t_s), why)
        return None


def _used_from(histories: Histories, since_t_s: float) -> float:
    """A probe that was only silent, not in air, is used from its first word on."""
    return since_t_s if histories.was_out else histories.since_t_s


class ProbeTrust:
    """What is known of one probe. `ever`: believed at least once; `told`: that it is missing from the start has been told."""

    def __init__(self, model: ProbeModel) -> None:
        self.model = model
        self.believed = self.ever = self.told = False
        self.last_good_t_s: float | None = None
        self.first_readings = FirstReadings()
        self.code = SameCode()
        self.second = SecondProbe()
        self.returning = Returning()

    def believe(self) -> None:
        """It is believed from now on."""
        self.believed = self.ever = True
        self.returning = Returning()

    def disbelieve(self, histories: Histories | None) -> None:
        """It is not believed any more; what it says from now on is weighed anew."""
        self.believed = False
        self.second = SecondProbe()
        self.returning = Returning(histories)
