"""When each stage really began and ended, for each sheet, as the journal's history tells it; and which probe was believed when.

A stage that the journal does not end lasts until its last record. Plain Python, no numbers are estimated.
Tests: tests/review/test_timeline.py, tests/core/journal/test_one_story.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.journal.check import Record
from monitor.core.journal.history import EndedBy
from monitor.core.journal.trusted import NO_BELIEF
from monitor.core.probes.readings import EXCHANGED, other_of
from monitor.core.recipe.values import Stage
from monitor.review.load import Journal


@dataclass(frozen=True, slots=True)
class Stretch:
    """One stage of one sheet, in session seconds. None where the journal says nothing."""

    stage: int
    name: str
    sheet: int | None
    begin_s: float
    begin_assumed: bool
    end_s: float
    ended_by: EndedBy
    planned_end_s: float | None
    ready_s: float | None
    now_s: float | None

    @property
    def end_told(self) -> bool:
        """Whether anybody said when the film left; nobody did where the next begin was assumed, or nothing later is known."""
        return self.ended_by not in ("assumed", "planned end", "end of the record")

    @property
    def actual_s(self) -> float:
        """Begin to the actual end."""
        return self.end_s - self.begin_s

    @property
    def late_s(self) -> float | None:
        """How much later than planned the next pour was; negative: earlier."""
        return None if self.planned_end_s is None else self.end_s - self.planned_end_s


def counted_from_to(stage: Stage | None, part: Stretch) -> tuple[float, float]:
    """The stretch of time whose development counts, by the person's way of counting."""
    if stage is None or stage.counted == "pour to pour":
        return part.begin_s, part.end_s
    drain_s = stage.drain_s
    if stage.until == "time" and part.planned_end_s is not None and part.now_s is not None:
        drain_s = part.planned_end_s - part.now_s
    begin_s = min(part.begin_s + stage.fills_s, part.end_s)
    return begin_s, max(begin_s, part.end_s - drain_s)


def stretches(journal: Journal) -> list[Stretch]:
    """All stages that were begun, in order of number and sheet."""
    history = journal.history
    made = []
    for passage in history.passages:
        stage = journal.stage(passage.stage)
        planned_s = passage.minimum_s if passage.end_s is None else passage.end_s
        if stage is not None and stage.has_no_clock:  # what is written as its end was never planned
            planned_s = None
        end_s, ended_by = history.actual_end(passage) or (max(journal.last_t_s, passage.begin_s), "end of the record")
        made.append(Stretch(passage.stage, passage.name, passage.sheet, passage.begin_s, not passage.told, end_s, ended_by, planned_s,
                            passage.ready_s, passage.now_s))  # fmt: skip
    return made


def believed_spans(journal: Journal, probe: str, as_known_then: bool = False) -> list[tuple[float, float]]:
    """When a probe was believed, as (from, to) in session seconds; `to` may be infinite.

    Before its first `trust` record a probe counts as believed, unless that record is the gain. Since-times count, not the
    moments at which they were found out, unless `as_known_then`. A law that runs outside its data is no loss of a probe, nor is a coarse
    register, nor is its exchange with another, from which each is taken for the other; what was held against the one before that was the
    other's liquid.
    """
    changes = [
        (r["t_s"] if r["since_t_s"] is None or as_known_then else min(r["since_t_s"], r["t_s"]), r["believed"])
        for r in _since_exchange(journal.of("trust"), probe)
        if r.get("probe") == probe and not r["why"].startswith(NO_BELIEF)
    ]
    state = not (changes and changes[0][1])
    spans: list[tuple[float, float]] = []
    since = -math.inf
    for at_s, believed in changes:
        if state and not believed:
            spans.append((since, at_s))
            spans = [(a, min(b, at_s)) for a, b in spans if a < at_s]  # a later word reaches back over earlier ones
        if believed and not state:
            since = at_s
        state = believed
    if state:
        spans.append((since, math.inf))
    return spans


def _since_exchange(trusts: Sequence[Record], probe: str) -> Sequence[Record]:
    """What counts of the trust in a probe: where two were exchanged, only what came after that, for both."""
    found = [i for i, r in enumerate(trusts) if r["why"].startswith(EXCHANGED) and probe in (r["probe"], other_of(r["why"]))]
    return trusts[found[-1] + 1 :] if found else trusts


def within(spans: Sequence[tuple[float, float]], t_s: float) -> bool:
    """Whether a moment lies in one of the spans (from included, to not)."""
    return any(low <= t_s < high for low, high in spans)
