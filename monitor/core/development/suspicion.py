"""Does the followed probe still measure the liquid? Surprising readings start rival models, which may find the probe in air.

As long as nothing is odd one calm model runs alone, which is cheap. `Suspicion` watches by how much its forecasts miss the readings.
When they miss by too much, the rivals run from a little before. While they run, air is weighed against a moving liquid (`histories`)
whenever it looks likely; when all is calm again the rivalry ends.
Tests: tests/core/development/test_suspicion.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.development.coarse import points
from monitor.core.development.filter import AIR, AIR_LAG_S, PROBE, SLOPE, TRANSIENT, T
from monitor.core.development.histories import lifted, weigh
from monitor.core.development.lifting import Base, Lifting, weigh_lifting
from monitor.core.development.moment import Moment
from monitor.core.development.probe_trust import ProbeTrust, Verdict
from monitor.core.development.replay import RERUN_S, GoodReading, Replay
from monitor.core.development.rivals import LIQUID_KINDS

NOT_LIQUID_C = 30.0
NOT_LIQUID_NOISE_C = 1.0
"""A reading that could only come from a jump of the liquid by more than this, beside noise, is ignored (this project's own choice)."""
LEAP_C = 8.0
LEAP_NOISE_C = 0.3
LEAP_READINGS = 8
"""A code that stood for so many readings, followed by a leap greater than such a step of the liquid could cause, was an old one."""
LEAST_LAG_S = 0.1
"""Shorter lags count as this, which avoids a division by 0."""


def impossible(probe: ProbeTrust, reading: GoodReading, replay: Replay) -> bool:
    """Whether no jump of the liquid could have brought the followed probe to this reading."""
    reached = _reached(probe, reading, replay)
    return reached is not None and _off_c(reading, replay) > NOT_LIQUID_C * reached + NOT_LIQUID_NOISE_C


def was_old(probe: ProbeTrust, reading: GoodReading, replay: Replay) -> bool:
    """Whether the followed probe has repeated an old value until this reading."""
    reached = _reached(probe, reading, replay)
    if reached is None or probe.code.count_before < LEAP_READINGS:
        return False
    return _off_c(reading, replay) > LEAP_C * reached + LEAP_NOISE_C


def _reached(probe: ProbeTrust, reading: GoodReading, replay: Replay) -> float | None:
    """The share of a jump of the liquid that the probe can show by this reading. None where that is not known."""
    ahead = reading.t_s - replay.moment.t
    if replay.moment.attach or ahead < 0:
        return None
    return 1.0 - math.exp(-max(ahead, 1.0) / max(probe.model.lag_s, LEAST_LAG_S))


def _off_c(reading: GoodReading, replay: Replay) -> float:
    return abs(reading.celsius - replay.mean.x[PROBE])


SUSPICION_SIGMA = 3.5
DRIFT_SIGMA = 3.0
SMOOTHING = 0.25
"""A single surprise beyond the first, or their exponentially smoothed mean beyond the second (each in its own standard deviations),
lets the rivals run."""
LOOK_BACK_S = 6.0
"""They start so long before: whatever is odd began a little earlier."""
RIVALRY_S = (20.0, 240.0)
"""Rivals run at least and at most this long."""
CALM_AGAIN = 0.9
AIR_GONE = 0.003
"""The rivalry ends when calm is at least, and air at most, this likely."""
AIR_LIKELY = 0.5
AIR_READINGS = 3
AIR_OFF_C = 0.3
"""Air is weighed against a moving liquid when its model has been this likely for this many readings and the probe is this far off."""
MOST_READINGS_BETWEEN = 15
"""Each time the weighing is undecided, the next one comes after more readings, at most this many."""
AIR_LOOK_BACK_S = 40.0
"""Air may have begun this long before now, or earlier if the rivals have run for longer."""
NEWEST_ONSET_S = 3.0
"""Air that began less than this before now cannot be recognised yet."""
AIR_LAGS = 1.25
"""Only after about one lag of the probe can a lift into air be told from a step of the liquid; no verdict before that."""
AIR_AHEAD = 1.6
AIR_OUT = 4.0
AIRLESS_S = 40.0
"""Natural logarithms: the probe is in air when that is exp(1.6), five times, likelier than a moving liquid. When a moving liquid is exp(4),
fifty times, likelier, air is ruled out, and the other rivals go on for at most so long. All tuned on this project's own liquids."""


LOOK_EVERY_S = 4.0
CURVE_S, SHORTEST_CURVE_S, LONGEST_CURVE_S = 42.0, 10.0, 160.0
YOUNGEST_ONSET_S = 3.0
"""While rivals run the curve since the newest calm moment 42 s ago or more is looked at every 4 s (of 10 s at least, where the probe has
not been followed for longer, of 160 s at most); what began in the last 3 s cannot be told yet."""
ODD_S = (10.0, 40.0)
"""From so long before the rivals were let run to so long after, no moment counts as calm."""
VOTE_S = 9.0
"""What the curve said last speaks for so long against the model of a probe in air, which knows but one way of hanging there."""
ODD_BEFORE_S = 6.0
"""What was odd for so long before that was believed, and may have been no liquid either (this project's own choice)."""
SETTLED_S = 30.0
"""What was odd sooner after the probe was first believed is its settling: no calm moment before it tells a curve from it."""
STAYED_AHEAD, STAYED_LOOKS = 2.0, 10
"""Where the curve has said so many times running that a liquid that has moved is exp(2) times likelier, air is ruled out (this project's
own choice)."""
OPEN_AHEAD, ASK_EVERY_S = -3.0, 8.0
"""A rivalry that ends while a lifted probe is likelier than exp(-3) by the curve leaves the question open: the curve is then looked at
every 8 s (this project's own choice)."""
LIFTED_OFF_C = 0.4
LIFTED_AHEAD = (5.0, 3.0)
"""Natural logarithms: lifted if that is exp(5) times likelier than a liquid that has moved, or exp(3) times twice running (tuned on this
project's own liquids)."""


def _calm_before(replay: Replay, t_s: float, opened_t_s: float) -> Moment | None:
    """The newest calm moment before `t_s`, or else the oldest since a probe has been followed. Not one about the time at which something
    began to look odd: that may lie in the midst of a movement."""
    found = None
    for one in reversed(replay.snapshots):
        if one.drift != "liquid" or one.attach or replay.moment.t - one.t > LONGEST_CURVE_S:
            break
        doubtful = opened_t_s - ODD_S[0] < one.t < opened_t_s + ODD_S[1]
        if not doubtful and (not one.bank.mixing or one.bank.weight("calm") > CALM_AGAIN):
            found = one
            if one.t < t_s:
                break
    return found if found is not None and replay.moment.t - found.t >= SHORTEST_CURVE_S else None


def _calm_before_it(probe: ProbeTrust, opened_t_s: float, replay: Replay) -> Moment | None:
    """The newest moment of this probe that is well before something began to look odd."""
    before_t_s = opened_t_s - ODD_S[0]
    found = next((s for s in reversed(replay.snapshots) if s.t < before_t_s and s.drift == "liquid" and not s.attach), None)
    return found if found is not None and found.probe == probe.model.name else None


def _end_rivalries(since_t_s: float, replay: Replay) -> float | None:
    """End the rivalries that run. When they had begun, if that was well before the probe is taken to have been lifted."""
    began = replay.rivalries.drop_open()
    return began if began is not None and began < since_t_s - LOOK_BACK_S - ODD_BEFORE_S else None


def _heard_since(replay: Replay, start: Moment, probe: str) -> list[tuple[float, float, bool]]:
    """What this probe and the room's have said since then: (t s, C, whether the room's)."""
    return [(r.t_s, r.celsius, r.role == "room") for r in replay.readings if r.t_s > start.t and (r.probe == probe or r.role == "room")]


def _of_the_probe(heard: Sequence[tuple[float, float, bool]]) -> list[tuple[float, float]]:
    return [(t, celsius) for t, celsius, of_room in heard if not of_room]


def _base(start: Moment) -> Base:
    track = start.bank.mean()
    known = [(track.x[i], math.sqrt(track.c[i][i])) for i in (PROBE, SLOPE, TRANSIENT)]
    return Base(start.t, *known)


def _curve(base: Base, mine: Sequence[tuple[float, float]], onsets_s: Sequence[float], lag_s: float, now: Moment) -> Lifting | None:
    """What the probe's curve says. `now` knows the room and the register."""
    return weigh_lifting(base, points(mine, now.step_c, now.noise), onsets_s, lag_s, now.room_c if now.room else None)


@dataclass(slots=True)
class Question:
    """Whether the probe has been lifted since a calm moment, while the curve cannot tell: `ahead` as of a `Lifting`. `since_t_s`: when it
    had begun to look odd."""

    start: Moment
    base: Base
    since_t_s: float
    ahead: float
    asked_t_s: float

    def doubt_c(self, t_s: float, celsius: float) -> float:
        """By how much a liquid of this temperature may be another one: standard deviation, C. If it was lifted, it goes on as before."""
        share = 1.0 / (1.0 + math.exp(-self.ahead))
        return math.sqrt(share * (1.0 - share)) * abs(celsius - self.base.at(t_s))


class Suspicion:
    """Watches the probe that is followed, whichever that is. An estimator has one."""

    def __init__(self) -> None:
        self._smooth_sigma = 0.0
        self._opened_t_s = 0.0
        self._airless_t_s = 0.0
        self._air_count = self._air_tries = 0
        self._looked_t_s = 0.0
        self._ahead = 0.0
        self._stayed_t_s = -math.inf
        self._stayed_looks = 0
        self.question: Question | None = None
        """What the rivals have left undecided."""

    @property
    def odd_since_t_s(self) -> float:
        """When the rivals were let run for the last time."""
        return self._opened_t_s

    def judge(self, probe: ProbeTrust, reading: GoodReading, sigma: float, replay: Replay) -> Verdict | None:
        """After the followed probe's reading has been taken, with its surprise `sigma`: a verdict if it is no longer to be believed."""
        verdict = self._ask_on(probe, reading, replay)
        if verdict is not None:
            return verdict
        if replay.moment.bank.mixing:
            return self._look_whether_lifted(probe, reading, replay) or self._among_rivals(probe, reading, replay)
        self._watch(reading.t_s, sigma, replay)
        return probe.code.stuck(reading.t_s, probe.model.lag_s, replay.snapshots)

    def _watch(self, t_s: float, sigma: float, replay: Replay) -> None:
        self._smooth_sigma += SMOOTHING * (sigma - self._smooth_sigma)
        odd = abs(sigma) > SUSPICION_SIGMA or abs(self._smooth_sigma) > DRIFT_SIGMA * math.sqrt(SMOOTHING / (2.0 - SMOOTHING))
        if odd and t_s - replay.first_belief_t_s > RERUN_S[0]:
            replay.rivalries.open(t_s - LOOK_BACK_S)
            self._opened_t_s = self._looked_t_s = t_s
            self._ahead = self._smooth_sigma = 0.0
            self._stayed_looks = 0
            self._air_count = self._air_tries = 0
            replay.run_again(t_s - LOOK_BACK_S)

    def _look_whether_lifted(self, probe: ProbeTrust, reading: GoodReading, replay: Replay) -> Verdict | None:
        """Every few seconds while rivals run: does the curve say that the probe has been lifted? Certain at once, or twice running."""
        t_s = reading.t_s
        if t_s - self._looked_t_s < LOOK_EVERY_S or replay.settling:
            return None
        self._looked_t_s = t_s
        start = _calm_before(replay, t_s - CURVE_S, self._opened_t_s)
        if start is None:
            return None
        base = _base(start)
        if abs(reading.celsius - base.at(t_s)) < (AIR_OFF_C if replay.moment.bank.weight("air") > AIR_LIKELY else LIFTED_OFF_C):
            return None
        heard = _heard_since(replay, start, probe.model.name)
        mine = _of_the_probe(heard)
        onsets_s = [t for t, _ in mine if t <= t_s - YOUNGEST_ONSET_S]
        lifting = _curve(base, mine, onsets_s, probe.model.lag_s, replay.moment)
        if lifting is None:
            if onsets_s:
                self._stayed_t_s, self._ahead = t_s, 0.0  # it hangs in no air that is known
            return None
        before, self._ahead = self._ahead, lifting.ahead
        self._stayed_looks = self._stayed_looks + 1 if lifting.ahead < -STAYED_AHEAD else 0
        if lifting.ahead < 0.0:
            self._stayed_t_s = t_s
            replay.moment.bank.cap("air", 1.0 / (1.0 + math.exp(-lifting.ahead)))
        if self._stayed_looks >= STAYED_LOOKS and replay.rivalries.newest_kinds != LIQUID_KINDS:
            self._rule_out_air(t_s, replay)
        if lifting.ahead < LIFTED_AHEAD[0] and min(before, lifting.ahead) < LIFTED_AHEAD[1]:
            return None
        return self._lifted(start, heard, lifting, reading, replay)

    def _lifted(
        self, start: Moment, heard: Sequence[tuple[float, float, bool]], lifting: Lifting, reading: GoodReading, replay: Replay
    ) -> Verdict:
        self.question = None
        fell = 60.0 * (lifting.towards_c - reading.celsius) / lifting.lag_s
        why = f"reading {'fell' if fell < 0 else 'rose'} {abs(fell):.1f} C a minute, like a probe in air"
        since = max((t for t, _ in _of_the_probe(heard) if t <= lifting.since_t_s), default=start.t)
        return Verdict(False, since, why, histories=lifted(start, heard, lifting), odd_t_s=_end_rivalries(since, replay))

    def _leave_open(self, probe: ProbeTrust, t_s: float, replay: Replay) -> None:
        """A rivalry ends. Where the curve has just found that the probe may have been lifted, that stays a question."""
        if self.question is not None or t_s - self._looked_t_s > VOTE_S or self._ahead == 0.0 or self._ahead < OPEN_AHEAD:
            return
        start = _calm_before_it(probe, self._opened_t_s, replay)
        if start is not None and self._opened_t_s - replay.first_belief_t_s > SETTLED_S:
            self.question = Question(start, _base(start), self._opened_t_s - LOOK_BACK_S, self._ahead, t_s)

    def _ask_on(self, probe: ProbeTrust, reading: GoodReading, replay: Replay) -> Verdict | None:
        """What the rivals have left open: every few seconds the curve is looked at, until it decides or has gone on for too long."""
        one, t_s = self.question, reading.t_s
        if one is None or t_s < one.asked_t_s + ASK_EVERY_S or t_s - one.start.t > LONGEST_CURVE_S:
            return None
        one.asked_t_s = t_s
        heard = _heard_since(replay, one.start, probe.model.name)
        mine = _of_the_probe(heard)
        onsets_s = [t for t, _ in mine if t <= t_s - YOUNGEST_ONSET_S]
        lifting = _curve(one.base, mine, onsets_s, probe.model.lag_s, replay.moment)
        if lifting is None or lifting.ahead < OPEN_AHEAD or abs(reading.celsius - one.base.at(t_s)) < AIR_OFF_C:
            self.question = None
            return None
        before, one.ahead = one.ahead, lifting.ahead
        if lifting.ahead < LIFTED_AHEAD[0] and min(before, lifting.ahead) < LIFTED_AHEAD[1]:
            return None
        return self._lifted(one.start, heard, lifting, reading, replay)

    def holds_to_it(self, probe: ProbeTrust, t_s: float, replay: Replay) -> bool:
        """Where the filters would take a verdict of air back: whether the probe's curve does not let them. They know but one way of hanging
        in air, and a wet probe goes quicker. Where the curve is sure enough they are not asked again."""
        if t_s < self._looked_t_s + LOOK_EVERY_S:
            return True
        self._looked_t_s = t_s
        start = _calm_before_it(probe, self._opened_t_s, replay)
        if start is None or t_s - start.t > LONGEST_CURVE_S:
            return False
        heard = _heard_since(replay, start, probe.model.name)
        mine = _of_the_probe(heard)
        lifting = _curve(_base(start), mine, [t for t, _ in mine if t <= t_s - YOUNGEST_ONSET_S], probe.model.lag_s, start)
        if lifting is None or lifting.ahead < -STAYED_AHEAD:
            return False
        if lifting.ahead > LIFTED_AHEAD[1]:
            probe.returning.was_lifted(lifted(start, heard, lifting))
        return True

    def _among_rivals(self, probe: ProbeTrust, reading: GoodReading, replay: Replay) -> Verdict | None:
        t_s, bank = reading.t_s, replay.moment.bank
        if not replay.rivalries.newest_kinds:
            bank.close()
            return None
        air = bank.weight("air")
        x = bank.track("air").x
        self._air_count = self._air_count + 1 if air > AIR_LIKELY and abs(x[PROBE] - x[T]) > AIR_OFF_C else min(self._air_count, 0)
        if self._air_count >= AIR_READINGS:
            self._air_tries += 1
            self._air_count = AIR_READINGS - min(1 + self._air_tries, MOST_READINGS_BETWEEN)
            verdict = self._weigh_air(probe, reading, replay)
            if verdict is not None:
                return verdict
        airless = replay.rivalries.newest_kinds == LIQUID_KINDS and t_s - self._airless_t_s > AIRLESS_S
        lasted = t_s - self._opened_t_s
        settled = self._opened_t_s - replay.first_belief_t_s > SETTLED_S
        doubted = settled and t_s - self._looked_t_s < VOTE_S and self._ahead > 0.0
        calm = replay.moment.bank.weight("calm") > CALM_AGAIN and air < AIR_GONE and not doubted
        if airless or (lasted > RIVALRY_S[0] and calm) or lasted > RIVALRY_S[1]:
            if not airless:
                self._leave_open(probe, t_s, replay)
            replay.end_rivalry(t_s)
        return None

    def _weigh_air(self, probe: ProbeTrust, reading: GoodReading, replay: Replay) -> Verdict | None:
        """Weigh both histories. If air is likelier, the probe is not to be believed since its last reading in the liquid."""
        t_s, name = reading.t_s, probe.model.name
        odd_t_s = min(self._opened_t_s, t_s - AIR_LOOK_BACK_S) - LOOK_BACK_S
        start = next((s for s in reversed(replay.snapshots) if s.t < odd_t_s and s.drift == "liquid"), None)
        if start is None or start.attach:
            return None
        histories = weigh(start, _heard_since(replay, start, name), odd_t_s, t_s - NEWEST_ONSET_S)
        if histories is None:
            return None
        if histories.liquid_ahead > AIR_OUT:
            self._rule_out_air(t_s, replay)
            return None
        if histories.liquid_ahead > -AIR_AHEAD or t_s - histories.since_t_s < AIR_LAGS * probe.model.lag_s:
            return None
        if t_s - self._stayed_t_s < VOTE_S:
            return None
        x = histories.air.bank.track("air").x
        fall = (x[AIR] - x[PROBE]) / AIR_LAG_S * 60.0
        word = "fell" if fall < 0 else "rose"
        why = f"reading {word} {abs(fall):.1f} C a minute, like a probe in air"
        since = max((r.t_s for r in replay.readings if r.t_s < histories.since_t_s and r.probe == name), default=start.t)
        return Verdict(False, since, why, histories=histories, odd_t_s=_end_rivalries(since, replay))

    def _rule_out_air(self, t_s: float, replay: Replay) -> None:
        self._airless_t_s = t_s
        replay.run_again(replay.rivalries.narrow(LIQUID_KINDS))
