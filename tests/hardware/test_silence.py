"""Letting the outputs go after a station that was killed."""

from __future__ import annotations

from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory, MockPin

from hardware.errors import HardwareAbsent
from hardware.silence import main

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
