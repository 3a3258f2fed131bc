"""Conditions on recipes, for the questions of the checklist and the cautions: which of them belong to a recipe. Pure.

Tests: tests/core/recipe/test_checklist.py, tests/prepare/test_cautions.py.
"""

from __future__ import annotations

from collections.abc import Callable

from monitor.core.recipe.data_range import data_matter
from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.core.recipe.values import Recipe

Condition = Callable[[Recipe], bool]


def always(recipe: Recipe) -> bool:
    """Every recipe."""
    return True


def bare_film(recipe: Recipe) -> bool:
    """Film lies bare in some stage, be it only while it is loaded."""
    return bool(recipe.open_film)


def dark_baths(recipe: Recipe) -> bool:
    """Film lies bare in some stage after loading."""
    return any(recipe.stages[number - 1].role != "load" for number in recipe.open_film)


def closed_vessel(recipe: Recipe) -> bool:
    """A lidded tank or a drum."""
    return recipe.vessel in CLOSED_VESSELS


def open_vessel(recipe: Recipe) -> bool:
    """An open tank or a tray: hands go into the baths."""
    return recipe.vessel not in CLOSED_VESSELS


def drum(recipe: Recipe) -> bool:
    """A drum."""
    return recipe.vessel == "drum"


def colour(recipe: Recipe) -> bool:
    """Colour film or colour paper."""
    return recipe.film == "colour"


def tray(recipe: Recipe) -> bool:
    """An open tray."""
    return recipe.vessel == "open tray"


def infrared(recipe: Recipe) -> bool:
    """Infrared film."""
    return recipe.film == "infrared"


def paper(recipe: Recipe) -> bool:
    """Black-and-white paper, for prints."""
    return recipe.film == "paper"


def on_paper(recipe: Recipe) -> bool:
    """Paper, black-and-white or colour."""
    return recipe.on_paper


def sheets(recipe: Recipe) -> bool:
    """Sheets, one after another."""
    return recipe.sheets is not None


def steered(recipe: Recipe) -> bool:
    """Temperature moves the end of some stage."""
    return any(stage.steer for stage in recipe.stages)


def data_told(recipe: Recipe) -> bool:
    """A developer outside the recipe's data is told, with FAULT, in some stage."""
    return any(data_matter(stage) for stage in recipe.stages)


def has(*roles: str) -> Condition:
    """At least one stage has one of these roles."""

    def holds(recipe: Recipe) -> bool:
        return any(stage.role in roles for stage in recipe.stages)

    return holds


def both(*conditions: Condition) -> Condition:
    """All of these hold."""

    def holds(recipe: Recipe) -> bool:
        return all(condition(recipe) for condition in conditions)

    return holds


def none_of(*conditions: Condition) -> Condition:
    """None of these holds."""

    def holds(recipe: Recipe) -> bool:
        return not any(condition(recipe) for condition in conditions)

    return holds
