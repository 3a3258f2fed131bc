"""What a panel is made of: the factory and the pins, checked without loading a library.

Decides which names are allowed and what is worth a warning; opens nothing. Tests: tests/hardware/test_panel.py.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from hardware.errors import HardwareConfig

FACTORIES = ("lgpio", "rpigpio", "pigpio", "native")
"""Pin factories of gpiozero that drive real pins. One is named; another is never tried in its place."""

HIGHEST_GPIO = 27
"""Highest GPIO number on the 40-pin header."""

_PIN = re.compile(r"GPIO(0|[1-9]\d?)", re.ASCII)
_PULLED_UP_AT_RESET = range(9)
_SERIAL_CONSOLE = (14, 15)
_ONE_WIRE_DEFAULT = 4


def factory_problem(name: object) -> str | None:
    """What is wrong with the name of a factory, and what is allowed; None if nothing."""
    if name in FACTORIES:
        return None
    return f'factory "{name}" is not known; allowed: {", ".join(FACTORIES)}'


def pin_problem(name: object) -> str | None:
    """What is wrong with the name of a pin, and what is allowed; None if nothing."""
    match = _PIN.fullmatch(name) if isinstance(name, str) else None
    if match is not None and int(match[1]) <= HIGHEST_GPIO:
        return None
    return f'pin "{name}" is not known; allowed: "GPIO0" to "GPIO{HIGHEST_GPIO}", as in "GPIO18"'


@dataclass(frozen=True, slots=True)
class PanelConfig:
    """Names of the factory and of the pins, as in the station file's table `[panel]`. Raises `HardwareConfig` with all problems."""

    factory: str
    sounder: str
    lamp: str | None = None
    switch: str | None = None

    def __post_init__(self) -> None:
        problems = [factory_problem(self.factory)]
        problems += [f"{use}: {wrong}" for use, pin in self.pins().items() if (wrong := pin_problem(pin)) is not None]
        for pin in sorted(set(self.pins().values())):
            uses = [use for use, other in self.pins().items() if other == pin]
            if len(uses) > 1:
                problems.append(f"pin {pin} is used for {' and '.join(uses)}; allowed: a pin of its own for each")
        found = [problem for problem in problems if problem is not None]
        if found:
            raise HardwareConfig("\n".join(found))

    def pins(self) -> dict[str, str]:
        """Pin names by use: `sounder`, and `lamp` and `switch` where there are such."""
        named = {"sounder": self.sounder, "lamp": self.lamp, "switch": self.switch}
        return {use: pin for use, pin in named.items() if pin is not None}

    def cautions(self) -> list[str]:
        """What works and is still unwise, one sentence each: pins that sound or shine while the board boots, or are taken."""
        found: list[str] = []
        for use, pin in self.pins().items():
            number = int(pin.removeprefix("GPIO"))
            if use != "switch" and number in _PULLED_UP_AT_RESET:
                found.append(f"{use} on {pin}: pulled up while the board starts, so the {use} may come on; take GPIO16 to GPIO27.")
            if number in _SERIAL_CONSOLE:
                found.append(f"{use} on {pin}: the serial console uses this pin while the board starts.")
            if number == _ONE_WIRE_DEFAULT:
                found.append(f"{use} on {pin}: the probes' bus is on this pin unless it was moved.")
        return found


def panel_from(table: Mapping[str, object]) -> PanelConfig:
    """A `PanelConfig` from a table `[panel]` as TOML gives it. Raises `HardwareConfig`."""
    unknown = sorted(set(table) - {"factory", "sounder", "lamp", "switch"})
    missing = [key for key in ("factory", "sounder") if key not in table]
    if unknown or missing:
        words = [f'"{key}" is not known' for key in unknown] + [f"no {key}" for key in missing]
        raise HardwareConfig(f"[panel]: {', '.join(words)}; allowed: factory and sounder, optional lamp and switch")
    values = {key: value if isinstance(value, str) else repr(value) for key, value in table.items()}
    return PanelConfig(values["factory"], values["sounder"], values.get("lamp"), values.get("switch"))


def read_panel(path: Path) -> PanelConfig:
    """The table `[panel]` of a station file; the rest of the file is not looked at. Raises `HardwareConfig`."""
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8")).get("panel")
    except (OSError, ValueError) as wrong:
        raise HardwareConfig(f"{path}: cannot be read ({wrong}); allowed: a station file in TOML") from None
    if not isinstance(table, dict):
        raise HardwareConfig(f"{path}: no table [panel]; allowed: a station file with one")
    try:
        return panel_from(table)
    except HardwareConfig as wrong:
        raise HardwareConfig("\n".join(f"{path}: {line}" for line in str(wrong).splitlines())) from None
