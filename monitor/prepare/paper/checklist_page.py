"""The pre-flight checklist on paper: one A4 page in two columns with boxes to tick, the questions alone.

Decides its content and how large the type may be. One HTML file without script, picture or network, black on white.
Tests: tests/prepare/paper/test_checklist_page.py; printed in a real browser: tests/prepare/paper/test_printed.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from monitor.core.recipe.checklist import PARTS, items_for
from monitor.core.recipe.values import Recipe
from monitor.core.text.degrees import in_unit_shown
from monitor.prepare.cautions import HABITUAL, cautions_for
from monitor.prepare.paper.page_fit import Block
from monitor.prepare.paper.two_columns import block, two_columns_html
from monitor.prepare.waiting import ALARM_FIRST, waits_for


def checklist_html(recipe: Recipe, known: Sequence[str]) -> str:
    """The page for one recipe. `known`: what is on record, in sentences."""
    return two_columns_html(f"{recipe.name}: checklist", f"Before {recipe.name}", list(_blocks(recipe, known)))


def _blocks(recipe: Recipe, known: Sequence[str]) -> Iterator[Block]:
    if known:
        yield block("On record", [(words, "") for words in known])
    for part, heading in PARTS.items():
        asked = [(("" if item.asked_of == "person" else "The station checks: ") + in_unit_shown(item.text), "ask")
                 for item in items_for(recipe) if item.part == part]  # fmt: skip
        if asked:
            yield block(heading, asked)
    waits = [(f"{wait.stage}. {wait.name}: {wait.short}", "") for wait in waits_for(recipe)]
    yield block("When something happens: how long each bath may wait", [(ALARM_FIRST, "alarm"), *waits])
    yield block("Cautions", [(caution.text, "") for caution in cautions_for(recipe) if caution.id not in HABITUAL])
