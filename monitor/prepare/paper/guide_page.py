"""A topic of advice on one page to print: the answer in bold, a box to tick before each thing to get. Pure.

Tests: tests/prepare/paper/test_guide_page.py; printed in a real browser: tests/prepare/paper/test_printed.py.
"""

from __future__ import annotations

from monitor.core.text.degrees import in_unit_shown
from monitor.prepare.guide.advice import Topic
from monitor.prepare.guide.hardness import Hardness
from monitor.prepare.guide.lines import hardness_words
from monitor.prepare.paper.two_columns import block, two_columns_html

TO_GET = ("Get now", "Can wait")
"""Headings whose lines are ticked off in the shop."""


def guide_html(topic: Topic, hardness: Hardness | None = None) -> str:
    """The page. `hardness`: what the person's water asks for, above all else."""
    first = [] if hardness is None else [(hardness_words(hardness), "alarm")]
    blocks = [block("In short", [*first, (in_unit_shown(topic.answer), "alarm" if hardness is None else "")])]
    for heading, advice in topic.parts:
        blocks.append(block(heading, [(in_unit_shown(str(a)), "ask" if heading in TO_GET else "") for a in advice]))
    return two_columns_html(topic.title, topic.title, blocks)
