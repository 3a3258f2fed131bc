"""The view while the station that is followed is gone, and news that hold no longer."""

from __future__ import annotations

import re
from dataclasses import replace
from io import StringIO

import pytest

from monitor.core.recipe.reader import load_recipe
from monitor.live.view.screen import PlainView
from monitor.live.view.state import Gone, Watched
from monitor.live.view.text import cells
from tests.live.view.test_screen import ROLL, at, demo, events, lines, watch

GONE = Gone("21:04:07", 72.9)


@pytest.mark.parametrize("width", [40, 80, 120])
def test_times_are_blank_and_the_second_clock_is_named(width: int) -> None:
    """Since when, for how long; nothing of what was counted or measured, but what had been promised to the hands."""
    watched = at(700, *demo())
    assert re.search(r"\d+:\d\d  READY to POUR OFF", " ".join(lines(watched, width)))
    watched.gone = GONE
    screen = lines(watched, width)
    text = " ".join(" ".join(screen).split())
    assert "STATION GONE since 21:04:07 (1:12)" in text
    assert "second clock" in text
    assert not re.search(r"C\b|%|READY|earliest|ago|believed", text)
    assert "not known" in screen[5]
    if width >= 80:
        assert "said: pour off at 10:55 after DEVELOP began (1:00 after the first pour)" in screen[6]


def test_nothing_was_poured_where_film_is_lowered_into_a_tank() -> None:
    """The second clock was started as the first went in."""
    recipe, happens = demo()
    watched = at(700, replace(recipe, vessel="open tank"), happens)
    watched.gone = GONE
    assert "said: lift it out at 10:55 after DEVELOP began (1:00 after the first one)" in lines(watched, 100)[6]


def test_it_goes_when_the_station_is_back() -> None:
    """And all is as before."""
    watched = at(700, *demo())
    before = lines(watched)
    watched.gone = GONE
    assert lines(watched) != before
    watched.gone = None
    assert lines(watched) == before


@pytest.mark.parametrize("size", [(80, 24), (40, 24), (20, 8), (7, 3), (1, 1)])
def test_the_line_is_the_last_to_go(size: tuple[int, int]) -> None:
    """Nothing leaves the screen, and of a small one it has what there is."""
    for number, watched in enumerate(watch(*demo())):
        if number % 60:
            continue
        watched.gone = GONE
        screen = lines(watched, *size)
        assert len(screen) <= size[1]
        assert max(cells(line) for line in screen) <= size[0]
        if size[0] >= 20:
            assert "STATION GONE" in " ".join(screen)


def test_before_the_first_stage_nothing_had_been_promised() -> None:
    """And while a reel is loaded nothing either."""
    watched = Watched(load_recipe(ROLL, "recipe"), "live")
    watched.gone = GONE
    screen = lines(watched)
    assert not any("said:" in line for line in screen)
    assert any("STATION GONE" in line for line in screen)


def test_a_view_that_came_late_does_not_say_what_the_second_clock_reads() -> None:
    """It did not see the first pour."""
    watched = Watched(load_recipe(ROLL, "recipe"), "live")
    watched.snapshot(at(700, *demo()).seen)
    watched.gone = GONE
    said = lines(watched)[6]
    assert "said:" in said
    assert "after DEVELOP began" in said
    assert "first pour" not in said


def test_plain_lines_say_it_once_and_once_that_it_is_back() -> None:
    """However often it is looked."""
    out = StringIO()
    view = PlainView(Watched(load_recipe(ROLL, "recipe"), "live"), out)
    for gone in (None, GONE, Gone("21:04:07", 80.0), None, None):
        view.gone(gone)
    assert out.getvalue() == "STATION GONE since 21:04:07: go on by the second clock\nthe station is back\n"


def test_the_end_of_the_last_stage_is_no_news_in_the_next() -> None:
    """What was said of an end goes with its stage, however short a while ago."""
    cold = b"t_s,developer_c,bath_c\n0,20,20\n640,20,20\n670,15,15\n1500,15,15\n"
    stages: dict[int, set[bool]] = {}
    for watched in watch(*events(ROLL, cold, 0.05, True)):
        state = watched.state
        stages.setdefault(state.seen.stage or 0, set()).add(state.moved_new)
    assert stages[2] == {False, True}
    assert stages[3] == {False}
    watched.notice("two words")
    assert watched.state.notices == ["two words"]


def test_a_station_that_was_taken_up_again_is_news() -> None:
    """With how long it was away, where that is known."""
    watched = Watched(load_recipe(ROLL, "recipe"), "live")
    for gap_s, words in ((72.0, "the station is back, it was away for 1:12"), (None, "the station is back")):
        told = {"seq": 2, "session": "s", "t_s": 90.0, "wall": "w", "kind": "session", "event": "resume"}
        watched.record(told | {"gap_s": gap_s, "same_boot": True, "spread_s": None})
        assert watched.state.notices[-1] == words
