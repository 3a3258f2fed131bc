"""Reads the file of an evening, and a recipe as an evening of one film. Refused like a recipe: every problem, with file and line.

The format is the project's contract, section 11. The recipes stand beside the evening's file; whoever has a disk hands in how one is
read. Tests: tests/core/evening/test_evening_reader.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.evening.values import MOST_VESSELS, USUAL_BETWEEN_S, USUAL_LOADING_S, USUAL_MIXING_S, VESSEL_NAME, Evening, Film
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.scaled import developing
from monitor.core.recipe.values import SAME, Recipe
from monitor.core.text.quantities import QuantityWrong, format_duration, read_duration, shown
from monitor.core.text.toml_table import Document, Table, parse

MOST_FILMS = 24
"""More than anyone develops in a night; it bounds what a wrong file can ask for."""
LONGEST_START_S = 12 * 3600.0
LONGEST_BETWEEN_S, LONGEST_TASK_S = 6 * 3600.0, 1800.0
_START_SAYS = '"+0:00" to "+12:00:00", counted from the begin of the film before, or left out'


@dataclass(frozen=True, slots=True)
class RecipeText:
    """A recipe's file: its bytes, and the name that messages give it."""

    text: bytes
    file: str


OpenRecipe = Callable[[str], RecipeText]
"""From a recipe's name in the evening's file to what stands in it. Raises `InputWrong` with one line where it cannot be read."""


def load_evening(text: bytes, file: str, open_recipe: OpenRecipe) -> Evening:
    """Read an evening, or a recipe as an evening of one film. Raises `FileWrong` with every problem, those of its recipes included."""
    document = parse(text, file)
    if not is_evening(document.data):
        return of_one_recipe(load_recipe(text, file), file)
    return _Reader(document, lambda name: _load(open_recipe(name))).read()


def of_one_recipe(recipe: Recipe, file: str) -> Evening:
    """The evening of this one film."""
    film = Film(1, 0, recipe.what or recipe.name, recipe, file, None, None)
    return Evening(recipe.name, USUAL_BETWEEN_S, (film,), True)


def is_evening(data: Mapping[str, Any]) -> bool:
    """Whether these are the keys of an evening rather than of a recipe, whose `film` is a word and which has stages."""
    return isinstance(data.get("film"), (list, dict)) or ("between" in data and "stage" not in data)


def _load(found: RecipeText) -> tuple[Recipe, str]:
    document = parse(found.text, found.file)
    if is_evening(document.data):
        raise InputWrong(f"{found.file}: is an evening, not a recipe; allowed: a recipe of one film")
    return load_recipe(found.text, found.file), found.file


class _Reader:
    """Reads one evening. Problems go into the document, those of the recipes beside it."""

    def __init__(self, document: Document, recipe_named: Callable[[str], tuple[Recipe, str]]) -> None:
        self._document = document
        self._recipe_named = recipe_named
        self._recipes: dict[str, tuple[Recipe, str] | None] = {}
        self._in_recipes: list[Problem] = []

    def read(self) -> Evening:
        root = self._document.root()
        root.whole("schema", 1, 1, "1, the only schema there is", required=True)
        name = root.text("name", required=True)
        between_s = root.duration("between", 0.0, LONGEST_BETWEEN_S, '"0:00" to "6:00:00"')
        loading_s = root.duration("loading", 0.0, LONGEST_TASK_S, '"0:00" to "30:00"')
        mixing_s = root.duration("mixing", 0.0, LONGEST_TASK_S, '"0:00" to "30:00"')
        tables = list(root.tables("film", "[[film]]", required=True))
        if root.raw("film") == [] or len(tables) > MOST_FILMS:
            root.wrong("film", f"{len(tables) or 'no'} films", f"1 to {MOST_FILMS} [[film]] tables")
        root.finish()
        read = [self._film(table, i + 1) for i, table in enumerate(tables)]
        films = tuple(film for film in read if film is not None)
        if len(films) == len(tables):
            films = self._in_their_vessels(films)
        self._raise_problems()
        if name is None:
            raise AssertionError("a missing value was not written down")
        between = USUAL_BETWEEN_S if between_s is None else between_s
        evening = Evening(
            name, between, films, False, loading_s=USUAL_LOADING_S if loading_s is None else loading_s,
            mixing_s=USUAL_MIXING_S if mixing_s is None else mixing_s,
        )  # fmt: skip
        self._check_starts(evening)
        self._raise_problems()
        return replace(evening, warnings=tuple(_warnings(evening)))

    def _raise_problems(self) -> None:
        """The evening's own problems by line, then those of its recipes in theirs."""
        try:
            self._document.raise_problems()
        except FileWrong as wrong:
            raise FileWrong([*wrong.problems, *self._in_recipes]) from None
        if self._in_recipes:
            raise FileWrong(self._in_recipes)

    def _film(self, table: Table, number: int) -> Film | None:
        recipe_name = table.text("recipe", required=True, longest=4096)
        what = table.text("what")
        vessel = table.text("vessel")
        if vessel is not None and not VESSEL_NAME.fullmatch(vessel):
            table.wrong("vessel", f"vessel: {shown(vessel)} cannot be a vessel's name", "a-z, 0-9 and -, at most 32 characters")
        start_s = self._start(table, number)
        factor = table.number("factor", 0, 3, "above 0, at most 3", above=True)
        table.finish()
        found = None if recipe_name is None else self._recipe(table, recipe_name)
        if found is None:
            return None
        recipe, file = found
        if factor is not None:
            try:
                recipe = developing(recipe, factor)
            except FileWrong as wrong:
                problem = wrong.problems[0]
                what_of = f"factor: with {factor:g} the recipe no longer fits: {problem.what}"
                table.wrong("factor", what_of, problem.allowed.removeprefix("allowed: "))
        line = self._document.line(table.path)
        return Film(number, line, what or recipe.what or recipe.name, recipe, file, vessel, start_s, 1.0 if factor is None else factor)

    def _start(self, table: Table, number: int) -> float | None:
        value = table.raw("start")
        if value is None:
            return None
        if number == 1:
            table.wrong("start", "start: there is no film before the first", "start left out in the first [[film]]")
            return None
        if not isinstance(value, str) or not value.strip().startswith("+"):
            table.wrong("start", f"start: {shown(value)} does not begin with +", _START_SAYS)
            return None
        try:
            start_s = read_duration(value.strip().removeprefix("+"))
        except QuantityWrong as wrong:
            table.wrong("start", f"start: {wrong.what}", _START_SAYS)
            return None
        if start_s > LONGEST_START_S:
            table.wrong("start", f"start: {shown(value)} is out of range", _START_SAYS)
            return None
        return start_s

    def _recipe(self, table: Table, name: str) -> tuple[Recipe, str] | None:
        """The recipe of this name, read once however many films use it."""
        if name not in self._recipes:
            self._recipes[name] = None
            try:
                self._recipes[name] = self._recipe_named(name)
            except FileWrong as wrong:
                self._in_recipes.extend(wrong.problems)
            except InputWrong as wrong:
                what, _, allowed = wrong.lines[0].partition("; allowed: ")
                table.wrong("recipe", f"recipe: {what}", allowed or "a recipe beside this file")
        return self._recipes[name]

    def _in_their_vessels(self, films: tuple[Film, ...]) -> tuple[Film, ...]:
        """Each film with its vessel's name: where one name alone is used, a film without one is in that vessel."""
        names = list(dict.fromkeys(film.vessel for film in films if film.vessel is not None))
        for film in films:
            path = ("film", film.number - 1)
            if film.vessel is not None and film.vessel in names[MOST_VESSELS:]:
                what = f"vessel: {shown(film.vessel)} is the third"
                self._document.problem((*path, "vessel"), what, f"two at most, here {shown(names[0])} and {shown(names[1])}")
            if film.vessel is None and len(names) > 1:
                either = " or ".join(shown(name) for name in names[:MOST_VESSELS])
                self._document.problem(path, f"[[film]] {film.number} has no vessel, and there are two", f"vessel = {either}")
        if len(names) != 1:
            return films
        return tuple(replace(film, vessel=names[0]) for film in films)

    def _check_starts(self, evening: Evening) -> None:
        """No film begins in a vessel in which another one still is."""
        starts = evening.starts_s([film.recipe.total_s for film in evening.films])
        until: dict[str | None, tuple[float, Film]] = {}
        for film, start_s in zip(evening.films, starts, strict=True):
            end_s, before = until.get(film.vessel, (0.0, film))
            if start_s < end_s - SAME:
                vessel = "the vessel" if film.vessel is None else film.vessel
                what = f"start: {format_duration(start_s)} into the evening, {vessel} still holds film {before.number}"
                allowed = f"a start from {format_duration(end_s)} into the evening on, another vessel, or left out"
                self._document.problem(("film", film.number - 1, "start"), what, allowed)
            until[film.vessel] = (start_s + film.recipe.total_s, film)


def _warnings(evening: Evening) -> Iterator[str]:
    """What an evening may say, but a person should know before the first film is wet."""
    totals = [film.recipe.total_s for film in evening.films]
    starts = evening.starts_s(totals)
    until: dict[str | None, float] = {}
    for film, start_s, total_s in zip(evening.films, starts, totals, strict=True):
        gap_s = start_s - until.get(film.vessel, float("-inf"))
        if gap_s < evening.between_s - SAME:
            told = f"{format_duration(gap_s)} after the film before it in the same vessel"
            yield f"Film {film.number} ({film.what}) begins {told}; between is {format_duration(evening.between_s)}."
        until[film.vessel] = start_s + total_s
    yield from _jugs(evening, starts, totals)


def _jugs(evening: Evening, starts: Sequence[float], totals: Sequence[float]) -> Iterator[str]:
    """One jug that holds two solutions while both films run."""
    for i, film in enumerate(evening.films):
        for j, other in enumerate(evening.films[:i]):
            if starts[i] >= starts[j] + totals[j] or starts[j] >= starts[i] + totals[i]:
                continue
            there = {stage.jug: stage.solution for stage in other.recipe.stages if stage.jug is not None and stage.solution is not None}
            for stage in film.recipe.stages:
                if stage.jug is None or stage.solution is None:
                    continue
                holds = there.get(stage.jug, stage.solution)
                if holds != stage.solution:
                    both = f"{stage.solution} for film {film.number} and {holds} for film {other.number}"
                    yield f"Jug {stage.jug} holds both {both}, which run at the same time: use one jug for each solution."
