"""When stages really began and ended, and which probe was believed when."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from monitor.review.load import Journal, load
from monitor.review.timeline import Stretch, believed_spans, stretches, within
from tests.review.journals import Fault, Played, play, recipe_data


def loaded(made: Played, path: Path) -> Journal:
    """A played session, through its file."""
    return load(made.write(path / "s.jsonl"))


def by_key(journal: Journal) -> dict[tuple[int, int | None], Stretch]:
    """Stretches by stage and sheet."""
    return {(s.stage, s.sheet): s for s in stretches(journal)}


def sheets_data() -> dict[str, Any]:
    """Three sheets through 4:00 of developer."""
    data = recipe_data(time="4:00", drain="0:05", agitation=None)
    data["vessel"] = "open tray"
    data["sheets"] = {"count": 3, "interval": "0:10"}
    return data


def test_a_late_tap_ends_the_stage_late_and_its_plan_stays(tmp_path: Path) -> None:
    """Planned and actual end are two things."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, late_s={3: 20.0})
    develop = by_key(loaded(made, tmp_path))[2, None]
    assert develop.planned_end_s == pytest.approx(made.ends[2, None])
    assert develop.late_s == pytest.approx(20.0)
    assert develop.ended_by == "tap"
    assert develop.actual_s == pytest.approx(260.0)


def test_a_missed_tap_is_corrected_by_the_later_one(tmp_path: Path) -> None:
    """The correction replaces the assumed begin, for the end before it and for the stage itself."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, missed=[3], late_s={3: 45.0})
    found = by_key(loaded(made, tmp_path))
    assert found[2, None].late_s == pytest.approx(45.0)
    assert found[2, None].ended_by == "correction"
    assert found[3, None].begin_s == pytest.approx(made.ends[2, None] + 45.0)
    assert not found[3, None].begin_assumed


def test_without_the_correction_the_begin_stays_assumed(tmp_path: Path) -> None:
    """Marked as such."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, missed=[3])
    made.records = [r for r in made.records if r["kind"] not in ("correction", "tap")]
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    found = by_key(loaded(made, tmp_path))
    assert found[3, None].begin_assumed
    assert found[2, None].ended_by == "assumed"


def test_each_sheet_has_its_own_stretch_and_leaves_for_its_own_stop(tmp_path: Path) -> None:
    """Sheet 2 ends where sheet 2 enters the stop bath; the fix begins for all of them."""
    made = play(sheets_data(), lambda t: 20.0 + 0.002 * t)
    found = by_key(loaded(made, tmp_path))
    for sheet in (1, 2, 3):
        assert found[2, sheet].end_s == pytest.approx(found[3, sheet].begin_s)
        assert found[3, sheet].end_s == pytest.approx(found[4, None].begin_s)
    assert found[1, None].end_s == pytest.approx(found[2, 1].begin_s)
    assert found[2, 2].begin_s - found[2, 1].begin_s == pytest.approx(10.0)


def test_the_last_stage_ends_with_the_close(tmp_path: Path) -> None:
    """And where there is none, where the record ends."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, wash_s=30.0)
    fix = by_key(loaded(made, tmp_path))[4, None]
    assert fix.ended_by == "close"
    assert fix.late_s == pytest.approx(30.0)
    made.records = [r for r in made.records if r.get("event") != "close"]
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    fix = by_key(loaded(made, tmp_path))[4, None]
    assert fix.ended_by == "end of the record"


def test_belief_counts_since_the_time_it_was_true(tmp_path: Path) -> None:
    """Not since it was found out, unless that is asked for."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, room=lambda _: 8.0, faults=[Fault("air", 150.0, 200.0)])
    journal = loaded(made, tmp_path)
    spans = believed_spans(journal, "developer")
    assert within(spans, 150.5)
    assert not within(spans, 152.0)
    assert not within(spans, 234.0)
    assert within(spans, 236.0)
    assert within(believed_spans(journal, "developer", as_known_then=True), 155.0)
    assert within(believed_spans(journal, "bath"), 155.0)


def test_a_probe_that_was_gained_first_was_not_believed_before(tmp_path: Path) -> None:
    """The first record tells. A law outside its data is no loss of a probe."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0)
    base = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z", "kind": "trust", "probe": "developer"}
    made.records.append({"seq": len(made.records) + 1, "t_s": 40.0, **base, "believed": True, "why": "settled", "since_t_s": 10.0})
    made.records.append({"seq": len(made.records) + 1, "t_s": 90.0, **base, "believed": False, "why": "outside data", "since_t_s": 90.0})
    spans = believed_spans(loaded(made, tmp_path), "developer")
    assert not within(spans, 5.0)
    assert within(spans, 12.0)
    assert within(spans, 100.0)


def test_what_is_found_of_a_register_or_of_the_begin_is_no_gain(tmp_path: Path) -> None:
    """A probe that was lost before it stays so; one of which it is the first word was believed before."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0)
    base = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z", "kind": "trust", "probe": "developer"}
    for told_s, believed, why in ((40.0, True, "moves in steps of 0.25 C"), (60.0, False, "in air"), (75.0, True, "dry until 8 s")):
        made.records.append({"seq": len(made.records) + 1, "t_s": told_s, **base, "believed": believed, "why": why, "since_t_s": told_s})
    spans = believed_spans(loaded(made, tmp_path), "developer")
    assert [within(spans, t) for t in (5.0, 50.0, 70.0, 90.0)] == [True, True, False, False]


def test_a_later_loss_reaches_back_over_earlier_ones(tmp_path: Path) -> None:
    """First a short stretch is told not to be the liquid's, then a longer one that contains it: none of it counts."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0)
    base = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z", "kind": "trust", "probe": "developer"}
    for told_s, believed, since_s in ((100.0, False, 80.0), (100.0, True, 90.0), (120.0, False, 50.0), (120.0, True, 90.0)):
        words = {"believed": believed, "why": "passed", "since_t_s": since_s}
        made.records.append({"seq": len(made.records) + 1, "t_s": told_s, **base, **words})
    spans = believed_spans(loaded(made, tmp_path), "developer")
    assert [within(spans, t) for t in (49.0, 51.0, 79.0, 85.0, 91.0)] == [True, False, False, False, True]


def test_a_plan_made_from_a_begin_that_was_corrected_counts_no_more(tmp_path: Path) -> None:
    """The stop's planned end lay before the tap that corrected its begin; abandoned after that tap, it lasted until the close."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, missed=[3], late_s={3: 45.0})
    stop = made.begins[3, None]
    at = next(i for i, r in enumerate(made.records) if r["kind"] == "correction")
    head = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z"}
    old_end = {**head, "seq": 0, "kind": "stage", "stage": 3, "name": "stop", "event": "end", "t_s": stop - 15.0}
    close = {**head, "seq": 0, "kind": "session", "event": "close", "t_s": stop + 4.0, "why": "abandoned"}
    made.records[at + 1 :] = [close]
    made.records.insert(at, old_end)
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    found = by_key(loaded(made, tmp_path))
    assert found[3, None].planned_end_s is None
    assert found[3, None].actual_s == pytest.approx(4.0)


def test_a_begin_that_was_taken_back_counts_no_more(tmp_path: Path) -> None:
    """A very late tap corrects the stop; the fix that had been assumed after it is annulled and begins anew."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, missed=[3], late_s={3: 45.0})
    stop = made.begins[3, None]
    early = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z", "stage": 4, "name": "fix", "t_s": stop - 15.0}
    at = next(i for i, r in enumerate(made.records) if r["kind"] == "correction")
    begin = {**early, "seq": 0, "kind": "stage", "event": "begin", "assumed": True}
    made.records[at:at] = [begin, {**early, "seq": 0, "kind": "stage", "event": "minimum", "t_s": stop - 1.0}]
    at += 3
    made.records.insert(
        at, {"seq": 0, "session": "260301-1", "wall": early["wall"], "kind": "annulled", "t_s": stop, "stage": 4, "replaces_seq": 0}
    )
    old = next(r["replaces_seq"] for r in made.records if r["kind"] == "correction")
    target = next(r for r in made.records if r["seq"] == old and r["kind"] == "stage")
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    next(r for r in made.records if r["kind"] == "correction")["replaces_seq"] = target["seq"]
    made.records[at]["replaces_seq"] = begin["seq"]
    found = by_key(loaded(made, tmp_path))
    assert found[3, None].begin_s == pytest.approx(stop)
    assert found[3, None].actual_s == pytest.approx(30.0)
    assert found[4, None].begin_s == pytest.approx(stop + 30.0)
    assert not found[4, None].begin_assumed


def test_an_early_pour_is_told_as_earlier(tmp_path: Path) -> None:
    """Five seconds before the planned end."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0, late_s={3: -5.0})
    assert by_key(loaded(made, tmp_path))[2, None].late_s == pytest.approx(-5.0)


def test_a_load_without_a_time_has_no_planned_end(tmp_path: Path) -> None:
    """Whatever was written as its end: only a press ended it."""
    made = play(recipe_data(time="4:00"), lambda _: 20.0)
    made.records[0]["recipe"]["stage"][0] = {"name": "load", "role": "load"}
    load_stage = by_key(loaded(made, tmp_path))[1, None]
    assert load_stage.planned_end_s is None
    assert load_stage.late_s is None


def test_probes_that_were_exchanged_speak_for_each_other(tmp_path: Path) -> None:
    """In the whole journal; what was held against the one before was the other's liquid."""
    made = play(recipe_data(time="4:00"), lambda _: 18.0, bath=lambda _: 22.0)
    base = {"session": "260301-1", "wall": "2026-03-01T19:00:00Z", "kind": "trust", "probe": "developer", "believed": False}
    made.records.append({"seq": len(made.records) + 1, "t_s": 90.0, **base, "why": "drifts", "since_t_s": 60.0})
    made.records.append({"seq": len(made.records) + 1, "t_s": 99.0, **base, "why": "exchanged with bath: so", "since_t_s": 5.0})
    journal = loaded(made, tmp_path)
    assert {name: series.role for name, series in journal.readings.items()} == {"developer": "bath", "bath": "developer"}
    for probe in ("developer", "bath"):
        assert within(believed_spans(journal, probe), 70.0)
        assert within(believed_spans(journal, probe), 150.0)
