"""The estimator's past: what is kept of it, and how a stretch of it is computed again.

Trust is often decided late: a probe turns out to have hung in air for half a minute, a begin is corrected by 45 s. The stretch since
then is computed again, with the sources, the rivals and the begins as they now stand. For that `Replay` keeps the good readings, the
segments (which source from when), the rivalries (where rival models run) and copies of the `Moment` every few seconds.
It decides nothing: `estimator` switches sources, `suspicion` opens rivalries.
Tests: tests/core/development/test_replay.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass, replace

from monitor.core.development.beliefs import Beliefs, ProbeModel
from monitor.core.development.filter import QUANTUM_C, SLOPE, TRANSIENT, T, Track
from monitor.core.development.handling import Handling
from monitor.core.development.moment import Key, Moment, Pour, Segment
from monitor.core.development.rate import RateLaw
from monitor.core.development.rivals import ALL_KINDS, Kind
from monitor.core.development.settling import LONGEST_DRY_S, WALL_TRANSIENT_SD, Settled, settled
from monitor.core.probes.readings import Role

SNAPSHOT_S = 8.0
KEEP_S = 300.0
"""A copy of the moment is kept this often, and the copies reach back at least this far: a begin in the past, a loss found late."""
READINGS_AT_START = 4000
"""Most readings kept while nothing has been believed yet. With more, the start is no longer computed again."""
RERUN_S = (15.0, 40.0, 75.0)
"""The start is computed again at these times after the first belief, about the temperature found by then (design, section 2)."""
REFERENCE_SD_C = 3.0
"""Standard deviation of the liquid's temperature about the reference before anything is known (design, section 2)."""
POUR_SD_C = 0.5
"""Standard deviation of a temperature that a person measured at pour-in (household thermometer, common practice, no source)."""
BEFORE_POURING_S = 30.0
"""So much of what a probe said before the developer was poured in tells whether it hung in air (this project's own choice)."""
AT_A_WALL_SD_C = 1.5
"""Standard deviation of what a cold or warm wall makes of a measured pour-in (the project's practice, section 2a: 1.2 C)."""
JUST_AFTER_S = 1e-6
"""The reading at the moment of a switch still belongs to the rivalry before it."""


@dataclass(frozen=True, slots=True)
class GoodReading:
    """A good reading of any probe, as the arithmetic takes it: session seconds, Celsius corrected by the probe's comparison."""

    t_s: float
    probe: str
    role: Role
    celsius: float


@dataclass(frozen=True, slots=True)
class Rivalry:
    """A stretch in which rival models run: these."""

    since_t_s: float
    until_t_s: float
    kinds: tuple[Kind, ...] = ALL_KINDS


@dataclass(frozen=True, slots=True)
class Aside:
    """Readings of a probe before `until_t_s` were set aside as not the liquid's. By how much development would be more if they were the
    liquid's all the same (reference seconds, for each integral), and the probability of that."""

    until_t_s: float
    apart_ref_s: Mapping[int, float]
    probability: float


class Rivalries:
    """The stretches in which rival models run, in the order of their opening. The last one may still be open (it ends at infinity)."""

    def __init__(self) -> None:
        self._all: list[Rivalry] = []

    def __len__(self) -> int:
        return len(self._all)

    @property
    def newest_kinds(self) -> tuple[Kind, ...]:
        """The models of the one opened last; none where there is none."""
        return self._all[-1].kinds if self._all else ()

    def open(self, since_t_s: float, until_t_s: float = math.inf, kinds: tuple[Kind, ...] = ALL_KINDS) -> None:
        """Rivals run from then on, or in that stretch."""
        self._all.append(Rivalry(since_t_s, until_t_s, kinds))

    def starts(self, after_t_s: float) -> list[float]:
        """When those began that began after this moment, the newest first."""
        return [r.since_t_s for r in reversed(self._all) if r.since_t_s > after_t_s]

    def drop_from(self, t_s: float) -> None:
        """Forget those that began then or later."""
        self._all = [r for r in self._all if r.since_t_s < t_s]

    def end(self, t_s: float) -> None:
        """The newest one ends."""
        self._all[-1] = replace(self._all[-1], until_t_s=t_s)

    def narrow(self, kinds: tuple[Kind, ...]) -> float:
        """Only these run in the newest one, from its start, which is returned."""
        self._all[-1] = replace(self._all[-1], kinds=kinds)
        return self._all[-1].since_t_s

    def drop_open(self) -> float | None:
        """Forget those that have not ended. When the first of them began."""
        began = next((r.since_t_s for r in self._all if r.until_t_s == math.inf), None)
        self._all = [r for r in self._all if r.until_t_s < math.inf]
        return began

    def cut(self, t_s: float) -> None:
        """End all of them at this moment and drop those that would begin later."""
        self._all = [replace(r, until_t_s=min(r.until_t_s, t_s)) for r in self._all if r.since_t_s < t_s]

    def forget_before(self, t_s: float) -> None:
        """Drop those that ended before."""
        self._all = [r for r in self._all if r.until_t_s >= t_s]

    def at(self, t_s: float) -> Rivalry | None:
        """The one that runs at a moment."""
        return next((r for r in self._all if r.since_t_s <= t_s < r.until_t_s), None)

    def between(self, from_t_s: float, to_t_s: float) -> bool:
        """Whether rivals ran anywhere in this stretch."""
        return any(r.until_t_s > from_t_s and r.since_t_s < to_t_s for r in self._all)


class Replay:
    """The newest `moment` and the past that led to it.

    `keys` are the integrals that count by a rate law; `snapshots` and `readings` are what is kept, oldest first (for others to read).

    For `KEEP_S` after the first belief `_origin` is the moment before anything was heard, and for as long after a pouring over a dry
    probe the one before that; from then on nothing older than the oldest snapshot is kept. 34 methods: computing a stretch again
    needs each step of the arithmetic.
    """

    def __init__(self, beliefs: Beliefs, sds: Mapping[str, float]) -> None:
        self._beliefs = beliefs
        self._sds = sds
        self._ambient = beliefs.ambient_probe
        self.started = False
        self.first_t_s = self.now_t_s = 0.0
        self.moment = Moment(0.0, *self._prior(beliefs.reference_c), "")
        self.moment.follows_room = beliefs.vessel is not None and beliefs.vessel.coupled_to == "room"
        self._origin: Moment | None = self.moment.copy()
        self.snapshots: deque[Moment] = deque()
        self.rivalries = Rivalries()
        self.readings: deque[GoodReading] = deque()
        self._segments: list[Segment] = []
        self._asides: list[Aside] = []
        self.keys: dict[int, Key] = {}
        self._numbers = 0
        self._pending: list[Key] = []
        self.first_belief_t_s = 0.0
        self._origin_until_t_s = math.inf
        self._reruns: list[tuple[float, float | None]] = []
        self._dry: tuple[str, float, float] | None = None
        self._mean: Track | None = None

    def _prior(self, reference_c: float) -> tuple[float, float]:
        pour_c = self._beliefs.pour_c
        return (reference_c, REFERENCE_SD_C) if pour_c is None else (pour_c, POUR_SD_C)

    def reach(self, t_s: float) -> None:
        """Time has come to `t_s`. The first call sets the start."""
        if not self.started:
            self.started = True
            self.first_t_s = self.now_t_s = self.moment.t = t_s
            if self._origin is not None:
                self._origin.t = t_s
        self.now_t_s = max(self.now_t_s, t_s)

    @property
    def kept(self) -> tuple[int, int, int, int]:
        """How many readings, snapshots, segments and rivalries are kept."""
        return len(self.readings), len(self.snapshots), len(self._segments), len(self.rivalries)

    @property
    def mean(self) -> Track:
        """What is believed altogether at the moment's time. Not to be written to."""
        if self._mean is None:
            self._mean = self.moment.bank.mean()
        return self._mean

    def liquid_at(self, t_s: float) -> float:
        """The liquid's temperature at `t_s`, which may lie a little before the moment."""
        x = self.mean.x
        return x[T] + (t_s - self.moment.t) * (x[SLOPE] + x[TRANSIENT])

    # Integrals

    def begin(self, key: int, t_s: float, law: RateLaw, reference_c: float, handling: Handling | None = None) -> None:
        """Integral `key` counts from `t_s` on. At the first of all the developer is poured in."""
        first = not self.keys
        self._numbers += 1
        pour = Pour(*self._prior(reference_c), self._beliefs.pour_c is not None) if first else None
        self.keys[key] = Key(self._numbers, t_s, law, pour, handling)
        if first:
            starts = [due for due in self._reruns if due[1] is None]
            self._reruns = sorted([*starts, *((t_s + s, t_s) for s in RERUN_S)], key=lambda due: due[0])
        if t_s < self.moment.t:
            if self._origin is not None:
                self._origin.t = min(self._origin.t, t_s)  # begun before anything was heard
            self.run_again(t_s)
        else:
            self._schedule()

    def forget(self, key: int) -> None:
        """Integral `key` is no longer asked for."""
        if self.keys.pop(key, None) is not None:
            self.moment.keep_only({k.number for k in self.keys.values()})
            self._mean = None
            self._schedule()

    def _schedule(self) -> None:
        known = self.moment.bases
        self._pending = sorted((k for k in self.keys.values() if k.number not in known), key=lambda k: k.begin_t_s)

    # Onwards

    def carry(self, t_s: float) -> None:
        """Carry the moment on to `t_s` without a reading."""
        self._mean = None
        self.moment.carry(t_s, self._pending)
        self._snapshot()

    def keep(self, reading: GoodReading) -> None:
        """Keep a reading that is not used now; it is if its probe turns out to have been right."""
        self.readings.append(reading)

    def read(self, reading: GoodReading) -> None:
        """A reading from beside the developer (bath or room): keep it and take it."""
        self.readings.append(reading)
        self._take(reading)

    def read_followed(self, reading: GoodReading) -> float:
        """A reading of the followed probe: keep it and take it. Returns its surprise in standard deviations, signed."""
        self.readings.append(reading)
        sigma = self._take_among_rivals(reading)
        self._snapshot()
        return sigma

    def learn_step(self, probe: str, step_c: float) -> bool:
        """The register of a probe turns out to have this step: where that is news, all that is kept is computed again. What looked odd in
        finer steps was a change of code. Whether it is."""
        if step_c == self.moment.steps_c.get(probe, QUANTUM_C):
            return False
        self.moment.steps_c[probe] = step_c
        if self.following is not None and self.following.probe == probe:
            self.rivalries.drop_from(-math.inf)
        if self._origin is not None:
            self.run_again(self._origin.t)
        elif self.snapshots:
            oldest = self.snapshots[0]
            oldest.bank.close()
            oldest.bank.tracks[0].loosen(step_c * step_c / 12.0)
            self.run_again(oldest.t)
        return True

    def leap(self, celsius: float) -> None:
        """The followed probe has repeated an old value and now reads `celsius` (see `Moment.shift`)."""
        self._mean = None
        self.moment.shift(celsius)

    def end_rivalry(self, t_s: float) -> None:
        """The newest rivalry ends; one model goes on alone."""
        self.rivalries.end(t_s)
        self.moment.bank.close()
        self._mean = None

    def set_aside(self, probe: str, from_t_s: float, until_t_s: float, probability: float) -> None:
        """With this probability the readings of the followed probe from the one moment to before the other were not the liquid's: compute
        without them. What they would have made stays in the mean and the deviation of what has been counted."""
        counted = {number: count.done for number, count in self.mean.counts.items()}
        self.readings = deque(r for r in self.readings if r.probe != probe or not from_t_s <= r.t_s < until_t_s)
        self.rivalries.drop_from(from_t_s - SNAPSHOT_S)
        self._asides.append(Aside(until_t_s, {}, 1.0 - probability))
        self.run_again(from_t_s)
        apart = {number: done - self.mean.counts[number].done for number, done in counted.items()}
        self._asides[-1] = Aside(until_t_s, apart, 1.0 - probability)
        self.run_again(until_t_s)

    def _after_aside(self, aside: Aside) -> None:
        self.moment.attach = True
        for track in self.moment.bank.tracks:
            for number, apart in aside.apart_ref_s.items():
                if number in track.counts:
                    track.counts[number].done += aside.probability * apart
                    track.counts[number].var += aside.probability * (1.0 - aside.probability) * apart * apart

    def _take_among_rivals(self, reading: GoodReading) -> float:
        bank = self.moment.bank
        for aside in self._asides:
            if self.moment.t < aside.until_t_s <= reading.t_s and reading.probe == self.moment.probe:
                self._after_aside(aside)
        rivalry = self.rivalries.at(reading.t_s)
        if rivalry is None:
            bank.close()
        elif bank.kinds != rivalry.kinds and self.moment.drift == "liquid":
            bank.open(rivalry.kinds)
        return self._take(reading)

    def _take(self, reading: GoodReading) -> float:
        """Take any reading into the arithmetic. Returns the followed probe's surprise in standard deviations; 0 for other probes."""
        moment, ambient = self.moment, self._ambient
        self._mean = None
        if ambient is not None and reading.probe == ambient.name:
            moment.read_ambient(reading.probe, reading.t_s - ambient.lag_s, reading.celsius, self._beliefs.pour_c is not None)
        elif reading.role == "bath":
            moment.pour_from_bath(reading.celsius, self._beliefs.pour_c is not None)
        if reading.role == "room":
            moment.read_room(reading.celsius)
        if moment.drift == "liquid" and reading.probe == moment.probe and reading.t_s >= moment.t:
            return moment.read(reading.t_s, reading.celsius, self._pending)
        return 0.0

    def _snapshot(self) -> None:
        moment = self.moment
        if self.snapshots and moment.t - self.snapshots[-1].t < SNAPSHOT_S:
            return
        self.snapshots.append(moment.copy())
        while len(self.snapshots) > 1 and self.snapshots[1].t < self.now_t_s - KEEP_S:
            self.snapshots.popleft()
        if self._origin is None:
            oldest = self.snapshots[0].t
            while self.readings and self.readings[0].t_s < oldest:
                self.readings.popleft()
            while len(self._segments) > 1 and self._segments[1].since_t_s < oldest:
                self._segments.pop(0)
            self.rivalries.forget_before(oldest)
            self._asides = [a for a in self._asides if a.until_t_s >= oldest]
        elif len(self.readings) > READINGS_AT_START:
            self._origin = None

    # Again

    @property
    def following(self) -> Segment | None:
        """The newest segment: which source is followed, since when."""
        return self._segments[-1] if self._segments else None

    def switch(self, segment: Segment) -> None:
        """Another source from the segment's start on: what has been computed since then is computed again."""
        self._segments = [s for s in self._segments if s.since_t_s < segment.since_t_s] + [segment]
        self.rivalries.cut(segment.since_t_s + JUST_AFTER_S)
        self.run_again(segment.since_t_s)

    def run_again(self, since_t_s: float) -> None:
        """Compute again from the newest snapshot before `since_t_s`, with the segments, rivalries and begins as they now stand."""
        until_t_s = self.moment.t
        if not self._go_back(since_t_s):
            return
        start = self.moment.t
        from_origin = not self.snapshots
        segments = [s for s in self._segments if s.since_t_s > start or (s.since_t_s == start and from_origin)]
        if start >= since_t_s and not from_origin:  # a change from before all that is kept: it holds from the oldest moment on
            segments = [s for s in self._segments if since_t_s <= s.since_t_s <= start][-1:] + segments
        for reading in [r for r in self.readings if r.t_s > start or (r.t_s == start and from_origin)]:
            while segments and segments[0].due(reading.t_s):
                self._follow(segments.pop(0))
            self._take_among_rivals(reading)
            self._snapshot()
        for segment in segments:
            self._follow(segment)
        if self.moment.drift != "liquid":
            self.moment.carry(max(until_t_s, self.moment.t), self._pending)
        if not self.snapshots:
            self._snapshot()

    def _go_back(self, since_t_s: float) -> bool:
        """Take up the newest snapshot before `since_t_s`, or the oldest that is kept. False if nothing has been computed yet."""
        oldest = 0 if self._origin is not None else 1
        while len(self.snapshots) > oldest and self.snapshots[-1].t >= since_t_s:
            self.snapshots.pop()
        if self.snapshots:
            moment = self.snapshots[-1].copy()
        elif self._origin is not None:
            moment = self._origin.copy()
            moment.t = min(moment.t, since_t_s, *(s.since_t_s for s in self._segments[:1]))
        else:
            return False
        moment.keep_only({k.number for k in self.keys.values()})
        self.moment, self._mean = moment, None
        self._schedule()
        return True

    def _follow(self, segment: Segment) -> None:
        moment = self.moment
        moment.carry(max(segment.since_t_s, moment.t), self._pending)
        apart = math.hypot(self._sds.get(moment.probe, 0.0), self._sds.get(segment.probe, 0.0))
        moment.follow(segment, apart if segment.probe != moment.probe else 0.0)

    def exchange(self, developer: ProbeModel, bath: ProbeModel) -> None:
        """Each of these two (as they now stand) has spoken by the other's name: all that is kept is computed again."""
        others = {developer.name: bath, bath.name: developer}
        self.readings = deque(
            r if r.probe not in others else replace(r, probe=others[r.probe].name, role=others[r.probe].role) for r in self.readings
        )
        self._ambient = bath
        steps = self.moment.steps_c
        steps[developer.name], steps[bath.name] = steps.get(bath.name, QUANTUM_C), steps.get(developer.name, QUANTUM_C)
        self.rivalries.drop_from(-math.inf)
        self._asides.clear()
        self._reruns.clear()
        self._dry = None
        first = next((r for r in self.readings if r.probe == developer.name), None)
        if first is None:
            return
        self._segments = [Segment(first.t_s, "liquid", developer.name, developer.lag_s)]
        if self._origin is not None:
            self._start_about(first.celsius)
            self.run_again(self._origin.t)
            return
        oldest = self.snapshots[0]
        oldest.another_sensor(first.celsius, developer.name, developer.lag_s)
        self.snapshots = deque([oldest])
        self.run_again(oldest.t)

    # The start

    def first_belief(self, probe: str, t_s: float, from_vessel_model: bool) -> None:
        """A probe is believed for the first time, at `t_s`. The start is set to its first reading, unless the vessel model knows better."""
        if self._origin is not None and not from_vessel_model:
            self._start_about(next(r.celsius for r in self.readings if r.probe == probe))
        self.first_belief_t_s = t_s
        self._origin_until_t_s = t_s + KEEP_S
        self._reruns = [(t_s + s, None) for s in RERUN_S]

    def settle(self, model: ProbeModel, t_s: float) -> Settled | None:
        """If that is due at `t_s`, compute the start (or what followed the pouring-in) again: about the temperature found by now, with the
        lag and the moment of wetting that the readings of the followed probe tell. `model`: what was told of it."""
        if self._origin is not None and not self._reruns and t_s > self._origin_until_t_s:
            self._origin = None
        if not self._reruns or t_s < self._reruns[0][0]:
            return None
        poured_t_s = self._reruns.pop(0)[1]
        return self._settle_start(model) if poured_t_s is None else self._settle_poured(model, poured_t_s)

    @property
    def settling(self) -> bool:
        """Whether the readings since the first belief or the pouring-in are still too few to tell how the probe settles."""
        since_t_s = [self.first_belief_t_s, *(k.begin_t_s for k in self.keys.values())]
        return any(0.0 <= self.now_t_s - t < RERUN_S[1] + 1.0 for t in since_t_s)

    def _settle_start(self, model: ProbeModel) -> Settled | None:
        if self._origin is None:
            return None
        heard = [(r.t_s, r.celsius) for r in self.readings if r.probe == model.name]
        found = None
        if self.following is self._segments[0] and self._segments[0].probe == model.name:
            found = settled(heard, model.lag_s, model.lag_log_sd, self.moment.reading_variance)
        if found is not None:
            self._segments[0] = self._wetted(self._segments[0], found)
        x = self.moment.bank.mean().x
        first_t_s = heard[0][0] if heard else self.moment.t
        self._start_about(x[T] - x[SLOPE] * (self.moment.t - first_t_s))
        self.run_again(self._origin.t)
        return found

    def _settle_poured(self, model: ProbeModel, poured_t_s: float) -> Settled | None:
        """Developer has been poured in: was the probe dry until then?"""
        following = self.following
        if following is None or following.probe != model.name or following.since_t_s > poured_t_s + LONGEST_DRY_S:
            return None
        heard = [(r.t_s, r.celsius) for r in self.readings if r.probe == model.name and r.t_s > poured_t_s - BEFORE_POURING_S]
        found = settled(heard, model.lag_s, model.lag_log_sd, self.moment.reading_variance, poured_t_s)
        if found is None or not found.was_dry:
            return None
        x = self.moment.bank.mean().x
        celsius, sd_c = self._prior(x[T])
        while self.snapshots and self.snapshots[-1].t > poured_t_s:
            self.snapshots.pop()
        origin = self.snapshots[-1].copy() if self.snapshots else self._origin
        if origin is None:
            return None
        origin.another_liquid(celsius, math.hypot(sd_c, found.at_a_wall * AT_A_WALL_SD_C))
        self._origin, self._origin_until_t_s = origin, poured_t_s + KEEP_S
        self.snapshots.clear()
        self._segments = [self._wetted(following, found)]
        self._reruns = [r for r in self._reruns if r[1] is not None]
        self._dry = (model.name, poured_t_s, found.wet_t_s)
        self.run_again(origin.t)
        return found

    def found_dry(self, probe: str) -> tuple[float, float] | None:
        """Once, when nothing of it is computed again any more: when the developer was poured in over this probe, which was dry, and when it
        was wetted."""
        if self._dry is None or self._reruns or self._dry[0] != probe:
            return None
        (_, poured_t_s, wet_t_s), self._dry = self._dry, None
        return poured_t_s, wet_t_s

    @staticmethod
    def _wetted(segment: Segment, found: Settled) -> Segment:
        sd = math.hypot(segment.transient_sd_c_per_s, found.at_a_wall * WALL_TRANSIENT_SD)
        return replace(segment, since_t_s=found.wet_t_s, lag_s=found.lag_s, transient_sd_c_per_s=sd)

    def _start_about(self, celsius: float) -> None:
        if self._origin is not None:
            self._origin.bank.tracks[0].replace(T, celsius, REFERENCE_SD_C**2)
            self._origin.known = True
            self.snapshots.clear()
