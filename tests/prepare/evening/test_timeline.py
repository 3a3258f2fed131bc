"""The evening on one clock: where stages begin and end, and what moves when a steered stage ends sooner or later."""

from __future__ import annotations

from monitor.prepare.evening.timeline import FilmTime, dark_spans, later
from tests.core.recipe.samples import TRAY
from tests.prepare.evening.samples import HEAD, ROLL, evening_of, film, placed

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


def test_a_start_counts_from_the_film_before_it_in_the_file() -> None:
    """Not from the first, nor from the one before it in its vessel; and moves with what that one waits for."""
    evening = evening_of(film(vessel="left") * 3 + film(vessel="right", start="+2:00"))
    _, _, third, fourth = placed(evening)
    assert fourth.start_s == third.start_s + 120.0
    assert fourth.starts_with == third.starts_with == {(1, 1): 600.0, (2, 1): 600.0}


def fixed_s(film_time: FilmTime) -> float:
    """When the last stage ends in which film is bare."""
    return next(at.end_s for at in reversed(film_time.stages) if at.stage.number in film_time.recipe.open_film)


def test_film_that_is_bare_in_two_vessels_at_once_is_one_span_of_darkness() -> None:
    """Apart they are two; a closed tank darkens nothing, a load with a time does, one without is over at once."""
    trays = film("tray.toml", "left") + film("tray.toml", "right", "+0:30")
    one, other = placed(evening_of(trays))
    assert dark_spans((one, other)) == ((0.0, fixed_s(other)),)
    apart = placed(evening_of(film("tray.toml", "left") + film("tray.toml", "right", "+1:00:00")))
    assert dark_spans(apart) == ((0.0, fixed_s(apart[0])), (3600.0, fixed_s(apart[1])))
    load = '[[stage]]\nname = "load"\nrole = "load"\n'
    for time, spans in (("", ()), ('time = "3:00"\n', ((0.0, 180.0),))):
        text = HEAD + load + time + ROLL.removeprefix(HEAD)
        assert dark_spans(placed(evening_of(film("x.toml"), x_toml=text))) == spans
    inside = placed(evening_of(film("tray.toml", "left") + film("short.toml", "right", "+0:30"), short_toml=TRAY.replace("8:00", "6:00")))
    assert fixed_s(inside[1]) < fixed_s(inside[0])
    assert dark_spans(inside) == ((0.0, fixed_s(inside[0])),)
