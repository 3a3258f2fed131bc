"""The heart: from readings that lag, lie and go missing to development done, with an honest standard deviation.

One `Estimator` serves one session. The session tells it what passes (`read`, `advance`, `begin`) and asks (`temperature`,
`done`, `end`). It never reads a clock; times are session seconds and never go back by more than `PAST_S` in `begin`.
Which source it uses is the ladder of the contract, section 5; each change of trust is returned once as a `TrustChange`.
Tests: tests/core/development/test_estimator.py, figures: tests/benchmarks/bench_estimator.py.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace

from monitor.core.development.beliefs import Beliefs, Done, End, ProbeModel, Temperature, TrustChange
from monitor.core.development.filter import (
    AIR,
    AIR_LAG_S,
    KINDS,
    LIQUID,
    NOISES,
    PROBE,
    QUANTUM_C,
    SLOPE,
    TRANSIENT,
    TRANSIENT_S,
    Kind,
    T,
    Track,
    liquid_step,
)
from monitor.core.development.forecast import expected, noise_variance, solve, systematic_variance
from monitor.core.development.histories import Histories, returning, weigh
from monitor.core.development.integral import simpson
from monitor.core.development.moment import Key, Moment, Pour, Segment
from monitor.core.development.rate import RateLaw, rate
from monitor.core.development.sensitivity import LAG, LAW, variance
from monitor.core.probes.readings import Reading, Role, Source

LOST_S = 15.0
"""No sample for longer than this: lost (the project's practice, section 6). From 5 s on it is in doubt: the deviation grows, nothing is
said."""
FIRST_WAIT_S = 5.0
"""A probe that has never spoken is waited for this long before a vessel model takes its place."""
GAIN_READINGS = 3
GAIN_SPAN_S = 1.5
"""A probe is believed first after this many good readings over this long."""
HELD_WINDOWS_S = (120.0, 280.0)
"""A held slope is the median of the slope now (with and without the transient) and those over these windows: a heater that
hunts, a stir that dies away are no drift."""
STEEPEST_HELD = 0.45 / 60.0
"""C/s: a bowl loses 0.1 to 0.3 C a minute (practice, section 6); what was much steeper was stirring, and does not go on."""
AGREE_C = 0.3
AGREE_S = 30.0
"""Belief returns after this long of agreement this near (practice, section 6), or within two deviations of an estimate that has grown
vaguer."""
RERUN_S = (15.0, 40.0)
"""After the first belief the start is computed again about the temperature found by then."""
SNAPSHOT_S = 8.0
KEEP_S = 300.0
"""Snapshots reach back at least this far: a begin in the past, a stretch to be computed again."""
EVENTS_AT_START = 4000
"""Most readings kept while nothing has been believed yet."""
SUSPICION_SIGMA = 3.5
DRIFT_SIGMA = 3.0
"""A single surprise, or their smoothed sum, beyond this lets the rivals run."""
SMOOTHING = 0.25
LOOK_BACK_S = 6.0
RIVALRY_S = (20.0, 240.0)
"""Rivals run at least and at most this long."""
CALM_AGAIN = 0.9
AIR_GONE = 0.003
AIR_LIKELY = 0.5
AIR_READINGS = 3
AIR_OFF_C = 0.3
"""Air is weighed against a moving liquid when its model has been this likely for this many readings and the probe is this far off."""
AIR_LOOK_BACK_S = 40.0
AIR_LAGS = 1.25
"""A step of the liquid and a lift into air part ways after about one lag of the probe; nothing is said before."""
AIR_AHEAD = 1.6
LIQUID_AHEAD = 4.0
AIR_OUT = 4.0
AIRLESS_S = 40.0
"""Natural logarithms: air is believed when five times likelier than a moving liquid, taken back when fifty times less likely, and then
no rival for so long."""
STEADY_S = 35.0
"""A probe that was away and is a liquid's again for this long is believed even where the estimate was another: a real step wins."""
STUCK_READINGS = 10
STUCK_S = 20.0
STUCK_OFF_C = 0.1
STUCK_SIGMA = 3.0
STUCK_LOG = 5.0
"""A stuck code: the drift before says that the liquid left it by this much and this many deviations, and a sound probe's
noise would have shown another code but for exp(-5): one code has at most the share erf(step/2 / (noise sqrt 2))."""
WRONG_WITNESS_C = 0.5
WRONG_WITNESS_S = 30.0
"""A second probe that differs from the believed one by this for this long is not believed (practice, section 6)."""
NOT_LIQUID_C = 30.0
"""A reading that would need the liquid to jump by more than this is not one of a liquid; it counts as none."""
LEAP_C = 8.0
LEAP_NOISE_C = 0.3
LEAP_READINGS = 8
"""A code that stood for so many readings and then leaps further than a step of the liquid by this could move the probe was an old one."""
POUR_SD_C = 0.5
"""A temperature that a person measured at pour-in (household thermometer, common practice, no source)."""
REFERENCE_SD_C = 3.0
DIRECT: tuple[Role, ...] = ("developer", "witness")


@dataclass(frozen=True, slots=True)
class _Event:
    """A good reading as the arithmetic takes it."""

    t: float
    probe: str
    role: Role
    celsius: float


@dataclass(frozen=True, slots=True)
class _Rivalry:
    """A stretch in which rival models run: these."""

    since_t: float
    until_t: float
    kinds: tuple[Kind, ...] = KINDS


class _Watch:
    """What is known of one probe in or beside the developer: whether it is believed, and what it says while it is not used."""

    def __init__(self, model: ProbeModel) -> None:
        self.model = model
        self.believed = False
        self.ever = False
        self.told = False
        self.last_good_t: float | None = None
        self.good: list[float] = []
        self.own: Track | None = None
        self.own_t = 0.0
        self.agree_since: float | None = None
        self.differ_since: float | None = None
        self.code: float | None = None
        self.code_since = 0.0
        self.code_count = self.code_before = 0
        self.code_moved = True
        self.histories: Histories | None = None
        self.liquid_since: float | None = None

    def hear(self, t: float, celsius: float) -> None:
        """Note a good reading and whether the code moves."""
        if self.code is None or abs(celsius - self.code) > 1e-9:
            if self.code is not None:
                self.code_moved = True
            self.code_before = self.code_count
            self.code, self.code_since, self.code_count = celsius, t, 1
        else:
            self.code_count += 1
            self.code_before = 0

    def follow_alone(self, t: float, celsius: float, variance: float) -> None:
        """A lively filter on this probe alone: where the liquid about it would be."""
        if self.own is None or t - self.own_t > LOST_S:
            x = [celsius, 0.0, 0.0, celsius, 0.0]
            c = [[0.0] * 5 for _ in range(5)]
            c[T][T], c[SLOPE][SLOPE], c[TRANSIENT][TRANSIENT], c[PROBE][PROBE] = 9.0, 1e-6, 1e-3, variance
            self.own, self.own_t = Track(x, c, {}), t
            return
        if t <= self.own_t:
            return
        self.own.predict(liquid_step(t - self.own_t, self.model.lag_s), NOISES["lively"])
        self.own.update(PROBE, celsius, variance)
        self.own_t = t


class Estimator:
    """One session's estimator. Give it events in their order; ask it anything at the newest event's time or later."""

    def __init__(self, beliefs: Beliefs) -> None:
        self._beliefs = beliefs
        self._watches = {p.name: _Watch(p) for p in beliefs.probes if p.role in DIRECT}
        self._order = sorted(self._watches.values(), key=lambda w: DIRECT.index(w.model.role))
        self._models = {p.name: p for p in beliefs.probes}
        self._sds = {p.name: p.comparison_sd_c for p in beliefs.probes}
        self._sds |= {LAW: 1.0, LAG: beliefs.vessel.lag_sd_s if beliefs.vessel else 0.0, "": 0.0}
        self._ambient: ProbeModel | None = None
        if beliefs.vessel is not None:
            self._ambient = next((p for p in beliefs.probes if p.role == beliefs.vessel.coupled_to), None)
        self._ambient_t: float | None = None
        self._ambient_told = False
        self._bath_told = False
        self._source: Source = "clock"
        self._first_t: float | None = None
        self._now_t = 0.0
        self._believed_t: float | None = None
        self._moment = Moment(0.0, *self._prior(beliefs.reference_c), "")
        self._moment.follows_room = beliefs.vessel is not None and beliefs.vessel.coupled_to == "room"
        self._origin: Moment | None = self._moment.copy()
        self._snapshots: deque[Moment] = deque()
        self._events: deque[_Event] = deque()
        self._segments: list[Segment] = []
        self._rivalries: list[_Rivalry] = []
        self._opened_t = 0.0
        self._airless_t = 0.0
        self._smooth = 0.0
        self._air_count = self._air_tries = 0
        self._reruns: list[float] = []
        self._gain_t = 0.0
        self._keys: dict[int, Key] = {}
        self._plain: dict[int, float] = {}
        self._numbers = 0
        self._pending: list[Key] = []
        self._mean: Track | None = None

    def _prior(self, reference_c: float) -> tuple[float, float]:
        pour = self._beliefs.pour_c
        return (reference_c, REFERENCE_SD_C) if pour is None else (pour, POUR_SD_C)

    # What passes

    def read(self, reading: Reading) -> list[TrustChange]:
        """Take one reading of any probe, in the order of arrival. Bad ones count too: they may end a belief."""
        t = reading.t_s
        changes = self.advance(t)
        model = self._models.get(reading.probe)
        if reading.quality != "good" or reading.celsius is None or model is None:
            return changes
        event = _Event(t, model.name, model.role, reading.celsius)
        watch = self._watches.get(model.name)
        if watch is not None:
            return changes + self._direct(watch, event)
        return changes + self._beside(event)

    def advance(self, t_s: float) -> list[TrustChange]:
        """Time has passed with or without readings: find what has gone stale."""
        if self._first_t is None:
            self._set_start(t_s)
        self._now_t = max(self._now_t, t_s)
        changes: list[TrustChange] = []
        for watch in self._order:
            since = watch.last_good_t
            if since is None:
                since = self._first_t if self._first_t is not None else t_s
            quiet = self._now_t - since
            if watch.believed and quiet > LOST_S:
                changes += self._lose(watch, since, f"no reading for {LOST_S:.0f} s")
            elif not watch.ever and not watch.told and quiet > (FIRST_WAIT_S if self._vessel_ready() else LOST_S):
                watch.told = True
                changes += self._missing_from_start(watch, since, quiet)
        changes += self._ambient_stale()
        moment = self._moment
        if moment.drift != "liquid" and self._now_t - moment.t > 3.0:
            self._carry(self._now_t - 2.0)
        return changes

    def _set_start(self, t: float) -> None:
        self._first_t = self._now_t = t
        self._moment.t = t
        if self._origin is not None:
            self._origin.t = t

    def begin(self, key: int, t_s: float, law: RateLaw | None, reference_c: float) -> None:
        """Integral `key` counts from `t_s` on, which may lie ahead or up to `PAST_S` back. A key begun again starts at 0. All keys that
        count at one time share one law; None counts plain seconds."""
        if self._first_t is None:
            self._set_start(t_s)
        self.forget(key)
        if law is None:
            self._plain[key] = t_s
            return
        first = not self._keys
        self._numbers += 1
        pour = Pour(*self._prior(reference_c), self._beliefs.pour_c is not None) if first else None
        self._keys[key] = Key(self._numbers, t_s, law, pour)
        if t_s < self._moment.t:
            if self._origin is not None:
                self._origin.t = min(self._origin.t, t_s)  # begun before anything was heard
            self._run_again(t_s)
        else:
            self._schedule()

    def forget(self, key: int) -> None:
        """Integral `key` is no longer asked for."""
        self._plain.pop(key, None)
        if self._keys.pop(key, None) is not None:
            self._moment.keep_only({k.number for k in self._keys.values()})
            self._mean = None
            self._schedule()

    # The arithmetic: carry on, take an event, run a stretch again

    def _schedule(self) -> None:
        known = self._moment.bases
        self._pending = sorted((k for k in self._keys.values() if k.number not in known), key=lambda k: k.begin_t_s)

    def _carry(self, t: float) -> None:
        self._mean = None
        self._moment.carry(t, self._pending)
        self._snapshot()

    def _snapshot(self) -> None:
        moment = self._moment
        if self._snapshots and moment.t - self._snapshots[-1].t < SNAPSHOT_S:
            return
        self._snapshots.append(moment.copy())
        while len(self._snapshots) > 1 and self._snapshots[1].t < self._now_t - KEEP_S:
            self._snapshots.popleft()
        if self._origin is None:
            oldest = self._snapshots[0].t
            while self._events and self._events[0].t < oldest:
                self._events.popleft()
            while len(self._segments) > 1 and self._segments[1].since_t_s < oldest:
                self._segments.pop(0)
            self._rivalries = [r for r in self._rivalries if r.until_t >= oldest]
        elif len(self._events) > EVENTS_AT_START:
            self._origin = None

    def _run_again(self, since_t: float) -> None:
        """Compute again from the newest snapshot before `since_t`, with the segments, rivalries and begins as they now stand."""
        oldest = 0 if self._origin is not None else 1
        while len(self._snapshots) > oldest and self._snapshots[-1].t >= since_t:
            self._snapshots.pop()
        if self._snapshots:
            moment = self._snapshots[-1].copy()
        elif self._origin is not None:
            moment = self._origin.copy()
            moment.t = min(moment.t, since_t)
        else:
            return  # nothing has been computed yet
        alive = {k.number for k in self._keys.values()}
        moment.keep_only(alive)
        until = self._moment.t
        self._moment, self._mean = moment, None
        self._schedule()
        start = moment.t
        segments = [s for s in self._segments if s.since_t_s > start or (s.since_t_s == start and not self._snapshots)]
        if start >= since_t and self._snapshots:  # a change from before all that is kept: it holds from the oldest moment on
            segments = [s for s in self._segments if since_t <= s.since_t_s <= start][-1:] + segments
        for event in [e for e in self._events if e.t > start or (e.t == start and not self._snapshots)]:
            while segments and segments[0].due(event.t):
                self._follow(segments.pop(0))
            self._rival_at(event.t)
            self._take(event)
            self._snapshot()
        for segment in segments:
            self._follow(segment)
        if self._moment.drift != "liquid":
            self._moment.carry(max(until, self._moment.t), self._pending)
        if not self._snapshots:
            self._snapshot()

    def _rival_at(self, t: float) -> None:
        """Rivals run in the stretches where they were let run."""
        bank = self._moment.bank
        inside = next((r for r in self._rivalries if r.since_t <= t < r.until_t), None)
        if inside is None:
            bank.close()
        elif bank.kinds != inside.kinds and self._moment.drift == "liquid":
            bank.open(inside.kinds)

    def _follow(self, segment: Segment) -> None:
        self._moment.carry(max(segment.since_t_s, self._moment.t), self._pending)
        apart = math.hypot(self._sds.get(self._moment.probe, 0.0), self._sds.get(segment.probe, 0.0))
        self._moment.follow(segment, apart if segment.probe != self._moment.probe else 0.0)

    def _take(self, event: _Event) -> float:
        """One event into the arithmetic. Returns the surprise of a followed probe, in standard deviations."""
        moment = self._moment
        self._mean = None
        if self._ambient is not None and event.probe == self._ambient.name:
            measured = self._beliefs.pour_c is not None
            moment.read_ambient(event.probe, event.t - self._ambient.lag_s, event.celsius, measured)
        elif event.role == "bath":
            moment.pour_from_bath(event.celsius, self._beliefs.pour_c is not None)
        if event.role == "room":
            moment.read_room(event.celsius)
        if moment.drift == "liquid" and event.probe == moment.probe and event.t >= moment.t:
            return moment.read(event.t, event.celsius, self._pending)
        return 0.0

    def _switch(self, segment: Segment) -> None:
        """Another source from `since_t_s` on: what has been computed since then is computed again."""
        self._segments = [s for s in self._segments if s.since_t_s < segment.since_t_s] + [segment]
        since = segment.since_t_s + 1e-6  # the reading at that moment was still a rival's
        self._rivalries = [replace(r, until_t=min(r.until_t, since)) for r in self._rivalries if r.since_t < since]
        self._run_again(segment.since_t_s)

    # Trust

    def _vessel_ready(self) -> bool:
        return self._ambient is not None and self._ambient_t is not None and self._now_t - self._ambient_t <= LOST_S

    def _ladder(self) -> tuple[Source, Segment | None]:
        """The best source now, without its moment; None where nothing is to be followed differently than "held"."""
        for watch in self._order:
            if watch.believed:
                role = watch.model.role
                return ("developer" if role == "developer" else "witness"), Segment(0.0, "liquid", watch.model.name, watch.model.lag_s)
        if self._vessel_ready() and self._beliefs.vessel is not None:
            return "vessel model", Segment(0.0, "vessel", "", self._beliefs.vessel.lag_s)
        return ("held" if self._believed_t is not None or self._ambient_told else "clock"), None

    def _resettle(self, since_t: float) -> None:
        """Follow the best source there is, from `since_t` on."""
        source, segment = self._ladder()
        if segment is None:
            segment = Segment(since_t, "held", "", 0.0, self._slope_before(since_t))
        current = self._segments[-1] if self._segments else None
        if current is not None and (current.drift, current.probe) == (segment.drift, segment.probe):
            self._source = source
            return
        other = segment.drift == "liquid" and current is not None
        self._source = source
        self._switch(replace(segment, since_t_s=since_t, different=other))

    def _slope_before(self, since_t: float) -> float:
        """The drift that a held temperature goes on with: what has lasted, at most what a bowl can do."""
        if self._believed_t is None:
            return 0.0
        usable = [s for s in self._snapshots if s.t < since_t and s.drift == "liquid" and not s.attach]
        if not usable:
            return 0.0
        late = usable[-1]
        now = late.bank.mean().x
        slopes = [now[SLOPE], now[SLOPE] + now[TRANSIENT]]
        for window in HELD_WINDOWS_S:
            early = next(s for s in usable if s.t >= late.t - window)
            stirred = any(r.until_t > early.t and r.since_t < late.t for r in self._rivalries)
            if late.t - early.t > 0.5 * HELD_WINDOWS_S[0] and not stirred:
                slopes.append((now[T] - early.bank.mean().x[T]) / (late.t - early.t))
        slopes.sort()
        slope = 0.5 * (slopes[(len(slopes) - 1) // 2] + slopes[len(slopes) // 2])
        return min(max(slope, -STEEPEST_HELD), STEEPEST_HELD)

    def _lose(self, watch: _Watch, since_t: float, why: str) -> list[TrustChange]:
        watch.believed = False
        watch.agree_since = watch.differ_since = None
        watch.own = watch.histories = watch.liquid_since = None
        watch.good = []
        self._resettle(since_t)
        return [TrustChange(watch.model.name, False, why, since_t, self._source, True)]

    def _missing_from_start(self, watch: _Watch, since_t: float, quiet_s: float) -> list[TrustChange]:
        self._resettle(since_t)
        why = f"no reading for {quiet_s:.0f} s since the start"
        if self._source == "clock" and self._bath_probe() is not None:
            self._bath_told = True
            why += "; " + BATH_ALONE
        elif self._source == "vessel model":
            self._ambient_told = True
        return [TrustChange(watch.model.name, False, why, since_t, self._source, False)]

    def _bath_probe(self) -> ProbeModel | None:
        return next((p for p in self._beliefs.probes if p.role == "bath"), None)

    def _beside(self, event: _Event) -> list[TrustChange]:
        """A reading of bath, room or wash."""
        changes: list[TrustChange] = []
        if event.role == "room" or (self._ambient is not None and (event.role == "bath" or event.probe == self._ambient.name)):
            self._events.append(event)
            self._take(event)
        if event.role == "room":
            for watch in self._order:
                if watch.histories is not None:
                    watch.histories.read_room(event.celsius)
        if self._ambient is not None and event.probe == self._ambient.name:
            returned = self._ambient_t is None or event.t - self._ambient_t > LOST_S
            self._ambient_t = event.t
            waiting = any(not w.ever and not w.told for w in self._order)
            if returned and not waiting and not any(w.believed for w in self._order):
                changes += self._ambient_gained(event)
        elif event.role == "bath" and not self._order and not self._bath_told and self._ambient is None:
            self._bath_told = True
            changes.append(TrustChange(event.probe, False, BATH_ALONE, event.t, self._source, False))
        return changes

    def _ambient_gained(self, event: _Event) -> list[TrustChange]:
        self._ambient_told = True
        self._resettle(event.t)
        return [TrustChange(event.probe, True, f"{event.role} read; the vessel's lag is known", event.t, self._source, False)]

    def _ambient_stale(self) -> list[TrustChange]:
        if self._source != "vessel model" or self._ambient is None or self._ambient_t is None or self._now_t - self._ambient_t <= LOST_S:
            return []
        self._resettle(self._ambient_t)
        return [TrustChange(self._ambient.name, False, f"no reading for {LOST_S:.0f} s", self._ambient_t, self._source, True)]

    def _direct(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """A good reading of a probe in the developer or in the witness vessel."""
        watch.hear(event.t, event.celsius)
        moment = self._moment
        if watch.believed and moment.probe == watch.model.name and moment.drift == "liquid":
            return self._followed(watch, event)
        watch.last_good_t = event.t
        self._events.append(event)
        if not watch.ever:
            watch.good.append(event.t)
            if len(watch.good) < GAIN_READINGS or watch.good[-1] - watch.good[0] < GAIN_SPAN_S:
                return []
            return self._gain_first(watch, event)
        if watch.believed:
            watch.follow_alone(event.t, event.celsius, moment.reading_variance)
            return self._check_second(watch, event)
        return self._check_return(watch, event)

    def _gain_first(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        since = watch.good[0]
        first = not any(w.ever for w in self._order)
        watch.believed = watch.ever = True
        if first:
            if self._origin is not None:
                self._start_about(next(e.celsius for e in self._events if e.probe == watch.model.name))
            self._gain_t = event.t
            self._reruns = [event.t + s for s in RERUN_S]
        if self._moment_prefers(watch):
            self._believed_t = event.t
            self._resettle(since)
        why = f"{len(watch.good)} good readings"
        watch.good = []
        return [TrustChange(watch.model.name, True, why, since, self._source, False)]

    def _moment_prefers(self, watch: _Watch) -> bool:
        return next(w for w in self._order if w.believed) is watch

    def _start_about(self, celsius: float) -> None:
        """The prior again, about the temperature that has been found."""
        if self._origin is None or self._source == "vessel model":
            return
        track = self._origin.bank.tracks[0]
        track.replace(T, celsius, REFERENCE_SD_C**2)
        self._origin.known = True
        self._snapshots.clear()

    def _followed(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """The believed probe's reading: into the filter, and is it still a liquid's?"""
        moment = self._moment
        h = event.t - moment.t
        if not moment.attach and h >= 0:
            ahead = max(h, 1.0)
            share = 1.0 - math.exp(-ahead / max(watch.model.lag_s, 0.1))
            off = abs(event.celsius - moment.bank.mean().x[PROBE])
            if off > NOT_LIQUID_C * share + 1.0:
                return []
            if off > LEAP_C * share + LEAP_NOISE_C and watch.code_before >= LEAP_READINGS:
                self._mean = None
                moment.shift(event.celsius)
        watch.last_good_t = self._believed_t = max(event.t, watch.last_good_t or event.t)
        self._events.append(event)
        self._rival_at(event.t)
        sigma = self._take(event)
        self._snapshot()
        changes = self._suspect(watch, event, sigma)
        if self._reruns and event.t >= self._reruns[0] and not changes:
            self._rerun_start(watch)
        return changes

    def _rerun_start(self, watch: _Watch) -> None:
        self._reruns.pop(0)
        if self._origin is not None and watch.believed:
            x = self._moment.bank.mean().x
            first = next((e.t for e in self._events if e.probe == watch.model.name), self._moment.t)
            self._start_about(x[T] - x[SLOPE] * (self._moment.t - first))
            self._run_again(self._origin.t)
        if not self._reruns:
            self._origin = None

    def _suspect(self, watch: _Watch, event: _Event, sigma: float) -> list[TrustChange]:
        bank = self._moment.bank
        if not bank.mixing:
            self._smooth += SMOOTHING * (sigma - self._smooth)
            odd = abs(sigma) > SUSPICION_SIGMA or abs(self._smooth) > DRIFT_SIGMA * math.sqrt(SMOOTHING / (2.0 - SMOOTHING))
            if odd and event.t - self._gain_t > RERUN_S[0]:
                self._rivalries.append(_Rivalry(event.t - LOOK_BACK_S, math.inf))
                self._opened_t = event.t
                self._smooth = 0.0
                self._air_count = self._air_tries = 0
                self._run_again(event.t - LOOK_BACK_S)
            return self._check_stuck(watch, event)
        return self._judge(watch, event)

    def _judge(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        bank = self._moment.bank
        if not self._rivalries:
            bank.close()
            return []
        air = bank.weight("air")
        x = bank.track("air").x
        self._air_count = self._air_count + 1 if air > AIR_LIKELY and abs(x[PROBE] - x[T]) > AIR_OFF_C else min(self._air_count, 0)
        if self._air_count >= AIR_READINGS:
            self._air_tries += 1
            self._air_count = AIR_READINGS - min(1 + self._air_tries, 15)
            changes = self._weigh_air(watch, event)
            if changes:
                return changes
        if self._rivalries[-1].kinds == LIQUID and event.t - self._airless_t > AIRLESS_S:
            self._rivalries[-1] = replace(self._rivalries[-1], until_t=event.t)
            self._rivalries.append(_Rivalry(event.t, math.inf))
            self._moment.bank.open()
            self._air_tries = 0
        bank = self._moment.bank
        lasted = event.t - self._opened_t
        if (lasted > RIVALRY_S[0] and bank.weight("calm") > CALM_AGAIN and air < AIR_GONE) or lasted > RIVALRY_S[1]:
            self._rivalries[-1] = replace(self._rivalries[-1], until_t=event.t)
            bank.close()
            self._mean = None
        return []

    def _weigh_air(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """Run both histories; if air is the likelier, the probe is not believed since it left, and the liquid is computed without it."""
        odd = min(self._opened_t, event.t - AIR_LOOK_BACK_S) - LOOK_BACK_S
        start = next((s for s in reversed(self._snapshots) if s.t < odd and s.drift == "liquid"), None)
        if start is None or start.attach:
            return []
        name = watch.model.name
        readings = [(e.t, e.celsius, e.role == "room") for e in self._events if e.t > start.t and (e.probe == name or e.role == "room")]
        histories = weigh(start, readings, odd, event.t - 3.0)
        if histories is None:
            return []
        if histories.liquid_ahead > AIR_OUT:
            self._rivalries[-1] = replace(self._rivalries[-1], kinds=LIQUID)
            self._airless_t = event.t
            self._run_again(self._rivalries[-1].since_t)
            return []
        if histories.liquid_ahead > -AIR_AHEAD or event.t - histories.since_t_s < AIR_LAGS * watch.model.lag_s:
            return []
        x = histories.air.bank.track("air").x
        fall = (x[AIR] - x[PROBE]) / AIR_LAG_S * 60.0
        word = "fell" if fall < 0 else "rose"
        why = f"reading {word} {abs(fall):.1f} C a minute, like a probe in air; believed {60.0 * x[SLOPE]:+.1f} C a minute"
        since = max((e.t for e in self._events if e.t < histories.since_t_s and e.probe == watch.model.name), default=start.t)
        self._rivalries = [r for r in self._rivalries if r.until_t < math.inf]
        changes = self._lose(watch, since, why)
        watch.histories = histories
        return changes

    def _check_stuck(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """The same code again and again while the drift before says that the liquid has moved on."""
        if watch.code_count < STUCK_READINGS or event.t - watch.code_since < STUCK_S:
            return []
        before = next((s for s in reversed(self._snapshots) if s.t <= watch.code_since), None)
        if before is None or before.drift != "liquid" or before.attach:
            return []
        track = before.bank.mean()
        h = event.t - before.t
        fade = TRANSIENT_S * (1.0 - math.exp(-h / TRANSIENT_S))
        expected_c = track.x[T] + track.x[SLOPE] * (h - self._moment.lag_s) + track.x[TRANSIENT] * fade
        c = track.c
        var = c[T][T] + h * h * c[SLOPE][SLOPE] + fade * fade * c[TRANSIENT][TRANSIENT] + 2e-8 * h**3 / 3.0 + before.noise
        off = abs(expected_c - event.celsius)
        same = math.erf(0.5 * QUANTUM_C / math.sqrt(2.0 * before.noise))
        if off < max(STUCK_OFF_C, STUCK_SIGMA * math.sqrt(var)) or -watch.code_count * math.log(same) < STUCK_LOG:
            return []
        watch.code_moved = False
        why = f"the same value for {event.t - watch.code_since:.0f} s while the liquid has moved {off:.1f} C"
        return self._lose(watch, watch.code_since, why)

    def _liquid_at(self, t: float) -> float:
        """The liquid's temperature at `t`, which may lie a little before the moment."""
        x = self._mean_track().x
        return x[T] + (t - self._moment.t) * (x[SLOPE] + x[TRANSIENT])

    def _check_second(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """A believed probe that is not the one in use: does it still say the same?"""
        if watch.own is None:
            return []
        off = watch.own.x[T] - self._liquid_at(event.t)
        apart = 2.0 * math.hypot(*(self._sds[w.model.name] for w in self._order[:2]))
        if abs(off) <= WRONG_WITNESS_C + apart:
            watch.differ_since = None
            return []
        if watch.differ_since is None:
            watch.differ_since = event.t
        if event.t - watch.differ_since <= WRONG_WITNESS_S:
            return []
        why = f"{abs(off):.1f} C {'above' if off > 0 else 'below'} the other probe for {WRONG_WITNESS_S:.0f} s"
        return self._lose(watch, watch.differ_since, why)

    def _check_return(self, watch: _Watch, event: _Event) -> list[TrustChange]:
        """A probe that is not believed: does it say again what the liquid should be, or was it the liquid all the time?"""
        histories = watch.histories
        if histories is None or event.t - histories.air.t > LOST_S:
            back = self._moment.copy()
            back.follow(Segment(event.t, "liquid", watch.model.name, watch.model.lag_s, different=True), self._sds[watch.model.name])
            watch.histories = histories = returning(back)
        histories.read(event.t, event.celsius)
        if histories.liquid_ahead > LIQUID_AHEAD:
            self._rivalries.append(_Rivalry(histories.since_t_s - LOOK_BACK_S, event.t, LIQUID))
            return self._gain_again(watch, histories.since_t_s, "its readings are a moving liquid's after all", event.t)
        if not watch.code_moved or histories.in_air > 0.1:
            watch.agree_since = watch.liquid_since = None
            return []
        watch.liquid_since = event.t if watch.liquid_since is None else watch.liquid_since
        off = histories.air.bank.mean().x[T] - self._liquid_at(event.t)
        near = max(AGREE_C, 2.0 * math.sqrt(self._mean_track().c[T][T]))
        if abs(off) > near:
            watch.agree_since = None
        elif watch.agree_since is None:
            watch.agree_since = event.t
        if watch.agree_since is not None and event.t - watch.agree_since >= AGREE_S:
            why = f"within {near:.1f} C of the estimate for {AGREE_S:.0f} s"
            return self._gain_again(watch, self._back_since(histories, watch.agree_since), why, event.t)
        if event.t - watch.liquid_since >= STEADY_S:
            why = f"steady for {STEADY_S:.0f} s, {abs(off):.1f} C {'above' if off > 0 else 'below'} the estimate"
            return self._gain_again(watch, self._back_since(histories, watch.liquid_since), why, event.t)
        return []

    @staticmethod
    def _back_since(histories: Histories, since: float) -> float:
        """A probe that was only silent, not in air, is used from its first word on."""
        return since if histories.was_out else histories.since_t_s

    def _gain_again(self, watch: _Watch, since: float, why: str, t: float) -> list[TrustChange]:
        watch.believed = True
        watch.agree_since = watch.liquid_since = None
        watch.histories = None
        if self._moment_prefers(watch):
            self._believed_t = t
            self._resettle(since)
        return [TrustChange(watch.model.name, True, why, since, self._source, False)]

    # What is asked

    def _mean_track(self) -> Track:
        if self._mean is None:
            self._mean = self._moment.bank.mean()
        return self._mean

    def temperature(self, t_s: float) -> Temperature:
        """The developer's temperature at `t_s` (not before the newest event)."""
        moment, track = self._moment, self._mean_track()
        ahead = max(t_s - moment.t, 0.0)
        step = moment.step(ahead)
        x, c = track.x, track.c
        celsius = step.keep * x[T] + step.toward + step.by_slope * x[SLOPE] + step.by_transient * x[TRANSIENT]
        k, b, u = step.keep, step.by_slope, step.by_transient
        var = k * k * c[T][T] + b * b * c[SLOPE][SLOPE] + u * u * c[TRANSIENT][TRANSIENT]
        var += 2.0 * (k * b * c[T][SLOPE] + k * u * c[T][TRANSIENT] + b * u * c[SLOPE][TRANSIENT])
        var += variance(moment.systematics.of_c, self._sds)
        age = None if self._believed_t is None else max(t_s - self._believed_t, 0.0)
        return Temperature(celsius, math.sqrt(max(var, 0.0)), self._source, age)

    def done(self, key: int, t_s: float) -> Done:
        """Development done at `t_s` by integral `key`; 0 before it begins."""
        if key in self._plain:
            return Done(max(t_s - self._plain[key], 0.0), 0.0)
        known = self._keys[key]
        if t_s <= known.begin_t_s:
            return Done(0.0, 0.0)
        moment, track = self._moment, self._mean_track()
        at = expected(moment, track, self._followed_by_vessel())
        counted = known.number in moment.bases
        start = 0.0 if counted else max(known.begin_t_s - moment.t, 0.0)
        ahead = max(t_s - moment.t, 0.0)
        middle = at(0.5 * (start + ahead))
        done = track.counts[known.number].done if counted else 0.0
        if ahead > start:
            r0, r1, r2 = rate(known.law, at(start)), rate(known.law, middle), rate(known.law, at(ahead))
            done += simpson(r0, r1, r2, ahead - start)
        return Done(done, self._sd(known, track, counted, start, ahead, middle))

    def _sd(self, key: Key, track: Track, counted: bool, start: float, ahead: float, celsius: float) -> float:
        number = key.number if counted else None
        var = noise_variance(self._moment, track, number, key.law, start, ahead, celsius)
        var += systematic_variance(self._moment, number, key.law, self._sds, ahead - start, celsius)
        return math.sqrt(var)

    def _followed_by_vessel(self) -> tuple[float, float, float] | None:
        """Lag, level and slope of what the vessel follows, where all three are known."""
        vessel = self._beliefs.vessel
        if vessel is None or not self._vessel_ready():
            return None
        level, slope = self._moment.ambient.at(self._moment.t)
        return vessel.lag_s, level, slope

    def end(self, key: int, target_ref_s: float, t_s: float) -> End:
        """Forecast, made at `t_s`, of when integral `key` reaches the target."""
        if key in self._plain:
            return End(self._plain[key] + target_ref_s, 0.0)
        known = self._keys[key]
        moment, track = self._moment, self._mean_track()
        at = expected(moment, track, self._followed_by_vessel())
        counted = known.number in moment.bases
        start = 0.0 if counted else max(known.begin_t_s - moment.t, 0.0)
        missing = target_ref_s - (track.counts[known.number].done if counted else 0.0)
        ahead = solve(known.law, at, start, missing)
        span = max(ahead, start)
        sd = self._sd(known, track, counted, start, span, at(0.5 * (start + span))) / rate(known.law, at(span))
        return End(moment.t + ahead, sd)


BATH_ALONE = "the bath alone does not move the time: no lag of the vessel is learned and no probe is in the developer"
