"""`python -m hardware.silence`: release the pins of sounder and lamp of a station that had no time to do so itself.

A process that is killed may leave an output at its last level. This makes both pins inputs with the pull-down on; the lamp is
never driven. The station starts it beside itself (`stand_by`, `--when-gone`): it has everything loaded, waits for the station's death,
which ends a pipe, and lets go at once, so that neither a sounder nor a restart waits for a program to start. Exit status 0, also where
there is nothing to silence; 2 for a bad station file; 3 without hardware. Tests: tests/hardware/test_silence.py.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from hardware.errors import HardwareAbsent, HardwareConfig
from hardware.panel import load_factory
from hardware.panel_config import read_panel
from hardware.ports import PanelConfig

TRIES, PAUSE_S = 100, 0.01
"""The kernel frees the pins of a dead process at about the time at which its pipe ends: so often a busy pin is tried again."""
OUTLIVED = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGABRT)
"""A service manager sends these to every process of a service whose main one has died or hangs."""
NOT_INHERITED = ("NOTIFY_SOCKET", "LG_WD", "RUNTIME_DIRECTORY")
"""lgpio makes its FIFOs by number: two processes must not have one folder for them."""


def stand_by(file: str) -> subprocess.Popen[bytes] | None:
    """Start the process that lets go when this one is gone. None where none can be started."""
    here = {name: value for name, value in os.environ.items() if name not in NOT_INHERITED}
    words = [sys.executable, "-m", "hardware.silence", "--file", file, "--when-gone"]
    try:
        return subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, env=here)
    except OSError:
        return None


def silence(config: PanelConfig, factory: Any, tries: int = 1) -> list[str]:
    """Release every output pin of the panel. Returns those that could not be, with the reason."""
    from gpiozero import InputDevice

    failed: dict[str, str] = {pin: use for use, pin in config.pins().items() if not use.startswith("switch")}
    why: list[str] = []
    for _ in range(tries):
        why = []
        for pin, use in list(failed.items()):
            try:
                InputDevice(pin, pull_up=False, pin_factory=factory).close()
                del failed[pin]
            except Exception as wrong:  # the other pin still has its turn
                why.append(f"{use} on {pin}: {type(wrong).__name__}: {wrong}")
        if not failed:
            break
        threading.Event().wait(PAUSE_S if tries > 1 else 0.0)
    return why


def main(words: Sequence[str] | None = None, load: Callable[[str], Any] = load_factory) -> int:
    """Silence the panel of a station file."""
    parser = argparse.ArgumentParser(prog="python -m hardware.silence", description="Release the pins of sounder and lamp.")
    parser.add_argument("--file", required=True, metavar="STATION.toml", help="the station file; only its table [panel] is read")
    parser.add_argument("--when-gone", action="store_true", help="wait until standard input ends: until whoever started this is gone")
    args = parser.parse_args(words)
    try:
        config = read_panel(Path(args.file))
        factory = load(config.factory)
        if args.when_gone:
            _wait_for_the_end()
        failed = silence(config, factory, TRIES if args.when_gone else 1)
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


def _wait_for_the_end() -> None:
    """All is loaded; what ends the station's other processes does not end this one."""
    import gpiozero  # noqa: F401 - not in the moment in which it counts

    for number in OUTLIVED:
        signal.signal(number, signal.SIG_IGN)
    while os.read(0, 4096):
        pass


if __name__ == "__main__":
    sys.exit(main())
