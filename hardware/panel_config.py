"""The table [panel] of a station file, for the programs in this package that run alone; and which pins are unwise.

Which names are allowed stands in `hardware.ports`. Opens no pin and loads no library. Tests: tests/hardware/test_panel.py.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from pathlib import Path

from hardware.errors import HardwareConfig
from hardware.ports import PIN_FACTORIES, PanelConfig, pin_problems, second_problems, tone_from

_PULLED_UP_AT_RESET = range(9)
_SERIAL_CONSOLE = (14, 15)
_ONE_WIRE_DEFAULT = 4
_OPTIONAL = ("lamp", "switch", "vibrator", "sounder_kind", "tone_hz", "switch_2", "sounder_2")


def cautions(config: PanelConfig) -> list[str]:
    """What works but is unwise, a sentence each: pins that sound or light up while the board boots, or that are in use."""
    found: list[str] = []
    for use, pin in config.pins().items():
        number = int(pin.removeprefix("GPIO"))
        if not use.startswith("switch") and number in _PULLED_UP_AT_RESET:
            found.append(f"{use} on {pin}: pulled up while the board starts, so the {use} may come on; take GPIO16 to GPIO27.")
        if number in _SERIAL_CONSOLE:
            found.append(f"{use} on {pin}: the serial console uses this pin while the board starts.")
        if number == _ONE_WIRE_DEFAULT:
            found.append(f"{use} on {pin}: the probes' bus is on this pin unless it was moved.")
    return found


def factory_problem(name: str) -> str:
    """The refusal of a factory name that is not one of `PIN_FACTORIES`."""
    return f"factory {json.dumps(name[:60])} is not known; allowed: {', '.join(PIN_FACTORIES)}"


def panel_from(table: Mapping[str, object]) -> PanelConfig:
    """A `PanelConfig` from a table `[panel]` as TOML gives it. Raises `HardwareConfig` with all problems, a line each."""
    unknown = sorted(set(table) - {"factory", "sounder", *_OPTIONAL})
    missing = [key for key in ("factory", "sounder") if key not in table]
    if unknown or missing:
        words = [f'"{key}" is not known' for key in unknown] + [f"no {key}" for key in missing]
        optional = f"{', '.join(_OPTIONAL[:-1])} and {_OPTIONAL[-1]}"
        raise HardwareConfig(f"[panel]: {', '.join(words)}; allowed: factory and sounder, optional {optional}")
    values = {key: value if isinstance(value, str) else repr(value) for key, value in table.items()}
    tone_hz, wrong = tone_from(table.get("sounder_kind", "active"), table.get("tone_hz"))
    config = PanelConfig(
        values["factory"], values["sounder"], values.get("lamp"), values.get("switch"), values.get("vibrator"), tone_hz,
        values.get("switch_2"), values.get("sounder_2"),
    )  # fmt: skip
    if wrong is not None:
        raise HardwareConfig(f"{wrong[1]}; allowed: {wrong[2]}")
    problems = [] if config.factory in PIN_FACTORIES else [factory_problem(config.factory)]
    problems += [f"{what}; allowed: {allowed}" for _, what, allowed in [*pin_problems(config.pins()), *second_problems(config.pins())]]
    if problems:
        raise HardwareConfig("\n".join(problems))
    return config


def read_panel(path: Path) -> PanelConfig:
    """The table `[panel]` of a station file; the rest of the file is ignored. Raises `HardwareConfig`."""
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
