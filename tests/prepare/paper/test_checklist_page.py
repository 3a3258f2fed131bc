"""The checklist on paper: one A4 page in two columns, a box for each question."""

from __future__ import annotations

import re

from monitor.core.recipe.checklist import items_for
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.paper.checklist_page import checklist_html
from tests.core.recipe.samples import ROLL, changed


def test_each_question_has_a_box_and_stands_alone() -> None:
    """What a no means is not on it; what is on record is."""
    recipe = load_recipe(ROLL.encode(), "r.toml")
    page = checklist_html(recipe, ["developer A: good; 10 of 10 units left"])
    assert page.count('class="ask"') == len(items_for(recipe))
    assert "Stop here and take the right recipe" not in page
    assert "10 of 10 units left" in page
    assert "smoke or gas alarm" in page
    assert not re.search(r"<script|<img|<link|https?:|url\(|src=", page)


def test_a_recipes_words_cannot_become_markup() -> None:
    """A name with angle brackets."""
    page = checklist_html(load_recipe(changed(ROLL, '"Roll film, cold laundry" => "<script>x</script>"').encode(), "r.toml"), ["<b>"])
    assert "<script" not in page
    assert "&lt;b&gt;" in page
