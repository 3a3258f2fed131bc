"""The pre-flight: what the machine finds, and what a person is asked and made to try."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.core.probes.learned import Coupled, Learned, VesselLag, WitnessCheck
from monitor.core.recipe.reader import load_recipe
from monitor.live.inbox import MachineHealth
from monitor.live.station.preflight import (
    CONTINUES_S,
    Preflight,
    PreflightFacts,
    PreflightQuestion,
    machine_findings,
    questions_for,
    stopping,
)
from monitor.live.station.probes_now import ProbesNow, ProbeStatus
from tests.fake_clock import FakeClock
from tests.live.simulated import BOWL, DARK, JUG, JUG_2, SHORT, WALL, World, config_for

RECIPE = load_recipe(SHORT.encode(), "r")
GOOD = PreflightFacts(
    probes=(
        ProbeStatus("jug", JUG, "developer", True, "good", 20.0, 20.0, 0.5, 0.5),
        ProbeStatus("bowl", BOWL, "bath", False, "good", 20.0, 20.0, 0.5, 0.5),
        ProbeStatus("wall", WALL, "room", False, "good", 15.0, 15.0, 0.5, 0.5),
    ),
    has_switch=True, switch_alive=True, switch_down=False, free_bytes=1 << 30, wall_set=True, wall_plausible=True, throttled=0,
    has_vessel_lag=False, broker="none",
)  # fmt: skip


def stops(facts: PreflightFacts) -> list[str]:
    """The items that withhold the start."""
    return [f.item for f in stopping(machine_findings(RECIPE, facts))]


def probe(name: str, **change: object) -> PreflightFacts:
    """All well but one probe."""
    return replace(GOOD, probes=tuple(replace(p, **change) if p.name == name else p for p in GOOD.probes))  # type: ignore[arg-type]


def test_nothing_stops_a_sound_station() -> None:
    """And what is remarked has words; 50 MiB are room enough."""
    assert stops(GOOD) == []
    assert stops(replace(GOOD, free_bytes=50 << 20)) == []


@pytest.mark.parametrize(
    ("facts", "item"),
    [
        (probe("jug", good_age_s=None, quality=None), "probes"),
        (probe("jug", good_age_s=9.0, quality="crc"), "probes"),
        (probe("bowl", good_age_s=None, quality="missing"), "probes"),
        (replace(GOOD, free_bytes=49 << 20), "disk"),
        (replace(GOOD, free_bytes=None), "disk"),
        (replace(GOOD, switch_alive=False), "switch"),
        (replace(GOOD, switch_down=True), "switch"),
    ],
)
def test_each_of_the_machines_items_can_withhold_the_start(facts: PreflightFacts, item: str) -> None:
    """With exit status 3: something is not there."""
    found = stopping(machine_findings(RECIPE, facts))
    assert [f.item for f in found] == [item]
    assert all(f.status == 3 and f.said for f in found)


@pytest.mark.parametrize(
    "facts",
    [
        probe("wall", good_age_s=None, quality="missing"),
        probe("jug", compared=False),
        replace(GOOD, wall_set=False),
        replace(GOOD, wall_plausible=False),
        replace(GOOD, throttled=0x50005),
        replace(GOOD, broker="away"),
        replace(GOOD, has_switch=False),
        probe("jug", step_c=0.5),
        probe("bowl", step_c=0.1),
        replace(GOOD, new_witnesses=("jug",)),
    ],
)
def test_what_does_not_stop_is_remarked(facts: PreflightFacts) -> None:
    """Nothing is passed over in silence."""
    findings = machine_findings(RECIPE, facts)
    assert stopping(findings) == []
    assert [f for f in findings if f.said]


def test_the_questions_lift_each_probe_press_the_switch_and_count() -> None:
    """Tried out, not believed."""
    kinds = {q.id: q.kind for q in questions_for(RECIPE, GOOD)}
    assert kinds["roles jug"] == kinds["roles bowl"] == "lift"
    assert kinds["switch"] == "press"
    assert kinds["sounder"] == "count"
    assert kinds["leader"] == "yes"
    assert "roles wall" not in kinds


def outside(facts: PreflightFacts) -> list[str]:
    """What is asked about the recipe's data."""
    return [q.text for q in questions_for(RECIPE, facts) if q.id == "data"]


def test_a_developer_outside_the_recipes_data_is_asked_about_and_a_no_withholds_the_start() -> None:
    """Only where it is outside, with what is known there."""
    assert outside(GOOD) == []
    assert outside(probe("jug", celsius=16.0)) == outside(probe("jug", celsius=24.0)) == []
    (text,) = outside(probe("jug", celsius=12.4))
    assert text == (
        "Outside data: the jug probe reads 12.4 C, the recipe's data go from 16 C to 24 C; outside them the rate is three times as"
        " uncertain; hydroquinone nearly stops below about 13 C. Start all the same?"
    )
    assert "gelatine softens" in outside(probe("jug", celsius=24.1))[0]
    preflight = Preflight(1, questions_for(RECIPE, probe("jug", celsius=12.4)))
    question = preflight.find("data")
    assert question is not None
    assert question.stops
    assert preflight.answer_yes(question, False) == f'"{text}" was answered no. Temper it first (evenbath temper).'


def test_who_tells_the_developers_temperature_before_the_start() -> None:
    """Its own probe, then the person, then the witness; the bath only where the vessel follows it; no reading that is old."""
    assert outside(probe("bowl", celsius=12.4)) == []
    assert outside(probe("jug", celsius=12.4, good_age_s=5.1)) == []
    assert outside(probe("jug", celsius=12.4, role="bath")) == []
    assert "the jug probe (witness) reads 12.4 C" in outside(probe("jug", celsius=12.4, role="witness"))[0]
    assert outside(replace(probe("jug", celsius=12.4, role="witness"), pour_c=20.0)) == []
    assert "you measured 12.0 C" in outside(replace(probe("jug", role="witness"), pour_c=12.0))[0]
    assert outside(replace(GOOD, pour_c=12.0)) == []


def test_a_vessel_that_follows_its_bath_is_asked_about_by_the_baths_temperature() -> None:
    """As the session begins: with a learned lag, no probe in developer or witness, and nothing measured at pour-in."""
    bath_alone = replace(GOOD, probes=tuple(replace(p, celsius=10.0) for p in GOOD.probes if p.role != "developer"))
    assert outside(bath_alone) == []
    (text,) = outside(replace(bath_alone, follows_bath=True))
    begin = "Outside data: nothing measures the developer, so it is taken to follow the bath; the bowl probe reads 10.0 C, the recipe's"
    assert text.startswith(begin)
    assert outside(replace(bath_alone, follows_bath=True, pour_c=20.0)) == []
    assert "you measured 12.0 C" in outside(replace(bath_alone, follows_bath=True, pour_c=12.0))[0]
    assert outside(replace(probe("bowl", celsius=10.0), follows_bath=True)) == []
    silent = replace(probe("bowl", celsius=10.0), follows_bath=True)
    silent = replace(silent, probes=tuple(replace(p, good_age_s=9.0) if p.name == "jug" else p for p in silent.probes))
    assert outside(silent) == []


@pytest.mark.parametrize(("coupled_to", "asked"), [("bath", 1), ("room", 0)])
def test_the_station_knows_which_of_its_vessels_follow_the_bath(tmp_path: Path, coupled_to: Coupled, asked: int) -> None:
    """By the lag that was learned of the recipe's vessel."""
    lags = {"lidded tank": VesselLag("lidded tank", 360.0, 7.0, coupled_to, "2026-11-01")}
    world = World(tmp_path, {BOWL: lambda _: 10.0}, learned=Learned(vessel_lags=lags))
    world.config = replace(world.config, probes=tuple(p for p in world.config.probes if p.role == "bath"))
    world.life()
    world.go(5)
    answer = world.ask(verb="develop", recipe=SHORT, file="r")
    assert len([q for q in answer["questions"] if q["id"] == "data"]) == asked



def within(low_c: int, high_c: int) -> str:
    """The short recipe with data of this range."""
    return SHORT.replace("per_10_c = 2.5 }", f'per_10_c = 2.5 }}\nvalid = ["{low_c} C", "{high_c} C"]')


LOW = within(10, 14).replace('reference = "20 C"', 'reference = "12 C"')
HIGH = within(16, 24)


def evening(world: World, *films: tuple[str, str], **more: Any) -> dict[str, Any]:
    """Ask for an evening of films, each as (vessel, recipe), in the second vessel four minutes later; its answer."""
    starts_s = {"left": None, "right": 240.0}
    rows = [
        {"what": f"roll {i}", "vessel": v, "start_s": starts_s[v], "recipe": load_recipe(r.encode(), "r").data}
        for i, (v, r) in enumerate(films, 1)
    ]
    return world.ask(verb="develop", evening={"name": "Test", "films": rows}, **more)


def test_every_film_of_an_evening_whose_data_do_not_reach_is_asked_about_with_its_name(tmp_path: Path) -> None:
    """Between two ranges both are; films that it fits alike are asked about in one question, those inside in none."""
    world = World(tmp_path, dict.fromkeys((JUG, JUG_2, BOWL), lambda _: 15.0), two_vessels=True)
    world.go(5)
    answer = evening(world, ("left", HIGH), ("right", LOW), ("left", within(13, 24)), ("right", HIGH))
    told = {q["id"]: q["text"] for q in answer["questions"] if q["id"].startswith("data")}
    assert list(told) == ["data 1", "data 2", "data 4"]
    assert told["data 1"].startswith("Outside data (roll 1): the jug probe reads 15.0 C, the recipe's data go from 16 C to 24 C;")
    assert told["data 2"].startswith("Outside data (roll 2): the jug2 probe reads 15.0 C, the recipe's data go from 10 C to 14 C;")
    assert told["data 4"].startswith("Outside data (roll 4): the jug2 probe")
    world.hang_up(1)
    answer = evening(world, ("left", LOW), ("left", LOW), ("left", LOW))
    (question,) = [q for q in answer["questions"] if q["id"].startswith("data")]
    assert question["id"] == "data 1+2+3"
    assert question["text"].startswith("Outside data (roll 1, roll 2, roll 3): the jug probe reads 15.0 C")
    refused = world.ask(verb="answer", id="data 1+2+3", yes=False)
    assert not refused["ok"]


def test_an_evening_that_nobody_is_asked_about_is_told_of_every_film_outside_its_data(tmp_path: Path) -> None:
    """Also of those to come; one that is armed later is armed all the same, and says so in its journal and on the station's output."""
    world = World(tmp_path, dict.fromkeys((JUG, JUG_2, BOWL), lambda _: 15.0), two_vessels=True)
    world.go(5)
    answer = evening(world, ("left", within(14, 24)), ("right", LOW), waive="a test")
    assert answer["ok"]
    (said,) = [r for r in answer["remarks"] if r.startswith("Outside data")]
    assert said.startswith("Outside data (roll 2): the jug2 probe reads 15.0 C")
    world.press(1.2)
    world.go(150)
    world.press(3.2)
    world.go(5)
    (later,) = [film for film in world.station.sessions.films if film.place is not None and film.place.film == 2]
    (why,) = world.records(later.name)[0]["preflight"]["outside data"]
    assert why.startswith("Outside data: the jug2 probe reads 15.0 C, the recipe's data go from 10 C to 14 C")
    assert f"roll 2: {why}" in world.said


def test_a_second_developer_is_asked_about_by_its_own_data() -> None:
    """Each develop stage by its name, where there are several."""
    stop = '[[stage]]\nname = "stop"'
    second = SHORT[SHORT.index("[[stage]]") : SHORT.index(stop)].replace('name = "develop"', 'name = "second developer"')
    two = load_recipe(HIGH.replace(stop, second + stop).encode(), "r")
    colder = probe("jug", celsius=15.0)
    assert [q.id for q in questions_for(two, colder) if q.id.startswith("data")] == ["data of develop", "data of second developer"]
    (text, _) = [q.text for q in questions_for(two, colder) if q.id.startswith("data")]
    assert text.startswith("Outside data of develop: the jug probe reads 15.0 C")


def test_a_recipe_that_temperature_does_not_move_is_not_asked_about_its_data() -> None:
    """With a band of its own, as colour has one."""
    fixed = load_recipe(SHORT.replace("per_10_c = 2.5 }", 'per_10_c = 2.5 }\nsteer = false\nband = "0.5 C"').encode(), "r")
    assert not [q for q in questions_for(fixed, probe("jug", celsius=12.4)) if q.id == "data"]


def test_the_data_are_asked_about_wherever_fault_would_sound_for_them() -> None:
    """Where temperature does not move the time and no band speaks for it, nothing else would say that the minutes no longer fit."""
    fixed = load_recipe(SHORT.replace("per_10_c = 2.5 }", "per_10_c = 2.5 }\nsteer = false").encode(), "r")
    assert [q.stops for q in questions_for(fixed, probe("jug", celsius=12.4)) if q.id == "data"] == [True]
    assert not [q for q in questions_for(fixed, GOOD) if q.id == "data"]


def test_a_register_with_coarse_steps_is_remarked_on_and_asked_about() -> None:
    """By name and step. A sound one, and one that cannot be told yet, are not; that of a bath is only remarked on."""

    def coarse(facts: PreflightFacts) -> list[str]:
        said = [f.said for f in machine_findings(RECIPE, facts) if f.item == "register"]
        return said + [q.text for q in questions_for(RECIPE, facts) if q.id.startswith("register")]

    steps = "probe jug moves in steps of 0.25 C, a sound one in steps of 0.0625 C"
    remark, question = coarse(probe("jug", step_c=0.25))
    assert remark.startswith(f"{steps}: ")
    assert question == f"The {steps}. Start with it all the same?"
    assert len(coarse(probe("bowl", step_c=0.25))) == 1
    assert coarse(probe("jug", step_c=None)) == coarse(probe("jug", step_c=0.0625)) == []
    preflight = Preflight(1, questions_for(RECIPE, probe("jug", step_c=0.25)))
    asked = preflight.find("register jug")
    assert asked is not None
    assert preflight.answer_yes(asked, False) is not None


def test_a_witness_that_was_not_shown_yet_is_told_with_what_to_do(tmp_path: Path) -> None:
    """Measure what is poured off. Once shown it is not told again."""
    config = config_for(tmp_path)
    probes = tuple(replace(p, role="witness") if p.name == "jug" else p for p in config.probes)
    assert ProbesNow(probes, Learned()).new_witnesses == ("jug",)
    assert ProbesNow(config.probes, Learned()).new_witnesses == ()
    assert ProbesNow(probes, Learned(witness_checks={JUG: WitnessCheck("jug", JUG, 0.1, "2026-11-01")})).new_witnesses == ()
    (said,) = [f.said for f in machine_findings(RECIPE, replace(GOOD, new_witnesses=("jug",))) if f.item == "witness"]
    begin = "witness jug: no developer poured off has shown it yet"
    assert said.startswith(f"{begin}. Until it has, it counts as +/- 0.4 C at best. Measure what you")
    told = replace(GOOD, new_witnesses=("jug",), probes=(replace(GOOD.probes[0], role="witness", comparison_sd_c=0.22),))
    (said,) = [f.said for f in machine_findings(RECIPE, told) if f.item == "witness"]
    assert said.startswith(f"{begin} (now +/- 0.44 C). Until it has,")


def test_a_witness_that_was_found_wrong_is_told_as_wrong(tmp_path: Path) -> None:
    """Not as one that nobody has checked: by how much, since when, and what it counts as."""
    probes = tuple(replace(p, role="witness") if p.name == "jug" else p for p in config_for(tmp_path).probes)
    check = WitnessCheck("jug", JUG, -0.9, "2026-11-01")
    now = ProbesNow(probes, Learned(witness_checks={JUG: check}))
    assert now.new_witnesses == ()
    assert now.wrong_witnesses == (("jug", check),)
    assert ProbesNow(probes, Learned(witness_checks={JUG: replace(check, difference_c=0.4)})).wrong_witnesses == ()
    facts = replace(GOOD, wrong_witnesses=now.wrong_witnesses)
    (said,) = [f.said for f in machine_findings(RECIPE, facts) if f.item == "witness"]
    assert said == (
        "witness jug: on 2026-11-01 the developer poured off was colder than it said by 0.9 C. Until a check is within 0.4 C it counts as "
        "+/- 0.9 C at best. Same vessel, same volume, same bath, filled from the same jug?"
    )


def test_bare_film_brings_the_dark_list() -> None:
    """Box, lamps, phone, gaps."""
    dark = load_recipe(DARK.encode(), "r")
    assert {"box", "phone", "gaps"} <= {q.id for q in questions_for(dark, GOOD)}
    assert not {"box", "phone", "gaps"} & {q.id for q in questions_for(RECIPE, GOOD)}


def test_a_no_withholds_the_start_where_the_list_says_so() -> None:
    """With the way round."""
    preflight = Preflight(1, questions_for(RECIPE, GOOD))
    question = preflight.find("leader")
    assert question is not None
    assert preflight.answer_yes(question, False) is not None
    assert not preflight.passed


def test_a_no_that_does_not_stop_is_recorded_and_goes_on() -> None:
    """The probes do not agree: known, and taken."""
    preflight = Preflight(1, questions_for(RECIPE, GOOD))
    question = preflight.find("agree")
    assert question is not None
    assert preflight.answer_yes(question, False) is None
    assert preflight.answers["agree"] is False


def test_three_counts_in_a_row_are_wanted() -> None:
    """A wrong one begins anew."""
    preflight = Preflight(1, questions_for(RECIPE, GOOD))
    question = preflight.find("sounder")
    assert question is not None
    for tapped, right, done in ((2, True, False), (3, True, False), (1, False, False), (2, True, False), (2, True, False), (2, True, True)):
        preflight.begin_count(2 if tapped != 3 else 3)
        for _ in range(tapped):
            preflight.pressed()
        assert preflight.look_count(question, None) == (right, done)


def lifting(*answered: str) -> tuple[Preflight, dict[str, PreflightQuestion]]:
    """A pre-flight in which these probes have been lifted already, and its lifts by probe."""
    preflight = Preflight(1, questions_for(RECIPE, GOOD))
    lifts = {str(q.probe): q for q in preflight.questions if q.kind == "lift"}
    preflight.answers.update({lifts[name].id: True for name in answered})
    return preflight, lifts


def test_a_probe_on_its_way_back_is_no_swap() -> None:
    """The jug's probe warms up again while the bowl's is lifted: it has answered, so only the bowl's counts."""
    preflight, lifts = lifting("jug")
    preflight.begin_lift(lifts["bowl"], {"jug": 18.0, "bowl": 20.0, "wall": 15.0}, 0.0)
    assert preflight.look_lift(lifts["bowl"], {"jug": 19.5, "bowl": 20.0, "wall": 15.0}) is None
    assert preflight.look_lift(lifts["bowl"], {"jug": 19.9, "bowl": 19.5, "wall": 15.0}) == "bowl"
    assert preflight.refused is None


def test_a_slow_lift_is_seen_at_the_second_try_and_a_drift_never() -> None:
    """A second try within a minute is measured from the first one's begin; a later one from its own."""
    preflight, lifts = lifting()
    preflight.begin_lift(lifts["jug"], {"jug": 20.0, "bowl": 20.0}, 0.0)
    assert preflight.look_lift(lifts["jug"], {"jug": 19.75, "bowl": 20.0}) is None
    preflight.begin_lift(lifts["jug"], {"jug": 19.75, "bowl": 20.0}, 31.0)
    assert preflight.look_lift(lifts["jug"], {"jug": 19.5625, "bowl": 20.0}) == "jug"
    preflight, lifts = lifting("jug")
    preflight.begin_lift(lifts["bowl"], {"jug": 20.0, "bowl": 20.0}, 0.0)
    preflight.begin_lift(lifts["bowl"], {"jug": 19.75, "bowl": 19.75}, 65.0)
    assert preflight.look_lift(lifts["bowl"], {"jug": 19.5625, "bowl": 19.5625}) is None


class Asked:
    """Somebody at the terminal of a simulated station."""

    def __init__(self, tmp_path: Path, room: bool = False, **more: Any) -> None:
        self.air = {JUG: 0.0, BOWL: 0.0, WALL: 0.0}
        liquids = {probe: lambda _, probe=probe: 20.0 - self.air[probe] for probe in (JUG, BOWL, WALL)}
        self.world = World(tmp_path, liquids, room=room)
        self.world.go(5)
        self.answer = self.world.ask(verb="develop", recipe=SHORT, file="r", **more)
        self.questions = self.answer["questions"]

    def again(self, recipe: str = SHORT, **more: Any) -> dict[str, Any]:
        """The terminal is left, and somebody starts anew."""
        self.world.hang_up(1)
        return self.world.ask(verb="develop", recipe=recipe, file="r", **more)

    def yes(self, number: str, yes: bool = True) -> dict[str, object]:
        """A plain answer."""
        return self.world.ask(verb="answer", id=number, yes=yes)

    def lift(self, number: str, really: str) -> dict[str, object]:
        """Lift a probe, this one really."""
        self.world.ask(verb="answer", id=number, phase="begin")
        self.air[really] = 2.0
        self.world.go(5)
        seen = self.world.ask(verb="answer", id=number, phase="look")
        self.air[really] = 0.0
        self.world.go(5)
        return seen

    def count(self) -> dict[str, object]:
        """Listen and tap what was heard."""
        edges = self.world.panel.sounder.edges
        before = len(edges)
        begun = self.world.ask(verb="answer", id="sounder", phase="begin")
        self.world.go(float(begun["sounds_for_s"]) + 0.5)
        heard = sum(on for _, on in edges[before:])
        for _ in range(heard):
            self.world.press(0.1)
            self.world.go(0.3)
        return self.world.ask(verb="answer", id="sounder", phase="look")

    def well(self, question: dict[str, Any]) -> None:
        """Answer anything but a probe to be lifted, so that it is well."""
        if question["kind"] == "press":
            self.world.ask(verb="answer", id=question["id"], phase="begin")
            self.world.press()
            self.world.ask(verb="answer", id=question["id"], phase="look")
        elif question["kind"] == "count":
            assert [self.count()["well"] for _ in range(3)][-1]
        else:
            self.yes(question["id"])


def test_a_person_goes_through_all_of_it_and_the_session_is_armed(tmp_path: Path) -> None:
    """And the answers stand in the journal."""
    asked = Asked(tmp_path)
    assert asked.world.ask(verb="arm")["status"] == 2
    for question in asked.questions:
        number = question["id"]
        if question["kind"] == "yes":
            assert asked.yes(number)["ok"]
        elif question["kind"] == "lift":
            assert asked.lift(number, JUG if number.endswith("jug") else BOWL)["moved"]
        elif question["kind"] == "press":
            asked.world.ask(verb="answer", id=number, phase="begin")
            assert not asked.world.ask(verb="answer", id=number, phase="look")["well"]
            asked.world.press()
            assert asked.world.ask(verb="answer", id=number, phase="look")["well"]
        else:
            assert [asked.count()["well"] for _ in range(3)] == [False, False, True]
    armed = asked.world.ask(verb="arm")
    assert armed["ok"]
    opening = asked.world.records(str(armed["armed"]))[0]
    assert opening["waived"] is None
    assert opening["preflight"]["sounder"] is True
    assert not asked.world.records(str(armed["armed"]), "tap")


def test_a_step_that_only_the_trials_have_shown_is_told_at_arming(tmp_path: Path) -> None:
    """Still water cannot tell it; the lifted probe does. What was told before is not told twice."""
    asked = Asked(tmp_path)
    fine = asked.world.bus.liquids[JUG]
    asked.world.bus.liquids[JUG] = lambda t: round(fine(t) * 2) / 2
    for question in asked.questions:
        number = question["id"]
        if question["kind"] != "lift":
            asked.well(question)
        else:
            name = JUG if number.endswith("jug") else BOWL
            asked.world.ask(verb="answer", id=number, phase="begin")
            for depth_c in (0.5, 1.0, 1.5, 2.0, 1.5, 1.0, 0.5, 0.0) * 2:
                asked.air[name] = depth_c if name == JUG else 0.8 * depth_c
                asked.world.go(5)
                asked.world.ask(verb="answer", id=number, phase="look")
    armed = asked.world.ask(verb="arm")
    assert armed["ok"]
    (told,) = armed["remarks"]
    assert told.startswith("probe jug moves in steps of 0.5 C")


def test_what_the_machine_finds_is_looked_at_once_more_at_arming(tmp_path: Path) -> None:
    """A probe that fell out of the water during the questions withholds the start, and so does a full disk."""
    asked = Asked(tmp_path)
    for question in asked.questions:
        if question["kind"] == "lift":
            asked.lift(question["id"], JUG if question["id"].endswith("jug") else BOWL)
        else:
            asked.well(question)
    asked.world.bus.faults[JUG] = "missing"
    asked.world.go(8)
    refused = asked.world.ask(verb="arm")
    assert refused["status"] == 3
    assert "jug" in refused["lines"][0]
    assert asked.world.station.running is None
    del asked.world.bus.faults[JUG]
    asked.world.go(3)
    assert asked.world.ask(verb="arm")["ok"]


def test_two_probes_that_were_swapped_are_found(tmp_path: Path) -> None:
    """The one that was lifted is not the one that moved: no start."""
    asked = Asked(tmp_path)
    seen = asked.lift("roles jug", BOWL)
    assert not seen["ok"]
    assert seen["lines"] == [
        "pre-flight: the jug probe was lifted and bowl moved: they are swapped. Put each into the other's liquid, or exchange their ids in"
        " the station file and start the station again."
    ]
    assert asked.world.ask(verb="arm")["status"] == 2


def test_hanging_up_ends_the_pre_flight(tmp_path: Path) -> None:
    """Nothing is armed, and the next one can begin."""
    asked = Asked(tmp_path)
    assert asked.world.ask(2, verb="develop", recipe=SHORT, file="r")["status"] == 2
    asked.world.hang_up(1)
    assert asked.world.ask(2, verb="develop", recipe=SHORT, file="r")["ok"]
    assert asked.world.station.running is None


def ids(answer: Mapping[str, Any]) -> set[str]:
    """What is asked."""
    return {q["id"] for q in answer["questions"]}


def test_a_recipe_that_would_leave_blank_film_is_asked_about_first_and_a_no_ends_it(tmp_path: Path) -> None:
    """A fix before the developer."""
    asked = Asked(tmp_path)
    blank = SHORT[: SHORT.index("[[stage]]")] + SHORT[SHORT.index('[[stage]]\nname = "fix"') :] + SHORT[SHORT.index("[[stage]]") :]
    answer = asked.again(blank)
    first = answer["questions"][0]
    assert (first["id"], first["stops"]) == ("sense", True)
    assert first["text"] == "Stage 2 (develop) comes after a fix: a fixed film has nothing left to develop. Start all the same?"
    assert asked.yes("sense", False)["status"] == 2


def test_a_pre_flight_that_was_left_goes_on_with_what_was_not_answered_yes(tmp_path: Path) -> None:
    """Interrupted: the yeses are not asked again, and that it goes on is told; a no that did not stop is asked again."""
    asked = Asked(tmp_path)
    assert "continued" not in asked.answer
    asked.yes("plan")
    assert "if_no" not in asked.yes("jugs")
    assert "compare them" in str(asked.yes("agree", False)["if_no"])
    assert asked.lift("roles jug", JUG)["moved"]
    asked.world.go(120)
    answer = asked.again()
    assert ids(answer) == ids(asked.answer) - {"plan", "jugs", "roles jug"}
    assert answer["of"] == len(asked.questions)
    assert answer["continued"]["answered"] == 3
    assert answer["continued"]["age_s"] == pytest.approx(125, abs=6)
    asked.yes("parts")
    assert ids(asked.again()) == ids(answer) - {"parts"}


def test_a_refused_one_goes_on_at_what_refused_it(tmp_path: Path) -> None:
    """A no that stops ends the start; mixed anew and started again it asks that one and the rest."""
    asked = Asked(tmp_path)
    asked.yes("plan")
    assert not asked.yes("leader", False)["ok"]
    answer = asked.again()
    assert "leader" in ids(answer)
    assert "plan" not in ids(answer)
    assert asked.world.ask(verb="arm")["status"] == 2


def test_what_the_machine_checks_is_checked_again(tmp_path: Path) -> None:
    """A yes of a person passes none of it; and once the disk has room the person goes on."""
    asked = Asked(tmp_path)
    asked.yes("plan")
    asked.world.health = MachineHealth(1 << 20, None)
    asked.world.go(15)
    refused = asked.again()
    assert refused["status"] == 3
    assert "free" in refused["lines"][0]
    asked.world.health = MachineHealth(1 << 40, None)
    asked.world.go(15)
    assert "plan" not in ids(asked.again())


def test_a_yes_counts_for_half_an_hour(tmp_path: Path) -> None:
    """Each from its own moment."""
    asked = Asked(tmp_path)
    asked.yes("plan")
    asked.world.go(CONTINUES_S / 2)
    asked.yes("jugs")
    asked.world.go(CONTINUES_S / 2 + 10)
    assert ids(asked.again()) == ids(asked.answer) - {"jugs"}
    asked.world.go(CONTINUES_S)
    assert ids(asked.again()) == ids(asked.answer)


def test_another_recipe_or_afresh_asks_everything(tmp_path: Path) -> None:
    """A time that was changed makes another recipe; a comment does not."""
    asked = Asked(tmp_path)
    asked.yes("plan")
    assert "plan" not in ids(asked.again("# a remark\n" + SHORT))
    assert ids(asked.again(afresh=True)) == ids(asked.answer)
    asked.yes("plan")
    answer = asked.again(SHORT.replace("2:00", "2:10"))
    assert ids(answer) == ids(asked.answer)
    assert "continued" not in answer


def test_probes_that_were_swapped_are_all_lifted_again(tmp_path: Path) -> None:
    """Putting them right moves each of them, the one that was found right too."""
    asked = Asked(tmp_path, room=True)
    asked.yes("plan")
    assert asked.lift("roles jug", JUG)["moved"]
    assert not asked.lift("roles bowl", WALL)["ok"]
    assert ids(asked.again()) == ids(asked.answer) - {"plan"}


def test_after_the_session_is_armed_the_next_one_asks_everything(tmp_path: Path) -> None:
    """The answers belong to the film that they were given for, by whichever way it was armed."""
    asked = Asked(tmp_path)
    asked.yes("plan")
    asked.world.hang_up(1)
    asked.world.develop()
    asked.world.ask(verb="abandon", why="enough")
    asked.world.go(5)
    assert ids(asked.again()) == ids(asked.answer)


def test_a_waiver_is_told_what_it_passed_over(tmp_path: Path) -> None:
    """Too cold and in half degrees: it starts, and both are remarked on."""
    start_s = FakeClock().mono_s()
    world = World(tmp_path, {JUG: lambda t: round((10.0 + 0.01 * (t - start_s)) * 2) / 2, BOWL: lambda t: 20.0 + 0.002 * (t - start_s)})
    world.go(400)
    answer = world.ask(verb="develop", recipe=SHORT, file="r", waive="a test")
    assert answer["ok"]
    assert any("Outside data: the jug probe reads 1" in remark for remark in answer["remarks"])
    assert any("probe jug moves in steps of 0.5 C" in remark for remark in answer["remarks"])


def test_a_waiver_is_written_down(tmp_path: Path) -> None:
    """In the open record."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop()
    assert world.records(name)[0]["waived"] == "a test"
