"""When each stage really began and ended, for each sheet: from begins, corrections, planned ends and the close.

A stage's actual end is the begin of the next one (of the same sheet where there are sheets), a `correction` in place of the
begin that it replaces; the last stage ends with the close, else with its planned end, else where the record ends. Also here:
which probe was believed when. Plain Python, no numbers are estimated. Tests: tests/review/test_timeline.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.core.recipe.values import Stage
from monitor.review.load import Journal

EndedBy = Literal["tap", "assumed", "correction", "close", "planned end", "end of the record"]
OUTSIDE_DATA = "outside data"


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
    def actual_s(self) -> float:
        """Begin to the actual end."""
        return self.end_s - self.begin_s

    @property
    def late_s(self) -> float | None:
        """How much later than planned the hands were; negative: earlier."""
        return None if self.planned_end_s is None else self.end_s - self.planned_end_s


def counted_from_to(stage: Stage | None, part: Stretch) -> tuple[float, float]:
    """The stretch of time whose development counts, by the person's way of counting."""
    if stage is None or stage.counted == "pour to pour":
        return part.begin_s, part.end_s
    drain_s = part.planned_end_s - part.now_s if part.planned_end_s is not None and part.now_s is not None else stage.drain_s
    begin_s = min(part.begin_s + stage.fill_s, part.end_s)
    return begin_s, max(begin_s, part.end_s - drain_s)


@dataclass(slots=True)
class _Begin:
    t_s: float
    assumed: bool
    by: EndedBy
    name: str


Key = tuple[int, int | None]


def stretches(journal: Journal) -> list[Stretch]:
    """All stages that were begun, in order of number and sheet."""
    begins, moments = _begins_and_moments(journal)
    last_stage = len(journal.recipe.stages) if journal.recipe is not None else max((k[0] for k in begins), default=0)
    made = []
    for key in sorted(begins, key=lambda k: (k[0], k[1] or 0)):
        begin = begins[key]
        of = moments.get((key[0], None), {}) | moments.get(key, {})  # a bath after the sheets has one clock, the last sheet's
        planned = None if _without_clock(journal, key[0]) else of.get("end", of.get("minimum"))
        end_s, by = _actual_end(journal, key, begin, begins, planned, last_stage)
        made.append(Stretch(key[0], begin.name, key[1], begin.t_s, begin.assumed, end_s, by, planned, of.get("ready"), of.get("now")))
    return made


def _without_clock(journal: Journal, stage: int) -> bool:
    """Whether the recipe gives the stage no time (a load that a press ends): what is written as its end was never planned."""
    stages = journal.recipe.stages if journal.recipe is not None else ()
    return stage <= len(stages) and stages[stage - 1].time_s == 0


def _begins_and_moments(journal: Journal) -> tuple[dict[Key, _Begin], dict[Key, dict[str, float]]]:
    """Follow begins, corrections and annulments in the order of the file; the last word counts."""
    begins: dict[Key, _Begin] = {}
    moments: dict[Key, dict[str, float]] = {}
    by_seq: dict[int, Key] = {}
    records = [r for kind in ("stage", "correction", "annulled") for r in journal.of(kind)]
    for record in sorted(records, key=lambda r: int(r["seq"])):
        key = by_seq.get(record.get("replaces_seq", 0), (record.get("stage", 0), record.get("sheet")))
        if record["kind"] == "correction":
            if key in begins:
                begins[key] = _Begin(record["begin_t_s"], False, "correction", begins[key].name)
                by_seq[record["seq"]] = key  # a second correction may replace the first
                for planned in (key, (key[0], None)):
                    moments.pop(planned, None)  # planned from the begin that did not happen
        elif record["kind"] == "annulled":  # a begin that was assumed after one that has now been corrected
            begins.pop(key, None)
            moments.pop(key, None)
        elif record["event"] == "begin":
            assumed = record.get("assumed") is True
            begins[key] = _Begin(record["t_s"], assumed, "assumed" if assumed else "tap", record["name"])
            by_seq[record["seq"]] = key
        else:
            moments.setdefault(key, {})[record["event"]] = record["t_s"]
    return begins, moments


def _actual_end(
    journal: Journal, key: Key, begin: _Begin, begins: dict[Key, _Begin], planned_s: float | None, last_stage: int
) -> tuple[float, EndedBy]:
    stage, sheet = key
    following = {k: b for k, b in begins.items() if k[0] == stage + 1 and b.t_s >= begin.t_s}
    own = following.get((stage + 1, sheet)) or following.get((stage + 1, None))
    if own is None and following and sheet is None:
        own = min(following.values(), key=lambda b: b.t_s)  # a bath before the sheets part: over when the first leaves it
    if own is not None:
        return own.t_s, own.by
    close = journal.close
    if close is not None and stage >= last_stage:
        return max(close["t_s"], begin.t_s), "close"
    if close is not None and planned_s is not None:
        return min(planned_s, close["t_s"]), "planned end"
    return max(journal.last_t_s if close is None else close["t_s"], begin.t_s), "end of the record"


def believed_spans(journal: Journal, probe: str, as_known_then: bool = False) -> list[tuple[float, float]]:
    """When a probe was believed, as (from, to) in session seconds; `to` may be infinite.

    Before its first `trust` record a probe counts as believed, unless that record is the gain. Since-times count, not the
    moments at which they were found out, unless `as_known_then`. A law that runs outside its data is no loss of a probe.
    """
    changes = [
        (r["t_s"] if r["since_t_s"] is None or as_known_then else min(r["since_t_s"], r["t_s"]), r["believed"])
        for r in journal.of("trust")
        if r.get("probe") == probe and OUTSIDE_DATA not in r["why"]
    ]
    state = not (changes and changes[0][1])
    spans: list[tuple[float, float]] = []
    since = -math.inf
    for at_s, believed in changes:
        if state and not believed:
            spans.append((since, max(at_s, since)))
        if believed and not state:
            since = at_s
        state = believed
    if state:
        spans.append((since, math.inf))
    return spans


def within(spans: Sequence[tuple[float, float]], t_s: float) -> bool:
    """Whether a moment lies in one of the spans (from included, to not)."""
    return any(low <= t_s < high for low, high in spans)
