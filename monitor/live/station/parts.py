"""What the station asks of a panel and of a publisher, real or not: protocols, nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from hardware.ports import Output, Switch


class Panel(Protocol):
    """Sounder, lamp and switch."""

    @property
    def sounder(self) -> Output:
        """The sounder."""
        ...

    @property
    def switch(self) -> Switch | None:
        """The foot switch, None where there is none."""
        ...

    def open_lamp(self) -> Output:
        """Open the lamp's pin, dark. Raises where there is none."""
        ...

    def alive(self) -> bool:
        """Whether the thread that delivers edges lives."""
        ...


class Publisher(Protocol):
    """Telemetry. None of these may block or raise."""

    def safe(self, session: str, offset: int) -> None:
        """So much of a journal is on the disk. Called by the journal's thread."""
        ...

    def probe(self, name: str, payload: Mapping[str, Any]) -> None:
        """The newest reading of a probe."""
        ...

    def progress(self, payload: Mapping[str, Any] | None) -> None:
        """The newest progress, None at the close of a session."""
        ...

    def counters(self) -> dict[str, Any]:
        """Numbers for `status`, `connected` among them."""
        ...
