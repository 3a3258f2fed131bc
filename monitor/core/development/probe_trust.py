"""Whether a probe in the developer or in the witness vessel is believed: one class a question, its numbers beside it.

`FirstReadings`, `SameCode`, `SecondProbe` and `Returning` each take one probe's readings and return a `Verdict` when they have one.
`suspicion` decides about air. What a verdict changes is up to `estimator`. The numbers are those of the contract, section 5, and of
the project's practice, section 6. Tests: tests/core/development/test_probe_trust.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.core.development.beliefs import ProbeModel
from monitor.core.development.filter import PROBE, QUANTUM_C, SLOPE, TRANSIENT, TRANSIENT_S, T, Track, liquid_step
from monitor.core.development.histories import Histories, returning
from monitor.core.development.moment import Moment, Segment
from monitor.core.development.replay import GoodReading
from monitor.core.development.rivals import NOISES
from monitor.core.probes.register import register_step_c

LOST_S = 15.0
"""A probe without a good reading for longer than this is lost (the project's practice, section 6). Until then nothing is said, but the
deviation grows."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """A probe is to be believed since `since_t_s`, or not since then. `why` is told to the person."""

    believed: bool
    since_t_s: float
    why: str
    liquid_moved: bool = False
    """When the stretch since then is computed again, rival models of the liquid run in it."""
    taken_back: bool = False
    """It had been taken for lifted, and the filters now take that back."""
    silent: bool = False
    """Nothing was odd; it only gave no readings."""
    barred: bool = False
    """The bath says that it is wrong: it must agree closely to be believed again."""
    moved_c: tuple[float, float] = (0.0, 0.0)
    """By how much the liquid was warmer than it said, all the time before: mean and standard deviation."""
    of_bath: bool = False
    """Not this probe is wrong, but the bath's."""
    exchanged: bool = False
    """It hangs in the bath, and the bath's probe in the developer."""
    off_c: float = 0.0
    """How far the probe that is believed again is from what was believed meanwhile."""
    histories: Histories | None = None
    """Of a probe in air: they may show later that it was in the liquid after all."""
    odd_t_s: float | None = None
    """Of a probe in air: when it had begun to look odd, if that was well before `since_t_s`."""


GAIN_READINGS = 3
GAIN_SPAN_S = 1.5
"""A probe is first believed after this many good readings over at least this long (contract, section 5)."""


class FirstReadings:
    """The good readings of a probe that has not been believed yet."""

    def __init__(self) -> None:
        self._times_s: list[float] = []

    def hear(self, t_s: float) -> Verdict | None:
        """Take the time of a good reading. A verdict if there are enough now."""
        self._times_s.append(t_s)
        count = len(self._times_s)
        if count < GAIN_READINGS or t_s - self._times_s[0] < GAIN_SPAN_S:
            return None
        return Verdict(True, self._times_s[0], f"{count} good readings")


SAME_CODE_READINGS = 10
SAME_CODE_S = 20.0
SAME_CODE_OFF_C = 0.1
SAME_CODE_SIGMA = 3.0
SAME_CODE_LOG = 5.0
"""A probe is stuck if its register has shown one code for so many readings and so long, the drift before says that the liquid has left
it by this much and this many deviations, and a sound probe would have stayed on it with a probability of at most exp(-5): with noise,
at most erf(step/2 / (noise sqrt 2)) of the readings show the same code. Numbers tuned on this project's own liquids."""


class SameCode:
    """How long a probe's register has shown one code.

    `moved`: whether it has changed since it was found stuck. `count_before`: at the first reading of a new code, for how many readings
    the old one stood; else 0.
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
        """Whether the drift from before this code says that the liquid has left it. `snapshots` rise in time."""
        if self._celsius is None or self._count < SAME_CODE_READINGS or t_s - self._since_t_s < SAME_CODE_S:
            return None
        before = next((s for s in reversed(snapshots) if s.t <= self._since_t_s), None)
        if before is None or before.drift != "liquid" or before.attach:
            return None
        track = before.bank.mean()
        h = t_s - before.t
        fade = TRANSIENT_S * (1.0 - math.exp(-h / TRANSIENT_S))
        expected_c = track.x[T] + track.x[SLOPE] * (h - lag_s) + track.x[TRANSIENT] * fade
        c = track.c
        var = c[T][T] + h * h * c[SLOPE][SLOPE] + fade * fade * c[TRANSIENT][TRANSIENT] + NOISES["calm"].slope * h**3 / 3.0 + before.noise
        off = abs(expected_c - self._celsius)
        same = math.erf(0.5 * before.step_c / math.sqrt(2.0 * before.noise))
        if off < max(SAME_CODE_OFF_C, SAME_CODE_SIGMA * math.sqrt(var)) or -self._count * math.log(same) < SAME_CODE_LOG:
            return None
        self.moved = False
        why = f"the same value for {t_s - self._since_t_s:.0f} s while the liquid has moved {off:.1f} C"
        return Verdict(False, self._since_t_s, why)


STEP_VALUES = 600
"""So many values of a register are looked at for its step; a sound one is known after three or four."""
TWO_CODES, REST_READINGS = 20, 4
COARSE_STEPS_C = (0.1, 0.125, 0.2, 0.25, 0.5)
LIKE_A_STEP_C, LEAST_COARSE_C = 0.04, 0.09
"""Where so many readings show two codes only, each at least so often, nothing between them can be told: if they are apart by one of these
steps (to within `LIKE_A_STEP_C`; never by the sound one), it is taken for the register's until the values tell more."""


class Register:
    """Finds the step of a probe's register from its raw values."""

    def __init__(self) -> None:
        self._values_c: list[float] = []
        self._step_c: float | None = None

    @property
    def known(self) -> bool:
        """Whether the values have told the step, a sound one or a coarse."""
        return self._step_c is not None

    def hear(self, raw_c: float) -> float | None:
        """Take a raw value. The step, when it has just been found or found to be another."""
        values = self._values_c
        if len(values) >= STEP_VALUES or self._step_c == QUANTUM_C:
            return None
        changed = not values or raw_c != values[-1]
        values.append(raw_c)
        step_c = register_step_c(values) if changed else self._of_two_codes() if self._step_c is None else None
        if step_c is None or step_c == self._step_c:
            return None
        self._step_c = step_c
        return step_c

    def _of_two_codes(self) -> float | None:
        newest = self._values_c[-TWO_CODES:]
        codes = sorted(set(newest))
        if len(codes) != 2 or min(newest.count(code) for code in codes) < REST_READINGS:
            return None
        leap_c = codes[1] - codes[0]
        if leap_c < LEAST_COARSE_C:
            return None
        nearest = min(COARSE_STEPS_C, key=lambda step_c: abs(step_c - leap_c))
        return nearest if abs(nearest - leap_c) <= LIKE_A_STEP_C else None


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
        """Take a reading into a lively filter on this probe alone, which tells the liquid's temperature around it. After a silence, or a
        time in which the probe itself was followed, it starts afresh."""
        if self._alone is None or t_s - self._alone_t_s > LOST_S:
            x = [celsius, 0.0, 0.0, celsius, 0.0]
            c = [[0.0] * 5 for _ in range(5)]
            c[T][T], c[SLOPE][SLOPE], c[TRANSIENT][TRANSIENT], c[PROBE][PROBE] = 9.0, 1e-6, 1e-3, variance
            self._alone, self._alone_t_s, self._differs_since_t_s = Track(x, c, {}), t_s, None
            return
        if t_s <= self._alone_t_s:
            return
        self._alone.predict(liquid_step(t_s - self._alone_t_s, lag_s), NOISES["lively"])
        self._alone.update(PROBE, celsius, variance)
        self._alone_t_s = t_s

    def differs(self, t_s: float, liquid_c: float, apart_sd_c: float) -> Verdict | None:
        """Whether it has differed from the believed liquid for too long. `apart_sd_c`: deviation of two sound probes from each other."""
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
"""Belief returns when the probe has agreed this closely for this long (practice, section 6), or within two deviations of the estimate
where those are wider."""
BARRED_AGREE_C = 0.12
"""A probe that the bath has shown to be wrong must agree this closely (this project's own choice)."""
STEADY_S = 35.0
"""A probe that has returned to some liquid for this long is believed even where the estimate was different, unless a better probe has
it so: a real step wins (this project's own choice)."""
LIQUID_AHEAD = 4.0
"""The verdict of air is taken back when a moving liquid turns out exp(4), fifty times, likelier."""
CONTRADICTS_S = 12.0
"""A probe that was only silent is believed after its first readings if they agree, else after so long (this project's own choice)."""
STILL_IN_AIR = 0.1
"""Belief does not return while the probability of being in air is greater than this."""
SETTLES_LAGS = 3.0
"""A probe that has been in air is used once it has settled for so many lags: until then its sleeve is too far behind to tell a drift (this
project's own choice)."""


class Returning:
    """A probe that is not believed: does it measure the liquid again, or did it all the time?"""

    def __init__(self, histories: Histories | None = None, silent: bool = False, odd_t_s: float | None = None) -> None:
        self._histories = histories
        self.odd_t_s = odd_t_s
        """When it had begun to look odd, if that was well before it is taken to have been lifted."""
        self._silent = FirstReadings() if silent else None
        self._agrees_since_t_s: float | None = None
        self._liquid_since_t_s: float | None = None

    def was_lifted(self, histories: Histories) -> None:
        """It was lifted all the same: that is its history."""
        self._histories = histories

    def read_room(self, celsius: float) -> None:
        """Take a reading of the room."""
        if self._histories is not None:
            self._histories.read_room(celsius)

    def hear(self, reading: GoodReading, model: ProbeModel, moment: Moment) -> Histories:
        """Take a reading. `moment`: what is believed now, without this probe."""
        histories = self._histories
        if histories is None or reading.t_s - histories.air.t > LOST_S:
            back = moment.copy()
            back.follow(Segment(reading.t_s, "liquid", model.name, model.lag_s, different=True), model.comparison_sd_c)
            self._histories = histories = returning(back)
        histories.read(reading.t_s, reading.celsius)
        return histories

    def believed_again(
        self, t_s: float, histories: Histories, moved: bool, liquid_c: float, liquid_sd_c: float, beside_better: bool = False,
        barred: bool = False,
    ) -> Verdict | None:  # fmt: skip
        """Call after `hear`. `moved`: whether the code has changed since it was stuck. `liquid_c`, `liquid_sd_c`: what is believed now,
        by a probe that is better than this one (`beside_better`) or not. `barred`: the bath has said that it is wrong."""
        if self._silent is not None:
            return self._after_silence(t_s, histories, liquid_c, liquid_sd_c)
        if histories.liquid_ahead > LIQUID_AHEAD:
            return Verdict(True, histories.since_t_s, "its readings are a moving liquid's after all", liquid_moved=True, taken_back=True)
        if not moved or histories.in_air > STILL_IN_AIR:
            self._agrees_since_t_s = self._liquid_since_t_s = None
            return None
        if self._liquid_since_t_s is None:
            self._liquid_since_t_s = t_s
        off = histories.air.bank.mean().x[T] - liquid_c
        near = BARRED_AGREE_C if barred else max(AGREE_C, 2.0 * liquid_sd_c)
        if abs(off) > near:
            self._agrees_since_t_s = None
        elif self._agrees_since_t_s is None:
            self._agrees_since_t_s = t_s
        if self._agrees_since_t_s is not None and t_s - self._agrees_since_t_s >= AGREE_S:
            why = f"within {near:.2g} C of the estimate for {AGREE_S:.0f} s"
            return Verdict(True, _back_since(histories, self._agrees_since_t_s), why, off_c=off)
        if t_s - self._liquid_since_t_s >= STEADY_S and not (beside_better or barred):
            why = f"steady for {STEADY_S:.0f} s, {abs(off):.1f} C {'above' if off > 0 else 'below'} the estimate"
            return Verdict(True, _back_since(histories, self._liquid_since_t_s), why, off_c=off)
        return None

    def _after_silence(self, t_s: float, histories: Histories, liquid_c: float, liquid_sd_c: float) -> Verdict | None:
        """Nothing spoke against the probe but its silence: it is believed at once, or a little later where it contradicts."""
        if self._silent is None or self._silent.hear(t_s) is None:
            return None
        liquid = (histories.silent or histories.air).bank.mean()
        off = liquid.x[T] - liquid_c
        if abs(off) <= max(AGREE_C, 2.0 * liquid_sd_c):
            return Verdict(True, histories.since_t_s, f"reads again, {abs(off):.1f} C from the estimate", off_c=off)
        if t_s - histories.since_t_s < CONTRADICTS_S:
            return None
        why = f"reads again, for {CONTRADICTS_S:.0f} s {abs(off):.1f} C {'above' if off > 0 else 'below'} the estimate"
        return Verdict(True, histories.since_t_s, why, liquid_moved=True, off_c=off)


def _back_since(histories: Histories, in_liquid_t_s: float) -> float:
    """A probe that gave no readings for a while but was not in air is used from its first reading on, another one once it has settled."""
    if not histories.was_out:
        return histories.since_t_s
    return min(in_liquid_t_s + SETTLES_LAGS * histories.air.lag_s, histories.air.t)


class ProbeTrust:
    """What is known of one probe. `ever`: it has been believed at least once. `told`: that it is missing from the start has been told."""

    def __init__(self, model: ProbeModel) -> None:
        self.model = self.as_told = model
        self.believed = self.ever = self.told = self.barred = False
        self.last_good_t_s: float | None = None
        self.first_readings = FirstReadings()
        self.code = SameCode()
        self.register = Register()
        self.second = SecondProbe()
        self.returning = Returning()

    def learn_lag(self, lag_s: float, log_sd: float) -> None:
        """Its settling has told its lag, with this standard deviation of its logarithm."""
        self.model = replace(self.model, lag_s=lag_s, lag_log_sd=log_sd)

    def is_another(self, model: ProbeModel) -> None:
        """Another sensor speaks by its name: this one."""
        self.model = self.as_told = model
        self.code, self.register, self.second = SameCode(), Register(), SecondProbe()
        self.barred = False
        self.believe()

    def believe(self) -> None:
        """It is believed from now on."""
        self.believed = self.ever = True
        self.returning = Returning()

    def disbelieve(self, verdict: Verdict) -> None:
        """It is no longer believed; its readings from now on are judged afresh."""
        self.believed = False
        self.barred = self.barred or verdict.barred
        self.returning = Returning(verdict.histories, verdict.silent, verdict.odd_t_s)
