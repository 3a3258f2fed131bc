"""What is kept of lessons."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.lesson.quiz import Score
from monitor.prepare.lesson.scores import load_scores, save_score


def test_scores_are_kept_by_pattern_and_read_again(tmp_path: Path) -> None:
    """One line a lesson in the folder of what was learned; the earlier ones stay."""
    first, second = Score({"now": 1, "tick": 2}, {"now": 1, "tick": 1}), Score({"fault": 1}, {"fault": 0})
    save_score(tmp_path, first, date(2026, 11, 24))
    save_score(tmp_path, second, date(2026, 11, 25))
    assert load_scores(tmp_path) == (("2026-11-24", first), ("2026-11-25", second))
    row = json.loads((tmp_path / "learned" / "sounds.jsonl").read_text().splitlines()[0])
    assert row == {
        "date": "2026-11-24", "asked": 3, "right": 2, "passed": False,
        "by": {"now": {"asked": 1, "right": 1}, "tick": {"asked": 2, "right": 1}},
    }  # fmt: skip


def test_no_lesson_yet_is_no_fault_and_an_older_file_is_read_as_far_as_it_is_known(tmp_path: Path) -> None:
    """A signal that there is no more, and a number that is none, count for nothing."""
    assert load_scores(tmp_path) == ()
    (tmp_path / "learned").mkdir()
    by = {"gong": {"asked": 4, "right": 4}, "now": {"asked": 3, "right": "all"}}
    (tmp_path / "learned" / "sounds.jsonl").write_text(json.dumps({"date": "2026-01-01", "by": by}) + "\n")
    assert load_scores(tmp_path) == (("2026-01-01", Score({"now": 3}, {"now": 0})),)


def test_a_folder_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "learned").write_text("")
    with pytest.raises(InputWrong):
        save_score(tmp_path, Score({"now": 1}, {"now": 1}), date(2026, 11, 24))
