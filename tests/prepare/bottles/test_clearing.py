"""The clearing test.

Outside checks: fix at least twice the clearing time, discard at twice the fresh time: NAVEDTRA 14209, chapter 10, and a
public wiki page on fixer capacity. Worked case: fresh 40 s, today 75 s: 2:30 or 3:45; 80 s: discard.
"""

from __future__ import annotations

import pytest

from monitor.core.errors import InputWrong
from monitor.prepare.bottles.clearing import clearing, clearing_lines


@pytest.mark.parametrize(
    ("today_s", "times", "fix_s", "discard"),
    [(75.0, 2.0, 150.0, False), (75.0, 3.0, 225.0, False), (79.9, 2.0, 159.8, False), (80.0, 2.0, 160.0, True)],
)
def test_the_fixing_time_is_so_many_times_the_clearing_time_and_double_is_the_end(
    today_s: float, times: float, fix_s: float, discard: bool
) -> None:
    """Fresh 40 s."""
    result = clearing(40.0, today_s, times)
    assert result.fix_s == pytest.approx(fix_s)
    assert result.discard is discard


def test_the_words_say_both_times_and_how_many_films_are_left() -> None:
    """2:30, 3:45 for flat-grain films, one or two more."""
    text = " ".join(clearing_lines(clearing(40.0, 75.0)))
    assert "2:30" in text
    assert "3:45" in text
    assert "one or two more" in text


def test_a_fixer_that_clears_fast_has_a_floor() -> None:
    """Nobody fixes for less than two minutes (common practice, no source); colour goes by its own sheet."""
    fast, slow = " ".join(clearing_lines(clearing(20.0, 25.0))), " ".join(clearing_lines(clearing(40.0, 60.0)))
    assert "in no case less than 2:00" in fast
    assert "in no case" not in slow
    assert "colour as its sheet says" in fast
    assert "near the end" in " ".join(clearing_lines(clearing(40.0, 76.0)))


def test_a_finished_fixer_is_not_given_a_fixing_time() -> None:
    """Only: discard, and fix again what went through it lately."""
    first, second = clearing_lines(clearing(40.0, 80.0))
    assert first.startswith("Discard this fixer")
    assert "again in a fresh bath" in second
    assert "2:40" not in first + second


@pytest.mark.parametrize(("fresh_s", "today_s", "times"), [(0.0, 40.0, 2.0), (40.0, 0.0, 2.0), (40.0, 40.0, 1.9), (40.0, 40.0, 5.1)])
def test_less_than_twice_cannot_be_had(fresh_s: float, today_s: float, times: float) -> None:
    """Nor a time of zero."""
    with pytest.raises(InputWrong, match="allowed: "):
        clearing(fresh_s, today_s, times)


@pytest.mark.parametrize(
    ("today_s", "words"), [(59.9, "good; disc"), (60.0, "well used"), (69.9, "well used"), (70.0, "one or two more"), (31.9, "Faster")]
)
def test_what_is_left_changes_at_one_and_a_half_and_one_and_three_quarter_times(today_s: float, words: str) -> None:
    """Fresh 40 s: 60 s and 70 s are the first of the next kind; under 0.8 times something else is amiss."""
    assert words in " ".join(clearing_lines(clearing(40.0, today_s)))


def test_twice_and_five_times_can_be_had() -> None:
    """The ends of the range belong to it."""
    assert (clearing(40.0, 60.0, 2.0).fix_s, clearing(40.0, 60.0, 5.0).fix_s) == (120.0, 300.0)
