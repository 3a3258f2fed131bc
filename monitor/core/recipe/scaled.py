"""A recipe whose development takes longer or shorter than its file says: a clip test's factor, a ledger's.

Tests: tests/core/recipe/test_scaled.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe
from monitor.core.recipe.warnings import warnings


def scaled(recipe: Recipe, factors: Mapping[int, float]) -> Recipe:
    """The recipe with each named stage's `factor` (by its 1-based number) multiplied, in `data` too.

    Everything that the reader checks is checked again. Raises `FileWrong` where the stage no longer fits: a factor above 3, a drain that
    is not shorter than the time.
    """
    wanted = {number: factor for number, factor in factors.items() if factor != 1.0}
    if not wanted:
        return recipe
    stages = [
        {**data, "factor": stage.factor * wanted[stage.number]} if stage.number in wanted else data
        for stage, data in zip(recipe.stages, recipe.data["stage"], strict=True)
    ]
    changed = recipe_from_data({**recipe.data, "stage": stages})
    lines = [stage.line for stage in recipe.stages]
    placed = replace(changed, stages=tuple(replace(s, line=line) for s, line in zip(changed.stages, lines, strict=True)))
    return replace(placed, warnings=tuple(warnings(placed)))


def developing(recipe: Recipe, factor: float) -> Recipe:
    """The recipe with every develop stage's factor multiplied. Raises as `scaled`."""
    return scaled(recipe, {stage.number: factor for stage in recipe.stages if stage.role == "develop"})
