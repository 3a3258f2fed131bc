"""`evenbath fit`: the published numbers, residuals, the lines to paste, and everything that is no pair."""

from __future__ import annotations

import json
import math
import tomllib
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.core.recipe.reader import load_recipe
from tests.core.development.test_rate import REGULATION_F_MIN


def fitted(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """The fit as data."""
    assert main(["fit", *words, "--json"]) == 0
    out = capsys.readouterr().out
    assert out.count("\n") == 1
    found: dict[str, Any] = json.loads(out)
    return found


def test_the_contracts_example_is_fitted(capsys: pytest.CaptureFixture[str]) -> None:
    """Three pairs: energy, factor, residuals, as least squares of ln time on 1/T gives them (computed apart, by hand)."""
    found = fitted(capsys, "18 C=12:10", "20 C=10:00", "24 C=6:45")
    assert found["activation_energy_kj_mol"] == pytest.approx(70.7067, abs=0.001)
    assert found["per_10_c"] == pytest.approx(2.6909, abs=0.001)
    assert found["rms_percent"] == pytest.approx(0.1368, abs=0.001)
    assert found["worst_percent"] == pytest.approx(0.1902, abs=0.001)
    assert [p["residual_percent"] for p in found["pairs"]] == pytest.approx([-0.1258, 0.1902, -0.0642], abs=0.001)
    assert [p["celsius"] for p in found["pairs"]] == [18.0, 20.0, 24.0]


def test_few_pairs_leave_the_energy_less_sure(capsys: pytest.CaptureFixture[str]) -> None:
    """Three pairs have one residual: 1.84 standard errors hold 68 in 100 (Student's t); computed apart, by hand."""
    pairs = {18.0: 730.0, 20.0: 640.0, 24.0: 405.0}
    x = [1.0 / (c + 273.15) for c in pairs]
    y = [math.log(s) for s in pairs.values()]
    middle_x, middle_y = sum(x) / 3, sum(y) / 3
    slope = sum((a - middle_x) * (b - middle_y) for a, b in zip(x, y, strict=True)) / sum((a - middle_x) ** 2 for a in x)
    left = sum((b - middle_y - slope * (a - middle_x)) ** 2 for a, b in zip(x, y, strict=True))
    error_kj_mol = 8.314462618e-3 * math.sqrt(left / 1 / sum((a - middle_x) ** 2 for a in x))
    assert error_kj_mol > 2.0
    found = fitted(capsys, "18 C=12:10", "20 C=10:40", "24 C=6:45")
    assert found["activation_energy_sd_kj_mol"] == pytest.approx(1.84 * error_kj_mol, rel=1e-6)


def test_half_a_degree_apart_is_enough(capsys: pytest.CaptureFixture[str]) -> None:
    """Exactly as much as the refusal allows."""
    assert fitted(capsys, "20 C=10:00", "20.5 C=9:30")["activation_energy_kj_mol"] > 0


def test_residuals_are_given_over_fitted(capsys: pytest.CaptureFixture[str]) -> None:
    """residual_percent = 100 (given / fitted - 1) for each pair."""
    for pair in fitted(capsys, "16 C=6:00", "20 C=4:00", "23 C=3:00")["pairs"]:
        assert pair["residual_percent"] == pytest.approx(100 * (pair["time_s"] / pair["fitted_s"] - 1), rel=1e-9)


def test_the_regulatory_chart_goes_through_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    """Twenty-one pairs in Fahrenheit: 95.8 kJ/mol, 4.8 % rms, worst -10.8 % (Minn. Rules 4732.0555)."""
    words = [f"{f} F={int(m)}:{int(m % 1 * 60):02d}" for f, m in REGULATION_F_MIN]
    found = fitted(capsys, *words, "--reference", "68 F")
    assert found["activation_energy_kj_mol"] == pytest.approx(95.8, abs=0.05)
    assert found["rms_percent"] == pytest.approx(4.8, abs=0.1)
    assert found["worst_percent"] == pytest.approx(-10.8, abs=0.1)


def test_two_pairs_fit_exactly_and_say_that_nothing_is_left_to_judge_by(capsys: pytest.CaptureFixture[str]) -> None:
    """71.2 kJ/mol; the uncertainty is then that between published tables, not nothing."""
    found = fitted(capsys, "20 C=10:00", "24 C=6:45")
    assert found["activation_energy_kj_mol"] == pytest.approx(71.2, abs=0.05)
    assert found["rms_percent"] == pytest.approx(0.0, abs=1e-9)
    assert found["activation_energy_sd_kj_mol"] == 8.7
    assert main(["fit", "20 C=10:00", "24 C=6:45"]) == 0
    assert "two pairs leave no residual" in capsys.readouterr().out


def test_a_fit_is_never_believed_closer_than_published_tables(capsys: pytest.CaptureFixture[str]) -> None:
    """Three pairs that happen to lie on a line still get 2 kJ/mol."""
    assert fitted(capsys, "18 C=12:10", "20 C=10:00", "24 C=6:45")["activation_energy_sd_kj_mol"] == 2.0


@pytest.mark.parametrize(
    ("pairs", "reference", "laws"),
    [
        (["18 C=12:10", "20 C=10:00", "24 C=6:45"], "20 C", ["arrhenius", "coefficient", "pairs"]),
        (["75 F=7:00", "68 F=10:00"], "68 F", ["arrhenius", "coefficient", "pairs"]),
        (["18 C=12:10", "24 C=6:45"], "20 C", ["arrhenius", "coefficient"]),
        (["18 C=10:00", "20 C=10:10", "24 C=6:45"], "20 C", ["arrhenius", "coefficient"]),
        (["18 C=12:10.5", "20 C=10:00"], "20 C", ["arrhenius", "coefficient", "pairs"]),
    ],
)
def test_every_printed_line_is_taken_by_a_recipe(
    pairs: list[str], reference: str, laws: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Pasted under the printed reference and time each rate loads; pairs are offered only where a recipe would take them."""
    assert main(["fit", *pairs, "--reference", reference]) == 0
    lines = capsys.readouterr().out.splitlines()
    head = next(line for line in lines if line.startswith("For the recipe"))
    time = head.split('time = "')[1].split('"')[0]
    rates = [line for line in lines if line.startswith("rate = ")]
    assert [tomllib.loads(line)["rate"]["law"] for line in rates] == laws
    for line in rates:
        text = f'schema = 1\nname = "n"\nfilm = "panchromatic"\nvessel = "drum"\n[[stage]]\nname = "d"\nrole = "develop"\ntime = "{time}"\n'
        recipe = load_recipe(f'{text}reference = "{reference}"\n{line}\n'.encode(), "r.toml")
        assert recipe.stages[0].steer


@pytest.mark.parametrize(
    ("pairs", "reference"),
    [
        (["18 C=12:10", "20 C=10:00", "24 C=6:45"], "20 C"),
        (["20 C=10:00", "24 C=6:45"], "20 C"),
        (["68 F=10:00", "75 F=7:00", "66 F=10:40"], "68 F"),
        (["37.8 C=3:15", "36 C=3:50", "39 C=3:00"], "37.8 C"),
    ],
)
def test_energy_coefficient_and_pairs_carry_the_same_doubt(
    pairs: list[str], reference: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pasted into a recipe, each law's own doubt two degrees from the reference is the same to a tenth of it. Near 38 C the factor per
    10 C is left out: it is defined between 15 and 25 C."""
    lines = fitted(capsys, *pairs, "--reference", reference)["rate_lines"]
    time = next(pair.split("=")[1] for pair in pairs if pair.startswith(reference))
    doubts = {}
    for line in lines:
        text = f'schema = 1\nname = "n"\nfilm = "panchromatic"\nvessel = "drum"\n[[stage]]\nname = "d"\nrole = "develop"\ntime = "{time}"\n'
        stage = load_recipe(f'{text}reference = "{reference}"\nvalid = ["10 C", "45 C"]\n{line}\n'.encode(), "r.toml").stages[0]
        assert stage.law is not None
        doubts[tomllib.loads(line)["rate"]["law"]] = abs(stage.law.log_rate_sd_slope(stage.reference_c + 2.0))
    if reference == "37.8 C":
        del doubts["coefficient"]
    assert len(doubts) >= 2
    assert max(doubts.values()) == pytest.approx(min(doubts.values()), rel=0.1)


def test_the_words_show_each_pair_with_its_residual(capsys: pytest.CaptureFixture[str]) -> None:
    """Given, fitted, and by how much the person's own is longer or shorter."""
    assert main(["fit", "18 C=12:10", "20 C=10:00", "24 C=6:45"]) == 0
    out = capsys.readouterr().out
    assert "\n20 C   10:00    9:58.9    0.2 % longer\n" in out
    doubt = "+/- 4.0 kJ/mol or 0.6 % of the time per C, two standard deviations"
    assert f"70.7 kJ/mol ({doubt}); 2.69 times as fast at 25 C as at 15 C\n" in out


def test_a_doubt_that_is_not_from_the_residuals_is_told_as_the_least(capsys: pytest.CaptureFixture[str]) -> None:
    """Residuals of 0.1 % would give less than 4.0 kJ/mol; where they give more nothing is said."""
    assert main(["fit", "18 C=12:10", "20 C=10:00", "24 C=6:45"]) == 0
    floor = "; the +/- is never taken below 4.0 kJ/mol"
    assert f"residuals 0.1 % rms, +0.2 % at worst{floor}\n" in capsys.readouterr().out
    assert main(["fit", "18 C=12:10", "20 C=10:40", "24 C=6:45"]) == 0
    assert floor not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("pairs", "why"),
    [
        (["18 C=12:10", "24 C=6:45"], "none of your pairs is at the reference, 20 C; name one of theirs with --reference"),
        (["20 C=10:00", "20 C=10:10", "24 C=6:45"], "two of your pairs are at 20 C, and a recipe takes one for each temperature"),
        (["18 C=10:00", "20 C=10:10", "24 C=6:45"], "the time grows from 18 C to 20 C"),
        (["18 C=12:10", "20 C=10:00", "24 C=6:45"], None),
    ],
)
def test_where_the_pairs_line_is_missing_it_is_said_why(pairs: list[str], why: str | None, capsys: pytest.CaptureFixture[str]) -> None:
    """None at the reference, two at one temperature, or a time that grows."""
    assert main(["fit", *pairs]) == 0
    out = capsys.readouterr().out
    assert ('law = "pairs"' in out) == (why is None)
    assert ("not among them" in out) == (why is not None)
    assert why is None or out.endswith(f"\nYour pairs themselves are not among them: {why}.\n")


def test_the_time_at_the_reference_is_ones_own_or_the_fitted_one(capsys: pytest.CaptureFixture[str]) -> None:
    """With a pair there it is that pair's, else the fit's."""
    assert fitted(capsys, "18 C=12:10", "20 C=10:00", "24 C=6:45")["time_at_reference_s"] == 600.0
    between = fitted(capsys, "18 C=12:10", "24 C=6:45")["time_at_reference_s"]
    assert between == pytest.approx(598.2, abs=0.1)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["20 C=10:00"], "one pair gives no rate"),
        (["20 C=10:00", "20 C=10:00"], "give no rate"),
        (["20 C=10:00", "20.1 C=9:00"], "give no rate"),
        (["20 C=10:00", "24 C=12:00"], "the time grows with temperature"),
        (["20 C=10:00", "24 C=10:00"], "the time grows with temperature"),
        (["20 C=10:00", "24 C=1:00"], "look for a mistake"),
        (["rubbish", "24 C=6:45"], '"rubbish" is not a pair'),
        (["20=10:00", "24 C=6:45"], '"20" is not a temperature'),
        (["20 C=600", "24 C=6:45"], '"600" is not a duration'),
        (["20 C=", "24 C=6:45"], '"" is not a duration'),
        (["=", "24 C=6:45"], "is not a temperature"),
        (["20 C=10:00=3", "24 C=6:45"], "is not a duration"),
        (["20 C=0:00", "24 C=6:45"], "not a time for a developer"),
        (["200 C=1:00", "24 C=6:45"], "not a temperature for a developer"),
        (["20 C=99999:00", "24 C=6:45"], "not a time for a developer"),
        (["20 C=10:00", "24 C=6:45", "--reference", "20"], '"20" is not a temperature'),
        (["20 C=10:00", "24 C=6:45", "--reference", "90 C"], "out of range"),
        (["\x1b[31m", "24 C=6:45"], "is not a pair"),
        ([], "required"),
    ],
)
def test_rubbish_is_refused_in_plain_lines(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, nothing on stdout, what was read and what is allowed."""
    assert main(["fit", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err
    assert "Traceback" not in err
    assert "\x1b" not in err


def test_all_wrong_pairs_are_told_at_once(capsys: pytest.CaptureFixture[str]) -> None:
    """Two slips are two lines."""
    assert main(["fit", "20=10:00", "22 C=9:00", "24 C=7"]) == 2
    assert capsys.readouterr().err.count("\n") == 2


def test_a_warmer_pair_with_a_longer_time_is_noted(capsys: pytest.CaptureFixture[str]) -> None:
    """It still fits; the note is on stderr and names both pairs. Pairs whose times fall get none, in whatever order they come."""
    for more in ([], ["--json"]):
        assert main(["fit", "24 C=6:45", "20 C=10:00", "18 C=9:20", *more]) == 0
        out, err = capsys.readouterr()
        assert "20 C=10:00 is warmer than 18 C=9:20 and has a longer time" in err
        assert "a recipe refuses these pairs" in err
        assert err.count("\n") == 1
        assert "refuses" not in out
    for pairs in (["24 C=6:45", "20 C=10:00", "18 C=12:10"], ["18 C=10:00", "20 C=10:00", "24 C=6:45"]):
        assert main(["fit", *pairs]) == 0
        assert capsys.readouterr().err == ""
