"""`python -m hardware.board_lamps`: put out the board's own lamps as far as software can, and say what it could not verify.

Which level of a lamp's file is dark differs between boards and kernels, so a level that was read back proves nothing to the eye: the last
word has the person who looks. Nothing here reaches the lamps while the board starts, halts or restarts; only an opaque box does.
Needs root. Tests: tests/hardware/test_board_lamps.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

LAMP_NAMES = ("ACT", "PWR", "led0", "led1")
"""Folders of the board's lamps below /sys/class/leds; the last two on older kernels (common reports)."""

_ALIASES = {"led0": "ACT", "led1": "PWR"}

DARK_AT_ONE = (("Raspberry Pi 5", "ACT"), ("Raspberry Pi Zero W", "ACT"))
"""Start of the board's model and the lamp whose file says 1 when it is dark, with no trigger. The first: raspberrypi/linux issue 6783,
seen with one kernel; the second: common practice, from memory, not verified. Everywhere else 0 is taken for dark, and not believed."""

NEVER_VERIFIED = (
    "the lamps of the network socket: set eth_led0 and eth_led1 in config.txt (4 on a Pi 4 or 5, 14 on a 3B+), or pull the plug",
    "every lamp while the board starts, halts or restarts: no setting reaches them",
    "a screen, its standby lamp, and the lamps of the power supply, hub and keyboard",
)
"""What stays for the box and for the eye, whatever was set."""


@dataclass(frozen=True, slots=True)
class LampResult:
    """What became of one lamp. `set_and_read_back` True: no trigger, and the file says what was written; not that it is dark."""

    name: str
    set_and_read_back: bool
    detail: str


def put_out(root: Path = Path("/")) -> list[LampResult]:
    """Set every board lamp found below `root` to no trigger and the level taken for dark, and read back."""
    model = board_model(root)
    leds = root / "sys/class/leds"
    return [_put_out_one(leds / name, dark_level(model, name)) for name in LAMP_NAMES if (leds / name).is_dir()]


def board_model(root: Path = Path("/")) -> str:
    """What the board calls itself; empty if it does not."""
    try:
        return (root / "proc/device-tree/model").read_bytes().rstrip(b"\0").decode("utf-8", "replace")
    except OSError:
        return ""


def dark_level(model: str, lamp: str) -> str:
    """`0` or `1`: what is taken for dark in this lamp's file on this board."""
    name = _ALIASES.get(lamp, lamp)
    return "1" if any(model.startswith(board) and name == inverted for board, inverted in DARK_AT_ONE) else "0"


def _put_out_one(folder: Path, level: str) -> LampResult:
    try:
        (folder / "trigger").write_text("none\n", encoding="ascii")
        (folder / "brightness").write_text(f"{level}\n", encoding="ascii")
        trigger = (folder / "trigger").read_text(encoding="ascii").strip()
        brightness = (folder / "brightness").read_text(encoding="ascii").strip()
    except PermissionError:
        return LampResult(folder.name, False, "no right to write it; run this as root")
    except (OSError, ValueError) as wrong:
        return LampResult(folder.name, False, f"cannot be set ({wrong})")
    if trigger != "none" and "[none]" not in trigger:
        return LampResult(folder.name, False, "its trigger stayed")
    if brightness != level:
        return LampResult(folder.name, False, f"level {level} was written and {brightness} is there")
    return LampResult(folder.name, True, f"no trigger, level {level}")


def report(model: str, results: Sequence[LampResult]) -> list[str]:
    """Plain lines: what was set, what was not, and what only the eye can tell."""
    lines = [f"Board: {model or 'unknown'}"]
    if not results:
        lines.append("No board lamps found: this kernel shows none, or this is no Pi.")
    for result in results:
        lines.append(f"{result.name}: {'set' if result.set_and_read_back else 'NOT set'}, {result.detail}")
    lines.append("Not verified, look for yourself after ten minutes in the dark:")
    lines += [f"  - {result.name}: whether that level is dark on this board" for result in results]
    lines += [f"  - {text}" for text in NEVER_VERIFIED]
    lines.append("The board belongs in an opaque box even when everything here is set.")
    return lines


def main(words: Sequence[str] | None = None) -> int:
    """Put the lamps out and tell. Exit status 0 if every lamp found was set, 3 otherwise."""
    parser = argparse.ArgumentParser(prog="python -m hardware.board_lamps", description="Put out the board's own lamps, as far as can be.")
    parser.add_argument("--root", default="/", help="where sys and proc stand, for a trial without a board")
    root = Path(parser.parse_args(words).root)
    results = put_out(root)
    for line in report(board_model(root), results):
        sys.stdout.write(f"{line}\n")
    return 0 if results and all(result.set_and_read_back for result in results) else 3


if __name__ == "__main__":
    sys.exit(main())
