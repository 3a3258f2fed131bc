"""Reads from a session's journal what the ledger wants to know: whose session, how much film, which solutions were begun.

Refuses a rehearsal, in which no solution was used. Looks at `session` and `stage` records alone; a torn last line is left
out. Tests: tests/prepare/bottles/test_booking.py.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe, Stage
from monitor.prepare.bottles.bottles import standing
from monitor.prepare.bottles.ledger import Booking, Solution, read_ledger

_ALLOWED = "allowed: a journal, one JSON object a line"


def solutions_told(state: Path, names: Iterable[str], area_units: float | None, today: dt.date) -> list[dict[str, Any]]:
    """What the ledger of a state folder knows of these solutions, for a session's record: age in seconds (to the day), film area
    through it before and with this session's film, in units of 80 sq in. Names without a bottle are left out.
    Raises `FileWrong` for a ledger that cannot be followed."""
    ledger = read_ledger(state)
    told: list[dict[str, Any]] = []
    for name in dict.fromkeys(names):
        bottle = standing(ledger.bottles, name)
        if bottle is None:
            continue
        row: dict[str, Any] = {"solution": bottle.name, "mixed": bottle.mixed, "used_area_units": bottle.units}
        row["state"] = bottle.state(today)[0]
        row["age_s"] = 86400.0 * (today - dt.date.fromisoformat(bottle.mixed)).days
        if bottle.dilution is not None:
            row["dilution"] = bottle.dilution
        if area_units is not None:
            row["area_units"] = bottle.units + area_units
        told.append(row)
    return told


def read_booking(path: Path) -> Booking:
    """The booking of a live session's journal. Raises `InputWrong`, `FileWrong` with file and line."""
    recipe: Recipe | None = None
    session = ""
    begun: set[int] = set()
    for line, record in _records(path):
        if record.get("kind") == "session" and record.get("event") == "open":
            if record.get("mode") == "rehearsal":
                raise InputWrong(f"{path}: a rehearsal uses up no solution; allowed: the journal of a live session")
            recipe, session = _recipe(path, line, record), str(record.get("session", ""))
        elif record.get("kind") == "stage" and record.get("event") == "begin" and isinstance(record.get("stage"), int):
            begun.add(record["stage"])
    if recipe is None or not session:
        raise InputWrong(f"{path}: no record that opens a session; {_ALLOWED}")
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


def _recipe(path: Path, line: int, record: Mapping[str, Any]) -> Recipe:
    try:
        return recipe_from_data(record["recipe"])
    except (FileWrong, KeyError, TypeError, AttributeError):
        raise FileWrong([Problem(str(path), line, "the session's recipe cannot be read", _ALLOWED)]) from None


def _records(path: Path) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Records of the kinds `session` and `stage`, with their lines. The others are not even parsed: a journal is long."""
    try:
        data = path.read_bytes()
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be read ({wrong.strerror}); allowed: a journal") from None
    lines = data.split(b"\n")
    for number, line in enumerate(lines, 1):
        if not line.strip() or (line.startswith(b"{") and b'"session"' in line and b'"stage"' not in line and b'"event"' not in line):
            continue
        try:
            record = json.loads(line)
            if not isinstance(record, dict):
                raise ValueError("not an object")
        except (ValueError, RecursionError):
            if number == len(lines):
                return
            raise FileWrong([Problem(str(path), number, "not a record of a journal", _ALLOWED)]) from None
        yield number, record
