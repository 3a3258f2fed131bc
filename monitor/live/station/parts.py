"""What a station is built of, in one value; and what it asks of its telemetry and of those who show it."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from hardware.ports import PanelPort
from monitor.core.probes.learned import Learned
from monitor.live.clock import Clock
from monitor.live.disk.disk import Disk
from monitor.live.inbox import Inbox
from monitor.live.station.keeper import Lag, store_nothing
from monitor.live.station.player import Player
from monitor.live.station.readers import Reader
from monitor.live.station.sdnotify import Notifier
from monitor.live.station.station_file import StationConfig


class Telemetry(Protocol):
    """Tells the network what the station measures. No method may block or raise."""

    def safe(self, session: str, offset: int) -> None:
        """A journal is safe on the disk up to byte `offset`. Called by the journal's thread."""
        ...

    def probe(self, name: str, payload: Mapping[str, Any]) -> None:
        """The newest reading of a probe."""
        ...

    def progress(self, payload: Mapping[str, Any] | None) -> None:
        """The newest progress, of two films that of the one whose hands are due next; None when no session is left."""
        ...

    def vessel(self, name: str, payload: Mapping[str, Any] | None) -> None:
        """The newest progress of the film in this vessel; None when its session closes."""
        ...

    def counters(self) -> dict[str, Any]:
        """Figures for `status`, among them `connected`."""
        ...


class Displays(Protocol):
    """Whoever shows the station's word. No method may block or raise. `lease_s`: the longest that a display shines without a word."""

    lease_s: float

    @property
    def listeners(self) -> bool:
        """Whether anybody reads."""
        ...

    def tell(self, word: Mapping[str, Any]) -> None:
        """This is the word now."""
        ...

    def lit(self, now_s: float) -> int:
        """How many displays may be lit by it."""
        ...


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of a station, real or simulated.

    `learn` reads what is known of probes and vessels. `keep` stores what a session has told of a lag and does not wait for the disk.
    `send` sends one object to a connection of the control socket; False if that is closed. `say` shows a line to whoever watches the
    daemon. `threads` False: whoever steps the station steps its journals too.
    """

    config: StationConfig
    clock: Clock
    inbox: Inbox
    panel: PanelPort
    player: Player
    readers: Sequence[Reader]
    learn: Callable[[], Learned]
    send: Callable[[int, Mapping[str, Any]], bool]
    say: Callable[[str], None]
    publisher: Telemetry | None = None
    notifier: Notifier | None = None
    dice: random.Random = field(default_factory=random.Random)
    disk: Disk = field(default_factory=Disk)
    threads: bool = True
    telling: Displays | None = None
    keep: Callable[[Lag], None] = store_nothing
