"""Contract, section 5, clause by clause: what a press means by its length, what answers it, and presses that last over a moment."""

from __future__ import annotations

import pytest

from monitor.core.session import sounds
from tests.core.session.by_the_clock import DEVELOP, FIX, LOAD, STOP, begins, begun, evening, nows, taps, timed
from tests.evening import Evening, recipe

GATED = timed("develop", "2:00", 'reference = "20 C"\ngate = { band = "0.15 C", for = "0:30" }')
LENGTHS_S = [0.05, 0.69, 0.7, 0.99, 1.0, 1.01, 2.99, 3.0, 9.9, 10.0]

# -- beginning --------------------------------------------------------------------------------------------------------


def test_a_press_released_in_the_moment_of_its_second_click_begins_with_that_click() -> None:
    """A full second is a second."""
    held = evening(DEVELOP, STOP).to(9.5)
    held._do(held.session.press(10.0, True))
    held._do(held.session.press(11.0, False))
    assert [(s.cue, s.onset_s) for s in held.played if s.cue == "click"] == [("click", 10.0), ("click", 11.0)]
    assert begins(held) == {1: (10.0, "tap")}


@pytest.mark.parametrize("length_s", LENGTHS_S)
def test_the_first_begin_takes_a_full_second(length_s: float) -> None:
    """A shorter press is a mark, a question from 0.7 s, answered by the click alone; at one second a second click, still held."""
    for at_s in (5.0, 5.1, 0.3, 7.7, 61.3):
        held = evening(DEVELOP, STOP).press(at_s, length_s).to(at_s + 12)
        assert taps(held) == [(at_s, "mark" if length_s < 0.7 else "question" if length_s < 1.0 else "begin")]
        assert begins(held) == ({1: (at_s, "tap")} if length_s >= 1.0 else {})
        assert held.cues("click") == pytest.approx([at_s, at_s + 1.0] if length_s >= 1.0 else [at_s])
        assert held.cues("answer") == held.cues("yes") == []


@pytest.mark.parametrize("length_s", [10.01, 10.1, 30.0])
def test_a_switch_down_for_over_ten_seconds_is_stuck_and_begins_nothing(length_s: float) -> None:
    """FAULT once, one mark."""
    held = evening(DEVELOP, STOP).press(5.0, length_s).to(60)
    assert taps(held) == [(5.0, "mark")]
    assert begins(held) == {}
    assert len(held.cues("fault")) == 1
    assert len(held.kind("switch")) == 1


def test_a_tick_that_falls_on_the_second_click_does_not_take_its_place() -> None:
    """The movement begins with the stage; the click at one second is heard all the same."""
    moving = timed("develop", "4:00", 'agitation = [{ from = "0:00", for = "0:30" }]')
    held = evening(moving, STOP).press(5.0, 1.2).to(20)
    assert held.cues("click") == [5.0, 6.0]
    assert held.cues("tick")[:3] == [7.0, 8.0, 9.0]


def test_ticks_fall_on_whole_seconds_after_the_begin_that_counts() -> None:
    """Also after it was taken again."""
    moving = timed("develop", "4:00", 'agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]')
    held = evening(moving, STOP).press(5.25, 1.2).press(30.4, 3.2).to(110)
    after = [t for t in held.cues("tick") if t > 34.0]
    assert after
    assert [t - 30.4 for t in after] == pytest.approx([round(t - 30.4) for t in after], abs=1e-6)


# -- gates ------------------------------------------------------------------------------------------------------------


def cold(t_s: float) -> float:
    """Warm enough from 100 s on."""
    return 19.0 if t_s < 100.0 else 20.0


@pytest.mark.parametrize("length_s", [0.2, 0.7, 1.0, 3.5])
def test_a_withheld_gate_lets_nothing_begin(length_s: float) -> None:
    """A full second is a question."""
    held = Evening(recipe(GATED, STOP), cold).open().press(20.0, length_s).to(40)
    assert [r["state"] for r in held.kind("gate")] == ["withheld"]
    assert taps(held) == [(20.0, "mark" if length_s < 0.7 else "question")]
    assert begins(held) == {}


def test_a_press_that_began_before_the_gate_opened_begins_nothing() -> None:
    """It has the meaning of the state in which it went down."""
    opened = Evening(recipe(GATED, STOP), cold).open().to(300)
    open_s = opened.kind("gate", state="open")[0]["t_s"]
    held = Evening(recipe(GATED, STOP), cold).open().press(open_s - 0.5, 2.0).to(open_s + 5)
    assert taps(held) == [(open_s - 0.5, "question")]
    held.press(open_s + 6, 1.0).to(open_s + 10)
    assert begins(held)[1] == (open_s + 6, "tap")


def test_a_gate_on_a_stage_that_does_not_wait_is_only_recorded() -> None:
    """The developer begins at the presoak's end, withheld or not."""
    held = Evening(recipe(timed("presoak", "1:00"), GATED, STOP), lambda _: 18.0).open().press(0.0, 1.2).to(100)
    assert [r["state"] for r in held.kind("gate")] == ["withheld"]
    assert begins(held)[2] == (60.0, "assumed")


def test_an_overridden_gate_is_recorded_with_its_reason() -> None:
    """And the second begins."""
    held = Evening(recipe(GATED, STOP), lambda _: 18.0, override_gate="late").open().press(5.0, 1.0).to(10)
    assert [(r["state"], r["why"]) for r in held.kind("gate")] == [("overridden", "late")]
    assert begins(held)[1] == (5.0, "tap")


# -- again ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_s", "length_s", "meaning"),
    [
        (20.0, 2.99, "question"),
        (20.0, 3.0, "again"),
        (20.0, 9.9, "again"),
        (119.9, 3.0, "again"),
        (120.1, 3.0, "question"),
        (120.1, 9.0, "question"),
    ],
)
def test_a_begin_is_taken_again_by_three_seconds_within_two_minutes(at_s: float, length_s: float, meaning: str) -> None:
    """Two specks at three seconds, still held; a correction to the press; before that a question is answered on release."""
    held = begun(timed("develop", "8:00"), STOP).press(at_s, length_s).to(at_s + 15)
    assert taps(held) == [(at_s, meaning)]
    assert begins(held)[1] == ((at_s, "correction") if meaning == "again" else (0.0, "tap"))
    assert held.cues("yes") == ([pytest.approx(at_s + 3.0)] if meaning == "again" else [])
    if meaning == "question":
        assert held.cues("answer") == [pytest.approx(at_s + (length_s if at_s < 120.0 else 0.7))]


@pytest.mark.parametrize(("at_s", "meaning"), [(74.9, "again"), (75.1, "question"), (100.0, "question")])
def test_a_begin_can_be_taken_again_up_to_ready(at_s: float, meaning: str) -> None:
    """READY is at 75; a press before it that is held over it still counts, and READY comes again in its time."""
    held = begun(DEVELOP, STOP).press(at_s, 3.2).to(300)
    assert taps(held)[0] == (at_s, meaning)
    if meaning == "again":
        assert held.cues("ready")[1] == pytest.approx(at_s + 75.0)
        assert nows(held)[0] == pytest.approx(at_s + 105.0)
        assert held.stage(1, "end")["t_s"] == pytest.approx(at_s + 120.0)


def test_without_ready_a_begin_can_be_taken_again_up_to_now_and_that_now_falls_silent() -> None:
    """NOW at 35; held over it."""
    held = begun(timed("stop", "0:45"), FIX).press(34.0, 3.2).to(80)
    assert taps(held) == [(34.0, "again")]
    assert nows(held) == [35.0, 69.0, 71.4, 73.8, 76.2, 78.6]


@pytest.mark.parametrize(
    ("stages", "presses", "meaning"),
    [
        ((FIX, timed("develop", "4:00"), STOP), [(310.0, 0.2)], "again"),  # a develop begin by the tap after an at-least stage
        ((FIX, timed("stop", "4:00")), [(310.0, 0.2)], "question"),  # no developer
        ((timed("presoak", "1:00"), timed("develop", "4:00"), STOP), [(57.0, 0.2)], "question"),  # poured after a timed stage
        ((timed("presoak", "1:00"), timed("develop", "4:00"), STOP), [(62.0, 0.2)], "question"),  # an assumed begin, told late
    ],
)
def test_which_begins_can_be_taken_again(stages: tuple[str, ...], presses: list[tuple[float, float]], meaning: str) -> None:
    """Those made by a full second, and a developer's by the tap after an at-least stage."""
    held = begun(*stages)
    for press in presses:
        held.press(*press)
    at_s = presses[-1][0] + 20.0
    held.press(at_s, 3.2).to(at_s + 5)
    assert taps(held)[-1] == (at_s, meaning)


def test_the_begin_after_a_load_can_be_taken_again() -> None:
    """Only the load's own cannot."""
    held = begun(LOAD, timed("develop", "4:00"), STOP).press(20.0, 1.2).press(40.0, 1.2).press(60.0, 3.0).to(70)
    assert [meaning for _, meaning in taps(held)] == ["lid on", "begin", "again"]


# -- questions --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("at_s", "minutes"), [(200.0, 6), (239.9, 6), (240.1, 5), (539.9, 1), (541.0, 0), (597.0, 0)])
def test_a_question_is_answered_by_the_whole_minutes_to_the_end(at_s: float, minutes: int) -> None:
    """Rounded down, at 0.7 s, still held."""
    held = begun(timed("develop", "10:00", 'drain = "0:05"'), STOP).press(at_s, 1.0).to(at_s + 4)
    answer = held.played[-1] if at_s < 590.0 else next(s for s in held.played if s.cue == "answer")
    assert answer.cue == "answer"
    assert answer.pattern == sounds.answer(minutes)
    assert answer.onset_s == pytest.approx(at_s + 0.7)


@pytest.mark.parametrize("apart_s", [1.5, 2.9, 3.1])
def test_a_second_question_within_three_seconds_asks_for_the_temperature(apart_s: float) -> None:
    """YES where it is trusted."""
    held = begun(timed("develop", "10:00"), STOP).press(200.0, 0.8).press(200.0 + apart_s, 0.8).to(210)
    assert len(held.cues("yes")) == (1 if apart_s < 3.0 else 0)
    assert [meaning for _, meaning in taps(held)] == ["question", "question"]


def test_the_second_question_has_the_fault_pattern_where_the_temperature_is_not_trusted() -> None:
    """The developer's probe is gone."""
    plan = recipe(timed("develop", "10:00", 'reference = "20 C"'), STOP)
    held = Evening(plan, lambda t: 20.0 if t < 30 else None).begin().press(200.0, 0.8).press(202.0, 0.8).to(210)
    assert held.cues("yes") == []
    assert len(held.cues("answer")) == 2


@pytest.mark.parametrize("at_s", [74.0, 74.31, 74.5, 74.95, 75.05, 75.5, 75.85, 75.95])
def test_no_question_stays_unanswered_because_ready_sounds(at_s: float) -> None:
    """The answer follows."""
    held = begun(DEVELOP, STOP).press(at_s, 0.9).to(at_s + 4)
    assert len(held.cues("answer")) == 1
    assert held.cues("ready") == [75.0]


def test_a_question_over_the_planned_end_is_answered_and_the_begin_stays_assumed() -> None:
    """Down a moment before the end, up after it, of exactly 0.7 s."""
    held = begun(DEVELOP, STOP).press(119.9, 0.7).to(125)
    assert taps(held) == [(119.9, "question")]
    assert len(held.cues("answer")) == 1
    assert begins(held)[2] == (120.0, "assumed")


# -- NOW and the foot -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_s", "length_s", "lost"),
    [
        (107.0, 0.7, [107.4]),  # it might have been a tap
        (107.0, 5.0, [107.4]),
        (107.5, 1.0, []),
        (107.5, 9.9, []),
        (104.5, 12.0, []),  # stuck over NOW
        (106.0, 13.0, []),
    ],
)
def test_only_a_tap_silences_now(at_s: float, length_s: float, lost: list[float]) -> None:
    """A question or a stuck switch costs at most the repeat that falls into its first 0.7 s."""
    held = begun(DEVELOP, STOP).press(at_s, length_s).to(126.9)
    assert nows(held) == [t for t in [105.0, 107.4, 109.8, 112.2, 114.6, 117.0] if t not in lost]


# -- presses over a moment --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_s", "length_s", "meaning", "begin"),
    [
        (104.9, 0.3, "mark", (120.0, "assumed")),  # over NOW
        (104.9, 2.0, "question", (120.0, "assumed")),
        (114.9, 0.3, "heard", (120.0, "tap")),  # over 5 s before the end
        (119.9, 0.3, "poured", (119.9, "tap")),  # over the end
        (119.0, 3.5, "question", (120.0, "assumed")),
        (119.0, 11.0, "mark", (120.0, "assumed")),  # stuck
        (139.9, 0.3, "poured", (139.9, "correction")),  # over the next READY
        (139.5, 1.0, "on time", (120.0, "on time")),
    ],
)
def test_a_press_has_the_meaning_of_the_moment_at_which_it_went_down(
    at_s: float, length_s: float, meaning: str, begin: tuple[float, str]
) -> None:
    """Takes effect at release, and is dated to the press."""
    held = begun(DEVELOP, STOP, FIX).press(at_s, length_s).to(200)
    assert taps(held) == [(at_s, meaning)]
    assert begins(held)[2] == begin


def test_a_begin_told_over_the_next_ready_moves_that_ready() -> None:
    """The stop lasts its minute from the press."""
    held = begun(DEVELOP, STOP, FIX).press(139.9, 0.3).to(220)
    assert held.cues("ready") == [75.0, 140.0, pytest.approx(159.9)]
    assert held.stage(2, "end")["t_s"] == pytest.approx(199.9)
    assert held.cues("yes") == []


def test_on_time_over_the_next_ready_is_answered_behind_it() -> None:
    """Two specks, not lost in the tone."""
    held = begun(DEVELOP, STOP, FIX).press(139.5, 0.9).to(150)
    (yes,) = held.cues("yes")
    assert 140.9 < yes < 141.5


@pytest.mark.parametrize("boundary_s", [75.0, 105.0, 115.0, 120.0, 140.0, 170.0, 180.0])
def test_a_switch_stuck_over_any_moment_moves_nothing(boundary_s: float) -> None:
    """Every moment is where nobody's would be; FAULT once."""
    quiet = begun(DEVELOP, STOP, FIX).to(500)
    held = begun(DEVELOP, STOP, FIX).press(boundary_s - 5.0, 11.0).to(500)
    assert taps(held) == [(boundary_s - 5.0, "mark")]
    assert begins(held) == begins(quiet)
    assert len(held.cues("fault")) == 1
    events = [(r["stage"], r["event"], r["t_s"]) for r in held.kind("stage")]
    assert sorted(events) == sorted((r["stage"], r["event"], r["t_s"]) for r in quiet.kind("stage"))
