"""The film's way through the stages: entering, planning and fixing the end, leaving, correcting a begin that was assumed.

`Film` knows where the film is, what is being counted for it, and which begin nobody has confirmed yet. Sounds are asked of
`calls`, temperature of the estimator; what a press means is decided in `presses`, when something is due in `session`.
Tests: tests/core/session/test_session.py, tests/core/session/test_session_sheets.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from monitor.core.journal import records
from monitor.core.recipe.values import READY_AFTER_BEGIN_LEAST_S, Stage
from monitor.core.session import cues
from monitor.core.session.desk import Desk
from monitor.core.session.effects import Close, Lamp
from monitor.core.session.limits import (
    AHEAD_S,
    GATE_RETRY_S,
    GROUP_GAP_S,
    PROGRESS_EVERY_S,
    READY_TO_NOW_LEAST_S,
)
from monitor.core.session.runs import Current, Run, Step, is_counted, pace_of
from monitor.core.session.watch import DataRange


@dataclass(slots=True)
class Unconfirmed:
    """A begin that no tap has confirmed: of stage `index` (0-based), with what was left for it still counting."""

    index: int
    seq: int
    sheet: int | None
    left_run: Run


class Film:
    """Where the film is. `index`: of its stage (0-based, -1 before the first begin); `counting`: runs whose development goes on."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.index = -1
        self.current: Current | None = None
        self.counting: list[Run] = []
        self.unconfirmed: Unconfirmed | None = None
        self.progress_s: float | None = None
        """When progress is told next, None while nothing is counted."""
        self.data = DataRange()
        self.last_exit_now_s: float | None = None
        """NOW of the last exit that is fixed, for telling groups of sheets apart."""
        self.keys = 0
        """How many integrals have been begun."""

    # -- where it is ------------------------------------------------------------------------------------------------

    @property
    def runs(self) -> list[Run]:
        """The runs of the stage that the film is in."""
        return self.current.runs if self.current is not None else []

    @property
    def is_last(self) -> bool:
        """Whether no stage follows."""
        return self.index == len(self._desk.recipe.stages) - 1

    @property
    def due_run(self) -> Run | None:
        """The run whose end comes next."""
        return min((r for r in self.runs if not r.left), key=lambda r: r.end_s, default=None)

    @property
    def next_sheet(self) -> int | None:
        """The sheet that goes in next, None where no sheets are going in."""
        current, sheets = self.current, self._desk.recipe.sheets
        if current is None or sheets is None or current.stage.role != "develop" or current.entered >= sheets.count:
            return None
        return current.entered + 1

    @property
    def next_sheet_s(self) -> float:
        """When it is expected."""
        sheets = self._desk.recipe.sheets
        assert sheets is not None
        return self.runs[-1].begin_s + sheets.interval_s

    @property
    def development_matters(self) -> bool:
        """Whether a develop stage is running or still to come."""
        return bool(self.counting) or any(is_counted(s) for s in self._desk.recipe.stages[max(self.index, 0) :])

    # -- in ---------------------------------------------------------------------------------------------------------

    def enter(self, index: int, begin_s: float, assumed: bool, from_sheet: int | None = None) -> Run:
        """The film goes into the stage at `index`; its clock counts from `begin_s`. `from_sheet`: the sheet that came last."""
        desk = self._desk
        stage = desk.recipe.stages[index]
        loaded = self.current is not None and self.current.stage.role == "load"
        self.stand_in(index, begin_s).tick_after_s = desk.t_s - begin_s - 1e-3
        self.allow_lamp(stage)
        self.data = DataRange()
        sheet = 1 if desk.recipe.sheets is not None and stage.role == "develop" else None
        run = self._add_run(begin_s, sheet)
        run.begin_seq = self._write_begin(stage, begin_s, assumed, sheet if sheet is not None else from_sheet, run)
        desk.arm_gate(index + 1, desk.t_s)
        self.plan_progress(begin_s, desk.t_s)
        if loaded and desk.lost and self.development_matters:
            probe, why = next(iter(desk.lost.items()))  # it could not be told while the reel was loaded
            self.want_fault(f"{probe}: {why}", desk.t_s)
        return run

    def add_sheet(self, begin_s: float, assumed: bool) -> None:
        """The next sheet goes into the developer."""
        sheet = self.next_sheet
        assert sheet is not None
        run = self._add_run(begin_s, sheet)
        run.begin_seq = self._write_begin(run.stage, begin_s, assumed, sheet, run)

    def stand_in(self, index: int, begin_s: float) -> Current:
        """It is in the stage at `index`, with no runs yet; nothing is said or lit."""
        stage = self._desk.recipe.stages[index]
        self.index = index
        self.current = Current(stage, begin_s, [], pace_of(self._desk.recipe, stage))
        self.last_exit_now_s = None
        return self.current

    def _add_run(self, begin_s: float, sheet: int | None) -> Run:
        current, desk = self.current, self._desk
        assert current is not None
        stage = current.stage
        if sheet is not None and desk.recipe.sheets is not None:
            current.entered = sheet
        self.keys += 1
        run = Run(self.keys, stage, sheet, begin_s, desk.recipe.target_ref_s(stage, sheet))
        current.runs.append(run)
        if is_counted(stage):
            self.counting.append(run)
            desk.estimator.begin(run.key, run.counts_from_s, stage.law, stage.reference_c)
        self.forecast(run, desk.t_s)
        self._leave_out_ready(run)
        return run

    def plan_progress(self, begin_s: float, t_s: float) -> None:
        """Progress is told every two seconds from a begin on, next after `t_s`; where nothing is counted, not at all."""
        stage = self._desk.recipe.stages[self.index]
        self.progress_s = begin_s + PROGRESS_EVERY_S if is_counted(stage) or self.counting else None
        while self.progress_s is not None and self.progress_s <= t_s:
            self.progress_s += PROGRESS_EVERY_S

    def _write_begin(self, stage: Stage, begin_s: float, assumed: bool, sheet: int | None, run: Run | None) -> int:
        fixed = run if run is not None and run.frozen else None
        return self._desk.write(
            records.StageBegun(
                t_s=begin_s,
                stage=stage.number,
                name=stage.name,
                role=stage.role,
                sheet=sheet,
                assumed=assumed,
                target_ref_s=None if run is None else run.target_ref_s,
                steered=None if run is None else stage.steer,
                now_t_s=None if fixed is None else fixed.now_s,
                end_t_s=None if fixed is None else fixed.end_s,
                jug=stage.jug,
                solution=stage.solution,
            )
        )

    def allow_lamp(self, stage: Stage) -> None:
        """The lamp may mirror the sounder in this stage, if the person asked for it."""
        if self._desk.options.lamp:
            self._desk.effects.append(Lamp(stage.role != "load"))

    # -- the moments of a run ---------------------------------------------------------------------------------------

    def forecast(self, run: Run, t_s: float) -> None:
        """Where READY, NOW and the end will be, as known at `t_s`."""
        if run.stage.steer:
            end = self._desk.estimator.end(run.key, run.target_ref_s, t_s)
            run.end_sd_s = end.sd_s
            run.plan(end.end_t_s)
        else:
            run.plan(run.counts_from_s + run.target_ref_s)

    def _leave_out_ready(self, run: Run) -> None:
        """Where READY would come less than 10 s after the begin it is left out, and the end is frozen from the begin; not where
        the gate of the next stage may still put it off."""
        if run.stage.until == "time" and run.ready_s is not None and run.ready_s - run.begin_s < READY_AFTER_BEGIN_LEAST_S:
            if self._gate_to_come(run.stage.number):
                return
            run.ready_s = None
            run.reach(Step.FIXED)

    def _gate_to_come(self, index: int) -> bool:
        """Whether the stage at `index` (0-based) has a gate that would not let it begin yet."""
        desk = self._desk
        if index >= len(desk.recipe.stages) or desk.options.override_gate is not None:
            return False
        stage = desk.recipe.stages[index]
        return stage.gate is not None and not desk.gate.satisfied(stage, index, desk.t_s)

    def freeze(self, run: Run, t_s: float) -> None:
        """READY is due within a moment: forecast once more; if it still is, nothing moves any longer from here on."""
        calls = self._desk.calls
        self.forecast(run, t_s)
        if run.stage.until == "at least":
            if run.end_s > t_s + AHEAD_S + 0.01:
                return
            run.reach(Step.FIXED)
            run.end_s = run.ready_s = max(run.end_s, t_s)
            if not run.stage.has_no_clock:
                calls.play("ready", run.end_s, cues.READY)
            return
        assert run.now_s is not None
        assert run.ready_s is not None
        if run.ready_s > t_s + AHEAD_S + 0.01:
            return
        overdue = run.ready_s < t_s
        ready_s = max(run.ready_s, t_s)
        if self._desk.gate.closed_for(self.index + 1):
            run.ready_s = t_s + AHEAD_S + GATE_RETRY_S
            return
        drain_s = run.end_s - run.now_s
        leads_group = self.last_exit_now_s is None or run.now_s - self.last_exit_now_s > GROUP_GAP_S
        if overdue:
            least_s = ready_s + READY_TO_NOW_LEAST_S if leads_group else t_s
            run.now_s = max(run.now_s, least_s)
        run.end_s = run.now_s + drain_s
        run.reach(Step.FIXED)
        run.ready_s = ready_s if leads_group else None
        self.last_exit_now_s = run.now_s if self.last_exit_now_s is None else max(self.last_exit_now_s, run.now_s)
        if leads_group:
            calls.play("ready", ready_s, cues.READY, run.sheet)

    def write_ready(self, run: Run, t_s: float) -> None:
        """READY has come."""
        run.reach(Step.READY)
        self._write_moment(run, "ready", t_s, now_t_s=run.now_s, end_t_s=run.end_s)

    def call_now(self, run: Run, t_s: float) -> None:
        """NOW is due within a moment: the first one of a run, and its repeats where there are any."""
        run.reach(Step.CALLED)
        last = run.sheet is None or run is max(self.runs, key=lambda r: r.end_s)
        onset_s = run.now_s if run.now_s is not None else t_s
        self._desk.calls.call_now(run, onset_s, cues.NOW if last else cues.SHEET_NOW, last and self._desk.options.has_switch)

    def write_now(self, run: Run, t_s: float) -> None:
        """NOW has come."""
        run.reach(Step.NOW)
        self._write_moment(run, "now", run.now_s if run.now_s is not None else t_s, end_t_s=run.end_s)

    def at_most(self, t_s: float) -> None:
        """The longest time of an at-least stage is over."""
        current = self.current
        assert current is not None
        assert current.stage.at_most_s is not None
        current.at_most_said = True
        run = current.runs[-1]
        onset_s = max(current.begin_s + current.stage.at_most_s, t_s)
        self._write_moment(run, "now", onset_s, why="the longest time is over")
        self._desk.calls.call_now(run, onset_s, cues.NOW, self._desk.options.has_switch)

    def end(self, run: Run, t_s: float) -> None:
        """The planned end has come."""
        self._write_missing_now(run, t_s)
        self.tell_progress(run, t_s)
        self._over(run)
        desk = self._desk
        waits = desk.options.has_switch or run.stage.has_no_clock or self.is_last or desk.gate.closed_for(self.index + 1)
        if run.stage.until == "at least" and waits:
            return
        self.leave(run, t_s, assumed=True)

    def _write_missing_now(self, run: Run, t_s: float) -> None:
        if run.now_s is not None and run.step < Step.NOW:
            self.write_now(run, t_s)

    def _over(self, run: Run) -> None:
        if run.over:
            return
        run.reach(Step.OVER)
        if run.stage.until == "at least":
            self._write_moment(run, "minimum", run.end_s)
        self._write_moment(run, "end", run.end_s)
        current, desk = self.current, self._desk
        if current is not None and run in current.runs and all(r.over for r in current.runs):
            celsius = desk.estimator.temperature(desk.t_s).celsius
            current.band.close(current.stage, celsius, current.begin_s, desk.t_s, desk.compared, desk.write)

    # -- out --------------------------------------------------------------------------------------------------------

    def leave(self, run: Run, t_s: float, assumed: bool) -> None:
        """The film of this run goes on: by a tap, or assumed at the planned end."""
        desk = self._desk
        if not run.over:
            self.tell_progress(run, t_s)
            self._write_missing_now(run, t_s)
            self._over(run)
        run.reach(Step.LEFT)
        remaining = [r for r in self.runs if not r.left]
        waits = assumed and desk.options.has_switch and run.stage.until == "time"
        if self.is_last:
            if not remaining:
                self.finish_counting(t_s, told=run)
                self.close(t_s, "finished")
            return
        if not waits:
            self.stop_counting(run)
            desk.calls.silence_now()
        if remaining:
            seq = self._write_begin(desk.recipe.stages[self.index + 1], t_s, assumed, run.sheet, None)
            if assumed and self.unconfirmed is not None:
                self.stop_counting(self.unconfirmed.left_run)
            self.unconfirmed = Unconfirmed(self.index + 1, seq, run.sheet, run) if waits else None
            return
        desk.calls.hush("tick")
        before = self.unconfirmed
        entered = self.enter(self.index + 1, t_s, assumed, run.sheet)
        if waits:
            if before is not None and before.index == self.index:  # an earlier sheet of the same boundary
                self.stop_counting(before.left_run)
                before = None
            if before is None:
                self.unconfirmed = Unconfirmed(self.index, entered.begin_seq, run.sheet, run)
            desk.calls.keep_calling(run, t_s)
        elif not assumed:
            self.unconfirmed = None

    def correct(self, t_s: float) -> None:
        """The first tap after an assumed begin: that begin was now. Begins assumed after it are taken back."""
        desk, doubt = self._desk, self.unconfirmed
        assert doubt is not None
        self.unconfirmed = None
        self.tell_progress(doubt.left_run, t_s)
        self.stop_counting(doubt.left_run)
        desk.calls.silence_now()
        desk.write(records.Corrected(t_s=t_s, stage=doubt.index + 1, begin_t_s=t_s, replaces_seq=doubt.seq, sheet=doubt.sheet))
        if doubt.index > self.index:
            return  # one sheet of several; the stage's own clock has not begun
        for run in list(self.counting):
            self.stop_counting(run)
        current = self.current
        assert current is not None
        if doubt.index < self.index:
            for run in current.runs:
                desk.write(records.Annulled(t_s=t_s, stage=current.stage.number, replaces_seq=run.begin_seq))
        self._begin_again(doubt.index, t_s, doubt.seq)

    def _begin_again(self, index: int, begin_s: float, seq: int) -> None:
        """The stage at `index` began at `begin_s` after all: everything that was planned from the assumed begin is planned anew."""
        desk = self._desk
        stage = self.stand_in(index, begin_s).stage
        self.allow_lamp(stage)
        desk.calls.hush("tick", "ready", "now")
        self.progress_s = None
        run = self._add_run(begin_s, 1 if desk.recipe.sheets is not None and stage.role == "develop" else None)
        run.begin_seq = seq
        if is_counted(stage):
            self.progress_s = begin_s + PROGRESS_EVERY_S
        if desk.gate.index != index + 1:
            desk.arm_gate(index + 1, begin_s)

    def stop_counting(self, run: Run) -> None:
        """Its development is no longer asked for."""
        if run in self.counting:
            self.counting.remove(run)
            self._desk.estimator.forget(run.key)

    def finish_counting(self, t_s: float, told: Run | None = None) -> None:
        """Tell the last progress of all that is counted, but of `told`."""
        for run in list(self.counting):
            if run is not told:
                self.tell_progress(run, t_s)
            self.stop_counting(run)

    def close(self, t_s: float, why: str) -> None:
        """The session is over."""
        desk = self._desk
        desk.calls.hush("tick", "ready", "fault", "answer", "over")
        desk.calls.now = None
        desk.write(records.Closed(t_s=t_s, why=why))
        desk.closed = True
        if desk.options.lamp:
            desk.effects.append(Lamp(False))
        desk.effects.append(Close(why))

    # -- what is told -----------------------------------------------------------------------------------------------

    def want_fault(self, why: str, t_s: float) -> None:
        """A FAULT, except while a reel is being loaded: that is dark and silent."""
        if self.current is None or self.current.stage.role != "load":
            self._desk.calls.want_fault(why, t_s, self.runs)

    def progress(self, t_s: float) -> None:
        """Every two seconds while something is counted."""
        assert self.progress_s is not None
        self.progress_s += PROGRESS_EVERY_S
        if not self.counting:
            self.progress_s = None
            return
        for run in self.counting:
            if not run.frozen:
                self.forecast(run, t_s)
            self.tell_progress(run, t_s)

    def tell_progress(self, run: Run, t_s: float) -> None:
        """One record of what has been done for this run, if it is counted."""
        if run not in self.counting:
            return
        desk = self._desk
        t_s = max(t_s, desk.t_s)  # a press that is understood at its release lies before what was told meanwhile
        temperature = desk.estimator.temperature(t_s)
        done = desk.estimator.done(run.key, t_s)
        spread_s = desk.spread_s
        desk.write(
            records.Progress(
                t_s=t_s,
                stage=run.stage.number,
                sheet=run.sheet,
                developer_c=temperature.celsius,
                developer_sd_c=temperature.sd_c,
                age_s=temperature.age_s,
                done_ref_s=done.done_ref_s,
                target_ref_s=run.target_ref_s,
                done_sd_ref_s=done.sd_ref_s,
                end_t_s=run.end_s,
                end_sd_s=run.end_sd_s,
                earliest_end_t_s=run.end_s - spread_s if spread_s else None,
                latest_end_t_s=run.end_s + spread_s if spread_s else None,
                source=temperature.source,
            )
        )

    def _write_moment(self, run: Run, moment: Literal["ready", "now", "minimum", "end"], t_s: float, **more: Any) -> None:
        self._desk.write(
            records.StageMoment(t_s=t_s, stage=run.stage.number, name=run.stage.name, moment=moment, sheet=run.sheet, **more)
        )
