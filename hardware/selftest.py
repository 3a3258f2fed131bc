"""`python -m hardware.selftest`: checks the wiring before any film is near: probes and their values, the sounder, the foot switch.

Works alone, without the rest of the program. The lamp is lit only with `--lamp`. With `--rig DIR` it runs against a rig in place of a Pi.
Exit status 0 if all that was asked for answered, 2 for a wrong name, 3 if something did not answer. Tests: tests/hardware/test_selftest.py.
"""

from __future__ import annotations

import argparse
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from hardware.errors import HardwareAbsent, HardwareConfig
from hardware.one_wire import OneWireBus
from hardware.panel import Panel
from hardware.panel_config import cautions, read_panel
from hardware.ports import Output, PanelConfig, PanelPort, ProbeBus, Switch
from hardware.rig import RigPanel

BEEP_S = 0.3
"""Length of each beep and of each pause; like none of the program's own cues."""

Say = Callable[[str], None]
Wait = Callable[[float], object]


def check_probes(bus: ProbeBus, say: Say) -> bool:
    """Say every probe and what it reads; whether there is one and all can be used."""
    ids = bus.ids()
    if not ids:
        say("probes: none on the bus. Is the resistor of 4.7 kOhm between data and 3.3 V, and are the three wires right?")
    good = bool(ids)
    for probe_id in ids:
        sample = bus.read(probe_id)
        good = good and sample.fault is None
        said = f"{sample.raw_c:.4f} C as the probe says it, not compared" if sample.fault is None else f"{sample.fault}: {sample.detail}"
        say(f"probe {probe_id}: {said}")
    return good


def check_output(name: str, output: Output, say: Say, wait: Wait) -> bool:
    """Three beeps or flashes; whether the pin could be driven. Whether it was heard or seen, the person knows."""
    say(f"{name}: three times now")
    try:
        for _ in range(3):
            output.set(True)
            wait(BEEP_S)
            output.set(False)
            wait(BEEP_S)
    except OSError as wrong:
        say(f"{name}: {wrong}")
        return False
    return True


def check_switch(name: str, switch: Switch, seconds: float, say: Say) -> bool:
    """Wait for one press and its release; whether both came."""
    if switch.is_down():
        say(f"{name}: closed already. It must close when pressed, not open; or is the wire shorted to ground?")
        return False
    pressed, released = threading.Event(), threading.Event()

    def heard(_: float, down: bool) -> None:
        if down:
            pressed.set()
        elif pressed.is_set():
            released.set()

    switch.listen(heard)
    say(f"{name}: press it once within {seconds:g} s")
    if not pressed.wait(seconds):
        say(f"{name}: no press came. Is it between the pin and ground?")
        return False
    if not released.wait(seconds):
        say(f"{name}: pressed and never released")
        return False
    say(f"{name}: pressed and released")
    return True


def check_panel(panel: PanelPort, say: Say, wait: Wait, switch_s: float, lamp: bool = False) -> bool:
    """Sounder, lamp if asked for, and switch, each also after another has failed; whether all passed."""
    passed = [check_output("sounder", panel.sounder, say, wait)]
    if panel.sounder_2 is not None:
        passed.append(check_output("sounder_2", panel.sounder_2, say, wait))
    if panel.vibrator is not None:
        passed.append(check_output("vibrator", panel.vibrator, say, wait))
    if lamp:
        passed.append(check_output("lamp", panel.open_lamp(), say, wait))
    if panel.switch is None:
        say("switch: none is named in the station file")
    for name, switch in (("switch", panel.switch), ("switch_2", panel.switch_2)):
        if switch is not None:
            passed.append(check_switch(name, switch, switch_s, say))
    return all(passed)


def main(words: Sequence[str] | None = None) -> int:
    """Check the wiring of a station file, or of the rig."""
    parser = argparse.ArgumentParser(prog="python -m hardware.selftest", description="Check probes, sounder and foot switch.")
    parser.add_argument("--file", metavar="STATION.toml", help="only its table [panel] is read; without it the pins of the wiring page")
    parser.add_argument("--rig", metavar="DIR", help="a rig's folder in place of a Pi")
    parser.add_argument("--lamp", action="store_true", help="light the lamp too; never with film about")
    parser.add_argument("--switch-s", type=float, default=15.0, metavar="SECONDS", help="how long to wait for the foot (default 15)")
    args = parser.parse_args(words)
    rig = Path(args.rig) if args.rig else None
    try:
        config = read_panel(Path(args.file)) if args.file else PanelConfig("lgpio", "GPIO18", "GPIO23", "GPIO24")
        for caution in cautions(config):
            _say(f"note: {caution}")
        passed = [_bus_part(rig), _panel_part(rig, config, args.switch_s, args.lamp)]
    except HardwareConfig as wrong:
        sys.stderr.write(f"{wrong}\n")
        return 2
    _say("all of it answered" if all(passed) else "not all of it answered")
    return 0 if all(passed) else 3


def _bus_part(rig: Path | None) -> bool:
    try:
        return check_probes(OneWireBus(time.monotonic, None if rig is None else rig / "w1"), _say)
    except HardwareAbsent as wrong:
        sys.stderr.write(f"probes: {wrong}\n")
        return False


def _panel_part(rig: Path | None, config: PanelConfig, switch_s: float, lamp: bool) -> bool:
    try:
        panel = Panel(config, time.monotonic) if rig is None else RigPanel(rig, config, time.monotonic)
    except (HardwareAbsent, OSError) as wrong:
        sys.stderr.write(f"panel: {wrong}\n")
        return False
    try:
        return check_panel(panel, _say, time.sleep, switch_s, lamp)
    finally:
        panel.close()


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
