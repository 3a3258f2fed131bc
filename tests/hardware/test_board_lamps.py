"""Putting out the board's lamps, on a made-up tree of the kernel's files."""

from __future__ import annotations

from pathlib import Path

import pytest

from hardware.board_lamps import board_model, dark_level, main, put_out


def _board(root: Path, model: str, *lamps: str) -> None:
    (root / "proc/device-tree").mkdir(parents=True)
    (root / "proc/device-tree/model").write_bytes(model.encode() + b"\0")
    (root / "sys/class/leds").mkdir(parents=True)
    for lamp in lamps:
        folder = root / "sys/class/leds" / lamp
        folder.mkdir()
        (folder / "trigger").write_text("none [mmc0] default-on")
        (folder / "brightness").write_text("255")


def _files(root: Path, lamp: str) -> tuple[str, str]:
    folder = root / "sys/class/leds" / lamp
    return (folder / "trigger").read_text().strip(), (folder / "brightness").read_text().strip()


@pytest.mark.parametrize(
    ("model", "lamp", "level"),
    [
        ("Raspberry Pi 5 Model B Rev 1.0", "ACT", "1"),
        ("Raspberry Pi 5 Model B Rev 1.0", "PWR", "0"),
        ("Raspberry Pi Zero W Rev 1.1", "led0", "1"),
        ("Raspberry Pi Zero 2 W Rev 1.0", "ACT", "0"),
        ("Raspberry Pi 4 Model B Rev 1.4", "ACT", "0"),
        ("", "PWR", "0"),
    ],
)
def test_which_level_is_taken_for_dark_depends_on_the_board(model: str, lamp: str, level: str) -> None:
    """Zero is not dark everywhere: the known exceptions are in a table, under both names of a lamp."""
    assert dark_level(model, lamp) == level


def test_the_lamps_are_set_and_the_eye_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Triggers off, levels by the table, other lamps of the tree untouched; what software cannot know is listed."""
    _board(tmp_path, "Raspberry Pi 5 Model B Rev 1.0", "ACT", "PWR", "input3::capslock")
    assert main(["--root", str(tmp_path)]) == 0
    assert _files(tmp_path, "ACT") == ("none", "1")
    assert _files(tmp_path, "PWR") == ("none", "0")
    assert _files(tmp_path, "input3::capslock")[1] == "255"
    said = capsys.readouterr().out
    assert "Raspberry Pi 5" in said
    assert said.count("whether that level is dark") == 2
    assert "network socket" in said
    assert "opaque box" in said


def test_a_lamp_that_does_not_take_it_is_not_called_set(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that reads back otherwise, or cannot be written, is NOT set, and the exit status says so."""
    _board(tmp_path, "Raspberry Pi 4", "ACT", "PWR")
    act = tmp_path / "sys/class/leds/ACT/trigger"
    act.unlink()
    act.mkdir()
    pwr = tmp_path / "sys/class/leds/PWR/brightness"
    pwr.unlink()
    pwr.symlink_to("/dev/null")
    assert [result.set_and_read_back for result in put_out(tmp_path)] == [False, False]
    assert main(["--root", str(tmp_path)]) == 3
    assert capsys.readouterr().out.count("NOT set") == 2


def test_a_machine_without_such_lamps_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No board, no lamps: nothing is claimed."""
    assert board_model(tmp_path) == ""
    assert main(["--root", str(tmp_path)]) == 3
    assert "No board lamps found" in capsys.readouterr().out
