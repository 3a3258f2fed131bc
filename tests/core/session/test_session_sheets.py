"""Several sheets: each has its own clock, its own integral and its own way out."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from monitor.core.journal.history import History
from monitor.core.session import sounds
from monitor.core.session.effects import Effect, Play
from monitor.core.session.sounds import Sound
from tests.evening import FIX, Evening, recipe

SHEETS = '[sheets]\ncount = {count}\ninterval = "0:10"\n'
TRAY = """name = "develop"
role = "develop"
time = "{time}"
reference = "20 C"
agitation = "continuous"
rate = {{ law = "coefficient", per_10_c = 2.5 }}"""
STOP = 'name = "stop"\nrole = "stop"\ntime = "0:30"'


def tray(time: str = "8:00", count: int = 6, more: str = "") -> Evening:
    """Six sheets in a tray that warms by 0.12 C a minute (the project's practice, session b)."""
    plan = recipe(TRAY.format(time=time), STOP, FIX, vessel="open tray", tail=SHEETS.format(count=count) + more)
    return Evening(plan, lambda t: 20.0 + 0.12 * t / 60)


def entered(evening: Evening, skip: int | None = None) -> Evening:
    """Sheets in at 0, 10 .. 50 s, by taps, one of them perhaps missing."""
    evening.begin()
    for k in range(1, 6):
        if k + 1 != skip:
            evening.press(10.0 * k)
    return evening


def ends(evening: Evening) -> dict[int, float]:
    """Planned end of each sheet."""
    return {r["sheet"]: r["t_s"] for r in evening.kind("stage", stage=1, event="end")}


EXITS_S = [460.0, 469.0, 478.5, 488.0, 497.0, 506.0]
"""7:40, 7:49, 7:58.5, 8:08, 8:17, 8:26: worked out in the project's practice, session b, within 0.5 s."""


def test_scenario_5_exits_come_closer_together_than_the_sheets_went_in() -> None:
    """Acceptance scenario 5."""
    evening = entered(tray()).to(520)
    assert [ends(evening)[k] for k in range(1, 7)] == pytest.approx(EXITS_S, abs=0.5)


def test_scenario_5_a_missing_tap_is_put_at_the_interval_and_said_to_be_assumed() -> None:
    """Sheet 4 still leaves within a second of its time."""
    evening = entered(tray(), skip=4).to(520)
    begins = History.of(evening.records).passages[:6]
    assert [p.begin_s for p in begins] == pytest.approx([0.0, 10.0, 20.0, 30.0, 40.0, 50.0])
    assert [p.sheet for p in begins if not p.told] == [4]
    assert ends(evening)[4] == pytest.approx(EXITS_S[3], abs=1.0)


def test_scenario_5_a_sheet_that_gets_less_is_cued_alone() -> None:
    """Factor 0.8 for sheet 3: its exit is at least 8 s from every other, with a READY of its own."""
    evening = entered(tray(more="factors = [1, 1, 0.8, 1, 1, 1]\n")).to(520)
    times = ends(evening)
    assert min(abs(times[3] - t) for k, t in times.items() if k != 3) >= 8.0
    assert [r["sheet"] for r in evening.kind("stage", stage=1, event="ready")] == [3, 1]


def test_ready_comes_once_for_a_group_of_exits_and_only_the_last_now_is_repeated() -> None:
    """One READY, then a sounding for each sheet."""
    evening = entered(tray()).to(700)
    assert [r["sheet"] for r in evening.kind("stage", stage=1, event="ready")] == [1]
    sheets = [r["sheet"] for r in evening.kind("cue", cue="now") if r.get("sheet") is not None]
    assert sheets[:6] == [1, 2, 3, 4, 5, 6]
    assert set(sheets[6:]) == {6}


def test_the_last_sheet_of_a_group_has_now_and_the_others_the_sheets_call() -> None:
    """So the ear knows which is the last."""
    evening, do = entered(tray()).to(440), Evening._do
    begun: list[Sound] = []

    def listening(effects: Sequence[Effect]) -> None:
        begun.extend(e.sound for e in effects if isinstance(e, Play) and e.sound.cue == "now")
        do(evening, effects)

    evening._do = listening  # type: ignore[method-assign]
    evening.to(515)
    assert [(s.sheet, s.pattern) for s in begun[:6]] == [*((k, sounds.SHEET_NOW) for k in range(1, 6)), (6, sounds.NOW)]


def test_each_tap_on_the_way_out_is_the_begin_of_that_sheet_in_the_stop_and_its_time_counts_from_the_last() -> None:
    """Order in is order out."""
    evening = entered(tray()).to(440)
    for end_s in EXITS_S:
        evening.press(end_s + 0.8)
    evening.to(560)
    begins = evening.kind("stage", stage=2, event="begin")
    assert [b["sheet"] for b in begins] == [1, 2, 3, 4, 5, 6]
    last = begins[-1]
    actual = [b["t_s"] for b in begins]
    for correction in evening.kind("correction"):
        actual[correction["sheet"] - 1] = correction["begin_t_s"]
    assert actual == pytest.approx([t + 0.8 for t in EXITS_S], abs=0.01)
    assert evening.stage(2, "end")["t_s"] == pytest.approx(EXITS_S[-1] + 0.8 + 30.0, abs=0.1)
    assert last["sheet"] == 6


def test_progress_is_told_for_each_sheet_in_the_liquid_with_its_own_development() -> None:
    """Ten seconds apart, as they went in."""
    evening = entered(tray()).to(300)
    last = {p["sheet"]: p for p in evening.kind("progress") if p["t_s"] > 297}
    assert sorted(last) == [1, 2, 3, 4, 5, 6]
    steps = [last[k]["done_ref_s"] - last[k + 1]["done_ref_s"] for k in range(1, 6)]
    assert steps == pytest.approx([10.0] * 5, abs=0.3)


def test_shuffling_ticks_every_five_seconds_without_a_gap_after_the_last_sheet() -> None:
    """Entering has no ticks of its own between the clicks of the taps."""
    evening = entered(tray()).to(120)
    assert evening.cues("tick")[:4] == pytest.approx([55.0, 60.0, 65.0, 70.0])
