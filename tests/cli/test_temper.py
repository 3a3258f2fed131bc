"""`evenbath temper` from the outside."""

from __future__ import annotations

import json

import pytest

from monitor.cli.main import main


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """(exit status, stdout, stderr)."""
    status = main(["temper", *words])
    out, err = capsys.readouterr()
    return status, out, err


BASE = ["--volume", "8 l", "--now", "18.2 C", "--want", "20.3 C"]


def test_the_contract_s_call_answers_with_its_keys(capsys: pytest.CaptureFixture[str]) -> None:
    """add_ml 484, swap_ml 457 (0.48 and 0.46 l of the practice within 2 per cent)."""
    status, out, _ = run(capsys, *BASE, "--with", "55 C", "--json")
    data = json.loads(out)
    assert status == 0
    assert data["add_ml"] == pytest.approx(480.0, rel=0.02)
    assert data["swap_ml"] == pytest.approx(460.0, rel=0.02)


def test_words_say_two_thirds_first_the_outcome_and_the_caution(capsys: pytest.CaptureFixture[str]) -> None:
    """Hot water scalds; cold water has no such line; the outcome has its +/-."""
    _, out, _ = run(capsys, *BASE, "--with", "55 C")
    assert "two thirds first: 323 ml" in out
    assert "20.3 C +/- 0.1 C" in out
    assert "scalds" in out
    assert "scalds" in run(capsys, *BASE, "--with", "50 C")[1]
    assert "scalds" not in run(capsys, *BASE, "--with", "49.9 C")[1]


def test_a_full_container_leaves_only_swapping(capsys: pytest.CaptureFixture[str]) -> None:
    """And a vessel's own heat asks for more."""
    _, out, _ = run(capsys, *BASE, "--with", "55 C", "--container", "8.1 l")
    assert "adding would overflow: swap 457 ml" in out
    _, out, _ = run(capsys, *BASE, "--with", "55 C", "--vessel-water", "800 ml", "--json")
    assert json.loads(out)["add_ml"] == pytest.approx(1.1 * 484.15, rel=1e-3)


def test_a_swap_of_more_than_there_is_is_not_offered(capsys: pytest.CaptureFixture[str]) -> None:
    """A heavy vessel may want more hot water than the water that could be taken out."""
    _, out, _ = run(capsys, "--volume", "1 l", "--now", "10 C", "--want", "50 C", "--with", "60 C", "--vessel-water", "1 l")
    assert "add 8 l of water" in out
    assert "swap" not in out


def test_ice_and_a_bottle_in_the_bath(capsys: pytest.CaptureFixture[str]) -> None:
    """0.20 kg for 6 l from 23.4 C; a litre from 21 to 37.8 C in a 39 C bath takes about an hour."""
    _, out, _ = run(capsys, "--volume", "6 l", "--now", "23.4 C", "--want", "20 C", "--ice", "--json")
    assert json.loads(out)["ice_kg"] == pytest.approx(0.20, rel=0.025)
    _, out, _ = run(capsys, "--volume", "1 l", "--now", "21 C", "--want", "37.8 C", "--bath", "39 C", "--json")
    assert 1800.0 < json.loads(out)["warm_up_s"] < 4500.0
    assert json.loads(out)["lag_s"] == 1500.0


def test_one_pouring_tells_what_the_vessel_is_worth(capsys: pytest.CaptureFixture[str]) -> None:
    """The practice's cold tank is worth about 52 ml, and the words say which option takes it into account."""
    words = ["--volume", "512 ml", "--now", "20.5 C", "--vessel", "8 C", "--then", "19.35 C"]
    status, out, _ = run(capsys, *words, "--json")
    found = json.loads(out)
    assert status == 0
    assert found["vessel_water_ml"] == pytest.approx(52.0, abs=5.0)
    assert 5.0 < found["sd_ml"] < 10.0
    _, out, _ = run(capsys, *words)
    assert '52 +/- 13 ml of water (2 sd): --vessel-water "52 ml"' in out


@pytest.mark.parametrize(
    "words",
    [
        [*BASE, "--with", "19 C"],
        [*BASE, "--with", "20.3 C"],
        [*BASE, "--ice"],
        [*BASE, "--with", "55 C", "--container", "7 l"],
        ["--volume", "0 ml", "--now", "18 C", "--want", "20 C", "--with", "55 C"],
        ["--volume", "8 l", "--want", "20 C", "--with", "55 C"],
        ["--volume", "8 l", "--now", "18", "--want", "20 C", "--with", "55 C"],
        [*BASE, "--bath", "20 C"],
        [*BASE, "--with", "55 C", "--lag", "25:00"],
        ["--volume", "8 l", "--now", "18 C", "--with", "55 C"],
        ["--volume", "512 ml", "--now", "20.5 C", "--vessel", "8 C"],
        ["--volume", "512 ml", "--now", "20.5 C", "--vessel", "16 C", "--then", "20.1 C"],
        ["--volume", "0 ml", "--now", "20.5 C", "--vessel", "8 C", "--then", "19.35 C"],
        [*BASE, "--with", "55 C", "--then", "20 C"],
        ["--volume", "8 l", "--now", "26 C", "--want", "20 C", "--ice", "--container", "8 l"],
        ["--volume", "1 l", "--now", "10 C", "--want", "50 C", "--with", "60 C", "--vessel-water", "1 l", "--container", "1 l"],
    ],
)
def test_what_cannot_be_reached_or_held_is_refused(capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    """Exit status 2, one plain line, nothing on stdout."""
    status, out, err = run(capsys, *words)
    assert (status, out) == (2, "")
    assert len(err.splitlines()) == 1
