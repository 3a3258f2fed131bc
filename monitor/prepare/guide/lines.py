"""A topic of advice as lines of text for a terminal: the answer first, 60 columns. Pure. Tests: tests/prepare/guide/test_advice.py."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from monitor.core.text.degrees import in_unit_shown
from monitor.prepare.guide.advice import Topic
from monitor.prepare.guide.hardness import Hardness

COLUMNS = 60
"""A telephone held upright, and half a terminal."""


def topic_lines(topic: Topic, hardness: Hardness | None = None) -> Iterator[str]:
    """The answer, then each heading with its advice and reasons. `hardness`: its answer goes first."""
    if hardness is not None:
        yield from wrap(hardness_words(hardness), COLUMNS)
        yield ""
    yield from wrap(in_unit_shown(topic.answer), COLUMNS)
    for heading, advice in topic.parts:
        yield ""
        yield heading
        for one in advice:
            yield from wrap(in_unit_shown(str(one)), COLUMNS, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)


def hardness_words(hardness: Hardness) -> str:
    """What the water is, and what to do."""
    return f"{hardness.mg_per_l:.0f} mg/l as calcium carbonate is {hardness.called}. {hardness.answer}"
