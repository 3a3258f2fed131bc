"""What a journal tells of its stages: one fold over the records that knows assumed begins, corrections and annulled ones.

Session, view, summary, review and check all ask this one; nobody folds begins a second time. A `Passage` is the way of one
film through one stage. Its planned moments are those of the session; its actual end is the begin of the next stage for the
same film. Pure; holds passages, no readings. Tests: tests/core/journal/test_history.py.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from monitor.core.journal.records import (
    Annulled,
    Anything,
    Appeared,
    Closed,
    Corrected,
    GateChanged,
    Opened,
    StageBegun,
    StageMoment,
    Tapped,
    parse,
)

BegunBy = Literal["tap", "assumed", "on time", "correction"]
"""How a begin is known: by the press itself; by nobody; assumed, and a long press said that it was so; by a later press."""
EndedBy = Literal["tap", "assumed", "on time", "correction", "close", "planned end", "end of the record"]

Key = tuple[int, int | None]
"""Stage number from 1 on, and the sheet, None where there are none."""


@dataclass(frozen=True, slots=True)
class Passage:
    """One film in one stage, in session seconds; None where the journal has not said it (yet).

    `seq`: of the record that counts as its begin. `target_ref_s`: None where the stage's clock does not begin with this film.
    `ready_s`, `now_s`: when READY and NOW were. `fixed_now_s`, `fixed_end_s`: as READY (or the begin) fixed them.
    `end_s`: the planned end, once it has come; `minimum_s`: likewise, of a stage that lasts at least so long.
    `gate_closed`: its gate was withheld when it began, which only a stage that waits for its begin enforces (contract 5).
    `appeared_s`: when a tap said that a print's first trace was there, which set its target; `begun_target_ref_s`: the one before.
    """

    stage: int
    sheet: int | None
    name: str
    role: str
    seq: int
    begin_s: float
    begun_by: BegunBy
    target_ref_s: float | None
    steered: bool
    ready_s: float | None = None
    now_s: float | None = None
    fixed_now_s: float | None = None
    fixed_end_s: float | None = None
    minimum_s: float | None = None
    end_s: float | None = None
    appeared_s: float | None = None
    begun_target_ref_s: float | None = None
    gate_closed: bool = False

    @property
    def key(self) -> Key:
        """Stage and sheet."""
        return self.stage, self.sheet

    @property
    def told(self) -> bool:
        """Whether anybody said when it began."""
        return self.begun_by != "assumed"

    @property
    def planned_end_s(self) -> float | None:
        """The planned end: as it came, else as it was fixed; None before that."""
        return self.end_s if self.end_s is not None else self.fixed_end_s


class History:
    """Fold every record in the order of the file; then ask."""

    def __init__(self, stages: int | None = None) -> None:
        """`stages`: how many the recipe has; the opening of the session says it too."""
        self._passages: dict[Key, Passage] = {}
        self._by_seq: dict[int, Key] = {}
        self._withheld: set[int | None] = set()
        self._stages = stages
        self.closed_s: float | None = None
        """When the session was closed, None while it is not."""
        self.close_why: str | None = None

    @classmethod
    def of(cls, records: Iterable[Mapping[str, Any]], stages: int | None = None) -> History:
        """The history that these records tell. `stages`: how many the recipe has, where that is known."""
        history = cls(stages)
        for record in records:
            history.fold(record)
        return history

    def fold(self, record: Mapping[str, Any]) -> Anything | None:
        """One record as it stands in the journal. The record as its type, None for readings and progress, which are not parsed."""
        if record["kind"] in ("reading", "progress"):
            return None
        typed = parse(record)
        self.take(int(record["seq"]), typed)
        return typed

    def take(self, seq: int, record: Anything) -> None:
        """The same for a record that has its type already."""
        if isinstance(record, Opened):
            self._stages = len(record.recipe.get("stage", ())) or self._stages
        elif isinstance(record, StageBegun):
            self._begin(seq, record)
        elif isinstance(record, StageMoment):
            self._moment(record)
        elif isinstance(record, GateChanged):
            (self._withheld.add if record.state == "withheld" else self._withheld.discard)(record.stage)
        elif isinstance(record, Corrected):
            self._correct(seq, record)
        elif isinstance(record, Annulled):
            self._annul(record)
        elif isinstance(record, Appeared):
            self._appear(record)
        elif isinstance(record, Tapped) and record.meaning == "on time":
            self._settle()
        elif isinstance(record, Closed):
            self.closed_s, self.close_why = record.t_s, record.why

    # -- what is asked ----------------------------------------------------------------------------------------------

    @property
    def passages(self) -> list[Passage]:
        """All that count, in the order of stage and sheet."""
        return sorted(self._passages.values(), key=lambda p: (p.stage, p.sheet or 0))

    def passage(self, stage: int, sheet: int | None = None) -> Passage | None:
        """The passage of this film through this stage. A stage whose clock is one for all sheets answers for each of them."""
        return self._passages.get((stage, sheet)) or self._passages.get((stage, None))

    def clock(self, stage: int, sheet: int | None = None) -> Passage | None:
        """The passage whose clock that is: without a sheet, also the one that has the clock of a bath with sheets in it."""
        found = self.passage(stage, sheet)
        return found if found is not None or sheet is not None else next((p for p in self.clocks if p.stage == stage), None)

    @property
    def clocks(self) -> list[Passage]:
        """Those that have a clock of their own, in the same order: sheets that share a bath share the clock of the last one in it."""
        return [p for p in self.passages if p.target_ref_s is not None]

    def begun_with(self, seq: int) -> Passage | None:
        """The passage whose begin, or a correction of it, has this seq."""
        key = self._by_seq.get(seq)
        return None if key is None else self._passages.get(key)

    @property
    def stage(self) -> int | None:
        """The newest stage whose clock has begun, None before the first."""
        return max((p.stage for p in self.clocks), default=None)

    @property
    def newest(self) -> Passage | None:
        """The passage whose begin was written last."""
        return max(self._passages.values(), key=lambda p: p.seq, default=None)

    def actual_end(self, passage: Passage) -> tuple[float, EndedBy] | None:
        """When the film really left this stage and how that is known; None while it is in it.

        That is the begin of the next stage for the same film; for a bath before sheets go in, of the first of them; the last
        stage ends with the close. Where nothing says so after a close, the planned end stands.
        """
        after = self.next_of(passage)
        if after is not None:
            return after.begin_s, after.begun_by
        if self.closed_s is None:
            return None
        last = self._stages if self._stages is not None else max(p.stage for p in self._passages.values())
        if passage.stage >= last or passage.end_s is None:
            return max(self.closed_s, passage.begin_s), "close"
        return min(passage.end_s, self.closed_s), "planned end"

    def next_of(self, passage: Passage) -> Passage | None:
        """The next stage of the same film, None while it has not begun."""
        following = [p for p in self._passages.values() if p.stage == passage.stage + 1 and p.begin_s >= passage.begin_s]
        own = next((p for p in following if p.sheet == passage.sheet), None) or next((p for p in following if p.sheet is None), None)
        if own is None and following and passage.sheet is None:
            own = min(following, key=lambda p: p.begin_s)
        return own

    # -- what is told -----------------------------------------------------------------------------------------------

    def _begin(self, seq: int, record: StageBegun) -> None:
        passage = Passage(
            record.stage, record.sheet, record.name, record.role, seq, record.t_s, "assumed" if record.assumed else "tap",
            record.target_ref_s, bool(record.steered), fixed_now_s=record.now_t_s, fixed_end_s=record.end_t_s,
            begun_target_ref_s=record.target_ref_s, gate_closed=record.stage in self._withheld,
        )  # fmt: skip
        self._passages[passage.key] = passage
        self._by_seq[seq] = passage.key

    def _moment(self, record: StageMoment) -> None:
        for key in self._clock(record.stage, record.sheet):
            passage = self._passages[key]
            if record.moment == "ready":
                passage = replace(passage, ready_s=record.t_s, fixed_now_s=record.now_t_s, fixed_end_s=record.end_t_s)
            elif record.moment == "now":
                end_s = record.end_t_s if record.end_t_s is not None else passage.fixed_end_s
                passage = replace(passage, now_s=record.t_s, fixed_end_s=end_s)
            elif record.moment == "minimum":
                passage = replace(passage, minimum_s=record.t_s)
            else:
                passage = replace(passage, end_s=record.t_s)
            self._passages[key] = passage

    def _clock(self, stage: int, sheet: int | None) -> list[Key]:
        """Whom a moment concerns: one sheet, or all films of a stage that has one clock for them."""
        if (stage, sheet) in self._passages:
            return [(stage, sheet)]
        return [key for key in self._passages if key[0] == stage]

    def _correct(self, seq: int, record: Corrected) -> None:
        key = self._by_seq.get(record.replaces_seq, (record.stage, record.sheet))
        passage = self._passages.get(key)
        if passage is None:
            return
        self._by_seq[seq] = key  # a second correction may replace the first
        for concerned in {key, *(k for k in self._clock(record.stage, None) if record.sheet is None)}:
            other = self._passages[concerned]
            self._passages[concerned] = replace(
                other, ready_s=None, now_s=None, fixed_now_s=None, fixed_end_s=None, minimum_s=None, end_s=None,
                appeared_s=None, target_ref_s=other.begun_target_ref_s,
            )  # fmt: skip
        self._passages[key] = replace(self._passages[key], begin_s=record.begin_t_s, begun_by="assumed" if record.assumed else "correction")

    def _appear(self, record: Appeared) -> None:
        for key in self._clock(record.stage, None):
            self._passages[key] = replace(self._passages[key], appeared_s=record.t_s, target_ref_s=record.target_ref_s)

    def _annul(self, record: Annulled) -> None:
        key = self._by_seq.pop(record.replaces_seq, None)
        if key is not None:
            self._passages.pop(key, None)

    def _settle(self) -> None:
        """A long press said that the newest assumed begin was on time."""
        newest = max((p for p in self._passages.values() if not p.told), key=lambda p: p.seq, default=None)
        if newest is not None:
            self._passages[newest.key] = replace(newest, begun_by="on time")
