"""An earlier life of a session, from its journal: what was decided is taken over, nothing is decided again.

`Past` takes the records in the order of the file: readings go through the estimator once more, begins start its integrals, and the
one fold of `monitor.core.journal.history` keeps the stages. `rebuild` then puts the film where the journal says it is. Ends that
READY has fixed, begins and taps are facts; a change of the session's code moves no cue that an earlier life has promised.
Tests: tests/core/session/test_session_fold.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from monitor.core.journal import records
from monitor.core.journal.history import History, Key, Passage
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA
from monitor.core.probes.readings import Reading
from monitor.core.session import sounds
from monitor.core.session.calls import NowCall
from monitor.core.session.desk import Desk
from monitor.core.session.entry import Entry
from monitor.core.session.fixed_times import GROUP_GAP_S, OFFER_S, SAME_NOW_S
from monitor.core.session.offers import Offer
from monitor.core.session.passage import Film
from monitor.core.session.runs import Run, RunStep, counts_from_s, is_counted


class Past:
    """What an earlier life has left. `waits_since_s`: since when the stage that waits has been waiting."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.history = History(len(desk.recipe.stages))
        self.waits_since_s = 0.0
        self.last_cue: records.CueSounded | None = None
        self._outside_since_s: float | None = None
        self._outside_told_s = -math.inf
        self._lid_on = False
        self._integrals: dict[Key, int] = {}
        self._number = 0
        self._tapped: records.Tapped | None = None
        self._settled: set[Key] = set()
        self._again: set[Key] = set()
        self._offered: Key | None = None
        self._offered_from_s = 0.0
        self._back_s = 0.0
        self._sheet_taps_s: list[float] = []
        self._first_told = False
        self._calling: Key | None = None
        self._heard_s = -math.inf
        self._series_s: float | None = None

    def take(self, record: Mapping[str, Any]) -> None:
        """One record, in the order of the file."""
        desk = self._desk
        desk.t_s = max(desk.t_s, records.reached_s(record))
        if record["kind"] == "reading":
            desk.estimator.read(
                Reading(record["t_s"], record["probe"], record["role"], record["raw_c"], record["celsius"], record["quality"])
            )
        elif record["kind"] == "progress":
            desk.estimator.advance(record["t_s"])
        else:
            self._told(int(record["seq"]), records.parse(record))
        desk.seq = int(record["seq"])

    def _told(self, seq: int, record: records.Anything) -> None:
        desk = self._desk
        before = self.history.stage
        self.history.take(seq, record)
        if isinstance(record, records.Opened):
            self.waits_since_s = record.t_s
        elif isinstance(record, records.Resumed):
            desk.doubt_gap(record.t_s, record.doubt)
            self._back_s = record.t_s
        elif isinstance(record, records.StageBegun):
            self._begun(record, before)
        elif isinstance(record, records.StageMoment) and record.moment == "now":
            heard = self._heard_s >= record.t_s - SAME_NOW_S  # the cue may stand before this record
            self._calling, self._series_s = (record.stage, record.sheet), self._heard_s if heard else None
        elif isinstance(record, records.Corrected):
            self._corrected(record)
        elif isinstance(record, records.Tapped):
            self._tap(record)
        elif isinstance(record, records.GateChanged):
            desk.gate.state = record.state
        elif isinstance(record, records.TrustChanged):
            self._trust(record)
        elif isinstance(record, records.CueSounded):
            self._cue(record)

    def _tap(self, record: records.Tapped) -> None:
        self._tapped = record
        if record.meaning == "lid on":
            self._lid_on, self.waits_since_s = True, record.t_s
        elif record.meaning == "heard" and self._calling is not None:
            self._settled.add(self._calling)
            self._calling = None
        elif record.meaning == "on time":
            self._answered()
        elif record.meaning == "begin" and self._entering:
            self._sheet_taps_s.append(record.t_s)

    @property
    def _entering(self) -> bool:
        """Whether the stage that the film is in is one into which sheets go."""
        return self.history.stage is not None and self._sheets_enter(self.history.stage)

    def _sheets_enter(self, stage: int) -> bool:
        return self._desk.recipe.sheets is not None and self._desk.recipe.stages[stage - 1].role == "develop"

    def _begun(self, record: records.StageBegun, stage_before: int | None) -> None:
        key, desk = (record.stage, record.sheet), self._desk
        self._lid_on = False
        self._count(key)
        if record.stage == stage_before:
            return  # one sheet more in the stage that the film is in
        pressed = self._tapped is not None and self._tapped.t_s == record.t_s and not record.assumed
        if self._entering and record.target_ref_s is not None:
            self._first_told = not record.assumed
            self._sheet_taps_s = [record.t_s] if self._first_told else []
        elif pressed and self._tapped is not None and self._may_be_taken_again(self._tapped, record):
            self._again.add(key)
        self._answered()
        left = self.history.clock(record.stage - 1, record.sheet)
        if record.assumed and desk.options.has_switch and record.stage > 1 and desk.recipe.stages[record.stage - 2].until == "time":
            self._offered = None if self._sheets_enter(record.stage) else key
            self._offered_from_s = max(record.t_s, self._back_s)
        elif left is not None:
            self._forget(left.key)
        if self._offered is None or record.role == "develop" or desk.recipe.stages[record.stage - 2].role != "develop":
            self._calling = None

    def _may_be_taken_again(self, tapped: records.Tapped, record: records.StageBegun) -> bool:
        if record.role == "load":
            return False
        from_at_least = record.stage > 1 and self._desk.recipe.stages[record.stage - 2].until == "at least"
        return tapped.meaning == "begin" or (tapped.meaning == "poured" and from_at_least and record.role == "develop")

    def _answered(self) -> None:
        """What was assumed is answered for, or is no longer asked about: what it ended counts no more."""
        if self._offered is not None:
            left = self.history.clock(self._offered[0] - 1, self._offered[1])
            if left is not None:
                self._forget(left.key)
                if self._calling == left.key:
                    self._calling = None
            self._offered = None

    def _corrected(self, record: records.Corrected) -> None:
        begun = self.history.begun_with(record.replaces_seq)
        if begun is None:
            return
        if begun.key == self._offered or (self._offered is not None and begun.stage == self._offered[0] and not self._entering):
            self._answered()
        if begun.target_ref_s is not None and begun.ready_s is None:
            self._forget(begun.key)
            self._count(begun.key)

    def _count(self, key: Key) -> None:
        """Its stage's integral counts from its begin, where it has one."""
        passage = self.history.passage(*key)
        if passage is None or passage.target_ref_s is None:
            return
        stage = self._desk.recipe.stages[passage.stage - 1]
        self._number += 1
        self._integrals[passage.key] = self._number
        if is_counted(stage):
            begin_s = counts_from_s(stage, passage.begin_s)
            self._desk.estimator.begin(self._number, begin_s, stage.law, stage.reference_c, stage.handling)

    def _forget(self, key: Key) -> None:
        number = self._integrals.pop(key, None)
        if number is not None:
            self._desk.estimator.forget(number)

    def _trust(self, record: records.TrustChanged) -> None:
        self._desk.trusted.take(record)
        if record.why.startswith(OUTSIDE_DATA) or record.why == INSIDE_DATA:
            self._outside_since_s = None if record.why == INSIDE_DATA else record.t_s

    def _cue(self, record: records.CueSounded) -> None:
        self.last_cue = record
        if record.cue == "fault":
            self._desk.calls.last_fault_s = record.t_s
            if record.why is not None and record.why.startswith(OUTSIDE_DATA):
                self._outside_told_s = record.t_s
        elif record.cue == "now":
            self._heard_s = record.t_s
            if self._series_s is None or record.late_s is not None:
                self._series_s = record.t_s  # after a time away the repeats begin anew

    # -- what it comes to -------------------------------------------------------------------------------------------

    def rebuild(self, film: Film) -> None:
        """Put the film where the journal says that it is."""
        desk, stage = self._desk, self.history.stage
        desk.gate.index = 0 if stage is None else stage
        if stage is None:
            return
        clocks = [p for p in self.history.passages if p.stage == stage and p.target_ref_s is not None]
        current = film.stand_in(stage - 1, clocks[0].begin_s)
        known = {passage.key: self._run(film, passage) for passage in clocks}
        current.runs = list(known.values())
        current.at_most_called = current.at_most_said = current.stage.at_most_s is not None and clocks[0].now_s is not None
        if self._outside_since_s is not None and self._outside_since_s >= clocks[0].begin_s:
            film.data.since_s = self._outside_since_s
        film.data.told = self._outside_told_s >= clocks[0].begin_s
        current.last_exit_now_s = max((r.now_s for r in current.runs if r.frozen and r.now_s is not None), default=None)
        film.keys = self._number
        film.counting.runs = [r for r in current.runs if r.key in self._integrals.values() and is_counted(r.stage) and not r.left]
        self._take_up_offer(film, known)
        self._take_up_entry(film)
        film.counting.plan_progress(clocks[0].begin_s, desk.t_s, is_counted(current.stage))
        self._take_up_now(film, known)
        if self._lid_on:
            film.current = None

    def _run(self, film: Film, passage: Passage) -> Run:
        stage = self._desk.recipe.stages[passage.stage - 1]
        entering = self._desk.recipe.sheets is not None and stage.role == "develop"
        number, target_ref_s = self._integrals.get(passage.key, 0), passage.target_ref_s or 0.0
        run = Run(number, stage, passage.sheet if entering else None, passage.begin_s, target_ref_s, begin_seq=passage.seq)
        run.told, run.settled, run.again = passage.told, passage.key in self._settled, passage.key in self._again
        run.appeared = passage.appeared_s is not None
        run.plan(run.counts_from_s + run.target_ref_s)
        if number and passage.planned_end_s is None:
            film.moments.plan(run)
        if passage.planned_end_s is not None:
            run.ready_s, run.now_s, run.end_s = passage.ready_s, passage.fixed_now_s, passage.planned_end_s
            run.reach(RunStep.FIXED)
        if passage.ready_s is not None:
            run.reach(RunStep.READY)
        if passage.now_s is not None and stage.until == "time":
            run.now_s = passage.now_s
            run.reach(RunStep.NOW)
        if passage.end_s is not None:
            run.reach(RunStep.OVER)
        if self.history.passage(passage.stage + 1, passage.sheet) is not None:
            run.reach(RunStep.LEFT)
        return run

    def _take_up_offer(self, film: Film, known: Mapping[Key, Run]) -> None:
        """The assumed begin that a press may still answer."""
        doubt = None if self._offered is None else self.history.passage(*self._offered)
        if doubt is None or doubt.told:
            return
        left = self.history.clock(doubt.stage - 1, doubt.sheet)
        if left is None:
            return
        run = known.get(left.key) or self._run(film, left)
        entered = known.get(doubt.key)
        stages = self._desk.recipe.stages
        nags = run.stage.role == "develop" and stages[doubt.stage - 1].role != "develop" and self._calling == left.key
        until_s = math.inf if nags else self._offered_from_s + OFFER_S
        if until_s <= self._desk.t_s and not nags:
            self._forget(left.key)
            return
        others = tuple(r for r in film.runs if entered is None and r is not run and not r.left)
        film.offers.now = Offer(doubt.stage - 1, doubt.seq, run, entered, nags, until_s, others)
        if left.key in self._integrals and is_counted(run.stage):
            film.counting.runs.insert(0, run)

    def _take_up_entry(self, film: Film) -> None:
        """Sheets that are still going in."""
        sheets, runs = self._desk.recipe.sheets, film.runs
        if sheets is None or film.current is None or film.current.stage.role != "develop":
            return
        number = runs[0].stage.number
        before = self.history.passage(number - 1, None)
        by_press = before is None or before.end_s is None or self._desk.recipe.stages[number - 2].until != "time"
        origin_s = runs[0].begin_s if by_press or before is None or before.end_s is None else before.end_s
        entry = Entry(sheets.count, sheets.interval_s, origin_s, self._first_told, list(self._sheet_taps_s))
        if len(entry.taps_s) < sheets.count and self._desk.t_s < entry.over_s:
            film.entry = entry

    def _take_up_now(self, film: Film, known: Mapping[Key, Run]) -> None:
        """NOW that is being repeated, and NOW of which no record says that it has sounded."""
        desk, offer = self._desk, film.offers.now
        run = None if self._calling is None else known.get(self._calling)
        if run is None and offer is not None and offer.nags:
            run = offer.left
        if run is None or run.settled or (run.left and (offer is None or not offer.nags)):
            return
        at_most = None if film.current is None or not film.current.at_most_said else film.current.at_most_at_s
        now_s = at_most if run.stage.until == "at least" else run.now_s
        if now_s is None:
            return
        if self._heard_s < now_s - SAME_NOW_S:
            desk.calls.miss_now(now_s, run.sheet, sounds.NOW)
        others = [r for r in film.runs if r.stage is run.stage]
        later = any(r.now_s is not None and now_s < r.now_s <= now_s + GROUP_GAP_S for r in others)
        if desk.options.has_switch and not (run.sheet is not None and later):
            begin_s = now_s if self._series_s is None else max(self._series_s, now_s)
            desk.calls.now = NowCall.taken_up(run, begin_s, desk.t_s)
