"""The checklist on paper, printed by a real browser: one A4 page in two columns, a box for each question."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from monitor.core.recipe.checklist import items_for
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.paper.checklist_page import checklist_html
from monitor.prepare.recipes.new_recipe import Blank, blanks
from tests.core.recipe.samples import ROLL, changed
from tests.prepare.paper.test_card import BROKEN_WORDS, from_blank, printed, tab

__all__ = ["tab"]


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


@pytest.mark.browser
@pytest.mark.parametrize("blank", blanks(), ids=lambda blank: blank.key)
def test_every_list_prints_on_one_page_in_two_columns(tab: Any, tmp_path: Path, blank: Blank) -> None:
    """In type of seven points and more; on a phone it is one column and nothing is cut."""
    page = checklist_html(from_blank(blank), ["developer A: no bottle; there is none with this name in the ledger"])
    assert printed(tab, page, tmp_path) == 1
    assert float(re.search(r"font: ([0-9.]+)pt", page)[1]) >= 7.0  # type: ignore[index]
    for width, columns in ((1000, 2), (390, 1)):
        tab.set_viewport_size({"width": width, "height": 900})
        tab.set_content(page)
        assert (
            len(set(tab.evaluate("[...document.querySelectorAll('h2')].map(e => Math.round(e.getBoundingClientRect().left))"))) == columns
        )
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        assert tab.evaluate(BROKEN_WORDS) == []
