"""Contract, section 5, clause by clause: sheets going in by their taps, and leaving one after another."""

from __future__ import annotations

import random

import pytest

from monitor.core.journal.history import History
from tests.core.session.by_the_clock import Listened, begun, close, evening, nows, taps, timed

TRAY = timed("develop", "4:00")
"""Sheets drain for 5 s: of one begun at 0 NOW 235 and end 240, of the first of a group READY 205."""
STOP, FIX = timed("stop", "1:00"), timed("fix", "5:00")
PRESOAK = timed("presoak", "1:00", 'drain = "0:15"')
AT_LEAST = timed("presoak", "1:00", 'until = "at least"')


def sheets(count: int, interval: str = "0:10", more: str = "") -> str:
    """So many, one after another."""
    return f'[sheets]\ncount = {count}\ninterval = "{interval}"\n{more}'


def tray(*before: str, count: int = 4, interval: str = "0:10", more: str = "") -> Listened:
    """What comes before begun at 0, or the first sheet in at 0."""
    return begun(*before, TRAY, STOP, FIX, tail=sheets(count, interval, more), vessel="open tray")


def entered(held: Listened, stage: int) -> list[tuple[float, str]]:
    """The begin of each sheet in this stage, and how it is known."""
    return [(round(p.begin_s, 3), p.begun_by) for p in History.of(held.records).passages if p.stage == stage and p.sheet is not None]


def starts(held: Listened, stage: int) -> list[float]:
    """The begins alone."""
    return [begin_s for begin_s, _ in entered(held, stage)]


# -- going in ---------------------------------------------------------------------------------------------------------


def test_the_kth_tap_is_the_kth_sheets_begin() -> None:
    """However unevenly they come; a tap more is a mark."""
    held = tray().press(9.0).press(21.0).press(32.0).press(35.0).press(40.0).to(80)
    assert starts(held, 1) == [0.0, 9.0, 21.0, 32.0]
    assert [meaning for _, meaning in taps(held)] == ["begin"] * 3 + ["mark"] * 2
    assert held.kind("correction") == []


def test_a_begin_put_at_the_interval_is_provisional() -> None:
    """The next tap is the first untapped sheet's, and begins that were put later move with it."""
    held = tray().press(26.0).to(30.0)
    assert entered(held, 1)[:2] == [(0.0, "tap"), (26.0, "correction")]
    held = tray().to(28.0)
    assert entered(held, 1) == [(0.0, "tap"), (10.0, "assumed"), (20.0, "assumed")]
    held.press(29.0).to(30.0)
    assert entered(held, 1) == [(0.0, "tap"), (29.0, "correction"), (39.0, "assumed")]


@pytest.mark.parametrize("length_s", [0.7, 1.0, 3.5, 9.9])
def test_a_longer_press_while_sheets_go_in_is_a_question(length_s: float) -> None:
    """Also three seconds: nothing is taken again, nothing goes in."""
    held = tray(count=3).press(5.0, length_s).press(20.0).to(22.0)
    assert [meaning for _, meaning in taps(held)] == ["question", "begin"]
    assert starts(held, 1)[0] == 0.0
    assert len(held.cues("answer")) == 1


def test_with_no_tap_at_all_every_sheet_stands_at_the_interval() -> None:
    """From the press that began, or from the planned end of the stage before."""
    assert starts(tray().to(90), 1) == [0.0, 10.0, 20.0, 30.0]
    assert entered(tray(PRESOAK).to(150), 2) == [(60.0 + 10 * k, "assumed") for k in range(4)]


@pytest.mark.parametrize(
    ("first", "begin"),
    [
        ((47.0, 0.2), (60.0, "tap")),  # heard: settled at the planned end
        ((57.0, 0.2), (57.0, "tap")),  # poured
        ((63.0, 0.2), (63.0, "correction")),  # late: a tap like any other
    ],
)
def test_the_first_sheets_begin_after_a_stage_with_now_counts_once(first: tuple[float, float], begin: tuple[float, str]) -> None:
    """The tap that answers NOW is the first sheet's, and no other's."""
    held = tray(PRESOAK).press(*first).press(71.0).press(79.0).press(91.0).to(150)
    assert entered(held, 2) == [begin, (71.0, "tap"), (79.0, "tap"), (91.0, "tap")]


def test_on_time_is_nothing_while_sheets_go_in() -> None:
    """A longer press stays a question, and the next tap is still the first sheet's."""
    held = tray(PRESOAK).press(62.0, 1.2).press(66.0).to(67.0)
    assert [meaning for _, meaning in taps(held)] == ["question", "begin"]
    assert entered(held, 2)[0] == (66.0, "correction")


def about_to_enter(before: str, interval_s: int) -> tuple[Listened, float, int]:
    """An evening before the first of six sheets, when that sheet is expected, and the stage that they go into."""
    interval = f"0:{interval_s:02d}"
    if before == "a press":
        return evening(TRAY, STOP, FIX, tail=sheets(6, interval), vessel="open tray"), 7.0, 1
    if before == "a presoak":
        return tray(PRESOAK, count=6, interval=interval), 60.0, 2
    if before == "an at-least presoak":
        return tray(AT_LEAST, count=6, interval=interval), 203.0, 2
    return tray('name = "load"\nrole = "load"\ntime = "3:00"', count=6, interval=interval).press(20.0, 1.0), 50.0, 2


@pytest.mark.parametrize("missing", [None, 0, 1, 2, 3, 4, 5])
@pytest.mark.parametrize("before", ["a press", "a presoak", "an at-least presoak", "a load"])
@pytest.mark.parametrize("interval_s", [8, 10])
def test_with_hands_within_three_seconds_any_one_missing_tap_costs_three_seconds_at_most(
    missing: int | None, before: str, interval_s: int
) -> None:
    """And none where none is missing: then every begin is exact."""
    if missing == 0 and before != "a presoak":
        return  # without this press nothing goes in
    draw = random.Random(f"{missing} {before} {interval_s}")
    for _ in range(3):
        held, origin_s, stage = about_to_enter(before, interval_s)
        hands = [origin_s + k * interval_s + draw.choice([-3.0, 3.0, draw.uniform(-3.0, 3.0)]) for k in range(6)]
        if before != "a presoak":
            hands[0] = origin_s
        for k, at_s in enumerate(hands):
            if k != missing:
                held.press(at_s, 1.0 if k == 0 and before in ("a press", "a load") else 0.15)
        held.to(origin_s + 7 * interval_s + 20)
        assert starts(held, stage) == pytest.approx(hands, abs=0.001 if missing is None else 3.001)


def test_what_is_fitted_is_written_as_corrections_of_the_begins_that_were_put() -> None:
    """One interval after the last expected begin."""
    held = tray(PRESOAK, count=3).press(70.0).press(80.0).to(150)
    assert entered(held, 2) == [(60.0, "assumed"), (70.0, "correction"), (80.0, "correction")]
    begun_with = {r["seq"]: r["sheet"] for r in held.kind("stage", stage=2, event="begin")}
    last = [r for r in held.kind("correction") if r["t_s"] == pytest.approx(100.0)]
    assert [(begun_with[r["replaces_seq"]], r["sheet"], r["begin_t_s"]) for r in last] == [(1, 1, 60.0), (2, 2, 70.0), (3, 3, 80.0)]


# -- going out --------------------------------------------------------------------------------------------------------


def lying(count: int = 4, more: str = "") -> Listened:
    """All in by their taps, 10 s apart from 0 on."""
    held = tray(count=count, more=more)
    for k in range(1, count):
        held.press(10.0 * k)
    return held


def test_each_sheet_has_its_own_now_and_end_and_the_last_alone_is_repeated() -> None:
    """One READY; NOW of the last goes on until the stop's READY, here at 295."""
    held = lying().to(296)
    assert held.cues("ready") == [205.0, 295.0]
    assert [(r["sheet"], r["t_s"]) for r in held.kind("stage", stage=1, event="end")] == [(1, 240.0), (2, 250.0), (3, 260.0), (4, 270.0)]
    assert nows(held) == [235.0, 245.0, 255.0, 265.0, 267.4, 269.8, 272.2, 274.6, 277.0, 287.0]


def test_a_gap_of_over_a_minute_begins_a_new_group_with_its_own_ready() -> None:
    """Sheet 2 gets half: it leaves alone, two minutes before the others."""
    held = lying(3, "factors = [1, 0.5, 1]\n").to(300)
    assert [(r["sheet"], r["t_s"]) for r in held.kind("stage", stage=1, event="ready")] == [(2, 95.0), (1, 205.0)]


@pytest.mark.parametrize(
    ("at_s", "meaning", "sheet"),
    [
        (234.9, "mark", None),  # before the first call
        (235.0, "poured", 1),
        (241.0, "poured", 1),
        (244.4, "poured", 1),
        (244.6, "poured", 1),
        (244.9, "poured", 1),  # held over the next call
        (245.0, "poured", 2),
        (251.0, "poured", 2),
        (265.5, "poured", 4),
        (280.0, "poured", 4),
    ],
)
def test_a_tap_is_the_last_called_sheets(at_s: float, meaning: str, sheet: int | None) -> None:
    """Up to the very call of the next."""
    held = lying().press(at_s, 0.3).to(289)
    assert taps(held)[3:] == [(at_s, meaning)]
    told = {p.sheet: p.begin_s for p in History.of(held.records).passages if p.stage == 2 and p.told}
    assert told == ({} if sheet is None else {sheet: pytest.approx(at_s)})


def test_a_press_over_the_next_call_silences_that_call_not_at_all() -> None:
    """It answers for sheet 1; sheet 2 is called."""
    held = lying().press(244.8, 0.5).to(250)
    assert nows(held) == [235.0, 245.0]


def test_each_sheet_is_told_by_its_own_tap_and_the_next_stage_counts_from_the_last() -> None:
    """A missing one stays assumed."""
    held = lying().press(240.5).press(261.0).press(271.5).to(330)
    assert entered(held, 2) == [(240.5, "correction"), (250.0, "assumed"), (261.0, "correction"), (271.5, "correction")]
    assert held.to(332).stage(2, "end")["t_s"] == pytest.approx(331.5)


def test_on_time_settles_the_last_called_sheet() -> None:
    """Two specks; the others are asked for as before."""
    held = lying().press(241.0, 1.2).press(251.0).to(254)
    assert entered(held, 2) == [(240.0, "on time"), (251.0, "correction")]
    assert held.cues("yes") == [pytest.approx(242.2)]


def test_sheets_with_a_long_drain_can_be_heard_one_by_one() -> None:
    """Each settles its own."""
    long = timed("develop", "4:00", 'drain = "0:15"')
    held = begun(long, STOP, FIX, tail=sheets(3, "0:20"), vessel="open tray").press(20.0).press(40.0)
    held.press(227.0).press(247.0).press(267.0).to(300)
    assert [meaning for _, meaning in taps(held)][2:] == ["heard"] * 3
    assert entered(held, 2) == [(240.0, "tap"), (260.0, "tap"), (280.0, "tap")]
    assert nows(held) == [225.0, 245.0, 265.0]


def test_sheets_in_a_last_stage_close_the_session_when_the_last_is_out() -> None:
    """By the answering press."""
    held = begun(TRAY, tail=sheets(2), vessel="open tray").press(10.0).to(244.0).press(262.0).to(300)
    closing = close(held)
    assert closing is not None
    assert closing["t_s"] == pytest.approx(262.0)
