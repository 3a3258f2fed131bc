"""What a view of a session knows: made from the session's snapshots and its records, as plain values.

Decides what counts as the time left (it never grows unless that has been said), since when a probe is not believed, how long
the developer was only estimated, and which points the small trace has. When stages began is the journal's history. It knows no
session object: a rehearsal and a follower at the end of a socket feed it the same. Pure; memory is bounded.
Tests: tests/live/view/test_screen.py, tests/core/journal/test_one_story.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from monitor.core.journal.history import History, Passage
from monitor.core.journal.records import (
    Anything,
    Corrected,
    CueSounded,
    GateChanged,
    Opened,
    Resumed,
    StageBegun,
    TrustChanged,
    reached_s,
)
from monitor.core.journal.snapshot import Snapshot
from monitor.core.journal.trusted import Since, Trusted
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import ESTIMATED, EXCHANGED, Quality, Role
from monitor.core.recipe.data_range import known_outside
from monitor.core.recipe.kinds import VesselKind
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.quantities import format_duration
from monitor.live.view.faults import Fault, Faults

HOLD_S = 5.0
"""A count that would have to grow by no more stands still until time has caught up; beyond it the change is said."""
SAY_MOVED_S = 10.0
"""An end that has crept away by so much since it was last said is said again."""
LASTING_S = 20.0
"""Only what has lasted this long is said: a forecast that starts at a splash and comes back is no news, nor is what the first
readings of a stage do to it. Until then the count stands."""
NOTICE_S = 60.0
FRESH_S = 5.0
"""A reading that is older is no longer drawn as what its probe says."""
MOST_POINTS = 1200
"""A trace longer than this is thinned to half; 1200 points are more than any terminal has dots."""


class Countdown:
    """The time left of one film in one stage, as shown: it never grows, unless `update` has said so."""

    def __init__(self, begin_s: float, end_s: float) -> None:
        self._said_end_s = end_s
        self._off_since_s: float | None = None
        self._frozen = False
        self.left_s = max(0.0, end_s - begin_s)

    def update(self, t_s: float, end_s: float, frozen: bool) -> float | None:
        """Time goes on. By how much the end has moved since that was last said (positive: later), where it has to be said now."""
        left_s = max(0.0, end_s - t_s)
        freezes, self._frozen = frozen and not self._frozen, frozen
        gap_s, moved_s = left_s - self.left_s, end_s - self._said_end_s
        off = gap_s > HOLD_S or abs(moved_s) >= SAY_MOVED_S
        self._off_since_s = (t_s if self._off_since_s is None else self._off_since_s) if off else None
        lasting = self._off_since_s is not None and t_s - self._off_since_s >= LASTING_S
        say = lasting or (freezes and abs(moved_s) >= 1.0) or (frozen and gap_s > 0.5)
        if say:
            self._said_end_s, self._off_since_s = end_s, None
        self.left_s = left_s if say else min(self.left_s, left_s)
        return moved_s if say else None


@dataclass(frozen=True, slots=True)
class Point:
    """One moment of the trace. `estimated`: the developer was not measured then. `disbelieved_c`: what its own probe said meanwhile.
    None: not known."""

    t_s: float
    developer_c: float | None
    estimated: bool
    bath_c: float | None
    disbelieved_c: float | None = None


@dataclass(frozen=True, slots=True)
class KnownProbe:
    """What the session believes of a probe. `sd_c`: standard uncertainty of its comparison, C."""

    role: Role
    sd_c: float
    compared: bool


@dataclass(frozen=True, slots=True)
class LastReading:
    """A probe's newest quality, and its last good reading with its session time; `celsius` None where there never was one."""

    role: Role
    quality: Quality
    celsius: float | None
    t_s: float


@dataclass(frozen=True, slots=True)
class Gone:
    """The station does not answer. `since`: the time of day of its last word. `for_s`: how long ago that was, s."""

    since: str
    for_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewState:
    """Everything that is drawn beside the trace, at one moment. Times are session seconds.

    `begins`: time and name of each stage that has begun. `left_s`: the count, which never grows unsaid. `moved_s`: how much later than
    by the clock alone the end is; `moved_new`: that was said less than a minute ago. `medium`: the word for what is developed;
    `vessel`: out of an open one it is lifted. `lost`: why a probe is not believed and since when (None: since before this view).
    `doubts`: the same of those that `Snapshot.doubts` tells of. `exchanged`: two that are taken for each other, as all here does.
    `back`: from when to when a probe that is believed again was not. `faults`: the FAULTs that still stand, the newest last.
    `exits`: sheets still in the developer, and when each is due out. `closed`: why the session is over, None while it runs. `gone`: the
    station is; then no time here is known any more. `word_s`: the age of its last word, None where no station is followed.
    """

    name: str
    mode: str
    keys: str
    colour: bool
    medium: str
    vessel: VesselKind
    stages: tuple[Stage, ...]
    sheets: int | None
    begins: list[tuple[float, str]]
    t_s: float
    seen: Snapshot
    left_s: float | None
    moved_s: float | None
    moved_new: bool
    probes: Mapping[str, KnownProbe]
    readings: Mapping[str, LastReading]
    coupled_to: str
    lost: Mapping[str, Since]
    doubts: Mapping[str, Since]
    exchanged: tuple[str, str] | None
    back: Mapping[str, tuple[float, float]]
    faults: list[Fault]
    estimated_s: float
    sound: CueSounded | None
    exits: list[tuple[int, float]]
    notices: list[str]
    closed: str | None
    gone: Gone | None
    word_s: float | None

    @property
    def stage(self) -> Stage | None:
        """The stage that the film is in, None before the first."""
        return None if self.seen.stage is None else self.stages[self.seen.stage - 1]

    @property
    def develops(self) -> bool:
        """Whether there is development now or to come; without any a temperature moves nothing."""
        return any(s.role == "develop" for s in self.stages[max(0, (self.seen.stage or 1) - 1) :])

    @property
    def following(self) -> Stage | None:
        """The stage that comes next, None after the last."""
        number = self.seen.stage or 0
        return self.stages[number] if number < len(self.stages) else None


@dataclass(frozen=True, slots=True)
class _Notice:
    """Something said at session time `t_s`."""

    t_s: float
    words: str


@dataclass(slots=True)
class _Trust:
    """`outside`: the recipe's data do not cover the temperature."""

    outside: bool = False
    told: Trusted = field(default_factory=Trusted)
    back: dict[str, tuple[float, float]] = field(default_factory=dict)


class Watched:
    """Feed it every `record` in order, and a `snapshot` whenever there is one; `state` and `trace` are what is drawn.

    `opening` has `probes` and `vessel` as the session's open record has them, for a view that comes too late to see it; `mode` is
    said beside the name, `keys` at the bottom. `gone`: set while the station that is followed does not answer; `word_s`: how old its
    last word is, s, None where none is followed.
    More than 25 methods: one for each kind of record.
    """

    def __init__(self, recipe: Recipe, mode: str, opening: Mapping[str, Any] | None = None, keys: str = "") -> None:
        self._name = recipe.name
        self._mode = mode
        self._keys = keys
        self._colour = recipe.film == "colour"
        self._medium, self._vessel = recipe.medium, recipe.vessel
        self.stages = recipe.stages
        self._sheets = None if recipe.sheets is None else recipe.sheets.count
        self._known: dict[str, KnownProbe] = {}
        self._heard: dict[str, LastReading] = {}
        self._coupled_to = "bath"
        self._compared = False
        self._history = History(len(recipe.stages))
        self._t_s = 0.0
        self._snapshot: Snapshot | None = None
        self._by_records: Snapshot | None = None
        self._progress: dict[tuple[int, int | None], Mapping[str, Any]] = {}
        self._newest_progress: Mapping[str, Any] | None = None
        self._progress_at_s: float | None = None
        self._trust = _Trust()
        self.faults = Faults()
        self._gate = "none"
        self._sound: CueSounded | None = None
        self._estimated_s = 0.0
        self._countdowns: dict[tuple[int, int | None, float], Countdown] = {}
        self._notices: list[_Notice] = []
        self.gone: Gone | None = None
        self.word_s: float | None = None
        self._moved = False
        self._moved_new: tuple[int | None, float] = (None, 0.0)
        self._points: list[Point] = []
        self._point_every_s = 1.0
        self._by_type: Mapping[type, Callable[[Any], None]] = {
            Opened: lambda told: self._open(told.opening),
            Resumed: self._resumed,
            StageBegun: self._stage_begun,
            Corrected: self._corrected,
            TrustChanged: self._trust_changed,
            CueSounded: self._sounded,
            GateChanged: self._gate_changed,
        }
        if opening is not None:
            self._open(opening)

    # -- what comes in ----------------------------------------------------------------------------------------------

    def record(self, record: Mapping[str, Any]) -> Anything | None:
        """One record of the session. As its type; None for readings and progress."""
        told = self._history.fold(record)
        if record["kind"] == "reading":
            self._reading(record)
        else:
            self._by_records = None
        if record["kind"] == "progress":
            self._progressed(record)
        if told is not None:
            self.faults.take(told)
            if type(told) in self._by_type:
                self._by_type[type(told)](told)
        self._t_s = max(self._t_s, reached_s(record))
        self._count()
        return told

    def snapshot(self, seen: Snapshot) -> None:
        """A snapshot of the session, or what a station sent of it."""
        self._snapshot = seen
        self._t_s = max(self._t_s, seen.t_s)
        self._compared = seen.compared
        trusted = self._trust.told
        for mine, its in ((trusted.lost, seen.lost), (trusted.doubts, seen.doubts)):
            for probe in [p for p in mine if p not in its]:
                del mine[probe]
            for probe, why in its.items():
                mine.setdefault(probe, (why, None))
        if seen.exchanged is not None:
            trusted.exchanged = seen.exchanged
        self._add_point(seen.source, seen.developer_c)
        self._count()

    def notice(self, words: str) -> None:
        """Something to be shown for a while."""
        self._notices = [*self._notices[-3:], _Notice(self._t_s, words)]

    def take_moved(self) -> bool:
        """Whether an end has moved so that it must be said; true once for each time."""
        moved, self._moved = self._moved, False
        return moved

    # -- what is drawn ----------------------------------------------------------------------------------------------

    @property
    def trace(self) -> list[Point]:
        """Points of the small trace, in the order of time."""
        return self._points

    @property
    def _probes(self) -> dict[str, KnownProbe]:
        """Each in the role in which it speaks now."""
        roles = self._trust.told.role_of({name: known.role for name, known in self._known.items()})
        return {name: replace(known, role=roles[name]) for name, known in self._known.items()}

    @property
    def _readings(self) -> dict[str, LastReading]:
        """Each in the role in which it speaks now."""
        roles = self._trust.told.role_of({name: heard.role for name, heard in self._heard.items()})
        return {name: replace(heard, role=roles[name]) for name, heard in self._heard.items()}

    @property
    def begins(self) -> list[tuple[float, str]]:
        """Session time and name of each stage whose clock has begun."""
        first = {p.stage: p for p in reversed(self._history.clocks)}
        return [(p.begin_s, p.name) for p in reversed(first.values())]

    @property
    def state(self) -> ViewState:
        """Everything else."""
        seen = self.seen
        begun = seen.began_s is not None and seen.end_t_s is not None
        return ViewState(
            name=self._name,
            mode=self._mode,
            keys=self._keys,
            colour=self._colour,
            medium=self._medium,
            vessel=self._vessel,
            stages=self.stages,
            sheets=self._sheets,
            begins=self.begins,
            t_s=self._t_s,
            seen=seen,
            left_s=self.left_s,
            moved_s=(seen.end_t_s or 0.0) - self._end_by_the_clock(seen) if begun else None,
            moved_new=seen.stage is not None and self._moved_new[0] == seen.stage and self._t_s - self._moved_new[1] <= NOTICE_S,
            probes=self._probes,
            readings=self._readings,
            coupled_to=self._coupled_to,
            lost=dict(self._trust.told.lost),
            doubts=dict(self._trust.told.doubts),
            exchanged=self._trust.told.exchanged,
            back=dict(self._trust.back),
            faults=self.faults.standing(
                {probe: why for probe, (why, _) in self._trust.told.lost.items()},
                any(s.role == "develop" for s in self.stages[max(0, (seen.stage or 1) - 1) :]),
            ),
            estimated_s=self._estimated_s,
            sound=self._sound,
            exits=[(p.sheet, self._end_s(p)) for p in self._entered() if p.sheet is not None and self._history.next_of(p) is None],
            notices=[n.words for n in self._notices if self._t_s - n.t_s <= NOTICE_S],
            closed=self._history.close_why,
            gone=self.gone,
            word_s=self.word_s,
        )

    @property
    def seen(self) -> Snapshot:
        """The newest snapshot, or the same made of records where none has come."""
        seen = self.standing()
        return seen if seen is self._snapshot or seen.t_s == self._t_s else replace(seen, t_s=self._t_s)

    def standing(self) -> Snapshot:
        """The same as `seen`, but `t_s` may be that of an earlier reading: readings alone change nothing here."""
        if self._snapshot is not None:
            return self._snapshot
        if self._by_records is None:
            self._by_records = self._seen_by_records()
        return self._by_records

    def _seen_by_records(self) -> Snapshot:
        number, newest, progress = self._history.stage, self._history.newest, self._newest_progress or {}
        stage = None if number is None else self.stages[number - 1]
        clocks = [p for p in self._history.clocks if p.stage == number]
        due = min((p for p in clocks if self._history.next_of(p) is None), key=self._end_s, default=None)
        seen = Snapshot(
            t_s=self._t_s,
            stages=len(self.stages),
            stage=number,
            name=None if stage is None else stage.name,
            role=None if stage is None else stage.role,
            until=None if stage is None else stage.until,
            steered=stage is not None and stage.steer,
            began_s=clocks[0].begin_s if clocks else None,
            planned_s=None if stage is None else stage.target_ref_s,
            developer_c=progress.get("developer_c"),
            developer_sd_c=progress.get("developer_sd_c"),
            developer_age_s=progress.get("age_s"),
            source=progress.get("source", "clock"),
            compared=self._compared,
            lost={probe: why for probe, (why, _) in self._trust.told.lost.items()},
            outside_data=self._outside_data(stage, progress.get("developer_c")),
            doubts={probe: why for probe, (why, _) in self._trust.told.doubts.items()},
            exchanged=self._trust.told.exchanged,
            gate=self._gate,
            unconfirmed=newest is not None and not newest.told and newest.stage > 1,
            closed=self._history.closed_s is not None,
        )
        if due is None:
            return seen
        forecast = self._progress.get(due.key, {})
        return replace(
            seen,
            sheet=due.sheet if due in self._entered() else None,
            ready_s=due.ready_s,
            now_s=due.fixed_now_s if due.now_s is None else due.now_s,
            end_t_s=self._end_s(due),
            end_sd_s=forecast.get("end_sd_s") or 0.0,
            earliest_end_t_s=forecast.get("earliest_end_t_s"),
            latest_end_t_s=forecast.get("latest_end_t_s"),
            frozen=due.planned_end_s is not None,
            done_ref_s=forecast.get("done_ref_s"),
            done_sd_ref_s=forecast.get("done_sd_ref_s"),
            target_ref_s=due.target_ref_s,
            awaits_appearance=stage is not None and stage.appearance_factor is not None and due.appeared_s is None
            and due.planned_end_s is None,
        )

    def _outside_data(self, stage: Stage | None, celsius: float | None) -> str | None:
        if not self._trust.outside or stage is None or stage.law is None or celsius is None:
            return None
        return known_outside(stage, celsius)

    def _entered(self) -> list[Passage]:
        """Sheets in the developer: each has a clock of its own there."""
        return [p for p in self._history.clocks if self._sheets is not None and self.stages[p.stage - 1].role == "develop"]

    def _end_s(self, passage: Passage) -> float:
        """The end as it came or was fixed, else as it was forecast last, else by the clock alone."""
        if passage.planned_end_s is not None:
            return passage.planned_end_s
        forecast_s = self._progress.get(passage.key, {}).get("end_t_s")
        by_clock_s = passage.begin_s + (passage.target_ref_s or 0.0) + self.stages[passage.stage - 1].beyond_target_s
        return by_clock_s if forecast_s is None else float(forecast_s)

    # -- the time left ----------------------------------------------------------------------------------------------

    @staticmethod
    def _key(seen: Snapshot) -> tuple[int, int | None, float]:
        return seen.stage or 0, seen.sheet, seen.began_s or 0.0

    @property
    def left_s(self) -> float | None:
        """Seconds to the end that stands next, None where there is none."""
        countdown = self._countdowns.get(self._key(self.standing()))
        return None if countdown is None else countdown.left_s

    def _end_by_the_clock(self, seen: Snapshot) -> float:
        """Where the end would be by the clock alone."""
        assert seen.stage is not None
        passage = self._history.clock(seen.stage, seen.sheet)
        begin_s = (seen.began_s or 0.0) if passage is None else passage.begin_s
        return begin_s + (seen.target_ref_s or 0.0) + self.stages[seen.stage - 1].beyond_target_s

    def _count(self) -> None:
        seen = self.standing()
        if seen.stage is None or seen.end_t_s is None:
            return
        key = self._key(seen)
        if key not in self._countdowns:
            self._countdowns = {k: c for k, c in self._countdowns.items() if k[0] == key[0]}
            self._countdowns[key] = Countdown(seen.began_s or 0.0, self._end_by_the_clock(seen))
        moved_s = self._countdowns[key].update(self._t_s, seen.end_t_s, seen.frozen)
        if moved_s is not None and seen.steered:
            self._moved, self._moved_new = True, (seen.stage, self._t_s)

    # -- records ----------------------------------------------------------------------------------------------------

    def _open(self, opening: Mapping[str, Any]) -> None:
        self._learn_probes(opening.get("probes", ()))
        if opening.get("vessel") is not None:
            self._coupled_to = opening["vessel"]["coupled_to"]

    def _learn_probes(self, probes: Iterable[Mapping[str, Any]]) -> None:
        for told in probes:
            name = str(told["name"] if "name" in told else told["probe"])
            sd_c = float(told.get("comparison_sd_c", NOT_COMPARED_SD_C))
            compared = bool(told["compared"]) if "compared" in told else sd_c < NOT_COMPARED_SD_C - 1e-6
            self._known[name] = KnownProbe(told["role"], sd_c, compared)
        self._tell_compared()

    def _tell_compared(self) -> None:
        speaking = [p for p in self._probes.values() if p.role in ("developer", "witness")] or list(self._probes.values())
        self._compared = bool(speaking) and all(p.compared for p in speaking)

    def _reading(self, record: Mapping[str, Any]) -> None:
        before = self._heard.get(record["probe"])
        celsius, t_s = record["celsius"], record["t_s"]
        if celsius is None and before is not None:
            celsius, t_s = before.celsius, before.t_s
        self._heard[record["probe"]] = LastReading(record["role"], record["quality"], celsius, t_s)

    def _resumed(self, told: Resumed) -> None:
        self._t_s = max(self._t_s, told.t_s)  # the news begins now
        self.notice("the station is back" + ("" if told.gap_s is None else f", it was away for {format_duration(float(int(told.gap_s)))}"))

    def _stage_begun(self, told: StageBegun) -> None:
        first = [p for p in self._history.clocks if p.stage == told.stage]
        if len(first) <= 1:
            self._trust.outside = False
        if told.target_ref_s is not None and len(first) == 1 and self.stages[told.stage - 1].role == "develop":
            self._estimated_s, self._progress_at_s = 0.0, told.t_s

    def _corrected(self, told: Corrected) -> None:
        """What was forecast from the begin that did not happen counts no more."""
        passage = self._history.clock(told.stage, told.sheet)
        if passage is not None:
            self._progress.pop(passage.key, None)

    def _progressed(self, record: Mapping[str, Any]) -> None:
        self._newest_progress = record
        passage = self._history.clock(record["stage"], record.get("sheet"))
        if passage is not None:
            self._progress[passage.key] = record
        t_s = float(record["t_s"])
        if self._progress_at_s is not None and record["source"] in ESTIMATED:
            self._estimated_s += max(0.0, t_s - self._progress_at_s)
        self._progress_at_s = t_s
        if self._snapshot is None:
            self._add_point(record["source"], record["developer_c"])

    def _trust_changed(self, told: TrustChanged) -> None:
        if told.why == INSIDE_DATA or told.why.startswith(OUTSIDE_DATA):
            self._trust.outside = told.why != INSIDE_DATA
            return
        lost = self._trust.told.take(told)
        if lost is not None and lost[1] is not None:
            self._trust.back[told.probe] = (lost[1], told.t_s)
        if told.why.startswith(EXCHANGED):
            self._tell_compared()

    def _sounded(self, told: CueSounded) -> None:
        if told.cue not in ("tick", "click"):
            self._sound = told

    def _gate_changed(self, told: GateChanged) -> None:
        self._gate = told.state

    def _add_point(self, source: str, celsius: float | None) -> None:
        if self._points and self._t_s < self._points[-1].t_s + self._point_every_s:
            return
        bath = next((r for r in self._readings.values() if r.role == "bath" and r.quality == "good"), None)
        developer_c = None if source == "clock" else celsius  # what the plan says was never seen
        speaks = [r for name, r in self._readings.items() if name in self._trust.told.lost and r.role in ("developer", "witness")]
        own_c = next((r.celsius for r in speaks if r.quality == "good" and self._t_s - r.t_s <= FRESH_S), None)
        self._points.append(Point(self._t_s, developer_c, source in ESTIMATED, None if bath is None else bath.celsius, own_c))
        if len(self._points) >= MOST_POINTS:
            self._points = self._points[::2]
            self._point_every_s *= 2.0
