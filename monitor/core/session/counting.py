"""What is being counted: runs whose development goes on, and the progress that is told of them.

Decides nothing about when a run begins or ends; the estimator does the arithmetic. Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from monitor.core.journal import records
from monitor.core.session.desk import Desk
from monitor.core.session.fixed_times import PROGRESS_EVERY_S
from monitor.core.session.runs import Run, is_counted


class Counting:
    """Runs whose development goes on. `progress_s`: when progress is told next, None while nothing is counted."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self.runs: list[Run] = []
        self.progress_s: float | None = None

    def start(self, run: Run) -> None:
        """Its integral starts at its begin, or starts again at another one."""
        if not is_counted(run.stage):
            return
        if run not in self.runs:
            self.runs.append(run)
        self._desk.estimator.begin(run.key, run.counts_from_s, run.stage.law, run.stage.reference_c, run.stage.handling)

    def stop(self, run: Run) -> None:
        """Its development is no longer asked for."""
        if run in self.runs:
            self.runs.remove(run)
            self._desk.estimator.forget(run.key)

    def finish(self, t_s: float, told: Run | None = None) -> None:
        """Tell the last progress of all that is counted, but of `told`, and stop."""
        for run in list(self.runs):
            if run is not told:
                self.tell(run, t_s)
            self.stop(run)

    def plan_progress(self, begin_s: float, t_s: float, counted: bool) -> None:
        """Progress is told every two seconds from a begin on, next after `t_s`; where nothing is counted, not at all."""
        self.progress_s = begin_s + PROGRESS_EVERY_S if counted or self.runs else None
        while self.progress_s is not None and self.progress_s <= t_s:
            self.progress_s += PROGRESS_EVERY_S

    def tell_all(self, t_s: float) -> None:
        """Every two seconds."""
        assert self.progress_s is not None
        self.progress_s = self.progress_s + PROGRESS_EVERY_S if self.runs else None
        for run in self.runs:
            self.tell(run, t_s)

    def tell(self, run: Run, t_s: float) -> None:
        """One record of what has been done for this run, if it is counted."""
        if run not in self.runs:
            return
        desk = self._desk
        t_s = max(t_s, desk.t_s)  # a press that is understood at its release lies before what was told meanwhile
        temperature = desk.estimator.temperature(t_s)
        done = desk.estimator.done(run.key, t_s)
        doubt = desk.doubt_since(run.begin_s)
        earliest_s, latest_s = doubt.of_end(run.begin_s, run.end_s) if doubt else (None, None)
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
                earliest_end_t_s=earliest_s,
                latest_end_t_s=latest_s,
                source=temperature.source,
            )
        )
