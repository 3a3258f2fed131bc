"""What a view of a session knows: made from the session's snapshots and its records, as plain values.

Decides what counts as the time left (it never grows unless that has been said), since when a probe is not believed, how long
the developer was only estimated, and which points the small trace has. It knows no session object: a rehearsal and a
follower at the end of a socket feed it the same dicts. Pure; memory is bounded. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.core.journal.summary import ESTIMATED
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.recipe.values import Recipe, Stage

HOLD_S = 5.0
"""A count that would have to grow by no more stands still until time has caught up; beyond it the change is said."""
SETTLING_S = 15.0
"""So long after a stage's begin no change of its end is said: the first readings are still being understood."""
SAY_MOVED_S = 10.0
"""An end that has crept away by so much since it was last said is said again."""
LASTING_S = 20.0
"""Only what has lasted this long is said: a forecast that starts at a splash and comes back is no news. Until then the count stands."""
NOTICE_S = 60.0
MOST_POINTS = 1200
"""A trace longer than this is thinned to half; 1200 points are more than any terminal has dots."""


class Countdown:
    """The time left of one film in one stage, as shown: it never grows, unless `update` has said so."""

    def __init__(self, begin_s: float, end_s: float) -> None:
        self._begin_s = begin_s
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
        say = (lasting and t_s >= self._begin_s + SETTLING_S) or (freezes and abs(moved_s) >= 1.0) or (frozen and gap_s > 0.5)
        if say:
            self._said_end_s, self._off_since_s = end_s, None
        self.left_s = left_s if say else min(self.left_s, left_s)
        return moved_s if say else None


@dataclass(frozen=True, slots=True)
class Point:
    """One moment of the trace. `estimated`: the developer was not measured then. None: not known."""

    t_s: float
    developer_c: float | None
    estimated: bool
    bath_c: float | None


@dataclass(slots=True)
class _Run:
    """One film in one stage, as told by records."""

    stage: int
    sheet: int | None
    begin_s: float
    target_ref_s: float
    end_s: float
    end_sd_s: float = 0.0
    frozen: bool = False
    now_s: float | None = None
    done_ref_s: float | None = None
    done_sd_ref_s: float | None = None
    over: bool = False
    left: bool = False


@dataclass(slots=True)
class _Trust:
    lost: dict[str, tuple[str, float | None]] = field(default_factory=dict)
    back: dict[str, tuple[float, float]] = field(default_factory=dict)


class Watched:
    """Feed it every `record` in order, and a `snapshot` whenever there is one; `state` and `trace` are what is drawn.

    `opening` has `probes` and `vessel` as the session's open record has them, for a view that comes too late to see it; `mode` is
    said beside the name, `keys` at the bottom.
    """

    def __init__(self, recipe: Recipe, mode: str, opening: Mapping[str, Any] | None = None, keys: str = "") -> None:
        self._name = recipe.name
        self._mode = mode
        self._keys = keys
        self._colour = recipe.film == "colour"
        self._stages = [_plain_stage(stage) for stage in recipe.stages]
        self._sheets = None if recipe.sheets is None else recipe.sheets.count
        self._probes: dict[str, dict[str, Any]] = {}
        self._readings: dict[str, dict[str, Any]] = {}
        self._coupled_to = "bath"
        self._compared = False
        self._runs: dict[tuple[int, int | None], _Run] = {}
        self._stage: int | None = None
        self._t_s = 0.0
        self._snapshot: Mapping[str, Any] | None = None
        self._progress: Mapping[str, Any] | None = None
        self._progress_at_s: float | None = None
        self._trust = _Trust()
        self._gate = "none"
        self._sound: dict[str, Any] | None = None
        self._estimated_s = 0.0
        self._closed: str | None = None
        self._unconfirmed = False
        self._countdowns: dict[tuple[int, int | None, float], Countdown] = {}
        self._notices: list[tuple[float, str]] = []
        self._moved: list[float] = []
        self._points: list[Point] = []
        self._point_every_s = 1.0
        self._begins: list[tuple[float, str]] = []
        self._by_kind: Mapping[str, Callable[[Mapping[str, Any]], None]] = {
            "session": self._session_record,
            "reading": self._reading_record,
            "stage": self._stage_record,
            "correction": self._correction_record,
            "tap": self._tap_record,
            "progress": self._progress_record,
            "trust": self._trust_record,
            "cue": self._cue_record,
            "gate": self._gate_record,
        }
        if opening is not None:
            self._open(opening)

    # -- what comes in ----------------------------------------------------------------------------------------------

    def record(self, record: Mapping[str, Any]) -> None:
        """One record of the session."""
        kind = record["kind"]
        if kind in self._by_kind:
            self._by_kind[kind](record)
        self._t_s = max(self._t_s, float(record["t_s"]))
        self._count()

    def snapshot(self, seen: Mapping[str, Any]) -> None:
        """A snapshot of the session (`Session.view`, or what a station sent of it)."""
        self._snapshot = seen
        self._t_s = max(self._t_s, float(seen["t_s"]))
        self._compared = bool(seen["compared"])
        for probe in [p for p in self._trust.lost if p not in seen["lost"]]:
            del self._trust.lost[probe]
        for probe, why in seen["lost"].items():
            self._trust.lost.setdefault(probe, (why, None))
        self._add_point(seen)
        self._count()

    def notice(self, words: str) -> None:
        """Something to be shown for a while."""
        self._notices = [*self._notices[-3:], (self._t_s, words)]

    def take_moved(self) -> list[float]:
        """Changes of an end that must be said and have not been taken yet, seconds; positive: later."""
        moved, self._moved = self._moved, []
        return moved

    # -- what is drawn ----------------------------------------------------------------------------------------------

    @property
    def trace(self) -> list[Point]:
        """Points of the small trace, in the order of time."""
        return self._points

    @property
    def begins(self) -> list[tuple[float, str]]:
        """Session time and name of each stage that has begun."""
        return self._begins

    @property
    def state(self) -> dict[str, Any]:
        """Everything else, as plain values; `seen` has the keys of a snapshot."""
        seen = self.seen
        run_left = self._countdowns.get(self._key(seen))
        begun = seen["began_s"] is not None and seen.get("end_t_s") is not None
        plan_s = self._planned_end(seen) if begun else None
        return {
            "name": self._name,
            "mode": self._mode,
            "keys": self._keys,
            "colour": self._colour,
            "stages": self._stages,
            "sheets": self._sheets,
            "begins": self._begins,
            "t_s": self._t_s,
            "seen": seen,
            "left_s": None if run_left is None else run_left.left_s,
            "moved_s": None if plan_s is None else seen["end_t_s"] - plan_s,
            "probes": self._probes,
            "readings": self._readings,
            "coupled_to": self._coupled_to,
            "lost": dict(self._trust.lost),
            "back": dict(self._trust.back),
            "estimated_s": self._estimated_s,
            "sound": self._sound,
            "exits": [(r.sheet, r.end_s) for r in self._runs.values() if r.sheet is not None and not r.left],
            "notices": [words for t_s, words in self._notices if self._t_s - t_s <= NOTICE_S],
            "closed": self._closed,
        }

    @property
    def seen(self) -> Mapping[str, Any]:
        """The newest snapshot, or the same made of records where none has come."""
        return self._snapshot if self._snapshot is not None else self._seen_by_records()

    def _seen_by_records(self) -> dict[str, Any]:
        run, progress = self._due(), self._progress
        stage = None if self._stage is None else self._stages[self._stage - 1]
        began_s = next((r.begin_s for r in self._runs.values() if r.stage == self._stage), None)
        seen: dict[str, Any] = {
            "t_s": self._t_s,
            "stages": len(self._stages),
            "stage": self._stage,
            "name": None if stage is None else stage["name"],
            "role": None if stage is None else stage["role"],
            "until": None if stage is None else stage["until"],
            "steered": stage is not None and stage["steer"],
            "began_s": began_s,
            "developer_c": None if progress is None else progress["developer_c"],
            "developer_sd_c": None if progress is None else progress["developer_sd_c"],
            "developer_age_s": None if progress is None else progress.get("age_s"),
            "source": "clock" if progress is None else progress["source"],
            "compared": self._compared,
            "lost": {probe: why for probe, (why, _) in self._trust.lost.items()},
            "gate": self._gate,
            "unconfirmed": self._unconfirmed,
            "closed": self._closed is not None,
        }
        if run is not None:
            seen |= {
                "sheet": run.sheet, "now_s": run.now_s, "end_t_s": run.end_s, "end_sd_s": run.end_sd_s, "frozen": run.frozen,
                "done_ref_s": run.done_ref_s, "done_sd_ref_s": run.done_sd_ref_s, "target_ref_s": run.target_ref_s,
            }  # fmt: skip
        return seen

    def _due(self) -> _Run | None:
        return min((r for r in self._runs.values() if r.stage == self._stage and not r.left), key=lambda r: r.end_s, default=None)

    # -- the time left ----------------------------------------------------------------------------------------------

    @staticmethod
    def _key(seen: Mapping[str, Any]) -> tuple[int, int | None, float]:
        return seen["stage"] or 0, seen.get("sheet"), seen["began_s"] or 0.0

    def _planned_end(self, seen: Mapping[str, Any]) -> float:
        """Where the end would be by the clock alone."""
        run = self._runs.get((seen["stage"], seen.get("sheet")))
        begin_s = seen["began_s"] if run is None else run.begin_s
        stage = self._stages[seen["stage"] - 1]
        return float(begin_s + seen["target_ref_s"] + stage["beyond_target_s"])

    def _count(self) -> None:
        seen = self.seen
        if seen["stage"] is None or seen.get("end_t_s") is None:
            return
        key = self._key(seen)
        if key not in self._countdowns:
            self._countdowns = {k: c for k, c in self._countdowns.items() if k[0] == key[0]}
            self._countdowns[key] = Countdown(seen["began_s"], self._planned_end(seen))
        moved_s = self._countdowns[key].update(self._t_s, seen["end_t_s"], bool(seen.get("frozen")))
        if moved_s is not None and seen["steered"]:
            self._moved.append(moved_s)
            self.notice(f"end moved {abs(moved_s):.0f} s {'later' if moved_s >= 0 else 'earlier'}")

    # -- records ----------------------------------------------------------------------------------------------------

    def _session_record(self, record: Mapping[str, Any]) -> None:
        if record["event"] == "open":
            self._open(record)
        elif record["event"] == "close":
            self._closed = str(record["why"])

    def _open(self, opening: Mapping[str, Any]) -> None:
        self._learn_probes(opening.get("probes", ()))
        if opening.get("vessel") is not None:
            self._coupled_to = opening["vessel"]["coupled_to"]

    def _learn_probes(self, probes: Iterable[Mapping[str, Any]]) -> None:
        for told in probes:
            name = str(told["name"] if "name" in told else told["probe"])
            sd_c = float(told.get("comparison_sd_c", NOT_COMPARED_SD_C))
            self._probes[name] = {"role": told["role"], "sd_c": sd_c, "compared": sd_c < NOT_COMPARED_SD_C - 1e-6}
        speaking = [p for p in self._probes.values() if p["role"] in ("developer", "witness")] or list(self._probes.values())
        self._compared = bool(speaking) and all(p["compared"] for p in speaking)

    def _reading_record(self, record: Mapping[str, Any]) -> None:
        known = self._readings.setdefault(record["probe"], {"celsius": None, "t_s": record["t_s"]})
        known |= {"role": record["role"], "quality": record["quality"]}
        if record["celsius"] is not None:
            known |= {"celsius": record["celsius"], "t_s": record["t_s"]}

    def _stage_record(self, record: Mapping[str, Any]) -> None:
        number, sheet, event = int(record["stage"]), record.get("sheet"), record["event"]
        if event == "begin":
            self._begin(record, number, sheet)
            return
        run = self._runs.get((number, sheet)) or self._runs.get((number, None))
        if run is None:
            return
        if event in ("ready", "now") and record.get("end_t_s") is not None:
            run.frozen, run.end_s = True, record["end_t_s"]
            run.now_s = record.get("now_t_s", record["t_s"])
        elif event == "end":
            run.over, run.frozen, run.end_s = True, True, record["t_s"]

    def _begin(self, record: Mapping[str, Any], number: int, sheet: int | None) -> None:
        for before in self._runs.values():
            if before.stage == number - 1 and (sheet is None or before.sheet in (None, sheet)):
                before.left = True
        self._unconfirmed = bool(record.get("assumed")) and number > 1
        if "target_ref_s" not in record:
            return
        stage = self._stages[number - 1]
        entering = sheet if stage["role"] == "develop" and self._sheets is not None else None
        target_s, begin_s = record["target_ref_s"], record["t_s"]
        run = _Run(number, entering, begin_s, target_s, begin_s + target_s + stage["beyond_target_s"])
        if record.get("end_t_s") is not None:
            run.end_s, run.now_s, run.frozen = record["end_t_s"], record.get("now_t_s"), True
        if number != self._stage:
            self._begins.append((begin_s, stage["name"]))
            if stage["role"] == "develop":
                self._estimated_s, self._progress_at_s = 0.0, begin_s
        self._stage = number
        self._runs[number, entering] = run

    def _correction_record(self, record: Mapping[str, Any]) -> None:
        number, begin_s = int(record["stage"]), float(record["begin_t_s"])
        self._unconfirmed = False
        run = self._runs.get((number, None))
        if run is None:
            return
        run.end_s += begin_s - run.begin_s
        run.now_s = None if run.now_s is None else run.now_s + begin_s - run.begin_s
        run.begin_s, run.over, run.left, self._stage = begin_s, False, False, number
        self._runs = {key: r for key, r in self._runs.items() if key[0] <= number}
        self._begins = [*(b for b in self._begins if b[0] < begin_s and b[1] != self._stages[number - 1]["name"])]
        self._begins.append((begin_s, self._stages[number - 1]["name"]))

    def _tap_record(self, record: Mapping[str, Any]) -> None:
        if record["meaning"] == "poured":
            self._unconfirmed = False

    def _progress_record(self, record: Mapping[str, Any]) -> None:
        self._progress = record
        run = self._runs.get((record["stage"], record.get("sheet")))
        if run is not None:
            run.done_ref_s, run.done_sd_ref_s = record["done_ref_s"], record["done_sd_ref_s"]
            if not run.frozen:
                run.end_s, run.end_sd_s = record["end_t_s"], record.get("end_sd_s", 0.0)
        t_s = float(record["t_s"])
        if self._progress_at_s is not None and record["source"] in ESTIMATED:
            self._estimated_s += max(0.0, t_s - self._progress_at_s)
        self._progress_at_s = t_s
        if self._snapshot is None:
            self._add_point(record)

    def _trust_record(self, record: Mapping[str, Any]) -> None:
        probe = str(record["probe"])
        if record["believed"]:
            lost = self._trust.lost.pop(probe, None)
            if lost is not None and lost[1] is not None:
                self._trust.back[probe] = (lost[1], float(record["t_s"]))
        elif "source" in record:
            self._trust.lost[probe] = (str(record["why"]), float(record["since_t_s"]))

    def _cue_record(self, record: Mapping[str, Any]) -> None:
        self._sound = {"cue": record["cue"], "t_s": record["t_s"], "why": record.get("why"), "sheet": record.get("sheet")}

    def _gate_record(self, record: Mapping[str, Any]) -> None:
        self._gate = str(record["state"])

    def _add_point(self, told: Mapping[str, Any]) -> None:
        if self._points and self._t_s < self._points[-1].t_s + self._point_every_s:
            return
        bath = next((r for r in self._readings.values() if r["role"] == "bath" and r["quality"] == "good"), None)
        developer_c = None if told["source"] == "clock" else told["developer_c"]  # what the plan says was never seen
        self._points.append(Point(self._t_s, developer_c, told["source"] in ESTIMATED, None if bath is None else bath["celsius"]))
        if len(self._points) >= MOST_POINTS:
            self._points = self._points[::2]
            self._point_every_s *= 2.0


def _plain_stage(stage: Stage) -> dict[str, Any]:
    """A stage of the recipe as plain values. `beyond_target_s`: how much later than its begin plus its time the planned end is."""
    full_to_empty = stage.counted == "full to empty"
    return {
        "number": stage.number,
        "name": stage.name,
        "role": stage.role,
        "until": stage.until,
        "steer": stage.steer,
        "target_ref_s": stage.target_ref_s,
        "beyond_target_s": stage.fill_s + (stage.drain_s if stage.until == "time" else 0.0) if full_to_empty else 0.0,
        "drain_s": stage.drain_s,
        "jug": stage.jug,
        "solution": stage.solution,
        "at_most_s": stage.at_most_s,
        "agitation": [(b.from_s, b.every_s, b.for_s) for b in stage.agitation],
        "continuous": stage.continuous,
        "gate": None if stage.gate is None else (stage.reference_c, stage.gate.band_c, stage.gate.for_s),
    }
