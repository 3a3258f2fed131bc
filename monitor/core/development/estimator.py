"""From readings that lag, lie and go missing to development done, with an honest standard deviation.

One `Estimator` serves one session. The session tells it what passes (`read`, `advance`, `begin`) and asks (`temperature`,
`done`, `end`). It never reads a clock; times are session seconds. Which source it uses is the ladder of the contract, section 5; each
change of trust is returned once as a `TrustChange`. Whether a probe is believed: `probe_trust`, `suspicion`. What is computed, and
computed again: `replay`. Tests: tests/core/development/test_estimator.py, figures: tests/benchmarks/bench_estimator.py.
"""

from __future__ import annotations

import math
from dataclasses import replace

from monitor.core.development.beliefs import Beliefs, Done, End, FoundLag, ProbeModel, Temperature, TrustChange
from monitor.core.development.crosswatch import BathWatch
from monitor.core.development.excursion import LookingBack, set_aside
from monitor.core.development.filter import QUANTUM_C, SLOPE, TRANSIENT, T, Track
from monitor.core.development.forecast import expected, noise_variance, solve, systematic_variance
from monitor.core.development.handling import Handling
from monitor.core.development.held import held_slope
from monitor.core.development.in_part import InPart
from monitor.core.development.integral import simpson
from monitor.core.development.moment import Key, Segment
from monitor.core.development.probe_trust import LOST_S, ProbeTrust, Verdict
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.replay import KEEP_S, GoodReading, Replay
from monitor.core.development.rivals import LIQUID_KINDS
from monitor.core.development.sensitivity import standard_deviations, variance
from monitor.core.development.suspicion import LOOK_BACK_S, Suspicion, impossible, was_old
from monitor.core.probes.readings import DRY_UNTIL, STEPS_OF, Reading, Role, Source

DIRECT: tuple[Role, ...] = ("developer", "witness")
"""Roles of probes that measure the developer itself, the better first."""
FIRST_WAIT_S = 5.0
"""The vessel model waits this long for a probe in the developer that has not been read yet (this project's own choice)."""
CARRY_LATEST_S = 3.0
CARRY_BEHIND_S = 2.0
"""While no probe is followed, the moment is carried on once it is `CARRY_LATEST_S` old, to `CARRY_BEHIND_S` ago: a late reading may still
arrive."""
AIR_FIRST_S = 20.0
"""When the readings turn odd it is looked for so long whether the probe has been lifted, before the bath is asked (this project's own
choice)."""
FOUND_LOG = math.log(1.25)
"""A probe's lag that was found is told where it differs from the one that was told by a quarter (this project's own choice)."""
FALSE_LAG_LOG_SD = 0.15
"""Standard deviation of the logarithm of a vessel's lag that would have fitted: those that are tried lie a third apart (`crosswatch`), and
one film's bath is not another's (this project's own choice)."""
HANDLED_AHEAD_S = 600.0
"""A forecast takes a vessel as handled evenly, as it is over so many seconds (this project's own choice)."""
DRY_TOLD_S = 2.0
"""A probe that was dry for longer after the begin is told (this project's own choice)."""
BATH_ALONE = "the bath alone does not move the time: no lag of the vessel is learned and no probe is in the developer"


def _source(probe: ProbeModel) -> Source:
    return "developer" if probe.role == "developer" else "witness"


class Estimator:
    """One session's estimator. Give it events in order; ask it anything at the newest event's time or later.

    32 methods: each kind of source has its own ways of being gained and lost.
    """

    def __init__(self, beliefs: Beliefs) -> None:
        self._beliefs = beliefs
        self._models = {p.name: p for p in beliefs.probes}
        self._sds = standard_deviations(beliefs)
        trusts = [ProbeTrust(p) for p in beliefs.probes if p.role in DIRECT]
        self._ladder_order = sorted(trusts, key=lambda p: DIRECT.index(p.model.role))
        self._trusts = {p.model.name: p for p in trusts}
        self._ambient = beliefs.ambient_probe
        self._ambient_t_s: float | None = None
        self._ambient_told = False
        self._bath_told = False
        self._source: Source = "clock"
        self._believed_t_s: float | None = None
        self._replay = Replay(beliefs, self._sds)
        self._suspicion = Suspicion()
        self._looking_back = LookingBack()
        self._bath_watch = BathWatch()
        self._in_part = InPart()
        self._steps_c: dict[str, float] = {}
        self._stands_for: dict[str, str] = {}
        self._plain_begins_s: dict[int, float] = {}

    # What passes

    def read(self, reading: Reading) -> list[TrustChange]:
        """Take one reading of any probe, in the order of arrival. Bad ones count too: they may end a belief."""
        changes = self.advance(reading.t_s)
        model = self._models.get(reading.probe)
        if reading.quality != "good" or reading.celsius is None or model is None:
            return changes
        good = GoodReading(reading.t_s, model.name, model.role, reading.celsius)
        probe = self._trusts.get(model.name)
        if probe is not None and reading.raw_c is not None:
            step_c = probe.register.hear(reading.raw_c)
            if step_c is not None and self._replay.learn_step(model.name, step_c) and step_c != model.step_c:
                self._steps_c[model.name] = step_c
        if probe is None:
            return changes + self._beside(good)
        return changes + self._direct(probe, good) + self._step_told(probe, good.t_s)

    def advance(self, t_s: float) -> list[TrustChange]:
        """Time has passed, with or without readings: find probes that have gone silent."""
        replay = self._replay
        replay.reach(t_s)
        changes: list[TrustChange] = []
        for probe in self._ladder_order:
            since_t_s = replay.first_t_s if probe.last_good_t_s is None else probe.last_good_t_s
            quiet_s = replay.now_t_s - since_t_s
            if probe.believed and quiet_s > LOST_S:
                changes += self._lose(probe, Verdict(False, since_t_s, f"no reading for {LOST_S:.0f} s", silent=True))
            elif not probe.ever and not probe.told and quiet_s > (FIRST_WAIT_S if self._ambient_known() else LOST_S):
                probe.told = True
                changes += self._missing_from_start(probe, since_t_s, quiet_s)
        changes += self._ambient_stale()
        if replay.moment.drift != "liquid" and replay.now_t_s - replay.moment.t > CARRY_LATEST_S:
            replay.carry(replay.now_t_s - CARRY_BEHIND_S)
        return changes

    def begin(self, key: int, t_s: float, law: RateLaw | None, reference_c: float, handling: Handling | None = None) -> None:
        """Integral `key` counts from `t_s` on, which may lie ahead or in the past, but not before what is kept (`replay.KEEP_S`). A key
        begun again starts at 0. All keys that count at one time share one law; None counts plain seconds. `handling`: of a vessel in
        which there may be no probe."""
        if not self._replay.started:
            self._replay.reach(t_s)
        self.forget(key)
        if law is None:
            self._plain_begins_s[key] = t_s
        else:
            self._replay.begin(key, t_s, law, reference_c, handling)

    def forget(self, key: int) -> None:
        """Integral `key` is no longer asked for."""
        self._plain_begins_s.pop(key, None)
        self._replay.forget(key)

    # The ladder

    def _ambient_known(self) -> bool:
        return self._ambient_t_s is not None and self._replay.now_t_s - self._ambient_t_s <= LOST_S

    def _best_source(self, since_t_s: float) -> tuple[Source, Segment]:
        """The best source there is now, and what is to be followed from `since_t_s` on."""
        best = self._most_trusted()
        if best is not None:
            return _source(best.model), Segment(since_t_s, "liquid", best.model.name, best.model.lag_s)
        vessel = self._beliefs.vessel
        if vessel is not None and self._ambient_known():
            return "vessel model", Segment(since_t_s, "vessel", "", vessel.lag_s)
        measured = self._believed_t_s is not None
        slope = held_slope(self._replay.snapshots, self._replay.rivalries, since_t_s) if measured else 0.0
        return ("held" if measured or self._ambient_told else "clock"), Segment(since_t_s, "held", "", 0.0, slope)

    def _most_trusted(self) -> ProbeTrust | None:
        return next((p for p in self._ladder_order if p.believed), None)

    def _resettle(self, since_t_s: float, off_c: float = 0.0, moved_c: tuple[float, float] = (0.0, 0.0)) -> None:
        """Follow the best source there is, from `since_t_s` on. `off_c`: how far it is from what was believed; `moved_c`: by how much the
        liquid was warmer than that all the time."""
        self._source, segment = self._best_source(since_t_s)
        self._bath_watch.forget()
        self._suspicion.question = None
        current = self._replay.following
        if current is not None and (current.drift, current.probe) == (segment.drift, segment.probe):
            return
        self._replay.switch(replace(segment, different=segment.drift == "liquid" and current is not None, off_c=off_c, moved_c=moved_c))

    def _change(self, probe: str, verdict: Verdict, loss: bool) -> list[TrustChange]:
        return self._named([TrustChange(probe, verdict.believed, verdict.why, verdict.since_t_s, self._source, loss)])

    def _named(self, changes: list[TrustChange]) -> list[TrustChange]:
        """By the names that stand on the probes, which are the other's where two were exchanged."""
        return [replace(change, probe=self._stands_for.get(change.probe, change.probe)) for change in changes]

    def _lose(self, probe: ProbeTrust, verdict: Verdict) -> list[TrustChange]:
        probe.disbelieve(verdict)
        self._in_part.forget(probe.model.name)
        self._resettle(verdict.since_t_s, moved_c=verdict.moved_c)
        return self._change(probe.model.name, verdict, loss=True)

    def _gain(self, probe: ProbeTrust, verdict: Verdict, t_s: float) -> list[TrustChange]:
        if not any(p.ever for p in self._ladder_order):
            self._replay.first_belief(probe.model.name, t_s, from_vessel_model=self._source == "vessel model")
        probe.believe()
        if self._most_trusted() is probe:
            self._believed_t_s = t_s
            self._resettle(verdict.since_t_s, verdict.off_c)
        return self._change(probe.model.name, verdict, loss=False)

    def _missing_from_start(self, probe: ProbeTrust, since_t_s: float, quiet_s: float) -> list[TrustChange]:
        self._resettle(since_t_s)
        why = f"no reading for {quiet_s:.0f} s since the start"
        if self._source == "clock" and any(p.role == "bath" for p in self._beliefs.probes):
            self._bath_told = True
            why += "; " + BATH_ALONE
        elif self._source == "vessel model":
            self._ambient_told = True
        return self._change(probe.model.name, Verdict(False, since_t_s, why), loss=False)

    # Bath and room

    def _beside(self, reading: GoodReading) -> list[TrustChange]:
        """A reading of bath, room or wash."""
        is_ambient = self._ambient is not None and reading.probe == self._ambient.name
        if is_ambient and self._bath_watch.gone is not None:
            verdict = self._bath_watch.bath_is_back(reading.t_s, reading.celsius)
            if verdict is None:
                return []
            told = self._change(reading.probe, verdict, loss=False)
            return told + self._beside(reading)
        if reading.role == "room" or is_ambient or (reading.role == "bath" and self._ambient is not None):
            self._replay.read(reading)
        if reading.role == "room":
            for probe in self._ladder_order:
                probe.returning.read_room(reading.celsius)
        if is_ambient:
            return self._ambient_heard(reading)
        if reading.role == "bath" and not self._ladder_order and not self._bath_told and self._ambient is None:
            self._bath_told = True
            return self._change(reading.probe, Verdict(False, reading.t_s, BATH_ALONE), loss=False)
        return []

    def _ambient_heard(self, reading: GoodReading) -> list[TrustChange]:
        returned = self._ambient_t_s is None or reading.t_s - self._ambient_t_s > LOST_S
        self._ambient_t_s = reading.t_s
        waiting = any(not p.ever and not p.told for p in self._ladder_order)
        if not returned or waiting or self._most_trusted() is not None:
            return []
        self._ambient_told = True
        self._resettle(reading.t_s)
        verdict = Verdict(True, reading.t_s, f"{reading.role} read; the vessel's lag is known")
        return self._change(reading.probe, verdict, loss=False)

    def _ambient_stale(self) -> list[TrustChange]:
        if self._source != "vessel model" or self._ambient is None or self._ambient_t_s is None or self._ambient_known():
            return []
        self._resettle(self._ambient_t_s)
        return self._change(self._ambient.name, Verdict(False, self._ambient_t_s, f"no reading for {LOST_S:.0f} s"), loss=True)

    # Probes in the developer or in the witness vessel

    def _direct(self, probe: ProbeTrust, reading: GoodReading) -> list[TrustChange]:
        probe.code.hear(reading.t_s, reading.celsius)
        replay, moment = self._replay, self._replay.moment
        if probe.believed and moment.probe == probe.model.name and moment.drift == "liquid":
            return self._followed(probe, reading)
        probe.last_good_t_s = reading.t_s
        replay.keep(reading)
        if not probe.ever:
            verdict = probe.first_readings.hear(reading.t_s)
            return [] if verdict is None else self._gain(probe, verdict, reading.t_s)
        liquid_c = replay.liquid_at(reading.t_s)
        if probe.believed:
            probe.second.hear(reading.t_s, reading.celsius, moment.reading_variance, probe.model.lag_s)
            apart_sd_c = math.hypot(*(p.model.comparison_sd_c for p in self._ladder_order[:2]))
            verdict = probe.second.differs(reading.t_s, liquid_c, apart_sd_c)
            return [] if verdict is None else self._lose(probe, verdict)
        verdict = self._beside_bath(probe, reading.t_s)
        if verdict is not None:
            return self._told_by_bath(probe, verdict)
        found = self._looking_back.met_again(probe, reading.t_s, replay)
        if found is not None:
            self._gain(probe, Verdict(True, found.from_t_s, "back on its line"), reading.t_s)
            return self._named(set_aside(found, replay, probe.model.name, self._source))
        histories = probe.returning.hear(reading, probe.model, moment)
        liquid_sd_c = math.sqrt(replay.mean.c[T][T])
        better = any(p.believed for p in self._ladder_order[: self._ladder_order.index(probe)])
        verdict = probe.returning.believed_again(reading.t_s, histories, probe.code.moved, liquid_c, liquid_sd_c, better, probe.barred)
        if verdict is None:
            return []
        if verdict.taken_back and self._suspicion.holds_to_it(probe, reading.t_s, replay):
            return []
        if verdict.liquid_moved:
            replay.rivalries.open(verdict.since_t_s - LOOK_BACK_S, reading.t_s, LIQUID_KINDS)
        return self._gain(probe, verdict, reading.t_s)

    def _followed(self, probe: ProbeTrust, reading: GoodReading) -> list[TrustChange]:
        """A reading of the followed probe: into the filter, then judged."""
        replay = self._replay
        if impossible(probe, reading, replay):
            return []
        if was_old(probe, reading, replay):
            replay.leap(reading.celsius)
        probe.last_good_t_s = self._believed_t_s = max(reading.t_s, probe.last_good_t_s or reading.t_s)
        sigma = replay.read_followed(reading)
        verdict = self._suspicion.judge(probe, reading, sigma, replay)
        if verdict is None and self.odd_for_s(reading.t_s) >= AIR_FIRST_S:
            verdict = self._beside_bath(probe, reading.t_s)
        if verdict is not None:
            return self._told_by_bath(probe, verdict)
        found = replay.settle(probe.as_told, reading.t_s)
        if found is not None:
            probe.learn_lag(found.lag_s, found.lag_log_sd)
        told = self._in_part_told(probe, reading.t_s) + self._dry_told(probe)
        return told + self._named(self._looking_back.look(probe, reading.t_s, replay, self._source))

    def _in_part_told(self, probe: ProbeTrust, t_s: float) -> list[TrustChange]:
        """That the followed probe counts in part, or whole again; while nothing develops nobody asks."""
        verdict = self._in_part.look(probe.model.name, t_s, self._moved_c()) if self._replay.keys else None
        return [] if verdict is None else self._change(probe.model.name, verdict, loss=False)

    def _dry_told(self, probe: ProbeTrust) -> list[TrustChange]:
        """That the developer reached the followed probe late."""
        found = self._replay.found_dry(probe.model.name)
        if found is None or found[1] - found[0] <= DRY_TOLD_S:
            return []
        why = f"{DRY_UNTIL}{found[1] - found[0]:.0f} s after the begin; its readings count from there"
        return self._change(probe.model.name, Verdict(True, found[1], why), loss=False)

    def _step_told(self, probe: ProbeTrust, t_s: float) -> list[TrustChange]:
        """The step that its register turned out to have, once it is believed."""
        if not probe.believed or probe.model.name not in self._steps_c:
            return []
        step_c = self._steps_c.pop(probe.model.name)
        like = "like a sound one" if step_c <= QUANTUM_C else f"a sound one moves in steps of {QUANTUM_C:g} C"
        why = f"{STEPS_OF}{step_c:g} C; {like}"
        return self._change(probe.model.name, Verdict(True, t_s, why), loss=False)

    def _beside_bath(self, probe: ProbeTrust, t_s: float) -> Verdict | None:
        """Does the bath, by the vessel's learned lag, say that the probe in the developer, or in the witness, is wrong? The witness is a
        vessel like it. The bath is asked about the best of them."""
        vessel, ambient = self._beliefs.vessel, self._ambient
        if vessel is None or ambient is None or ambient.role != "bath" or not self._ambient_known():
            return None
        if probe is not (self._most_trusted() or self._ladder_order[0]):
            return None
        if not self._replay.keys or self._replay.settling or not self._bath_watch.due(t_s):
            return None  # before the begin it may hang anywhere
        return self._bath_watch.look(self._replay, probe.model, ambient, vessel)

    def _told_by_bath(self, probe: ProbeTrust, verdict: Verdict) -> list[TrustChange]:
        """The bath has been asked, and one of the two probes is wrong."""
        if verdict.exchanged:
            return self._exchange(probe, verdict)
        if not verdict.of_bath:
            return self._lose(probe, verdict)
        assert self._ambient is not None
        self._ambient_t_s = None  # the vessel has no bath to follow until its probe is back
        return self._change(self._ambient.name, verdict, loss=False)

    def _exchange(self, probe: ProbeTrust, verdict: Verdict) -> list[TrustChange]:
        """The probe of developer or witness hangs in the bath, the bath's in its vessel: each is taken for the other, from the start."""
        mine, bath = probe.model, self._ambient
        assert bath is not None
        developer = replace(bath, name=mine.name, role=mine.role, lag_s=bath.lag_s or mine.lag_s)
        self._ambient = replace(mine, name=bath.name, role=bath.role)
        self._models[mine.name], self._models[bath.name] = self._ambient, developer
        self._sds[mine.name], self._sds[bath.name] = self._sds[bath.name], self._sds[mine.name]
        probe.is_another(developer)
        self._replay.exchange(developer, self._ambient)
        self._source = _source(developer)
        self._in_part.forget(mine.name)
        self._steps_c.clear()
        told = self._change(mine.name, verdict, loss=True)
        self._stands_for = {mine.name: bath.name, bath.name: mine.name}
        return told

    # What is asked

    def temperature(self, t_s: float) -> Temperature:
        """The developer's temperature at `t_s` (not before the newest event)."""
        moment, track = self._replay.moment, self._replay.mean
        ahead = max(t_s - moment.t, 0.0)
        step = moment.step(ahead)
        x, c = track.x, track.c
        celsius = step.keep * x[T] + step.toward + step.by_slope * x[SLOPE] + step.by_transient * x[TRANSIENT]
        k, b, u = step.keep, step.by_slope, step.by_transient
        var = k * k * c[T][T] + b * b * c[SLOPE][SLOPE] + u * u * c[TRANSIENT][TRANSIENT]
        var += 2.0 * (k * b * c[T][SLOPE] + k * u * c[T][TRANSIENT] + b * u * c[SLOPE][TRANSIENT])
        var += variance(moment.systematics.of_c, self._sds) + self._bath_watch.doubt_c**2
        var += self._looking_back.spread_c(t_s - KEEP_S) ** 2 + self._open_c(t_s) ** 2
        age = None if self._believed_t_s is None else max(t_s - self._believed_t_s, 0.0)
        return Temperature(celsius + self._moved_c(), math.sqrt(max(var, 0.0)), self._source, age)

    def done(self, key: int, t_s: float) -> Done:
        """Development done at `t_s` by integral `key`; 0 before it begins."""
        if key in self._plain_begins_s:
            return Done(max(t_s - self._plain_begins_s[key], 0.0), 0.0)
        known = self._replay.keys[key]
        if t_s <= known.begin_t_s:
            return Done(0.0, 0.0)
        moment, track = self._replay.moment, self._replay.mean
        at = expected(moment, track, self._vessel_follows())
        counted = known.number in moment.bases
        start = 0.0 if counted else max(known.begin_t_s - moment.t, 0.0)
        ahead = max(t_s - moment.t, 0.0)
        middle = at(0.5 * (start + ahead))
        done = track.counts[known.number].done if counted else 0.0
        if ahead > start:
            r0, r1, r2 = rate(known.law, at(start)), rate(known.law, middle), rate(known.law, at(ahead))
            done += simpson(r0, r1, r2, ahead - start)
        done = max(done + self._moved_ref_s(known, ahead, middle), 0.0)
        return Done(done, self._sd(known, track, counted, start, ahead, middle))

    def _moved_c(self) -> float:
        """By how much the liquid is taken for warmer than its probe says; while nothing develops nobody asks."""
        return self._bath_watch.moved_c if self._replay.keys else 0.0

    def _moved_ref_s(self, key: Key, ahead: float, celsius: float) -> float:
        """What has been done more `ahead` seconds from now, if the liquid is warmer than its probe says (`BathWatch.moved_c`), or the
        whole than the layer that it hangs in."""
        until_t_s = self._replay.moment.t + ahead
        doubted_s = until_t_s - max(self._bath_watch.doubted_since_t_s, key.begin_t_s)
        moved_c, layered_c = self._moved_c(), self._looking_back.layered_c(key.begin_t_s)
        more = 0.0
        if moved_c != 0.0 and doubted_s > 0.0:
            more += doubted_s * (rate(key.law, celsius + moved_c) - rate(key.law, celsius))
        if layered_c != 0.0 and until_t_s > key.begin_t_s:
            more += (until_t_s - key.begin_t_s) * (rate(key.law, celsius + layered_c) - rate(key.law, celsius))
        return more

    def _sd(self, key: Key, track: Track, counted: bool, start: float, ahead: float, celsius: float) -> float:
        number = key.number if counted else None
        var = noise_variance(self._replay.moment, track, number, key.law, start, ahead, celsius)
        var += systematic_variance(self._replay.moment, number, key.law, self._sds, ahead - start, celsius)
        doubted_s = self._replay.moment.t + ahead - max(self._bath_watch.doubted_since_t_s, key.begin_t_s)
        per_c = rate(key.law, celsius) * key.law.log_rate_slope(celsius)
        if doubted_s > 0.0:
            var += (per_c * self._bath_watch.doubt_c * doubted_s) ** 2
        counted_s = max(self._replay.moment.t + ahead - key.begin_t_s, 0.0)
        var += (per_c * self._looking_back.spread_c(key.begin_t_s) * counted_s) ** 2
        question, until_t_s = self._suspicion.question, self._replay.moment.t + ahead
        if question is not None:
            open_s = max(until_t_s - max(question.since_t_s, key.begin_t_s), 0.0)
            var += (per_c * self._open_c(self._replay.moment.t) * open_s) ** 2
        return math.sqrt(var)

    def _open_c(self, t_s: float) -> float:
        """By how much the liquid may be another one, since nobody knows whether the probe was lifted: standard deviation, C."""
        question = self._suspicion.question
        return 0.0 if question is None else question.doubt_c(t_s, self._replay.mean.x[T])

    def _vessel_follows(self) -> tuple[float, float, float] | None:
        """The vessel's lag, and level and slope of what surrounds it, where all three are known."""
        vessel = self._beliefs.vessel
        if vessel is None or not self._ambient_known():
            return None
        moment = self._replay.moment
        level, slope = moment.ambient.at(moment.t)
        warming = moment.warming(HANDLED_AHEAD_S) if moment.drift == "vessel" else None
        return (vessel.lag_s, level, slope) if warming is None else (warming.lag_s, warming.towards_c, warming.free * slope)

    @property
    def found_lags(self) -> list[FoundLag]:
        """What the session has told of its probes' lags and the vessel's, where that is not what was told before. Of probes that were
        exchanged nothing: each has settled by the other's name."""
        found: list[FoundLag] = []
        for now, before in ((p.model, p.as_told) for p in self._ladder_order if not self._bath_watch.exchanged):
            if min(now.lag_s, before.lag_s) > 0.0 and abs(math.log(now.lag_s / before.lag_s)) > FOUND_LOG:
                found.append(FoundLag(now.name, now.lag_s, before.lag_s, now.lag_log_sd, before.lag_from == "measured"))
        vessel, lag_s = self._beliefs.vessel, self._bath_watch.false_lag_s
        return found if vessel is None or lag_s is None else [*found, FoundLag(None, lag_s, vessel.lag_s, FALSE_LAG_LOG_SD, True)]

    def odd_for_s(self, t_s: float) -> float:
        """For how long the readings of the followed probe have been odd at `t_s`; infinite where they are not."""
        return t_s - self._suspicion.odd_since_t_s if self._replay.moment.bank.mixing else math.inf

    def end(self, key: int, target_ref_s: float, t_s: float) -> End:
        """Forecast, made at `t_s`, of when integral `key` reaches the target."""
        if key in self._plain_begins_s:
            return End(self._plain_begins_s[key] + target_ref_s, 0.0)
        known = self._replay.keys[key]
        moment, track = self._replay.moment, self._replay.mean
        at = expected(moment, track, self._vessel_follows())
        counted = known.number in moment.bases
        start = 0.0 if counted else max(known.begin_t_s - moment.t, 0.0)
        missing = target_ref_s - (track.counts[known.number].done if counted else 0.0)
        moved_c = self._moved_c() + self._looking_back.layered_c(known.begin_t_s)
        if moved_c != 0.0:
            missing = max(missing - self._moved_ref_s(known, 0.0, at(0.0)), 0.0)
            followed, at = at, lambda ahead: followed(ahead) + moved_c
        ahead = solve(known.law, at, start, missing)
        span = max(ahead, start)
        sd = self._sd(known, track, counted, start, span, at(0.5 * (start + span))) / rate(known.law, at(span))
        return End(moment.t + ahead, sd)
