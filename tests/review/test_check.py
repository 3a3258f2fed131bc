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
