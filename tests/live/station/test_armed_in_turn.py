"""An evening's films armed in turn: contract, section 11. A press that asks must begin nothing."""

from __future__ import annotations

import json
import random
import re
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.status import lines
from monitor.core.recipe.reader import load_recipe
from monitor.live.station.telling import LEASE_S
from tests.live.simulated import DARK, JUG_2, SHORT, World
from tests.seeds import seeds

LONG = SHORT.replace('"2:00"', '"7:00"')


def develop(world: World, *told: tuple[str, float | None], between_s: float = 360.0, recipe: str = LONG) -> list[str]:
    """Arm an evening of films in (vessel, start), nobody asked. The names of the sessions that are armed."""
    data = load_recipe(recipe.encode(), "recipe.toml").data
    films = [{"what": f"roll {i}", "vessel": v, "start_s": start, "recipe": data} for i, (v, start) in enumerate(told, 1)]
    answer = world.ask(verb="develop", evening={"name": "Test", "between_s": between_s, "films": films}, waive="a test")
    assert answer["ok"], answer
    return [film["session"] for film in answer["films"]]


@pytest.fixture
def world(tmp_path: Path) -> World:
    """A station with two vessels that has watched them for a while."""
    world = World(tmp_path, two_vessels=True)
    world.go(10)
    return world


def running(world: World) -> list[str]:
    """What runs, by its film."""
    return [film.place.what for film in world.station.sessions.films if film.place is not None]


def meanings(world: World, name: str) -> list[str]:
    """What its presses meant."""
    return [r["meaning"] for r in world.records(name, "tap")]


def to_come(world: World) -> list[dict[str, Any]]:
    """As the status has it."""
    return list(world.ask(verb="status")["to_come"])


STAGGERED = (("left", None), ("right", 240.0), ("left", None), ("right", None))


def test_a_hold_that_asks_is_a_question_until_two_minutes_before_the_second_film_is_to_begin(world: World) -> None:
    """At 1:00 it is answered and begins nothing; from 2:00 on film 2 is armed, and a hold begins it."""
    (left,) = develop(world, *STAGGERED)
    world.press(1.2)
    world.go(60)
    world.press(1.2)
    assert (running(world), meanings(world, left)) == (["roll 1"], ["begin", "question"])
    assert world.records(left, "cue", cue="answer")
    world.go(55)
    assert running(world) == ["roll 1"]
    world.go(6)
    assert running(world) == ["roll 1", "roll 2"]
    right = world.station.sessions.films[1].name
    assert world.records(right)[0]["preflight"] == {"armed by": "its turn"}
    assert world.records(right, "cue") == []
    world.press(1.2)
    assert (meanings(world, left), meanings(world, right)) == (["begin", "question"], ["begin"])


def test_the_turn_counts_from_a_late_begin_and_from_one_that_was_taken_again(world: World) -> None:
    """However long film 1 waits, film 2 is armed 2:00 after its begin, the one that holds."""
    (left,) = develop(world, *STAGGERED)
    world.go(600)
    assert running(world) == ["roll 1"]
    world.press(1.2)
    world.go(60)
    world.press(3.2)
    assert meanings(world, left) == ["begin", "again"]
    world.go(110)
    assert running(world) == ["roll 1"]
    world.go(10)
    assert running(world) == ["roll 1", "roll 2"]


def test_who_wants_to_begin_earlier_holds_for_three_seconds_and_then_for_one(world: World) -> None:
    """The first press is answered as a question and arms, which YES says; the second one begins. Not while three seconds mean more."""
    (left,) = develop(world, *STAGGERED)
    world.press(3.2)
    assert running(world) == ["roll 1"]
    world.press(3.2)
    assert (running(world), meanings(world, left)) == (["roll 1"], ["begin", "again"])
    world.ask(verb="abandon", why="a test")
    (left,) = develop(world, ("left", None), ("right", 400.0))
    world.press(1.2)
    world.go(60)
    assert [film["hold_s"] for film in to_come(world)] == [None]
    world.go(65)
    assert [film["hold_s"] for film in to_come(world)] == [3.0]
    world.press(3.2)
    assert meanings(world, left) == ["begin", "question"]
    assert running(world) == ["roll 1", "roll 2"]
    world.go(3)
    right = world.station.sessions.films[1].name
    assert world.records(right, "cue", cue="yes")
    assert meanings(world, right) == []
    world.press(1.2)
    assert meanings(world, right) == ["begin"]


def test_the_status_says_when_each_film_begins_and_what_arms_it(world: World) -> None:
    """Nothing is known before film 1 has begun; the third film's begin is forecast from the end of the first."""
    develop(world, *STAGGERED)
    assert [film["begins_in_s"] for film in to_come(world)] == [None, None, None]
    world.press(1.2)
    world.go(30)
    second, third, fourth = to_come(world)
    assert second["begins_in_s"] == pytest.approx(210.0, abs=2.0)
    assert (second["arms_itself"], second["hold_s"]) == (True, None)  # three seconds would take film 1's begin again
    assert third["begins_in_s"] == pytest.approx(420.0 + 30.0 + 60.0 + 360.0 - 30.0, abs=20.0)
    assert (third["arms_itself"], third["hold_s"], fourth["begins_in_s"]) == (False, None, None)
    world.go(100)
    (first, armed) = world.ask(verb="status")["films"]
    assert first["begins_in_s"] is None
    assert armed["begins_in_s"] == pytest.approx(110.0, abs=2.0)
    world.go(140)
    assert world.ask(verb="status")["films"][1]["begins_in_s"] == pytest.approx(-30.0, abs=2.0)


def test_the_status_s_words_tell_a_person_when_and_by_what(world: World) -> None:
    """For each film that waits or is to come."""
    develop(world, *STAGGERED)
    world.press(1.2)
    world.go(125)
    told = [line.strip() for line in lines(world.ask(verb="status"))]
    assert any(re.fullmatch(r"armed, begins in 1:5\d: hold the switch for a second to begin", line) for line in told), told
    third, fourth = (line for line in told if line.startswith("to come"))
    assert re.fullmatch(r"to come: roll 3, left, begins in 1[12]:\d\d; armed by a hold of a second, from 2:00 before on", third), third
    assert fourth == "to come: roll 4, right; armed by a hold of a second, from 2:00 before on"
    world.ask(verb="abandon", why="a test")
    develop(world, ("left", None), ("right", 400.0))
    world.press(1.2)
    world.go(130)
    (second,) = (line.strip() for line in lines(world.ask(verb="status")) if "to come" in line)
    assert re.fullmatch(
        r"to come: roll 2, right, begins in 4:\d\d; armed by itself 2:00 before, a hold of three seconds arms it now", second
    ), second


def test_who_follows_and_the_page_hear_of_the_next_film(world: World) -> None:
    """With each view, and in the station's word."""
    (left,) = develop(world, *STAGGERED)
    world.ask(line=7, verb="follow", session=left)
    world.press(1.2)
    world.go(20)
    told = [body for line, body in world.sent if line == 7 and body["event"] == "view"][-1]
    assert [(film["what"], film["begins_in_s"] is not None) for film in told["to_come"]] == [("roll 2", True), ("roll 3", True)]
    world.go(110)
    told = [body for line, body in world.sent if line == 7 and body["event"] == "view"][-1]
    (other,) = told["beside"]
    assert other["begins_in_s"] == pytest.approx(110.0, abs=2.0)


@pytest.mark.parametrize("begun", [False, True])
def test_abandoning_the_first_film_keeps_the_second_one_waiting_for_nothing(world: World, begun: bool) -> None:
    """Its turn counts from the begin that there was, else from the end."""
    (left,) = develop(world, *STAGGERED)
    if begun:
        world.press(1.2)
    world.go(30)
    world.ask(verb="abandon", session=left, why="a test")
    world.go(80)
    assert running(world) == []
    world.go(12 if begun else 42)
    assert running(world) == ["roll 2"]
    assert [film["what"] for film in to_come(world)] == ["roll 3", "roll 4"]


def test_where_no_film_runs_a_second_arms_the_next_one_at_any_time(world: World) -> None:
    """Nobody can be asked, so it is no question."""
    (left,) = develop(world, *STAGGERED)
    world.ask(verb="abandon", session=left, why="a test")
    world.press(0.3)
    assert running(world) == []
    assert [film["hold_s"] for film in to_come(world)] == [1.0, 1.0, None]
    world.press(1.2)
    assert running(world) == ["roll 2"]


def test_a_later_film_is_armed_by_foot_alone_and_by_a_second_only_in_its_turn(world: World) -> None:
    """It has to be loaded first: before its turn a hold of a second is a question about the other film."""
    (left, right) = develop(world, ("left", None), ("right", None), ("left", None), between_s=300.0)
    world.press(1.2)
    world.press(1.2)
    world.ask(verb="abandon", session=left, why="a test")
    world.go(130)
    world.press(1.2)
    assert (running(world), meanings(world, right)) == (["roll 2"], ["begin", "question"])
    world.go(55)
    assert running(world) == ["roll 2"]
    world.press(1.2)
    assert running(world) == ["roll 3", "roll 2"]


@pytest.mark.parametrize("same_boot", [True, False])
@pytest.mark.parametrize("at_s", [60.0, 119.0])
def test_the_turn_outlives_a_kill_and_a_power_cut(world: World, at_s: float, same_boot: bool) -> None:
    """What is to come begins when it would have begun."""
    develop(world, *STAGGERED)
    world.press(1.2)
    world.go(at_s)
    world.write()
    if same_boot:
        world.clock.to(world.clock.mono_s() + 3.0)
    else:
        world.clock.reboot(3.0, "another")
    world.life()
    world.go(4)
    second = next(film for film in (*world.ask(verb="status")["films"], *to_come(world)) if film["what"] == "roll 2")
    assert second["begins_in_s"] == pytest.approx(240.0 - at_s - 7.0 - 1.2, abs=2.0 if same_boot else 12.0)
    assert running(world) == (["roll 1"] if at_s == 60.0 else ["roll 1", "roll 2"])


def test_a_turn_that_counts_from_a_film_that_is_over_outlives_a_power_cut(world: World) -> None:
    """By the wall clock: the old boot's clock is gone."""
    (left,) = develop(world, *STAGGERED)
    world.press(1.2)
    world.go(60)
    world.ask(verb="abandon", session=left, why="a test")
    world.go(5)
    world.write()
    world.clock.reboot(20.0, "another")
    world.life()
    world.go(2)
    assert to_come(world)[0]["begins_in_s"] == pytest.approx(240.0 - 60.0 - 5.0 - 20.0 - 2.0, abs=3.0)


@pytest.mark.parametrize(("stepped_s", "kept"), [(-400.0, True), (-13 * 3600.0, False), (13 * 3600.0, False)])
def test_a_board_that_wakes_with_an_earlier_time_still_knows_what_is_to_come(world: World, stepped_s: float, kept: bool) -> None:
    """Without a battery clock it does; what is half a day away is another night's, and that is said."""
    (left,) = develop(world, *STAGGERED)
    world.press(1.2)
    world.go(60)
    world.ask(verb="abandon", session=left, why="a test")
    world.go(5)
    world.write()
    world.clock.reboot(0.0, "another")
    world.clock.step_wall(stepped_s)
    world.life()
    world.go(2)
    assert [film["what"] for film in to_come(world)] == (["roll 2", "roll 3", "roll 4"] if kept else [])
    assert any("13 hours old" in line for line in world.said) != kept


def test_a_film_that_ended_while_the_station_was_away_frees_its_vessel(world: World) -> None:
    """The next one in it counts from the return."""
    left = develop(world, ("left", None), ("right", None), ("left", None), between_s=60.0, recipe=SHORT)[0]
    world.press(1.2)
    world.press(1.2)
    world.go(5)
    world.write()
    text = world.journal(left).read_text()
    close = {"seq": text.count("\n") + 1, "session": left, "t_s": 99.0, "kind": "session", "event": "close", "why": "a test"}
    world.journal(left).write_text(f"{text}{json.dumps(close)}\n")
    world.life()
    world.go(2)
    assert running(world) == ["roll 2"]
    world.go(120)
    assert [film["hold_s"] for film in to_come(world)] == [1.0]


def test_a_film_that_the_machine_would_not_start_in_its_turn_is_a_fault_and_tried_again(world: World) -> None:
    """Once, with the reason; and armed as soon as its probe is back."""
    (left,) = develop(world, *STAGGERED)
    world.press(1.2)
    world.go(100)
    world.bus.faults[JUG_2] = "missing"
    world.go(60)
    assert running(world) == ["roll 1"]
    (note,) = world.records(left, "not armed")
    assert "jug2" in note["why"]
    assert len([r for r in world.records(left, "cue", cue="fault") if "roll 2" in r["why"]]) == 1
    world.bus.faults.clear()
    world.go(10)
    assert running(world) == ["roll 1", "roll 2"]


def test_arming_beside_a_film_does_not_wait_for_the_disk(world: World) -> None:
    """A disk that takes nothing is told; the second film is armed all the same, and its journal is whole once there is room."""
    develop(world, *STAGGERED)
    world.press(1.2)
    world.go(100)
    world.disk.full = True
    world.go(30)
    assert running(world) == ["roll 1", "roll 2"]
    world.disk.full = False
    world.go(5)
    right = world.station.sessions.films[1].name
    assert [r["seq"] for r in world.records(right)] == list(range(1, len(world.records(right)) + 1))


def test_bare_film_is_armed_once_every_display_is_black(tmp_path: Path) -> None:
    """A display that is lit for the first vessel's closed tank is told to go black, and the turn waits for that."""

    class Lit:
        listeners = 0
        lease_s = LEASE_S

        def lit(self, now_s: float) -> int:
            return 1

        def tell(self, word: Any) -> None:
            """Nobody listens."""

    world = World(tmp_path, two_vessels=True, telling=Lit())  # type: ignore[arg-type]
    world.go(10)
    data = [load_recipe(text.encode(), "r").data for text in (LONG, DARK)]
    films = [
        {"what": "roll 1", "vessel": "left", "recipe": data[0]}, {"what": "sheet 2", "vessel": "right", "start_s": 240, "recipe": data[1]},
    ]  # fmt: skip
    evening = {"name": "Test", "films": films}
    first = world.ask(verb="develop", evening=evening, waive="a test")
    world.go(first["wait_s"] + 1)
    assert world.ask(verb="develop", evening=evening, waive="a test")["ok"]
    world.go(60)
    world.press(1.2)
    world.go(125)
    assert running(world) == ["roll 1"]
    world.go(20)
    assert running(world) == ["roll 1", "sheet 2"]


@pytest.mark.parametrize("seed", seeds(3))
def test_no_storm_of_presses_and_kills_begins_a_film_before_its_turn(tmp_path: Path, seed: int) -> None:
    """Fifteen minutes of presses of any length, a probe that comes and goes, three kills: no fault of the program, each journal whole,
    each press one tap of one film, no NOW later than 2.4 s; and no film begins by a press of less than three seconds, or by a single
    one, before its turn."""
    rng = random.Random(f"in turn {seed}")
    world = World(tmp_path, two_vessels=True)
    world.go(10)
    start_s = rng.choice((150.0, 200.0, 300.0))
    names = set(develop(world, ("left", None), ("right", start_s), ("left", None), ("right", 30.0), between_s=150.0, recipe=SHORT))
    kills = sorted(world.clock.mono_s() + rng.uniform(20.0, 850.0) for _ in range(3))
    until_s, mishaps = world.clock.mono_s() + 900.0, 0
    while world.clock.mono_s() < until_s:
        held_s = rng.choice((0.05, 0.2, 0.5, 0.8, 1.2, 1.2, 2.0, 3.5))
        wait_s = {film["film"]: film["begins_in_s"] for film in to_come(world)}
        before = {film.name for film in world.station.sessions.films}
        world.press(held_s)
        for film in world.station.sessions.films:
            if film.name in before or film.place is None:
                continue
            assert film.began_s is None
            planned_s = wait_s[film.place.film]
            if before and held_s < 3.0:
                assert planned_s is not None
                assert planned_s - held_s <= 120.0
        world.go(rng.choice((0.1, 0.5, 1.0, 4.0, 9.0)))
        world.bus.faults = {JUG_2: "missing"} if rng.random() < 0.05 else {} if rng.random() < 0.2 else world.bus.faults
        if kills and world.clock.mono_s() > kills[0]:
            kills.pop(0)
            mishaps += world.station.sessions.mishap_count
            world.write()
            world.life()
        names |= {film.name for film in world.station.sessions.films}
    assert mishaps + world.station.sessions.mishap_count == 0
    taps: list[float] = []
    for name in names:
        records = world.records(name)
        assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
        zero_s = records[0]["mono0_s"]
        taps += [round(r["t_s"] + zero_s, 3) for r in records if r["kind"] == "tap"]
        late = [r["lateness_s"] for r in records if r["kind"] == "cue" and r["cue"] == "now" and r.get("late_s") is None]
        assert max(late, default=0.0) <= 2.4 + 1e-6
    assert len(taps) == len(set(taps))
    assert len(names) > 1
