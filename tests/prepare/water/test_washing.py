"""Washing: counted by ear, with its arithmetic shown; cold water; tests for what was left in, with their hazards."""

from __future__ import annotations

import json
import math
from collections import Counter
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.errors import InputWrong
from monitor.prepare.water.washing import RESIDUAL_TESTS, fill_and_dump, fill_lines, residual_lines, running, water_warnings


def test_three_fillings_are_counted_by_ear(tmp_path: Path) -> None:
    """5, 10 and 20 movements (teaching texts), two ticks each, once the tank is full; READY says pour out."""
    recipe, trace, journal = tmp_path / "r.toml", tmp_path / "t.csv", tmp_path / "j.jsonl"
    trace.write_text("t_s,developer_c,bath_c\n0,20,20\n3600,20,20\n", encoding="utf-8")
    said = ["--set", "time=9:30", "--set", "wash=fill and dump"]
    assert main(["new", "--from", "bench", "--out", str(recipe), "--usual", *said]) == 0
    assert main(["rehearse", str(recipe), "--trace", str(trace), "--journal", str(journal), "--speed", "max", "--seed", "1"]) == 0
    records = [json.loads(line) for line in journal.read_text(encoding="utf-8").splitlines()]
    names = {r["stage"]: r["name"] for r in records if r["kind"] == "stage"}
    begins = {r["stage"]: r["t_s"] for r in records if r["kind"] == "stage" and r["event"] == "begin"}
    ticks: Counter[str] = Counter()
    for record in records:
        if record["kind"] == "cue" and record["cue"] == "tick":
            stage = max(number for number, t_s in begins.items() if t_s <= record["t_s"])
            ticks[names[stage]] += 1
            if names[stage].startswith("wash"):
                assert record["t_s"] >= begins[stage] + 20.0
    assert [ticks[f"wash, {n} movements"] for n in (5, 10, 20)] == [10, 20, 40]
    ready = {round(r["t_s"]) for r in records if r["kind"] == "cue" and r["cue"] == "ready"}
    assert ready >= {round(t_s + s) for (number, t_s), s in zip(sorted(begins.items())[4:7], (30.0, 40.0, 60.0), strict=True)}


def test_the_arithmetic_of_dilution_is_shown() -> None:
    """15 ml of 500 ml stay: 0.03, three times over (arithmetic)."""
    wash = fill_and_dump(500.0, 15.0)
    assert wash.after == pytest.approx((0.03, 0.0009, 0.000027))
    said = "\n".join(fill_lines(wash))
    assert "about 1 in 33, about 1 in 1,100, about 1 in 37,000" in said
    assert "What is in the gelatine comes out more slowly" in said
    with pytest.raises(InputWrong):
        fill_and_dump(500.0, 500.0)


def test_running_water_goes_by_its_flow_and_never_under_the_trades_minimum() -> None:
    """A stirred vessel: exp(-Q t / V). 0.5 l at 2 l a minute reach what three fillings do in 2:38; 10 minutes all the same."""
    wash = running(500.0, 1000.0, 30.0)
    assert math.exp(-wash.flow_ml_s * wash.same_s / 500.0) == pytest.approx(fill_and_dump(500.0).after[-1])
    assert wash.same_s == pytest.approx(157.8, abs=0.1)
    assert wash.wash_s == 600.0
    assert wash.water_ml == pytest.approx(20_000.0)
    assert running(500.0, 1000.0, 30.0, aid=True).wash_s == 300.0
    slow = running(2000.0, 1000.0, 120.0)
    assert slow.wash_s == slow.same_s > 600.0


def test_cold_water_and_a_step_from_the_fixer_are_warned_of() -> None:
    """Below 10 C: teaching texts; 3 C: common practice; reticulation from 8 C: an Air Force radiographic text."""
    assert list(water_warnings(18.0, 20.0)) == []
    cold, step = water_warnings(8.0, 20.0)
    assert "hardly washes" in cold
    assert "wrinkle for good" in step
    (mild,) = water_warnings(15.0, 20.0)
    assert "swells and shrinks" in mild


def test_every_test_for_what_was_left_in_names_its_hazard_and_its_source() -> None:
    """Permanganate, silver nitrate, sulphide: none without gloves, goggles or air."""
    assert [test.name for test in RESIDUAL_TESTS] == ["permanganate drop", "silver nitrate drop", "sulphide drop"]
    said = "\n".join(residual_lines())
    for test in RESIDUAL_TESTS:
        assert f"Careful: {test.hazard} [{test.source}]" in said
    assert "hydrogen sulphide" in RESIDUAL_TESTS[2].hazard
    assert "goggles" in RESIDUAL_TESTS[1].hazard


def test_the_command_says_it(capsys: pytest.CaptureFixture[str]) -> None:
    """In words and as data; a jug without its time is refused."""
    assert main(["wash", "--jug", "1 l", "--fills-in", "0:30", "--water", "8 C", "--fixer", "20 C"]) == 0
    said = capsys.readouterr().out
    assert "2 l a minute changes the water once in 0:15" in said
    assert said.startswith("At 8.0 C it hardly washes")
    assert main(["wash", "--json", "--tests"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["movements"] == [5, 10, 20]
    assert len(data["tests"]) == 3
    assert main(["wash", "--jug", "1 l"]) == 2
    assert "--fills-in" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("material", "minutes"),
    [("fibre paper", "60 minutes"), ("hardened film", "20 to 30 minutes"), ("resin-coated paper", "2 to 4 minutes")],
)
def test_what_cannot_be_washed_by_filling_and_turning_gets_minutes(
    material: str, minutes: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Paper soaks, hardened gelatine lets go slowly: three fillings of a film tank wash neither (common practice, no source)."""
    assert main(["wash", "--material", material]) == 0
    said = capsys.readouterr().out
    assert f"Wash {material} for {minutes} in running water" in said
    assert "Fill with fresh water" not in said
    assert main(["wash", "--material", material, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["fill_and_dump"] is None


def test_film_is_told_the_minutes_in_running_water_too(capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody needs a jug to learn that ten minutes are usual, five after wash aid."""
    assert main(["wash"]) == 0
    said = capsys.readouterr().out
    assert "Fill with fresh water" in said
    assert "Wash film for 10 minutes in running water; 5 minutes are enough after wash aid" in said
    assert main(["wash", "--aid"]) == 0
    assert "wash aid for one to two minutes" in capsys.readouterr().out


def test_fibre_paper_stays_in_wash_aid_for_three_minutes_and_washes_for_twenty(capsys: pytest.CaptureFixture[str]) -> None:
    """By the paper's weight (common practice, no source)."""
    assert main(["wash", "--material", "fibre paper", "--aid"]) == 0
    said = capsys.readouterr().out
    assert "wash aid for about 3" in said
    assert "single weight: 2" in said
    assert "for 20 minutes in running water" in said


def test_cold_water_is_not_followed_by_the_usual_words_as_if_nothing_were_wrong(capsys: pytest.CaptureFixture[str]) -> None:
    """What follows holds only once the water is warm enough."""
    assert main(["wash", "--water", "9 C"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert "hardly washes" in lines[0]
    assert lines[1] == "Once the water has 10.0 C or more:"
    assert main(["wash", "--water", "18 C"]) == 0
    assert "Once the water" not in capsys.readouterr().out


def test_resin_coated_paper_is_never_washed_longer_than_it_bears(capsys: pytest.CaptureFixture[str]) -> None:
    """Slow water is made faster, not the wash longer; it needs no wash aid (common practice, no source)."""
    slow = ["wash", "--material", "resin-coated paper", "--jug", "1 l", "--fills-in", "0:25", "--vessel", "2 l"]
    for aid in ([], ["--aid"]):
        assert main([*slow, *aid]) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "which bears 4:00 at most: run the water faster, or use a smaller vessel. It needs no wash aid." in said
        assert "after wash aid" not in said
        assert "12:" not in said.partition("too slow")[2]
    wash = running(2000.0, 1000.0, 25.0, "resin-coated paper")
    assert (wash.wash_s, wash.too_slow) == (240.0, True)
    assert not running(2000.0, 1000.0, 25.0, "fibre paper").too_slow
    assert main([*slow, "--water", "9 C"]) == 0
    assert "twice the time" not in capsys.readouterr().out
