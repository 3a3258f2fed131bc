"""Taking up an earlier life: a session that died and was folded from its records goes on as if it had not."""

from __future__ import annotations

import json
from functools import cache

import pytest

from monitor.core.development.beliefs import Vessel
from monitor.core.session import sounds
from monitor.core.session.session import GapDoubt, Session
from tests.core.session.test_session_sheets import entered, tray
from tests.evening import FIX, STOP, Evening, Record, develop, recipe

PLAN = recipe(develop("5:00", 'agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]'), STOP, FIX)


def liquid(t_s: float) -> float:
    """A developer that cools."""
    return 20.5 - 0.004 * t_s


def revive(dead: Evening, gap_s: float, **options: object) -> Evening:
    """A new session from the dead one's records, which goes on after a gap."""
    alive = Evening(dead.session.recipe, *(f for _, _, f in dead._liquids), reading_every_s=dead._reading_every_s)
    alive.session = Session(dead.session.recipe, dead.session.beliefs, dead.session.options)
    for record in dead.records:
        alive.session.fold(json.loads(json.dumps(record)))
    alive.records = list(dead.records)
    alive.t_s = dead.t_s + gap_s
    alive._probe_c, alive._liquid_c = dead._probe_c, dead._liquid_c
    alive._reading_s = float(int(alive.t_s) + 1)
    alive._do(alive.session.resume(alive.t_s, gap_s, same_boot=True, **options))  # type: ignore[arg-type]
    return alive


def moments(evening: Evening) -> list[tuple[int, str, int | None, float]]:
    """Every stage event with its time."""
    return [(r["stage"], r["event"], r.get("sheet"), r["t_s"]) for r in evening.kind("stage")]


def rounded(rows: list[tuple[int, str, int | None, float]]) -> list[tuple[int, str, int | None, int]]:
    """To whole seconds, for comparing two runs."""
    return [(n, e, s, round(t)) for n, e, s, t in rows]


@cache
def undisturbed() -> list[tuple[int, str, int | None, float]]:
    """The moments of a session that nothing happens to."""
    return moments(Evening(PLAN, liquid).begin().to(800))


@pytest.mark.parametrize("at_s", [30.0, 150.3, 262.0, 291.0, 299.0, 320.0, 372.0, 500.0])
def test_a_restart_on_the_same_boot_changes_no_moment(at_s: float) -> None:
    """Killed while developing, after READY, after NOW, in the stop, in the fixer: the next cue is where it would have been."""
    dead = Evening(PLAN, liquid).begin().to(at_s)
    alive = revive(dead, 2.0).to(800)
    assert [r["seq"] for r in alive.records] == list(range(1, len(alive.records) + 1))
    expected = {(n, e): t for n, e, _, t in undisturbed()}
    for number, event, _, t_s in moments(alive):
        assert t_s == pytest.approx(expected[number, event], abs=0.2), (number, event)
    assert len(moments(alive)) == len(undisturbed())


def test_what_the_hands_do_to_a_tank_counts_and_is_taken_up_again() -> None:
    """No probe in it, a learned lag, a bath of 20 C: hands that the recipe tells of warm it, before a kill and after it."""
    moved = 'agitation = [{ from = "0:00", for = "0:30" }, { every = "1:00", for = "0:10" }]\nin_hand = true'
    turned = recipe(develop("5:00", moved), STOP)
    vessel = Vessel(360.0, 7.0)
    calm, warm = (
        Evening(plan, lambda _: None, lambda _: 20.0, vessel=vessel, pour_c=20.0).begin().to(200) for plan in (PLAN, turned)
    )
    last = [e.kind("progress")[-1]["developer_c"] for e in (calm, warm)]
    assert last[0] == pytest.approx(20.0, abs=0.02)
    assert last[1] > 20.1
    again = revive(warm, 2.0).to(250)
    assert again.kind("progress")[-1]["developer_c"] == pytest.approx(warm.to(250).kind("progress")[-1]["developer_c"], abs=0.01)


def test_ticks_keep_their_phase_through_a_restart() -> None:
    """On whole seconds after the begin, none of those that fell into the gap."""
    dead = Evening(PLAN, liquid).begin(0.25).to(62.4)
    alive = revive(dead, 2.0).to(75)
    assert [t for t in alive.cues("tick") if t > 63] == pytest.approx([65.25, 66.25, 67.25, 68.25, 69.25])


def test_a_loss_that_was_told_is_not_told_again_after_a_restart() -> None:
    """A restart on the same boot sounds no FAULT for it."""
    dead = Evening(PLAN, lambda t: 20.0 if t < 60 else None).begin().to(120)
    assert len(dead.cues("fault")) == 1
    alive = revive(dead, 2.0).to(250)
    assert len(alive.cues("fault")) == 1


def outside(evening: Evening) -> list[str]:
    """What was said of a law outside its data."""
    return [r["why"] for r in evening.kind("trust") if "side data" in r["why"]]


@pytest.mark.parametrize("dead_at_s", [10.0, 40.0])
def test_a_developer_outside_the_data_is_told_once_through_a_restart(dead_at_s: float) -> None:
    """Told before, it is not told again; not told yet, it is. The record is written once in any case."""
    dead = Evening(recipe(develop("8:00"), STOP), lambda _: 26.0).begin().to(dead_at_s)
    assert len(dead.cues("fault")) == (dead_at_s > 20.0)
    evening = revive(dead, 3.0).to(200)
    assert len(evening.cues("fault")) == 1
    assert len(outside(evening)) == 1


def test_what_was_told_of_one_developer_is_not_known_of_the_next() -> None:
    """The second stage lies inside its own data: nothing is written of it after a restart."""
    second = develop("5:00", 'valid = ["16 C", "30 C"]').replace('"develop"', '"again"', 1)
    dead = Evening(recipe(develop("2:00"), second, STOP), lambda _: 26.0).begin().to(60)
    end_s = dead.kind("progress")[-1]["end_t_s"]
    dead.press(end_s).to(end_s + 30)
    evening = revive(dead, 3.0).to(end_s + 100)
    assert evening.stage(2, "begin")["t_s"] == pytest.approx(end_s)
    assert len(outside(evening)) == 1


def test_a_probe_that_was_lost_is_still_lost_after_a_restart() -> None:
    """Whoever asks is told so, and why."""
    dead = Evening(PLAN, lambda t: 20.0 if t < 60.0 else None).begin().to(80.0)
    assert list(dead.session.snapshot.lost) == ["developer"]
    assert revive(dead, 2.0).session.snapshot.lost == dead.session.snapshot.lost


def test_the_minute_between_two_faults_goes_on_over_a_restart() -> None:
    """A probe that is lost after it, within a minute of a FAULT before it, is told when it would have been."""
    whole, dead = (Evening(PLAN, lambda t: 20.0 if t < 60.0 else None).begin().to(62.0) for _ in range(2))
    for evening in (whole, dead):
        evening._do(evening.session.fault("the disk is full", 62.0))
        evening.to(64.0)
    alive = revive(dead, 2.0).to(160.0)
    assert len(alive.cues("fault")) == 2
    assert alive.cues("fault") == pytest.approx(whole.to(160.0).cues("fault"))


def test_a_gate_stands_after_a_restart_as_it_stood() -> None:
    """Open: what waits may begin at once, and no second record says that it opened."""
    gated = recipe(develop("5:00", 'gate = { band = "0.15 C", for = "0:30" }'), STOP)
    dead = Evening(gated).open().to(60)
    (opened,) = dead.kind("gate", state="open")
    alive = revive(dead, 2.0)
    assert alive.session.snapshot.gate == dead.session.snapshot.gate == "open"
    assert alive.kind("gate", state="open") == [opened]
    assert alive.press(62.2, 1.2).stage(1, "begin")["t_s"] == pytest.approx(62.2)


def test_a_now_that_was_heard_is_silent_after_a_restart_and_the_begin_behind_it_is_told() -> None:
    """As without one: no repeat, no question, and the press that follows is about the stage that runs."""
    now_s = Evening(PLAN, liquid).begin().to(320).stage(1, "now")["t_s"]
    whole, dead = (Evening(PLAN, liquid).begin().press(now_s + 2.0).to(now_s + 4.0) for _ in range(2))
    heard = dead.cues("now")
    assert dead.kind("tap")[-1]["meaning"] == "heard"
    alive = revive(dead, 2.0)
    for evening in (alive, whole):
        evening.press(now_s + 8.0).to(now_s + 40.0)
    assert alive.cues("now") == heard
    assert rounded(moments(alive)) == rounded(moments(whole))
    assert [r["meaning"] for r in alive.kind("tap")] == [r["meaning"] for r in whole.kind("tap")]
    assert alive.stage(2, "begin").get("assumed") == whole.stage(2, "begin").get("assumed")


def test_now_of_a_second_developer_goes_on_after_a_restart_whatever_was_assumed_before_it() -> None:
    """Nobody has answered the first developer's end either; that offer is long over."""
    twice = recipe(develop("3:00"), develop("2:00"), STOP.replace("1:00", "4:00"), FIX)
    whole, dead = (Evening(twice).begin().to(325.0) for _ in range(2))
    assert dead.kind("stage", stage=3, event="begin")
    alive = revive(dead, 2.0).to(360.0)
    late = [t for t in whole.to(360.0).cues("now") if t > 327.0]
    assert len(late) >= 3
    assert [t for t in alive.cues("now") if t > 327.0] == pytest.approx(late)


def test_a_begin_that_may_be_taken_again_may_be_so_after_a_restart() -> None:
    """By three seconds, within its two minutes."""
    alive = revive(Evening(PLAN).begin().to(20.0), 2.0).press(30.0, 3.2).to(40.0)
    assert alive.kind("tap")[-1]["meaning"] == "again"
    assert alive.kind("correction")[-1]["begin_t_s"] == pytest.approx(30.0)


def test_what_waits_after_a_load_still_waits_after_a_restart() -> None:
    """The lid is on; the next press of a second begins what comes next."""
    loaded = recipe('name = "load"\nrole = "load"', develop("5:00"), STOP)
    dead = Evening(loaded).begin().press(60.0, 1.2).to(70.0)
    alive = revive(dead, 2.0)
    assert alive.session.awaits.what == dead.session.awaits.what == "begin"
    assert alive.press(80.0, 1.2).stage(2, "begin")["t_s"] == pytest.approx(80.0)


def test_a_now_that_fell_into_the_gap_sounds_behind_a_fault_and_says_how_late_it_is() -> None:
    """FAULT first, whatever sounded before: the hands must know that the station was away."""
    whole = Evening(PLAN, liquid).begin().to(320)
    now_s = whole.stage(1, "now")["t_s"]
    dead = Evening(PLAN, liquid).begin().to(now_s - 1.0)
    alive = revive(dead, 3.0).to(now_s + 4)
    assert alive.kind("session", event="resume")[0]["missed"] == ["now"]
    (fault,) = alive.kind("cue", cue="fault")
    assert fault["t_s"] == pytest.approx(now_s + 2.0)
    assert "program was away" in fault["why"]
    now = alive.kind("cue", cue="now")[0]
    assert now["t_s"] == pytest.approx(now_s + 2.0 + sounds.length_s(sounds.FAULT) + 0.1)
    assert now["late_s"] == pytest.approx(now["t_s"] - now_s)


def test_a_begin_that_was_assumed_before_the_restart_can_still_be_corrected() -> None:
    """As long as the offer stands."""
    end_s = Evening(PLAN, liquid).begin().to(320).stage(1, "end")["t_s"]
    dead = Evening(PLAN, liquid).begin().to(end_s + 8)
    assumed = dead.stage(2, "begin")
    alive = revive(dead, 2.0).press(end_s + 14).to(350)
    (correction,) = alive.kind("correction")
    assert correction["replaces_seq"] == assumed["seq"]


def test_another_boot_sounds_fault_and_gives_earliest_and_latest() -> None:
    """Never one confident time after the power was gone."""
    dead = Evening(PLAN, liquid).begin().to(100)
    alive = Evening(PLAN, liquid)
    for record in dead.records:
        alive.session.fold(record)
    alive.records, alive.t_s, alive._reading_s = list(dead.records), 120.0, 121.0
    alive._do(alive.session.resume(120.0, None, same_boot=False, doubt=GapDoubt(15.0, 15.0)))
    alive.to(140)
    assert len(alive.cues("fault")) == 1
    last: Record = alive.kind("progress")[-1]
    assert last["latest_end_t_s"] - last["earliest_end_t_s"] == pytest.approx(30.0)
    assert alive.kind("session", event="resume")[0]["gap_s"] is None


@cache
def sheets_undisturbed() -> list[tuple[int, str, int | None, float]]:
    """The moments of a session with sheets that nothing happens to."""
    return moments(entered(tray()).to(700))


@pytest.mark.parametrize("at_s", [25.0, 300.0, 440.0, 472.0])
def test_sheets_survive_a_restart(at_s: float) -> None:
    """Killed while they go in, while they lie, after READY, while they come out."""
    dead = tray().begin()
    for k in range(1, 6):
        if 10.0 * k < at_s:
            dead.press(10.0 * k)
    dead.to(at_s)
    alive = revive(dead, 1.0)
    for k in range(1, 6):
        if 10.0 * k > at_s:
            alive.press(10.0 * k)
    alive.to(700)
    assert rounded(sorted(moments(alive), key=str)) == rounded(sorted(sheets_undisturbed(), key=str))
