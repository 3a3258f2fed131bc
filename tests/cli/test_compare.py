"""`evenbath compare` from the outside: a journal, storing, and the guided form at the sink."""

from __future__ import annotations

import argparse
import json
import random
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.cli import compare
from monitor.cli.arguments import bath_source
from monitor.cli.main import main
from monitor.core.errors import InputWrong
from monitor.core.probes.learned import Learned, apply
from monitor.prepare.probes.learned_store import load_learned
from monitor.prepare.probes.readings import ProbeReadings, ReadingSource
from tests.prepare.probes.water import lagged, series, shown, steady, write_journal


def probe(celsius: float, offset_c: float, seed: int = 1, c_per_min: float = 0.0) -> ProbeReadings:
    """Six minutes of a stirred vessel that is at `celsius` at 300 s."""
    return series(shown(lagged(steady(celsius - 5 * c_per_min, c_per_min), 8.0, 360, fine=4), random.Random(seed), 0.06, offset_c))


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, Any, str]:
    """(exit status, the object or the text, stderr)."""
    status = main(["compare", *words])
    out, err = capsys.readouterr()
    return status, json.loads(out) if out.startswith("{") else out, err


def test_the_contract_s_call_answers_with_its_keys(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """offset_c is probe minus thermometer; accepted, and why."""
    journal = write_journal(tmp_path / "j.jsonl", probe(20.1, 0.37))
    words = [str(journal), "--probe", "jug", "--against", "20.1 C", "--at", "300", "--json", "--state", str(tmp_path)]
    status, data, _ = run(capsys, *words)
    assert status == 0
    assert data["offset_c"] == pytest.approx(0.37, abs=0.02)
    assert data["sd_c"] == pytest.approx(0.3, abs=0.005)
    assert run(capsys, *words, "--reference-sd-c", "0.2")[1]["sd_c"] == pytest.approx(0.2, abs=0.005)
    assert abs(data["slope_c_per_min"]) < 0.05
    assert data["accepted"] is True
    assert "steady" in data["why"]
    assert load_learned(tmp_path).comparison("jug") is None


def test_unsteady_water_is_not_accepted_and_not_stored(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Asked: exit 0 with accepted false. Asked to store: exit 2, and nothing is stored."""
    journal = write_journal(tmp_path / "j.jsonl", probe(20.1, 0.37, c_per_min=0.15))
    words = [str(journal), "--probe", "jug", "--against", "20.1 C", "--at", "300", "--json", "--state", str(tmp_path)]
    status, data, _ = run(capsys, *words)
    assert (status, data["accepted"]) == (0, False)
    assert "C a minute; needed: less than" in data["why"]
    status, data, err = run(capsys, *words, "--save")
    assert (status, data["stored"]) == (2, False)
    assert "not stored" in err
    assert load_learned(tmp_path).comparison("jug") is None


def test_three_points_make_the_line_of_the_worked_case(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """+0.37 at 20 C, +0.30 at 38 C, noise 0.06 C: what is stored leaves less than 0.05 C at both."""
    for k, (celsius, offset) in enumerate(((20.0, 0.37), (29.0, 0.335), (38.0, 0.30))):
        journal = write_journal(tmp_path / "j.jsonl", probe(celsius, offset, seed=k))
        words = [
            str(journal),
            "--probe",
            "jug",
            "--against",
            f"{celsius} C",
            "--at",
            "300",
            "--state",
            str(tmp_path),
            "--save",
            "--who",
            "Ann",
        ]
        status, text, _ = run(capsys, *words)
        assert status == 0
    assert "a straight line through 3 points" in text
    stored = load_learned(tmp_path).comparison("jug")
    assert stored is not None
    assert (len(stored.points), stored.who, stored.reference_sd_c) == (3, "Ann", 0.3)
    for celsius, offset in ((20.0, 0.37), (38.0, 0.30)):
        assert abs(apply(stored, celsius + offset) - celsius) < 0.05
    run(capsys, *words, "--anew")
    again = load_learned(tmp_path).comparison("jug")
    assert again is not None
    assert len(again.points) == 1


def test_a_thermometer_of_which_nobody_said_how_good_it_is_counts_as_glass_and_that_is_said(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """In one line, with the option that tells it; not where it was told, nor of ice, nor in an object."""
    journal = str(write_journal(tmp_path / "j.jsonl", probe(20.1, 0.37)))
    words = [journal, "--probe", "jug", "--against", "20.1 C", "--at", "300", "--state", str(tmp_path)]
    first = "the thermometer is taken to be good to +/- 0.60 C, like any glass one; if you know its own +/-, give half of it, in C, with "
    assert run(capsys, *words)[1].splitlines()[0] == f"{first}--reference-sd-c"
    ice = [journal, "--probe", "jug", "--ice", "--at", "300", "--state", str(tmp_path)]
    for told in ([*words, "--reference-sd-c", "0.1"], [*words, "--json"], ice):
        assert "is taken" not in str(run(capsys, *told)[1])


def test_a_named_thermometer_stands_as_it_was_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No article and no "your" before it; and what the probe reads off is told as high or low, never as if it were a reading."""
    state = ["--probe", "jug", "--at", "300", "--save", "--state", str(tmp_path), "--reference", "Tante Erna's glass"]
    bath = str(write_journal(tmp_path / "bath.jsonl", probe(20.0, 0.90, seed=2)))
    lines = run(capsys, bath, "--against", "20.0 C", "--reference-sd-c", "0.15", *state)[1].splitlines()
    assert lines[0].startswith("jug read 0.90 C high at 20.0 C (probe minus Tante Erna's glass +0.")
    assert lines[0].endswith(", +/- 0.30 C (2 sd, with the doubt of Tante Erna's glass)")
    assert lines[2] == "more than the 0.5 C of a usual probe's data sheet: is Tante Erna's glass right, and the probe whole?"
    assert lines[3].startswith("jug reads 0.90 C high near 20 C (one point); this is corrected; +/- 0.30 C (2 sd) near 20 C; ")
    assert lines[3].endswith("; Tante Erna's glass alone may be +/- 0.30 C off")
    text = run(capsys, str(write_journal(tmp_path / "ice.jsonl", probe(0.0, -0.3))), "--ice", *state)[1]
    assert "by the ice, Tante Erna's glass reads 1." in text
    assert re.search(r"jug reads 0\.\d\d C (high|low) at 20 C and 0\.\d\d C (high|low) at 38 C \(a straight line", text)
    for wrong in ("the Tante", "your", "reads +", "reads -", "subtracted"):
        assert wrong not in text


def test_another_thermometer_begins_anew(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Points of two references are never mixed: their own faults differ."""
    journal = write_journal(tmp_path / "j.jsonl", probe(20.0, 0.37))
    words = [str(journal), "--probe", "jug", "--against", "20 C", "--at", "300", "--state", str(tmp_path), "--save"]
    run(capsys, *words)
    run(capsys, *words, "--reference", "mercury no. 2")
    stored = load_learned(tmp_path).comparison("jug")
    assert stored is not None
    assert (stored.reference, len(stored.points)) == ("mercury no. 2", 1)


def test_the_guided_form_waits_for_steady_water_asks_and_stores(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Drifting at first: it waits; then it asks; a bare number is asked again; nothing ends it."""
    waters: Iterator[ProbeReadings] = iter(
        [probe(20.0, 0.3, 1, 0.3), probe(20.0, 0.3, 2), probe(20.0, 0.3, 3), probe(20.0, 0.3, 4), *[probe(20.0, 0.3, 5)] * 4]
    )
    monkeypatch.setattr(bath_source, "live_source", lambda file, state: ReadingSource("laundry", (next(waters),)))
    words = iter(["20", "20.0 C", ""])
    waited: list[float] = []
    station = tmp_path / "s.toml"
    station.write_text('[probes.jug]\nid = "28-0316a2795f3c"\n')
    args = argparse.Namespace(
        file=str(station), probe="jug", reference_sd_c=0.05, reference="thermometer", json=False, anew=False, who="Ann",
        working=None, ice=False,
    )  # fmt: skip
    assert compare.guided(args, tmp_path, Learned(), ask=lambda question: next(words), wait=waited.append) == 0
    assert waited == [10.0]
    stored = load_learned(tmp_path).comparison("jug")
    assert stored is not None
    assert stored.offset_c == pytest.approx(0.3, abs=0.04)
    assert stored.id == "28-0316a2795f3c"


def test_the_guided_form_asks_how_far_the_thermometer_may_be_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A +/-, so half of it is the standard uncertainty; a bare number is asked again; nothing is a glass one's 0.3 C."""
    monkeypatch.setattr(bath_source, "live_source", lambda file, state: ReadingSource("laundry", (probe(20.0, 0.3),)))
    for answers, sd_c in ((["0.2", "0.2 C", "20.0 C", ""], 0.1), (["", "20.0 C", ""], 0.3)):
        words = iter(answers)
        args = argparse.Namespace(
            file=None, probe="jug", reference_sd_c=None, reference="thermometer", json=False, anew=True, who="Ann", working=None, ice=False
        )
        assert compare.guided(args, tmp_path, Learned(), ask=lambda question, words=words: next(words), wait=lambda s: None) == 0  # type: ignore[misc]
        stored = load_learned(tmp_path).comparison("jug")
        assert stored is not None
        assert stored.reference_sd_c == sd_c
    assert '"0.2"' in capsys.readouterr().out


def test_the_guided_ice_point_says_how_to_make_it_and_asks_for_no_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Crushed, distilled, wet slush, stirred, and what to beware of; then it waits, stores, and names the next step."""
    monkeypatch.setattr(bath_source, "live_source", lambda file, state: ReadingSource("laundry", (probe(0.0, -0.4),)))
    monkeypatch.setattr("builtins.input", lambda question: pytest.fail(question))
    station = tmp_path / "s.toml"
    station.write_text(f'schema = 1\nname = "laundry"\nstate = "{tmp_path}"\n[probes.jug]\nid = "28-0316a2795f3c"\n')
    status, text, _ = run(capsys, "--file", str(station), "--probe", "jug", "--ice", "--state", str(tmp_path))
    assert status == 0
    for words in ("Crush", "distilled", "slush", "Stir", "Caution", "C low at 0.0 C", "Now beside your own thermometer"):
        assert words in text
    stored = load_learned(tmp_path).comparison("jug")
    assert stored is not None
    assert (stored.reference, stored.reference_sd_c) == ("melting ice", 0.02)
    assert stored.offset_c == pytest.approx(-0.4, abs=0.02)


def test_the_guided_form_gives_up_on_water_that_never_settles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After half an hour of waiting, in one line."""
    monkeypatch.setattr(bath_source, "live_source", lambda file, state: ReadingSource("laundry", (probe(20.0, 0.3, 1, 0.3),)))
    args = argparse.Namespace(file="s.toml", probe="jug", reference_sd_c=0.05, ice=False)
    with pytest.raises(InputWrong, match="half an hour"):
        compare.guided(args, tmp_path, Learned(), ask=lambda question: "20 C", wait=lambda seconds: None)


def test_the_ice_point_is_told_with_what_it_does_not_show(capsys: pytest.CaptureFixture[str]) -> None:
    """A check of drift, not proof at 38 C."""
    status, text, _ = run(capsys, "--ice-point")
    assert status == 0
    assert "0.4 C wrong at 38 C" in text


def test_ice_and_a_thermometer_together_give_offset_and_slope(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A probe 0.30 C high at 0 C and 0.50 C at 20 C, a thermometer good to 0.05 C: both in one line of the state; in either order.

    The slope of 0.01 is measured to 0.05/20 = 0.0025 and expected to be 0 within 0.004: 16/(16 + 6.25) of it is believed.
    """
    ice = str(write_journal(tmp_path / "ice.jsonl", probe(0.0, 0.30)))
    bath = str(write_journal(tmp_path / "bath.jsonl", probe(20.0, 0.50, seed=2)))
    by_ice = [ice, "--ice"]
    by_glass = [bath, "--against", "20.0 C", "--reference-sd-c", "0.05", "--reference", "glass"]
    for state, calls in ((tmp_path / "a", (by_ice, by_glass)), (tmp_path / "b", (by_glass, by_ice))):
        for words in calls:
            status, text, _ = run(capsys, *words, "--probe", "jug", "--at", "300", "--save", "--state", str(state))
            assert status == 0
        stored = load_learned(state).comparison("jug")
        assert stored is not None
        assert len(stored.points) == 2
        assert {p.reference for p in stored.points} == {"melting ice", "glass"}
        assert stored.slope_per_c == pytest.approx(0.01 * 16 / (16 + 6.25), abs=0.0015)
        assert 0.0015 < stored.sd_slope_per_c < 0.004
        assert apply(stored, 0.30) == pytest.approx(0.0, abs=0.03)
        assert apply(stored, 20.50) == pytest.approx(20.0, abs=2 * stored.sd_at(20.0))
        assert stored.sd_at(20.0) < 0.06
        assert "by the ice, glass reads" in text


def test_ice_takes_the_place_of_a_glass_thermometers_doubt(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """0.3 C of glass alone; with ice the probe's own slope is what is left: below 0.1 C at 20 C. What the glass is off is said."""
    state = ["--probe", "jug", "--at", "300", "--save", "--state", str(tmp_path)]
    bath = str(write_journal(tmp_path / "bath.jsonl", probe(20.0, 0.10, seed=2)))
    run(capsys, bath, "--against", "19.7 C", *state)
    glass = load_learned(tmp_path).comparison("jug")
    status, text, _ = run(capsys, str(write_journal(tmp_path / "ice.jsonl", probe(0.0, 0.10))), "--ice", *state)
    both = load_learned(tmp_path).comparison("jug")
    assert glass is not None
    assert both is not None
    assert glass.sd_at(20.0) > 0.29
    assert both.sd_at(20.0) < 0.1
    assert status == 0
    assert re.search(r"by the ice, the thermometer reads 0\.(29|30|31) C low near 20 C, \+/- 0\.1\d C", text)
    assert "make the ice again" not in text


def test_a_probe_outside_the_slush_or_its_data_sheet_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Four degrees are refused, for ice in its own words; 0.9 C are accepted and doubted."""
    call = ["--probe", "jug", "--at", "300", "--ice", "--state", str(tmp_path)]
    text = run(capsys, str(write_journal(tmp_path / "j.jsonl", probe(0.0, 4.0))), *call)[1]
    assert "refused: the probe reads +4.0 C in the ice; needed: within 3 C. Is it deep in the wet slush?" in text
    text = run(capsys, str(write_journal(tmp_path / "k.jsonl", probe(0.0, 0.9))), *call)[1]
    assert "more than the 0.5 C of a usual probe's data sheet" in text
    text = run(capsys, str(write_journal(tmp_path / "l.jsonl", probe(0.0, 0.4))), *call)[1]
    assert "data sheet" not in text


def test_bad_input_is_refused_in_plain_lines(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No probe, no thermometer, no moment, a bare number, an impossible uncertainty: exit status 2."""
    journal = str(write_journal(tmp_path / "j.jsonl", probe(20.0, 0.3)))
    for words in (
        [journal, "--against", "20 C", "--at", "300"],
        [journal, "--probe", "jug", "--at", "300"],
        [journal, "--probe", "jug", "--against", "20 C"],
        [journal, "--probe", "jug", "--against", "20", "--at", "300"],
        [journal, "--probe", "jug", "--against", "20 C", "--at", "9000"],
        [journal, "--probe", "jug", "--against", "20 C", "--at", "nan"],
        [journal, "--probe", "bowl", "--against", "20 C", "--at", "300"],
        [journal, "--probe", "jug", "--against", "20 C", "--at", "300", "--reference-sd-c", "-1"],
        [journal, "--probe", "jug", "--against", "20 C", "--at", "300", "--ice"],
        ["--probe", "jug", "--against", "20 C", "--at", "300"],
    ):
        status, out, err = run(capsys, *words, "--state", str(tmp_path))
        assert (status, out) == (2, ""), words
        assert err


def test_without_save_the_last_line_says_that_nothing_is_stored(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """An accepted point only; a refused one would not be stored with --save either."""
    line = "not stored; use --save to store it for the station\n"
    tail = ["--probe", "jug", "--against", "20.1 C", "--at", "300", "--state", str(tmp_path)]
    steady_journal = str(write_journal(tmp_path / "j.jsonl", probe(20.1, 0.37)))
    assert run(capsys, steady_journal, *tail)[1].endswith(f"\n{line}")
    assert line not in run(capsys, steady_journal, *tail, "--save")[1]
    moving = str(write_journal(tmp_path / "m.jsonl", probe(20.1, 0.0, c_per_min=-0.4)))
    status, text, _ = run(capsys, moving, *tail)
    assert status == 2
    assert "refused: " in text
    assert "--save" not in text
