"""The moments of a run: where READY, NOW and the end will be, when they stop moving, and what is called and written then.

READY fixes all three half a second before it sounds. Nothing here knows of presses or of what follows; `passage` does.
Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from typing import Any, Literal

from monitor.core.journal import records
from monitor.core.recipe.values import READY_AFTER_BEGIN_LEAST_S
from monitor.core.session import sounds
from monitor.core.session.counting import Counting
from monitor.core.session.desk import Desk
from monitor.core.session.fixed_times import AHEAD_S, CONFIRM_READY_S, CONFIRM_STEP_S, EPS_S, GROUP_GAP_S, LEAP_S, READY_TO_NOW_LEAST_S
from monitor.core.session.runs import Current, Run, RunStep


class Moments:
    """Plans, fixes and tells the moments of the runs of one session."""

    def __init__(self, desk: Desk, counting: Counting) -> None:
        self._desk = desk
        self._counting = counting

    def plan_from_begin(self, run: Run) -> None:
        """Its integral starts (again) at its begin, and its end is planned anew."""
        self._counting.start(run)
        run.step = RunStep.COUNTING
        self.plan(run)

    def plan(self, run: Run) -> None:
        """Its first forecast. Where READY would come less than 10 s after the begin it is left out, and the end is fixed from the begin."""
        self.forecast(run, self._desk.t_s)
        if run.stage.until == "time" and run.ready_s is not None and run.ready_s - run.begin_s < READY_AFTER_BEGIN_LEAST_S:
            run.ready_s = None
            run.reach(RunStep.FIXED)

    def forecast(self, run: Run, t_s: float) -> None:
        """Where READY, NOW and the end will be, as known at `t_s`."""
        if run.stage.steer:
            end = self._desk.estimator.end(run.key, run.target_ref_s, t_s)
            run.end_sd_s = end.sd_s
            run.plan(end.end_t_s)
            if self._desk.estimator.odd_for_s(t_s) >= CONFIRM_READY_S:
                run.steady_ready_s = run.ready_s
        else:
            run.plan(run.counts_from_s + run.target_ref_s)

    def forecast_all(self, t_s: float) -> None:
        """The same for every run that is counted and whose end may still move."""
        for run in self._counting.runs:
            if not run.frozen:
                self.forecast(run, t_s)

    def freeze(self, run: Run, current: Current, t_s: float) -> None:
        """READY is due within a moment: forecast once more; if it still is, nothing moves any longer from here on."""
        calls = self._desk.calls
        self.forecast(run, t_s)
        if run.stage.until == "at least":
            if run.end_s > t_s + AHEAD_S + 0.01:
                return
            run.reach(RunStep.FIXED)
            run.end_s = run.ready_s = max(run.end_s, t_s)
            if not run.stage.has_no_clock:
                calls.play("ready", run.end_s, sounds.READY)
            return
        assert run.now_s is not None
        assert run.ready_s is not None
        if run.ready_s > t_s + AHEAD_S + 0.01:
            return
        if self._one_leap(run, t_s):
            run.ready_s = t_s + AHEAD_S + CONFIRM_STEP_S
            return
        overdue = run.ready_s < t_s and calls.back_s is None  # while the program was away nothing moved: it is only told late
        ready_s = run.ready_s if calls.back_s is not None else max(run.ready_s, t_s)
        drain_s = run.end_s - run.now_s
        leads_group = current.last_exit_now_s is None or run.now_s - current.last_exit_now_s > GROUP_GAP_S
        if overdue:
            least_s = ready_s + READY_TO_NOW_LEAST_S if leads_group else t_s
            run.now_s = max(run.now_s, least_s)
        run.end_s = run.now_s + drain_s
        run.reach(RunStep.FIXED)
        run.ready_s = ready_s if leads_group else None
        current.last_exit_now_s = run.now_s if current.last_exit_now_s is None else max(current.last_exit_now_s, run.now_s)
        if leads_group:
            calls.play("ready", ready_s, sounds.READY, run.sheet)

    def _one_leap(self, run: Run, t_s: float) -> bool:
        """READY would sound on the word of readings that have been odd for a few seconds only: without them it is not due, or the end
        that it fixes is another one."""
        steady_s = run.steady_ready_s
        if not run.stage.steer or self._desk.calls.back_s is not None or steady_s is None or run.ready_s is None:
            return False
        odd = self._desk.estimator.odd_for_s(t_s) < CONFIRM_READY_S
        return steady_s > t_s + AHEAD_S + 0.01 or (odd and abs(run.ready_s - steady_s) > LEAP_S)

    def write_ready(self, run: Run, t_s: float) -> None:
        """READY has come."""
        run.reach(RunStep.READY)
        self._write_moment(run, "ready", t_s, now_t_s=run.now_s, end_t_s=run.end_s)

    def call_now(self, run: Run, runs: list[Run], t_s: float) -> None:
        """NOW is due within a moment. Of a group of sheets the last has NOW and its repeats, the others have the sheet's call once."""
        run.reach(RunStep.CALLED)
        onset_s = run.now_s if run.now_s is not None else t_s
        later = [r for r in runs if r is not run and r.now_s is not None and onset_s < r.now_s <= onset_s + GROUP_GAP_S]
        self._desk.calls.call_now(run, onset_s, sounds.SHEET_NOW if later else sounds.NOW, not later and self._desk.options.has_switch)

    def write_now(self, run: Run, t_s: float) -> None:
        """NOW has come."""
        run.reach(RunStep.NOW)
        self._write_moment(run, "now", run.now_s if run.now_s is not None else t_s, end_t_s=run.end_s)

    def call_at_most(self, current: Current, t_s: float) -> None:
        """The longest time of an at-least stage is over within a moment."""
        assert current.at_most_at_s is not None
        current.at_most_called = True
        onset_s = max(current.at_most_at_s, t_s)
        self._desk.calls.call_now(current.runs[-1], onset_s, sounds.NOW, self._desk.options.has_switch)

    def write_at_most(self, current: Current, t_s: float) -> None:
        """It is over."""
        current.at_most_said = True
        self._write_moment(current.runs[-1], "now", t_s, why="the longest time is over")

    def end(self, run: Run, current: Current, t_s: float) -> None:
        """The planned end has come, or a press says that the film goes on before it: told once."""
        if run.over:
            return
        self._counting.tell(run, t_s)
        if run.now_s is not None and run.step < RunStep.NOW:
            self.write_now(run, t_s)
        run.reach(RunStep.OVER)
        if run.stage.until == "at least" and t_s >= run.end_s - EPS_S:
            self._write_moment(run, "minimum", run.end_s)
        self._write_moment(run, "end", run.end_s)
        if all(r.over for r in current.runs):
            desk = self._desk
            celsius = desk.estimator.temperature(desk.t_s).celsius
            current.band.close(current.stage, celsius, current.begin_s, desk.t_s, desk.compared, desk.write)

    def _write_moment(self, run: Run, moment: Literal["ready", "now", "minimum", "end"], t_s: float, **more: Any) -> None:
        self._desk.write(
            records.StageMoment(t_s=t_s, stage=run.stage.number, name=run.stage.name, moment=moment, sheet=run.sheet, **more)
        )
