"""When each stage of each film of an evening begins and ends, as planned, and on which steered stages that depends. Pure.

Temperature ends a steered stage sooner or later than planned. What comes after it in the same film moves with it, and so do the films that
wait for its vessel or are counted from its begin. `Moves` says by how many seconds a moment moves when each such stage takes once more
its whole length. Tests: tests/prepare/evening/test_timeline.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from monitor.core.evening.values import Evening, Film
from monitor.core.recipe.values import Recipe, Stage

Moves = Mapping[tuple[int, int], float]
"""By film and stage number: the length, in seconds, of a steered stage that this moment waits for."""

DRIFT = 0.05
"""A steered stage may end so much sooner or later, as a share of its length (contract, section 11)."""


@dataclass(frozen=True, slots=True)
class StageTime:
    """One stage on the evening's clock, seconds after the first begin. `ends_with`: what its end moves with; its begin: `begins_with`."""

    stage: Stage
    begin_s: float
    end_s: float
    begins_with: Moves
    ends_with: Moves

    @property
    def longer_s(self) -> float:
        """By how much the stage itself may last longer within the drift that is allowed for."""
        return DRIFT * (sum(self.ends_with.values()) - sum(self.begins_with.values()))


@dataclass(frozen=True, slots=True)
class FilmTime:
    """One film on the evening's clock, with the recipe that is really followed (factors included)."""

    film: Film
    recipe: Recipe
    start_s: float
    stages: tuple[StageTime, ...]

    @property
    def end_s(self) -> float:
        """The planned end of its last stage."""
        return self.stages[-1].end_s

    @property
    def starts_with(self) -> Moves:
        """What its begin moves with."""
        return self.stages[0].begins_with

    @property
    def ends_with(self) -> Moves:
        """What its end moves with."""
        return self.stages[-1].ends_with


def timeline(evening: Evening, recipes: Sequence[Recipe]) -> tuple[FilmTime, ...]:
    """The evening with these recipes, one for each of its films, in the order of the file."""
    found: list[FilmTime] = []
    last_in: dict[str | None, FilmTime] = {}
    starts = evening.starts_s([recipe.total_s for recipe in recipes])
    for film, recipe, start_s in zip(evening.films, recipes, starts, strict=True):
        if film.start_s is not None and found:
            moves = found[-1].starts_with
        else:
            moves = last_in[film.vessel].ends_with if film.vessel in last_in else {}
        placed = FilmTime(film, recipe, start_s, _stages(film.number, recipe, start_s, moves))
        found.append(placed)
        last_in[film.vessel] = placed
    return tuple(found)


def _stages(number: int, recipe: Recipe, start_s: float, moves: Moves) -> tuple[StageTime, ...]:
    stages: list[StageTime] = []
    begin_s = start_s
    for stage in recipe.stages:
        length_s = stage.begin_to_end_s
        if recipe.sheet_exits_s and stage.role == "develop":
            length_s = max(recipe.sheet_exits_s)
        after = {**moves, (number, stage.number): length_s} if stage.steer else moves
        stages.append(StageTime(stage, begin_s, begin_s + length_s, moves, after))
        begin_s, moves = begin_s + length_s, after
    return tuple(stages)


def dark_spans(films: Sequence[FilmTime]) -> tuple[tuple[float, float], ...]:
    """From when to when, seconds, film is bare in one vessel or another; a load without a time is over in no time here and left out."""
    bare = sorted((at.begin_s, at.end_s) for film in films for at in film.stages if at.stage.number in film.recipe.open_film)
    merged: list[tuple[float, float]] = []
    for begin_s, end_s in bare:
        if merged and begin_s <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(merged[-1][1], end_s))
        elif end_s > begin_s:
            merged.append((begin_s, end_s))
    return tuple(merged)


def later(films: Sequence[FilmTime], evening: Evening, first: int) -> frozenset[int]:
    """The numbers of the films that begin later when film `first` does: itself, those in its vessel after it, those counted from them."""
    moved = {first}
    last_in: dict[str | None, int] = {}
    before: int | None = None
    for film in evening.films:
        waits_for = before if film.start_s is not None and before is not None else last_in.get(film.vessel)
        if waits_for in moved:
            moved.add(film.number)
        last_in[film.vessel], before = film.number, film.number
    return frozenset(moved)
