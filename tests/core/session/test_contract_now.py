"""Contract, section 5, clause by clause: READY, NOW, the planned end, at-least stages, loads, and how a session closes."""

from __future__ import annotations

import itertools

import pytest

from tests.core.session.by_the_clock import DEVELOP, FIX, LOAD, STOP, begins, begun, close, evening, nows, taps, timed
from tests.evening import Evening, develop, recipe

# -- NOW and the planned end ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_s", "meaning", "begin"),
    [
        (104.99, "mark", (120.0, "assumed")),
        (105.0, "heard", (120.0, "tap")),
        (105.01, "heard", (120.0, "tap")),
        (114.99, "heard", (120.0, "tap")),
        (115.0, "poured", (115.0, "tap")),
        (119.99, "poured", (119.99, "tap")),
        (120.01, "poured", (120.01, "correction")),
        (139.99, "poured", (139.99, "correction")),
        (140.0, "mark", (120.0, "assumed")),
    ],
)
def test_what_a_tap_means_around_now_and_the_planned_end(at_s: float, meaning: str, begin: tuple[float, str]) -> None:
    """Heard from NOW until 5 s before the end, poured from there on, and after an assumed begin until the next stage's READY."""
    held = begun(DEVELOP, STOP, FIX).press(at_s, 0.1).to(145)
    assert taps(held) == [(at_s, meaning)]
    assert begins(held)[2] == begin


def test_a_heard_now_is_silent_for_good_and_the_next_begin_is_settled() -> None:
    """Later taps move nothing, and nothing is assumed."""
    held = begun(DEVELOP, STOP, FIX).press(107.0).press(117.0).press(125.0).to(139)
    assert taps(held) == [(107.0, "heard"), (117.0, "mark"), (125.0, "mark")]
    assert nows(held) == [105.0]
    assert "assumed" not in held.stage(2, "begin")
    assert held.stage(2, "begin")["t_s"] == 120.0


def test_the_end_is_the_planned_one_whenever_the_tap_came() -> None:
    """Poured 4 s early: the end stays, the next begin tells the rest."""
    held = begun(DEVELOP, STOP, FIX).press(116.0).to(130)
    assert held.stage(1, "end")["t_s"] == 120.0
    assert held.stage(2, "begin")["t_s"] == 116.0


def test_unanswered_now_sounds_six_times_and_then_every_ten_seconds_until_the_next_ready() -> None:
    """A developer is to leave and no developer follows."""
    held = begun(DEVELOP, STOP, FIX).to(170)
    assert nows(held) == [105.0, 107.4, 109.8, 112.2, 114.6, 117.0, 127.0, 137.0, 170.0]


@pytest.mark.parametrize("other", ["presoak", "stop"])
def test_now_of_any_other_stage_ends_with_the_stage(other: str) -> None:
    """Nobody is told to pour off what has just gone in."""
    held = begun(timed(other, "1:00"), timed("develop", "5:00"), STOP).to(200)
    assert nows(held) == [50.0, 52.4, 54.8, 57.2, 59.6]


def test_now_of_a_developer_before_another_developer_ends_with_the_stage() -> None:
    """The offer stands for 60 s all the same."""
    held = begun(DEVELOP, timed("develop", "4:00"), STOP).to(179.9)
    assert nows(held) == [105.0, 107.4, 109.8, 112.2, 114.6, 117.0]
    held.press(179.95, 0.1).to(200)
    assert begins(held)[2] == (179.95, "correction")


@pytest.mark.parametrize(("at_s", "meaning"), [(179.9, "poured"), (180.1, "mark")])
def test_the_offer_ends_a_minute_after_the_planned_end(at_s: float, meaning: str) -> None:
    """Where NOW does not go on."""
    held = begun(DEVELOP, timed("develop", "4:00"), STOP).press(at_s).to(200)
    assert taps(held) == [(at_s, meaning)]


@pytest.mark.parametrize("at_s", [180.1, 214.0, 259.9])
def test_where_now_goes_on_the_offer_stands_as_long_as_it_does(at_s: float) -> None:
    """Up to the next stage's READY, here at 260; the development is counted up to the press."""
    held = begun(develop("2:00"), timed("stop", "3:00"), FIX).press(at_s).to(265)
    assert taps(held) == [(at_s, "poured")]
    told = [r["t_s"] for r in held.kind("progress", stage=1)]
    assert at_s - 2.0 <= max(told) <= at_s + 0.2 + 1e-6
    assert max(b - a for a, b in itertools.pairwise(told)) <= 2.0 + 1e-6


@pytest.mark.parametrize(
    ("length_s", "meaning"), [(0.69, "poured"), (0.7, "on time"), (0.99, "on time"), (3.5, "on time"), (9.9, "on time")]
)
def test_what_answers_an_assumed_begin(length_s: float, meaning: str) -> None:
    """A tap moves it to the press; anything longer settles it where it stands, with two specks."""
    held = begun(DEVELOP, timed("stop", "3:00"), FIX).press(125.0, length_s).to(150)
    assert taps(held) == [(125.0, meaning)]
    assert begins(held)[2] == ((125.0, "correction") if meaning == "poured" else (120.0, "on time"))
    assert held.cues("yes") == ([] if meaning == "poured" else [pytest.approx(125.0 + length_s)])
    assert nows(held, 125.0) == []


def test_after_the_answer_a_press_speaks_of_the_later_stage_alone() -> None:
    """A mark, a question."""
    held = begun(DEVELOP, timed("stop", "3:00"), FIX).press(125.0, 1.0).press(130.0).press(135.0, 1.0).to(150)
    assert [meaning for _, meaning in taps(held)] == ["on time", "mark", "question"]


def test_a_stage_without_ready_ends_the_offer_at_its_now_and_calls_for_itself() -> None:
    """READY of the stop is left out; its NOW at 140 sounds in its own rhythm, and a tap there is heard."""
    short = (DEVELOP, timed("stop", "0:30"), FIX)
    assert nows(begun(*short).to(150), 118.0) == [127.0, 137.0, 140.0, 142.4, 144.8, 147.2, 149.6]
    held = begun(*short).press(140.1).to(155)
    assert taps(held) == [(140.1, "heard")]
    assert begins(held)[3] == (150.0, "tap")


@pytest.mark.parametrize("at_s", [125.0, 139.4, 139.7, 139.9])
def test_a_begin_that_is_told_late_moves_the_moments_of_a_stage_without_ready_too(at_s: float) -> None:
    """Up to its NOW: the half minute counts from the press, and NOW is called at its new moment."""
    held = begun(DEVELOP, timed("stop", "0:30"), FIX).press(at_s, 0.05).to(at_s + 40)
    assert begins(held)[2] == (at_s, "correction")
    assert nows(held, 138.0)[0] == pytest.approx(at_s + 20.0)
    assert held.stage(2, "end")["t_s"] == pytest.approx(at_s + 30.0)


def test_on_time_over_the_next_now_leaves_that_now_alone() -> None:
    """The press answers for the developer; the stop's own call goes on."""
    held = begun(DEVELOP, timed("stop", "0:30"), FIX).press(139.5, 1.0).to(150)
    assert taps(held) == [(139.5, "on time")]
    assert nows(held, 138.0) == [140.0, 142.4, 144.8, 147.2, 149.6]


@pytest.mark.parametrize(("time", "ready_s"), [("0:49", None), ("0:50", 10.0), ("0:51", 11.0)])
def test_ready_is_left_out_where_it_would_fall_less_than_ten_seconds_after_the_begin(time: str, ready_s: float | None) -> None:
    """And the end is fixed from the begin."""
    held = begun(timed("stop", time), FIX).to(60)
    assert held.cues("ready") == ([] if ready_s is None else [ready_s])
    assert ("end_t_s" in held.stage(1, "begin")) == (ready_s is None)


def test_a_stated_ready_that_has_no_room_is_left_out() -> None:
    """Not refused."""
    held = begun(timed("stop", "0:30", 'ready = "0:30"'), FIX).to(40)
    assert held.cues("ready") == []
    assert nows(held)[0] == 20.0


def test_after_ready_the_end_does_not_move_whatever_the_developer_does() -> None:
    """It jumps by 6 C a second after READY."""
    quiet = Evening(recipe(develop("5:00"), STOP)).begin().to(310)
    ready_s = quiet.stage(1, "ready")["t_s"]
    jumped = Evening(recipe(develop("5:00"), STOP), lambda t: 20.0 if t < ready_s + 1 else 26.0).begin().to(310)
    assert jumped.stage(1, "ready")["end_t_s"] == quiet.stage(1, "ready")["end_t_s"]
    assert jumped.stage(1, "now")["t_s"] == jumped.stage(1, "ready")["now_t_s"]
    assert jumped.stage(1, "end")["t_s"] == jumped.stage(1, "ready")["end_t_s"]


@pytest.mark.parametrize("jump_s", [140.0, 160.0, 180.0, 200.0, 215.0])
def test_an_overdue_ready_sounds_at_once_and_now_no_sooner_than_ten_seconds_later(jump_s: float) -> None:
    """A hot bath makes the end overdue in one step."""
    hot = recipe(develop("5:00").replace("per_10_c = 2.5", "per_10_c = 6.0"), STOP)
    held = Evening(hot, lambda t: 18.0 if t < jump_s else 24.0, lag_s=0.5).begin().to(420)
    ready, now = held.stage(1, "ready"), held.stage(1, "now")
    assert held.cues("ready")[0] == ready["t_s"]
    assert now["t_s"] - ready["t_s"] >= 10.0 - 1e-6
    assert held.stage(1, "end")["t_s"] == pytest.approx(now["t_s"] + 15.0)


# -- at-least stages --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at_s", "length_s", "meaning"),
    [
        (299.9, 0.05, "mark"),
        (299.9, 0.3, "mark"),
        (300.0, 0.2, "poured"),
        (300.1, 0.2, "poured"),
        (400.0, 0.69, "poured"),
        (400.0, 0.7, "question"),
        (400.0, 4.0, "question"),
        (479.9, 0.3, "poured"),
        (480.1, 0.2, "poured"),
        (490.0, 0.2, "poured"),
    ],
)
def test_only_a_tap_after_the_minimum_begins_what_follows_an_at_least_stage(at_s: float, length_s: float, meaning: str) -> None:
    """Also after `at_most`; a longer press stays a question."""
    held = begun(FIX, timed("wash", "5:00")).press(at_s, length_s).to(at_s + 5)
    assert taps(held) == [(at_s, meaning)]
    assert begins(held).get(2) == ((at_s, "tap") if meaning == "poured" else None)


def test_an_at_least_stage_has_one_ready_at_its_minimum_and_is_never_left_by_itself() -> None:
    """`minimum` at 5:00, NOW from 8:00 on, the next begin never."""
    held = begun(FIX, timed("wash", "5:00")).to(1500)
    assert held.cues("ready") == [300.0]
    assert held.stage(1, "minimum")["t_s"] == 300.0
    assert held.stage(1, "end")["t_s"] == 300.0
    assert held.stage(1, "now")["t_s"] == 480.0
    assert nows(held)[:8] == [480.0, 482.4, 484.8, 487.2, 489.6, 492.0, 502.0, 512.0]
    assert 2 not in begins(held)


def test_now_is_in_the_journal_when_it_comes_and_not_before() -> None:
    """A tap in the last half second before `at_most`: nothing was called, nothing is written."""
    held = begun(FIX, timed("wash", "5:00")).press(479.6, 0.2).to(500)
    assert nows(held) == []
    assert held.kind("stage", stage=1, event="now") == []


def test_no_answer_is_lost_to_ready() -> None:
    """Asked just at the minimum: `over` follows READY."""
    held = begun(FIX, timed("wash", "5:00")).press(300.0, 1.0).to(310)
    assert held.cues("ready") == [300.0]
    (over,) = held.cues("over")
    assert 300.9 < over < 301.5


# -- loads ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("time", ["", '\ntime = "0:30"', '\ntime = "0:30"\nat_most = "0:40"'])
@pytest.mark.parametrize(("length_s", "meaning"), [(0.2, "mark"), (0.7, "question"), (0.99, "question"), (1.0, "lid on"), (9.9, "lid on")])
def test_a_load_is_ended_by_a_full_second_and_by_nothing_else(time: str, length_s: float, meaning: str) -> None:
    """Before its time, after it, and while NOW sounds at its longest: never by a tap."""
    for at_s in (20.0, 35.0, 60.0):
        held = begun(LOAD + time, DEVELOP, STOP).press(at_s, length_s).to(at_s + 30)
        assert taps(held) == [(at_s, meaning)]
        assert list(begins(held)) == [1]


def test_after_the_lid_is_on_the_next_stage_waits_for_its_own_second_in_the_dark() -> None:
    """No clock, no assumed begin, lamp shut until the press."""
    held = evening(LOAD, DEVELOP, STOP, lamp=True).press(0.0, 1.2).press(30.0, 1.0)
    held.press(700.0, 0.2).press(710.0, 0.99).to(720)
    assert list(begins(held)) == [1]
    assert True not in held.lamp
    held.press(730.0, 1.0).to(740)
    assert begins(held)[2] == (730.0, "tap")
    assert held.lamp[-1] is True


def test_now_of_a_load_that_took_too_long_ends_with_the_lid() -> None:
    """It does not go on into the developer."""
    held = begun(LOAD + '\ntime = "0:30"\nat_most = "0:40"', DEVELOP, STOP).press(45.0, 1.2).press(60.0, 1.2).to(160)
    assert nows(held) == [40.0, 42.4, 44.8]


def test_the_begin_of_a_load_cannot_be_taken_again() -> None:
    """Three seconds put the lid on."""
    assert taps(begun(LOAD, DEVELOP).press(20.0, 3.2)) == [(20.0, "lid on")]


def test_a_switch_that_sticks_while_a_reel_is_loaded_is_told() -> None:
    """Nothing else could end the load."""
    held = begun(LOAD, DEVELOP).press(20.0, 11.0).to(40)
    assert taps(held) == [(20.0, "mark")]
    assert len(held.cues("fault")) == 1


# -- how a session closes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stages", "presses", "closed_s"),
    [
        ((DEVELOP, STOP), [(107.0, 0.2)], 180.0),  # nobody answers the stop's NOW
        ((DEVELOP, STOP), [(107.0, 0.2), (172.0, 0.2)], 180.0),  # heard
        ((DEVELOP, STOP), [(107.0, 0.2), (177.0, 0.2)], 180.0),  # poured: there is nothing to pour into
        ((DEVELOP, STOP), [(107.0, 0.2), (179.9, 0.3)], 180.0),  # the same, over the end
        ((DEVELOP, STOP), [(107.0, 0.2), (172.0, 0.2), (178.0, 3.0)], 180.0),  # heard, and a question over the end
        ((DEVELOP,), [(107.0, 0.2)], 120.0),  # heard
        ((DEVELOP,), [(117.0, 0.2)], 120.0),
        ((DEVELOP,), [(119.9, 0.3)], 120.0),
        ((DEVELOP,), [(121.0, 0.2)], 121.0),  # unanswered: at the answering press
        ((DEVELOP,), [(400.0, 1.0)], 400.0),
        ((DEVELOP,), [(719.9, 0.3)], 719.9),
        ((DEVELOP,), [], 720.0),  # at most ten minutes later
        ((DEVELOP, FIX), [(107.0, 0.2), (419.9, 0.2), (430.0, 0.2)], 430.0),  # the tap after the minimum
    ],
)
def test_when_a_session_closes(stages: tuple[str, ...], presses: list[tuple[float, float]], closed_s: float) -> None:
    """A last timed stage at its end, a developer whose NOW nobody answered at the press, an at-least stage by the tap."""
    held = begun(*stages)
    for at_s, length_s in presses:
        held.press(at_s, length_s)
    held.to(1000)
    closing = close(held)
    assert closing is not None
    assert (closing["t_s"], closing["why"]) == (pytest.approx(closed_s), "finished")
    assert len(taps(held)) == len(presses)  # no press is lost in the close


def test_now_of_a_last_developer_goes_on_every_ten_seconds_for_ten_minutes() -> None:
    """Nobody has taken the film out."""
    held = begun(DEVELOP).to(1000)
    assert nows(held, 118.0) == [127.0 + 10 * k for k in range(60)]


def test_a_last_at_least_stage_waits_for_ever() -> None:
    """Only the tap closes it."""
    held = begun(DEVELOP, FIX).to(3000)
    assert close(held) is None
