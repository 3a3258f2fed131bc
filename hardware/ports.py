"""What the rest may ask of a probe bus, a sounder, a lamp and a foot switch: protocols and plain values; and what names they may have.

Nothing here opens anything. The real adapters (`one_wire`, `panel`) and the simulated ones (`simulated`) both implement these.
Times are seconds of CLOCK_MONOTONIC (or of a simulated clock), temperatures degrees Celsius. Tests:
tests/hardware/test_panel.py, tests/hardware/test_one_wire.py, tests/live/station/test_station_file.py.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

PIN_FACTORIES = ("lgpio", "rpigpio", "pigpio", "native")
"""Pin factories of gpiozero that drive real pins. The station file names one; another is never tried in its place."""
HIGHEST_GPIO = 27
"""Lines of the 40-pin header that can be used as GPIO: 0 to 27 (the board maker's pin table)."""

_PIN = re.compile(r"GPIO(0|[1-9]\d?)", re.ASCII)
_PROBE_ID = re.compile(r"(?:10|22|28|3b|42)-[0-9a-f]{12}", re.ASCII)
"""Family codes of temperature probes on this bus (kernel, Documentation/w1/slaves/w1_therm.rst), and six bytes."""

SampleFault = Literal["missing", "crc", "reset", "implausible", "stale"]


@dataclass(frozen=True, slots=True)
class Sample:
    """One attempt to read one probe. `fault` None means that `raw_c` is what the register said and can be used.

    `t_s` is the middle of the conversion. With a fault `raw_c` is what the register said, or None where it said nothing.
    """

    probe_id: str
    t_s: float
    raw_c: float | None
    fault: SampleFault | None = None
    detail: str = ""


class ProbeBus(Protocol):
    """A bus of temperature probes. `read` blocks for a conversion (about 0.8 s on the real bus) and never raises for a
    fault of the world: that is a `Sample` with a `fault`."""

    def ids(self) -> Sequence[str]:
        """Ids of the probes present now, such as `28-0316a2795f3c`, sorted."""
        ...

    def read(self, probe_id: str) -> Sample:
        """Read one probe once."""
        ...


def is_probe_id(text: str) -> bool:
    """Whether this is the name of a temperature probe's folder on the 1-Wire bus, such as `28-0316a2795f3c`."""
    return _PROBE_ID.fullmatch(text) is not None


@dataclass(frozen=True, slots=True)
class PanelConfig:
    """The factory and the pins of a panel, by name. Plain: whoever reads the names from a file checks them with `pin_problems`.

    `tone_hz`: the sounder is a passive one and is driven with this tone; None: an active one, which makes its own. `switch_2` and
    `sounder_2` are the second vessel's; a second sounder is of the same kind as the first.
    """

    factory: str
    sounder: str
    lamp: str | None = None
    switch: str | None = None
    vibrator: str | None = None
    tone_hz: float | None = None
    switch_2: str | None = None
    sounder_2: str | None = None

    def pins(self) -> dict[str, str]:
        """Pin names by use: `sounder`, and the others where there are such."""
        named = {
            "sounder": self.sounder, "lamp": self.lamp, "switch": self.switch, "vibrator": self.vibrator, "switch_2": self.switch_2,
            "sounder_2": self.sounder_2,
        }  # fmt: skip
        return {use: pin for use, pin in named.items() if pin is not None}


def pin_problems(pins: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """What is wrong with the pins of a panel, given by their use: (use, what is wrong, what is allowed)."""
    problems: list[tuple[str, str, str]] = []
    used: dict[str, str] = {}
    for use, pin in pins.items():
        match = _PIN.fullmatch(pin)
        if match is None or int(match[1]) > HIGHEST_GPIO:
            problems.append((use, f"{use}: {json.dumps(pin[:60])} is not a pin", f'"GPIO0" to "GPIO{HIGHEST_GPIO}", as in "GPIO18"'))
        elif pin in used:
            problems.append((use, f"{use}: {pin} is used twice, by {used[pin]} and {use}", "one pin for each"))
        used.setdefault(pin, use)
    return problems


def second_problems(pins: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """A second switch where there is no first one: (use, what is wrong, what is allowed)."""
    lonely = "switch_2" in pins and "switch" not in pins
    return [("switch_2", "switch_2 without a switch", "switch for the first vessel and switch_2 for the second")] if lonely else []


SOUNDER_KINDS = ("active", "passive")
"""A sounder that makes its own tone when it is switched on, or one that must be driven with a tone."""
TONE_HZ = (200.0, 4000.0)
"""Tones that a passive sounder may be given."""
USUAL_TONE_HZ = 1200.0
"""Where nobody says: low enough for older ears, high enough for a small piezo (practice of this project, section 4.2)."""


def tone_from(kind: object, tone_hz: object) -> tuple[float | None, tuple[str, str, str] | None]:
    """The tone that a sounder of this kind is driven with (None: none), and what is wrong: (key, what is wrong, what is allowed)."""
    if kind not in SOUNDER_KINDS:
        return None, ("sounder_kind", f"sounder_kind: {json.dumps(str(kind)[:60])} is no kind of sounder", " or ".join(SOUNDER_KINDS))
    if kind == "active":
        wrong = ("tone_hz", "tone_hz: an active sounder makes its own tone", 'none, or sounder_kind = "passive"')
        return None, None if tone_hz is None else wrong
    if tone_hz is None:
        return USUAL_TONE_HZ, None
    low_hz, high_hz = TONE_HZ
    if isinstance(tone_hz, bool) or not isinstance(tone_hz, int | float) or not low_hz <= tone_hz <= high_hz:
        return None, ("tone_hz", f"tone_hz: {str(tone_hz)[:60]}", f"{low_hz:g} to {high_hz:g}, such as {USUAL_TONE_HZ:g}")
    return float(tone_hz), None


class Output(Protocol):
    """A sounder or a lamp: one level, off at the start and on every exit."""

    def set(self, on: bool) -> None:
        """Drive the level. May raise `OSError` if the hardware is gone."""
        ...

    def close(self) -> None:
        """Switch off and let the pin go."""
        ...


class Switch(Protocol):
    """The foot switch. Edges are delivered raw (bounces included) as (mono_s, down) to `on_edge`, from any thread."""

    def listen(self, on_edge: Callable[[float, bool], None]) -> None:
        """Deliver every edge from now on. `on_edge` must only enqueue."""
        ...

    @property
    def lost_edges(self) -> int:
        """How many edges were lost because `on_edge` raised; 0 unless the program has a fault."""
        ...

    def is_down(self) -> bool:
        """The level now."""
        ...

    def alive(self) -> bool:
        """False once the thread that delivers edges is known to be dead."""
        ...

    def close(self) -> None:
        """Stop listening and let the pin go."""
        ...


class PanelPort(Protocol):
    """Sounder, vibrator, foot switch and, only when asked for, lamp. `close` switches everything off, and may be called twice."""

    @property
    def sounder(self) -> Output:
        """The sounder, open and silent from the start."""
        ...

    @property
    def vibrator(self) -> Output | None:
        """The vibrating motor, open and still from the start; None where the station has none."""
        ...

    @property
    def switch(self) -> Switch | None:
        """The foot switch; None where the station has none."""
        ...

    @property
    def sounder_2(self) -> Output | None:
        """The second vessel's own sounder, open and silent from the start; None where the first serves both."""
        ...

    @property
    def switch_2(self) -> Switch | None:
        """The second vessel's own foot switch; None where one serves both."""
        ...

    def open_lamp(self) -> Output:
        """Open the lamp's pin, dark. Until this is called the pin is not touched; in an open-film session it never is."""
        ...

    def alive(self) -> bool:
        """False once something that delivers edges is known to be dead."""
        ...

    def close(self) -> None:
        """Everything off, every pin let go."""
        ...
