"""What is found on the disk after the process, or the power, was gone."""

import json
from pathlib import Path
from typing import Any

import pytest

from hardware.ports import Sample
from monitor.core.recipe.reader import load_recipe
from monitor.core.session import sounds
from monitor.core.session.fixed_times import CLEAR_S
from monitor.live.inbox import Sampled
from monitor.live.station.resume import UnfinishedSession, plan
from monitor.live.station.unfinished import unfinished_sessions
from tests.fake_clock import FakeClock
from tests.live.disk.disks import PowerCutDisk
from tests.live.simulated import JUG, SHORT, World


def begun(tmp_path: Path, recipe: str = SHORT, into_s: float = 60.0) -> tuple[World, str]:
    """A session so far into its development."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop(recipe)
    world.go(2)
    world.press(1.2)
    world.go(into_s)
    world.write()
    return world, name


def finish(world: World, name: str) -> None:
    """The person taps it to its end."""
    for stage in (1, 2):
        world.go_until(lambda: bool(world.records(name, "stage", stage=stage, event="end")))  # noqa: B023
        world.press()
    world.go_until(lambda: bool(world.records(name, "stage", stage=3, event="minimum")))
    world.press()
    world.go(1)


def first(world: World, name: str, kind: str, **fields: Any) -> float:
    """When the first such record was."""
    return float(world.records(name, kind, **fields)[0]["t_s"])


def test_on_the_same_boot_the_session_goes_on_where_it_would_have_been(tmp_path: Path) -> None:
    """NOW within 0.2 s of the undisturbed one, ticks in phase, no FAULT."""
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    calm, calm_name = begun(tmp_path / "a")
    finish(calm, calm_name)
    world, name = begun(tmp_path / "b")
    world.go(2.5)
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == name
    finish(world, name)
    resume = world.records(name, "session", event="resume")[0]
    assert resume["same_boot"] is True
    assert resume["gap_s"] < 4
    assert abs(first(world, name, "cue", cue="now") - first(calm, calm_name, "cue", cue="now")) < 0.2
    begin_s = first(world, name, "stage", event="begin", stage=1)
    ticks = [t["t_s"] - begin_s for t in world.records(name, "cue", cue="tick") if t["t_s"] > resume["t_s"]]
    assert ticks
    assert all(abs(t - round(t)) < 0.01 for t in ticks)
    assert not world.records(name, "cue", cue="fault")
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))
    assert world.station.sessions.mishaps == []


@pytest.mark.parametrize("has_switch", [True, False])
def test_a_now_that_was_due_and_not_heard_comes_behind_a_fault(tmp_path: Path, has_switch: bool) -> None:
    """The process died between the moment and the sound: rather twice than never. One that was heard is not repeated for it."""
    for heard in (False, True):
        (tmp_path / str(heard)).mkdir()
        world = World(tmp_path / str(heard), has_switch=has_switch)
        world.go(5)
        name = world.develop()
        if has_switch:
            world.press(1.2)
        else:
            world.ask(verb="press", kind="hold")
        world.go_until(lambda: bool(world.records(name, "cue", cue="now")))  # noqa: B023
        lines = world.journal(name).read_bytes().splitlines(keepends=True)
        last = next(i for i, line in enumerate(lines) if b'"event":"now"' in line or b'"cue":"now"' in line)
        pair = [line for line in lines[last : last + 4] if b'"event":"now"' in line or (heard and b'"cue":"now"' in line)]
        world.journal(name).write_bytes(b"".join(lines[:last] + pair))
        world.life()
        world.go(3)
        back_s = world.records(name, "session", event="resume")[0]["t_s"]
        again = [r["t_s"] - back_s for r in world.records(name, "cue", cue="now") if r["t_s"] >= back_s]
        behind_fault_s = sounds.length_s(sounds.FAULT) + CLEAR_S
        assert (again[:1] == [pytest.approx(behind_fault_s, abs=0.1)]) is not heard, (again, heard)


def test_on_another_boot_there_is_a_fault_and_no_confident_time(tmp_path: Path) -> None:
    """The gap by a wall clock that was set; earliest and latest in what follows."""
    world, name = begun(tmp_path)
    world.clock.reboot(20.0, "boot-2")
    world.life()
    world.go(5)
    resume = world.records(name, "session", event="resume")[0]
    assert resume["same_boot"] is False
    assert resume["gap_s"] == pytest.approx(20.0, abs=2.0)
    assert resume["boot_id"] == "boot-2"
    assert world.records(name, "cue", cue="fault")
    progress = [p for p in world.records(name, "progress") if p["t_s"] > resume["t_s"]]
    assert progress
    assert all(p["earliest_end_t_s"] < p["end_t_s"] < p["latest_end_t_s"] for p in progress)


def test_with_a_wall_clock_that_nobody_set_the_gap_is_unknown(tmp_path: Path) -> None:
    """No battery, no network: null, and a wide spread."""
    world, name = begun(tmp_path)
    world.clock.set_by_network = False
    world.clock.reboot(20.0, "boot-2")
    world.life()
    world.go(5)
    resume = world.records(name, "session", event="resume")[0]
    assert resume["gap_s"] is None
    assert resume["spread_s"] >= 60


def test_a_second_crash_on_the_new_boot_goes_on_from_the_new_zero(tmp_path: Path) -> None:
    """The time of the first boot means nothing on the second."""
    world, name = begun(tmp_path)
    world.clock.reboot(20.0, "boot-2")
    world.life()
    world.go(10)
    world.write()
    before_s = world.records(name)[-1]["t_s"]
    world.go(3)
    world.life()
    resume = world.records(name, "session", event="resume")[1]
    assert resume["same_boot"] is True
    assert resume["t_s"] - before_s == pytest.approx(3.0, abs=1.5)


def test_a_second_crash_on_the_new_boot_makes_no_time_confident_again(tmp_path: Path) -> None:
    """What the reboot left in doubt stays in doubt: earliest and latest go on."""
    world, name = begun(tmp_path)
    world.clock.reboot(20.0, "boot-2")
    world.life()
    world.go(5)
    world.write()
    world.life()
    world.go(5)
    resumes = world.records(name, "session", event="resume")
    assert [r["same_boot"] for r in resumes] == [False, True]
    progress = [p for p in world.records(name, "progress") if p["t_s"] > resumes[1]["t_s"]]
    assert progress
    assert all(p["latest_end_t_s"] - p["end_t_s"] == pytest.approx(resumes[0]["spread_s"]) for p in progress)


def test_long_after_its_end_a_session_is_lost(tmp_path: Path) -> None:
    """Planned total and an hour are over: close, why lost; the next one can start."""
    world, name = begun(tmp_path)
    world.clock.reboot(3 * 3600.0, "boot-2")
    world.life()
    assert world.station.running is None
    world.write()
    last = world.records(name)[-1]
    assert (last["event"], last["why"]) == ("close", "lost")
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))
    world.go(5)
    assert world.develop()


def test_a_closed_session_is_left_alone(tmp_path: Path) -> None:
    """Nothing is appended to it."""
    world, name = begun(tmp_path)
    finish(world, name)
    before = world.journal(name).read_bytes()
    world.life()
    world.go(5)
    assert world.station.running is None
    assert world.journal(name).read_bytes() == before


def test_of_two_that_were_left_the_newest_goes_on_and_the_other_is_lost(tmp_path: Path) -> None:
    """There is one sounder."""
    world, name = begun(tmp_path)
    other = world.state / "journals" / "260101-0000a.jsonl"
    other.write_bytes(world.journal(name).read_bytes().replace(name.encode(), b"260101-0000a"))
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == name
    world.write()
    assert json.loads(other.read_text().splitlines()[-1])["why"] == "lost"


def test_a_torn_last_line_is_cut_and_no_earlier_one(tmp_path: Path) -> None:
    """At whatever byte the power went."""
    world, name = begun(tmp_path)
    path = world.journal(name)
    whole = path.read_bytes()
    last = whole.rstrip(b"\n").rfind(b"\n") + 1
    for cut in (last + 1, last + 20, len(whole) - 2):
        path.write_bytes(whole[:cut])
        unfinished_sessions(path.parent, world.said.append)
        assert path.read_bytes() == whole[:last]
    path.write_bytes(whole[:-1])
    unfinished_sessions(path.parent, world.said.append)
    assert path.read_bytes() == whole
    path.write_bytes(whole + b"\0" * 4096)
    unfinished_sessions(path.parent, world.said.append)
    assert path.read_bytes() == whole


def test_after_a_torn_line_seq_goes_on_without_a_gap(tmp_path: Path) -> None:
    """The number of the torn record is used again."""
    world, name = begun(tmp_path)
    path = world.journal(name)
    path.write_bytes(path.read_bytes()[:-10])
    world.life()
    world.go(3)
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))


def test_a_journal_without_a_first_record_was_never_told_to_anybody(tmp_path: Path) -> None:
    """An empty one goes, the beginning of a record is put aside, and neither holds anybody up."""
    world, name = begun(tmp_path)
    finish(world, name)
    for stray, text in (("260101-0000bb", b""), ("260101-0000cc", b'{"seq":1,"ses')):
        (world.state / "journals" / f"{stray}.jsonl").write_bytes(text)
    world.life()
    left = sorted(p.name for p in (world.state / "journals").iterdir())
    assert left == ["260101-0000cc.jsonl.torn-1", f"{name}.jsonl"]


def test_a_damaged_line_in_the_middle_is_left_and_passed_over(tmp_path: Path) -> None:
    """What can be read is used."""
    world, name = begun(tmp_path)
    path = world.journal(name)
    lines = path.read_bytes().split(b"\n")
    lines[20] = lines[20][:15] + b"\xff\xfe garbage"
    path.write_bytes(b"\n".join(lines))
    world.life()
    assert world.station.running is not None
    world.go(3)
    world.write()
    assert path.read_bytes().split(b"\n")[20] == lines[20]


def test_a_recipe_that_this_program_cannot_read_is_lost_not_a_crash(tmp_path: Path) -> None:
    """A newer program wrote it."""
    world, name = begun(tmp_path)
    path = world.journal(name)
    path.write_bytes(path.read_bytes().replace(b'"lidded tank"', b'"bucket"'))
    world.life()
    assert world.station.running is None
    world.write()
    assert world.records(name)[-1]["why"] == "lost"


def test_only_journals_without_a_close_are_unfinished(tmp_path: Path) -> None:
    """Found by their ends."""
    opening = '{"seq":1,"session":"%s","t_s":0,"kind":"session","event":"open"}\n'
    (tmp_path / "a.jsonl").write_text(opening % "a")
    (tmp_path / "b.jsonl").write_text(opening % "b" + '{"seq":2,"session":"b","t_s":1,"kind":"session","event":"close"}\n')
    (tmp_path / "notes.txt").write_text("x")
    said: list[str] = []
    assert [earlier.session for earlier in unfinished_sessions(tmp_path, said.append)] == ["a"]
    assert said == []


def left_at(t_s: float, **opening: Any) -> UnfinishedSession:
    """A session that was left at `t_s`, begun at 1000 s of boot-1."""
    first_record = {"seq": 1, "t_s": 0.0, "kind": "session", "event": "open", "mono0_s": 1000.0, "boot_id": "boot-1", "wall_set": True}
    last = {"seq": 2, "t_s": t_s, "wall": "2026-11-25T19:00:00.000Z", "kind": "reading"}
    return UnfinishedSession(Path("x.jsonl"), ({**first_record, **opening}, last), load_recipe(SHORT.encode(), "r"))


def test_the_same_boot_counts_on_the_monotonic_clock_alone() -> None:
    """Whatever the wall clock says."""
    clock = FakeClock(1100.0)
    clock.step_wall(1e6)
    told = plan(left_at(90.0), clock)
    assert (told.verdict, told.t_s, told.zero_s, told.gap_s) == ("same boot", 100.0, 1000.0, 10.0)


def test_another_boot_id_over_a_monotonic_clock_that_went_on_is_no_jump_by_the_uptime() -> None:
    """A machine that was moved or restored: both clocks agree about the gap, and its two hours of uptime are no part of it."""
    clock = FakeClock(8000.0, boot="boot-2")
    clock.set_by_network = False
    clock.advance(20.0)
    told = plan(left_at(90.0, mono0_s=8000.0 - 90.0), clock)
    assert (told.verdict, told.gap_s) == ("other boot", None)
    assert told.t_s == pytest.approx(110.0)
    assert told.doubt.spread_s > 100.0
    assert told.zero_s == pytest.approx(8020.0 - 110.0)


def test_since_another_boot_at_least_its_uptime_has_passed() -> None:
    """A wall clock that nobody has set says 2 s, the new boot is 30 s old."""
    clock = FakeClock(30.0, boot="boot-2")
    clock.set_by_network = False
    clock.step_wall(2.0)
    assert plan(left_at(90.0), clock).t_s == pytest.approx(120.0)


def test_a_boot_without_a_name_is_no_same_boot() -> None:
    """Where the kernel gives no id nothing is taken for granted."""
    assert plan(left_at(90.0, boot_id="unknown"), FakeClock(1100.0, boot="unknown")).verdict == "other boot"


def test_a_probe_that_is_gone_at_the_restart_does_not_hold_the_session_up(tmp_path: Path) -> None:
    """It goes on by the ladder of trust."""
    world, name = begun(tmp_path)
    world.bus.faults[JUG] = "missing"
    world.life()
    world.go(40)
    assert world.station.running is not None
    assert world.records(name, "trust", believed=False)
    assert world.station.sessions.mishaps == []


def test_the_same_boot_over_a_clock_that_went_back_is_not_believed() -> None:
    """A machine restored from a picture of itself has the boot's name and an older clock: its seconds are not this session's."""
    told = plan(left_at(90.0), FakeClock(1050.0))
    assert told.verdict == "other boot"
    assert told.t_s >= 90.0
    assert told.doubt.spread_s > 0.0


@pytest.mark.parametrize(("away_s", "verdict"), [(3600.0 - 60.0, "other boot"), (3600.0 + 60.0, "lost")])
def test_an_hour_after_its_planned_end_a_session_is_lost_and_no_sooner(away_s: float, verdict: str) -> None:
    """Planned total and one hour, by the wall clock, on another boot; on the same one it always goes on."""
    recipe = load_recipe(SHORT.encode(), "r")
    assert recipe.total_s == 120.0 + 30.0 + 60.0
    clock = FakeClock(5.0, boot="boot-2")
    clock.step_wall(recipe.total_s - 90.0 + away_s)
    assert plan(left_at(90.0), clock).verdict == verdict
    assert plan(left_at(90.0), FakeClock(1000.0 + 90.0 + 36000.0)).verdict == "same boot"


def away_at(tmp_path: Path, cue: str, for_s: float) -> tuple[World, str, float]:
    """A station that was killed just before this cue of the first stage and came back `for_s` after it. The last: when it came back."""
    (tmp_path / cue).mkdir()
    world, name = begun(tmp_path / cue)
    world.go_until(lambda: bool(world.records(name, "stage", event=cue)))
    due_s, zero_s = first(world, name, "stage", event=cue), world.records(name)[0]["mono0_s"]
    path = world.journal(name)
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join(line for line in lines if json.loads(line)["t_s"] < due_s - 0.6))
    world.clock.advance(due_s + for_s - (world.clock.mono_s() - zero_s))
    world.life()  # before the writer of the old life looks at its file again, which it would put right
    return world, name, world.records(name, "session", event="resume")[0]["t_s"]


@pytest.mark.parametrize(("late_s", "sounded"), [(5.0, True), (15.0, False)])
def test_a_ready_that_is_far_too_late_is_not_sounded(tmp_path: Path, late_s: float, sounded: bool) -> None:
    """Ten seconds after its moment it would only be taken for another one; the stage record stands in any case."""
    world, name, back_s = away_at(tmp_path, "ready", late_s)
    world.go(2)
    assert world.records(name, "stage", event="ready")
    heard = [c["t_s"] for c in world.records(name, "cue", cue="ready") if c["t_s"] >= back_s]
    assert bool(heard) is sounded
    world.go_until(lambda: bool(world.records(name, "cue", cue="now")))


def test_ticks_of_the_time_away_are_over(tmp_path: Path) -> None:
    """What is sounded after the return was due after it, to the hundredth of a second."""
    world, name = begun(tmp_path)
    world.go_until(lambda: len(world.records(name, "cue", cue="tick")) > 12)
    world.clock.advance(3.4)
    world.life()
    back_s = world.records(name, "session", event="resume")[0]["t_s"]
    world.go(20)
    ticks = [c for c in world.records(name, "cue", cue="tick") if c["t_s"] >= back_s]
    assert ticks
    assert all(c["lateness_s"] < 0.01 for c in ticks)


def test_an_older_reading_than_the_journals_last_is_not_taken_up_again(tmp_path: Path) -> None:
    """Its samples stand in the journal already: each probe's readings rise from life to life."""
    world, name = begun(tmp_path)
    world.life()
    assert world.station.running is not None
    newest_s = max(r["t_s"] for r in world.records(name, "reading", probe="jug"))
    mono_s = newest_s + world.records(name)[0]["mono0_s"]
    world.station.turn(Sampled("jug", Sample(JUG, mono_s - 0.5, 25.0), world.clock.mono_s()))
    world.go(3)
    times = [r["t_s"] for r in world.records(name, "reading", probe="jug")]
    assert times == sorted(times)
    assert not [r for r in world.records(name, "reading") if r["raw_c"] == 25.0]


def test_after_a_power_cut_the_session_that_somebody_was_told_of_is_there(tmp_path: Path) -> None:
    """Its name was only told once its first record was safe, the name of its file too."""
    disk = PowerCutDisk()
    world = World(tmp_path, disk=disk)
    world.go(5)
    name = world.develop()
    disk.cut()
    world.clock.reboot(20.0, "boot-2")
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == name
    world.go(3)
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))
