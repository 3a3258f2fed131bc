"""Two films that will want the hands at once."""

from __future__ import annotations

import pytest

from monitor.core.session.clashes import ClashWatch, Hands

DEVELOP = Hands(1, "develop", "develop", 985.0, 1000.0, False)
STOP = Hands(2, "stop", "stop", 990.0, 1000.0, False)
FIX = Hands(3, "fix", "fix", 970.0, 970.0, True)


@pytest.mark.parametrize(
    ("left", "right", "first", "why"),
    [
        (STOP, DEVELOP, "right", "develop before stop: development does not wait"),
        (STOP.later(-10.0), DEVELOP, "right", "develop before stop: development does not wait"),
        (FIX.later(15.0), STOP, "right", "stop before fix: fix may last a little longer"),
        (DEVELOP, FIX.later(30.0), "left", "develop before fix: development does not wait"),
        (FIX.later(25.0), STOP, "right", "stop before fix: fix may last a little longer"),
        (DEVELOP, DEVELOP.later(5.0), "left", "develop comes first"),
    ],
)
def test_development_goes_before_a_stop_bath_and_that_before_a_fix(left: Hands, right: Hands, first: str, why: str) -> None:
    """Whichever vessel they are in; of two alike the one that comes first."""
    told = ClashWatch().look({"left": [left], "right": [right]}, 900.0)
    assert [name for name, _ in told] == ["left", "right"]
    assert (told[0][1]["first"], told[0][1]["why"]) == (first, why)


def test_it_is_told_three_minutes_before_and_once() -> None:
    """Before the one of the two that comes first."""
    watch = ClashWatch()
    assert watch.look({"left": [DEVELOP], "right": [STOP]}, 804.0) == []
    assert len(watch.look({"left": [DEVELOP], "right": [STOP]}, 805.0)) == 2
    assert watch.look({"left": [DEVELOP], "right": [STOP]}, 900.0) == []
    watch.forget("left")
    assert len(watch.look({"left": [DEVELOP], "right": [STOP]}, 900.0)) == 2


def test_hands_that_are_free_in_time_are_no_clash() -> None:
    """Pouring takes 15 s after the end."""
    assert ClashWatch().look({"left": [DEVELOP], "right": [STOP.later(25.0)]}, 900.0) == []
    assert ClashWatch().look({"left": [DEVELOP], "right": [STOP.later(24.0)]}, 900.0) != []
