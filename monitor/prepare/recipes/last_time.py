"""What differs from the last session with a recipe: with a wrong plan the film is wrong, and nothing cures that later.

Decides which session counts as the last one: the newest live one whose recipe has the same name, else the newest with the
same kind of film in the same kind of vessel. Reads only the first line of journals, writes nothing.
Tests: tests/prepare/recipes/test_last_time.py.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Burst, Recipe, Stage
from monitor.core.text.degrees import plain
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.state.journal_lines import JOURNALS

MOST_JOURNALS = 500
"""How many of the newest are searched; an older session is not "last time"."""
_LONGEST_LINE = 1 << 20


@dataclass(frozen=True, slots=True)
class LastTime:
    """The last session with a recipe: its id, its wall-clock time and the recipe's data."""

    session: str
    wall: str
    data: Mapping[str, Any]


def last_time(state: Path, recipe: Recipe) -> LastTime | None:
    """The last session with a recipe of this name in a state folder; None if there is none. Unreadable journals are skipped."""
    try:
        names = sorted((path for path in (state / JOURNALS).iterdir() if path.suffix == ".jsonl"), reverse=True)
    except OSError:
        return None
    for path in names[:MOST_JOURNALS]:
        opening = _opening(path)
        if opening is None:
            continue
        data = opening["recipe"]
        if data.get("name") == recipe.name:
            return LastTime(str(opening.get("session", path.stem)), str(opening.get("wall", "")), data)
    return None


def _opening(path: Path) -> Mapping[str, Any] | None:
    """The record that opens a live session, None for anything else."""
    try:
        if not path.is_file():  # a FIFO would be waited for
            return None
        with path.open("rb") as file:
            record = json.loads(file.readline(_LONGEST_LINE))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(record, dict) or record.get("kind") != "session" or record.get("event") != "open" or record.get("mode") != "live":
        return None
    return record if isinstance(record.get("recipe"), dict) else None


def differences(recipe: Recipe, earlier: Mapping[str, Any]) -> list[str]:
    """What has changed, one sentence each; empty if nothing has. `earlier`: `Recipe.data` of the other session."""
    try:
        before = recipe_from_data(earlier)
    except FileWrong:
        return ["This version cannot read the earlier recipe: nothing was compared."]
    return [*_whole(recipe, before), *_by_stage(recipe, before)]


def _whole(now: Recipe, before: Recipe) -> Iterator[str]:
    parts: tuple[tuple[str, Callable[[Recipe], str]], ...] = (
        ("name", lambda r: r.name),
        ("film", lambda r: r.film),
        ("vessel", lambda r: r.vessel),
        ("contents", lambda r: r.what or "not said"),
        ("area", lambda r: "not said" if r.area_units is None else f"{format_number(r.area_units)} units"),
        ("sheets", lambda r: "none" if r.sheets is None else _sheet_words(r)),
    )
    for word, of in parts:
        if of(now) != of(before):
            yield f"{word}: {of(now)}, was {of(before)}"


def _sheet_words(recipe: Recipe) -> str:
    sheets = recipe.sheets
    if sheets is None:
        return "none"
    factors = "" if set(sheets.factors) == {1.0} else f", factors {' '.join(format_number(f) for f in sheets.factors)}"
    return f"{sheets.count} each {format_duration(sheets.interval_s)}{factors}"


def _by_stage(now: Recipe, before: Recipe) -> Iterator[str]:
    """Stages are matched by name and role; those without a match are new or gone."""
    left = list(before.stages)
    order: list[int] = []
    for stage in now.stages:
        old = next((s for s in left if (s.name, s.role) == (stage.name, stage.role)), None)
        if old is None:
            yield f"{stage.name}: new, {format_duration(stage.target_ref_s)}"
            continue
        left.remove(old)
        order.append(old.number)
        yield from (f"{stage.name}, {word}: {new}, was {was}" for word, new, was in _stage_differences(stage, old))
    yield from (f"{stage.name}: gone, was {format_duration(stage.target_ref_s)}" for stage in left)
    if order != sorted(order):
        yield "the order of the stages is different"


def _stage_differences(now: Stage, before: Stage) -> Iterator[tuple[str, str, str]]:
    for word, of in _PARTS:
        if of(now) != of(before):
            yield word, of(now), of(before)


def _movement(stage: Stage) -> str:
    if stage.continuous:
        return "all the time"
    return ", ".join(_burst(b) for b in stage.agitation) or "none"


def _burst(burst: Burst) -> str:
    when = f"every {format_duration(burst.every_s or 0)}" if burst.from_s is None else f"from {format_duration(burst.from_s)}"
    return f"{format_duration(burst.for_s)} {when}"


def _law(stage: Stage) -> str:
    """The rate as the times it gives 2 C below and above the reference, which a person can compare."""
    from monitor.core.development.rate import planned_time

    if stage.law is None:
        return "none"
    low, high = (planned_time(stage.law, stage.time_s, stage.reference_c + d) for d in (-2.0, 2.0))
    at = format_number(stage.reference_c - 2), format_number(stage.reference_c + 2)
    return f"{format_duration(low)} at {at[0]} C, {format_duration(high)} at {at[1]} C"


_PARTS: tuple[tuple[str, Callable[[Stage], str]], ...] = (
    ("time", lambda s: format_duration(s.time_s, 0 if s.time_s == int(s.time_s) else 1)),
    ("factor", lambda s: format_number(s.factor)),
    ("counted", lambda s: s.counted),
    ("fill", lambda s: format_duration(s.fill_s)),
    ("temperature", lambda s: f"{plain(s.reference_c)}"),
    ("steered", lambda s: "yes" if s.steer else "no"),
    ("rate", _law),
    ("drain", lambda s: format_duration(s.drain_s)),
    ("agitation", _movement),
    ("solution", lambda s: s.solution or "not said"),
    ("dilution", lambda s: "not said" if s.dilution is None else str(s.dilution)),
    ("volume", lambda s: "not said" if s.volume_ml is None else format_volume(s.volume_ml)),
    ("jug", lambda s: "not said" if s.jug is None else str(s.jug)),
    ("until", lambda s: s.until),
    ("at most", lambda s: "not said" if s.at_most_s is None else format_duration(s.at_most_s)),
)
