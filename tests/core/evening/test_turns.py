"""When a film of an evening is armed, and when it is to begin."""

from __future__ import annotations

import math

from monitor.core.evening.turns import Turn, Turns

LEFT, RIGHT = 1, 2


def evening(*films: Turn) -> Turns:
    """Six minutes between two films in one vessel."""
    return Turns(360.0, films)


def test_the_first_film_of_each_vessel_without_a_start_begins_at_once() -> None:
    """Nothing is waited for."""
    turns = evening(Turn(LEFT), Turn(RIGHT), Turn(LEFT))
    assert (turns.start_s(1), turns.start_s(2), turns.start_s(3)) == (-math.inf, -math.inf, None)
    assert (turns.arm_s(1), turns.arm_s(2), turns.arm_s(3)) == (-math.inf, -math.inf, None)


def test_the_second_vessel_is_armed_two_minutes_before_its_film_is_to_begin() -> None:
    """Counted from the begin of the film before, however late that came, and however it was taken again."""
    turns = evening(Turn(LEFT), Turn(RIGHT, 240.0))
    assert turns.arm_s(2) is None
    turns.began(1, 100.0)
    assert (turns.start_s(2), turns.arm_s(2)) == (340.0, 220.0)
    turns.began(1, 130.0)
    assert turns.arm_s(2) == 250.0


def test_a_film_that_begins_soon_after_the_one_before_is_armed_with_it() -> None:
    """Two minutes before its begin are then before the other one's, which nobody knows."""
    turns = evening(Turn(LEFT), Turn(RIGHT, 120.0), Turn(LEFT), Turn(RIGHT, 30.0))
    assert (turns.arm_s(2), turns.start_s(2), turns.arm_s(4)) == (-math.inf, None, None)
    turns.began(1, 100.0)
    assert turns.arm_s(2) == 100.0
    turns.ended(2, 700.0)
    assert turns.arm_s(4) is None
    turns.ended(1, 800.0)
    assert turns.arm_s(4) == turns.arm_s(3) == 1040.0


def test_a_film_waits_until_its_vessel_is_free() -> None:
    """Armed at the moment when it is, at the earliest; forecast while it is not."""
    turns = evening(Turn(LEFT), Turn(RIGHT, 60.0), Turn(LEFT), Turn(RIGHT, 30.0))
    turns.began(1, 0.0)
    assert turns.start_s(3) is None
    assert turns.start_s(3, {1: 900.0}) == 1260.0
    turns.ended(1, 950.0)
    assert (turns.start_s(3), turns.arm_s(3)) == (1310.0, 1190.0)
    turns.began(3, 1300.0)
    assert turns.arm_s(4) is None  # its vessel is taken
    turns.ended(2, 1325.0)
    assert (turns.start_s(4), turns.arm_s(4)) == (1330.0, 1325.0)


def test_a_film_that_was_abandoned_before_it_began_holds_nobody_up() -> None:
    """What counts from its begin counts from its end."""
    turns = evening(Turn(LEFT), Turn(RIGHT, 240.0))
    turns.ended(1, 50.0)
    assert turns.start_s(2) == 290.0


def test_the_first_film_begins_at_once_whatever_its_start_says() -> None:
    """There is no film before it."""
    assert evening(Turn(LEFT, 240.0)).start_s(1) == -math.inf
