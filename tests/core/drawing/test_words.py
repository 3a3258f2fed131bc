"""Words find room, and their widths are never underrated by much."""

from __future__ import annotations

import pytest

from monitor.core.drawing.words import ON_WORDS, OVER_THE_EDGE, Box, Room, apart, box, width


def test_a_wide_letter_takes_more_room_than_a_narrow_one_and_a_bold_word_more_than_a_plain_one() -> None:
    """At the size of the text."""
    assert width("WWW", 10.0) > 2.5 * width("iii", 10.0)
    assert width("developer", 20.0) == pytest.approx(2.0 * width("developer", 10.0))
    assert width("developer", 10.0, bold=True) > width("developer", 10.0)


def test_a_box_lies_where_its_anchor_says() -> None:
    """Start, middle, end."""
    wide = width("20 °C", 10.0)
    assert box(100.0, 50.0, "20 °C", 10.0).left == 100.0
    assert box(100.0, 50.0, "20 °C", 10.0, "end").right == pytest.approx(100.0)
    middle = box(100.0, 50.0, "20 °C", 10.0, "middle")
    assert (middle.left, middle.right) == pytest.approx((100.0 - wide / 2, 100.0 + wide / 2))


def test_the_place_that_is_free_is_taken() -> None:
    """Not the one over other words, not the one over a line, never one over the edge."""
    room = Room(Box(0.0, 0.0, 100.0, 100.0))
    words, line, edge, free = (Box(10.0, y, 40.0, y + 10.0) for y in (10.0, 30.0, 95.0, 60.0))
    room.take(words)
    room.line([(float(x), 35.0) for x in range(0, 100, 5)])
    assert room.best([[words], [line], [edge], [free]]) == (3, 0.0)
    assert room.cost([line]) < room.cost([words]) < room.cost([edge])
    assert room.cost([edge]) >= OVER_THE_EDGE > room.cost([words]) >= ON_WORDS


def test_names_at_the_ends_of_lines_are_pushed_apart_and_stay_inside() -> None:
    """In the order of their lines."""
    tops = apart([(50.0, 16.0), (52.0, 16.0), (95.0, 16.0)], 0.0, 100.0)
    assert tops[1] - tops[0] >= 16.0
    assert tops[2] == 84.0
    assert apart([(80.0, 16.0), (10.0, 16.0)], 0.0, 100.0) == [80.0, 10.0]
