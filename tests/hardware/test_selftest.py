"""The check of the wiring, run by itself."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from hardware.ports import Sample
from hardware.selftest import check_output, check_panel, check_probes, check_switch, main
from hardware.simulated.panel import RecordingPanel
from hardware.simulated.w1_tree import W1Tree


class Bus:
    """A bus that says what it is given."""

    def __init__(self, *samples: Sample) -> None:
        self.samples = {sample.probe_id: sample for sample in samples}

    def ids(self) -> list[str]:
        """Of the samples."""
        return sorted(self.samples)

    def read(self, probe_id: str) -> Sample:
        """The sample of this probe."""
        return self.samples[probe_id]


class Foot:
    """Says lines, and presses the switch when asked to."""

    def __init__(self, panel: RecordingPanel, moves: tuple[bool, ...] = (True, False)) -> None:
        self.lines: list[str] = []
        self._panel = panel
        self._moves = moves

    def say(self, line: str) -> None:
        """Keep the line; a line that asks for the foot moves it."""
        self.lines.append(line)
        if "press it" in line and self._panel.switch is not None:
            for down in self._moves:
                self._panel.switch.move(down)


def test_probes_are_listed_with_what_they_say() -> None:
    """A good probe with its value, a bad one with its fault; a bus without probes with a hint."""
    lines: list[str] = []
    assert check_probes(Bus(Sample("28-a", 0, 20.0625)), lines.append)
    assert not check_probes(Bus(Sample("28-a", 0, 20.0625), Sample("28-b", 0, 85.0, "reset", "probe power")), lines.append)
    assert not check_probes(Bus(), lines.append)
    assert "20.0625 C" in lines[0]
    assert "reset: probe power" in lines[2]
    assert "4.7 kOhm" in lines[3]


def test_the_sounder_beeps_three_times_and_the_lamp_stays_shut() -> None:
    """Three edges on and three off; the lamp only where it was asked for."""
    panel = RecordingPanel(lambda: 0.0)
    foot = Foot(panel)
    assert check_panel(panel, foot.say, lambda _: None, 1.0)
    assert [on for _, on in panel.sounder.edges] == [True, False] * 3
    assert panel.lamp is None
    assert check_panel(panel, foot.say, lambda _: None, 1.0, lamp=True)
    assert panel.lamp is not None


def test_a_foot_that_does_not_come_is_said() -> None:
    """Never pressed, never released, pressed from the start: each has its hint."""
    panel = RecordingPanel(lambda: 0.0)
    assert panel.switch is not None
    never = Foot(panel, ())
    assert not check_switch("switch", panel.switch, 0.0, never.say)
    held = Foot(panel, (True,))
    assert not check_switch("switch", panel.switch, 0.0, held.say)
    assert not check_switch("switch", panel.switch, 0.0, held.say)
    assert [line.split(": ")[1].split(".")[0] for line in (never.lines[-1], *held.lines[-2:])] == [
        "no press came",
        "pressed and never released",
        "closed already",
    ]
    assert check_panel(RecordingPanel(lambda: 0.0, has_switch=False), never.say, lambda _: None, 0.0)


def test_a_pin_that_fails_is_said() -> None:
    """The check of an output ends with the pin's own words."""
    panel = RecordingPanel(lambda: 0.0)
    panel.sounder.broken = True
    lines: list[str] = []
    assert not check_output("sounder", panel.sounder, lines.append, lambda _: None)
    assert "gone" in lines[-1]


def test_without_a_board_it_refuses_politely(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """No bus and no factory: both are said, exit 3, no traceback; a wrong station file is 2."""
    monkeypatch.setitem(sys.modules, "RPi", None)
    station = tmp_path / "station.toml"
    station.write_text('[panel]\nfactory = "rpigpio"\nsounder = "GPIO18"\n')
    monkeypatch.setattr("hardware.one_wire.KERNEL_TREE", tmp_path / "none")
    assert main(["--file", str(station)]) == 3
    err = capsys.readouterr().err.splitlines()
    assert [line.split(":")[0] for line in err] == ["probes", "panel"]
    station.write_text('[panel]\nfactory = "lgpio"\nsounder = "GPIO77"\n')
    assert main(["--file", str(station)]) == 2


def test_the_whole_of_it_on_a_rig(tmp_path: Path) -> None:
    """As a program of its own: a probe of the rig, the beeps in its panel's file, a press through its FIFO, exit 0."""
    W1Tree(tmp_path / "w1").show("28-000000000a01", Sample("x", 0, 20.0))
    words = [sys.executable, "-m", "hardware.selftest", "--rig", str(tmp_path)]
    root = Path(__file__).parents[2]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=root, env={**os.environ, "PYTHONUNBUFFERED": "1"}) as test:
        killer = threading.Timer(60, test.kill)
        killer.start()
        assert test.stdout is not None
        lines: list[str] = []
        for line in test.stdout:
            lines.append(line)
            if "press it" in line:
                (tmp_path / "switch").write_text("down\nup\n")
        killer.cancel()
    assert test.returncode == 0
    assert "20.0000 C" in lines[0]
    assert lines[-1] == "all of it answered\n"
    assert (tmp_path / "panel.jsonl").read_text().count("true") == 3
