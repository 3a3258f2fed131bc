"""One session as a function of (state, event at time) to (state, effects): what is heard, when, and what is written down.

No clock, no input or output, no threads; the same file runs live and in rehearsal. Events come in as method calls with
their time, effects go out as lists to be carried out in order (`monitor.core.session.effects`); an effect that failed comes back as
an event (`dropped`, `note`). What a press means is looked up in `monitor.core.session.stages`; temperature and development are the
estimator's; sounds share the sounder by `monitor.core.session.cues.Mixer` in the driver.

A stage in four moments: READY (forecast, NOW and end freeze), NOW (hands move), the planned end, the tap that says it was
so. Without that tap the next begin is assumed, NOW goes on every 10 s, and the first later tap corrects it.
Tests: tests/core/session/test_session.py, tests/core/session/test_session_sheets.py, tests/live/test_rehearsal.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from monitor.core.development.beliefs import Beliefs, TrustChange
from monitor.core.development.estimator import Estimator
from monitor.core.journal.records import SCHEMA_VERSION
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import Reading
from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.recipe.values import READY_AFTER_BEGIN_LEAST_S, Recipe, Stage
from monitor.core.session import cues
from monitor.core.session.calls import AHEAD_S, Calls
from monitor.core.session.cues import Cue, Sound
from monitor.core.session.effects import Close, Effect, Lamp, Write
from monitor.core.session.foot import BEGIN_S, STUCK_S, TAP_S
from monitor.core.session.stages import (
    AT_ONCE,
    DUE_BEFORE_END_S,
    GROUP_GAP_S,
    MEANING,
    NO_SWITCH_LEAD_S,
    PROGRESS_EVERY_S,
    SECOND_QUESTION_S,
    Current,
    Length,
    Meaning,
    Phase,
    Run,
    has_no_clock,
    is_counted,
    pace_of,
)
from monitor.core.session.watch import DataRange, Gate

BEAT_S = 1.0
GATE_RETRY_S = 1.0
_EPS = 1e-6

Timer = tuple[float, Callable[[float], None]]


@dataclass(frozen=True, slots=True)
class Options:
    """How this session runs. `has_switch` False: begins are assumed, without repeats. `override_gate`: the person's reason."""

    mode: Literal["live", "rehearsal"]
    has_switch: bool = True
    lamp: bool = False
    override_gate: str | None = None


@dataclass(frozen=True, slots=True)
class Awaits:
    """What the session waits for the hands to do, and when: for the simulated person and for the view. `at_s` None: not yet."""

    what: Literal["begin", "sheet", "pour", "nothing"]
    at_s: float | None


@dataclass(slots=True)
class _Press:
    down_s: float
    phase: Phase
    settled: bool = False
    stuck: bool = False


@dataclass(slots=True)
class _Unconfirmed:
    """A begin that no tap has confirmed: of stage `index` (0-based), with what was left for it still counting."""

    index: int
    seq: int
    sheet: int | None
    left_run: Run


class Session:
    """One session. The driver carries out the returned effects in order and calls `wake` whenever `next_wake_s` has come.

    Times are session seconds; they never fall from call to call, though a reading's own `t_s` lies in the past.
    """

    def __init__(self, recipe: Recipe, beliefs: Beliefs, options: Options) -> None:
        self.recipe = recipe
        self.beliefs = beliefs
        self.options = options
        self.closed = False
        self._estimator = Estimator(beliefs)
        self._effects: list[Effect] = []
        self._t_s = 0.0
        self._seq = 0
        self._calls = Calls(self._effects_append)
        self._index = -1
        self._current: Current | None = None
        self._counting: list[Run] = []
        self._unconfirmed: _Unconfirmed | None = None
        self._last_exit_now_s: float | None = None
        self._keys = 0
        self._press: _Press | None = None
        self._question_s: float | None = None
        self._second_question = False
        self._beat_s: float | None = None
        self._progress_s: float | None = None
        self._lost: dict[str, str] = {}
        self._data = DataRange()
        self._gate = Gate()
        self._armed_s = 0.0
        self._last_cue: tuple[Cue, float] | None = None
        self._folding: int | None = None
        self._unheard_now: Run | None = None
        self._heard_now_s = -math.inf
        self._spread_s = 0.0
        self._next_wake_s: float | None = None
        self._stale = True

    # -- what the driver asks ---------------------------------------------------------------------------------------

    @property
    def next_wake_s(self) -> float | None:
        """When the session wants `wake` next, None if only an event can move it."""
        if self._stale:
            self._next_wake_s = min((at for at, _ in self._timers()), default=None)
            self._stale = False
        return self._next_wake_s

    @property
    def awaits(self) -> Awaits:
        """What the hands are expected to do next."""
        if self.closed:
            return Awaits("nothing", None)
        current = self._current
        if current is None:
            return Awaits("begin", None if self._gate.closed_for(0) else self._armed_s)
        sheets = self.recipe.sheets
        if sheets is not None and current.stage.role == "develop" and current.entered < sheets.count:
            return Awaits("sheet", current.runs[-1].begin_s + sheets.interval_s)
        run = self._due_run()
        if run is None or (self._is_last and run.stage.until == "time"):
            return Awaits("nothing", None)
        if run.stage.until == "time" and not run.frozen:
            return Awaits("pour", None)
        if run.stage.until == "at least" and self._gate.closed_for(self._index + 1):
            return Awaits("pour", None)
        return Awaits("pour", run.end_s)

    @property
    def waits_for_gate(self) -> bool:
        """Whether a closed gate is all that holds the hands back: before the first begin, or past a stage's planned end."""
        run = self._due_run()
        return self._gate.closed_for(self._index + 1) and (run is None or self._t_s >= run.end_s)

    @property
    def view(self) -> dict[str, Any]:
        """A snapshot for status, followers and views; plain values, units in names, None where nothing is known."""
        temperature = self._estimator.temperature(self._t_s)
        current, run = self._current, self._due_run()
        seen: dict[str, Any] = {
            "t_s": self._t_s,
            "stages": len(self.recipe.stages),
            "stage": None if current is None else current.stage.number,
            "name": None if current is None else current.stage.name,
            "role": None if current is None else current.stage.role,
            "until": None if current is None else current.stage.until,
            "steered": current is not None and current.stage.steer,
            "began_s": None if current is None else current.begin_s,
            "planned_s": None if current is None else current.stage.target_ref_s,
            "developer_c": temperature.celsius,
            "developer_sd_c": temperature.sd_c,
            "developer_age_s": temperature.age_s,
            "source": temperature.source,
            "compared": self._is_compared,
            "lost": dict(self._lost),
            "gate": self._gate.state,
            "unconfirmed": self._unconfirmed is not None,
            "spread_s": self._spread_s,
            "last_cue": None if self._last_cue is None else {"cue": self._last_cue[0], "t_s": self._last_cue[1]},
            "closed": self.closed,
        }
        if run is not None:
            done = self._estimator.done(run.key, self._t_s) if run in self._counting else None
            seen |= {
                "sheet": run.sheet,
                "ready_s": run.ready_s,
                "now_s": run.now_s,
                "end_t_s": run.end_s,
                "end_sd_s": run.end_sd_s,
                "frozen": run.frozen,
                "done_ref_s": None if done is None else done.done_ref_s,
                "done_sd_ref_s": None if done is None else done.sd_ref_s,
                "target_ref_s": run.target_ref_s,
            }
        return seen

    # -- events -----------------------------------------------------------------------------------------------------

    def open(self, t_s: float, opening: Mapping[str, Any]) -> list[Effect]:
        """Arm. `opening` are fields of the `session` open record beyond recipe and mode (version, zone, probes ...)."""
        self._t_s = self._armed_s = t_s
        fields = {"event": "open", "schema": SCHEMA_VERSION, "name": self.recipe.name, "mode": self.options.mode}
        self._write("session", t_s, **fields, **opening, recipe=self.recipe.data)
        self._beat_s = t_s + BEAT_S
        self._arm_gate(0, t_s)
        self._allow_lamp(self.recipe.stages[0])
        return self._out()

    def take(self, reading: Reading, t_s: float) -> list[Effect]:
        """A reading has arrived at `t_s`."""
        self._advance(t_s)
        self._write(
            "reading",
            reading.t_s,
            probe=reading.probe,
            role=reading.role,
            raw_c=reading.raw_c,
            celsius=reading.celsius,
            quality=reading.quality,
        )
        changes = self._estimator.read(reading)
        if changes:
            self._trust(changes, t_s)
        return self._out()

    def press(self, t_s: float, down: bool) -> list[Effect]:
        """A clean (debounced) edge of the foot switch."""
        self._advance(t_s)
        if self.closed:
            return self._out()
        if down:
            self._press = _Press(t_s, self._phase(t_s))
            if self._press.phase in ("now", "due", "unconfirmed"):
                self._calls.hush("now")  # if the press turns out to be a question, NOW goes on with its next repeat
            self._calls.play("click", t_s, cues.CLICK)
            if self._press.phase in AT_ONCE:
                self._settle("tap", t_s)
        elif self._press is not None:
            press, self._press = self._press, None
            if not press.settled and not press.stuck:
                held_s = t_s - press.down_s
                self._press = press
                self._settle("tap" if held_s < TAP_S else "question", t_s)
                self._press = None
        self._stale = True
        return self._out()

    def sounded(self, sound: Sound, onset_s: float, lateness_s: float | None) -> list[Effect]:
        """The player began a sound at `onset_s`; `lateness_s` (after the intended onset) is None in a rehearsal."""
        self._advance(onset_s if onset_s > self._t_s else self._t_s)
        fields: dict[str, Any] = {"cue": sound.cue}
        if sound.sheet is not None:
            fields["sheet"] = sound.sheet
        if lateness_s is not None:
            fields["lateness_s"] = lateness_s
        if sound.cue == "fault":
            fields["why"] = self._calls.fault_why
        self._last_cue = (sound.cue, onset_s)
        self._write("cue", onset_s, **fields)
        return self._out()

    def dropped(self, sound: Sound, t_s: float) -> list[Effect]:
        """The player could not sound it: something louder was. A FAULT tries again, a tick is let go."""
        self._advance(t_s)
        if sound.cue == "fault":
            self._calls.last_fault_s = -math.inf
            self._want_fault(self._calls.fault_why, t_s + cues.NOW_REPEAT_S)
        return self._out()

    def note(self, kind: str, fields: Mapping[str, Any], t_s: float) -> list[Effect]:
        """Something that belongs in the journal and moves nothing: a full disk, a dead thread, a step of the wall clock."""
        self._advance(t_s)
        self._write(kind, t_s, **fields)
        return self._out()

    def fault(self, why: str, t_s: float) -> list[Effect]:
        """The tool itself is not to be trusted in something that the person must know by ear: a `fault` record and one FAULT."""
        self._advance(t_s)
        self._write("fault", t_s, why=why)
        self._want_fault(why, t_s)
        return self._out()

    def wake(self, t_s: float) -> list[Effect]:
        """The time asked for by `next_wake_s` has come."""
        self._advance(t_s, inclusive=True)
        return self._out()

    def abandon(self, t_s: float, why: str) -> list[Effect]:
        """End the session now; `close` carries the reason."""
        self._advance(t_s)
        if not self.closed:
            self._finish_counting(t_s)
            self._close(t_s, why)
        return self._out()

    # -- an earlier life of this session -----------------------------------------------------------------------------

    def fold(self, record: Mapping[str, Any]) -> None:
        """Take up one record of an earlier life of this session, in the order of the file: the state becomes what it was, no effects."""
        self._folding = int(record["seq"])
        try:
            self._fold(record, float(record["t_s"]))
        finally:
            self._seq, self._folding = int(record["seq"]), None
            self._effects.clear()
            self._stale = True

    def resume(self, t_s: float, gap_s: float | None, same_boot: bool, spread_s: float = 0.0) -> list[Effect]:
        """Go on at `t_s` after folding. `gap_s`: how long nothing was recorded, None if unknown; `spread_s`: by how much the time of
        the gap may be wrong (0 on the same boot). Cues that fell into the gap and still matter come at once."""
        self._write("session", t_s, event="resume", gap_s=gap_s, same_boot=same_boot, spread_s=spread_s)
        self._spread_s += spread_s  # a restart on the same boot makes nothing sure again
        self._beat_s = t_s
        current = self._current
        if current is not None:
            current.tick_after_s = t_s - current.begin_s - 1e-3
        if self._progress_s is not None:
            self._progress_s += PROGRESS_EVERY_S * max(0, math.ceil((t_s - self._progress_s) / PROGRESS_EVERY_S))
        if self._calls.now is not None and self._calls.now.next_s is not None:
            self._calls.now.next_s = max(self._calls.now.next_s, t_s + AHEAD_S)
        unheard, self._unheard_now = self._unheard_now, None
        if unheard is not None and not unheard.left and unheard.now_s is not None and self._heard_now_s < unheard.now_s - 0.05:
            self._calls.play("now", t_s, cues.NOW, unheard.sheet)  # it was due, and nothing says that it sounded: rather twice than never
            if self._calls.now is not None and self._calls.now.next_s is not None:
                self._calls.now.next_s = t_s + cues.NOW_REPEAT_S
        for run in list(current.runs) if current is not None else []:
            if run.over and not run.left and run.stage.until == "time":
                self._leave(run, run.end_s, assumed=True)
        if not same_boot:
            self._want_fault("the power was gone; nobody knows for how long: count on the second clock", t_s)
        self._stale = True
        self._advance(t_s, inclusive=True)
        return self._out()

    def _fold(self, record: Mapping[str, Any], t_s: float) -> None:
        kind, event = record["kind"], record.get("event")
        self._t_s = max(self._t_s, t_s)
        if kind == "reading":
            self._estimator.read(Reading(t_s, record["probe"], record["role"], record["raw_c"], record["celsius"], record["quality"]))
        elif kind == "progress":
            self._estimator.advance(t_s)
        elif kind == "session" and event == "open":
            self._armed_s, self._beat_s = t_s, t_s + BEAT_S
            self._arm_gate(0, t_s)
        elif kind == "session" and event == "resume":
            self._spread_s += float(record.get("spread_s") or 0.0)
        elif kind == "stage":
            self._fold_stage(record, str(event), t_s)
        elif kind == "gate":
            self._gate.state = record["state"]
        elif kind == "tap" and record["meaning"] == "heard":
            self._calls.heard()
        elif kind == "correction":
            if self._unconfirmed is not None:
                self._correct(t_s)
        elif kind == "trust":
            if record["believed"]:
                self._lost.pop(record["probe"], None)
            elif "source" in record:
                self._lost[record["probe"]] = record["why"]
        elif kind == "cue":
            self._last_cue = (record["cue"], t_s)
            if record["cue"] == "fault":
                self._calls.last_fault_s = t_s
            elif record["cue"] == "now":
                self._heard_now_s = t_s
                self._calls.count_sounded_now(t_s)

    def _fold_stage(self, record: Mapping[str, Any], event: str, t_s: float) -> None:
        index, sheet, assumed = int(record["stage"]) - 1, record.get("sheet"), bool(record.get("assumed"))
        if event == "begin":
            if self._current is None:
                self._begin_first(t_s, assumed)
            elif index == self._index:
                self._add_run(t_s, assumed, self._current.entered + 1)
            else:
                leaving = [r for r in self._current.runs if not r.left and (r.sheet is None or sheet is None or r.sheet == sheet)]
                if leaving:
                    self._leave(leaving[0], t_s, assumed)
            self._fold_plan(self._find(index, sheet), record)
            return
        run = self._find(index, sheet)
        if run is None:
            return
        if event == "ready":
            run.ready_s, run.ready_said, run.ready_written = t_s, True, True
            self._fold_plan(run, record)
            self._last_exit_now_s = run.now_s
        elif event == "now" and run.now_s is not None:
            run.now_s, run.now_said, run.now_written, run.frozen = t_s, True, True, True
            run.end_s = float(record.get("end_t_s", run.end_s))
            self._call_now(run, t_s)
            self._unheard_now = run  # unless the cue's own record stands beside this one
            if self._calls.now is not None:
                self._calls.now.count = 0  # the cue records that follow are counted
        elif event in ("minimum", "end"):
            run.frozen, run.over = True, True
            run.end_s = t_s

    def _find(self, index: int, sheet: int | None) -> Run | None:
        runs = self._current.runs if self._current is not None and self._index == index else []
        return next((r for r in runs if r.sheet == sheet or r.sheet is None), None)

    @staticmethod
    def _fold_plan(run: Run | None, record: Mapping[str, Any]) -> None:
        if run is not None and record.get("end_t_s") is not None:
            run.now_s, run.end_s, run.frozen = record.get("now_t_s"), float(record["end_t_s"]), True

    # -- time -------------------------------------------------------------------------------------------------------

    def _advance(self, t_s: float, inclusive: bool = False) -> None:
        """Do what became due before `t_s` (or at it), in its order."""
        limit_s = t_s + _EPS if inclusive else t_s - _EPS
        while not self.closed:
            at_s = self.next_wake_s
            if at_s is None or at_s > limit_s:
                break
            due_s, act = min(self._timers(), key=lambda timer: timer[0])
            self._t_s = max(self._t_s, due_s)
            self._stale = True
            act(self._t_s)
        self._t_s = max(self._t_s, t_s)

    def _timers(self) -> Iterator[Timer]:
        """Everything that only the passing of time can bring about. Of two at one moment the first here comes first."""
        if self.closed or self._beat_s is None:
            return
        yield self._beat_s, self._beat
        press = self._press
        if press is not None:
            if not press.settled:
                held = press.phase == "armed"
                yield press.down_s + (BEGIN_S if held else TAP_S), self._held
            elif not press.stuck:
                yield press.down_s + STUCK_S, self._stuck
        if self._calls.fault_s is not None:
            yield self._calls.fault_s - AHEAD_S, lambda t: self._calls.sound_fault(t, self._runs)
        call = self._calls.now
        if call is not None and call.next_s is not None:
            yield call.next_s - AHEAD_S, lambda _: self._calls.repeat_now(self._press is not None and not self._press.settled)
        current = self._current
        if current is None:
            if not self.options.has_switch and not self._gate.closed_for(0):
                yield self._armed_s + NO_SWITCH_LEAD_S, self._assume_first
            return
        sheets = self.recipe.sheets
        if sheets is not None and current.stage.role == "develop" and current.entered < sheets.count:
            yield current.runs[-1].begin_s + sheets.interval_s * 1.5, self._assume_sheet
        tick = self._next_tick(current)
        if tick is not None:
            yield current.begin_s + tick.after_begin_s - AHEAD_S, self._tick
        if current.stage.at_most_s is not None and not current.at_most_said:
            yield current.begin_s + current.stage.at_most_s - AHEAD_S, self._at_most
        for run in current.runs:
            if run.over and not run.left and self._is_last and run.stage.until == "at least" and not self.options.has_switch:
                # nobody can tap it away: the session closes when READY has been heard
                yield run.end_s + cues.length_s(cues.READY), lambda t, run=run: self._leave(run, t, assumed=True)  # type: ignore[misc]
            if run.left or run.over:
                continue
            if not run.frozen:
                at_s = run.ready_s if run.ready_s is not None else run.end_s
                yield at_s - AHEAD_S, lambda t, run=run: self._freeze(run, t)  # type: ignore[misc]
                continue
            if run.ready_said and not run.ready_written and run.ready_s is not None:
                yield run.ready_s, lambda t, run=run: self._write_ready(run, t)  # type: ignore[misc]
            if run.now_s is not None:
                if not run.now_said:
                    yield run.now_s - AHEAD_S, lambda t, run=run: self._say_now(run, t)  # type: ignore[misc]
                elif not run.now_written:
                    yield run.now_s, lambda t, run=run: self._write_now(run, t)  # type: ignore[misc]
            yield run.end_s, lambda t, run=run: self._end(run, t)  # type: ignore[misc]
        if self._progress_s is not None:
            yield self._progress_s, self._progress

    def _beat(self, t_s: float) -> None:
        """Once a second: has a probe gone silent, is the gate open, is the band kept."""
        self._beat_s = t_s + BEAT_S
        changes = self._estimator.advance(t_s)
        if changes:
            self._trust(changes, t_s)
        self._watch_gate(t_s)
        current = self._current
        if current is None or current.stage.role != "develop" or (current.stage.band_c is None and current.stage.law is None):
            return
        temperature = self._estimator.temperature(t_s)
        self._data.watch(current.stage, temperature, t_s, self._write)
        if current.stage.band_c is None or temperature.source == "clock" or t_s <= current.begin_s:
            return
        if any(not r.over for r in current.runs):
            why = current.band.watch(current.stage, temperature.celsius, current.begin_s, t_s, self._write)
            if why is not None:
                self._want_fault(why, t_s)

    def _watch_gate(self, t_s: float) -> None:
        index = next((i for i, s in enumerate(self.recipe.stages) if i > self._index and s.gate is not None), None)
        if index is None:
            return
        if self._gate.watch(self.recipe.stages[index], index, self._estimator.temperature(t_s), t_s, self._write):
            self._stale = True
            self._armed_s = max(self._armed_s, t_s)
            run = self._due_run()
            if self._current is None:
                self._calls.play("ready", t_s, cues.READY)
            elif run is not None and run.over and not self.options.has_switch and not has_no_clock(run.stage):
                self._leave(run, t_s, assumed=True)  # an at-least stage that waited for the gate alone

    # -- sounds -----------------------------------------------------------------------------------------------------

    def _next_tick(self, current: Current) -> Any:
        run = current.runs[-1] if current.runs else None
        if run is None or (run.over and run.stage.until == "at least"):
            return None
        last_now_s = max((r.now_s for r in current.runs if r.now_s is not None), default=None)
        limit_s = last_now_s if last_now_s is not None else current.begin_s + current.stage.target_ref_s
        after_now_s = None if run.stage.until == "at least" else limit_s - current.begin_s
        tick = current.pace.next_tick(current.tick_after_s, after_now_s)
        if tick is None or (run.stage.until == "at least" and tick.after_begin_s >= run.end_s - current.begin_s - _EPS):
            return None
        return tick

    def _tick(self, t_s: float) -> None:
        current = self._current
        assert current is not None
        tick = self._next_tick(current)
        current.tick_after_s = tick.after_begin_s
        onset_s = current.begin_s + tick.after_begin_s
        if onset_s > t_s - AHEAD_S:  # one that could only come late is let go, the rhythm keeps its phase
            self._calls.play("tick", onset_s, cues.DOUBLE_TICK if tick.double else cues.TICK)

    def _say_now(self, run: Run, t_s: float) -> None:
        run.now_said = True
        onset_s = run.now_s if run.now_s is not None else t_s
        self._call_now(run, onset_s)

    def _call_now(self, run: Run, onset_s: float) -> None:
        """The first NOW of a run, and its repeats where there are any."""
        runs = self._runs
        first = run.sheet is None or run is min(runs, key=lambda r: r.end_s)
        last = run.sheet is None or run is max(runs, key=lambda r: r.end_s)
        self._calls.call_now(run, onset_s, cues.NOW if first else cues.SHEET_NOW, last and self.options.has_switch)

    def _want_fault(self, why: str, t_s: float) -> None:
        """A FAULT, except while a reel is being loaded: that is dark and silent."""
        if self._current is None or self._current.stage.role != "load":
            self._calls.want_fault(why, t_s, self._runs)

    @property
    def _runs(self) -> list[Run]:
        return self._current.runs if self._current is not None else []

    # -- trust ------------------------------------------------------------------------------------------------------

    def _trust(self, changes: list[TrustChange], t_s: float) -> None:
        self._stale = True
        for change in changes:
            self._write(
                "trust",
                t_s,
                probe=change.probe,
                believed=change.believed,
                why=change.why,
                since_t_s=change.since_t_s,
                source=change.source,
            )
            if change.believed:
                self._lost.pop(change.probe, None)
                if not self._lost and self._calls.fault_s is not None and self._calls.fault_s > t_s + AHEAD_S:
                    self._calls.fault_s = None  # it waited for its minute and is no longer true
            elif change.loss:
                self._lost[change.probe] = change.why
                if self._development_matters:
                    self._want_fault(f"{change.probe}: {change.why}", t_s)

    @property
    def _development_matters(self) -> bool:
        """Whether a develop stage is running or still to come."""
        return bool(self._counting) or any(is_counted(s) for s in self.recipe.stages[max(self._index, 0) :])

    @property
    def _is_compared(self) -> bool:
        from_probe = [p for p in self.beliefs.probes if p.role in ("developer", "witness")] or list(self.beliefs.probes)
        return bool(from_probe) and all(p.comparison_sd_c < NOT_COMPARED_SD_C - _EPS for p in from_probe)

    def _arm_gate(self, index: int, t_s: float) -> None:
        stage = self.recipe.stages[index] if index < len(self.recipe.stages) else None
        self._gate.arm(stage, index, t_s, self.options.override_gate, self._write)

    # -- begins -----------------------------------------------------------------------------------------------------

    def _assume_first(self, t_s: float) -> None:
        self._begin_first(t_s, assumed=True)

    def _begin_first(self, begin_s: float, assumed: bool = False) -> None:
        self._index = 0
        self._enter(0, begin_s, assumed, None)

    def _enter(self, index: int, begin_s: float, assumed: bool, sheet: int | None) -> Run:
        """The film goes into the stage at `index`; its clock counts from `begin_s`."""
        stage = self.recipe.stages[index]
        loaded = self._current is not None and self._current.stage.role == "load"
        self._index = index
        self._allow_lamp(stage)
        entering = self.recipe.sheets is not None and stage.role == "develop"
        self._current = Current(stage, begin_s, [], pace_of(self.recipe, stage))
        self._current.tick_after_s = self._t_s - begin_s - 1e-3
        self._last_exit_now_s = None
        self._data = DataRange()
        run = self._add_run(begin_s, assumed, 1 if entering else None, sheet)
        self._arm_gate(index + 1, self._t_s)
        self._progress_s = begin_s + PROGRESS_EVERY_S if is_counted(stage) or self._counting else None
        if self._progress_s is not None:
            while self._progress_s <= self._t_s:
                self._progress_s += PROGRESS_EVERY_S
        if loaded and self._lost and self._development_matters and self._folding is None:
            probe, why = next(iter(self._lost.items()))  # it could not be told while the reel was loaded
            self._want_fault(f"{probe}: {why}", self._t_s)
        self._stale = True
        return run

    def _add_run(self, begin_s: float, assumed: bool, entering: int | None, from_sheet: int | None = None) -> Run:
        current = self._current
        assert current is not None
        stage = current.stage
        self._keys += 1
        factor = 1.0
        if entering is not None and self.recipe.sheets is not None:
            factor = self.recipe.sheets.factors[entering - 1]
            current.entered = entering
        run = Run(self._keys, stage, entering, begin_s, stage.target_ref_s * factor)
        current.runs.append(run)
        if is_counted(stage):
            self._counting.append(run)
            self._estimator.begin(run.key, run.counts_from_s, stage.law, stage.reference_c)
        self._forecast(run, self._t_s)
        self._leave_out_ready(run)
        run.begin_seq = self._write_begin(stage, begin_s, assumed, entering if entering is not None else from_sheet, run)
        return run

    def _write_begin(self, stage: Stage, begin_s: float, assumed: bool, sheet: int | None, run: Run | None) -> int:
        fields: dict[str, Any] = {"stage": stage.number, "name": stage.name, "event": "begin", "role": stage.role}
        if sheet is not None:
            fields["sheet"] = sheet
        if assumed:
            fields["assumed"] = True
        if run is not None:
            fields |= {"target_ref_s": run.target_ref_s, "steered": stage.steer}
            if run.frozen:
                fields |= {"now_t_s": run.now_s, "end_t_s": run.end_s}
        if stage.jug is not None:
            fields["jug"] = stage.jug
        if stage.solution is not None:
            fields["solution"] = stage.solution
        return self._write("stage", begin_s, **fields)

    def _assume_sheet(self, t_s: float) -> None:
        current, sheets = self._current, self.recipe.sheets
        assert current is not None
        assert sheets is not None
        self._add_run(current.runs[-1].begin_s + sheets.interval_s, True, current.entered + 1)

    # -- the moments of a run ---------------------------------------------------------------------------------------

    def _forecast(self, run: Run, t_s: float) -> None:
        """Where READY, NOW and the end will be, as known at `t_s`."""
        if run.stage.steer:
            end = self._estimator.end(run.key, run.target_ref_s, t_s)
            run.end_sd_s = end.sd_s
            run.plan(end.end_t_s)
        else:
            run.plan(run.counts_from_s + run.target_ref_s)

    def _leave_out_ready(self, run: Run) -> None:
        """Where READY would come less than 10 s after the begin it is left out, and the end is frozen from the begin; not where
        the gate of the next stage may still put it off."""
        if run.stage.until == "time" and run.ready_s is not None and run.ready_s - run.begin_s < READY_AFTER_BEGIN_LEAST_S:
            if self._gate_to_come(run.stage.number, self._t_s):
                return
            run.ready_s, run.frozen = None, True

    def _gate_to_come(self, index: int, t_s: float) -> bool:
        """Whether the stage at `index` (0-based) has a gate that would not let it begin yet."""
        if index >= len(self.recipe.stages) or self.options.override_gate is not None:
            return False
        stage = self.recipe.stages[index]
        return stage.gate is not None and not self._gate.satisfied(stage, index, t_s)

    def _freeze(self, run: Run, t_s: float) -> None:
        """READY is due within a moment: forecast once more; if it still is, nothing moves any longer from here on."""
        self._forecast(run, t_s)
        if run.stage.until == "at least":
            if run.end_s > t_s + AHEAD_S + 0.01:
                return
            run.frozen = True
            run.end_s = run.ready_s = max(run.end_s, t_s)
            if not has_no_clock(run.stage):
                self._calls.play("ready", run.end_s, cues.READY)
            return
        assert run.now_s is not None
        assert run.ready_s is not None
        if run.ready_s > t_s + AHEAD_S + 0.01:
            return
        overdue = run.ready_s < t_s
        ready_s = max(run.ready_s, t_s)
        if self._gate.closed_for(self._index + 1):
            run.ready_s = t_s + AHEAD_S + GATE_RETRY_S
            return
        drain_s = run.end_s - run.now_s
        leads_group = self._last_exit_now_s is None or run.now_s - self._last_exit_now_s > GROUP_GAP_S
        if overdue:
            least_s = ready_s + cues.READY_TO_NOW_LEAST_S if leads_group else t_s
            run.now_s = max(run.now_s, least_s)
        run.end_s = run.now_s + drain_s
        run.ready_s, run.frozen = ready_s, True
        self._last_exit_now_s = run.now_s if self._last_exit_now_s is None else max(self._last_exit_now_s, run.now_s)
        if leads_group:
            run.ready_said = True
            self._calls.play("ready", ready_s, cues.READY, run.sheet)

    def _write_ready(self, run: Run, t_s: float) -> None:
        run.ready_written = True
        self._write_stage(run, "ready", t_s, now_t_s=run.now_s, end_t_s=run.end_s)

    def _write_now(self, run: Run, t_s: float) -> None:
        run.now_written = True
        self._write_stage(run, "now", run.now_s if run.now_s is not None else t_s, end_t_s=run.end_s)

    def _write_stage(self, run: Run, event: str, t_s: float, **more: Any) -> int:
        fields: dict[str, Any] = {"stage": run.stage.number, "name": run.stage.name, "event": event}
        if run.sheet is not None:
            fields["sheet"] = run.sheet
        return self._write("stage", t_s, **fields, **more)

    def _at_most(self, t_s: float) -> None:
        current = self._current
        assert current is not None
        assert current.stage.at_most_s is not None
        current.at_most_said = True
        run = current.runs[-1]
        onset_s = max(current.begin_s + current.stage.at_most_s, t_s)
        self._write_stage(run, "now", onset_s, why="the longest time is over")
        self._calls.call_now(run, onset_s, cues.NOW, self.options.has_switch)

    def _end(self, run: Run, t_s: float) -> None:
        """The planned end has come."""
        if run.now_s is not None and not run.now_written:
            self._write_now(run, t_s)
        self._tell_progress(run, t_s)
        self._over(run)
        waits = self.options.has_switch or has_no_clock(run.stage) or self._is_last or self._gate.closed_for(self._index + 1)
        if run.stage.until == "at least" and waits:
            return
        self._leave(run, t_s, assumed=True)

    def _over(self, run: Run) -> None:
        if not run.over:
            run.over = True
            if run.stage.until == "at least":
                self._write_stage(run, "minimum", run.end_s)
            self._write_stage(run, "end", run.end_s)
            current = self._current
            if current is not None and run in current.runs and all(r.over for r in current.runs):
                celsius = self._estimator.temperature(self._t_s).celsius
                current.band.close(current.stage, celsius, current.begin_s, self._t_s, self._is_compared, self._write)

    def _leave(self, run: Run, t_s: float, assumed: bool) -> None:
        """The film of this run goes on: by a tap, or assumed at the planned end."""
        if not run.over:
            self._tell_progress(run, t_s)
            if run.now_s is not None and not run.now_written:
                self._write_now(run, t_s)
            self._over(run)
        run.left = True
        current = self._current
        assert current is not None
        remaining = [r for r in current.runs if not r.left]
        waits = assumed and self.options.has_switch and run.stage.until == "time"
        if self._is_last:
            if not remaining:
                self._finish_counting(t_s, told=run)
                self._close(t_s, "finished")
            return
        if not waits:
            self._stop_counting(run)
            self._calls.silence_now()
        if remaining:
            seq = self._write_begin(self.recipe.stages[self._index + 1], t_s, assumed, run.sheet, None)
            if assumed and self._unconfirmed is not None:
                self._stop_counting(self._unconfirmed.left_run)
            self._unconfirmed = _Unconfirmed(self._index + 1, seq, run.sheet, run) if waits else None
            return
        self._calls.hush("tick")
        before = self._unconfirmed
        entered = self._enter(self._index + 1, t_s, assumed, run.sheet)
        if waits:
            if before is not None and before.index == self._index:  # an earlier sheet of the same boundary
                self._stop_counting(before.left_run)
                before = None
            if before is None:
                self._unconfirmed = _Unconfirmed(self._index, entered.begin_seq, run.sheet, run)
            self._calls.keep_calling(run, t_s)
        elif not assumed:
            self._unconfirmed = None

    def _stop_counting(self, run: Run) -> None:
        if run in self._counting:
            self._counting.remove(run)
            self._estimator.forget(run.key)

    def _finish_counting(self, t_s: float, told: Run | None = None) -> None:
        for run in list(self._counting):
            if run is not told:
                self._tell_progress(run, t_s)
            self._stop_counting(run)

    @property
    def _is_last(self) -> bool:
        return self._index == len(self.recipe.stages) - 1

    def _due_run(self) -> Run | None:
        """The run whose end comes next."""
        current = self._current
        if current is None:
            return None
        return min((r for r in current.runs if not r.left), key=lambda r: r.end_s, default=None)

    # -- progress ---------------------------------------------------------------------------------------------------

    def _progress(self, t_s: float) -> None:
        assert self._progress_s is not None
        self._progress_s += PROGRESS_EVERY_S
        if not self._counting:
            self._progress_s = None
            return
        for run in self._counting:
            if not run.frozen and not run.over:
                self._forecast(run, t_s)
            self._tell_progress(run, t_s)

    def _tell_progress(self, run: Run, t_s: float) -> None:
        if run not in self._counting:
            return
        t_s = max(t_s, self._t_s)  # a press that is understood at its release lies before what was told meanwhile
        temperature = self._estimator.temperature(t_s)
        done = self._estimator.done(run.key, t_s)
        fields: dict[str, Any] = {"stage": run.stage.number}
        if run.sheet is not None:
            fields["sheet"] = run.sheet
        self._write(
            "progress",
            t_s,
            **fields,
            developer_c=temperature.celsius,
            developer_sd_c=temperature.sd_c,
            age_s=temperature.age_s,
            done_ref_s=done.done_ref_s,
            target_ref_s=run.target_ref_s,
            done_sd_ref_s=done.sd_ref_s,
            end_t_s=run.end_s,
            end_sd_s=run.end_sd_s,
            **({"earliest_end_t_s": run.end_s - self._spread_s, "latest_end_t_s": run.end_s + self._spread_s} if self._spread_s else {}),
            source=temperature.source,
        )

    # -- the foot ---------------------------------------------------------------------------------------------------

    def _phase(self, t_s: float) -> Phase:
        current = self._current
        if current is None:
            return "armed"
        sheets = self.recipe.sheets
        if sheets is not None and current.stage.role == "develop" and current.entered < sheets.count:
            return "entering"
        run = self._due_run()
        due: Phase = "counting"
        if run is not None:
            if run.stage.until == "at least":
                fixing = run.stage.role in FIXING_ROLES
                due = ("fixed" if fixing else "due") if run.over or t_s >= run.end_s - _EPS else "counting"
            elif run.frozen and t_s >= run.end_s - DUE_BEFORE_END_S - _EPS:
                due = "due"
            elif run.frozen and run.now_s is not None and t_s >= run.now_s - _EPS:
                due = "now"
        if due == "due" and (self._is_last and run is not None and run.stage.until == "time"):
            due = "now"
        if due in ("due", "fixed") and self._gate.closed_for(self._index + 1):
            due = "counting"
        if self._unconfirmed is not None:
            among_sheets = self._unconfirmed.index > self._index
            return due if among_sheets and due == "due" else "unconfirmed"
        return due

    def _held(self, t_s: float) -> None:
        assert self._press is not None
        self._settle("held" if self._press.phase == "armed" else "question", t_s)

    def _stuck(self, t_s: float) -> None:
        assert self._press is not None
        self._press.stuck = True
        self._write("switch", t_s, event="stuck", since_t_s=self._press.down_s)
        self._want_fault(f"the foot switch has been closed for {STUCK_S:.0f} s and is ignored until it opens", t_s)

    def _settle(self, length: Length, t_s: float) -> None:
        """The press is long or short enough to know what it means: write it down and act."""
        press = self._press
        assert press is not None
        press.settled = True
        meaning = MEANING[press.phase, length]
        if meaning == "begin" and press.phase == "armed" and self._gate.closed_for(0):
            meaning = "mark"
        self._write("tap", press.down_s, meaning=meaning)
        self._act(meaning, press, t_s)
        self._stale = True

    def _act(self, meaning: Meaning, press: _Press, t_s: float) -> None:
        if meaning == "question":
            self._answer(press.down_s, t_s)
        elif meaning == "heard":
            self._calls.heard()
        elif meaning == "begin":
            current = self._current
            if current is None:
                self._begin_first(press.down_s)
            else:
                self._add_run(press.down_s, False, current.entered + 1)
        elif meaning == "poured":
            if press.phase == "unconfirmed":
                self._correct(press.down_s)
                return
            run = self._due_run()
            assert run is not None
            self._leave(run, press.down_s, assumed=False)

    def _correct(self, t_s: float) -> None:
        """The first tap after an assumed begin: that begin was now. Begins assumed after it are taken back."""
        doubt, self._unconfirmed = self._unconfirmed, None
        assert doubt is not None
        self._tell_progress(doubt.left_run, t_s)
        self._stop_counting(doubt.left_run)
        self._calls.silence_now()
        self._write("correction", t_s, stage=doubt.index + 1, begin_t_s=t_s, replaces_seq=doubt.seq, **_sheet(doubt.sheet))
        if doubt.index > self._index:
            return  # one sheet of several; the stage's own clock has not begun
        for run in list(self._counting):
            self._stop_counting(run)
        current = self._current
        assert current is not None
        if doubt.index < self._index:
            for run in current.runs:
                self._write("annulled", t_s, stage=current.stage.number, replaces_seq=run.begin_seq)
        self._restart(doubt.index, t_s, doubt.seq)

    def _restart(self, index: int, begin_s: float, seq: int) -> None:
        """The stage at `index` began at `begin_s` after all: everything that was planned from the assumed begin is planned anew."""
        stage = self.recipe.stages[index]
        self._index = index
        self._allow_lamp(stage)
        self._calls.hush("tick", "ready", "now")
        self._keys += 1
        run = Run(self._keys, stage, None, begin_s, stage.target_ref_s, begin_seq=seq)
        entering = self.recipe.sheets is not None and stage.role == "develop"
        self._current = Current(stage, begin_s, [run], pace_of(self.recipe, stage), entered=1 if entering else 0)
        if entering and self.recipe.sheets is not None:
            run.sheet = 1
            run.target_ref_s *= self.recipe.sheets.factors[0]
        self._last_exit_now_s = None
        self._progress_s = None
        if is_counted(stage):
            self._counting.append(run)
            self._estimator.begin(run.key, run.counts_from_s, stage.law, stage.reference_c)
            self._progress_s = begin_s + PROGRESS_EVERY_S
        self._forecast(run, begin_s)
        self._leave_out_ready(run)
        if self._gate.index != index + 1:
            self._arm_gate(index + 1, begin_s)
        self._stale = True

    def _answer(self, press_s: float, t_s: float) -> None:
        """Whole minutes to the end, rounded down; a second question within 3 s: the state of the temperature."""
        second = self._question_s is not None and press_s - self._question_s <= SECOND_QUESTION_S and not self._second_question
        self._second_question = second
        self._question_s = press_s
        self._calls.hush("answer", "over")
        run = self._due_run()
        if second:
            good = not self._lost and not (self._current is not None and self._current.band.told)
            self._calls.play("answer", t_s + cues.AGAIN_S, cues.TICK if good else cues.FAULT)
            return
        if run is None:
            first = self.recipe.stages[0]
            self._calls.play("answer", t_s, cues.answer(int(first.target_ref_s // 60)))
            return
        if run.stage.role in FIXING_ROLES and (run.over or press_s >= run.end_s - _EPS):
            self._calls.play("over", t_s, cues.OVER)
            return
        self._calls.play("answer", t_s, cues.answer(int(max(0.0, run.end_s - press_s) // 60)))

    # -- small ------------------------------------------------------------------------------------------------------

    def _allow_lamp(self, stage: Stage) -> None:
        if self.options.lamp:
            self._effects.append(Lamp(stage.role != "load"))

    def _close(self, t_s: float, why: str) -> None:
        self._calls.hush("tick", "ready", "fault", "answer", "over")
        self._calls.now = None
        self._write("session", t_s, event="close", why=why)
        self.closed = True
        self._stale = True
        if self.options.lamp:
            self._effects.append(Lamp(False))
        self._effects.append(Close(why))

    def _effects_append(self, effect: Effect) -> None:
        self._effects.append(effect)

    def _write(self, kind: str, t_s: float, /, **fields: Any) -> int:
        if self._folding is not None:
            return self._folding
        self._seq += 1
        record: dict[str, Any] = {"seq": self._seq, "t_s": t_s, "kind": kind}
        record.update(fields)
        self._effects.append(Write(record))
        return self._seq

    def _out(self) -> list[Effect]:
        effects, self._effects = self._effects, []
        return effects


def _sheet(sheet: int | None) -> dict[str, int]:
    return {} if sheet is None else {"sheet": sheet}
