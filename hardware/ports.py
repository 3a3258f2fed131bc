"""What the rest may ask of a probe bus, a sounder, a lamp and a foot switch: protocols and plain values.

Nothing here knows a library or a pin. Real adapters (`one_wire`, `panel`) and simulated ones (`simulated`) both stand
behind these. Times are seconds of CLOCK_MONOTONIC (or of a simulated clock), temperatures degrees Celsius.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

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


class Output(Protocol):
    """A sounder or a lamp: one level, off at the start and on every way out."""

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
    """Sounder, foot switch and, only when asked for, lamp. `close` silences and darkens, and may be called twice."""

    @property
    def sounder(self) -> Output:
        """The sounder, open and silent from the start."""
        ...

    @property
    def switch(self) -> Switch | None:
        """The foot switch; None where the station has none."""
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
