"""`evenbath compare` from the outside: a journal, storing, and the guided form at the sink."""

from __future__ import annotations

import argparse
import json
import random
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
    assert "C/min" in data["why"]
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
        file=str(station), probe="jug", reference_sd_c=0.05, reference="thermometer", json=False, anew=False, who="Ann", working=None
    )
    assert compare.guided(args, tmp_path, Learned(), ask=lambda question: next(words), wait=waited.append) == 0
    assert waited == [10.0]
    stored = load_learned(tmp_path).comparison("jug")
    assert stored is not None
    assert stored.offset_c == pytest.approx(0.3, abs=0.04)
    assert stored.id == "28-0316a2795f3c"


def test_the_guided_form_gives_up_on_water_that_never_settles(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After half an hour of waiting, in one line."""
    monkeypatch.setattr(bath_source, "live_source", lambda file, state: ReadingSource("laundry", (probe(20.0, 0.3, 1, 0.3),)))
    args = argparse.Namespace(file="s.toml", probe="jug", reference_sd_c=0.05)
    with pytest.raises(InputWrong, match="half an hour"):
        compare.guided(args, tmp_path, Learned(), ask=lambda question: "20 C", wait=lambda seconds: None)


def test_the_ice_point_is_told_with_what_it_does_not_show(capsys: pytest.CaptureFixture[str]) -> None:
    """A check of drift, not proof at 38 C."""
    status, text, _ = run(capsys, "--ice-point")
    assert status == 0
    assert "0.4 C wrong at 38 C" in text


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
    text = run(capsys, moving, *tail)[1]
    assert "refused: " in text
    assert "--save" not in text
