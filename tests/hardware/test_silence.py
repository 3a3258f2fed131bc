"""Letting the outputs go after a station that was killed."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from hardware.errors import HardwareAbsent
from hardware.silence import OUTLIVED, main, stand_by

STATION = '[panel]\nfactory = "lgpio"\nsounder = "GPIO18"\nlamp = "GPIO23"\nswitch = "GPIO24"\n'


def _file(directory: Path, text: str = STATION) -> list[str]:
    path = directory / "station.toml"
    path.write_text(text)
    return ["--file", str(path)]


def test_both_outputs_are_let_go_and_never_driven(tmp_path: Path) -> None:
    """Sounder and lamp become inputs pulled down; neither is an output at any moment, and the switch is left alone."""
    functions: list[str] = []
    names: set[str] = set()

    class Watched(MockPin):  # type: ignore[misc]
        def _set_function(self, value: str) -> None:
            functions.append(value)
            super()._set_function(value)

        def _set_pull(self, value: str) -> None:
            if value == "down":
                names.add(self.info.name)
            super()._set_pull(value)

    assert main(_file(tmp_path), lambda name: MockFactory(pin_class=Watched)) == 0
    assert set(functions) == {"input"}
    assert names == {"GPIO18", "GPIO23"}


def test_one_pin_that_fails_does_not_keep_the_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What could not be let go is named, the rest is let go all the same."""
    done: list[str] = []

    class Stiff(MockPin):  # type: ignore[misc]
        def _set_pull(self, value: str) -> None:
            if self.info.name == "GPIO18" and value == "down":
                raise RuntimeError("busy")
            done.append(self.info.name)
            super()._set_pull(value)

    assert main(_file(tmp_path), lambda name: MockFactory(pin_class=Stiff)) == 3
    assert "GPIO23" in done
    assert "sounder on GPIO18: RuntimeError: busy" in capsys.readouterr().err


def test_no_file_and_no_board_are_one_line_each(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A wrong file is 2, an absent factory 3; no traceback."""

    def absent(name: str) -> object:
        raise HardwareAbsent(f"pin factory {name} does not start here")

    assert main(["--file", str(tmp_path / "none.toml")]) == 2
    assert main(_file(tmp_path), absent) == 3
    assert len(capsys.readouterr().err.splitlines()) == 2


HELPER = """
import signal, sys, time
from gpiozero.pins.mock import MockFactory, MockPin
from hardware.silence import OUTLIVED, main, stand_by
busy = [3]
class Told(MockPin):
    def _set_pull(self, value):
        if value == "down":
            if busy[0]:
                busy[0] -= 1
                raise RuntimeError("GPIO busy")
            print(self.info.name, time.monotonic(), flush=True)
        super()._set_pull(value)
def load(name):
    print("loaded", flush=True)
    return MockFactory(pin_class=Told)
sys.exit(main(sys.argv[1:], load))
"""
STATION_THAT_DIES = """
import subprocess, sys, time
subprocess.Popen([sys.executable, "-c", sys.argv[1], *sys.argv[2:]], stdin=subprocess.PIPE)
time.sleep(60)
"""


def test_a_station_that_is_killed_is_silenced_by_the_process_beside_it(tmp_path: Path) -> None:
    """It is loaded before, does nothing while the station lives, outlives what a service manager sends, and lets go of busy pins too."""
    words = [sys.executable, "-c", STATION_THAT_DIES, HELPER, *_file(tmp_path), "--when-gone"]
    station = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, process_group=0)
    assert station.stdout is not None
    assert station.stdout.readline() == "loaded\n"
    helper = int(Path(f"/proc/{station.pid}/task/{station.pid}/children").read_text())
    until_s = time.monotonic() + 10.0
    while not int(re.findall(r"SigIgn:\t(\w+)", Path(f"/proc/{helper}/status").read_text())[0], 16) >> (signal.SIGTERM - 1) & 1:
        assert time.monotonic() < until_s
    for number in OUTLIVED:
        os.kill(helper, number)
    killed_s = time.monotonic()
    station.kill()
    station.wait()
    told = [line.split() for line in station.stdout]  # to the end of the process beside it
    assert {pin for pin, _ in told} == {"GPIO18", "GPIO23"}
    assert all(0.0 < float(at_s) - killed_s < 2.0 for _, at_s in told), told
    station.stdout.close()


def test_the_process_beside_the_station_gets_the_station_s_file_and_ends_with_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No notification socket and no FIFO folder of the station's."""
    monkeypatch.setenv("NOTIFY_SOCKET", "/run/x")
    monkeypatch.setenv("LG_WD", "/run/evenbath")
    beside = stand_by(_file(tmp_path)[1])
    assert beside is not None
    assert beside.stdin is not None
    words = Path(f"/proc/{beside.pid}/cmdline").read_bytes().split(b"\0")
    environment = Path(f"/proc/{beside.pid}/environ").read_bytes()
    beside.stdin.close()
    assert beside.wait(20.0) in (0, 3)
    if len(words) > 2:  # it had begun by then
        assert words[1:-1] == [b"-m", b"hardware.silence", b"--file", _file(tmp_path)[1].encode(), b"--when-gone"]
        assert b"NOTIFY_SOCKET=" not in environment
        assert b"LG_WD=" not in environment
