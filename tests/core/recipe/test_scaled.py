"""A recipe made longer or shorter: the stages that are named, their data, and the checks that are made again."""

from __future__ import annotations

import pytest

from monitor.core.errors import FileWrong
from monitor.core.recipe.reader import load_recipe, recipe_from_data
from monitor.core.recipe.scaled import developing, scaled
from tests.core.recipe.samples import ROLL, changed


def test_a_named_stage_takes_that_much_longer_and_the_others_stay() -> None:
    """In the values and in the data from which they can be made again; the file's own factor is multiplied."""
    recipe = load_recipe(changed(ROLL, "factor = 1.0 => factor = 1.1").encode(), "r.toml")
    longer = scaled(recipe, {1: 1.3})
    assert [s.target_ref_s for s in longer.stages] == [pytest.approx(858.0), 300.0]
    assert recipe_from_data(longer.data).stages[0].factor == longer.stages[0].factor == pytest.approx(1.43)
    assert [s.line for s in longer.stages] == [s.line for s in recipe.stages]
    assert developing(recipe, 1.3) == longer


def test_a_factor_of_one_changes_nothing() -> None:
    """Not even the data."""
    recipe = load_recipe(ROLL.encode(), "r.toml")
    assert scaled(recipe, {1: 1.0}) is recipe


def test_a_recipe_that_no_longer_fits_is_refused() -> None:
    """A factor above 3; a drain as long as the time."""
    recipe = load_recipe(ROLL.encode(), "r.toml")
    for factor, words in ((3.1, "factor: 3.1 is out of range"), (0.02, "drain 0:15 is not shorter")):
        with pytest.raises(FileWrong, match=words):
            scaled(recipe, {1: factor})
