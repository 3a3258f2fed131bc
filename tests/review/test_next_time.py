"""One sentence for the next film: the first rule that applies, with a number where one can be had."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from monitor.review.judgement import Judgement
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.next_time import NOTHING, next_time
from monitor.review.numbers import NO_PROBE, NamedSpan, SessionMeasures, StageMeasures
from tests.review.journals import play, recipe_data


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> SessionMeasures:
    """An evening on which everything went well."""
    made = play(recipe_data(), lambda _: 20.0)
    return measure(load(made.write(tmp_path_factory.mktemp("evening") / "s.jsonl"))).numbers


def developed(session: SessionMeasures) -> StageMeasures:
    """Its developing stage."""
    return next(s for s in session.stages if s.role == "develop")


def test_where_nothing_went_wrong_there_is_nothing_to_change(session: SessionMeasures) -> None:
    """And nothing is praised."""
    assert next_time(session, [developed(session)], None) == NOTHING


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"ended_by": "assumed", "end_told": False, "overrun_s": None}, "tap as you pour: nobody told when the develop bath was left"),
        (
            {"measured_by": NO_PROBE, "done_sd_percent": 3.2},
            "put a probe into the developer or its witness: without one its development is known to 6 % at best",
        ),
        ({"overrun_s": 20.0, "actual_s": 680.0}, "pour off when NOW says: 20 s late was 2.9 % too much"),
        (
            {"ended_by": "assumed", "end_told": False, "overrun_s": None, "lifted": True},
            "tap as you lift: nobody told when the develop bath was left",
        ),
        ({"overrun_s": 20.0, "actual_s": 680.0, "lifted": True}, "lift it out when NOW says: 20 s late was 2.9 % too much"),
        ({"overrun_s": -22.0, "actual_s": 638.0}, "pour off when NOW says: 22 s early was 3.4 % too little"),
        ({"probe_compared": False, "done_sd_percent": 2.7}, "compare the probe first (evenbath compare): +/- 0.20 C is 5 % of development"),
        ({"longer_s": 300.0}, "have the second clock running from the first bath: the power may go, and nobody knows for how long"),
    ],
)
def test_each_rule_has_its_sentence(session: SessionMeasures, changes: dict[str, object], says: str) -> None:
    """With the numbers of the evening."""
    assert next_time(session, [replace(developed(session), **changes)], None) == says  # type: ignore[arg-type]


def test_a_bath_that_cooled_gives_the_degrees_and_the_time(session: SessionMeasures) -> None:
    """Either would do."""
    stage = developed(session)
    cooled = replace(stage, planned_end_s=stage.begin_s + 697.0, mean_kinetic_c=19.4)
    assert next_time(session, [cooled], None) == "start developer and bath 0.6 C warmer to finish in 11:00, or plan 11:37"
    warmed = replace(stage, planned_end_s=stage.begin_s + 630.0, mean_kinetic_c=20.5)
    assert next_time(session, [warmed], None) == "start developer and bath 0.5 C cooler to finish in 11:00, or plan 10:30"


def test_colour_out_of_its_band_gives_the_degrees(session: SessionMeasures) -> None:
    """By the mean."""
    colour = replace(developed(session), steered=False, rate_law=None, reference_c=37.8, mean_c=37.4, below_band_s=170.0, above_band_s=0.0)
    assert next_time(session, [colour], None) == "start it 0.4 C warmer: it was 0.4 C below 37.8 C on average"


def test_a_lost_probe_is_named_and_a_lag_asked_for_where_none_was_known(session: SessionMeasures) -> None:
    """Held: with the vessel's lag less would have been guessed."""
    stage = developed(session)
    spans = (NamedSpan("held", stage.begin_s + 363.0, stage.begin_s + 560.0),)
    lost = replace(stage, estimated_s=197.0, estimated_spans=spans)
    trust = [{"t_s": stage.begin_s + 378.0, "probe": "jug", "believed": False, "why": "in air", "since_t_s": stage.begin_s + 363.0}]
    said = next_time(replace(session, trust=trust), [lost], None)
    assert said == (
        'fasten the probe "jug" where no hand lifts it: from 6:03 it read like one in air, and learn the vessel\'s lag (evenbath lag)'
    )
    silent = [{**trust[0], "why": "no reading for 15 s"}]
    said = next_time(replace(session, trust=silent), [lost], None)
    assert said.startswith('look at the lead and the place of the probe "jug", which was lost at 6:03')


def test_a_witness_that_nothing_had_shown_asks_for_the_developer_poured_off(tmp_path: Path) -> None:
    """As its opening tells it; after `develop --detach` nobody else asks. Not of one that was shown, nor of another probe."""
    for role, worse_c, asked in (("witness", 0.2, True), ("witness", 0.0, False), ("developer", None, False)):
        made = play(recipe_data(), lambda _: 20.0)
        told = {**made.records[0]["probes"][0], "role": role, **({} if worse_c is None else {"witness_sd_c": worse_c})}
        made.records[0]["probes"][0] = told
        for record in made.records:
            if record["kind"] == "reading" and record["probe"] == "developer":
                record["role"] = role
        numbers = measure(load(made.write(tmp_path / f"{role}-{worse_c}.jsonl"))).numbers
        said = next_time(numbers, [developed(numbers)], None)
        command = f"evenbath lag {numbers.session} --probe developer --poured-off"
        expected = (
            f"tell how warm the developer was that you poured off, or measure it next time ({command}): as this film began, nothing had "
            "shown that the witness speaks for it"
        )
        assert said == (expected if asked else NOTHING)


def test_the_dry_film_speaks_before_everything_else(session: SessionMeasures) -> None:
    """What it shows is what it was all for."""
    late = replace(developed(session), overrun_s=20.0, actual_s=680.0)
    seen = Judgement("2026-03-02T08:00:00Z", "260301-1", seen=("air-bells",))
    assert next_time(session, [late], seen).startswith("knock the tank once or twice after pouring in (the dry film:")


def test_exchanged_probes_are_put_right_first_and_nothing_rests_on_their_readings(session: SessionMeasures) -> None:
    """Their moved end, their lost time and their comparison teach nothing; the dry film does."""
    stage = replace(developed(session), planned_end_s=developed(session).begin_s + 500.0, mean_kinetic_c=23.2, probe_compared=False)
    assert next_time(session, [stage], None).startswith("compare the probe first")
    swapped = replace(session, exchanged=("jug", "bowl"))
    said = 'swap the probes "jug" and "bowl", which hung in each other\'s liquid: their places, or their ids in the station file'
    assert next_time(swapped, [stage], None) == said
    seen = Judgement("2026-03-02T08:00:00Z", "260301-1", seen=("air-bells",))
    assert next_time(swapped, [stage], seen).startswith(f"{said}; knock the tank once or twice")


def test_lateness_of_the_station_is_not_laid_at_the_hands(session: SessionMeasures) -> None:
    """They poured when they were told."""
    late = replace(developed(session), overrun_s=20.0, actual_s=680.0, station_late_s=18.0)
    assert next_time(session, [late], None) == NOTHING
