"""Words for what a view shows: temperatures with their place, age and doubt; times; what a sound means for the hands.

One rule above all: no temperature is said without its unit, where it is from, how old it is and its +/-; and where the
probe was never compared, that stands beside it. Two standard deviations everywhere. Pure. Tests: tests/live/view/test_screen.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from monitor.core.development.filter import QUANTUM_C
from monitor.core.text.quantities import format_duration, format_temperature

SOUNDS = {
    "tick": "TICK: agitate",
    "ready": "READY: stand by",
    "now": "NOW: pour",
    "fault": "FAULT",
    "answer": "ANSWER to the switch",
    "over": "OVER: the fixing minimum is over",
    "click": "click: the switch was felt",
}
QUALITIES = {
    "missing": "is not on the bus",
    "crc": "cannot be read",
    "reset": "says only that it was switched on",
    "stuck": "repeats one value",
    "implausible": "says something impossible",
    "stale": "is silent",
}
GATES = {
    "withheld": "closed: the start is withheld until the developer stands",
    "open": "open: the start is free",
    "overridden": "overridden by you; your reason stands in the journal",
}


def age(age_s: float | None) -> str:
    """How old, in words."""
    if age_s is None:
        return "never read"
    if age_s < 1.0:
        return "just read"
    return f"{age_s:.0f} s ago" if age_s < 60.0 else f"{format_duration(age_s)} ago"


def doubt(sd_c: float) -> str:
    """Two standard deviations of a temperature, rounded up so that none is ever shown as none."""
    return f"+/- {math.ceil(2.0 * sd_c * 100.0 - 1e-6) / 100.0:.2f} C"


def source(seen: Mapping[str, Any], coupled_to: str = "bath") -> str:
    """Whose temperature the developer's is."""
    return {
        "developer": "probe in the developer",
        "witness": "probe in the witness vessel",
        "vessel model": f"estimated from the {coupled_to}",
        "held": "held from the last believed reading",
        "clock": "never measured: where the plan puts it",
    }.get(str(seen["source"]), str(seen["source"]))


def limit(compared: bool, colour: bool) -> str:
    """What stands on every line with a number that hangs on a probe that was never compared. Empty where it was."""
    if compared:
        return ""
    return "not verified (probe not compared)" if colour else "not compared"


def developer(seen: Mapping[str, Any], coupled_to: str = "bath") -> tuple[str, str]:
    """The developer's temperature: the figure with its doubt, and where it is from and how old."""
    if seen.get("developer_c") is None:
        return "not known", ""
    figure = f"{format_temperature(seen['developer_c'], 2)} {doubt(seen['developer_sd_c'])}"
    words = source(seen, coupled_to)
    old_s = seen.get("developer_age_s")
    if seen["source"] in ("developer", "witness", "held"):
        return figure, f"{words}, {age(old_s)}"
    return figure, f"{words}; own probe {age(old_s)}"


def reading(name: str, told: Mapping[str, Any], sd_c: float, now_s: float) -> tuple[str, str]:
    """A probe's last good reading: the figure with its doubt, and where it is from, how old, and whether the probe still speaks."""
    quality = str(told.get("quality", "good"))
    silent = "" if quality == "good" else f"; it {QUALITIES.get(quality, quality)}"
    if told.get("celsius") is None:
        return "not known", f'probe "{name}"{silent}'
    figure = f"{format_temperature(told['celsius'], 2)} {doubt(math.hypot(sd_c, QUANTUM_C / math.sqrt(12.0)))}"
    return figure, f'probe "{name}", {age(max(0.0, now_s - told["t_s"]))}{silent}'


def left(seconds: float) -> str:
    """Time left, whole seconds, rounded up so that 0:00 is the moment itself."""
    return format_duration(float(math.ceil(max(0.0, seconds) - 1e-6)))


def moved(moved_s: float) -> str:
    """By how much an end has moved."""
    return f"end moved {abs(moved_s):.0f} s {'later' if moved_s >= 0 else 'earlier'}"


def jug(stage: Mapping[str, Any]) -> str:
    """What is poured for a stage and where it stands."""
    what = stage.get("solution") or stage["name"]
    return f"{what}, jug {stage['jug']}" if stage.get("jug") is not None else str(what)


def next_pour(stage: Mapping[str, Any]) -> str:
    """A stage as the one that comes next."""
    return f"{stage['name'].upper()}: {jug(stage)}" if stage.get("solution") or stage.get("jug") is not None else stage["name"].upper()


def untimed_load(stage: Mapping[str, Any]) -> bool:
    """Whether a stage is a loading without a time: it has no end of its own and nothing sounds in it."""
    return bool(stage["role"] == "load" and not stage["target_ref_s"])


def loading(following: Mapping[str, Any] | None) -> str:
    """What there is to say of a loading without a time. `following`: the stage after it, if there is one."""
    tap = "ends it" if following is None else f"begins {following['name'].upper()}"
    return f"dark, silent, no clock; a tap {tap}"


def percent(done_ref_s: float, target_ref_s: float) -> float:
    """Share of the development, %."""
    return 100.0 * done_ref_s / target_ref_s if target_ref_s > 0 else 100.0
