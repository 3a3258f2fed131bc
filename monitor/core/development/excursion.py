"""Was it the liquid at all? Readings that left their line and came back to it spoke of something else.

A liquid that hot water was stirred into stays warm, or goes back as slowly as its vessel lets it. A plume past the probe, water in
the plug, a probe lifted and put back leave the liquid where it was: the line from before is met again. That a liquid was moved twice,
and by chance back to its line, is the other explanation; both are kept, as a mixture (`Aside` in `replay`).

What is mixed every minute or two leaps each time a little the same way: layers. The probe then hung in one of them, and by how much the
rest was off is a doubt that nothing read can take away.

Tests: tests/core/development/test_excursion.py, figures: tests/benchmarks/bench_doubt.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.beliefs import TrustChange
from monitor.core.development.filter import QUANTUM_C, SLOPE, TRANSIENT, T, liquid_step
from monitor.core.development.lifting import STIRRED_C
from monitor.core.development.moment import Moment
from monitor.core.development.probe_trust import ProbeTrust
from monitor.core.development.replay import GoodReading, Replay
from monitor.core.development.rivals import NOISES
from monitor.core.development.suspicion import CALM_AGAIN
from monitor.core.probes.readings import Source

LOOK_EVERY_S = 4.0
LOOK_BACK_S = 200.0
"""Every 4 s it is asked whether something that began to look odd within the last 200 s is over."""
BACK_S = 10.0
"""The readings have been back on their line for so long."""
OFF_C, OFF_STEPS, OFF_SDS = 0.3, 1.5, 4.0
"""They left it by so much at least, by so many steps of the register, and by so many standard deviations."""
EDGE_C, EDGE_SDS = 0.12, 3.0
"""Closer to the line than this, or than so many standard deviations, they were in the liquid."""
BEFORE_S = 3.0
"""The readings of so long before the first one that is off are left out too: the chip follows its sleeve a little late."""
MOVED_SD_C = STIRRED_C[0][0]
"""Where a liquid that was moved twice would be: standard deviation about the line."""
AWAY_SD_C = 5.0
"""How far the readings go where something passes the probe, or where it hangs in air: standard deviation (this project's own choice)."""
SLOPE_MISFIT_C_PER_S = 0.001
"""What passes leaves something in the slope, too (this project's own choice)."""
LINE_SD_C = 0.5
"""What is less certain than this is no line that could be met again (this project's own choice)."""
PRIOR = 2.0
"""How many times likelier something passes the probe than that a liquid is moved twice within minutes (this project's own choice)."""
SURE = 0.7
"""Below this probability the readings stand."""
MISFIT_SD_C = 0.04
"""What passes leaves something in the liquid: standard deviation, C (this project's own choice)."""
SHIFTED_S = 26.0
LEAST_SHIFT_C, SHIFT_SDS, GREATEST_SHIFT_C = 0.07, 1.0, 0.6
"""What a liquid does within half a minute: less than the first, or than this many standard deviations, is nothing; more than the last is
water poured in. Between them it may be layers that were mixed (tuned on this project's own liquids)."""
LAYERED_ONCE, LAYERED_AGAIN, LAYERED_SHARE = 0.4, 0.9, 0.8
"""How likely it is layers, where that was seen once or in both directions, and where it was seen again; and which share of such a shift
the probe was off, root mean square from one mixing to the next (this project's own choice)."""
CLOCK_S, LEAST_PERIOD_S = 8.0, 45.0
"""Mixing that comes by the clock comes so exactly, and no oftener than this (this project's own choice)."""
LAYERED_MEAN, LAYERED_SD_C = 0.4, 0.1
"""Which share of it the probe was off on average: layers part about evenly, and half a minute of their parting is in the shift too;
and how well the line must have been known by then for the mean to move, standard deviation (tuned on this project's own liquids)."""


@dataclass(frozen=True, slots=True)
class Excursion:
    """Readings from `from_t_s` to before `until_t_s` were not the liquid's, with this probability; `off_c`: the greatest distance."""

    from_t_s: float
    until_t_s: float
    off_c: float
    probability: float


@dataclass(frozen=True, slots=True)
class Seen:
    """What the readings make of the liquid now: C and C/s, with variances and covariance. Of the slope nothing where its variance is
    infinite."""

    celsius: float
    variance: float
    slope_c_per_s: float = 0.0
    slope_variance: float = math.inf
    covariance: float = 0.0


@dataclass(frozen=True, slots=True)
class _Shift:
    """Since then the liquid has gone on from elsewhere: by how much, and how well the line from before was known by then, C."""

    t_s: float
    by_c: float
    sd_c: float


class LookingBack:
    """Asks every few seconds whether something has passed the followed probe, and sets it aside. An estimator has one."""

    def __init__(self) -> None:
        self._looked_t_s = self._newest_t_s = 0.0
        self._been_elsewhere = False
        self._shifts: list[_Shift] = []

    def spread_c(self, since_t_s: float) -> float:
        """By how much the liquid about the probe may have been off the whole of it since then: standard deviation, C."""
        shifts_c, again = self._shifted_c(since_t_s)
        if not shifts_c:
            return 0.0
        return LAYERED_SHARE * math.sqrt((LAYERED_AGAIN if again else LAYERED_ONCE) * math.fsum(by * by for by in shifts_c) / len(shifts_c))

    def layered_c(self, since_t_s: float) -> float:
        """By how much the whole was warmer than the liquid about the probe since then, on average, C; 0 unless layers have shown twice, and
        where the probe has been elsewhere: it shifts, too, as it comes back."""
        shifts_c, again = self._shifted_c(since_t_s, LAYERED_SD_C)
        if not again or self._been_elsewhere or not self._by_the_clock(since_t_s):
            return 0.0
        return LAYERED_AGAIN * LAYERED_MEAN * math.fsum(shifts_c) / len(shifts_c)

    def _by_the_clock(self, begin_t_s: float) -> bool:
        """Whether the shifts have come at multiples of one time since the begin, as hands that mix make them."""
        times_s = [shift.t_s - begin_t_s for shift in self._shifts if shift.t_s >= begin_t_s]
        periods_s = [times_s[0] / n for n in (1, 2)]
        return any(all(abs(t - p * round(t / p)) <= CLOCK_S for t in times_s) for p in periods_s if p > LEAST_PERIOD_S)

    def _shifted_c(self, since_t_s: float, sd_c: float = math.inf) -> tuple[list[float], bool]:
        """The shifts since then that are known at least so well, and whether there are several, all the same way."""
        shifts_c = [shift.by_c for shift in self._shifts if shift.t_s >= since_t_s and shift.sd_c <= sd_c]
        return shifts_c, len(shifts_c) > 1 and all(by * shifts_c[0] > 0.0 for by in shifts_c)

    def look(self, probe: ProbeTrust, t_s: float, replay: Replay, source: Source) -> list[TrustChange]:
        """After a reading of the followed probe at `t_s`. What was set aside is told as a loss and a return, both over."""
        bank, name = replay.moment.bank, probe.model.name
        odd = bank.mixing and bank.weight("calm") < CALM_AGAIN
        if t_s < self._looked_t_s + LOOK_EVERY_S or replay.settling or odd or not probe.register.known:
            return []
        self._looked_t_s = t_s
        x, c = replay.mean.x, replay.mean.c
        slope_var = c[SLOPE][SLOPE] + 2.0 * c[SLOPE][TRANSIENT] + c[TRANSIENT][TRANSIENT]
        liquid = Seen(x[T], c[T][T], x[SLOPE] + x[TRANSIENT], slope_var, c[T][SLOPE] + c[T][TRANSIENT])
        following = replay.following
        back = following is not None and following.different
        self._been_elsewhere = self._been_elsewhere or back
        if following is not None and back and following.since_t_s > t_s - LOOK_BACK_S:
            liquid = Seen(x[T], c[T][T])  # a probe that has come back from elsewhere is still settling, and tells no slope
        found = excursion(replay, name, probe.model.lag_s, t_s, replay.rivalries.starts(t_s - LOOK_BACK_S), liquid)
        if found is None:
            self._note_shift(replay, probe.model.lag_s)
            return []
        self._been_elsewhere = True
        return set_aside(found, replay, name, source)

    def met_again(self, probe: ProbeTrust, t_s: float, replay: Replay) -> Excursion | None:
        """After a reading at `t_s` of a probe that was taken for one in air: is it back on the line that it had left before that, so that
        all of it was one excursion, and it is in the liquid now?"""
        odd_t_s = probe.returning.odd_t_s
        if odd_t_s is None or t_s < max(self._looked_t_s, odd_t_s) + LOOK_EVERY_S or not probe.register.known:
            return None
        self._looked_t_s = t_s
        newest = [r.celsius for r in replay.readings if r.probe == probe.model.name and r.t_s > t_s - BACK_S]
        liquid = Seen(math.fsum(newest) / len(newest), replay.moment.reading_variance / len(newest))
        return excursion(replay, probe.model.name, probe.model.lag_s, t_s, [odd_t_s], liquid)

    def _note_shift(self, replay: Replay, lag_s: float) -> None:
        """Where something was odd and is over, the liquid may have gone on from elsewhere."""
        since_t_s = next(iter(replay.rivalries.starts(self._newest_t_s)), None)
        if since_t_s is None or replay.moment.t < since_t_s + SHIFTED_S:
            return
        self._newest_t_s = since_t_s
        before, following = next((s for s in reversed(replay.snapshots) if s.t < since_t_s), None), replay.following
        if before is None or before.drift != "liquid" or before.attach or following is None or before.probe != following.probe:
            return
        if before.step_c > QUANTUM_C:
            return  # its codes are no shifts
        line, now = _Line(before, lag_s), replay.moment
        by_c = replay.mean.x[T] - line.at(now.t)
        sd_c = math.sqrt(line.variance(now.t) + replay.mean.c[T][T])
        if max(LEAST_SHIFT_C, SHIFT_SDS * sd_c) < abs(by_c) < GREATEST_SHIFT_C:
            self._shifts.append(_Shift(since_t_s, by_c, sd_c))


def set_aside(found: Excursion, replay: Replay, probe: str, source: Source) -> list[TrustChange]:
    """Compute without these readings. What is told of that: a loss and a return, both over."""
    replay.set_aside(probe, found.from_t_s, found.until_t_s, found.probability)
    side = "above" if found.off_c > 0 else "below"
    why = f"for {found.until_t_s - found.from_t_s:.0f} s up to {abs(found.off_c):.1f} C {side} its line, then back on it"
    return [
        TrustChange(probe, False, why, found.from_t_s, "held", False),
        TrustChange(probe, True, "back on its line", found.until_t_s, source, False),
    ]


def excursion(
    replay: Replay, probe: str, lag_s: float, t_s: float, starts_t_s: Sequence[float], liquid: Seen
) -> Excursion | None:
    """The excursion of `probe` that began to look odd at one of `starts_t_s` and is over by `t_s`, if there is one. `liquid`: now."""
    for since_t_s in starts_t_s:
        before = next((s for s in reversed(replay.snapshots) if s.t < since_t_s), None)
        if before is None or before.drift != "liquid" or before.attach or before.probe != probe:
            continue
        heard = [r for r in replay.readings if r.t_s > before.t and r.probe == probe]
        found = _since(before, heard, lag_s, t_s, liquid)
        if found is not None:
            return found
    return None


def _since(before: Moment, heard: list[GoodReading], lag_s: float, t_s: float, liquid: Seen) -> Excursion | None:
    line = _Line(before, lag_s)
    offs = [(r.t_s, r.celsius - line.probe_at(r.t_s)) for r in heard]
    noise = before.reading_variance
    edge_c = max(EDGE_C, before.step_c)
    out = [(t, off) for t, off in offs if abs(off) > edge_c and abs(off) > EDGE_SDS * math.sqrt(noise + line.variance(t))]
    if not out or t_s - out[-1][0] < BACK_S or line.variance(t_s) > LINE_SD_C**2:
        return None
    until_t_s = next((t for t, _ in offs if t > out[-1][0]), math.inf)
    off_c = max((off for _, off in out), key=abs)
    if abs(off_c) < max(OFF_C, OFF_STEPS * before.step_c, OFF_SDS * math.sqrt(noise + line.variance(t_s))):
        return None
    apart, var = line.apart(t_s, liquid)
    moved = var + MOVED_SD_C**2
    odds = PRIOR * _by_size(off_c) * math.sqrt(moved / var) * math.exp(-0.5 * apart * apart * (1.0 / var - 1.0 / moved))
    probability = odds / (1.0 + odds)
    if probability < SURE:
        return None
    return Excursion(max(out[0][0] - BEFORE_S, heard[0].t_s), until_t_s, off_c, probability)


def _by_size(off_c: float) -> float:
    """How many times likelier readings go so far where something passes than where water is stirred in; 1 for the least."""

    def odds(c: float) -> float:
        stirred = math.fsum(share / sd * math.exp(-0.5 * (c / sd) ** 2) for sd, share in STIRRED_C)
        return math.exp(-0.5 * (c / AWAY_SD_C) ** 2) / stirred

    return odds(off_c) / odds(0.0)


class _Line:
    """How a calm liquid and its probe go on from a moment."""

    def __init__(self, before: Moment, lag_s: float) -> None:
        self._t_s, self._lag_s = before.t, lag_s
        self._track = before.bank.mean()

    def at(self, t_s: float) -> float:
        """The liquid, C."""
        x, step = self._track.x, liquid_step(t_s - self._t_s, self._lag_s)
        return x[T] + step.by_slope * x[SLOPE] + step.by_transient * x[TRANSIENT]

    def probe_at(self, t_s: float) -> float:
        """Its probe, C."""
        step = liquid_step(t_s - self._t_s, self._lag_s)
        t, s, u, p, _ = self._track.x
        return step.p_probe * p + step.p_liquid * t + step.p_slope * s + step.p_transient * u

    def apart(self, t_s: float, liquid: Seen) -> tuple[float, float]:
        """How far the liquid is from the line, C, and the variance of that, C^2, where it has its slope: a line that met the liquid because
        it rose on and on is not met."""
        apart, var = liquid.celsius - self.at(t_s), self.variance(t_s) + liquid.variance + MISFIT_SD_C**2
        if math.isinf(liquid.slope_variance):
            return apart, var
        h, x, c = t_s - self._t_s, self._track.x, self._track.c
        step = liquid_step(h, self._lag_s)
        b, d = step.by_transient, step.transient_keep
        slope_var = c[SLOPE][SLOPE] + 2.0 * d * c[SLOPE][TRANSIENT] + d * d * c[TRANSIENT][TRANSIENT] + NOISES["calm"].slope * h
        both = c[T][SLOPE] + h * c[SLOPE][SLOPE] + b * c[SLOPE][TRANSIENT] + NOISES["calm"].slope * h * h / 2.0
        both += d * (c[T][TRANSIENT] + h * c[SLOPE][TRANSIENT] + b * c[TRANSIENT][TRANSIENT]) + liquid.covariance
        share = both / (slope_var + liquid.slope_variance + SLOPE_MISFIT_C_PER_S**2)
        return apart - share * (liquid.slope_c_per_s - x[SLOPE] - d * x[TRANSIENT]), max(var - share * both, liquid.variance)

    def variance(self, t_s: float) -> float:
        """Of the liquid, C^2."""
        h, c = t_s - self._t_s, self._track.c
        b = liquid_step(h, self._lag_s).by_transient
        var = c[T][T] + h * h * c[SLOPE][SLOPE] + b * b * c[TRANSIENT][TRANSIENT]
        var += 2.0 * (h * c[T][SLOPE] + b * c[T][TRANSIENT] + h * b * c[SLOPE][TRANSIENT])
        return max(var, 0.0) + NOISES["calm"].slope * h**3 / 3.0
