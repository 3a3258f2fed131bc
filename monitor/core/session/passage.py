"""The film's way through the stages: waiting, entering, planning and fixing the end, leaving, and begins that are told later.

`Film` knows where the film is, what is being counted for it, and which begin nobody has answered for yet. Sounds are asked of
`calls`, temperature of the estimator; what a press means is decided in `presses`, when something is due in `session`.
Tests: tests/core/session/test_session.py, tests/core/session/test_session_sheets.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from monitor.core.journal import records
from monitor.core.recipe.values import READY_AFTER_BEGIN_LEAST_S, Stage
from monitor.core.session import cues
from monitor.core.session.desk import Desk
from monitor.core.session.effects import Close, Lamp
from monitor.core.session.entry import Entry
from monitor.core.session.limits import (
    AGAIN_WITHIN_S,
    AHEAD_S,
    EPS_S,
    GROUP_GAP_S,
    LAST_DEVELOPER_S,
    OFFER_S,
    PROGRESS_EVERY_S,
    READY_TO_NOW_LEAST_S,
)
from monitor.core.session.runs import Current, Run, Step, is_counted, pace_of
from monitor.core.session.watch import DataRange


@dataclass(slots=True)
class Offer:
    """A begin that was assumed at the planned end, and that a press may still answer: `seq` of its record, `index` of its stage (0-based;
    past the last stage where the session would close). `left`: the run that it ended; `entered`: the run that began, None for a sheet
    whose stage has not begun its clock. `nags`: NOW goes on meanwhile. `until_s`: when it ends at the latest."""

    index: int
    seq: int
    left: Run
    entered: Run | None
    nags: bool
    until_s: float


class Film:
    """Where the film is. `index`: of its stage (0-based, -1 before the first begin); `current`: that stage, None while the next one waits
    for its begin; `counting`: runs whose development goes on. More than 25 methods: every moment of a stage has one, and they share
    the film's state.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.index = -1
        self.current: Current | None = None
        self.counting: list[Run] = []
        self.offer: Offer | None = None
        self.entry: Entry | None = None
        """Sheets that are going in; None before and after."""
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

    def called_run(self, t_s: float) -> Run | None:
        """The run that a press at `t_s` is about: the only one, or of several sheets the one that was called last. None before the first
        call of sheets that are leaving."""
        if len(self.runs) == 1:
            return self.runs[0]
        called = [r for r in self.runs if r.frozen and r.now_s is not None and t_s >= r.now_s - EPS_S]
        return max(called, key=lambda r: r.now_s or 0.0, default=None)

    @property
    def development_matters(self) -> bool:
        """Whether a develop stage is running or still to come."""
        return bool(self.counting) or any(is_counted(s) for s in self._desk.recipe.stages[max(self.index, 0) :])

    def may_begin_again(self, run: Run, t_s: float) -> bool:
        """Whether a press at `t_s` may take the begin of this run again: within two minutes, and before its first call."""
        first_call_s = next((x for x in (run.ready_s, run.now_s) if x is not None), run.end_s)
        return run.again and t_s - run.begin_s <= AGAIN_WITHIN_S + EPS_S and t_s < first_call_s - EPS_S

    # -- in ---------------------------------------------------------------------------------------------------------

    def begin_what_waits(self, press_s: float | None, t_s: float) -> None:
        """The stage that waits begins: with a press, or (None, there is no switch) assumed."""
        self._enter(self.index + 1, t_s if press_s is None else press_s, told=press_s is not None, again=press_s is not None)

    def _enter(
        self, index: int, begin_s: float, told: bool, again: bool = False, from_sheet: int | None = None, origin_s: float | None = None
    ) -> Run:
        """The film goes into the stage at `index`; its clock counts from `begin_s`. `from_sheet`: the sheet that came last;
        `origin_s`: from where the interval of sheets counts that go in now."""
        desk = self._desk
        stage = desk.recipe.stages[index]
        self.stand_in(index, begin_s).tick_after_s = desk.t_s - begin_s - 1e-3
        self.allow_lamp(stage)
        self.data = DataRange()
        sheets, sheet = desk.recipe.sheets, None
        if sheets is not None and stage.role == "develop":
            sheet = 1
            self.entry = Entry(sheets.count, sheets.interval_s, begin_s if origin_s is None else origin_s, told, [begin_s] if told else [])
        run = self._add_run(begin_s, sheet, told)
        run.again = again and sheet is None and stage.role != "load"
        run.begin_seq = self._write_begin(stage, begin_s, told, sheet if sheet is not None else from_sheet, run)
        desk.arm_gate(index + 1, desk.t_s)
        self.plan_progress(begin_s, desk.t_s)
        return run

    def stand_in(self, index: int, begin_s: float) -> Current:
        """It is in the stage at `index`, with no runs yet; nothing is said or lit."""
        stage = self._desk.recipe.stages[index]
        self.index = index
        self.current = Current(stage, begin_s, [], pace_of(self._desk.recipe, stage))
        self.last_exit_now_s = None
        return self.current

    def _add_run(self, begin_s: float, sheet: int | None, told: bool) -> Run:
        current, desk = self.current, self._desk
        assert current is not None
        factor = desk.recipe.sheets.factors[sheet - 1] if sheet is not None and desk.recipe.sheets is not None else 1.0
        self.keys += 1
        run = Run(self.keys, current.stage, sheet, begin_s, current.stage.target_ref_s * factor, told=told)
        current.runs.append(run)
        self._count_from_begin(run)
        return run

    def _count_from_begin(self, run: Run) -> None:
        """Its integral starts (again) at its begin, and its end is planned anew."""
        stage, desk = run.stage, self._desk
        if is_counted(stage):
            if run not in self.counting:
                self.counting.append(run)
            desk.estimator.begin(run.key, run.counts_from_s, stage.law, stage.reference_c)
        run.step = Step.COUNTING
        self.forecast(run, desk.t_s)
        self._leave_out_ready(run)

    def plan_progress(self, begin_s: float, t_s: float) -> None:
        """Progress is told every two seconds from a begin on, next after `t_s`; where nothing is counted, not at all."""
        stage = self._desk.recipe.stages[self.index]
        self.progress_s = begin_s + PROGRESS_EVERY_S if is_counted(stage) or self.counting else None
        while self.progress_s is not None and self.progress_s <= t_s:
            self.progress_s += PROGRESS_EVERY_S

    def _write_begin(self, stage: Stage, begin_s: float, told: bool, sheet: int | None, run: Run | None) -> int:
        fixed = run if run is not None and run.frozen else None
        return self._desk.write(
            records.StageBegun(
                t_s=begin_s,
                stage=stage.number,
                name=stage.name,
                role=stage.role,
                sheet=sheet,
                assumed=not told,
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

    # -- sheets going in --------------------------------------------------------------------------------------------

    @property
    def next_sheet_s(self) -> float | None:
        """When the next sheet is expected, None where all are in or none are going in."""
        return None if self.entry is None or len(self.runs) >= self.entry.count else self.entry.put_s(len(self.runs) + 1)

    def tap_sheet(self, press_s: float) -> None:
        """The first sheet that has no tap yet goes in with this press; begins that were put later move with it."""
        entry = self.entry
        assert entry is not None
        entry.taps_s.append(press_s)
        sheet = len(entry.taps_s)
        if sheet > len(self.runs):
            self._put_sheet(sheet, press_s, told=True)
        for run in self.runs[sheet - 1 :]:
            assert run.sheet is not None
            self._move_begin(run, entry.put_s(run.sheet), told=run.sheet == sheet)
        if sheet == entry.count:
            self.entry = None

    def put_sheet(self) -> None:
        """No tap has come: the next sheet is taken to have gone in at the interval."""
        entry = self.entry
        assert entry is not None
        sheet = len(self.runs) + 1
        self._put_sheet(sheet, entry.put_s(sheet), told=False)

    def _put_sheet(self, sheet: int, begin_s: float, told: bool) -> None:
        run = self._add_run(begin_s, sheet, told)
        run.begin_seq = self._write_begin(run.stage, begin_s, told, sheet, run)

    def end_entry(self) -> None:
        """No further tap is expected: lay those that came on the interval where they fit best."""
        entry, self.entry = self.entry, None
        assert entry is not None
        for run, begin in zip(self.runs, entry.fitted(), strict=True):
            self._move_begin(run, begin.begin_s, begin.told)

    def _move_begin(self, run: Run, begin_s: float, told: bool, sheet: int | None = None) -> None:
        """The begin of this run was at another moment, or is told now. What READY has fixed stays fixed. `sheet`: the one that began a
        bath whose clock is one for all sheets."""
        if abs(begin_s - run.begin_s) <= EPS_S and told == run.told:
            return
        desk = self._desk
        desk.write(
            records.Corrected(
                t_s=desk.t_s,
                stage=run.stage.number,
                begin_t_s=begin_s,
                replaces_seq=run.begin_seq,
                sheet=run.sheet if sheet is None else sheet,
                assumed=not told,
            )
        )
        run.begin_s, run.told = begin_s, told
        if self.current is not None and run is self.runs[0]:
            self.current.begin_s = begin_s
        if run.step < Step.READY:
            self._count_from_begin(run)

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
        """Where READY would come less than 10 s after the begin it is left out, and the end is fixed from the begin."""
        if run.stage.until == "time" and run.ready_s is not None and run.ready_s - run.begin_s < READY_AFTER_BEGIN_LEAST_S:
            run.ready_s = None
            run.reach(Step.FIXED)

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
        overdue = run.ready_s < t_s and calls.back_s is None  # while the program was away nothing moved: it is only told late
        ready_s = run.ready_s if calls.back_s is not None else max(run.ready_s, t_s)
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
        """NOW is due within a moment. Of a group of sheets the last has NOW and its repeats, the others have the sheet's call once."""
        run.reach(Step.CALLED)
        onset_s = run.now_s if run.now_s is not None else t_s
        later = [r for r in self.runs if r is not run and r.now_s is not None and onset_s < r.now_s <= onset_s + GROUP_GAP_S]
        if self.offer is not None and self.offer.left in self.runs:
            self.end_offer()  # from here on a press speaks of this sheet
        self._desk.calls.call_now(run, onset_s, cues.SHEET_NOW if later else cues.NOW, not later and self._desk.options.has_switch)

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
        self._over(run, t_s)
        if run.stage.until == "at least" and not (self._desk.options.has_switch or run.stage.has_no_clock or self.is_last):
            self._leave(run, t_s, told=False)

    def _write_missing_now(self, run: Run, t_s: float) -> None:
        if run.now_s is not None and run.step < Step.NOW:
            self.write_now(run, t_s)

    def _over(self, run: Run, t_s: float) -> None:
        if run.over:
            return
        run.reach(Step.OVER)
        if run.stage.until == "at least" and t_s >= run.end_s - EPS_S:
            self._write_moment(run, "minimum", run.end_s)
        self._write_moment(run, "end", run.end_s)
        current, desk = self.current, self._desk
        if current is not None and run in current.runs and all(r.over for r in current.runs):
            celsius = desk.estimator.temperature(desk.t_s).celsius
            current.band.close(current.stage, celsius, current.begin_s, desk.t_s, desk.compared, desk.write)

    # -- out --------------------------------------------------------------------------------------------------------

    def settle(self, run: Run) -> None:
        """NOW was heard: it is silent for good, and the next stage begins at the planned end."""
        run.settled = True
        self._desk.calls.silence_now()

    def pour(self, run: Run, press_s: float) -> None:
        """The film of this run goes on with this press; out of the last timed stage it goes at the planned end."""
        if self.is_last and run.stage.until == "time" and not run.over:
            self.settle(run)
        else:
            self._leave(run, press_s, told=True)

    def put_lid_on(self, press_s: float) -> None:
        """The reel is loaded and the lid is on: what follows waits for its own press, without a clock and with the lamp shut."""
        desk, run = self._desk, self.runs[0]
        self._over(run, press_s)
        run.reach(Step.LEFT)
        if self.is_last:
            self.close(press_s, "finished")
            return
        self.current = None
        if desk.lost and self.development_matters:
            probe, why = next(iter(desk.lost.items()))  # it could not be told while the reel was loaded
            self.want_fault(f"{probe}: {why}", desk.t_s)

    def leave_at_end(self, run: Run) -> None:
        """The planned end of a timed stage is past, and no press speaks for another moment."""
        desk = self._desk
        calls_on = run.stage.role == "develop" and desk.options.has_switch and not run.settled
        last_of_group = desk.calls.now is not None and desk.calls.now.run is run
        if self.is_last and calls_on and len([r for r in self.runs if not r.left]) == 1:
            run.reach(Step.LEFT)
            self.offer = Offer(self.index + 1, 0, run, None, True, run.end_s + LAST_DEVELOPER_S)
            desk.calls.keep_calling(run, run.end_s)
            return
        follows = None if self.is_last else desk.recipe.stages[self.index + 1]
        nags = calls_on and follows is not None and follows.role != "develop" and (last_of_group or run.sheet is None)
        self._leave(run, run.end_s, told=run.settled, nags=nags)

    def _leave(self, run: Run, t_s: float, told: bool, nags: bool = False) -> None:
        """The film of this run goes on: told, or assumed at the planned end."""
        desk = self._desk
        if not run.over:
            self.tell_progress(run, t_s)
            self._write_missing_now(run, t_s)
            self._over(run, t_s)
        run.reach(Step.LEFT)
        remaining = [r for r in self.runs if not r.left]
        if self.is_last:
            if not remaining:
                self.finish_counting(t_s, told=run)
                self.close(t_s, "finished")
            else:
                self.stop_counting(run)
            return
        self.end_offer()
        offered = not told and desk.options.has_switch and run.stage.until == "time"
        if not offered:
            self.stop_counting(run)
        if not nags:
            desk.calls.silence_now()
        entered: Run | None = None
        if remaining:
            seq = self._write_begin(desk.recipe.stages[self.index + 1], t_s, told, run.sheet, None)
        else:
            desk.calls.hush("tick")
            stage = desk.recipe.stages[self.index + 1]
            again = told and run.stage.until == "at least" and stage.role == "develop"
            entered = self._enter(self.index + 1, t_s, told, again, run.sheet, run.end_s)
            seq = entered.begin_seq
        if offered and self.entry is None:
            until_s = math.inf if nags else max(t_s, desk.calls.back_s or t_s) + OFFER_S
            self.offer = Offer(self.index + (1 if remaining else 0), seq, run, entered, nags, until_s)
            if nags:
                desk.calls.keep_calling(run, t_s)
        elif offered:
            self.stop_counting(run)  # sheets go in: their taps answer

    # -- a begin that nobody has told -------------------------------------------------------------------------------

    @property
    def offer_end_s(self) -> float:
        """When a press no longer answers the assumed begin: at its latest, and in any case at the first call of the stage that it began."""
        offer = self.offer
        if offer is None:
            return math.inf
        entered = offer.entered
        if entered is None or entered is not self._only_run():
            return offer.until_s
        first_call_s = next((x for x in (entered.ready_s, entered.now_s) if x is not None), entered.end_s)
        return min(offer.until_s, first_call_s)

    def _only_run(self) -> Run | None:
        return self.runs[0] if self.runs else None

    def end_offer(self) -> None:
        """Nobody answers any more: what was assumed stands, and what still counted for it is over."""
        offer, self.offer = self.offer, None
        if offer is None:
            return
        self.stop_counting(offer.left)
        if offer.nags:
            self._desk.calls.silence_now()
        if offer.index >= len(self._desk.recipe.stages):
            self._finish(offer.left, self._desk.t_s)

    def answer_poured(self, offer: Offer, press_s: float) -> None:
        """The begin that was assumed was at this press."""
        desk = self._desk
        self.tell_progress(offer.left, press_s)
        if offer.index >= len(desk.recipe.stages):
            self._answered(offer)
            self._finish(offer.left, press_s)
            return
        entered = offer.entered
        if entered is not None:
            desk.calls.hush("tick", "ready")
            self._move_begin(entered, press_s, told=True, sheet=offer.left.sheet)
            if self.current is not None:
                self.current.tick_after_s = desk.t_s - press_s - 1e-3
            self.plan_progress(press_s, desk.t_s)
        else:
            sheet = offer.left.sheet
            number = offer.index + 1
            desk.write(records.Corrected(t_s=desk.t_s, stage=number, begin_t_s=press_s, replaces_seq=offer.seq, sheet=sheet))
        self._answered(offer)

    def answer_on_time(self, offer: Offer, press_s: float) -> None:
        """The begin that was assumed stands."""
        if offer.entered is not None:
            offer.entered.told = True
        self._answered(offer)
        if offer.index >= len(self._desk.recipe.stages):
            self._finish(offer.left, press_s)

    def _answered(self, offer: Offer) -> None:
        self.stop_counting(offer.left)
        self._desk.calls.silence_now()
        if self.offer is offer:
            self.offer = None

    def begin_again(self, run: Run, press_s: float) -> None:
        """The stage begins with this press after all: everything that was planned from the first begin is planned anew."""
        desk = self._desk
        desk.calls.hush("tick", "ready", "now")
        run.step = Step.COUNTING
        self._move_begin(run, press_s, told=True)
        if self.current is not None:
            self.current.tick_after_s = desk.t_s - press_s - 1e-3
        self.last_exit_now_s = None
        self.plan_progress(press_s, desk.t_s)

    # -- the end of counting and of the session ---------------------------------------------------------------------

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

    def _finish(self, run: Run, t_s: float) -> None:
        if not self._desk.closed:
            self.finish_counting(t_s, told=run)
            self.close(t_s, "finished")

    def close(self, t_s: float, why: str) -> None:
        """The session is over."""
        desk = self._desk
        desk.calls.hush("tick", "ready", "fault", "answer", "yes", "over")
        desk.calls.now = None
        self.offer = self.entry = None
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
