"""The power was gone: what no clock can vouch for decides nothing, the person is told at once, and no time is confident that is not."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.status import lines
from monitor.core.journal.records import GapDoubt
from monitor.core.recipe.reader import load_recipe
from monitor.core.session.session import Session
from monitor.core.text.quantities import read_duration
from monitor.live.station.resume import SURE_S, UNSURE_S, ResumePlan, UnfinishedSession, plan
from monitor.live.view.layout import Look, render
from monitor.live.view.state import Watched
from monitor.live.view.text import plain
from monitor.review import load as review_load
from monitor.review.check import check
from monitor.review.measures import measure
from monitor.review.summary import done_sentence, paragraph
from tests.fake_clock import FakeClock
from tests.live.simulated import JUG, SHORT, World

LONG = SHORT.replace('time = "2:00"', 'time = "10:00"')
YEAR_S = 365 * 86400.0


def left_at(t_s: float, *more: dict[str, Any], **opening: Any) -> UnfinishedSession:
    """A session that was left at `t_s`, begun at 1000 s of boot-1, 210 s long."""
    first = {"seq": 1, "t_s": 0.0, "kind": "session", "event": "open", "mono0_s": 1000.0, "boot_id": "boot-1", "wall_set": True}
    last = {"seq": 9, "t_s": t_s, "wall": "2026-11-25T19:00:00.000Z", "kind": "reading"}
    return UnfinishedSession(Path("x.jsonl"), ({**first, **opening}, *more, last), load_recipe(SHORT.encode(), "r"))


def back(up_s: float, wall_by_s: float, *, is_set: bool) -> FakeClock:
    """Another boot, so old; the wall clock shows the last record's time and so much more."""
    clock = FakeClock(up_s, boot="boot-2")
    clock.step_wall(wall_by_s)
    clock.set_by_network = is_set
    return clock


def bounds(told: ResumePlan) -> list[float]:
    """The gap: at least, counted, at most."""
    counted_s = told.t_s - 90.0
    return [counted_s - told.doubt.shorter_s, counted_s, counted_s + told.doubt.longer_s]


MOST_OF_ALL_S = 210.0 + 3600.0 - 90.0
"""Had it been longer, the session would have been over for an hour."""


@pytest.mark.parametrize("years", [1.1, -1.1, 56.0, -56.0])
@pytest.mark.parametrize("is_set", [True, False])
def test_a_clock_that_nobody_had_set_loses_no_session(years: float, is_set: bool) -> None:
    """Thirty seconds without power; the first boot began in another year, the next one has the right time, or the other way round."""
    told = plan(left_at(90.0, wall_set=False), back(30.0, years * YEAR_S, is_set=is_set))
    assert (told.verdict, told.gap_s) == ("other boot", None)
    least_s, counted_s, most_s = bounds(told)
    assert least_s == counted_s == pytest.approx(30.0)
    assert 30.0 + UNSURE_S <= most_s <= MOST_OF_ALL_S


def test_a_clock_that_was_moved_in_the_session_loses_none() -> None:
    """It had been set by network time, then somebody put it a year ahead; the network puts it right at the next boot."""
    moved = {"seq": 2, "t_s": 40.0, "wall": "", "kind": "clock", "event": "stepped", "by_s": -YEAR_S}
    told = plan(left_at(90.0, moved), back(30.0, YEAR_S, is_set=True))
    assert (told.verdict, told.gap_s) == ("other boot", None)
    assert bounds(told)[1] == pytest.approx(30.0)


def test_a_clock_that_network_time_has_set_in_the_session_counts_from_there(tmp_path: Path) -> None:
    """The usual board: it begins without the right time and gets it a little later. A step after that, and it counts no more."""
    world, name = begun(tmp_path)
    world.clock.step_wall(YEAR_S)
    world.clock.set_by_network = True
    world.go(5)
    assert [r["event"] for r in world.records(name, "clock")] == ["stepped", "set"]
    for stepped in (False, True):
        if stepped:
            world.clock.step_wall(-100.0)
            world.go(5)
            world.write()
        world.clock.reboot(40.0, f"boot-{stepped}")
        world.life()
        world.go(5)
        resume = world.records(name, "session", event="resume")[-1]
        assert (resume["gap_s"] is None) is stepped, resume


def test_a_step_of_an_earlier_life_is_over() -> None:
    """The station was started again since, on a clock that network time had set."""
    moved = {"seq": 2, "t_s": 40.0, "wall": "", "kind": "clock", "event": "stepped", "by_s": -YEAR_S}
    again = {"seq": 3, "t_s": 50.0, "kind": "session", "event": "resume", "mono0_s": 1000.0, "boot_id": "boot-1", "wall_set": True}
    told = plan(left_at(90.0, moved, again), back(30.0, 50.0, is_set=True))
    assert told.gap_s == pytest.approx(50.0)
    assert told.doubt == GapDoubt(SURE_S, SURE_S)


def test_a_gap_is_never_shorter_than_the_new_boot_is_old() -> None:
    """Network time says 10 s, the boot 30 s: the clocks contradict each other, and the monotonic one is right."""
    told = plan(left_at(90.0), back(30.0, 10.0, is_set=True))
    assert (told.verdict, told.gap_s) == ("other boot", None)
    assert bounds(told)[:2] == pytest.approx([30.0, 30.0])
    sure = plan(left_at(90.0), back(30.0, 31.0, is_set=True))
    assert bounds(sure) == pytest.approx([30.0, 31.0, 33.0])


def test_a_wall_clock_that_may_be_right_bounds_the_gap_on_the_far_side() -> None:
    """A board with a battery for its clock and no network: 12 minutes are possible, and at least the uptime is certain."""
    least_s, counted_s, most_s = bounds(plan(left_at(90.0, wall_set=False), back(30.0, 720.0, is_set=False)))
    assert [least_s, counted_s] == pytest.approx([30.0, 30.0])
    assert most_s == pytest.approx(720.0 + SURE_S)
    within = bounds(plan(left_at(90.0, wall_set=False), back(30.0, 200.0, is_set=False)))
    assert within == pytest.approx([30.0, 200.0, 330.0])


def test_lost_is_only_what_must_be_over() -> None:
    """The boot alone is older than the planned total and an hour, whatever a wall clock says."""
    assert plan(left_at(90.0, wall_set=False), back(MOST_OF_ALL_S + 5.0, 20.0, is_set=False)).verdict == "lost"
    assert plan(left_at(90.0, wall_set=False), back(MOST_OF_ALL_S - 5.0, 20.0, is_set=False)).verdict == "other boot"


# -- the whole station --------------------------------------------------------------------------------------------------


def begun(tmp_path: Path, recipe: str = LONG, for_s: float = 60.0, **more: Any) -> tuple[World, str]:
    """A session in its development, on a board whose clock nobody has set."""
    world = World(tmp_path)
    world.clock.set_by_network = False
    world.go(5)
    name = world.develop(recipe, **more)
    world.go(2)
    world.press(1.2)
    world.go(for_s)
    world.write()
    return world, name


def cut(world: World, number: int = 2) -> None:
    """The power goes and comes back; the station is up 5 s after the boot."""
    world.clock.reboot(0.0, f"boot-{number}")
    world.life()


def test_the_bounds_of_several_cuts_are_one_sided_and_no_end_lies_before_its_begin(tmp_path: Path) -> None:
    """Four cuts: each gap was at least as long as it was counted, so the end can only be sooner, and not before the begin."""
    world, name = begun(tmp_path)
    for number in range(2, 6):
        cut(world, number)
        world.go(20)
    begin_s = world.records(name, "stage", event="begin")[0]["t_s"]
    told = [p for p in world.records(name, "progress") if "earliest_end_t_s" in p]
    assert len(told) > 20
    assert all(begin_s <= p["earliest_end_t_s"] <= p["end_t_s"] == p["latest_end_t_s"] for p in told)
    first, last = told[0], told[-1]
    assert first["end_t_s"] - first["earliest_end_t_s"] == pytest.approx(UNSURE_S)
    assert last["earliest_end_t_s"] == begin_s
    assert all(r["least_s"] == r["counted_s"] < r["most_s"] for r in world.records(name, "session", event="resume"))


def test_what_begins_after_the_cut_is_as_sure_as_ever(tmp_path: Path) -> None:
    """The person presses, the clock counts from there: only what the cut fell into is in doubt. It is taken up so after a crash too."""
    world, name = begun(tmp_path, SHORT, 30.0)
    cut(world)
    world.go(5)
    assert world.ask(verb="status")["view"]["earliest_end_t_s"] is not None
    world.go_until(lambda: bool(world.records(name, "stage", stage=1, event="end")))
    world.press()
    world.go(3)
    for _ in range(2):
        view = world.ask(verb="status")["view"]
        assert (view["stage"], view["earliest_end_t_s"], view["spread_s"]) == (2, None, 0.0)
        world.write()
        world.life()


def test_status_view_and_record_give_the_same_two_times_and_no_plus_minus(tmp_path: Path) -> None:
    """While the time itself is in doubt there is no `+/- 9 s` anywhere beside it."""
    world, name = begun(tmp_path)
    cut(world)
    world.go(7)
    answer = world.ask(verb="follow")
    record = world.records(name, "progress")[-1]
    begin_s = world.records(name, "stage", event="begin")[0]["t_s"]
    ends = (record["earliest_end_t_s"] - 2 * record["end_sd_s"] - begin_s, record["latest_end_t_s"] + 2 * record["end_sd_s"] - begin_s)
    status = next(line for line in lines({**world.ask(verb="status")}) if " in develop" in line)
    watched = Watched(load_recipe(LONG.encode(), "r"), "live")
    for told in world.records(name):
        watched.record(told)
    screen = "\n".join(plain(line) for line in render(watched.state, [], 100, 40, Look()) if "end " in plain(line))
    answer["view"]["t_s"] = record["t_s"]
    for text in (status, screen):
        assert "+/-" not in text
        shown = [read_duration(t) for t in re.findall(r"between (\d+:\d\d) and (\d+:\d\d)", text)[0]]
        assert shown == pytest.approx(ends, abs=1.5)
    journal = review_load.load(world.journal(name))
    (said,) = [s for s in measure(journal).numbers.stages if s.end_between_s is not None]
    assert [t - begin_s for t in said.end_between_s or ()] == pytest.approx(ends, abs=0.1)
    assert "+/-" not in done_sentence(said)
    assert "between " in done_sentence(said)


@pytest.mark.parametrize("away_s", [0.0, 14.0, 40.0])
@pytest.mark.parametrize("probe_gone", [False, True])
def test_fault_speaks_of_the_power_within_a_second(tmp_path: Path, away_s: float, probe_gone: bool) -> None:
    """Whatever else is wrong at the return; a probe that is lost too waits for its own minute."""
    world, name = begun(tmp_path)
    if probe_gone:
        world.bus.faults[JUG] = "missing"
    world.clock.reboot(away_s, "boot-2")
    world.clock.advance(away_s)
    world.life()
    world.go(30)
    back_s = world.records(name, "session", event="resume")[0]["t_s"]
    faults = [c for c in world.records(name, "cue", cue="fault") if c["t_s"] >= back_s]
    assert faults[0]["t_s"] - back_s <= 1.0
    assert "the power was gone" in faults[0]["why"]


def test_reading_a_long_journal_takes_no_time_from_the_person(tmp_path: Path) -> None:
    """Seconds on a slow board: the session goes on from when it was read, and FAULT is as near to that."""
    world, name = begun(tmp_path)
    fold = Session.fold

    def slow(self: Session, record: Any) -> None:
        world.clock.advance(0.05)
        fold(self, record)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Session, "fold", slow)
        cut(world)
    world.go(5)
    resume = world.records(name, "session", event="resume")[0]
    fault = world.records(name, "cue", cue="fault")[0]
    assert fault["t_s"] - resume["t_s"] <= 1.0
    assert fault["lateness_s"] <= 0.5


def test_the_lamp_stays_dark_after_an_interruption_and_the_journal_says_so(tmp_path: Path) -> None:
    """No restart makes light: not at the return, and not when the next stage begins."""
    world, name = begun(tmp_path, SHORT, 30.0, lamp=True)
    assert world.panel.lamp is not None
    world.life()
    world.go_until(lambda: bool(world.records(name, "stage", stage=1, event="end")))
    world.press()
    world.go(10)
    assert world.records(name, "stage", stage=2, event="begin")
    assert world.panel.lamp is None
    assert world.records(name, "lamp")[0]["permitted"] is False
    dark = World(tmp_path / "other")
    dark.go(5)
    other = dark.develop(SHORT)
    dark.life()
    dark.go(1)
    assert not dark.records(other, "lamp")


def test_a_now_that_sounded_at_the_return_is_named_and_agrees(tmp_path: Path) -> None:
    """It fell into the gap; `review --check` finds it beside the resume, and says so. One that never sounded is still found out."""
    world, name = begun(tmp_path, SHORT, 90.0)
    world.clock.reboot(0.0, "boot-2")
    world.clock.advance(25.0)
    world.life()
    world.go_until(lambda: bool(world.records(name, "cue", cue="now")))
    world.press()
    world.go(60)
    resume = world.records(name, "session", event="resume")[0]
    assert "now" in resume["missed"]
    path = world.journal(name)
    journal = review_load.load(path)
    review = measure(journal)
    found = check(journal, review)
    assert not found.disagree
    late_s = next(c["late_s"] for c in world.records(name, "cue", cue="now") if "late_s" in c)
    at_s = next(s["t_s"] for s in world.records(name, "stage", event="now"))
    told = f"the NOW of session time {at_s:.0f} s sounded at the return of the station, {late_s:.0f} s late"
    assert any(told in line for line in found.agree), found.agree
    assert "nobody knows for how long" in paragraph(review.numbers)
    text = path.read_text()
    quiet = "".join(line for line in text.splitlines(keepends=True) if '"cue":"now"' not in line)
    path.write_text(re.sub(r'"missed":\[[^]]*\]', '"missed":[]', quiet))
    silent = review_load.load(path)
    assert any("NOW have no sound" in line for line in check(silent, measure(silent)).disagree)
