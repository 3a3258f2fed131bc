"""`evenbath wedge`: film tests from the first reading to times for the recipe."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from monitor.cli.arguments.recipe_file import open_evening
from monitor.cli.main import main
from tests.core.recipe.samples import ROLL


def film(path: Path, minutes: float) -> str:
    """A wedge on one film whose straight part has the law's gradient, with a soft toe, and its base plus fog; `m:ss=file`."""
    steep = 1.05 * -math.expm1(-0.1 * minutes)
    rows = [f"{-2.7 + 0.15 * i:.2f},{0.28 + steep * 0.25 * math.log1p(math.exp((0.15 * i - 0.7) / 0.25)):.3f}" for i in range(21)]
    path.write_text("log_h,density\n,0.28\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return f"{minutes:.0f}:00={path}"


def test_from_three_rolls_to_the_times_of_n_minus_1_to_n_plus_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The journey: three films, their curves drawn, times with intervals, a factor for the recipe."""
    films = [film(tmp_path / f"{m}.csv", m) for m in (4, 8, 14)]
    picture = tmp_path / "curves.svg"
    assert main(["wedge", "times", *films, "--normal", "8:00", "--density-sd", "0.01", "--picture", str(picture)]) == 0
    said = capsys.readouterr().out
    assert "  N    gradient" in said
    assert ": 8:00\n" in said
    assert "for the recipe's key factor: N-1 0.8" in said
    assert picture.read_text(encoding="utf-8").startswith("<svg")
    assert main(["wedge", "times", *films, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["times"]
    assert [row["push"] for row in rows] == [-1, 0, 1, 2]
    assert rows[0]["low_s"] < rows[0]["time_s"] < rows[0]["high_s"]


def test_one_curve_typed_or_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words and as data."""
    assert main(["wedge", "curve", "--densities", "0.30 0.34 0.45 0.61 0.78 0.95 1.1 1.25 1.4 1.55 1.7 1.85", "--base-fog", "0.28"]) == 0
    assert "average gradient from there over 1.30" in capsys.readouterr().out
    name = film(tmp_path / "a.csv", 8).partition("=")[2]
    assert main(["wedge", "curve", name, "--json", "--index", "400"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["base_fog"] == 0.28
    assert data["speed_point_log_h"]["sd"] > 0


def test_clip_and_leader(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """How, and how long."""
    assert main(["wedge", "clip"]) == 0
    assert capsys.readouterr().out.startswith("1. In the dark, cut a piece")
    films = [film(tmp_path / f"{m}.csv", m) for m in (5, 8, 14)]
    assert main(["wedge", "clip", *films, "--developed", "8:00", "--shows", "0.45", "--wanted", "0.5"]) == 0
    assert "the rest of the roll: 9:" in capsys.readouterr().out
    assert main(["wedge", "leader", "--fresh", "0:20", "--matched", "0:28"]) == 0
    assert "factor = 1.4" in capsys.readouterr().out


def test_a_clip_s_factor_is_carried_into_its_evening(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Into the last film, times the clip's own; the rest of the file stays. One that has no clip and film is left as it is."""
    (tmp_path / "roll.toml").write_text(ROLL, encoding="utf-8")
    evening = tmp_path / "e.toml"
    assert main(["new", "--evening", "clip-first", "--recipe", str(tmp_path / "roll.toml"), "--out", str(evening)]) == 0
    before = evening.read_text(encoding="utf-8")
    films = [film(tmp_path / f"{m}.csv", m) for m in (5, 8, 14)]
    clip = ["wedge", "clip", *films, "--developed", "8:00", "--shows", "0.45", "--wanted", "0.5", "--into"]
    assert main([*clip, str(evening)]) == 0
    said = capsys.readouterr().out
    last = open_evening(str(evening)).films[-1]
    assert f"film 2 (the rest of the roll), factor {last.factor:g}" in said
    assert "--film 2" in said
    assert 1.1 < last.factor < 1.3
    changed = [(a, b) for a, b in zip(before.split("\n"), evening.read_text(encoding="utf-8").split("\n"), strict=True) if a != b]
    assert changed == [(changed[0][0], changed[0][0].replace("1.0", f"{last.factor:g}"))]
    assert main([*clip, str(tmp_path / "roll.toml")]) == 2
    assert "no evening with a clip and a film after it" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["curve"],
        ["curve", "missing.csv"],
        ["curve", "--densities", "0.3 0.4"],
        ["curve", "--densities", "0.3 0.4 0.5 0.6", "--picture", "x.png"],
        ["times", "8:00"],
        ["times", "8=missing.csv", "9:00=missing.csv"],
        ["clip", "--developed", "8:00"],
        ["leader", "--fresh", "0:00"],
    ],
)
def test_bad_input_is_refused_in_plain_lines(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, one line, nothing on stdout."""
    assert main(["wedge", *words]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err
    assert "Traceback" not in told.err


def test_a_session_stands_for_the_development_that_its_journal_shows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """11:37 in a bath that cooled were 11:00 of development at 20 C, give or take what the journal says of it."""
    journal = Path(__file__).parents[2] / "demo_logs" / "01-cold-laundry.jsonl"
    films = [film(tmp_path / f"{m}.csv", m).partition("=")[2] for m in (6, 11)]
    assert main(["wedge", "times", f"6:00={films[0]}", f"{journal}={films[1]}", "--json"]) == 0
    typed, shown = json.loads(capsys.readouterr().out)["growth"]["films"]
    assert typed["time_s"] == 360.0
    assert shown["time_s"] == pytest.approx(660.0, abs=1.0)
    assert main(["wedge", "times", f"6:00={films[0]}", f"11:00={films[1]}", "--json"]) == 0
    exact = json.loads(capsys.readouterr().out)["growth"]["films"][1]
    assert shown["sd"] > exact["sd"]
    sheets = journal.with_name("03-six-sheets.jsonl")
    assert main(["wedge", "times", f"4:00={films[0]}", f"{sheets}={films[1]}", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["growth"]["films"][1]["time_s"] == pytest.approx(480.0, abs=2.0)
    assert main(["wedge", "times", f"6:00={films[0]}", f"nosuch={films[1]}", "--state", str(tmp_path)]) == 2
