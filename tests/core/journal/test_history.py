"""The one fold of begins, corrections and annulled begins."""

from __future__ import annotations

from typing import Any

from monitor.core.journal.history import History
from monitor.core.journal.snapshot import LastCue, Snapshot


class Teller:
    """Records in the order in which they are told."""

    def __init__(self) -> None:
        self.history = History(stages=3)
        self.seq = 0

    def tell(self, kind: str, t_s: float, **fields: Any) -> int:
        """One record; returns its seq."""
        self.seq += 1
        self.history.fold({"seq": self.seq, "session": "s", "t_s": t_s, "wall": "w", "kind": kind, **fields})
        return self.seq

    def begin(self, stage: int, t_s: float, **more: Any) -> int:
        """A stage begins."""
        names = ("develop", "stop", "fix")
        fields = {"target_ref_s": 60.0, "steered": False} | more
        return self.tell("stage", t_s, stage=stage, name=names[stage - 1], event="begin", role=names[stage - 1], **fields)

    def moment(self, stage: int, event: str, t_s: float, **more: Any) -> None:
        """READY, NOW, the minimum or the planned end."""
        self.tell("stage", t_s, stage=stage, name="x", event=event, **more)


def test_two_missed_begins_a_late_press_and_the_end_agree_on_one_story() -> None:
    """Stop and fix were assumed while the film still lay in the developer; the press says that stop begins now, fix never did."""
    told = Teller()
    told.begin(1, 0.0, target_ref_s=600.0)
    told.moment(1, "end", 600.0)
    stop = told.begin(2, 600.0, assumed=True)
    told.moment(2, "end", 660.0)
    fix = told.begin(3, 660.0, assumed=True)
    told.tell("correction", 681.0, stage=2, begin_t_s=681.0, replaces_seq=stop)
    told.tell("annulled", 681.0, stage=3, replaces_seq=fix)
    told.tell("session", 690.0, event="close", why="called away")
    develop, stopped = told.history.passages
    assert told.history.actual_end(develop) == (681.0, "correction")
    assert (stopped.begin_s, stopped.begun_by, stopped.planned_end_s) == (681.0, "correction", None)
    assert told.history.actual_end(stopped) == (690.0, "close")
    assert told.history.passage(3) is None
    assert told.history.stage == 2


def test_a_begin_that_nobody_answered_stays_not_told() -> None:
    """Until a long press says that it was on time, or a later press says when."""
    told = Teller()
    told.begin(1, 0.0)
    told.begin(2, 60.0, assumed=True)
    assert not told.history.passages[1].told
    told.tell("tap", 63.0, meaning="on time")
    assert told.history.passages[1].begun_by == "on time"
    assert told.history.passages[1].begin_s == 60.0


def test_a_second_correction_replaces_the_first() -> None:
    """The newest word counts, whichever of the two seqs it names."""
    told = Teller()
    told.begin(1, 0.0)
    begun = told.begin(2, 60.0, assumed=True)
    first = told.tell("correction", 63.0, stage=2, begin_t_s=63.0, replaces_seq=begun)
    told.tell("correction", 65.0, stage=2, begin_t_s=65.0, replaces_seq=first)
    assert told.history.passages[1].begin_s == 65.0


def test_a_correction_takes_back_what_was_planned_from_the_begin_that_did_not_happen() -> None:
    """READY, NOW and the planned end are told anew."""
    told = Teller()
    told.begin(1, 0.0)
    begun = told.begin(2, 60.0, assumed=True)
    told.moment(2, "ready", 80.0, now_t_s=110.0, end_t_s=120.0)
    told.tell("correction", 85.0, stage=2, begin_t_s=85.0, replaces_seq=begun)
    stop = told.history.passages[1]
    assert (stop.ready_s, stop.fixed_now_s, stop.planned_end_s) == (None, None, None)


def test_sheets_leave_one_by_one_into_a_bath_with_one_clock() -> None:
    """Its moments are those of every sheet in it; each sheet left the developer at its own begin there."""
    told = Teller()
    for sheet in (1, 2):
        told.begin(1, 10.0 * sheet, sheet=sheet, target_ref_s=100.0)
    told.tell("stage", 110.0, stage=2, name="stop", event="begin", role="stop", sheet=1)
    told.begin(2, 121.0, sheet=2)
    told.moment(2, "end", 181.0)
    assert [told.history.actual_end(p) for p in told.history.passages[:2]] == [(110.0, "tap"), (121.0, "tap")]
    assert [p.end_s for p in told.history.passages[2:]] == [181.0, 181.0]


def test_after_a_close_a_stage_that_nobody_ended_ends_as_planned_or_with_the_close() -> None:
    """Whichever came first."""
    told = Teller()
    told.begin(1, 0.0)
    assert told.history.actual_end(told.history.passages[0]) is None
    told.moment(1, "end", 60.0)
    told.tell("session", 90.0, event="close", why="lost")
    assert told.history.actual_end(told.history.passages[0]) == (60.0, "planned end")


def test_a_snapshot_crosses_the_socket_unchanged_and_passes_over_what_it_does_not_know() -> None:
    """As JSON and back."""
    seen = Snapshot(t_s=3.0, stages=2, stage=1, lost={"jug": "no reading"}, last_cue=LastCue(cue="ready", t_s=1.0))
    assert Snapshot.read(seen.plain() | {"of_a_later_version": 1}) == seen


def test_sheets_in_one_bath_share_the_clock_of_the_last_one() -> None:
    """Asked for the bath without a sheet, that one answers; `next_of` is each sheet's own way on."""
    told = Teller()
    for sheet in (1, 2):
        told.begin(1, 10.0 * sheet, sheet=sheet)
    told.tell("stage", 110.0, stage=2, name="stop", event="begin", role="stop", sheet=1)
    told.begin(2, 121.0, sheet=2)
    stop = told.history.clock(2)
    assert stop is not None
    assert (stop.sheet, stop.begin_s) == (2, 121.0)
    assert told.history.passage(2) is None
    assert [p.key for p in told.history.clocks] == [(1, 1), (1, 2), (2, 2)]
    after = told.history.next_of(told.history.passages[0])
    assert after is not None
    assert after.key == (2, 1)
    assert told.history.newest == stop


def test_the_opening_says_how_many_stages_there_are() -> None:
    """So that a close in the middle is not taken for the end of the last stage."""
    history = History()
    recipe: dict[str, Any] = {"stage": [{}, {}, {}]}
    history.fold({"seq": 1, "t_s": 0.0, "kind": "session", "event": "open", "name": "x", "mode": "live", "recipe": recipe})
    begin = {"t_s": 0.0, "kind": "stage", "stage": 1, "name": "develop", "event": "begin", "target_ref_s": 60.0}
    history.fold({"seq": 2, **begin})
    history.fold({"seq": 3, **begin, "event": "end", "t_s": 60.0})
    history.fold({"seq": 4, "t_s": 90.0, "kind": "session", "event": "close", "why": "abandoned"})
    assert history.actual_end(history.passages[0]) == (60.0, "planned end")
