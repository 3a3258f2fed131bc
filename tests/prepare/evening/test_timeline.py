"""The evening on one clock: where stages begin and end, and what moves when a steered stage ends sooner or later."""

from __future__ import annotations

from monitor.prepare.evening.timeline import later
from tests.prepare.evening.samples import evening_of, film, placed

TWO = film(vessel="left") + film(vessel="right", start="+4:00")


def test_each_stage_begins_where_the_one_before_it_ends() -> None:
    """On the clock of the whole evening."""
    _, second = placed(evening_of(TWO))
    assert [(s.begin_s, s.end_s) for s in second.stages] == [(240.0, 840.0), (840.0, 900.0), (900.0, 1200.0)]
    assert (second.start_s, second.end_s) == (240.0, 1200.0)


def test_with_sheets_a_stage_ends_with_the_last_sheet() -> None:
    """The others are in the next bath by then."""
    (tray,) = placed(evening_of(film("tray.toml")))
    assert tray.stages[0].end_s == max(tray.recipe.sheet_exits_s)
    assert tray.end_s == tray.recipe.total_s


def test_what_comes_after_a_steered_stage_moves_with_it() -> None:
    """The stages after it, and the film that waits for the vessel; not the film that is counted from the begin."""
    evening = evening_of(TWO + film(vessel="left"))
    first, second, third = placed(evening)
    assert first.stages[0].begins_with == {}
    assert first.stages[1].begins_with == first.ends_with == {(1, 1): 600.0}
    assert second.starts_with == {}
    assert second.ends_with == {(2, 1): 600.0}
    assert third.starts_with == {(1, 1): 600.0}
    assert third.ends_with == {(1, 1): 600.0, (3, 1): 600.0}


def test_what_waits_for_a_film_begins_later_with_it() -> None:
    """In its vessel, and counted from its begin."""
    evening = evening_of(TWO + film(vessel="left") + film(vessel="right"))
    assert later(placed(evening), evening, 2) == {2, 4}
    assert later(placed(evening), evening, 1) == {1, 2, 3, 4}
    assert later(placed(evening), evening, 3) == {3}
