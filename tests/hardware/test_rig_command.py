"""`evenbath rig` and the options of simulated probes, from the command line."""

from __future__ import annotations

import argparse
import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from hardware.one_wire import OneWireBus
from hardware.simulated.probes import ProbeOptions
from monitor.cli.arguments.probe_options import add_probe_options, options_from
from monitor.cli.main import main
from monitor.core.errors import InputWrong


def _trace(directory: Path, end_s: float) -> str:
    path = directory / "trace.csv"
    path.write_text(f"t_s,developer_c,bath_c\n0,20,15\n{end_s},20,15\n")
    return str(path)


def test_the_trace_is_played_to_its_end(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A short trace at high speed: exit 0, values on the bus, the zero of its time, a line at the start and at the end."""
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        assert main(["rig", str(tmp_path / "rig"), "--trace", _trace(tmp_path, 50), "--speed", "1000"]) == 0
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert len(capsys.readouterr().out.splitlines()) == 2
    assert OneWireBus(lambda: 0.0, tmp_path / "rig" / "w1").read("28-000000000a02").raw_c == pytest.approx(15, abs=0.2)
    assert json.loads((tmp_path / "rig" / "rig.json").read_text())["mono_s0"] > 0


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_it_cleanly(tmp_path: Path, number: signal.Signals) -> None:
    """Stopped from outside: exit 0, no traceback."""
    words = [sys.executable, "-m", "monitor.cli.main", "rig", str(tmp_path), "--trace", _trace(tmp_path, 3600)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as rig:
        assert rig.stdout is not None
        assert rig.stdout.readline().startswith(f"rig {tmp_path}: ")
        rig.send_signal(number)
        out, err = rig.communicate(timeout=20)
    assert (rig.returncode, err) == (0, "")
    assert "stopped" in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--speed", "fast"], '--speed "fast": not a number'),
        (["--speed", "0"], "--speed 0 is out of range"),
        (["--probe-lag-s", "-1"], "--probe-lag-s is -1; allowed: 0 to 3600"),
        (["--probe-noise-c", "nan"], '--probe-noise-c "nan": not a number'),
        (["--probe-start-c", "24 C"], '--probe-start-c "24 C": not a number'),
        (["--offset-c", "99"], "--offset-c is 99"),
        (["--seed", "1.5"], '--seed "1.5" is not a whole number'),
    ],
)
def test_a_bad_number_is_one_line_and_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str) -> None:
    """What was read and what is allowed, by the option's own name; nothing is made."""
    assert main(["rig", str(tmp_path / "rig"), "--trace", _trace(tmp_path, 5), *words]) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(said)
    assert "allowed" in line
    assert not (tmp_path / "rig").exists()


def test_a_wrong_trace_is_told_with_file_and_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All problems, a line each; a file that is not there is one line."""
    path = tmp_path / "trace.csv"
    path.write_text("t_s,developer_c,bath_c\n0,20,x\n0,20,15\n")
    assert main(["rig", str(tmp_path / "rig"), "--trace", str(path)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.split(": ")[0] for line in lines] == [f"{path}:2", f"{path}:3"]
    assert main(["rig", str(tmp_path / "rig"), "--trace", str(tmp_path / "none.csv")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file in the folder's place: exit 2, one line."""
    (tmp_path / "file").write_text("")
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        assert main(["rig", str(tmp_path / "file"), "--trace", _trace(tmp_path, 5)]) == 2
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert "cannot be used as the rig's folder" in capsys.readouterr().err


def test_the_options_without_words_are_the_contract_s_defaults() -> None:
    """Lag 8 s, noise 0.02 C, settled, no offset, seed 7; words change them."""
    parser = argparse.ArgumentParser()
    add_probe_options(parser)
    assert options_from(parser.parse_args([])) == ProbeOptions(8.0, 0.02, None, 0.0, 7)
    words = ["--probe-lag-s", "5", "--probe-noise-c", "0", "--probe-start-c", "24", "--offset-c", "-0.3", "--seed", "-2"]
    assert options_from(parser.parse_args(words)) == ProbeOptions(5.0, 0.0, 24.0, -0.3, -2)
    with pytest.raises(InputWrong):
        options_from(parser.parse_args(["--seed", ""]))


def test_something_else_in_the_place_of_the_hand_is_one_line_and_exit_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The rig makes its own FIFO; and --help tells how foot, hand and ears are played."""
    (tmp_path / "hand").mkdir()
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        assert main(["rig", str(tmp_path), "--trace", _trace(tmp_path, 5)]) == 2
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    (line,) = capsys.readouterr().err.splitlines()
    assert "not a FIFO" in line
    assert main(["rig", "--help"]) == 0
    told = capsys.readouterr().out
    assert "echo lift developer > DIR/hand" in told
    assert "echo dip developer > DIR/hand" in told
