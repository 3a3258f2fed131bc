"""Two films side by side in one station: contract, section 11."""

from __future__ import annotations

import json
import math
import random
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.status import lines
from monitor.core.probes.learned import Learned, VesselLag
from monitor.core.recipe.reader import load_recipe
from monitor.core.session import sounds
from tests.live.simulated import DARK, JUG_2, SHORT, World
from tests.live.station.test_telemetry import Voice
from tests.seeds import seeds

EVENING = ("left", "right", "left", "right")


def films(*vessels: str, recipe: str = SHORT) -> dict[str, Any]:
    """An evening as the command hands it over. A film's turn comes as soon as its vessel is free."""
    data = load_recipe(recipe.encode(), "recipe.toml").data
    rows = [{"what": f"roll {i}", "vessel": v, "recipe": data} for i, v in enumerate(vessels, 1)]
    return {"name": "Test", "between_s": 60.0, "films": rows}


def develop(world: World, *vessels: str, recipe: str = SHORT, **more: Any) -> list[str]:
    """Arm an evening, nobody asked. The names of the sessions that are armed."""
    answer = world.ask(verb="develop", evening=films(*vessels, recipe=recipe), waive="a test", **more)
    assert answer["ok"], answer
    assert answer["armed"] == answer["films"][0]["session"]
    return [film["session"] for film in answer["films"]]


@pytest.fixture
def world(tmp_path: Path) -> World:
    """A station with two vessels that has watched them for a while."""
    world = World(tmp_path, two_vessels=True)
    world.go(10)
    return world


def begins(world: World, name: str) -> list[int]:
    """The stages that have begun in this session."""
    return [r["stage"] for r in world.records(name, "stage", event="begin")]


def through(world: World, seconds: float) -> None:
    """A person who taps at each NOW's end and after each minimum for so long."""
    until_s = world.clock.mono_s() + seconds
    while world.clock.mono_s() < until_s and world.station.sessions.films:
        world.go(0.5)
        for film in list(world.station.sessions.films):
            awaits = film.session.awaits
            if awaits.what == "pour" and awaits.at_s is not None and awaits.at_s + film.zero_s - 1.0 <= world.clock.mono_s():
                world.press()
                break


def test_an_evening_arms_the_first_film_of_each_vessel(world: World) -> None:
    """Each has its own session and journal, its own developer probe, and the bath's."""
    left, right = develop(world, *EVENING)
    world.go(3)
    assert [film.vessel for film in world.station.sessions.films] == ["left", "right"]
    assert {r["probe"] for r in world.records(left, "reading")} == {"jug", "bowl"}
    assert {r["probe"] for r in world.records(right, "reading")} == {"jug2", "bowl"}
    assert world.records(right)[0]["evening"]["what"] == "roll 2"
    status = world.ask(verb="status")
    assert [film["session"] for film in status["films"]] == [left, right]
    assert [film["what"] for film in status["to_come"]] == ["roll 3", "roll 4"]


def test_one_foot_begins_one_film_after_the_other(world: World) -> None:
    """Presses of a second go to what waits, the first vessel first; a tap there is a mark of the film that began last."""
    left, right = develop(world, "left", "right")
    world.press(1.2)
    assert (begins(world, left), begins(world, right)) == ([1], [])
    world.go(5)
    world.press(1.2)
    assert (begins(world, left), begins(world, right)) == ([1], [1])
    world.press(0.2)
    assert [r["meaning"] for r in world.records(right, "tap")] == ["begin", "mark"]
    assert [r["meaning"] for r in world.records(left, "tap")] == ["begin"]


def said(world: World, begin: str) -> list[str]:
    """The lines of the status in words that begin so."""
    return [line.strip() for line in lines(world.ask(verb="status")) if line.strip().startswith(begin)]


def test_the_status_says_whose_the_next_tap_is_and_what_it_answers(world: World) -> None:
    """By the rule of the press: the one begun last, from the other's NOW on that one; then the begin that was assumed."""
    left, right = develop(world, "left", "right")
    world.press(1.2)
    world.go(30)
    world.press(1.2)
    world.go(60)
    status = world.ask(verb="status")
    assert (status["tap_for"], status["tap_then"]) == (right, left)
    assert said(world, "next tap") == ["next tap: right; from NOW on: left"]
    assert said(world, "not answered") == []
    while begins(world, left) == [1]:
        world.go(1)
    status = world.ask(verb="status")
    assert [film["assumed"] for film in status["films"]] == ["stop", None]
    assert said(world, "next tap") == ["next tap: left, when did stop go in? (tap: now; hold: on time)"]
    world.press(0.2)
    assert world.records(left, "tap")[-1]["meaning"] == "poured"
    assert world.ask(verb="status")["films"][0]["assumed"] is None


def test_the_status_of_one_film_says_that_an_assumed_begin_waits_for_an_answer(world: World) -> None:
    """And no more of it once it was answered."""
    (left,) = develop(world, "left")
    world.press(1.2)
    while begins(world, left) in ([], [1]):
        world.go(1)
    assert said(world, "not answered yet") == ["not answered yet: when did stop go in? (tap: now; hold: on time)"]
    assert said(world, "next tap") == []
    world.press(0.6)
    assert said(world, "not answered yet") == []


def test_both_are_called_and_developed_to_their_own_ends(world: World) -> None:
    """A tap at NOW goes to the one that has been called longest; no call is later than 2.4 s, and both are done to 100 %."""
    names = develop(world, "left", "right")
    world.press(1.2)
    world.press(1.2)
    through(world, 400)
    for name in names:
        assert world.records(name)[-1]["why"] == "finished"
        done = world.records(name, "progress", stage=1)[-1]
        assert done["done_ref_s"] == pytest.approx(done["target_ref_s"], rel=0.02)
        late = [r["lateness_s"] for r in world.records(name, "cue") if r["cue"] in ("ready", "now")]
        assert max(late) <= 2.4
        assert [r["seq"] for r in world.records(name)] == list(range(1, len(world.records(name)) + 1))
    late = [r["lateness_s"] for name in names for r in world.records(name, "cue", cue="now")]
    assert max(late) > 0.5


def test_the_next_film_is_armed_by_foot_and_said_to_be(world: World) -> None:
    """After its vessel is free; a tap arms nothing; then it begins as any other."""
    (left, right) = develop(world, *EVENING)
    world.press(1.2)
    world.ask(verb="abandon", session=left, why="a test")
    assert [film.name for film in world.station.sessions.films] == [right]
    world.press(0.2)
    assert len(world.station.sessions.films) == 1
    world.press(1.2)
    assert begins(world, right) == [1]
    world.press(0.2)
    assert len(world.station.sessions.films) == 1
    world.press(1.2)
    world.go(1)
    third = world.station.sessions.films[0]
    assert (third.vessel, third.place.what if third.place else "") == ("left", "roll 3")
    assert world.records(third.name, "cue", cue="yes")
    assert world.records(third.name)[0]["preflight"] == {"armed by": "foot"}
    world.press(1.2)
    assert begins(world, third.name) == [1]


def test_a_film_that_the_machine_would_not_start_is_not_armed(world: World) -> None:
    """It limps, and the reason stands in the journal of the film that runs."""
    (left, right) = develop(world, *EVENING)
    world.press(1.2)
    world.press(1.2)
    world.ask(verb="abandon", session=left, why="a test")
    world.bus.faults["28-000000000a01"] = "missing"
    world.go(60)
    world.press(1.2)
    world.go(3)
    assert [film.name for film in world.station.sessions.films] == [right]
    (note,) = world.records(right, "not armed")
    assert "jug" in note["why"]
    assert world.records(right, "cue", cue="answer")


@pytest.mark.parametrize("seconds", [30.0, 60.0, 100.0])
def test_both_go_on_after_a_kill(world: World, seconds: float) -> None:
    """Same boot: each at its own time, with its own end, and the films to come are still known."""
    names = develop(world, *EVENING)
    world.press(1.2)
    world.press(1.2)
    world.go(seconds)
    world.write()
    ends = [film.session.snapshot.end_t_s for film in world.station.sessions.films]
    world.clock.to(world.clock.mono_s() + 3.0)
    world.life()
    world.go(1)
    assert [film.name for film in world.station.sessions.films] == names
    assert [film.session.snapshot.end_t_s for film in world.station.sessions.films] == pytest.approx(ends, abs=1.0)
    assert [film["what"] for film in world.ask(verb="status")["to_come"]] == ["roll 3", "roll 4"]
    through(world, 400)
    for name in names:
        records = world.records(name)
        assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
        assert records[-1]["why"] == "finished"


def test_after_another_boot_both_say_how_sure_they_are_and_fault_is_heard_once(world: World) -> None:
    """One FAULT at the return stands in both journals."""
    names = develop(world, "left", "right")
    world.press(1.2)
    world.press(1.2)
    world.go(40)
    world.write()
    world.clock.reboot(20.0, "another")
    world.life()
    world.go(3)
    assert [film.name for film in world.station.sessions.films] == names
    faults = [world.records(name, "cue", cue="fault")[0]["wall"] for name in names]
    assert len(faults) == 2
    edges = world.panel.sounder.edges
    assert sum(1 for (a, on), (b, _) in pairwise(edges) if on and b - a > 0.3) == 2  # limping, once: short, long, short, long
    for name in names:
        (back,) = world.records(name, "session", event="resume")
        assert back["same_boot"] is False
        assert back["least_s"] <= back["counted_s"] <= back["most_s"]


def test_a_session_of_another_evening_is_not_taken_up_beside_it(world: World) -> None:
    """It is closed as lost: two films are one evening's, or one is left over."""
    (left, right) = develop(world, "left", "right")
    world.go(5)
    world.write()
    path = world.journal(right)
    path.write_text(path.read_text().replace('"name":"Test","film"', '"name":"Other","film"'))
    world.life()
    world.go(2)
    assert [film.name for film in world.station.sessions.films] == [right]
    assert world.records(left)[-1]["why"] == "lost"


def test_abandon_ends_one_film_or_the_whole_evening(world: World) -> None:
    """A name that does not run is refused, and an end that both have; the end of one is that one's."""
    (left, right) = develop(world, *EVENING)
    refused = world.ask(verb="abandon", session="nobody", why="a test")
    assert refused["status"] == 2
    assert f"{left} (left, roll 1), {right} (right, roll 2)" in refused["lines"][0]
    assert world.ask(verb="abandon", session="", why="a test")["status"] == 2
    end = next(right[-n:] for n in range(1, len(right) + 1) if not left.endswith(right[-n:]))
    assert world.ask(verb="abandon", session=end, why="a test")["sessions"] == [right]
    assert [film.name for film in world.station.sessions.films] == [left]
    assert world.ask(verb="abandon", why="a test")["sessions"] == [left]
    assert world.station.sessions.films == []
    assert world.ask(verb="status")["to_come"] == []
    assert not (world.state / "evening.json").exists()


def test_each_vessel_may_have_its_own_foot_and_sounder(tmp_path: Path) -> None:
    """A press is then that vessel's film's alone, and its calls come from its own sounder."""
    world = World(tmp_path, two_vessels=True, own_switches=True)
    world.go(10)
    (left, right) = develop(world, "left", "right")
    world.press(1.2, second=True)
    assert (begins(world, left), begins(world, right)) == ([], [1])
    world.go_until(lambda: bool(world.records(right, "cue", cue="now")), 200)
    world.go(3)
    assert world.panel.sounder_2 is not None
    lasted = [round(b[0] - a[0], 2) for a, b in zip(world.panel.sounder_2.edges, world.panel.sounder_2.edges[1:], strict=False)]
    now = [round(part, 2) for part in sounds.of_vessel("now", sounds.NOW, 2)]
    assert any(lasted[i : i + len(now)] == now for i in range(len(lasted)))
    assert world.panel.sounder.edges == []


def test_the_network_is_told_of_both_and_of_the_one_whose_hands_are_due_next(tmp_path: Path) -> None:
    """`session` has that one's progress, `session/<vessel>` each; what an earlier run left is taken away."""
    voice = Voice()
    world = World(tmp_path, two_vessels=True, publisher=voice)
    world.go(10)
    assert voice.in_vessels == [("left", None), ("right", None)]
    (left, right) = develop(world, "left", "right")
    world.press(1.2)
    world.go(20)
    world.press(1.2)
    world.go(30)
    last = {vessel: payload["session"] for vessel, payload in voice.in_vessels if payload is not None}
    assert last == {"left": left, "right": right}
    assert {payload["session"] for payload in voice.progressed[-8:] if payload is not None} == {left}
    world.ask(verb="abandon", session=left, why="a test")
    world.go(5)
    assert ("left", None) in voice.in_vessels[2:]
    assert voice.progressed[-1] is not None
    assert voice.progressed[-1]["session"] == right


def test_the_lamp_is_lit_only_where_both_films_permit_it(world: World) -> None:
    """An evening with bare film is refused the lamp; with closed vessels it mirrors the calls of both."""
    refused = world.ask(verb="develop", evening=films("left", "right", recipe=DARK), waive="a test", lamp=True)
    assert refused["status"] == 2
    develop(world, "left", "right", lamp=True)
    world.press(1.2)
    assert world.panel.lamp is not None
    assert world.panel.lamp.edges
    names = [film.name for film in world.station.sessions.films]
    world.ask(verb="abandon", session=names[0], why="a test")
    assert not world.panel.lamp.closed


def test_while_a_reel_is_loaded_for_one_film_the_other_one_s_calls_make_no_light(world: World) -> None:
    """The light rule is that of both together: the lamp is shut until the lid is on."""
    loaded = load_recipe(SHORT.replace("[[stage]]", '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]', 1).encode(), "r").data
    evening = films("left", "right")
    evening["films"][1]["recipe"] = loaded
    assert world.ask(verb="develop", evening=evening, waive="a test", lamp=True)["ok"]
    world.press(1.2)
    world.go(3)
    assert world.panel.lamp is None or world.panel.lamp.edges == []
    world.press(1.2)
    world.press(1.2)
    world.go(1)
    world.press(1.2)
    world.go(5)
    assert world.panel.lamp is not None
    assert world.panel.lamp.edges


def test_a_probe_that_dies_in_one_vessel_is_no_trouble_of_the_other(world: World) -> None:
    """FAULT and trust are that film's."""
    (left, right) = develop(world, "left", "right")
    world.press(1.2)
    world.press(1.2)
    world.go(10)
    world.bus.faults["28-000000000a04"] = "missing"
    world.go(30)
    assert world.records(right, "cue", cue="fault")
    assert [r["probe"] for r in world.records(right, "trust", believed=False)] == ["jug2"]
    assert world.records(left, "cue", cue="fault") == []


@pytest.mark.parametrize(
    ("evening", "says"),
    [
        (films("left", "middle"), 'film 2 (roll 2): vessel "middle" is none of the station\'s; allowed: left or right'),
        ({"name": "x", "films": []}, "1 to 24 films"),
        ({"name": "x", "films": [{"what": "a", "vessel": "left"}]}, "film 1: no recipe"),
    ],
)
def test_an_evening_that_does_not_fit_the_station_is_refused(world: World, evening: dict[str, Any], says: str) -> None:
    """One line, and nothing is armed."""
    refused = world.ask(verb="develop", evening=evening, waive="a test")
    assert refused["status"] == 2
    assert says in refused["lines"][0]
    assert world.station.sessions.films == []


def test_a_single_recipe_needs_its_vessel_s_name_where_there_are_two(world: World) -> None:
    """Nobody could say which probe is in it; named, it is an evening of one film with the lag that was learned of that vessel."""
    refused = world.ask(verb="develop", recipe=SHORT, file="recipe.toml", waive="a test")
    assert "left and right" in refused["lines"][0]
    world.known_before = Learned(vessel_lags={"right": VesselLag("right", 300.0, 15.0, "bath", "2026-11-26")})
    name = world.develop(vessel="right")
    world.go(3)
    opening = world.records(name)[0]
    assert (opening["evening"]["vessel"], opening["vessel"]["vessel"]) == ("right", "right")
    assert {r["probe"] for r in world.records(name, "reading")} == {"jug2", "bowl"}


def test_a_follower_is_told_of_the_film_that_it_follows(world: World) -> None:
    """By name; without one, of the film whose hands are due next."""
    (_, right) = develop(world, "left", "right")
    answer = world.ask(line=7, verb="follow", session=right)
    assert answer["session"] == right
    world.go(5)
    told = [body for line, body in world.sent if line == 7]
    assert {body["record"]["session"] for body in told if body["event"] == "record"} == {right}
    assert {body["session"] for body in told if body["event"] == "view"} == {right}


def test_whoever_follows_is_told_of_the_film_beside_and_whether_any_will_be_bare(world: World) -> None:
    """A screen must not be lit for one film while the other one, or one to come, is bare."""
    names = develop(world, "left", "right", "left", recipe=DARK)
    assert world.ask(line=7, verb="follow", session=names[0])["beside_open"] is True
    world.go(2)
    (beside,) = next(body["beside"] for line, body in world.sent if line == 7 and body["event"] == "view")
    assert (beside["vessel"], beside["what"]) == ("right", "roll 2")
    world.ask(verb="abandon", session=names[1], why="a test")
    assert world.ask(line=8, verb="follow", session=names[0])["beside_open"] is True
    world.ask(verb="abandon", why="a test")
    closed = develop(world, "left", "right")
    assert world.ask(line=9, verb="follow", session=closed[0])["beside_open"] is False


@pytest.mark.parametrize("seed", seeds(2))
def test_no_storm_of_presses_probes_and_kills_loses_a_record_or_mixes_two_calls(tmp_path: Path, seed: int) -> None:
    """Ten minutes of presses of any length at two films, a probe that comes and goes, and a kill: no fault of the program, each journal
    whole, each press one tap of one film."""
    rng = random.Random(f"two vessels {seed}")
    world = World(tmp_path, two_vessels=True)
    world.go(10)
    names = set(develop(world, *EVENING))
    kill_s, until_s = world.clock.mono_s() + rng.uniform(50.0, 300.0), world.clock.mono_s() + 600.0
    mishaps = 0
    while world.clock.mono_s() < until_s:
        world.press(rng.choice((0.05, 0.2, 0.5, 0.8, 1.2, 1.2, 2.0, 3.5)))
        world.go(rng.choice((0.1, 0.5, 1.0, 4.0, 9.0)))
        world.bus.faults = {JUG_2: "missing"} if rng.random() < 0.05 else {} if rng.random() < 0.2 else world.bus.faults
        if world.clock.mono_s() > kill_s:
            kill_s = math.inf
            mishaps += world.station.sessions.mishap_count
            world.write()
            world.life()
        names |= {film.name for film in world.station.sessions.films}
    assert mishaps + world.station.sessions.mishap_count == 0
    assert len(names) > 2
    taps: list[float] = []
    for name in names:
        records = world.records(name)
        assert [r["seq"] for r in records] == list(range(1, len(records) + 1))
        zero_s = records[0]["mono0_s"]
        taps += [round(r["t_s"] + zero_s, 3) for r in records if r["kind"] == "tap"]
        late = [r["lateness_s"] for r in records if r["kind"] == "cue" and r["cue"] == "now" and r.get("late_s") is None]
        assert max(late, default=0.0) <= 2.4 + 1e-6
    assert len(taps) == len(set(taps))


def test_films_to_come_that_cannot_be_read_are_said_and_cost_nothing_else(world: World) -> None:
    """The station starts, and the sessions go on."""
    names = develop(world, *EVENING)
    world.write()
    (world.state / "evening.json").write_text(json.dumps({"films": 3}))
    world.life()
    world.go(1)
    assert [film.name for film in world.station.sessions.films] == names
    assert any("cannot be read" in line for line in world.said)


def test_a_clash_that_comes_near_stands_in_the_status_until_it_is_over(world: World) -> None:
    """Which goes first, and how long until then; nothing of it while the hands are free, or with one film."""
    develop(world, "left", "right", recipe=SHORT)
    assert world.ask(verb="status")["clash"] is None
    world.press(1.2)
    world.go(2)
    world.press(1.2)
    world.go(20)
    status = world.ask(verb="status")
    told = status["clash"]
    assert (told["first"], told["then"]) == ("left", "right")
    assert 30.0 < told["in_s"] < 180.0
    (line,) = [line for line in lines(status) if "both films want your hands" in line]
    assert re.fullmatch(r"  in 1:\d\d both films want your hands: left first, then right \(develop comes first\)", line), line
    through(world, told["in_s"] + told["overlap_s"] + 60.0)
    later = world.ask(verb="status")["clash"]
    assert later is None or later["why"] != told["why"]
