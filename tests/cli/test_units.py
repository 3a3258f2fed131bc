"""Degrees Fahrenheit for whoever chooses them: in the environment, or in the station file; what is kept stays in Celsius."""

from __future__ import annotations

import argparse
import importlib
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.cli.main import COMMANDS, main
from monitor.core.text.degrees import unit
from tests.cli.rigged import Rigged

TEMPER = ["temper", "--volume", "8 l", "--now", "18 C", "--want", "20 C", "--with", "55 C"]


def test_a_person_may_choose_fahrenheit(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """For every command of the shell; the choice ends with the command."""
    assert main(TEMPER) == 0
    celsius = capsys.readouterr().out
    monkeypatch.setenv("EVENBATH_UNITS", "F")
    assert main(TEMPER) == 0
    told = capsys.readouterr().out
    assert "20.0 C" in celsius
    assert "68.0 F" in told
    assert "131.0 F" in told
    assert not re.search(r"\d C\b", told)
    assert unit() == "C"


def test_a_doubt_in_fahrenheit_is_a_difference(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """0.5 C are 0.9 F, without the 32."""
    assert main(TEMPER) == 0
    celsius = re.search(r"\+/- (\d+\.\d) C", capsys.readouterr().out)
    monkeypatch.setenv("EVENBATH_UNITS", "F")
    assert main(TEMPER) == 0
    fahrenheit = re.search(r"\+/- (\d+\.\d) F", capsys.readouterr().out)
    assert celsius is not None
    assert fahrenheit is not None
    assert float(fahrenheit[1]) == pytest.approx(1.8 * float(celsius[1]), abs=0.15)


def test_json_stays_in_celsius(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """To the last digit."""
    assert main([*TEMPER, "--json"]) == 0
    before = json.loads(capsys.readouterr().out)
    monkeypatch.setenv("EVENBATH_UNITS", "F")
    assert main([*TEMPER, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == before


def test_what_is_no_unit_is_refused(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """One line, exit status 2."""
    monkeypatch.setenv("EVENBATH_UNITS", "kelvin")
    assert main(TEMPER) == 2
    assert capsys.readouterr().err == 'EVENBATH_UNITS: "kelvin" is no unit of temperature; allowed: C or F\n'


@pytest.mark.parametrize(("units", "line"), [('"K"', "units"), ("1", "units")])
def test_a_unit_that_is_none_in_the_station_file_is_told_with_its_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], units: str, line: str
) -> None:
    """By the station itself; it never starts."""
    rigged = Rigged(tmp_path)
    rigged.file.write_text(f"units = {units}\n" + rigged.file.read_text())
    assert main(["station", "--file", str(rigged.file)]) == 2
    told = capsys.readouterr().err
    assert told.startswith(f"{rigged.file}:1: {line}: ")
    assert '"C", "F"' in told
def test_the_station_file_chooses_for_those_who_have_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`units = "F"`; the variable overrides it; JSON and the journal of the session stay in Celsius."""
    rigged = Rigged(tmp_path)
    text = rigged.file.read_text()
    rigged.file.write_text('units = "F"\n' + text)
    rigged.start()
    try:
        name = rigged.arm()
        rigged.wait(lambda: bool(rigged.records(name, kind="reading")))
        assert main(["status", "--file", str(rigged.file)]) == 0
        told = capsys.readouterr().out
        assert re.search(r"6[78]\.\d+ F", told)
        assert not re.search(r"\d C\b", told)
        monkeypatch.setenv("EVENBATH_UNITS", "C")
        assert main(["status", "--file", str(rigged.file)]) == 0
        assert re.search(r"20\.\d+ C", capsys.readouterr().out)
        assert 19.0 < rigged.records(name, kind="reading")[0]["celsius"] < 21.0
    finally:
        rigged.stop()




def _options(parser: argparse.ArgumentParser) -> Iterator[argparse.Action]:
    for action in parser._actions:
        yield action
        if isinstance(action, argparse._SubParsersAction):
            for below in action.choices.values():
                yield from _options(below)


@pytest.mark.parametrize("command", COMMANDS)
def test_an_option_is_named_by_its_kind_and_never_by_a_unit_that_it_does_not_take(command: str) -> None:
    """VOLUME, TEMPERATURE, m:ss and so on: what wants "1 l" is not called ML, and one kind has one name."""
    parser = argparse.ArgumentParser()
    importlib.import_module(COMMANDS[command][0]).configure(parser)
    names = {str(action.metavar) for action in _options(parser) if action.metavar}
    assert not names & {"ML", "L", "LITRES", "C", "F", "DURATION", "SECS", "MINUTES", "TEMP"}
