"""What can be wrong with the hardware side, named after what it is about. No error of a library gets past this package."""

from __future__ import annotations


class HardwareError(Exception):
    """Root of the errors of this package."""


class HardwareAbsent(HardwareError, LookupError):
    """A pin factory, bus or device is not there; the message says which and what to do."""


class HardwareConfig(HardwareError, ValueError):
    """A name of a pin, probe or factory is wrong; the message says what is allowed."""


class TraceWrong(HardwareError, ValueError):
    """A trace file is wrong. `problems` are (line, what is wrong, what is allowed)."""

    def __init__(self, problems: list[tuple[int, str, str]]) -> None:
        self.problems = problems
        super().__init__("; ".join(f"line {line}: {what}; {allowed}" for line, what, allowed in problems))
