"""What the ledger says of the films to come, one after the other: time factor, films left, age, whether there is enough. Pure.

A bottle's own rules and tests decide, as `bottles` holds them. Each film counts for those after it, before anything is booked. The rules
are the person's, from the maker's sheet; "fix twice the clearing time" and "one or two more films": `clearing`.
Tests: tests/prepare/bottles/test_counting.py.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from monitor.core.errors import FileWrong
from monitor.core.recipe.scaled import scaled
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.quantities import format_duration, format_number, format_volume
from monitor.prepare.bottles.bottles import Bottle, Bottles, standing

NO_FILM_LEFT = ("dead", "discarded", "used up", "empty")
"""States in which a bottle is good for no film."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One bottle before one film. `factors`: by the number of each stage that it goes into, how many times longer than the recipe says.

    `why` says that in a few words, None where nothing is longer. `taken_ml`: what the film draws off it, None where the film goes
    through it. `films_left`: how many films like this one it is good for, this one included; None: no limit known. `concerns`: sentences
    that a person should read before the film is wet. `what`: the word for one filling, a film, a print or a batch of sheets.
    """

    bottle: Bottle
    factors: Mapping[int, float]
    why: str | None
    area_units: float | None
    taken_ml: float | None
    films_left: float | None
    concerns: tuple[str, ...]
    state: str
    age_days: int
    what: str = "film"

    @property
    def time_factor(self) -> float:
        """The largest of its factors."""
        return max(self.factors.values(), default=1.0)

    @property
    def after(self) -> Bottle:
        """The bottle once the film has been through it, or has drawn off its part."""
        bottle = self.bottle
        if self.taken_ml is not None:
            return replace(bottle, volume_ml=max(0.0, bottle.volume_ml - self.taken_ml), uses=bottle.uses + 1)
        left_ml = 0.0 if bottle.rules.one_shot else bottle.volume_ml
        return replace(bottle, units=bottle.units + (self.area_units or 0.0), uses=bottle.uses + 1, volume_ml=left_ml)

    def as_json(self) -> dict[str, Any]:
        """For `plan --json` and a session's record: plain fields, nothing rounded; what is not known is left out."""
        bottle = self.bottle
        through = self.area_units if self.taken_ml is None else None
        more = {
            "dilution": bottle.dilution, "films_left": self.films_left, "why": self.why, "taken_ml": self.taken_ml,
            "area_units": None if through is None else bottle.units + through,
        }  # fmt: skip
        return {
            "solution": bottle.name, "mixed": bottle.mixed, "used_area_units": bottle.units, "state": self.state,
            "age_s": 86400.0 * self.age_days, "time_factor": self.time_factor, **{k: v for k, v in more.items() if v is not None},
        }  # fmt: skip

    @property
    def sentence(self) -> str:
        """What a person reads: factor, films left, age."""
        said = [f"time x {format_number(self.time_factor, 2)} ({self.why})" if self.why else "the recipe's time"]
        if self.films_left is not None:
            left = math.floor(self.films_left + 1e-9)
            said.append(f"good for {left} {_many(self.what, left)} like this one" if left else f"not good for this {self.what}")
        said.append("mixed today" if self.age_days == 0 else f"{self.age_days} day{'' if self.age_days == 1 else 's'} old")
        return f"{self.bottle.name}: {', '.join(said)}"


def _many(what: str, number: int) -> str:
    return what if number == 1 else f"{what}es" if what.endswith("ch") else f"{what}s"


def _one_filling(recipe: Recipe) -> str:
    return "batch" if recipe.sheets is not None else "print" if recipe.on_paper else "film"


def count(bottles: Bottles, recipes: Sequence[Recipe], today: dt.date) -> list[tuple[Standing, ...]]:
    """For each film in the order in which they are developed: what its bottles are before it. Solutions without a bottle are left out."""
    now = dict(bottles)
    told: list[tuple[Standing, ...]] = []
    for recipe in recipes:
        row = tuple(_standings(now, recipe, today))
        for before in row:
            now[before.bottle.id] = before.after
        told.append(row)
    return told


def with_ledger(recipe: Recipe, standings: Sequence[Standing]) -> tuple[Recipe, tuple[str, ...]]:
    """The recipe with the times that the ledger asks for, and a sentence where it cannot bear them (a factor above 3)."""
    try:
        return scaled(recipe, {number: factor for s in standings for number, factor in s.factors.items()}), ()
    except FileWrong as wrong:
        longest = max(standings, key=lambda s: s.time_factor)
        says = f"{longest.bottle.name}: time x {format_number(longest.time_factor, 2)} is more than the recipe bears"
        return recipe, (f"{says} ({wrong.problems[0].what}): mix fresh.",)


def longer(standings: Sequence[Standing]) -> tuple[dict[int, float], str]:
    """The factors other than 1 by stage number, and in one sentence why."""
    asking = [s for s in standings if s.why is not None]
    factors = {number: factor for s in asking for number, factor in s.factors.items() if factor != 1.0}
    return factors, "; ".join(f"{s.bottle.name}: {s.why}" for s in asking)


def _standings(bottles: Bottles, recipe: Recipe, today: dt.date) -> Iterator[Standing]:
    by_name: dict[str, list[Stage]] = {}
    for stage in recipe.stages:
        if stage.solution is not None:
            by_name.setdefault(stage.solution.strip().casefold(), []).append(stage)
    for name, stages in by_name.items():
        bottle = standing(bottles, name)
        if bottle is not None:
            yield _standing(bottle, stages, recipe, today)


def _standing(bottle: Bottle, stages: Sequence[Stage], recipe: Recipe, today: dt.date) -> Standing:
    taken_ml = _taken_ml(bottle, stages[0])
    state, why_state = bottle.state(today)
    factors, whys = {}, []
    for stage in stages:
        factor, why = _factor(bottle, stage)
        factors[stage.number] = factor
        whys += [why] if why is not None and why not in whys else []
    left = 0.0 if state in NO_FILM_LEFT else _films_left(bottle, recipe.area_units, taken_ml)
    concerns = tuple(_concerns(bottle, stages[0], recipe, state, why_state, taken_ml, left))
    age_days = (today - dt.date.fromisoformat(bottle.mixed)).days
    why = "; ".join(whys) or None
    return Standing(bottle, factors, why, recipe.area_units, taken_ml, left, concerns, state, age_days, _one_filling(recipe))


def _factor(bottle: Bottle, stage: Stage) -> tuple[float, str | None]:
    """How many times longer this stage lasts because of what has gone through the bottle, or of its clearing test."""
    factor, why = bottle.time_factor, None
    if factor > 1.0:
        units = f"{format_number(bottle.units, 2)} unit{'' if bottle.units == 1 else 's'}"
        why = f"{units} through it, {format_number(bottle.rules.longer_percent or 0.0, 2)} % each"
    least_s, tested = bottle.fix_least_s, bottle.tested
    if least_s is not None and tested is not None and stage.role == "fix" and least_s > factor * stage.target_ref_s:
        factor = least_s / stage.target_ref_s
        why = f"twice the clearing time of {tested.day}, {format_duration(tested.today_s)}"
    return factor, why


def _taken_ml(bottle: Bottle, stage: Stage) -> float | None:
    """What a film draws off a bottle of stock; None where the film goes through the bottle itself, or the recipe does not say how much."""
    if bottle.dilution != "stock" or stage.dilution is None or not stage.dilution.parts_water or stage.stock_and_water_ml is None:
        return None
    return stage.stock_and_water_ml[0]


def _films_left(bottle: Bottle, area_units: float | None, taken_ml: float | None) -> float | None:
    if taken_ml is not None:
        return bottle.volume_ml / taken_ml
    if bottle.rules.one_shot:
        return 1.0
    left = bottle.units_left
    return None if left is None else left / (area_units or 1.0)


def _concerns(
    bottle: Bottle, stage: Stage, recipe: Recipe, state: str, why_state: str, taken_ml: float | None, films_left: float | None
) -> Iterator[str]:
    name, area = bottle.name, recipe.area_units
    if state != "good":
        yield f"{name} is {state}: {why_state}."
    if taken_ml is not None and taken_ml > bottle.volume_ml + 1e-9:
        yield f"{name}: {format_volume(taken_ml)} of it are needed, {format_volume(bottle.volume_ml)} are left."
    elif films_left is not None and films_left < 1.0 - 1e-9 and state == "good" and area is not None:
        left = format_number(bottle.units_left or 0.0, 2)
        yield f"{name} is good for {left} more units of {recipe.medium}, this one is {format_number(area, 2)}: mix fresh, or test it first."
    least_ml = bottle.rules.least_ml
    amounts = stage.stock_and_water_ml
    if least_ml is not None and amounts is not None and area is not None and amounts[0] < least_ml * area - 1e-9:
        needed = f"{format_volume(least_ml * area)} for {format_number(area, 2)} units of {recipe.medium}"
        yield f"{name}: {format_volume(amounts[0])} of concentrate, its sheet wants {needed}: a larger volume, or a stronger dilution."
    if area is None and taken_ml is None and not bottle.rules.one_shot:
        yield f"{name}: the recipe has no area_units, so this {_one_filling(recipe)} is not counted."
