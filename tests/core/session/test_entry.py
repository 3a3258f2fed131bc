"""Sheets going in, by the foot alone: which tap was whose."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.session.entry import Entry

GRID = [0.0, 10.0, 20.0, 30.0, 40.0, 50.0]


def entry(taps_s: list[float], first_told: bool = True) -> Entry:
    """Six sheets, ten seconds apart, from 0 on."""
    return Entry(6, 10.0, 0.0, first_told, taps_s)


def test_meanwhile_a_missing_tap_stands_one_interval_after_the_last() -> None:
    """Provisional: it moves when a tap comes."""
    going_in = entry([0.0, 11.0])
    assert [going_in.put_s(k) for k in range(1, 7)] == [0.0, 11.0, 21.0, 31.0, 41.0, 51.0]
    assert going_in.over_s == 61.0


def test_with_all_taps_each_begin_is_exact_and_entry_is_over_at_the_last() -> None:
    """However uneven the hands are."""
    taps = [0.0, 13.0, 19.0, 35.0, 36.5, 52.0]
    assert entry(taps).over_s == 52.0
    assert [(b.begin_s, b.told) for b in entry(taps).fitted()] == [(t, True) for t in taps]


@pytest.mark.parametrize("missing", range(6))
@given(errors=st.lists(st.floats(-3.0, 3.0), min_size=6, max_size=6))
def test_with_any_one_tap_missing_and_hands_within_three_seconds_every_begin_is_within_three_seconds(
    missing: int, errors: list[float]
) -> None:
    """The contract's promise; the first tap may be the one that is missing where the stage before had a NOW."""
    true_s = [g + e for g, e in zip(GRID, errors, strict=True)]
    first_told = missing != 0
    if first_told:
        true_s[0] = 0.0  # the press that began is where the interval counts from
    taps = [t for k, t in enumerate(true_s) if k != missing]
    begins = entry(taps, first_told).fitted()
    assert [abs(b.begin_s - t) <= 3.0 + 1e-9 for b, t in zip(begins, true_s, strict=True)] == [True] * 6
    assert [k for k, b in enumerate(begins) if not b.told] == [missing]


def test_where_the_hands_ran_ahead_a_missing_begin_lies_between_its_neighbours() -> None:
    """The interval alone would put it behind the next sheet."""
    begins = Entry(3, 10.0, 0.0, True, [0.0, 9.0]).fitted()
    assert [b.told for b in begins] == [True, True, False]
    early = Entry(4, 10.0, 0.0, True, [0.0, 2.0, 24.0]).fitted()
    assert [b.begin_s for b in early] == sorted(b.begin_s for b in early)


def test_without_any_tap_the_sheets_lie_on_the_interval() -> None:
    """Counted from the planned end of the stage before."""
    assert [b.begin_s for b in entry([], first_told=False).fitted()] == GRID
