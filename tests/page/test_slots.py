"""The words of the page in each of its states, and the contract's figures beside them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from monitor.live.view.state import Point
from monitor.page.film import no_figures
from monitor.page.slots import inside_for_s, of_probes, old
from tests.page.served import DEMO, PROBES, at, gate, made_of, waiting

KEYS = {
    "light", "state", "stage", "stage_of", "to_pour_s", "end_s", "end_sd_s", "done_percent", "done_sd_percent", "developer_c",
    "developer_sd_c", "source", "age_s", "station_age_s", "fault", "films",
}  # fmt: skip


@pytest.fixture(scope="module")
def states(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    """One snapshot of each."""
    folder = tmp_path_factory.mktemp("states")
    return {
        "waiting": waiting(folder),
        "gate": gate(folder),
        "running": at(folder, "02-probe-knocked-out", 320.0),
        "fault": at(folder, "02-probe-knocked-out", 425.0),
        "ready": at(folder, "01-cold-laundry", 661.0),
        "now": at(folder, "01-cold-laundry", 688.0),
        "cut": at(folder, "06-power-cut", 420.0),
        "done": at(folder, "02-probe-knocked-out", 1e9),
        "colour": at(folder, "04-colour-left-its-band", 1e9),
    }


def test_every_snapshot_is_whole(states: dict[str, dict[str, Any]]) -> None:
    """All keys of the contract in each state, as JSON."""
    for name, told in states.items():
        assert told.keys() >= KEYS, name
        assert told["light"] is True
        json.dumps(told, allow_nan=False)
    assert KEYS - {"films"} == no_figures().keys()


@pytest.mark.parametrize("name", ["waiting", "gate", "running", "ready", "now", "done"])
def test_each_state_is_called_as_the_contract_calls_it(states: dict[str, dict[str, Any]], name: str) -> None:
    """By the hands' own rules."""
    assert states[name]["state"] == name


def test_the_figures_are_those_of_the_session(states: dict[str, dict[str, Any]]) -> None:
    """On the stage's clock, unrounded, one standard deviation; the age grows with the station's word."""
    told = states["running"]
    assert (told["stage"], told["stage_of"], told["source"]) == (1, 3, "developer")
    assert told["end_s"] - 320.0 - told["to_pour_s"] == pytest.approx(15.0, abs=1.0), "the drain"
    assert 45.0 < told["done_percent"] < 50.0
    assert told["station_age_s"] == pytest.approx(0.4)
    assert told["age_s"] == pytest.approx(0.4, abs=0.01)
    assert told["films"][0]["to_pour_s"] == told["to_pour_s"]
    assert told["films"][0]["vessel"] is None


def test_a_session_with_nothing_wrong_says_whose_temperature_counts(states: dict[str, dict[str, Any]]) -> None:
    """And what the hands do next."""
    slots = states["running"]["slots"]
    assert slots["head"] == "DEVELOP · 1 of 3"
    assert slots["trust"].startswith("Probe in the developer believed")
    assert slots["hint"] == "next 6:00, for 0:10; pour at about 11:19"
    assert (slots["figure"], slots["verb"], slots["counts"]) == ("6:00", "to POUR OFF", True)
    assert re.fullmatch(r"\d\d\.\d\d\u00a0°C ±0\.\d\d", slots["temperature"])


def test_a_fault_has_its_reason_and_what_to_do(states: dict[str, dict[str, Any]]) -> None:
    """In the slot of trust, and as one sentence in the snapshot."""
    told = states["fault"]
    assert told["fault"].startswith("FAULT 6:19 developer: reading fell")
    assert told["slots"]["fault"].endswith("Watch the second clock too.")
    assert "estimated from the bath" in told["slots"]["temperature_of"]
    assert "; ;" not in dict(told["slots"]["more"])["Trust"]


def test_the_gate_says_how_far_off_it_is_and_that_nothing_starts_here(states: dict[str, dict[str, Any]]) -> None:
    """The figure is the time inside the band."""
    slots = states["gate"]["slots"]
    assert slots["figure"] == "0:00"
    assert slots["hint"] == "0.60\u00a0°C too cold"
    assert slots["then"] == "Warm the jug, stir, wait. Nothing can be started here."


def test_ready_is_framed_and_fixed_and_now_is_framed_more(states: dict[str, dict[str, Any]]) -> None:
    """Shape changes, not hue."""
    assert states["ready"]["slots"]["frame"] == "thin"
    assert states["ready"]["slots"]["hint"].endswith("will not move again"), "fixed would be the fixer's word"
    assert states["ready"]["slots"]["head"] == "DEVELOP · READY · 1 of 3"
    assert states["now"]["slots"]["head"] == "DEVELOP · NOW · 1 of 3"
    slots = states["now"]["slots"]
    assert (slots["frame"], slots["figure"], slots["counts"]) == ("thick", "NOW", False)
    assert slots["verb"].startswith("POUR OFF; then STOP")
    assert states["now"]["to_pour_s"] == 0.0


def test_after_the_development_nothing_is_said_to_be_in_the_developer(tmp_path: Path) -> None:
    """It is in the drain; the stage's end is told as the earliest one, since no NOW ends it."""
    slots = at(tmp_path, "01-cold-laundry", 900.0)["slots"]
    told = json.dumps(slots, ensure_ascii=False)
    assert "in the developer" not in told
    assert ">developer</text>" not in slots["trace"]
    assert dict(slots["more"])["End of this stage"].startswith("not before ")


def test_after_a_power_cut_there_are_two_times_and_never_one(states: dict[str, dict[str, Any]]) -> None:
    """Earliest and latest."""
    assert re.match(r"end between \d+:\d\d and \d+:\d\d", states["cut"]["slots"]["hint"])


def test_what_is_done_is_told_with_its_doubt(states: dict[str, dict[str, Any]]) -> None:
    """Time, how much longer, what was estimated; by the clock where nothing was steered."""
    slots = states["done"]["slots"]
    assert (slots["figure"], slots["verb"]) == ("100.0\u00a0%", "developed, ±1.8, live said")
    assert slots["hint"] == "11:37; 37\u00a0s longer than planned"
    assert "3:16 of 11:37 was estimated." in slots["trust"]
    assert slots["report"] == "261106-2005a"
    assert states["done"]["done_percent"] == pytest.approx(100.0, abs=0.5)
    assert states["colour"]["slots"]["verb"] == "develop, by the clock"


def test_only_a_change_of_state_is_read_aloud(states: dict[str, dict[str, Any]], tmp_path: Path) -> None:
    """The same words a second later."""
    later = at(tmp_path, "02-probe-knocked-out", 321.0)
    assert later["slots"]["said"] == states["running"]["slots"]["said"]
    assert later["slots"]["figure"] != states["running"]["slots"]["figure"]
    assert states["now"]["slots"]["said"] != states["ready"]["slots"]["said"]


def test_the_bath_is_told_with_how_it_moves(states: dict[str, dict[str, Any]]) -> None:
    """Degrees a minute, while no session runs."""
    slots = states["waiting"]["slots"]
    assert slots["verb"] == "bath, falls 0.3\u00a0°C a minute"
    assert slots["temperature_of"] == "developer, probe jug, 0\u00a0s old"


def test_without_a_session_a_reading_has_the_doubt_that_the_station_tells_of_it() -> None:
    """0.09 C of its comparison and a step of the register; of an older station, which tells none, that of a glass thermometer."""
    jug, bowl = PROBES
    told = of_probes([jug, bowl], {}).temperature
    assert told == "20.00 C +/- 0.19"
    older = {key: value for key, value in jug.items() if key != "comparison_sd_c"}
    assert of_probes([older, bowl], {}).temperature == "20.00 C +/- 0.61"
    assert of_probes([{**older, "compared": False}, bowl], {}).temperature == "20.00 C +/- 0.59"
    assert of_probes([{**older, "role": "witness"}, bowl], {}).temperature == "20.00 C +/- 0.73"


def test_what_comes_from_outside_has_no_control_character(tmp_path: Path) -> None:
    """The reason for a close; a recipe's name with tags in it stays text (it is put into the page as text alone)."""
    lines = (DEMO / "01-cold-laundry.jsonl").read_text(encoding="utf-8").splitlines()
    first, last = json.loads(lines[0]), json.loads(lines[-1])
    first["recipe"]["name"] = "a<script>b"
    told = made_of(tmp_path, first["session"], [json.dumps(first), *lines[1:-1], json.dumps({**last, "why": "x\x1b[31m\u202e<b>"})])
    text = json.dumps(told, ensure_ascii=False)
    assert ["Recipe", "a<script>b"] in told["slots"]["more"]
    assert "\\u001b" not in text
    assert "\u202e" not in text


def test_inside_the_band_is_counted_back_to_the_last_point_outside() -> None:
    """Not further; and not at all where the newest is outside or not known."""
    points = [Point(float(k), 20.0 + (1.0 if k < 5 else 0.05), False, None) for k in range(10)]
    assert inside_for_s(points, 20.0, 0.15, 9.5) == 4.5
    assert inside_for_s([*points, Point(10.0, 20.2, False, None)], 20.0, 0.15, 10.0) == 0.0
    assert inside_for_s([*points, Point(10.0, None, False, None)], 20.0, 0.15, 10.0) == 0.0


def test_ages_are_told_in_seconds_and_then_in_minutes() -> None:
    """And never read is never."""
    assert (old(4.4), old(75.0), old(None)) == ("4 s old", "1:15 old", "never read")
