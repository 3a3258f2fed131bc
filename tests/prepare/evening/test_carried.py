"""A clip's factor in the file of an evening."""

from __future__ import annotations

from dataclasses import replace

import pytest

from monitor.prepare.evening.carried import carried
from tests.prepare.evening.samples import evening_of, film


@pytest.mark.parametrize(
    ("tail", "wanted"),
    [
        ("factor = 1.0   # as read\n", "factor = 1.08   # as read\n"),
        ("", "factor = 1.08\n"),
        ("\n# the end\n", "\n# the end\nfactor = 1.08\n"),
    ],
)
def test_the_last_film_s_factor_is_set_and_the_rest_stays(tail: str, wanted: str) -> None:
    """In its place, with its remark, or after the film's last key."""
    head = f'schema = 1\nname = "x"\n{film()}{film()}'
    evening = evening_of(film() * 2)
    text, last, factor = carried(head + tail, evening, 1.08)
    assert (last.number, factor) == (2, 1.08)
    assert text == head + wanted


def test_a_clip_that_had_a_factor_of_its_own_carries_both() -> None:
    """The clip's time was that many times the recipe's."""
    evening = evening_of(film() * 2)
    clip, roll = evening.films
    _, _, factor = carried(f'schema = 1\nname = "x"\n{film()}{film()}', replace(evening, films=(replace(clip, factor=1.2), roll)), 1.1)
    assert factor == 1.32
