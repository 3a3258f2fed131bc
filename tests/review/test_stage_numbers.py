"""Each number of a stage means what its definition says: one promise a test, on journals made for it."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.review.answers import answers
from monitor.review.load import load
from monitor.review.measures import Review, measure
from monitor.review.numbers import NamedSpan, StageMeasures
from monitor.review.summary import estimated_sentence, temperature_sentence
from tests.review.journals import Fault, Played, coefficient_rate, play, recipe_data


def reviewed(made: Played, path: Path) -> Review:
    """A played session, through its file."""
    for seq, record in enumerate(made.records, 1):
        record["seq"] = seq
    return measure(load(made.write(path / "s.jsonl")))


def stage_of(review: Review, stage: int) -> StageMeasures:
    """One stage."""
    return next(s for s in review.numbers.stages if s.stage == stage)


def in_developer(liquid: Callable[[float], float]) -> Callable[[float], float]:
    """A liquid by the time since the begin of the developer, which is poured a minute after the presoak."""
    return lambda t: liquid(max(0.0, t - 60.0))


@pytest.mark.parametrize("comparison_sd_c", [0.05, 0.25])
def test_the_mean_is_as_uncertain_as_the_probes_comparison(tmp_path: Path, comparison_sd_c: float) -> None:
    """Noise averages out over ten minutes, the comparison does not."""
    stage = stage_of(reviewed(play(recipe_data(), lambda _: 20.0, comparison_sd_c=comparison_sd_c), tmp_path), 2)
    assert stage.mean_sd_c is not None
    assert comparison_sd_c < stage.mean_sd_c < comparison_sd_c + 0.02


def test_the_extremes_have_their_own_moments_and_the_stage_alone(tmp_path: Path) -> None:
    """A dip in the middle, a warm end; the readings beside the stage went on rising."""

    def liquid(s: float) -> float:
        return 20.0 - 0.8 * math.exp(-(((s - 250.0) / 60.0) ** 2)) + max(0.0, s - 500.0) * 0.005

    stage = stage_of(reviewed(play(recipe_data(), in_developer(liquid)), tmp_path), 2)
    assert stage.min_at_s == pytest.approx(stage.begin_s + 250.0, abs=15.0)
    assert stage.max_at_s == pytest.approx(stage.actual_end_s, abs=3.0)
    assert stage.max_c == pytest.approx(liquid(stage.actual_s), abs=0.06)


def test_time_outside_the_data_of_the_law_is_counted_on_both_sides(tmp_path: Path) -> None:
    """Data from 19.5 to 20.5 C, the liquid from 19.2 to 20.8 C in a straight line over ten minutes, which then stands."""
    data = recipe_data(valid=["19.5 C", "20.5 C"])

    def liquid(s: float) -> float:
        return 19.2 + 1.6 * min(s, 600.0) / 600.0

    stage = stage_of(reviewed(play(data, in_developer(liquid)), tmp_path), 2)
    below_s, above_s = 600.0 * 0.3 / 1.6, stage.actual_s - 600.0 * 1.3 / 1.6
    assert below_s > 100
    assert above_s > 100
    assert stage.outside_data_s == pytest.approx(below_s + above_s, abs=15.0)


def test_what_live_said_is_told_for_the_actual_end(tmp_path: Path) -> None:
    """The pour was 40 s late; live and recomputed figures speak of the same moment."""
    stage = stage_of(reviewed(play(recipe_data(), lambda _: 20.0, late_s={3: 40.0}), tmp_path), 2)
    assert stage.done_percent == pytest.approx(100.0 * 700.0 / 660.0, abs=0.2)
    assert stage.live_done_percent == pytest.approx(stage.done_percent, abs=0.1)


@pytest.mark.parametrize("source", ["vessel model", "held", "clock"])
def test_estimated_seconds_are_those_of_every_source_that_is_no_probe(tmp_path: Path, source: str) -> None:
    """To the actual end, which was 20 s after the planned one."""
    lost = Fault("missing", 0.0, 5000.0, noticed_s=0.0)
    stage = stage_of(reviewed(play(recipe_data(), lambda _: 20.0, faults=[lost], estimated_source=source, late_s={3: 20.0}), tmp_path), 2)
    assert stage.estimated_s == pytest.approx(stage.actual_s)
    assert [s.what for s in stage.estimated_spans] == [source]
    assert stage.estimated_spans[-1].to_s == pytest.approx(stage.actual_end_s)


@pytest.mark.parametrize(("source", "until_s", "told"), [("clock", 4.0, False), ("clock", 8.0, True), ("held", 4.0, True)])
def test_a_wait_for_the_first_readings_is_not_told_as_estimated(tmp_path: Path, source: str, until_s: float, told: bool) -> None:
    """Neither in the answers nor in the paragraph; the numbers have it. What was held from before, or took longer, is told."""
    made = play(recipe_data(), lambda _: 20.0)
    begin_s = next(r["t_s"] for r in made.records if r["kind"] == "stage" and r["stage"] == 2 and r["event"] == "begin")
    for record in made.records:
        if record["kind"] == "progress" and record["stage"] == 2 and record["t_s"] <= begin_s + until_s:
            record["source"] = source
    review = reviewed(made, tmp_path)
    stage = stage_of(review, 2)
    assert stage.estimated_s > 0.0
    assert (dict(answers(review.numbers).rows)["Estimated"] != "nothing") == told
    assert ("no minute was estimated" not in estimated_sentence(stage)) == told
    assert (stage.told_estimated_s > 0.0) == told


def test_a_witness_is_no_estimate(tmp_path: Path) -> None:
    """Its progress is measured."""
    made = play(recipe_data(), lambda _: 20.0)
    for record in made.records:
        if record["kind"] == "progress":
            record["source"] = "witness"
    assert stage_of(reviewed(made, tmp_path), 2).estimated_s == 0.0


def test_a_stage_by_the_clock_alone_says_nothing_of_its_band(tmp_path: Path) -> None:
    """Its temperature is only assumed; held from a probe, it is said."""
    lost = Fault("missing", 0.0, 5000.0, noticed_s=0.0)
    stage = stage_of(reviewed(play(recipe_data(), lambda _: 20.0, faults=[lost], estimated_source="clock"), tmp_path), 2)
    assert (stage.below_band_s, stage.above_band_s) == (None, None)
    assert "the band of 20 C, 0.5 C either way could not be verified, since no probe was believed" in temperature_sentence(stage)
    held = stage_of(reviewed(play(recipe_data(), lambda _: 20.0, faults=[lost], estimated_source="held"), tmp_path), 2)
    assert (held.below_band_s, held.above_band_s) == (0.0, 0.0)


def test_a_gap_that_lasts_to_the_end_of_the_record_is_told(tmp_path: Path) -> None:
    """From the last good reading on, with the newest fault."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0, faults=[Fault("crc", 200.0, 5000.0)])
    gap = reviewed(made, tmp_path).numbers.gaps[-1]
    last_s = max(r["t_s"] for r in made.records if r["kind"] == "reading")
    assert gap == NamedSpan("developer: crc", 199.0, last_s)


def test_only_a_probe_in_a_liquid_that_is_poured_has_a_lag_by_default(tmp_path: Path) -> None:
    """Eight seconds for the developer's; a bath's probe has had all evening."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0, bath=lambda _: 19.0)
    made.records[0]["probes"] = None
    lags = {p.probe: p.lag_s for p in reviewed(made, tmp_path).numbers.probes}
    assert lags == {"developer": 8.0, "bath": 0.0}


def _beside(made: Played, name: str, role: str, liquid: Callable[[float], float]) -> None:
    """One more probe, without noise and without a lag, that reads whenever the developer's does."""
    for record in list(made.records):
        if record["kind"] == "reading" and record["probe"] == "developer":
            value = round(liquid(record["t_s"]) / 0.0625) * 0.0625
            made.records.append(record | {"probe": name, "role": role, "raw_c": value, "celsius": value, "quality": "good"})
    closing = [r for r in made.records if r.get("event") == "close"]
    made.records = sorted((r for r in made.records if r.get("event") != "close"), key=lambda r: (r["t_s"], r["kind"] != "session"))
    made.records += closing
    made.records[0]["probes"].append({"probe": name, "role": role, "lag_s": 0.0, "comparison_sd_c": 0.1})


def test_a_witness_shows_what_the_developer_probe_did_not_see(tmp_path: Path) -> None:
    """A dip of 1.5 C while that probe was out of the liquid, and the live estimate stood still."""

    def liquid(t: float) -> float:
        return 20.0 - 1.5 * math.exp(-(((t - 400.0) / 50.0) ** 2))

    made = play(recipe_data(), liquid, faults=[Fault("missing", 250.0, 550.0, noticed_s=1.0)])
    for record in made.records:
        if record["kind"] == "progress":
            record["developer_c"] = 20.0
    _beside(made, "beside", "witness", liquid)
    stage = stage_of(reviewed(made, tmp_path), 2)
    assert stage.min_c == pytest.approx(18.5, abs=0.1)
    truth = sum(coefficient_rate(liquid(t + 0.5)) for t in range(round(stage.begin_s), round(stage.actual_end_s)))
    assert stage.done_ref_s == pytest.approx(truth, rel=2e-3)


def test_a_wash_is_measured_by_its_own_probe_and_by_no_other(tmp_path: Path) -> None:
    """The developer's probe lies on the bench meanwhile, at 24 C; it does not stand in where the wash probe is not believed."""
    data = recipe_data(time="3:00")
    data["stage"][3] = {"name": "wash", "role": "wash", "time": "5:00"}
    made = play(data, lambda t: 20.0 if t < 270.0 else 24.0)
    _beside(made, "tap", "wash", lambda _: 14.0)
    lost = {"kind": "trust", "probe": "tap", "believed": False, "why": "a test", "since_t_s": 400.0, "t_s": 400.0}
    made.records.insert(-1, {**made.records[-2], **lost})
    wash = stage_of(reviewed(made, tmp_path), 4)
    assert wash.measured_by == "tap"
    assert wash.min_c == pytest.approx(14.0, abs=0.05)
    assert wash.max_c == pytest.approx(14.0, abs=0.05)


def test_a_probe_that_was_never_compared_is_not_said_to_be(tmp_path: Path) -> None:
    """And one that was, is."""
    compared = [
        stage_of(reviewed(play(recipe_data(time="3:00"), lambda _: 20.0, comparison_sd_c=sd_c), tmp_path), 2).probe_compared
        for sd_c in (0.1, 0.29)
    ]
    assert compared == [True, False]


def test_the_latest_of_all_cues_is_told(tmp_path: Path) -> None:
    """Not that of the last one."""
    made = play(recipe_data(time="3:00"), lambda _: 20.0)
    cues = [r for r in made.records if r["kind"] == "cue"]
    cues[2]["lateness_s"] = 0.25
    assert reviewed(made, tmp_path).numbers.max_cue_lateness_s == 0.25
