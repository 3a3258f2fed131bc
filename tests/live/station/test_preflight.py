"""The pre-flight: what the machine finds, and what a person is asked and made to try."""

from dataclasses import replace
from pathlib import Path

import pytest

from monitor.core.recipe.reader import load_recipe
from monitor.live.station.preflight import Preflight, PreflightFacts, machine_findings, questions_for, stopping
from monitor.live.station.probes_now import ProbeStatus
from tests.live.simulated import BOWL, DARK, JUG, SHORT, WALL, World

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
    """And what is remarked has words."""
    assert stops(GOOD) == []


@pytest.mark.parametrize(
    ("facts", "item"),
    [
        (probe("jug", good_age_s=None, quality=None), "probes"),
        (probe("jug", good_age_s=9.0, quality="crc"), "probes"),
        (probe("bowl", good_age_s=None, quality="missing"), "probes"),
        (replace(GOOD, free_bytes=1 << 20), "disk"),
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


class Asked:
    """Somebody at the terminal of a simulated station."""

    def __init__(self, tmp_path: Path) -> None:
        self.air = {JUG: 0.0, BOWL: 0.0}
        self.world = World(tmp_path, {JUG: lambda t: 20.0 - self.air[JUG], BOWL: lambda t: 20.0 - self.air[BOWL]})
        self.world.go(5)
        answer = self.world.ask(verb="develop", recipe=SHORT, file="r")
        self.questions = answer["questions"]

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


def test_two_probes_that_were_swapped_are_found(tmp_path: Path) -> None:
    """The one that was lifted is not the one that moved: no start."""
    asked = Asked(tmp_path)
    seen = asked.lift("roles jug", BOWL)
    assert not seen["ok"]
    assert "swapped" in seen["lines"][0]  # type: ignore[index]
    assert asked.world.ask(verb="arm")["status"] == 2


def test_hanging_up_ends_the_pre_flight(tmp_path: Path) -> None:
    """Nothing is armed, and the next one can begin."""
    asked = Asked(tmp_path)
    assert asked.world.ask(2, verb="develop", recipe=SHORT, file="r")["status"] == 2
    asked.world.hang_up(1)
    assert asked.world.ask(2, verb="develop", recipe=SHORT, file="r")["ok"]
    assert asked.world.station.running is None


def test_a_waiver_is_written_down(tmp_path: Path) -> None:
    """In the open record."""
    world = World(tmp_path)
    world.go(5)
    name = world.develop()
    assert world.records(name)[0]["waived"] == "a test"
