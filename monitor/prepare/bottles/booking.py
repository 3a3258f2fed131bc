"""Reads what the ledger needs from a session's journal: the session, how much film, which solutions were begun.

Refuses a rehearsal, in which no solution was used. Reads only `session` and `stage` records; a torn last line is left
out. Tests: tests/prepare/bottles/test_booking.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe, Stage
from monitor.prepare.bottles.counting import Standing, count
from monitor.prepare.bottles.ledger import Booking, Solution, read_ledger
from monitor.prepare.state.journal_lines import JOURNAL_ALLOWED, read_records


def solutions_told(state: Path, recipe: Recipe, today: dt.date) -> tuple[Standing, ...]:
    """What the ledger of a state folder says of the next film, with this recipe; solutions without a bottle are left out.

    Raises `FileWrong` for an inconsistent ledger.
    """
    return count(read_ledger(state).bottles, [recipe], today)[0]


def read_booking(path: Path) -> Booking:
    """The booking of a live session's journal. Raises `InputWrong`, `FileWrong` with file and line."""
    opened: list[tuple[str, Recipe]] = []
    begun: set[int] = set()

    def take(record: Mapping[str, Any]) -> None:
        if record.get("kind") == "session" and record.get("event") == "open":
            if record.get("mode") == "rehearsal":
                raise InputWrong(f"{path}: a rehearsal uses up no solution; allowed: the journal of a live session")
            opened.append((str(record.get("session", "")), _recipe(record)))
        elif record.get("kind") == "stage" and record.get("event") == "begin" and isinstance(record.get("stage"), int):
            begun.add(record["stage"])

    read_records(path, lambda line: b'"stage"' in line or b'"event"' in line, take)
    if not opened or not opened[-1][0]:
        raise InputWrong(f"{path}: no record opens a session; {JOURNAL_ALLOWED}")
    session, recipe = opened[-1]
    used = [stage for stage in recipe.stages if stage.number in begun and stage.solution]
    if not used:
        raise InputWrong(f"{path}: no stage with a named solution was begun; allowed: a recipe whose stages name their solution")
    solutions: dict[str, Solution] = {}
    for stage in used:
        solutions.setdefault(str(stage.solution).casefold(), _solution(stage))
    return Booking(session, recipe.area_units, tuple(solutions.values()))


def _solution(stage: Stage) -> Solution:
    name = str(stage.solution)
    if stage.dilution is None or stage.dilution.parts_water == 0:
        return Solution(name, False, None)
    parts = stage.stock_and_water_ml
    return Solution(name, True, None if parts is None else parts[0])


def _recipe(record: Mapping[str, Any]) -> Recipe:
    try:
        return recipe_from_data(record["recipe"])
    except (FileWrong, KeyError, TypeError, AttributeError):
        raise ValueError("its recipe cannot be read") from None
