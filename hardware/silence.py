"""`python -m hardware.silence`: release the pins of sounder and lamp, after a station that had no time to do so itself.

A process that is killed may leave an output at its last level. This makes both pins inputs with the pull-down on; the lamp is
never driven. Meant for ExecStopPost of the service. Exit status 0, also where there is nothing to silence; 2 for a bad station
file; 3 without hardware. Tests: tests/hardware/test_silence.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from hardware.errors import HardwareAbsent, HardwareConfig
from hardware.panel import load_factory
from hardware.panel_config import read_panel
from hardware.ports import PanelConfig


def silence(config: PanelConfig, factory: Any) -> list[str]:
    """Release every output pin of the panel. Returns those that could not be, with the reason."""
    from gpiozero import InputDevice

    failed: list[str] = []
    for use, pin in config.pins().items():
        if use == "switch":
            continue
        try:
            InputDevice(pin, pull_up=False, pin_factory=factory).close()
        except Exception as wrong:  # the other pin still has its turn
            failed.append(f"{use} on {pin}: {type(wrong).__name__}: {wrong}")
    return failed


def main(words: Sequence[str] | None = None, load: Callable[[str], Any] = load_factory) -> int:
    """Silence the panel of a station file."""
    parser = argparse.ArgumentParser(prog="python -m hardware.silence", description="Release the pins of sounder and lamp.")
    parser.add_argument("--file", required=True, metavar="STATION.toml", help="the station file; only its table [panel] is read")
    args = parser.parse_args(words)
    try:
        config = read_panel(Path(args.file))
        factory = load(config.factory)
        failed = silence(config, factory)
        factory.close()
    except HardwareConfig as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 2
    except HardwareAbsent as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 3
    for line in failed:
        sys.stderr.write(f"{line}\n")
    return 3 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
