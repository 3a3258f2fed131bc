"""What a session believes at its start, what its first record says of that, and what a later run makes of it."""

import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from monitor.core.development.beliefs import Beliefs
from monitor.core.probes.learned import (
    DEFAULT_LAG_S,
    NOT_COMPARED_SD_C,
    Comparison,
    ComparisonPoint,
    Learned,
    ProbeLag,
    VesselLag,
    WitnessCheck,
)
from monitor.core.recipe.reader import load_recipe
from monitor.core.session.session import Session
from monitor.live.station.running import StartRequest, beliefs_of, opening_fields, options_of
from tests.fake_clock import FakeClock
from tests.live.simulated import BOWL, JUG, SHORT, config_for

RECIPE = load_recipe(SHORT.encode(), "r")


def opening(
    learned: Learned | None = None, has_switch: bool = True, zero_s: float = 1000.0, **wanted: Any
) -> tuple[Beliefs, dict[str, Any]]:
    """The beliefs and the fields of the open record of a station with two probes: the file gives the jug a lag of 8 s."""
    config = config_for(Path("/nowhere"), has_switch=has_switch)
    return opening_fields(config, StartRequest(RECIPE, **wanted), learned or Learned(), FakeClock(), zero_s, {"sounder": True})


def comparison(probe: str, offset_c: float) -> Comparison:
    """A probe that reads so much too high."""
    return Comparison(
        probe, None, 20.0, offset_c, 0.0, 0.02, 0.0, "glass", 0.05, "me", "2026-11-01", (ComparisonPoint(20.0, offset_c, 0.02),)
    )


def lags(beliefs: Beliefs) -> dict[str, float]:
    """Of each probe."""
    return {probe.name: probe.lag_s for probe in beliefs.probes}


def test_a_step_that_was_found_before_the_start_stands_in_the_opening_and_is_known_after_a_restart() -> None:
    """Of the probe that has it alone."""
    config = config_for(Path("/nowhere"))
    beliefs, fields = opening_fields(config, StartRequest(RECIPE), Learned(), FakeClock(), 0.0, {}, {"jug": 0.25})
    assert [p.get("step_c") for p in fields["probes"]] == [0.25, None]
    assert "step_c" not in fields["probes"][1]
    for one in (beliefs, beliefs_of(fields, RECIPE)):
        assert {p.name: p.step_c for p in one.probes} == {"jug": 0.25, "bowl": None}


@pytest.mark.parametrize("key", [JUG, "jug"])
def test_a_lag_that_was_learned_wins_over_the_station_files(key: str) -> None:
    """Found by the probe's id or by its name; else the file's, else the usual one."""
    assert lags(opening()[0]) == {"jug": 8.0, "bowl": DEFAULT_LAG_S}
    learned = Learned(probe_lags={key: ProbeLag("jug", JUG, 11.5, 0.4, "2026-11-01")})
    assert lags(opening(learned)[0]) == {"jug": 11.5, "bowl": DEFAULT_LAG_S}


@pytest.mark.parametrize("key", [BOWL, "bowl"])
def test_a_comparison_counts_by_the_probes_id_or_its_name(key: str) -> None:
    """It makes the probe's own doubt small, and the record says against what it was made."""
    beliefs, fields = opening(Learned(comparisons={key: comparison("bowl", 0.3)}))
    sd_c = {probe.name: probe.comparison_sd_c for probe in beliefs.probes}
    assert sd_c["jug"] == NOT_COMPARED_SD_C
    assert 0.05 <= sd_c["bowl"] < 0.1
    jug, bowl = fields["probes"]
    assert jug["compared"] is None
    assert (bowl["compared"]["against"], bowl["compared"]["offset_c"]) == ("glass", 0.3)


def test_a_comparison_with_a_glass_thermometer_is_one() -> None:
    """It leaves 0.3 C, as much as none; compared it is all the same, in this life and in the next one."""
    glass = replace(comparison("jug", 0.3), reference_sd_c=0.3)
    beliefs, fields = opening(Learned(comparisons={"jug": glass, "bowl": comparison("bowl", 0.1)}))
    for probes in (beliefs.probes, beliefs_of(json.loads(json.dumps(fields)), RECIPE).probes):
        assert [p.was_compared for p in probes] == [True, True]
        assert probes[0].comparison_sd_c > NOT_COMPARED_SD_C
    assert Session(RECIPE, beliefs, options_of(fields)).snapshot.compared
    not_compared = opening(Learned(comparisons={"bowl": comparison("bowl", 0.1)}))
    assert not Session(RECIPE, beliefs_of(not_compared[1], RECIPE), options_of(fields)).snapshot.compared


def test_an_open_record_of_an_earlier_version_tells_by_the_uncertainty() -> None:
    """It did not say of each probe whether it had been compared."""
    _, fields = opening(Learned(comparisons={"bowl": comparison("bowl", 0.1)}))
    for told in fields["probes"]:
        del told["compared"]
    assert [p.was_compared for p in beliefs_of(fields, RECIPE).probes] == [False, True]


@pytest.mark.parametrize(
    ("checks", "worse_c"),
    [
        ({}, 0.2),
        ({"jug": WitnessCheck("jug", None, 0.4, "2026-11-01")}, 0.0),
        ({JUG: WitnessCheck("jug", JUG, -0.1, "2026-11-01")}, 0.0),
        ({"jug": WitnessCheck("jug", None, -0.5, "2026-11-01")}, 0.25),
        ({JUG: WitnessCheck("jug", JUG, 0.6, "2026-11-01"), "jug": WitnessCheck("jug", None, 0.0, "2026-10-01")}, 0.3),
    ],
)
def test_a_witness_is_less_sure_until_the_developer_poured_off_has_shown_it(checks: dict[str, WitnessCheck], worse_c: float) -> None:
    """0.2 C in quadrature with its comparison; after a check that failed half of what it was off; the other probes are as sure as ever."""
    learned = Learned(comparisons={"jug": comparison("jug", 0.3), "bowl": comparison("bowl", 0.3)}, witness_checks=checks)
    own = comparison("jug", 0.3).sd_at(20.0)
    config = config_for(Path("/nowhere"))
    witnesses = replace(config, probes=tuple(replace(p, role="witness") if p.name == "jug" else p for p in config.probes))
    beliefs, fields = opening_fields(witnesses, StartRequest(RECIPE), learned, FakeClock(), 0.0, {})
    jug, bowl = beliefs.probes
    assert jug.comparison_sd_c == pytest.approx(math.hypot(own, worse_c))
    assert bowl.comparison_sd_c == pytest.approx(own)
    told = fields["probes"][0]
    assert told["witness_sd_c"] == worse_c
    assert told["compared"]["sd_c"] == pytest.approx(own)
    assert "witness_sd_c" not in fields["probes"][1]
    assert beliefs_of(json.loads(json.dumps(fields)), RECIPE).probes == beliefs.probes
    assert opening(learned)[0].probes[0].comparison_sd_c == pytest.approx(own)


def test_with_both_the_comparison_of_the_id_counts() -> None:
    """A name may have been given to another probe since."""
    learned = Learned(comparisons={"bowl": comparison("bowl", 0.9), BOWL: comparison("bowl", 0.3)})
    assert opening(learned)[1]["probes"][1]["compared"]["offset_c"] == 0.3


def test_a_vessels_lag_is_that_of_the_named_one_else_of_the_recipes() -> None:
    """`--vessel` names another than the recipe does."""
    known = {"lidded tank": 360.0, "old": 500.0}
    learned = Learned(vessel_lags={name: VesselLag(name, lag_s, 20.0, "bath", "2026-11-01") for name, lag_s in known.items()})
    for vessel, name in ((None, "lidded tank"), ("old", "old")):
        beliefs, fields = opening(learned, vessel=vessel)
        assert beliefs.vessel is not None
        assert (beliefs.vessel.lag_s, fields["vessel"]["vessel"]) == (known[name], name)
    assert opening(learned, vessel="new")[0].vessel is None


WANTED: Mapping[str, Any] = {"lamp": True, "pour_c": 20.3, "override_gate": "cold hands", "waived": "alone", "vessel": "old"}


def test_what_was_asked_for_stands_in_the_first_record() -> None:
    """With what a later run needs: the boot, the monotonic moment of t_s = 0, whether the wall clock was set."""
    _, fields = opening(**WANTED)
    assert {key: fields[key] for key in ("lamp", "pour_c", "override_gate", "waived")} == {k: v for k, v in WANTED.items() if k != "vessel"}
    assert (fields["boot_id"], fields["mono0_s"], fields["wall_set"], fields["zone"]) == ("boot-1", 1000.0, True, "UTC")
    assert (fields["station"], fields["has_switch"], fields["preflight"]) == ("laundry", True, {"sounder": True})


@pytest.mark.parametrize("has_switch", [True, False])
@pytest.mark.parametrize("wanted", [{}, WANTED])
def test_a_later_run_believes_and_may_do_the_same(wanted: Mapping[str, Any], has_switch: bool) -> None:
    """Rebuilt from the first record alone."""
    learned = Learned(
        comparisons={JUG: comparison("jug", 0.3)},
        probe_lags={BOWL: ProbeLag("bowl", BOWL, 11.5, 0.4, "2026-11-01")},
        vessel_lags={"old": VesselLag("old", 500.0, 20.0, "bath", "2026-11-01")},
    )
    beliefs, fields = opening(learned, has_switch, **wanted)
    assert beliefs_of(fields, RECIPE) == beliefs
    assert beliefs.pour_c == wanted.get("pour_c")
    options = options_of(fields)
    assert (options.mode, options.has_switch, options.lamp) == ("live", has_switch, wanted.get("lamp", False))
    assert options.override_gate == wanted.get("override_gate")
