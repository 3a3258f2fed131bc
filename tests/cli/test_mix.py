"""`evenbath mix` from the outside."""

from __future__ import annotations

import json

import pytest

from monitor.cli.main import main


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """(exit status, stdout, stderr)."""
    status = main(["mix", *words])
    out, err = capsys.readouterr()
    return status, out, err


def test_the_contract_s_call_answers_with_its_keys(capsys: pytest.CaptureFixture[str]) -> None:
    """One object, stock_ml and water_ml, not rounded."""
    status, out, _ = run(capsys, "--dilution", "1+31", "--total", "500 ml", "--json")
    data = json.loads(out)
    assert (status, data["stock_ml"], data["water_ml"]) == (0, 15.625, 484.375)
    status, out, _ = run(capsys, "--dilution", "1+31", "--stock", "16 ml", "--json")
    assert (status, json.loads(out)["water_ml"], json.loads(out)["total_ml"]) == (0, 496.0, 512.0)


def test_words_name_the_amounts_the_graduate_and_a_rounding(capsys: pytest.CaptureFixture[str]) -> None:
    """What a person at the sink reads."""
    status, out, _ = run(capsys, "--dilution", "1+50", "--total", "600 ml", "--graduates", "25 ml, 100 ml, 600 ml")
    assert status == 0
    assert "11.8 ml stock + 588.2 ml water = 600 ml" in out
    assert "in the 25 ml graduate, +/- 4.2 %" in out
    assert "12 ml stock + 600 ml water" in out
    _, out, _ = run(capsys, "--dilution", "1+31", "--stock", "16 ml", "--graduates", "100 ml")
    assert "+/- 6.2 %; use a smaller one" in out


def test_ounces_are_answered_in_ounces_too(capsys: pytest.CaptureFixture[str]) -> None:
    """16 US fl oz at 1+31 is half an ounce of stock."""
    _, out, _ = run(capsys, "--dilution", "1+31", "--total", "16 fl oz")
    assert "0.50 fl oz stock + 15.50 fl oz water" in out


@pytest.mark.parametrize(
    "words",
    [
        ["--dilution", "1:31", "--total", "500 ml"],
        ["--dilution", "1+31", "--total", "500"],
        ["--dilution", "1+31", "--total", "-500 ml"],
        ["--dilution", "1+31", "--total", "0 ml"],
        ["--dilution", "1+31", "--total", "500 ml", "--stock", "16 ml"],
        ["--dilution", "1+31"],
        ["--dilution", "1+31", "--total", "300 ml", "--tank-minimum", "500 ml"],
        ["--dilution", "1+31", "--total", "500 ml", "--area", "many", "--stock-per-unit", "6 ml"],
        ["--dilution", "1+31", "--total", "500 ml", "--area", "nan", "--stock-per-unit", "6 ml"],
        ["--dilution", "1+31", "--total", "500 ml", "--from", "28 %"],
        ["--to", "2 %", "--total", "500 ml"],
        ["--to", "28 %", "--from", "2 %", "--total", "500 ml"],
        ["--to", "5 %", "--powder", "--stock", "3 ml"],
        ["--dilution", "1+31", "--total", "500 ml", "--graduates", "big"],
    ],
)
def test_wrong_input_is_refused_without_a_number(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """Exit status 2, plain lines on stderr, nothing on stdout."""
    status, out, err = run(capsys, *words)
    assert status == 2
    assert out == ""
    assert err
    assert "Traceback" not in err


def test_percents_and_powders(capsys: pytest.CaptureFixture[str]) -> None:
    """28 % to 2 % in 700 ml takes 50 ml; 5 % of 500 ml is 25 g."""
    _, out, _ = run(capsys, "--to", "2 %", "--from", "28 %", "--total", "700 ml", "--json")
    assert json.loads(out)["stock_ml"] == 50.0
    _, out, _ = run(capsys, "--to", "5 %", "--powder", "--total", "500 ml", "--json")
    assert json.loads(out)["powder_g"] == 25.0
    _, out, _ = run(capsys, "--to", "5 %", "--powder", "--total", "500 ml")
    assert "25 g of powder" in out
