"""What no process has, and what is most likely forgotten, in a recipe that can be read: each with its line. Pure.

A warning, not a refusal: old and odd processes exist, and the person may know better. What would leave nothing on the film is `grave`:
before a real film it is asked for once more. Shown by `plan`, `rehearse` and `develop` alike. Tests: tests/core/recipe/test_sense.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.quantities import format_number, format_volume

COVERS_UNIT_ML = 240.0
"""A lidded tank wants at least so much for each roll: 240 to 300 ml for 35 mm reels, 500 ml for roll film (from memory, not verified)."""
LEAST_CONCENTRATE_ML = 5.0
"""For 80 square inches, however much it is diluted: 5 to 10 ml of p-aminophenol concentrates (from memory, not verified)."""
READING = 0.02
"""A graduate is read to about 2 % (common practice, no source); as much below the least is no matter."""
CONCENTRATE_PARTS = 9.0
"""From this many parts of water on a developer is called a concentrate (own choice): stock from powder is diluted 1+1 to 1+3."""
TIME_MOVES_FILMS = ("panchromatic", "orthochromatic", "blue-sensitive", "infrared")
"""Films whose development temperature is expected to move; colour is held, and a print is developed by sight or by its first trace."""


@dataclass(frozen=True, slots=True)
class Matter:
    """One thing that makes little sense. `line`: 1-based, 0 where the recipe came from no file. `grave`: the film would be blank."""

    line: int
    text: str
    grave: bool = False

    @property
    def sentence(self) -> str:
        """With its line."""
        return f"Line {self.line}: {self.text}" if self.line else self.text


def matters(recipe: Recipe) -> Iterator[Matter]:
    """Everything of that kind, in the order of the stages."""
    yield from _order(recipe)
    yield from _no_fix(recipe)
    yield from _jugs(recipe)
    for stage, said in zip(recipe.stages, recipe.data["stage"], strict=True):
        if recipe.vessel == "drum" and stage.agitation and not stage.continuous:
            stops = 'a drum covers the film only while it turns, and this one stops; agitation = "continuous" keeps it turning'
            yield Matter(stage.line, f"{_named(stage)}: {stops} (common practice).")
        if stage.role != "develop":
            continue
        if recipe.vessel != "drum" and "agitation" not in said:
            quiet = "agitation is left out, so no tick will sound; agitation = [] says that it stands"
            yield Matter(stage.line, f"{_named(stage)}: {quiet}.")
        to_completion = stage.until == "at least"
        if recipe.film in TIME_MOVES_FILMS and not to_completion and "rate" not in said and "steer" not in said:
            fixed = "no rate, so temperature will not move its time; steer = false says that it shall not"
            yield Matter(stage.line, f"{_named(stage)}: {fixed}.")
    yield from _amounts(recipe)


def grave(recipe: Recipe) -> tuple[str, ...]:
    """What would leave nothing on the film."""
    return tuple(matter.text for matter in matters(recipe) if matter.grave)


def _order(recipe: Recipe) -> Iterator[Matter]:
    """Baths in an order that no process has."""
    roles = [stage.role for stage in recipe.stages]
    developed = fixed = False
    for i, stage in enumerate(recipe.stages):
        said = None
        if stage.role == "develop":
            if fixed:
                yield Matter(stage.line, f"{_named(stage)} comes after a fix: a fixed film has nothing left to develop.", grave=True)
            developed = True
        elif stage.role in ("stop", "bleach", "wash aid") and not developed and "develop" in roles[i:]:
            said = "comes before the developer"
        elif stage.role in FIXING_ROLES:
            fixed = True
        elif stage.role == "presoak" and developed:
            said = "comes after a developer"
        elif stage.role == "wash aid" and any(role in FIXING_ROLES for role in roles[i:]):
            said = "comes before a fix; it helps to wash fixer out"
        if stage.role == "stop" and fixed and said is None:
            said = "comes after the fix"
        if stage.role == "bleach":
            fixed = False  # what was fixed becomes an image again, for a developer or a toner
        if said is not None:
            yield Matter(stage.line, f"{_named(stage)} {said}: no process has that order.")


def _no_fix(recipe: Recipe) -> Iterator[Matter]:
    roles = {stage.role for stage in recipe.stages}
    if "develop" in roles and not roles & set(FIXING_ROLES):
        last = recipe.stages[-1]
        stays = "no stage fixes: the film stays sensitive to light to the end, and counts as bare in an open vessel"
        yield Matter(last.line, f"{_named(last)} is the last one, and {stays}.")


def _jugs(recipe: Recipe) -> Iterator[Matter]:
    """One jug for two solutions."""
    seen: dict[int, str] = {}
    for stage in recipe.stages:
        if stage.jug is not None and stage.solution is not None and seen.setdefault(stage.jug, stage.solution) != stage.solution:
            both = f"jug {stage.jug} holds both {seen[stage.jug]} and {stage.solution}"
            yield Matter(stage.line, f"{_named(stage)}: {both}: use one jug for each solution.")


def _amounts(recipe: Recipe) -> Iterator[Matter]:
    """Too little to cover the film, too little concentrate for its area."""
    area, seen = recipe.area_units, set()
    for stage in recipe.stages:
        if area is None or stage.volume_ml is None or stage.role == "wash":
            continue
        least_ml = COVERS_UNIT_ML * area
        if recipe.vessel == "lidded tank" and recipe.cover_ml is None and stage.volume_ml < least_ml and stage.volume_ml not in seen:
            seen.add(stage.volume_ml)
            covers = f"a tank wants about {format_volume(least_ml)} for {_units(area)} of film, roll film twice that (from memory)"
            yield Matter(stage.line, f"{_named(stage)}: {format_volume(stage.volume_ml)}; {covers}; cover says what yours needs.")
        amounts = stage.stock_and_water_ml
        if stage.role != "develop" or amounts is None or amounts[1] < CONCENTRATE_PARTS * amounts[0] * (1 - 1e-9):
            continue
        if amounts[0] < (1.0 - READING) * LEAST_CONCENTRATE_ML * area:
            each = f"{format_volume(amounts[0])} of concentrate for {_units(area)} of film"
            usual = f"{format_volume(LEAST_CONCENTRATE_ML)} each is a usual least (from memory, your sheet decides)"
            yield Matter(stage.line, f"{_named(stage)}: {each}; {usual}.")


def _units(area: float) -> str:
    return f"{format_number(area, 2)} unit{'' if area == 1 else 's'}"


def _named(stage: Stage) -> str:
    return f"stage {stage.number} ({stage.name})"
