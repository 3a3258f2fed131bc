"""An earlier life of a session, from its journal: what was decided is taken over, nothing is decided again.

`Past` takes the records in the order of the file: readings go through the estimator once more, begins start its integrals, and the
one fold of `monitor.core.journal.history` keeps the stages. `rebuild` then puts the film where the journal says it is. Ends that
READY has fixed, begins and taps are facts; a change of the session's code moves no cue that an earlier life has promised.
Tests: tests/core/session/test_session_fold.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from monitor.core.journal import records
from monitor.core.journal.history import History, Key, Passage
from monitor.core.journal.words import OUTSIDE_DATA
from monitor.core.probes.readings import Reading
from monitor.core.session.calls import NowCall
from monitor.core.session.desk import Desk
from monitor.core.session.limits import NOW_LATER_S, NOW_REPEAT_S, NOW_REPEATS, SAME_NOW_S
from monitor.core.session.passage import Film, Unconfirmed
from monitor.core.session.runs import Run, Step, counts_from_s, is_counted


class Past:
    """What an earlier life has left. `unheard`: the run whose NOW was due and has not sounded as far as the records tell."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.history = History(len(desk.recipe.stages))
        self.armed_s: float | None = None
        self.last_cue: records.CueSounded | None = None
        self.outside_data = False
        self._integrals: dict[Key, int] = {}
        self._number = 0
        self._unconfirmed: Key | None = None
        self._calling: Key | None = None
        self._calls = 0
        self._call_again_s: float | None = None
        self._heard_s = -math.inf
        self.unheard: Run | None = None

    def take(self, record: Mapping[str, Any]) -> None:
        """One record, in the order of the file."""
        desk = self._desk
        desk.t_s = max(desk.t_s, record["t_s"])
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
            self.armed_s = record.t_s
        elif isinstance(record, records.Resumed):
            desk.spread_s += float(record.spread_s or 0.0)
        elif isinstance(record, records.StageBegun):
            self._begun(record, before)
        elif isinstance(record, records.StageMoment) and record.moment == "now":
            self._calling, self._calls, self._call_again_s = (record.stage, record.sheet), 0, record.t_s + NOW_REPEAT_S
        elif isinstance(record, records.Corrected):
            self._corrected(record)
        elif isinstance(record, records.Tapped) and record.meaning == "heard":
            self._call_again_s = None
        elif isinstance(record, records.GateChanged):
            desk.gate.state = record.state
        elif isinstance(record, records.TrustChanged):
            self._trust(record)
        elif isinstance(record, records.CueSounded):
            self._cue(record)

    def _begun(self, record: records.StageBegun, stage_before: int | None) -> None:
        key = record.stage, record.sheet
        self._count(key)
        if record.stage == stage_before:
            return  # one sheet more in the stage that the film is in
        left = self.history.passage(record.stage - 1, record.sheet)
        waits = record.assumed and self._desk.options.has_switch and self._desk.recipe.stages[record.stage - 2].until == "time"
        if not waits:
            self._unconfirmed = self._calling = None
            if left is not None:
                self._forget(left.key)
            return
        if self._unconfirmed is None or self._unconfirmed[0] == record.stage:
            self._unconfirmed = key
        if record.target_ref_s is not None and (self._calling is None or self._call_again_s is None):
            self._calling = (record.stage - 1, record.sheet)
            self._calls, self._call_again_s = NOW_REPEATS, record.t_s + NOW_LATER_S

    def _corrected(self, record: records.Corrected) -> None:
        self._unconfirmed = self._calling = None
        begun = self.history.begun_with(record.replaces_seq)
        if begun is None or begun.target_ref_s is None:  # one sheet of several; the stage's own clock has not begun
            self._forget((record.stage - 1, record.sheet))
            return
        for key in list(self._integrals):
            self._forget(key)
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
            self._desk.estimator.begin(self._number, counts_from_s(stage, passage.begin_s), stage.law, stage.reference_c)

    def _forget(self, key: Key) -> None:
        number = self._integrals.pop(key, None)
        if number is not None:
            self._desk.estimator.forget(number)

    def _trust(self, record: records.TrustChanged) -> None:
        if record.believed:
            self._desk.lost.pop(record.probe, None)
            if record.why.startswith(OUTSIDE_DATA) or record.why == "inside data again":
                self.outside_data = record.why.startswith(OUTSIDE_DATA)
        elif record.source is not None:
            self._desk.lost[record.probe] = record.why

    def _cue(self, record: records.CueSounded) -> None:
        self.last_cue = record
        if record.cue == "fault":
            self._desk.calls.last_fault_s = record.t_s
        elif record.cue == "now":
            self._heard_s = record.t_s
            if self._call_again_s is not None:
                self._calls += 1
                self._call_again_s = record.t_s + (NOW_LATER_S if self._calls >= NOW_REPEATS else NOW_REPEAT_S)

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
        current.entered = len(current.runs)
        current.at_most_said = current.stage.at_most_s is not None and clocks[0].now_s is not None
        film.data.outside = self.outside_data
        film.last_exit_now_s = max((r.now_s for r in current.runs if r.frozen and r.now_s is not None), default=None)
        film.keys = self._number
        film.counting = [r for r in current.runs if not r.left and is_counted(r.stage)]
        doubt = None if self._unconfirmed is None else self.history.passage(*self._unconfirmed)
        if doubt is not None and (left := self.history.passage(doubt.stage - 1, doubt.sheet)) is not None:
            run = known.get(left.key) or self._run(film, left)
            film.unconfirmed = Unconfirmed(doubt.stage - 1, doubt.seq, doubt.sheet, run)
            if left.key in self._integrals and is_counted(run.stage):
                film.counting.insert(0, run)
        film.plan_progress(clocks[0].begin_s, desk.t_s)
        self._take_up_now(known, current.runs)

    def _run(self, film: Film, passage: Passage) -> Run:
        stage = self._desk.recipe.stages[passage.stage - 1]
        entering = self._desk.recipe.sheets is not None and stage.role == "develop"
        number, target_ref_s = self._integrals.get(passage.key, 0), passage.target_ref_s or 0.0
        run = Run(number, stage, passage.sheet if entering else None, passage.begin_s, target_ref_s, begin_seq=passage.seq)
        run.plan(run.counts_from_s + run.target_ref_s)
        if number and passage.planned_end_s is None:
            film.forecast(run, self._desk.t_s)
        if passage.planned_end_s is not None:
            run.ready_s, run.now_s, run.end_s = passage.ready_s, passage.fixed_now_s, passage.planned_end_s
            run.reach(Step.FIXED)
        if passage.ready_s is not None:
            run.reach(Step.READY)
        if passage.now_s is not None and stage.until == "time":
            run.now_s = passage.now_s
            run.reach(Step.NOW)
        if passage.end_s is not None:
            run.reach(Step.OVER)
        if self.history.passage(passage.stage + 1, passage.sheet) is not None:
            run.reach(Step.LEFT)
        return run

    def _take_up_now(self, known: Mapping[Key, Run], runs: Sequence[Run]) -> None:
        """NOW that is being repeated, and NOW of which no record says that it has sounded."""
        if self._calling is None:
            return
        passage = self.history.passage(*self._calling)
        run = known.get(self._calling)
        if run is None and passage is not None and passage.key in known:
            run = known[passage.key]
        if run is None or passage is None:
            run = runs[-1]
        elif not run.left and passage.now_s is not None and self._heard_s < passage.now_s - SAME_NOW_S:
            self.unheard = run
        repeats = self._desk.options.has_switch and (run.sheet is None or run is max(runs, key=lambda r: r.end_s))
        if repeats:
            self._desk.calls.now = NowCall(run, self._calls, self._call_again_s)
