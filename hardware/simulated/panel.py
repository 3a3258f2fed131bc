"""A panel that only records what it was told, for tests and simulated stations without pins.

Implements the same ports as the real one. Tests: tests/hardware/test_simulated_panel.py.
"""

from __future__ import annotations

from collections.abc import Callable

from hardware.errors import HardwareConfig


class RecordingOutput:
    """Keeps (mono_s, on) of each edge. While `broken` is set, driving it raises `OSError`, as with a pin that has gone."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self.edges: list[tuple[float, bool]] = []
        self.on = False
        self.broken = False
        self.closed = False

    def set(self, on: bool) -> None:
        """Drive the level; the same level again is no edge."""
        if self.broken or (self.closed and on):
            raise OSError("the simulated pin has gone")
        if on != self.on:
            self.on = on
            self.edges.append((self._clock(), on))

    def close(self) -> None:
        """Switch off and let the pin go."""
        if self.on:
            self.on = False
            self.edges.append((self._clock(), False))
        self.closed = True


class RecordingSwitch:
    """A foot switch moved by the test: `move(True)` presses."""

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._on_edge: Callable[[float, bool], None] | None = None
        self._down = False
        self.dead = False
        self.lost_edges = 0

    def listen(self, on_edge: Callable[[float, bool], None]) -> None:
        """Deliver every edge from now on."""
        self._on_edge = on_edge

    def is_down(self) -> bool:
        """The level now."""
        return self._down

    def alive(self) -> bool:
        """False once the test has set `dead`."""
        return not self.dead

    def close(self) -> None:
        """Stop listening."""
        self._on_edge = None

    def move(self, down: bool) -> None:
        """Press or release, now. A dead switch moves and tells nobody."""
        if down != self._down:
            self._down = down
            if self._on_edge is not None and not self.dead:
                self._on_edge(self._clock(), down)


class RecordingPanel:
    """Sounder, switch and, once opened, lamp; `lamp` is None until then. `second`: with the second vessel's own sounder and switch."""

    def __init__(
        self, clock: Callable[[], float], has_switch: bool = True, has_lamp: bool = True, has_vibrator: bool = False,
        second: bool = False,
    ) -> None:  # fmt: skip
        self._clock = clock
        self._has_lamp = has_lamp
        self.sounder = RecordingOutput(clock)
        self.vibrator: RecordingOutput | None = RecordingOutput(clock) if has_vibrator else None
        self.switch = RecordingSwitch(clock) if has_switch else None
        self.lamp: RecordingOutput | None = None
        self.sounder_2 = RecordingOutput(clock) if second else None
        self.switch_2 = RecordingSwitch(clock) if second else None

    def open_lamp(self) -> RecordingOutput:
        """Open the lamp's pin, dark. Raises `HardwareConfig` where there is none."""
        if not self._has_lamp:
            raise HardwareConfig("the station has no lamp; allowed: a pin for it in [panel]")
        if self.lamp is None or self.lamp.closed:
            self.lamp = RecordingOutput(self._clock)
        return self.lamp

    def alive(self) -> bool:
        """False once a switch is dead."""
        return all(switch.alive() for switch in (self.switch, self.switch_2) if switch is not None)

    def close(self) -> None:
        """Everything off."""
        for part in (self.sounder, self.sounder_2, self.vibrator, self.lamp, self.switch, self.switch_2):
            if part is not None:
                part.close()
