"""The machine that the station runs on: its clock, foot switch, disk, power supply and broker.

Decides what is noted when one of them changes, and whether enough of the station still moves for its watchdog to be fed. Owned
by the thread that owns the state. Tests: tests/live/station/test_daemon.py.
"""

from __future__ import annotations

from typing import Any, Literal

from monitor.live.clock import BUILT
from monitor.live.inbox import MachineHealth
from monitor.live.station.lags import known_lags
from monitor.live.station.parts import Parts
from monitor.live.station.preflight import PreflightFacts
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.running import StartRequest, vessel_of
from monitor.live.station.sessions import Sessions

PLAYER_LATE_S = 3.0
"""A player that has not moved for this long has stopped: the watchdog is no longer fed."""
HEALTH_OLD_S = 60.0
"""What the keeper has found, every ten seconds, counts for so long: it may hang on the card."""
DISK_LATE_S = 5.0
"""A disk that has not answered for this long is told."""
CLOCK_STEP_S = 1.0
"""Where the wall clock moves by more than this against the monotonic one within a second, somebody has set it."""


class Machine:
    """`look` is called once a second, `take` with what the keeper found."""

    def __init__(self, parts: Parts, sessions: Sessions) -> None:
        self._parts = parts
        self._sessions = sessions
        self._health = MachineHealth(None, None)
        self._health_s = parts.clock.mono_s()
        self._noted_throttled = 0
        self._switch_dead = False
        self._disk_late = False
        self._wall_set = parts.clock.wall_set()
        self._noted_lost = 0
        self._wall_ahead_s = self._ahead()

    def take(self, health: MachineHealth) -> None:
        """Take what the keeper found. A change of the board's throttling word is noted, and a first word that reports a fault."""
        self._health, self._health_s = health, self._parts.clock.mono_s()
        if health.throttled is not None and health.throttled != self._noted_throttled:
            self._noted_throttled = health.throttled
            self._sessions.note("power", {"throttled": health.throttled})

    def look(self, now_s: float) -> None:
        """Notice a wall clock that was set, a switch that died or came back, a disk that does not answer; feed the watchdog."""
        ahead_s = self._ahead()
        moved_s, self._wall_ahead_s = ahead_s - self._wall_ahead_s, ahead_s
        if abs(moved_s) > CLOCK_STEP_S:
            self._sessions.note("clock", {"event": "stepped", "by_s": moved_s})
        was_set, self._wall_set = self._wall_set, self._parts.clock.wall_set()
        if self._wall_set and not was_set:
            self._sessions.note("clock", {"event": "set", "by": "network time"})
        self._look_at_switch(now_s)
        self._look_at_disk(now_s)
        lost, self._noted_lost = self._parts.inbox.lost - self._noted_lost, self._parts.inbox.lost
        if lost:
            self._sessions.note("trouble", {"part": "inbox", "well": False, "why": f"{lost} messages found no room"})
        if self._parts.notifier is not None and self._moves(now_s):
            self._parts.notifier.alive()

    @property
    def _free_bytes(self) -> int | None:
        """Free space of the state's disk; None where nobody has seen it lately."""
        return self._health.free_bytes if self._parts.clock.mono_s() - self._health_s <= HEALTH_OLD_S else None

    def _ahead(self) -> float:
        return self._parts.clock.wall().timestamp() - self._parts.clock.mono_s()

    def _moves(self, now_s: float) -> bool:
        """Whether all has moved that a restart can bring back: player, journal and panel; this thread moves, or nobody would ask.

        Readers are not asked: one that hangs in the kernel cannot be ended by a restart, nor can the process that it belongs to.
        """
        journals = all(film.journal.moves(now_s) for film in self._sessions.films)
        return journals and now_s - self._parts.player.beat_s < PLAYER_LATE_S and self._parts.panel.alive()

    def _look_at_disk(self, now_s: float) -> None:
        late = any(film.journal.unanswered_s(now_s) > DISK_LATE_S for film in self._sessions.films)
        if late == self._disk_late:
            return
        self._disk_late = late
        why = f"it has not answered for {DISK_LATE_S:.0f} s; what is to be written waits in memory" if late else "it answers again"
        self._sessions.note("trouble", {"part": "disk", "well": not late, "why": why})

    def _look_at_switch(self, now_s: float) -> None:
        dead = not self._parts.panel.alive()
        if dead == self._switch_dead:
            return
        self._switch_dead = dead
        why = "its edges no longer arrive" if dead else "its edges arrive again"
        self._sessions.note("trouble", {"part": "switch", "well": not dead, "why": why})
        for film in self._sessions.films if dead else ():
            film.fault("the foot switch is no longer read: go on by the cues and the second clock", now_s)

    @property
    def broker(self) -> Literal["none", "there", "away"]:
        """Whether the station file names a broker, and whether it is connected."""
        publisher = self._parts.publisher
        return "none" if publisher is None else "there" if publisher.counters()["connected"] else "away"

    def facts(self, probes: ProbesNow, wanted: StartRequest) -> PreflightFacts:
        """What the machine knows when somebody wants to start."""
        panel, clock = self._parts.panel, self._parts.clock
        vessel = vessel_of(wanted, probes.learned)
        own = self._parts.config.probes_of(None if wanted.place is None else wanted.place.vessel)
        return PreflightFacts(
            probes=probes.status(clock.mono_s()),
            has_switch=panel.switch is not None,
            switch_alive=panel.alive(),
            switch_down=panel.switch is not None and panel.switch.is_down(),
            free_bytes=self._free_bytes,
            wall_set=clock.wall_set(),
            wall_plausible=clock.wall() >= BUILT,
            throttled=self._health.throttled,
            has_vessel_lag=vessel is not None,
            follows_bath=vessel is not None and vessel[1].coupled_to == "bath",
            own=frozenset(probe.name for probe in own),
            broker=self.broker,
            pour_c=wanted.pour_c,
            new_witnesses=probes.new_witnesses,
            wrong_witnesses=probes.wrong_witnesses,
            lags=(*(lag.said for lag in known_lags(self._parts.config, probes.learned) if lag.news), *self._not_kept),
        )

    @property
    def _not_kept(self) -> tuple[str, ...]:
        return () if self._sessions.not_kept is None else (self._sessions.not_kept,)

    def status(self) -> dict[str, Any]:
        """For `status`. `throttled`: the board's throttling word, null where it has none."""
        panel, publisher = self._parts.panel, self._parts.publisher
        return {
            "free_bytes": self._free_bytes,
            "throttled": self._health.throttled,
            "wall_set": self._parts.clock.wall_set(),
            "realtime_cues": self._parts.player.realtime,
            "switch": None if panel.switch is None else panel.alive(),
            "switch_lost_edges": None if panel.switch is None else panel.switch.lost_edges,
            "broker": self.broker,
            "mqtt": None if publisher is None else publisher.counters(),
        }
