"""A journal that agrees with itself, and journals that do not: each fault is found, and only it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from monitor.review.check import Check, check
from monitor.review.load import load
from monitor.review.measures import measure
from tests.review.journals import Fault, Played, play, recipe_data

Records = list[dict[str, Any]]


def checked(made: Played, path: Path) -> Check:
    """Check a played session through its file."""
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    journal = load(made.write(path / "s.jsonl"))
    return check(journal, measure(journal))


def cold(**options: Any) -> Played:
    """A cold laundry."""
    return play(recipe_data(time="6:00"), lambda t: 20.5 - 0.0021 * t, bath=lambda t: 20.5 - 0.004 * t, **options)


def test_a_true_journal_agrees_throughout(tmp_path: Path) -> None:
    """Also with a probe in the air for a while."""
    assert checked(cold(), tmp_path).disagree == []
    assert checked(cold(room=lambda _: 8.0, faults=[Fault("air", 150.0, 250.0)]), tmp_path).disagree == []
    assert len(checked(cold(), tmp_path).agree) > 12


def _wrong_target(records: Records) -> None:
    for r in records:
        if r["kind"] == "progress":
            r["target_ref_s"] = 350.0


def _late_now(records: Records) -> None:
    for r in records:
        if r.get("event") == "now" and r["stage"] == 2:
            r["t_s"] += 4.0


def _silent_now(records: Records) -> None:
    records[:] = [r for r in records if not (r["kind"] == "cue" and r["cue"] == "now" and r["t_s"] > 300)]


def _hole_in_progress(records: Records) -> None:
    records[:] = [r for r in records if not (r["kind"] == "progress" and 150 < r["t_s"] < 170)]


def _falling(records: Records) -> None:
    next(r for r in records if r["kind"] == "progress" and r["t_s"] > 200)["done_ref_s"] -= 30.0


def _no_press(records: Records) -> None:
    records[:] = [r for r in records if not (r["kind"] == "tap" and r["t_s"] > 300)]


def _two_comparisons(records: Records) -> None:
    for r in records:
        if r["kind"] == "reading" and r["probe"] == "bath" and r["t_s"] > 200:
            r["celsius"] += 0.3


def _stop_too_short(records: Records) -> None:
    for r in records:
        if r.get("event") == "end" and r["stage"] == 3:
            r["t_s"] -= 5.0
        if r.get("event") == "now" and r["stage"] == 3:
            r["t_s"] -= 5.0


@pytest.mark.parametrize(
    ("harm", "says"),
    [
        (_wrong_target, "target 350 s, but the recipe's time x factor is 360 s"),
        (_late_now, "NOW came 11.00 s before the planned end, but the drain is 15 s"),
        (_silent_now, "NOW have no sound"),
        (_hole_in_progress, "without progress"),
        (_falling, "the live figure fell 1 times"),
        (_no_press, "its begin is not marked as assumed, but no press lies near it"),
        (_two_comparisons, "probe bath: no single comparison"),
        (_stop_too_short, "stop: its planned end lies 25.00 s after its begin, but time x factor is 30 s"),
    ],
)
def test_what_was_changed_is_found(tmp_path: Path, harm: Callable[[Records], None], says: str) -> None:
    """A journal altered in one thing disagrees in that thing."""
    made = cold()
    harm(made.records)
    disagree = checked(made, tmp_path).disagree
    assert any(says in line for line in disagree), disagree


def test_a_live_filter_that_was_wrong_is_found(tmp_path: Path) -> None:
    """Two per cent, where half a per cent can be explained."""
    assert any("development live said" in line for line in checked(cold(live_error_percent=2.0), tmp_path).disagree)


def test_a_source_that_was_not_believed_is_found(tmp_path: Path) -> None:
    """Progress that leans on a probe which trust had taken away."""
    made = cold(room=lambda _: 8.0, faults=[Fault("air", 150.0, 250.0)])
    for record in made.records:
        if record["kind"] == "progress":
            record["source"] = "developer"
    assert any("that was not believed" in line for line in checked(made, tmp_path).disagree)


def test_a_hole_in_progress_around_a_resume_is_explained(tmp_path: Path) -> None:
    """The program was gone, and said so."""
    made = cold()
    _hole_in_progress(made.records)
    at = next(i for i, r in enumerate(made.records) if r["t_s"] > 168.0)
    resume = {"t_s": 168.0, "kind": "session", "event": "resume", "gap_s": 16.0, "same_boot": True}
    made.records.insert(at, {"seq": 0, "session": "260301-1", "wall": "2026-03-01T19:00:00Z", **resume})
    assert not any("without progress" in line for line in checked(made, tmp_path).disagree)


def test_faults_too_close_together_are_found(tmp_path: Path) -> None:
    """Sixty seconds across all probes."""
    made = cold()
    for t in (100.0, 130.0):
        made.records.insert(-1, made.records[-1] | {"t_s": t, "kind": "cue", "cue": "fault"})
    assert "two FAULTs lie 30.0 s apart, less than 60 s" in checked(made, tmp_path).disagree


# -- how far apart is still the same -------------------------------------------------------------------------------------


def _moved(records: Records, by_s: float, **which: Any) -> None:
    """Every record with these fields, `by_s` later."""
    for record in records:
        if all(record.get(name) == value for name, value in which.items()):
            record["t_s"] += by_s


@pytest.mark.parametrize(("error_percent", "agrees"), [(0.4, True), (0.7, False)])
def test_development_may_differ_by_half_a_per_cent_of_the_target(tmp_path: Path, error_percent: float, agrees: bool) -> None:
    """Where all of it was measured."""
    disagree = checked(cold(live_error_percent=error_percent), tmp_path).disagree
    assert any("development live said" in line for line in disagree) is not agrees


def test_an_estimate_may_be_wrong_by_two_of_its_own_standard_deviations(tmp_path: Path) -> None:
    """Two per cent, where the live filter said three (one standard deviation) without a probe."""
    lost = Fault("missing", 0.0, 5000.0, noticed_s=0.0)
    disagree = checked(cold(live_error_percent=2.0, faults=[lost]), tmp_path).disagree
    assert not any("development live said" in line for line in disagree)


@pytest.mark.parametrize(("later_s", "agrees"), [(3.0, True), (10.0, False)])
def test_the_live_figure_is_complete_at_the_planned_end(tmp_path: Path, later_s: float, agrees: bool) -> None:
    """Within a per cent of the target and one step of progress; the pour came 20 s after the planned end, so that it was told on."""
    made = cold(late_s={3: 20.0})
    _moved(made.records, later_s, kind="stage", stage=2, event="end")
    _moved(made.records, later_s, kind="stage", stage=2, event="now")
    disagree = checked(made, tmp_path).disagree
    assert any("at its planned end the live figure was 10" in line for line in disagree) is not agrees


@pytest.mark.parametrize(("earlier_s", "agrees"), [(0.2, True), (0.4, False)])
def test_a_planned_moment_may_be_a_quarter_of_a_second_off(tmp_path: Path, earlier_s: float, agrees: bool) -> None:
    """The end of the stop, and NOW with it."""
    made = cold()
    _moved(made.records, -earlier_s, kind="stage", stage=3, event="end")
    _moved(made.records, -earlier_s, kind="stage", stage=3, event="now")
    assert any("stop: its planned end lies" in line for line in checked(made, tmp_path).disagree) is not agrees


def test_a_now_that_waited_for_an_overdue_ready_is_no_disagreement(tmp_path: Path) -> None:
    """READY 3 s before NOW should have been; NOW ten seconds after it, 8 s before the end where the drain is 15 s."""
    made = cold()
    _moved(made.records, 27.0, kind="stage", stage=2, event="ready")
    _moved(made.records, 7.0, kind="stage", stage=2, event="now")
    assert not any("the drain is" in line for line in checked(made, tmp_path).disagree)


def test_one_missing_record_of_progress_is_found(tmp_path: Path) -> None:
    """Four seconds without one, where two are the rule."""
    made = cold()
    progress = [r for r in made.records if r["kind"] == "progress"]
    made.records.remove(progress[20])
    assert any("4.0 s without progress" in line for line in checked(made, tmp_path).disagree)


@pytest.mark.parametrize(("silent_s", "agrees"), [(12.0, True), (25.0, False)])
def test_a_source_has_spoken_within_fifteen_seconds(tmp_path: Path, silent_s: float, agrees: bool) -> None:
    """A probe without a reading for longer measures nothing, whether it is believed or not."""
    made = cold()
    made.records = [
        r for r in made.records if not (r["kind"] == "reading" and r["probe"] == "developer" and 150.0 < r["t_s"] < 150.0 + silent_s)
    ]
    assert any("had not spoken for 15 s" in line for line in checked(made, tmp_path).disagree) is not agrees


@pytest.mark.parametrize(("late_s", "agrees"), [(4.0, True), (6.0, False), (-0.4, True), (-1.0, False)])
def test_a_sound_comes_within_five_seconds_of_its_moment(tmp_path: Path, late_s: float, agrees: bool) -> None:
    """And never half a second early."""
    made = cold()
    _moved(made.records, late_s, kind="cue", cue="ready")
    assert any("READY have no sound" in line for line in checked(made, tmp_path).disagree) is not agrees


def test_filling_and_draining_come_on_top_of_the_time_of_a_stage_counted_from_full_to_empty(tmp_path: Path) -> None:
    """A stop of 0:30 with 0:10 of filling and 0:10 of draining ends 50 s after its begin."""
    made = cold()
    made.records[0]["recipe"]["stage"][2] |= {"counted": "full to empty", "fill": "0:10"}
    _moved(made.records, 20.0, kind="stage", stage=3, event="end")
    _moved(made.records, 20.0, kind="stage", stage=3, event="now")
    found = checked(made, tmp_path)
    assert "stop: its planned end lies time x factor after its begin" in found.agree


@pytest.mark.parametrize(("off_s", "agrees"), [(0.8, True), (3.0, False)])
def test_a_begin_that_was_told_lies_within_a_second_of_a_press(tmp_path: Path, off_s: float, agrees: bool) -> None:
    """The contract dates it to the press itself."""
    made = cold()
    last = [r for r in made.records if r["kind"] == "tap"][-1]
    last["t_s"] += off_s
    assert any("no press lies near it" in line for line in checked(made, tmp_path).disagree) is not agrees


@pytest.mark.parametrize(("fall_percent", "agrees"), [(0.01, True), (0.05, False)])
def test_the_live_figure_never_falls(tmp_path: Path, fall_percent: float, agrees: bool) -> None:
    """By more than a fiftieth of a per cent of the target, from one record to the next."""
    made = cold()
    progress = [r for r in made.records if r["kind"] == "progress"]
    progress[60]["done_ref_s"] = progress[59]["done_ref_s"] - fall_percent / 100.0 * 360.0
    assert any("the live figure fell" in line for line in checked(made, tmp_path).disagree) is not agrees


@pytest.mark.parametrize(("apart_s", "agrees"), [(59.9, True), (59.0, False)])
def test_a_minute_between_faults_is_a_minute(tmp_path: Path, apart_s: float, agrees: bool) -> None:
    """To the tolerance of moments."""
    made = cold()
    for t in (100.0, 100.0 + apart_s):
        made.records.insert(-1, made.records[-1] | {"t_s": t, "kind": "cue", "cue": "fault"})
    assert any("two FAULTs lie" in line for line in checked(made, tmp_path).disagree) is not agrees
