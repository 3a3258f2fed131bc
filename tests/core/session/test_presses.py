"""What a press means: every cell of the one table, and storms of presses through a whole session."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from monitor.core.journal.history import History
from monitor.core.session.presses import FROM_S, STATES, TABLE, length_of, table_lines
from tests.evening import FIX, STOP, Evening, develop, recipe

ROOT = Path(__file__).parents[3]

EXPECTED = {
    "waiting": ("mark", "question", "begin", "begin"),
    "held back": ("mark", "question", "question", "question"),
    "loading": ("mark", "question", "lid on", "lid on"),
    "entering": ("begin", "question", "question", "question"),
    "counting": ("mark", "question", "question", "question"),
    "just begun": ("mark", "question", "question", "again"),
    "appearing": ("appeared", "question", "question", "question"),
    "just in": ("appeared", "question", "question", "again"),
    "now": ("heard", "question", "question", "question"),
    "due": ("poured", "question", "question", "question"),
    "past minimum": ("poured", "question", "question", "question"),
    "unanswered": ("poured", "on time", "on time", "on time"),
}
"""Contract, section 5, second version, read cell by cell; a print's trace is a state of ours, like a stage that runs but for the tap."""


@pytest.mark.parametrize("state", STATES)
def test_each_cell_of_the_table_is_what_the_contract_says(state: str) -> None:
    """For a tap, a press up to a second, up to three, and longer."""
    assert tuple(TABLE[state][length].meaning for length in FROM_S) == EXPECTED[state]  # type: ignore[index]


def test_lengths_begin_at_0_7_1_and_3_seconds() -> None:
    """A press of exactly so long is the longer one."""
    assert [length_of(s) for s in (0.0, 0.69, 0.7, 0.99, 1.0, 2.99, 3.0, 9.9)] == [
        "tap", "tap", "long", "long", "second", "second", "three", "three"
    ]  # fmt: skip


def test_the_developers_page_has_the_table_as_it_is() -> None:
    """Print it with `python -c "from monitor.core.session.presses import *; print('\\n'.join(table_lines()))"`."""
    assert "\n".join(table_lines()) in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


PLAN = recipe(develop("5:00"), STOP, FIX)


def begun_with(evening: Evening) -> list[tuple[int, float, str]]:
    """Stage, begin and how it is known."""
    return [(p.stage, round(p.begin_s, 3), p.begun_by) for p in History.of(evening.records).passages]


def test_a_begin_is_answered_by_a_second_click_while_the_foot_is_still_down() -> None:
    """Without it nothing has begun; the begin is dated to the press."""
    evening = Evening(PLAN).open().press(4.0, 0.95).press(10.0, 1.5).to(20)
    assert evening.cues("click") == [4.0, 10.0, 11.0]
    assert begun_with(evening) == [(1, 10.0, "tap")]


def test_a_begin_can_be_taken_again_for_two_minutes_by_three_seconds() -> None:
    """Two specks at three seconds, still held; the stage's time counts from the new press."""
    evening = Evening(PLAN).begin().press(30.0, 3.5).to(40)
    assert [t["meaning"] for t in evening.kind("tap")] == ["begin", "again"]
    assert evening.cues("yes") == [33.0]
    (correction,) = evening.kind("correction")
    assert (correction["begin_t_s"], correction["replaces_seq"]) == (30.0, evening.stage(1, "begin")["seq"])
    evening.to(400)
    assert evening.stage(1, "end")["t_s"] == pytest.approx(330.0, abs=0.5)


def test_after_two_minutes_a_long_press_is_a_question_again() -> None:
    """And moves nothing."""
    evening = Evening(PLAN).begin().press(121.0, 3.5).to(130)
    assert [t["meaning"] for t in evening.kind("tap")] == ["begin", "question"]
    assert evening.kind("correction") == []


def test_on_time_settles_an_assumed_begin_where_it_stands() -> None:
    """Answered by two specks; NOW for the developer ends."""
    evening = Evening(PLAN).begin().to(302)
    end_s = evening.stage(1, "end")["t_s"]
    evening.press(end_s + 5, 0.9).to(end_s + 60)
    assert evening.kind("tap")[-1]["meaning"] == "on time"
    assert begun_with(evening)[1] == (2, round(end_s, 3), "on time")
    assert evening.cues("yes") == [pytest.approx(end_s + 5.9)]
    assert [t for t in evening.cues("now") if end_s + 6 < t < end_s + 40] == []


def test_now_of_a_bath_that_is_no_developer_is_heard_no_more_after_its_end() -> None:
    """After a presoak nobody is told to pour off while the film lies in the developer."""
    plan = recipe('name = "presoak"\nrole = "presoak"\ntime = "2:00"', develop("5:00"), STOP)
    evening = Evening(plan).begin().to(200)
    assert max(evening.cues("now")) < 120.0
    assert evening.stage(2, "begin")["assumed"] is True


def test_a_press_held_over_the_planned_end_still_decides_whose_moment_it_was() -> None:
    """Down a moment before the end, up after it: poured, at the press; the end stays planned."""
    evening = Evening(PLAN).begin().to(295)
    end_s = evening.session.snapshot.end_t_s
    assert end_s is not None
    evening.press(end_s - 0.2, 0.5).to(end_s + 10)
    assert begun_with(evening)[1] == (2, round(end_s - 0.2, 3), "tap")
    assert evening.kind("correction") == []


def test_a_question_held_over_the_planned_end_leaves_the_begin_assumed_at_the_end() -> None:
    """It was only a question."""
    evening = Evening(PLAN).begin().to(295)
    end_s = evening.session.snapshot.end_t_s
    assert end_s is not None
    evening.press(end_s - 0.5, 2.0).to(end_s + 3)
    assert begun_with(evening)[1] == (2, round(end_s, 3), "assumed")


def test_over_is_told_only_for_a_fix_whose_begin_was_told() -> None:
    """Nobody knows how long an untold one has lasted: the click alone."""
    told = Evening(PLAN).begin().to(300)
    end_s = told.stage(1, "end")["t_s"]
    told.press(end_s + 1).press(end_s + 61).to(end_s + 400).press(end_s + 400, 0.9).to(end_s + 410)
    assert len(told.cues("over")) == 1
    untold = Evening(PLAN).begin().to(end_s + 400).press(end_s + 400, 0.9).to(end_s + 410)
    assert untold.cues("over") == []


LENGTHS_S = [0.05, 0.3, 0.69, 0.71, 0.99, 1.0, 1.5, 2.9, 3.1, 9.0, 12.0]
PRESSES = st.lists(st.tuples(st.floats(0.05, 60.0), st.sampled_from(LENGTHS_S)), max_size=40)


def storm(evening: Evening, presses: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """These presses one after the other; what was pressed, as (down, length)."""
    at_s, made = 0.0, []
    for pause_s, length_s in presses:
        at_s += pause_s
        evening.press(at_s, length_s)
        made.append((at_s, length_s))
        at_s += length_s + 0.01
    return made


LOADED = recipe('name = "load"\nrole = "load"', develop("3:00"), STOP, FIX)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(PRESSES)
def test_a_storm_of_presses_begins_nothing_that_waits_unless_held_for_a_second(presses: list[tuple[float, float]]) -> None:
    """No lamp before the stage after the load has begun; seq without a gap."""
    evening = Evening(LOADED, lamp=True).open()
    made = storm(evening, presses)
    evening.to(evening.t_s + 30)
    long = {round(down_s, 6) for down_s, length_s in made if length_s >= 1.0 - 1e-9}
    assert [r["seq"] for r in evening.records] == list(range(1, len(evening.records) + 1))
    for passage in History.of(evening.records).passages:
        if passage.stage in (1, 2):
            assert round(passage.begin_s, 6) in long
    if History.of(evening.records).passage(2) is None:
        assert True not in evening.lamp


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(PRESSES)
def test_after_any_storm_the_session_still_comes_to_its_end(presses: list[tuple[float, float]]) -> None:
    """With the presses that a person makes who then does what is asked."""
    evening = Evening(PLAN).begin()
    storm(evening, presses)
    for _ in range(40):
        if evening.session.closed:
            break
        evening.to(evening.t_s + 60).press(evening.t_s + 1, 0.3)
    assert evening.session.closed


def test_a_press_whose_length_makes_it_the_other_film_s_leaves_nothing_here() -> None:
    """No tap in this journal and no sound; the film with the tap's length has the click."""
    other = Evening(PLAN).open().press(5.0, 0.2, frozenset({"second", "three"})).to(10)
    assert other.kind("tap") == []
    assert other.cues("click") == []
    mine = Evening(PLAN).open().press(5.0, 1.2, frozenset({"second", "three"})).to(10)
    assert mine.stage(1, "begin")["t_s"] == 5.0
    assert mine.cues("click") == [6.0]


def test_a_question_whose_longer_press_is_the_other_film_s_is_answered_at_its_release() -> None:
    """Else it would be answered here and begin something there."""
    alone = Evening(PLAN).begin().press(130.0, 0.9).to(140)
    beside = Evening(PLAN).begin().press(130.0, 0.9, frozenset({"tap", "long"})).to(140)
    assert 130.7 <= alone.cues("answer")[0] < 130.85
    assert 130.9 <= beside.cues("answer")[0] < 131.0
    begun = Evening(PLAN).begin().press(130.0, 1.5, frozenset({"tap", "long"})).to(140)
    assert begun.cues("answer") == []


def test_a_switch_that_is_stuck_is_one_film_s_trouble() -> None:
    """That of the film whose the longest press is."""
    other = Evening(PLAN).begin().press(130.0, 15.0, frozenset({"tap", "long", "second"})).to(150)
    assert other.kind("switch") == []
    assert other.kind("tap", t_s=130.0) == []
