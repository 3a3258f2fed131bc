"""The film's way through the stages: waiting, going in, going on, and begins that are told later.

`Film` knows where the film is. When the end of a stage is, and what is called then, is `moments`; what is counted is `counting`;
begins that nobody has answered for are `offers`. What a press means is decided in `presses`, when something is due in `session`.
Tests: tests/core/session/test_session.py, tests/core/session/test_session_sheets.py.
"""

from __future__ import annotations

import math

from monitor.core.journal import records
from monitor.core.journal.words import FINISHED
from monitor.core.recipe.values import Stage
from monitor.core.session.counting import Counting
from monitor.core.session.desk import Desk
from monitor.core.session.effects import Close, Lamp
from monitor.core.session.entry import Entry
from monitor.core.session.fixed_times import AGAIN_WITHIN_S, EPS_S, LAST_DEVELOPER_S, OFFER_S
from monitor.core.session.moments import Moments
from monitor.core.session.offers import Offer, Offers
from monitor.core.session.runs import Current, Run, RunStep, is_counted, pace_of
from monitor.core.session.watch import DataRange


class Film:
    """Where the film is. `index`: of its stage (0-based, -1 before the first begin); `current`: that stage, None while the next one waits
    for its begin; `entry`: sheets that are going in, None before and after; `keys`: how many integrals have been begun. Two methods
    more than 25: the six about sheets going in share `runs` and `entry` with the rest.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.index = -1
        self.current: Current | None = None
        self.entry: Entry | None = None
        self.counting = Counting(desk)
        self.moments = Moments(desk, self.counting)
        self.offers = Offers(desk, self.counting, self._finish)
        self.data = DataRange()
        self.keys = 0

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
        return bool(self.counting.runs) or any(is_counted(s) for s in self._desk.recipe.stages[max(self.index, 0) :])

    def may_begin_again(self, run: Run, t_s: float) -> bool:
        """Whether a press at `t_s` may take the begin of this run again: within two minutes, and before its first call."""
        return run.again and t_s - run.begin_s <= AGAIN_WITHIN_S + EPS_S and t_s < run.first_call_s - EPS_S

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
        self.counting.plan_progress(begin_s, desk.t_s, is_counted(stage))
        return run

    def stand_in(self, index: int, begin_s: float) -> Current:
        """It is in the stage at `index`, with no runs yet; nothing is said or lit."""
        stage = self._desk.recipe.stages[index]
        self.index = index
        self.current = Current(stage, begin_s, [], pace_of(self._desk.recipe, stage))
        return self.current

    def _add_run(self, begin_s: float, sheet: int | None, told: bool) -> Run:
        current, desk = self.current, self._desk
        assert current is not None
        self.keys += 1
        target_ref_s = desk.recipe.target_ref_s(current.stage, sheet)
        run = Run(self.keys, current.stage, sheet, begin_s, target_ref_s, told=told)
        current.runs.append(run)
        self.moments.plan_from_begin(run)
        return run

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

    # -- begins that are told later ---------------------------------------------------------------------------------

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
        if run.step < RunStep.READY:
            self.moments.plan_from_begin(run)

    # -- out --------------------------------------------------------------------------------------------------------

    def end(self, run: Run, t_s: float) -> None:
        """The planned end has come. An at-least stage then waits for the hands, if there are any to wait for."""
        assert self.current is not None
        self.moments.end(run, self.current, t_s)
        if run.stage.until == "at least" and not (self._desk.options.has_switch or run.stage.has_no_clock or self.is_last):
            self._leave(run, t_s, told=False)

    def settle(self, run: Run) -> None:
        """NOW was heard: it is silent for good, and the next stage begins at the planned end."""
        run.settled = True
        self._desk.calls.silence_now()

    def pour(self, run: Run, press_s: float) -> None:
        """The film of this run goes on with this press; out of the last timed stage it goes at the planned end."""
        if not (self.is_last and run.stage.until == "time"):
            self._leave(run, press_s, told=True)
        elif run.over:
            self._leave(run, run.end_s, told=True)
        else:
            self.settle(run)

    def put_lid_on(self, press_s: float) -> None:
        """The reel is loaded and the lid is on: what follows waits for its own press, without a clock and with the lamp shut."""
        desk, run = self._desk, self.runs[0]
        assert self.current is not None
        self.moments.end(run, self.current, press_s)
        run.reach(RunStep.LEFT)
        desk.calls.silence_now()
        if self.is_last:
            self.close(press_s, FINISHED)
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
            run.reach(RunStep.LEFT)
            self.offers.now = Offer(self.index + 1, 0, run, None, True, run.end_s + LAST_DEVELOPER_S)
            return
        follows = None if self.is_last else desk.recipe.stages[self.index + 1]
        nags = calls_on and follows is not None and follows.role != "develop" and (last_of_group or run.sheet is None)
        self._leave(run, run.end_s, told=run.settled, nags=nags)

    def _leave(self, run: Run, t_s: float, told: bool, nags: bool = False) -> None:
        """The film of this run goes on: told, or assumed at the planned end."""
        desk = self._desk
        assert self.current is not None
        self.moments.end(run, self.current, t_s)
        run.reach(RunStep.LEFT)
        remaining = [r for r in self.runs if not r.left]
        if self.is_last:
            if not remaining:
                self.counting.finish(t_s, told=run)
                self.close(t_s, FINISHED)
            else:
                self.counting.stop(run)
            return
        self.offers.end()
        offered = not told and desk.options.has_switch and run.stage.until == "time"
        if not offered:
            self.counting.stop(run)
        if not nags:
            desk.calls.silence_now(run)
        entered: Run | None = None
        if remaining:
            seq = self._write_begin(desk.recipe.stages[self.index + 1], t_s, told, run.sheet, None)
        else:
            desk.calls.hush("tick")
            stage = desk.recipe.stages[self.index + 1]
            again = told and run.stage.until == "at least" and stage.role == "develop"
            origin_s = run.end_s if run.stage.until == "time" else t_s
            entered = self._enter(self.index + 1, t_s, told, again, run.sheet, origin_s)
            seq = entered.begin_seq
        if offered and self.entry is None:
            until_s = math.inf if nags else max(t_s, desk.calls.back_s or t_s) + OFFER_S
            self.offers.now = Offer(self.index + (1 if remaining else 0), seq, run, entered, nags, until_s, tuple(remaining))
        elif offered:
            self.counting.stop(run)  # sheets go in: their taps answer

    def answer_poured(self, offer: Offer, press_s: float) -> None:
        """The begin that was assumed was at this press."""
        desk, entered = self._desk, offer.entered
        self.counting.tell(offer.left, press_s)
        if entered is not None:
            self._begin_anew(entered, press_s, offer.left.sheet)
        elif not self.offers.closes(offer):
            number, sheet = offer.index + 1, offer.left.sheet
            desk.write(records.Corrected(t_s=desk.t_s, stage=number, begin_t_s=press_s, replaces_seq=offer.seq, sheet=sheet))
        self.offers.answered(offer, press_s)

    def answer_on_time(self, offer: Offer, press_s: float) -> None:
        """The begin that was assumed stands."""
        if offer.entered is not None:
            offer.entered.told = True
        self.offers.answered(offer, press_s)

    def appear(self, run: Run, press_s: float) -> None:
        """The first trace of a print was there at this press: it is done at that development times the factor."""
        desk, factor = self._desk, run.stage.appearance_factor
        if factor is None or not run.awaits_appearance:
            return
        seen_s, elapsed_s = max(press_s - run.counts_from_s, 1.0), max(desk.t_s - run.counts_from_s, 1.0)
        if run.stage.steer:
            done_ref_s = desk.estimator.done(run.key, desk.t_s).done_ref_s * seen_s / elapsed_s  # as of the press, not of its release
        else:
            done_ref_s = seen_s
        run.appeared, run.target_ref_s = True, min(done_ref_s * factor, run.target_ref_s)
        desk.write(
            records.Appeared(t_s=press_s, stage=run.stage.number, appearance_ref_s=done_ref_s, target_ref_s=run.target_ref_s)
        )
        self.moments.forecast(run, desk.t_s)
        run.steady_ready_s = run.ready_s

    def begin_again(self, run: Run, press_s: float) -> None:
        """The stage begins with this press after all: everything that was planned from the first begin is planned anew."""
        self._begin_anew(run, press_s, None)

    def _begin_anew(self, run: Run, press_s: float, sheet: int | None) -> None:
        """Its begin moves to this press, and all its moments with it: one that came while the foot was down comes again in its time."""
        run.appeared, run.target_ref_s = False, self._desk.recipe.target_ref_s(run.stage, run.sheet)
        calls = self._desk.calls
        calls.hush("tick", "ready")
        calls.silence_now(run)
        run.step = RunStep.COUNTING
        self._move_begin(run, press_s, told=True, sheet=sheet)
        if self.current is not None:
            self.current.tick_after_s, self.current.last_exit_now_s = self._desk.t_s - press_s - 1e-3, None
        self.counting.plan_progress(press_s, self._desk.t_s, is_counted(run.stage))

    # -- the end of the session -------------------------------------------------------------------------------------

    def abandon(self, t_s: float, why: str) -> None:
        """Somebody ends it."""
        self.counting.finish(t_s)
        self.close(t_s, why)

    def _finish(self, run: Run, t_s: float) -> None:
        if not self._desk.closed:
            self.counting.finish(t_s, told=run)
            self.close(t_s, FINISHED)

    def close(self, t_s: float, why: str) -> None:
        """The session is over."""
        desk = self._desk
        desk.calls.hush("tick", "ready", "fault", "answer", "yes", "over")
        desk.calls.now = None
        self.offers.now = self.entry = None
        for found in desk.estimator.found_lags:
            use: records.LagUse | None = None
            if desk.options.mode == "live":
                use = "offered" if found.told_by_person else "next"
            told = records.LagFound(
                t_s=t_s, probe=found.probe, lag_s=found.lag_s, told_lag_s=found.told_lag_s, log_sd=found.log_sd, use=use
            )
            desk.write(told)
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
