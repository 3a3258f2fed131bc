"""A topic of advice on paper: one A4 page in two columns."""

from __future__ import annotations

import re
from html import unescape

import pytest

from monitor.prepare.guide.advice import TOPICS
from monitor.prepare.guide.hardness import read_hardness
from monitor.prepare.paper.guide_page import guide_html


@pytest.mark.parametrize("key", TOPICS)
def test_the_page_says_all_and_needs_nothing_else(key: str) -> None:
    """The answer, each piece of advice, no script and no network."""
    page = unescape(guide_html(TOPICS[key]))
    assert TOPICS[key].answer in page
    for _, part in TOPICS[key].parts:
        assert all(advice.what in page for advice in part)
    assert not re.search(r"<script|<img|<link|https?:|url\(|src=", page)


def test_what_is_to_be_bought_has_a_box() -> None:
    """What from the kitchen will not do has none."""
    page = guide_html(TOPICS["shopping"])
    parts = dict(TOPICS["shopping"].parts)
    assert page.count('class="ask"') == len(parts["Get now"]) + len(parts["Can wait"])


def test_the_persons_own_water_stands_above_all() -> None:
    """In bold."""
    page = guide_html(TOPICS["water"], read_hardness("14 dH"))
    assert '<p class="alarm">250 mg/l as calcium carbonate is very hard.' in page
