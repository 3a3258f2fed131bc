"""Keeps the scores of lessons in STATE/learned/sounds.jsonl, one line a lesson, only ever appended to.

`monitor.prepare.state.kept_lines` makes it safe against two shells and power cuts. Tests: tests/prepare/lesson/test_scores.py.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

from monitor.core.session.sounds import SIGNALS
from monitor.prepare.lesson.quiz import Score
from monitor.prepare.state.folder import LEARNED
from monitor.prepare.state.kept_lines import read_lines, writing

SCORES = "sounds.jsonl"


def save_score(state: Path, score: Score, day: date) -> None:
    """Append the score of one lesson, left early or not. Raises `InputWrong` where the folder cannot be written."""
    by = {name: {"asked": asked, "right": score.right_of.get(name, 0)} for name, asked in score.asked_of.items()}
    row = {"date": day.isoformat(), "asked": score.asked, "right": score.right, "passed": score.passed, "by": by}
    with writing(state / LEARNED / SCORES) as file:
        file.append(row)


def load_scores(state: Path) -> tuple[tuple[str, Score], ...]:
    """(day, score) of each lesson, the oldest first. Raises `FileWrong` for a damaged line.

    Signals that are not in the table any more are left out.
    """
    known = {signal.name for signal in SIGNALS}
    return tuple((str(row.data.get("date", "")), _score(row.data.get("by"), known)) for row in read_lines(state / LEARNED / SCORES).rows)


def _score(by: Any, known: set[str]) -> Score:
    rows = {name: told for name, told in by.items() if name in known and isinstance(told, dict)} if isinstance(by, dict) else {}
    return Score(*({name: _count(told.get(key)) for name, told in rows.items()} for key in ("asked", "right")))


def _count(value: Any) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) and value >= 0 else 0
