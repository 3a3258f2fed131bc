"""What was learned is kept, by name and number, through torn lines and two shells at once."""

from __future__ import annotations

import datetime as dt
import multiprocessing
from dataclasses import replace
from pathlib import Path

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.probes.learned import Comparison, ComparisonPoint, ProbeLag, VesselLag, WitnessCheck, apply
from monitor.prepare.probes.learned_store import (
    load_learned,
    mark_learn_again,
    save_comparison,
    save_lag,
    save_probe_lag,
    save_vessel_lag,
    save_witness_check,
)


def comparison(probe: str = "jug", offset_c: float = 0.37, slope_per_c: float = 0.0, day: str = "2026-03-01") -> Comparison:
    """A comparison at 20 C."""
    points = (ComparisonPoint(20.0, offset_c, 0.01),)
    return Comparison(probe, "28-0316a2795f3c", 20.0, offset_c, slope_per_c, 0.01, 0.004, "glass thermometer", 0.05, "Ann", day, points)


def test_what_is_saved_is_loaded_again_and_the_newest_counts(tmp_path: Path) -> None:
    """By name and by permanent number; an empty folder knows nothing."""
    assert load_learned(tmp_path).comparison("jug") is None
    save_comparison(tmp_path, comparison(offset_c=0.1))
    save_comparison(tmp_path, comparison(offset_c=0.37))
    save_probe_lag(tmp_path, ProbeLag("jug", None, 8.2, 0.1, "2026-03-01"))
    save_vessel_lag(tmp_path, VesselLag("tank", 361.0, 4.0, "bath", "2026-03-01", 500.0, "5 s each minute"))
    learned = load_learned(tmp_path)
    assert learned.comparison("jug") == comparison(offset_c=0.37)
    assert learned.comparison("28-0316a2795f3c") == learned.comparison("jug")
    assert learned.probe_lag("jug") == ProbeLag("jug", None, 8.2, 0.1, "2026-03-01")
    assert learned.vessel_lag("tank") == VesselLag("tank", 361.0, 4.0, "bath", "2026-03-01", 500.0, "5 s each minute")
    assert learned.vessel_lag("drum") is None


def test_a_comparison_of_an_earlier_version_is_read(tmp_path: Path) -> None:
    """A line as version 0.1 wrote it: its points do not tell what they were compared with. A new one comes back with all it tells."""
    file = tmp_path / "learned" / "comparisons.jsonl"
    file.parent.mkdir()
    file.write_text(
        '{"probe":"jug","id":null,"at_c":20.0,"offset_c":0.37,"slope_per_c":0.0,"sd_offset_c":0.01,"sd_slope_per_c":0.004,"reference":'
        '"glass","reference_sd_c":0.05,"who":"Ann","date":"2026-03-01","points":[{"reference_c":20.0,"offset_c":0.37,"sd_c":0.01}]}\n'
    )
    old = load_learned(tmp_path).comparison("jug")
    assert old is not None
    assert old.points == (ComparisonPoint(20.0, 0.37, 0.01),)
    assert apply(old, 20.37) == pytest.approx(20.0)
    new = replace(old, points=(*old.points, ComparisonPoint(0.0, 0.3, 0.01, "melting ice", 0.02)), slope_per_c=0.0035)
    save_comparison(tmp_path, new)
    assert load_learned(tmp_path).comparison("jug") == new


def test_the_newest_check_of_a_witness_counts(tmp_path: Path) -> None:
    """By name and by number. One that failed counts with half of what it was off."""
    assert load_learned(tmp_path).witness_sd_c("tank") == 0.2
    save_witness_check(tmp_path, WitnessCheck("tank", "28-0316a2795f3c", 0.1, "2026-03-01"))
    assert load_learned(tmp_path).witness_sd_c("tank") == load_learned(tmp_path).witness_sd_c("28-0316a2795f3c", "other") == 0.0
    save_witness_check(tmp_path, WitnessCheck("tank", "28-0316a2795f3c", -0.9, "2026-03-02"))
    assert load_learned(tmp_path).witness_sd_c("tank") == 0.45


def test_a_torn_last_line_is_left_out_and_the_next_writing_is_whole(tmp_path: Path) -> None:
    """A power cut in the middle of a line loses that line and no other, and spoils nothing later."""
    save_probe_lag(tmp_path, ProbeLag("jug", None, 8.0, 0.1, "2026-03-01"))
    file = tmp_path / "learned" / "probe_lags.jsonl"
    whole = file.read_bytes()
    file.write_bytes(whole + whole[: len(whole) // 2])
    assert load_learned(tmp_path).probe_lag("jug") == ProbeLag("jug", None, 8.0, 0.1, "2026-03-01")
    save_probe_lag(tmp_path, ProbeLag("bowl", None, 11.0, 0.2, "2026-03-02"))
    learned = load_learned(tmp_path)
    assert learned.probe_lag("jug") is not None
    assert learned.probe_lag("bowl") == ProbeLag("bowl", None, 11.0, 0.2, "2026-03-02")


@pytest.mark.parametrize(
    "line",
    [
        "{not json}",
        "[]",
        '{"probe":"jug"}',
        '{"probe":"jug","id":null,"lag_s":"8","sd_s":0.1,"date":"2026-03-01"}',
        '{"probe":"jug","id":null,"lag_s":8,"sd_s":0.1,"date":"spring"}',
    ],
)
def test_a_damaged_line_before_the_last_is_refused_by_file_and_line(tmp_path: Path, line: str) -> None:
    """Guessing at what was learned is worse than stopping."""
    file = tmp_path / "learned" / "probe_lags.jsonl"
    file.parent.mkdir()
    file.write_text(f'{line}\n{{"probe":"jug","id":null,"lag_s":8,"sd_s":0.1,"date":"2026-03-01"}}\n')
    with pytest.raises(FileWrong) as refused:
        load_learned(tmp_path)
    assert refused.value.lines[0].startswith(f"{file}:1: ")


def test_a_folder_that_cannot_be_written_is_refused_in_one_line(tmp_path: Path) -> None:
    """And nothing is half written."""
    (tmp_path / "learned").write_text("a file where the folder should be")
    with pytest.raises(InputWrong, match=r"cannot be written|cannot be read"):
        save_probe_lag(tmp_path, ProbeLag("jug", None, 8.0, 0.1, "2026-03-01"))


def _save_many(folder: str, probe: str) -> None:
    for k in range(20):
        save_probe_lag(Path(folder), ProbeLag(f"{probe}{k}", None, 8.0, 0.1, "2026-03-01"))


def test_two_shells_at_once_lose_nothing(tmp_path: Path) -> None:
    """Every line of both stands in the file, whole."""
    start = multiprocessing.get_context("spawn")
    shells = [start.Process(target=_save_many, args=(str(tmp_path), name)) for name in ("left", "right")]
    for shell in shells:
        shell.start()
    for shell in shells:
        shell.join()
    assert len(load_learned(tmp_path).probe_lags) == 40


def test_a_failed_check_is_remembered_with_the_vessel(tmp_path: Path) -> None:
    """The lag stays, the note says why to learn again; an unknown vessel is left alone."""
    save_vessel_lag(tmp_path, VesselLag("tank", 361.0, 4.0, "bath", "2026-03-01"))
    mark_learn_again(tmp_path, "tank", "poured off 18.4 C, estimated 19.1 C")
    mark_learn_again(tmp_path, "drum", "never seen")
    lag = load_learned(tmp_path).vessel_lag("tank")
    assert lag is not None
    assert lag.lag_s == 361.0
    assert lag.learn_again == "poured off 18.4 C, estimated 19.1 C"
    assert load_learned(tmp_path).vessel_lag("drum") is None


def test_a_probe_that_reads_high_is_corrected_downwards() -> None:
    """The sign of an offset is probe minus reference; a line is undone exactly."""
    assert apply(comparison(offset_c=0.37), 20.37) == pytest.approx(20.0)
    line = comparison(offset_c=0.37, slope_per_c=-0.004)
    for true_c in (0.0, 20.0, 38.0):
        assert apply(line, true_c + line.offset_at(true_c)) == pytest.approx(true_c, abs=1e-12)


def test_a_comparison_expires_sooner_for_colour_and_speaks_only_near_its_points() -> None:
    """90 days for a narrow band, a year otherwise; a point at 20 C holds from 18 to 22 C and says little about 38 C."""
    found = comparison(day="2026-03-01")
    assert found.expires(narrow=True) == dt.date(2026, 5, 30)
    assert found.expires(narrow=False) == dt.date(2027, 3, 1)
    assert found.valid_c == (18.0, 22.0)
    assert found.sd_at(38.0) > 1.3 * found.sd_at(20.0)
    assert found.age_days(dt.date(2026, 6, 15)) == 106


def test_what_a_person_measured_goes_before_what_sessions_told(tmp_path: Path) -> None:
    """By name or by number, in whichever order they came; a dip takes back what was offered before it, a check of the vessel does not."""
    found = ProbeLag("jug", "28-0316a2795f3c", 11.0, 1.0, "2026-03-02", "20260302-1900")
    dip = ProbeLag("jug", None, 8.0, 0.1, "2026-03-01")
    save_lag(tmp_path, found)
    assert load_learned(tmp_path).probe_lag("jug", "28-0316a2795f3c") == load_learned(tmp_path).probe_lag("jug") == found
    assert load_learned(tmp_path).probe_lag("jug", "28-0416c1a2b3d4") is None
    save_lag(tmp_path, dip)
    for _ in range(2):
        assert load_learned(tmp_path).probe_lag("jug", "28-0316a2795f3c") == dip
        assert load_learned(tmp_path).offered_probe_lag("jug", "28-0316a2795f3c") == (found if _ else None)
        save_lag(tmp_path, found)
    save_lag(tmp_path, replace(found, adopted=True))
    assert load_learned(tmp_path).probe_lag("jug", "28-0316a2795f3c") == replace(found, adopted=True)
    assert load_learned(tmp_path).offered_probe_lag("jug", "28-0316a2795f3c") is None
    save_lag(tmp_path, replace(dip, lag_s=9.0))
    assert load_learned(tmp_path).probe_lag("jug", "28-0316a2795f3c") == replace(dip, lag_s=9.0)
    vessel = VesselLag("tank", 360.0, 4.0, "bath", "2026-03-01")
    offer = VesselLag("tank", 160.0, 20.0, "bath", "2026-03-02", session="20260302-1900")
    save_lag(tmp_path, vessel)
    save_lag(tmp_path, offer)
    mark_learn_again(tmp_path, "tank", "poured off 18.4 C, estimated 19.1 C")
    learned = load_learned(tmp_path)
    assert learned.vessel_lag("tank") == replace(vessel, learn_again="poured off 18.4 C, estimated 19.1 C")
    assert learned.offered_vessel_lag("tank") == offer
    save_lag(tmp_path, vessel)
    assert load_learned(tmp_path).offered_vessel_lag("tank") is None


@pytest.mark.parametrize("lag_s", ["0.0", "-3.0"])
def test_a_lag_that_is_none_is_refused_with_its_line(tmp_path: Path, lag_s: str) -> None:
    """Nothing divides by it."""
    file = tmp_path / "learned" / "probe_lags.jsonl"
    file.parent.mkdir()
    file.write_text(f'{{"probe":"jug","id":null,"lag_s":{lag_s},"sd_s":0.1,"date":"2026-03-01"}}\n')
    with pytest.raises(FileWrong, match="lag_s is not above 0"):
        load_learned(tmp_path)
