"""The working behind the % as a table that a spreadsheet can follow: one row a node of the trace, one block a stage.

For each stage with a rate the last cells of a block are the sums; README.md here shows how to add them up. Columns and their units
stand in `MEANING`. Tests: tests/review/test_working.py (adds the columns up without any code of the review).
"""

from __future__ import annotations

from typing import Any

from monitor.core.development.rate import rate
from monitor.review.integrals import weights
from monitor.review.measures import Review
from monitor.review.timeline import counted_from_to

MEANING = {
    "session": "id of the session",
    "stage": "number of the stage, from 1",
    "name": "its name",
    "sheet": "number of the sheet, empty without sheets",
    "t_s": "s, session time of this row",
    "since_begin_s": "s since the begin of the stage",
    "celsius": "C, temperature now known (smoothed, probe's lag removed)",
    "celsius_sd_c": "C, its random standard deviation",
    "estimated": "1 where no probe was believed, else 0",
    "counted_s": "s that this row stands for: half of the steps to its neighbours within the counted stretch",
    "rate": "rate of development here, 1 at the reference temperature; empty without a rate",
    "done_ref_s": "rate x counted_s, added up so far: seconds of development at the reference, temperature's part of it alone",
    "target_ref_s": "seconds of development wanted",
}


def columns_of(review: Review) -> dict[str, list[Any]]:
    """The table, by columns."""
    columns: dict[str, list[Any]] = {name: [] for name in MEANING}
    targets = {(s.stage, s.sheet): s.target_ref_s for s in review.numbers.stages}
    for part in review.stretches:
        track = review.tracks.get(part.stage)
        if track is None:
            continue
        stage = review.recipe.stages[part.stage - 1] if review.recipe is not None and part.stage <= len(review.recipe.stages) else None
        smoothed = track.smoothed
        seconds = weights(smoothed.t_s, *counted_from_to(stage, part))
        inside = (smoothed.t_s >= part.begin_s - 1e-5) & (smoothed.t_s <= part.end_s + 1e-5)
        law = stage.law if stage is not None else None
        done = 0.0
        for i in inside.nonzero()[0].tolist():
            celsius, counted_s = float(smoothed.celsius[i]), float(seconds[i])
            r = rate(law, celsius) if law is not None else None
            done += counted_s * (1.0 if r is None else r)
            row = (
                review.numbers.session, part.stage, part.name, part.sheet, float(smoothed.t_s[i]), float(smoothed.t_s[i]) - part.begin_s,
                celsius, float(smoothed.sd_c[i]), int(track.estimated[i]), counted_s, r, done, targets[part.stage, part.sheet],
            )  # fmt: skip
            for name, value in zip(MEANING, row, strict=True):
                columns[name].append(value)
    return columns
