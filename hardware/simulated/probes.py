"""Simulated probes in the liquids of a trace: lag, offset, noise, quantisation and faults, the same every time for a seed.

The developer's probe follows its liquid through a first-order lag, exact for liquids that are straight between rows; bath and room
have none. Nothing here reads a clock: time comes in with each call. Tests: tests/hardware/test_simulated_probes.py.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

from hardware.errors import HardwareConfig
from hardware.ports import Sample
from hardware.simulated.trace import REGISTER_C, Trace

STEP_C = 0.0625
"""One step of the 12-bit register (DS18B20 data sheet)."""

RESET_C = 85.0
"""What the register says after power-on, before a conversion (DS18B20 data sheet)."""

AIR_LAG_S = 120.0
"""Lag of a wet probe in still air, by the definition of a trace's `air`."""

AIR_BELOW_C = 5.0
"""So much colder than its liquid is the air for a lifted probe, where the trace has no room (invented: any visible fall will do)."""

LIFTED_OUT_OF = ("developer", "bath", "developer_2")
"""Probes that lie in a liquid and can be lifted; a room's hangs in the air."""


@dataclass(frozen=True, slots=True)
class ProbeOptions:
    """How the developer's probe differs from its liquid, and the noise of all.

    `lag_s` 0 to 3600; `noise_c` standard deviation, 0 to 10; `start_c` what the developer's probe has at t_s = 0 (None: settled);
    `offset_c` added after the lag, -20 to 20 (positive: reads high); `seed` any whole number. Raises `HardwareConfig`.
    """

    lag_s: float = 8.0
    noise_c: float = 0.02
    start_c: float | None = None
    offset_c: float = 0.0
    seed: int = 7

    def __post_init__(self) -> None:
        bounds = {"lag_s": (0.0, 3600.0), "noise_c": (0.0, 10.0), "start_c": REGISTER_C, "offset_c": (-20.0, 20.0)}
        for name, (low, high) in bounds.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise HardwareConfig(f"{name} is {value:g}; allowed: {low:g} to {high:g}")


def quantised_c(celsius: float) -> float:
    """The nearest value that the 12-bit register can hold, degrees Celsius."""
    low, high = REGISTER_C
    return min(max(math.floor(celsius / STEP_C + 0.5) * STEP_C, low), high)


def relaxed_c(probe_c: float, from_c: float, to_c: float, span_s: float, lag_s: float) -> float:
    """A first-order lag after `span_s` of a liquid that goes straight from `from_c` to `to_c`; exact.

    Solution of dP/dt = (u - P) / lag with u linear: P = u(end) - b lag + (P0 - u(start) + b lag) e^(-span/lag), b the slope.
    """
    if lag_s <= 0:
        return to_c
    trail_c = (to_c - from_c) / span_s * lag_s
    return to_c - trail_c + (probe_c - from_c + trail_c) * math.exp(-span_s / lag_s)


class SimulatedProbes:
    """Probes `developer`, `bath` and, where the trace has them, `room` and `developer_2`. Ask each with rising times."""

    def __init__(self, trace: Trace, options: ProbeOptions | None = None) -> None:
        chosen = options or ProbeOptions()
        self._probes = {"developer": _Probe(trace, "developer", chosen)}
        if trace.has_second:
            self._probes["developer_2"] = _Probe(trace, "developer_2", chosen)
        self._probes["bath"] = _Probe(trace, "bath", chosen)
        if trace.has_room:
            self._probes["room"] = _Probe(trace, "room", chosen)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the probes, the developer's first."""
        return tuple(self._probes)

    def sample(self, name: str, t_s: float) -> Sample:
        """Read one probe at `t_s`, seconds of the trace; an earlier time than the last reads the probe where it is."""
        if name not in self._probes:
            raise HardwareConfig(f'no probe "{name}" in the trace; allowed: {", ".join(self._probes)}')
        return self._probes[name].sample(t_s)

    def lift(self, name: str) -> None:
        """Take a probe out of its liquid: from its last sample on it relaxes to the air's temperature, as in a trace's `air`, until `dip`.

        Raises `HardwareConfig` for a name that is not one of `LIFTED_OUT_OF`.
        """
        self._in_liquid(name).lifted = True

    def dip(self, name: str) -> None:
        """Put a probe back into its liquid; nothing if it lies there. Raises as `lift`."""
        self._in_liquid(name).lifted = False

    def _in_liquid(self, name: str) -> _Probe:
        if name not in LIFTED_OUT_OF or name not in self._probes:
            raise HardwareConfig(f'no probe "{name[:40]}" lies in a liquid; allowed: {", ".join(LIFTED_OUT_OF)}')
        return self._probes[name]


class _Probe:
    """One probe: its own temperature, carried from call to call, and its own stream of noise."""

    def __init__(self, trace: Trace, name: str, options: ProbeOptions) -> None:
        self._trace = trace
        self._name = name
        self._column = f"{name}_c"
        developer = name in ("developer", "developer_2")
        self._lag_s = options.lag_s if developer else 0.0
        self._offset_c = options.offset_c if developer else 0.0
        self._noise_c = options.noise_c
        self._random = random.Random(f"{options.seed}:{name}")
        self._at_s = 0.0
        start_c = options.start_c if developer else None
        self._probe_c = trace.value_c(self._column, 0.0) if start_c is None else start_c
        self._last_c: float | None = None
        self.lifted = False

    def sample(self, t_s: float) -> Sample:
        self._advance(t_s)
        # Drawn at every call, so that a fault never shifts the noise of later readings.
        noise_c = self._random.gauss(0.0, 1.0) * self._noise_c
        register_c = quantised_c(self._probe_c + self._offset_c + noise_c)
        fault = self._trace.fault(self._name, t_s)
        if fault == "missing":
            return Sample(self._name, t_s, None, "missing", "unplugged")
        if fault == "crc":
            return Sample(self._name, t_s, None, "crc", "unreadable")
        if fault == "reset":
            return Sample(self._name, t_s, RESET_C, "reset", "power-on value")
        if fault == "stuck" and self._last_c is not None:
            register_c = self._last_c
        self._last_c = register_c
        return Sample(self._name, t_s, register_c)

    def _advance(self, t_s: float) -> None:
        """Carry the probe's own temperature on to `t_s`."""
        for left, right in self._trace.segments(self._at_s, t_s):
            in_air = self.lifted or self._trace.fault(self._name, left) == "air"
            around = self._air_c if in_air else self._liquid_c
            self._probe_c = relaxed_c(self._probe_c, around(left), around(right), right - left, AIR_LAG_S if in_air else self._lag_s)
        self._at_s = max(self._at_s, t_s)

    def _liquid_c(self, t_s: float) -> float:
        return self._trace.value_c(self._column, t_s)

    def _air_c(self, t_s: float) -> float:
        room_c = self._trace.room_c(t_s)
        return self._liquid_c(t_s) - AIR_BELOW_C if room_c is None else room_c
