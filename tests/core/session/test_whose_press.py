"""Whose a press is where two films share one foot: contract, section 11."""

from __future__ import annotations

import itertools
import math

import pytest

from monitor.core.session.presses import ALL_LENGTHS, FROM_S, STATES, TABLE, Length, State
from monitor.core.session.whose_press import Stand, own_lengths, tap_owner, tap_owner_at_now
from tests.evening import STOP, Evening, develop, recipe

NONE: frozenset[Length] = frozenset()


def only(*lengths: Length) -> frozenset[Length]:
    """Some of the lengths."""
    return frozenset(lengths)


def test_the_film_whose_now_has_sounded_longest_has_every_press() -> None:
    """However long it is held, and whatever it would mean to the other film."""
    other = Stand("unanswered", None, 0.0, 900.0)
    assert own_lengths([other, Stand("now", 50.0, 50.0, 0.0)]) == [NONE, ALL_LENGTHS]
    assert own_lengths([Stand("due", 60.0, 60.0), Stand("unanswered", 20.0, 30.0)]) == [NONE, ALL_LENGTHS]
    assert own_lengths([Stand("past minimum", 10.0, 5.0), Stand("now", 20.0, 20.0)]) == [ALL_LENGTHS, NONE]


def test_from_the_next_now_on_a_tap_is_of_the_film_that_calls_first() -> None:
    """That of the NOW, unless the other one has called by then: an at-least stage at its longest does."""
    last, fix = Stand("counting", begun_s=500.0), Stand("past minimum", since_s=600.0, begun_s=300.0, calls_s=900.0)
    assert tap_owner([Stand("counting", begun_s=0.0), last]) == 1
    assert tap_owner_at_now([Stand("counting", begun_s=0.0), last], 0, 700.0) == 0
    assert tap_owner_at_now([Stand("counting", begun_s=0.0), fix], 0, 899.0) == 0
    assert tap_owner_at_now([Stand("counting", begun_s=0.0), fix], 0, 901.0) == 1
    assert fix.later(10.0).calls_s == 910.0


def test_without_now_the_length_decides() -> None:
    """A tap answers the begin that nobody told; three seconds too: it is the first in the order."""
    assert own_lengths([Stand("waiting"), Stand("unanswered", None, 9.0, 9.0)]) == [NONE, ALL_LENGTHS]
    assert own_lengths([Stand("just begun", None, 5.0, 5.0), Stand("waiting")]) == [only("tap", "long", "three"), only("second")]
    assert own_lengths([Stand("past minimum", None, 5.0, 1.0), Stand("waiting")]) == [only("tap", "long"), only("second", "three")]
    assert own_lengths([Stand("past minimum", None, 5.0, 1.0), Stand("loading", None, 8.0, 8.0)]) == [
        only("tap"), only("long", "second", "three"),
    ]  # fmt: skip


def test_the_lid_of_a_reel_that_is_being_loaded_does_not_begin_the_other_film() -> None:
    """That one has waited longer, but no hand is at it."""
    assert own_lengths([Stand("loading", None, 170.0, 170.0), Stand("waiting", None, 0.0)])[0] >= only("second")
    assert own_lengths([Stand("waiting", None, 0.0), Stand("loading", None, 170.0, 170.0)])[1] >= only("second")


def test_of_two_fixes_past_their_minimum_the_longest_goes_first() -> None:
    """Whichever vessel it is in."""
    assert own_lengths([Stand("past minimum", None, 100.0, 10.0), Stand("past minimum", None, 40.0, 20.0)])[1] >= only("tap")
    assert own_lengths([Stand("past minimum", None, 30.0, 10.0), Stand("past minimum", None, 40.0, 20.0)])[0] >= only("tap")


def test_what_means_nothing_to_either_goes_to_the_stage_that_began_last() -> None:
    """A question about the film that the hands were at last."""
    assert own_lengths([Stand("counting", None, 5.0, 5.0), Stand("counting", None, 70.0, 70.0)]) == [NONE, ALL_LENGTHS]
    assert own_lengths([Stand("counting", None, 5.0, 5.0), Stand("held back")]) == [ALL_LENGTHS, NONE]


@pytest.mark.parametrize(("left", "right"), list(itertools.product(STATES, STATES)))
def test_every_press_is_one_film_s_and_no_meaning_is_lost(left: State, right: State) -> None:
    """In each pair of states each length has one owner, and a mark or a question never takes a press that means more to the other."""
    called = {"now": 5.0, "due": 5.0}
    stands = [Stand(left, called.get(left), 5.0, 5.0), Stand(right, called.get(right), 7.0, 7.0)]
    own = own_lengths(stands)
    assert own[0] | own[1] == ALL_LENGTHS
    assert not own[0] & own[1]
    if not any(stand.called_s for stand in stands):
        for length in FROM_S:
            meanings = [TABLE[stand.state][length].meaning for stand in stands]
            mine = meanings[0 if length in own[0] else 1]
            assert mine not in ("mark", "question") or all(meaning in ("mark", "question") for meaning in meanings)


def test_a_stand_moves_to_another_clock() -> None:
    """All of its times, and what has none stays so."""
    assert Stand("now", 5.0, 6.0, 7.0).later(10.0) == Stand("now", 15.0, 16.0, 17.0)
    assert Stand("waiting").later(10.0) == Stand("waiting", None, -math.inf, -math.inf)


def test_a_stage_that_is_due_before_its_now_has_not_called_yet() -> None:
    """With a drain of less than five seconds a tap may say "poured" before NOW; a press of a second still begins what waits elsewhere."""
    short = Evening(recipe(develop("5:00", "").replace('drain = "0:15"', 'drain = "0:02"'), STOP)).begin().to(296.0)
    stand = short.session.stand(296.0)
    assert (stand.state, stand.called_s) == ("due", None)
    assert short.to(298.5).session.stand(298.5).called_s == pytest.approx(298.0, abs=0.5)
    assert own_lengths([stand, Stand("waiting")]) == [only("tap", "long"), only("second", "three")]
