"""The station as a whole, on a clock that jumps: arming, hands, faults, followers, what may not happen."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from hardware.ports import Sample
from monitor.cli.status import lines
from monitor.core.journal.records import Note
from monitor.core.session.effects import Play
from monitor.core.session.sounds import FAULT, TICK, Sound
from monitor.live.inbox import Edge, MachineHealth, Sampled, Sounded, Unsounded
from monitor.live.station.readers import Reader
from monitor.live.station.sdnotify import Notifier
from tests.live.simulated import BOWL, DARK, JUG, MIB, SHORT, FakeDisk, World


@pytest.fixture
def world(tmp_path: Path) -> World:
    """A station that has watched its bath for a while."""
    world = World(tmp_path)
    world.go(10)
    return world


def evening(world: World, recipe: str = SHORT) -> str:
    """A whole session with a person who taps in time."""
    name = world.develop(recipe)
    world.go(5)
    world.press(1.2)
    for stage in (1, 2):
        world.go_until(lambda stage=stage: bool(world.records(name, "stage", stage=stage, event="end")))  # type: ignore[misc]
        world.press()
    world.go_until(lambda: bool(world.records(name, "stage", stage=3, event="minimum")))
    world.press()
    world.go(1)
    return name


def test_a_session_goes_from_arming_to_its_close(world: World) -> None:
    """Stage by stage, by the foot alone."""
    name = evening(world)
    begins = [(r["stage"], r.get("assumed", False)) for r in world.records(name, "stage", event="begin")]
    assert [stage for stage, _ in begins] == [1, 2, 3]
    assert world.records(name)[-1]["why"] == "finished"
    assert world.station.running is None
    assert world.station.sessions.mishaps == []


def test_the_journal_has_no_gap_and_its_fields_stand_in_order(world: World) -> None:
    """Seq 1, 2, 3 ..., then session, t_s, wall, kind."""
    records = world.records(evening(world))
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    assert all(list(r)[:5] == ["seq", "session", "t_s", "wall", "kind"] for r in records)
    assert records[0]["wall"].endswith("Z")


def test_a_begin_right_after_arming_knows_the_bath_already(world: World) -> None:
    """The readings of the last seconds are the session's first: nothing is counted by the clock, nothing is lost."""
    name = world.develop()
    world.press(1.2)
    world.go(3)
    first = world.records(name, "progress")[0]
    assert first["source"] == "developer"
    begin_s = world.records(name, "stage", event="begin")[0]["t_s"]
    assert first["done_ref_s"] == pytest.approx((first["t_s"] - begin_s) * 2.5 ** (0.03125), rel=0.01)
    assert world.records(name)[0]["t_s"] == 0.0
    assert min(r["t_s"] for r in world.records(name, "reading")) >= 0.0


def test_every_cue_carries_its_lateness(world: World) -> None:
    """On a clock that jumps to each deadline there is none."""
    cues = world.records(evening(world), "cue")
    assert {c["cue"] for c in cues} >= {"tick", "ready", "now", "click"}
    assert all(0 <= c["lateness_s"] <= 0.061 for c in cues), [c for c in cues if c["lateness_s"] > 0.06]


def test_a_cue_that_came_late_says_how_late(world: World) -> None:
    """By the moment at which the pin really changed."""
    name = world.develop()
    world.late_by_s = lambda: 0.03
    world.press(1.2)
    world.go(12)
    ticks = world.records(name, "cue", cue="tick")
    assert len(ticks) > 5
    zero_s = world.records(name)[0]["mono0_s"]
    edges = [at_s - zero_s for at_s, on in world.panel.sounder.edges if on]
    begin_s = world.records(name, "stage", event="begin")[0]["t_s"]
    for tick in ticks:
        assert min(abs(tick["t_s"] - at_s) for at_s in edges) < 1e-6
        assert tick["lateness_s"] == pytest.approx(tick["t_s"] - begin_s - round(tick["t_s"] - begin_s - 0.02), abs=1e-6)
    assert max(tick["lateness_s"] for tick in ticks) == pytest.approx(0.03, abs=0.005)


def test_a_station_that_stood_still_sounds_no_late_tick(world: World) -> None:
    """Two and a half seconds of a busy machine: what was due meanwhile is over, the rhythm keeps its phase."""
    name = world.develop()
    world.press(1.2)
    world.go_until(lambda: len(world.records(name, "cue", cue="tick")) > 2)
    world.clock.advance(2.5)
    world.go(6)
    ticks = world.records(name, "cue", cue="tick")
    assert len(ticks) > 5
    assert all(tick["lateness_s"] < 0.05 for tick in ticks), ticks
    assert world.records(name, "late")[0]["late_s"] == pytest.approx(2.5, abs=0.6)


def test_the_click_answers_at_once(world: World) -> None:
    """The first onset of the answer is the press itself."""
    name = world.develop()
    world.go(3)
    before = len(world.panel.sounder.edges)
    pressed_s = world.clock.mono_s()
    world.press(0.1)
    at_s, on = world.panel.sounder.edges[before]
    assert on
    assert at_s - pressed_s < 0.1
    assert world.records(name, "tap")[0]["meaning"] == "mark"


def test_a_press_is_dated_to_its_edge_however_late_the_station_gets_to_it(world: World) -> None:
    """The pin's thread stamped it; a busy machine between the foot and the session costs no time."""
    name = world.develop()
    world.go(3)
    down_s = world.clock.mono_s() + 0.05
    world.clock.advance(0.4)
    world.inbox.put(Edge(down_s, True))
    world.inbox.put(Edge(down_s + 0.2, False))
    world.settle()
    world.go(1)
    (tap,) = world.records(name, "tap")
    assert tap["t_s"] == pytest.approx(down_s - world.records(name)[0]["mono0_s"], abs=1e-6)


def test_a_second_start_is_refused_while_one_is_armed(world: World) -> None:
    """Exit status 2."""
    name = world.develop()
    answer = world.ask(2, verb="develop", recipe=SHORT, file="r.toml", waive="again")
    assert not answer["ok"]
    assert answer["status"] == 2
    assert name in answer["lines"][0]


def test_a_recipe_is_refused_with_all_its_lines(world: World) -> None:
    """The station reads it itself."""
    answer = world.ask(verb="develop", recipe=SHORT.replace('"2:00"', '"2"').replace('"0:30"', '"30"'), file="r.toml", waive="x")
    assert answer["status"] == 2
    assert len(answer["lines"]) == 2
    assert all(line.startswith("r.toml:") for line in answer["lines"])


def test_a_missing_probe_withholds_the_start_whatever_is_waived(world: World) -> None:
    """Exit status 3, after a moment's patience."""
    world.bus.faults[JUG] = "missing"
    world.go(10)
    before_s = world.clock.mono_s()
    answer = world.ask(verb="develop", recipe=SHORT, file="r.toml", waive="in a hurry")
    assert answer["status"] == 3
    assert "jug" in answer["lines"][0]
    assert world.clock.mono_s() - before_s < 6


def test_a_start_right_after_the_stations_own_waits_for_the_first_readings(tmp_path: Path) -> None:
    """Nobody should have to know how long a conversion takes."""
    assert World(tmp_path).develop()


def test_the_lamp_is_refused_for_bare_film_and_its_pin_stays_untouched(world: World) -> None:
    """Not merely dark: never opened."""
    answer = world.ask(verb="develop", recipe=DARK, file="r.toml", waive="x", lamp=True)
    assert answer["status"] == 2
    evening(world, DARK)
    assert world.panel.lamp is None


def test_without_permission_a_lidded_session_opens_no_lamp(world: World) -> None:
    """The only default is dark."""
    evening(world)
    assert world.panel.lamp is None


def test_the_lamp_mirrors_the_sounder_and_is_dark_and_closed_afterwards(world: World) -> None:
    """Permission is for one session."""
    name = world.develop(lamp=True)
    world.go(1)
    world.press(1.2)
    world.go(5)
    lamp = world.panel.lamp
    assert lamp is not None
    assert [e for e in lamp.edges if e[1]]
    assert world.ask(verb="abandon", why="enough")["ok"]
    assert lamp.closed
    assert not lamp.on
    lit = len(lamp.edges)
    world.develop()
    world.press(1.2)
    world.go(20)
    assert len(lamp.edges) == lit
    assert world.records(name, "session", event="open")[0]["lamp"] is True


def test_a_full_disk_is_told_and_caught_up(world: World) -> None:
    """The session goes on in memory; what was half written is written again, once."""
    name = world.develop()
    world.go(2)
    world.press(1.2)
    world.disk.full = True
    world.go(40)
    assert world.station.running is not None
    assert world.station.running.journal.backlog > 50
    sounded = len(world.panel.sounder.edges)
    world.go(30)
    assert len(world.panel.sounder.edges) > sounded
    world.disk.full = False
    world.go(2)
    records = world.records(name)
    assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
    told = [(r["part"], r["well"]) for r in records if r["kind"] == "trouble"]
    assert told[0] == ("disk", False)
    assert told[-1] == ("disk", True)


def test_a_step_of_the_wall_clock_is_written_down_and_moves_nothing(world: World) -> None:
    """An hour forward and back."""
    name = world.develop()
    world.go(1)
    world.press(1.2)
    world.go(20)
    end_s = world.station.running.session.view["end_t_s"] if world.station.running else 0
    world.clock.step_wall(3600)
    world.go(2)
    world.clock.step_wall(-3600)
    world.go(2)
    assert [round(r["by_s"]) for r in world.records(name, "clock")] == [3600, -3600]
    assert world.station.running is not None
    assert world.station.running.session.view["end_t_s"] == pytest.approx(end_s, abs=0.5)


def test_a_dead_switch_is_told_by_one_fault(world: World) -> None:
    """The person must know that taps no longer count."""
    name = world.develop()
    world.go(1)
    world.press(1.2)
    world.go(5)
    assert world.panel.switch is not None
    world.panel.switch.dead = True
    world.go(50)
    assert [r["why"] for r in world.records(name, "fault")] == ["the foot switch is no longer read: go on by the cues and the second clock"]
    assert len(world.records(name, "cue", cue="fault")) == 1


def test_a_broken_sounder_is_told_and_time_goes_on(world: World) -> None:
    """No cue is said to have sounded that did not."""
    name = world.develop()
    world.go(1)
    world.press(1.2)
    heard = len(world.records(name, "cue", cue="tick"))
    world.panel.sounder.broken = True
    world.go(15)
    assert len(world.records(name, "cue", cue="tick")) <= heard + 1  # one may have begun to sound before it broke
    assert world.records(name, "trouble", part="sounder", well=False)
    world.panel.sounder.broken = False
    world.go(120)
    assert world.records(name, "cue", cue="now")
    assert world.records(name, "trouble", part="sounder", well=True)


def test_a_follower_that_hangs_is_dropped(world: World) -> None:
    """The session waits for nobody."""
    world.develop()
    assert world.ask(7, verb="follow")["ok"]
    world.go(3)
    assert [body for line, body in world.sent if line == 7 and body["event"] == "record"]
    world.deaf.add(7)
    world.go(3)
    count = len(world.sent)
    world.go(3)
    assert len(world.sent) == count


def test_the_readings_of_the_last_half_hour_can_be_asked_for(tmp_path: Path) -> None:
    """For the bath that is watched before the film is in; no more is kept."""
    world = World(tmp_path, {JUG: lambda t: 20.0, BOWL: lambda t: 19.0})
    world.go(40 * 60)
    answer = world.ask(verb="readings")
    ages = [answer["now_s"] - r["t_s"] for r in answer["readings"]]
    assert 1795 < max(ages) <= 1801
    assert len(ages) == pytest.approx(3600, abs=6)


def test_status_tells_age_and_quality_of_each_probe(world: World) -> None:
    """A bad reading has no number."""
    world.bus.faults[BOWL] = "reset"
    world.go(5)
    probes = {p["probe"]: p for p in world.ask(verb="status")["probes"]}
    assert probes["jug"]["quality"] == "good"
    assert probes["jug"]["age_s"] < 1.5
    assert probes["bowl"]["quality"] == "reset"
    assert probes["bowl"]["celsius"] is None
    assert probes["bowl"]["raw_c"] == 85.0
    assert probes["bowl"]["good_age_s"] > 4


def test_status_tells_edges_that_the_program_lost(world: World) -> None:
    """An edge is a tap: whoever asks must know that one did not count. In JSON, and in words only where there are any."""
    assert world.panel.switch is not None
    assert world.ask(verb="status")["switch_lost_edges"] == 0
    assert "lost" not in "\n".join(lines(world.ask(verb="status")))
    world.panel.switch.lost_edges = 2
    told = world.ask(verb="status")
    assert told["switch_lost_edges"] == 2
    assert "2 edges lost" in "\n".join(lines(told))


def test_status_tells_faults_of_the_program(world: World) -> None:
    """None are hidden because time went on."""
    assert "program" not in "\n".join(lines(world.ask(verb="status")))
    world.station.turn(Sampled("no such probe", None, 0.0))  # type: ignore[arg-type]
    assert "1 fault of the program itself" in "\n".join(lines(world.ask(verb="status")))


def test_the_keyboard_is_no_switch_where_there_is_one(world: World) -> None:
    """Nothing else changes anything."""
    name = world.develop()
    assert world.ask(verb="press", kind="hold")["status"] == 2
    assert not world.records(name, "tap")


def test_without_a_switch_the_keyboard_taps_in_the_light_and_begins_are_assumed(tmp_path: Path) -> None:
    """Held for the first begin; in the dark it is refused."""
    world = World(tmp_path, has_switch=False)
    name = world.develop(DARK)
    world.go(2)
    assert world.ask(verb="press", kind="hold")["ok"]
    world.go(2)
    assert world.records(name, "stage", event="begin")
    assert world.ask(verb="press", kind="tap")["status"] == 2
    world.go(300)
    assert world.station.running is None
    assert world.records(name)[-1]["event"] == "close"


def test_abandon_needs_a_reason_and_ends_the_session(world: World) -> None:
    """Recorded in the person's words."""
    name = world.develop()
    assert world.ask(verb="abandon", why=" ")["status"] == 2
    assert world.ask(verb="abandon", why="the phone rang")["ok"]
    assert world.records(name)[-1]["why"] == "the phone rang"
    assert world.ask(verb="abandon", why="again")["status"] == 2


def test_too_little_room_withholds_the_start(world: World) -> None:
    """What the machine can check is checked."""
    world.health = MachineHealth(3 * MIB, None)
    world.go(11)
    answer = world.ask(verb="develop", recipe=SHORT, file="r", waive="x")
    assert answer["status"] == 3
    assert "3.0 MiB" in answer["lines"][0]


def test_a_disk_that_takes_nothing_withholds_the_start(world: World) -> None:
    """A session that could not be taken up after a crash is not begun; nothing of it stays."""
    world.disk.broken = True
    answer = world.ask(verb="develop", recipe=SHORT, file="r", waive="x", lamp=True)
    assert answer["status"] == 3
    assert world.station.running is None
    assert world.panel.lamp is None or world.panel.lamp.closed
    assert not list((world.state / "journals").iterdir())
    world.disk.broken = False
    assert world.develop()


def test_a_reader_that_meets_an_unknown_error_goes_on(world: World) -> None:
    """A bad sample, not a dead thread."""
    world.bus.raises[JUG] = RuntimeError("the library has changed")
    world.go(3)
    assert {p["probe"]: p["quality"] for p in world.ask(verb="status")["probes"]}["jug"] == "missing"
    del world.bus.raises[JUG]
    world.go(3)
    assert {p["probe"]: p["quality"] for p in world.ask(verb="status")["probes"]}["jug"] == "good"


def test_a_fault_of_the_program_in_one_message_does_not_end_the_session(world: World) -> None:
    """The supervisor tells it and time goes on."""
    name = world.develop()
    world.station.turn(Sampled("no such probe", None, 0.0))  # type: ignore[arg-type]
    world.go(1)
    world.press(1.2)
    world.go(5)
    assert world.records(name, "mishap")
    assert world.records(name, "cue", cue="tick")
    assert len(world.station.sessions.mishaps) == 1


def test_a_sound_of_an_earlier_session_is_no_cue_of_this_one(world: World) -> None:
    """Messages may arrive late."""
    world.develop()
    world.press(1.2)
    world.go(3)
    running = world.station.running
    assert running is not None
    old = running.generation
    world.ask(verb="abandon", why="x")
    name = world.develop()
    world.station.turn(Sounded(old, Sound(9, "tick", 1.0, TICK), 1.0))
    assert not world.records(name, "cue")


def test_a_fault_that_was_not_heard_in_an_earlier_session_is_not_tried_again_in_this_one(world: World) -> None:
    """Messages of the player may arrive late, those about what did not sound too."""
    world.develop()
    running = world.station.running
    assert running is not None
    old = running.generation
    world.ask(verb="abandon", why="x")
    name = world.develop()
    world.press(1.2)
    world.station.turn(Unsounded(old, Sound(9, "fault", 1.0, FAULT)))
    world.go(30)
    assert not world.records(name, "cue", cue="fault")


def test_a_fault_that_stays_and_a_terminal_that_is_dead_end_nothing(world: World) -> None:
    """Each turn fails and nothing can be said: no exception gets out, no whole processor is taken, the journal is not flooded."""
    name = world.develop()
    world.press(1.2)

    def dead(line: str) -> None:
        raise BrokenPipeError

    def broken(now_s: float) -> None:
        raise ValueError("always")

    object.__setattr__(world.station._parts, "say", dead)
    assert world.station.running is not None
    world.station.running.wake = broken  # type: ignore[method-assign]
    turns = 0
    for _ in range(20):
        world.clock.advance(0.5)
        while world.station.due_s <= world.clock.mono_s():
            world.station.turn(None)
            turns += 1
            assert turns < 400
    world.go(60)
    assert world.ask(verb="status")["mishaps"] > 20
    assert len(world.records(name, "mishap")) < 30
    assert world.records(name, "reading")[-1]["t_s"] > 60


class Dog(Notifier):
    """Counts its meals."""

    def __init__(self) -> None:
        super().__init__({})
        self.meals = 0

    def alive(self) -> None:
        """One more."""
        self.meals += 1


def gapless(world: World, name: str) -> bool:
    """Whether its numbers are 1, 2, 3 ..."""
    seqs = [r["seq"] for r in world.records(name)]
    return seqs == list(range(1, len(seqs) + 1))


@pytest.mark.parametrize("why", ["half \ud800", float("nan"), 10**400, {"a": {1, 2}}, b"\xff", "\x1b[2J"])
def test_whatever_a_note_says_no_number_is_skipped(world: World, why: object) -> None:
    """It stands in the journal as nearly as it can be said."""
    name = world.develop()
    world.station.sessions.note("abandon", {"why": why})
    world.go(3)
    assert gapless(world, name)
    assert len(world.records(name, "abandon")) == 1
    assert world.station.sessions.mishaps == []


def test_an_effect_that_fails_takes_no_record_with_it(world: World) -> None:
    """The player refuses a sound: its fault is told, and the record behind it stands in the journal."""
    name = world.develop()
    running = world.station.running
    assert running is not None

    def broken(sound: Sound) -> None:
        raise ValueError("no")

    world.player.add = broken  # type: ignore[method-assign]
    desk = running.session._desk
    desk.effects.append(Play(Sound(1, "tick", 0.0, TICK)))
    desk.write(Note(t_s=desk.t_s, named="behind", told={}))
    with pytest.raises(ValueError, match="no"):
        running._do(desk.take_effects())
    world.press(1.2)
    world.go(10)
    assert world.station.sessions.mishaps
    assert world.records(name, "behind")
    assert world.records(name, "stage", event="begin")
    assert gapless(world, name)


def test_a_recipe_that_takes_long_to_read_is_refused_at_once(world: World) -> None:
    """A quarter of a megabyte of tables would keep the thread that owns the state for longer than its watchdog waits."""
    answer = world.ask(verb="develop", recipe="[[stage]]\n" * 7000, file="long.toml", waive="x")
    assert (answer["ok"], answer["status"]) == (False, 2)
    assert answer["lines"][0].startswith("long.toml: more than 65536 characters; allowed: ")


def test_a_request_that_fails_in_the_station_is_answered_all_the_same(world: World) -> None:
    """One line, status 1: nobody waits for an answer that never comes."""
    world.station._machine.status = lambda: 1 / 0  # type: ignore[method-assign, assignment, return-value]
    answer = world.ask(verb="status")
    assert (answer["ok"], answer["status"], len(answer["lines"])) == (False, 1, 1)


@pytest.mark.parametrize("part", ["player", "panel", "journal"])
def test_the_watchdog_is_fed_only_while_player_panel_and_journal_move(tmp_path: Path, part: str) -> None:
    """A main thread that lives on alone is no station."""
    dog = Dog()
    world = World(tmp_path, notifier=dog)
    world.go(5)
    world.develop()
    world.go(5)
    assert dog.meals >= 9
    if part == "player":
        world.player.step = lambda: None  # type: ignore[method-assign]
    elif part == "journal":
        world.write = lambda: None  # type: ignore[method-assign]
    else:
        assert world.panel.switch is not None
        world.panel.switch.dead = True
    world.go(35)
    hungry = dog.meals
    world.go(10)
    assert dog.meals == hungry


def stuck(reader: Reader) -> None:
    """Its read does not come back, and nobody can end the thread that waits for it."""
    reader.step = lambda: None  # type: ignore[method-assign]


def test_one_stuck_probe_is_one_stuck_probe(tmp_path: Path) -> None:
    """The room's file blocks: `missing` within 15 s and never `good` again, the watchdog is fed, developer and cues go on."""
    dog = Dog()
    world = World(tmp_path, notifier=dog, room=True)
    world.go(5)
    name = world.develop()
    world.press(1.2)
    stuck(world.readers[2])
    world.go(15)
    (wall,) = [p for p in world.ask(verb="status")["probes"] if p["probe"] == "wall"]
    assert (wall["quality"], wall["celsius"]) == ("missing", None)
    meals = dog.meals
    world.go(60)
    assert dog.meals >= meals + 59
    later = [r for r in world.records(name, "reading", probe="wall") if r["t_s"] > 20]
    assert {r["quality"] for r in later} == {"missing"}
    assert {p["source"] for p in world.records(name, "progress")} == {"developer"}
    assert world.station.sessions.mishaps == []


def test_a_developer_probe_that_hangs_is_lost_like_any_other(tmp_path: Path) -> None:
    """`missing` within 15 s, FAULT after 15 s without a good reading. What the read brings at last is too old; the next one counts."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop()
    world.press(1.2)
    world.go(5)
    step, hung_s = world.readers[0].step, world.clock.mono_s()
    zero_s = world.records(name)[0]["mono0_s"]
    stuck(world.readers[0])
    world.go(17)
    assert world.records(name, "reading", probe="jug", quality="missing")[0]["t_s"] + zero_s - hung_s <= 15.0
    assert world.records(name, "trust", probe="jug", believed=False)[0]["t_s"] + zero_s - hung_s <= 16.0
    assert world.records(name, "cue", cue="fault")[0]["t_s"] + zero_s - hung_s <= 16.5
    world.inbox.put(Sampled("jug", Sample(JUG, (hung_s + world.clock.mono_s()) / 2, 20.3, "stale"), world.clock.mono_s()))
    world.go(1)
    assert world.records(name, "reading", probe="jug")[-1]["quality"] == "missing"
    world.readers[0].step = step  # type: ignore[method-assign]
    world.go(5)
    assert world.records(name, "reading", probe="jug")[-1]["quality"] == "good"


class SlowDisk(FakeDisk):
    """Does not answer one sync for a while; the rest of the world goes on meanwhile."""

    meanwhile: Callable[[], None] | None = None

    def sync(self, descriptor: int) -> None:
        """As long as it takes."""
        meanwhile, self.meanwhile = self.meanwhile, None
        if meanwhile is not None:
            meanwhile()


def test_a_disk_that_does_not_answer_is_told_and_starves_no_watchdog(tmp_path: Path) -> None:
    """Half a minute in one sync: no restart would help it. Told once, and once more when it answers."""
    dog, disk = Dog(), SlowDisk()
    world = World(tmp_path, notifier=dog, disk=disk)
    world.go(5)
    name = world.develop()
    world.press(1.2)
    write, world.write = world.write, lambda: None  # type: ignore[method-assign]

    def half_a_minute() -> None:
        meals = dog.meals
        world.go(35)
        assert dog.meals >= meals + 34
        assert world.player.beat_s > world.clock.mono_s() - 2

    disk.meanwhile = half_a_minute
    world.go(1)
    write()
    world.write = write  # type: ignore[method-assign]
    world.go(3)
    told = [(r["part"], r["well"]) for r in world.records(name, "trouble")]
    assert told == [("disk", False), ("disk", True)]
    seqs = [r["seq"] for r in world.records(name)]
    assert seqs == list(range(1, len(seqs) + 1))


def test_free_space_that_nobody_has_seen_for_a_minute_is_not_known(world: World) -> None:
    """The thread that looks hangs on the card: its last word is no figure of now. Whoever wants to start is told so, too."""
    assert world.ask(verb="status")["free_bytes"] == 1000 * MIB
    world._health_s = 1e12
    world.go(75)
    assert world.ask(verb="status")["free_bytes"] is None
    world.inbox.put(MachineHealth(900 * MIB, None))
    world.go(1)
    assert world.ask(verb="status")["free_bytes"] == 900 * MIB


def test_a_station_that_stood_still_itself_accuses_no_probe(tmp_path: Path) -> None:
    """Stopped for half a minute (a debugger, a busy machine): no reader had its turn either."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop()
    world.clock.advance(30.0)
    world.station.turn(None)
    world.go(5)
    assert {r["quality"] for r in world.records(name, "reading")} == {"good"}


@pytest.mark.parametrize(("vessel", "bare"), [("open tray", True), ("lidded tank", False)])
def test_film_that_was_loaded_and_waits_is_bare_where_the_next_stage_s_is(tmp_path: Path, vessel: str, bare: bool) -> None:
    """Between `lid on` and the next begin: a screen asks for this. Before a first stage the film is in its holder."""
    load = '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]'
    world = World(tmp_path)
    world.go(5)
    world.develop(SHORT.replace("lidded tank", vessel).replace("[[stage]]", load, 1))
    assert not world.ask(verb="status")["bare_now"]
    world.press(1.2)
    assert world.ask(verb="status")["bare_now"]
    world.go(5)
    world.press(1.2)
    seen = world.ask(verb="follow")
    assert seen["view"]["waits_for"] == 2
    assert seen["bare_now"] is bare
    assert world.ask(verb="status")["bare_now"] is bare


def test_the_key_that_asks_begins_nothing(tmp_path: Path) -> None:
    """Where a stage waits it is shorter than a begin; in a stage it is answered."""
    world = World(tmp_path, has_switch=False)
    world.go(5)
    name = world.develop(SHORT)
    assert world.ask(verb="press", kind="question")["ok"]
    world.go(3)
    assert not world.records(name, "stage", event="begin")
    assert world.records(name, "tap")[-1]["meaning"] == "question"
    world.ask(verb="press", kind="hold")
    world.go(3)
    assert world.records(name, "stage", event="begin")
    world.ask(verb="press", kind="question")
    world.go(5)
    assert world.records(name, "cue", cue="answer")
