"""How many sessions and stations a recorder lets somebody begin in a day. Whoever may publish could invent them without end.

Counts by the monotonic clock, in memory: what stands on the disk already is not counted. Tests: tests/live/telemetry/test_recorder.py.
"""

from __future__ import annotations

from collections import OrderedDict, deque

DAY_S = 86400.0
MOST_NEW_SESSIONS = 200
"""A station that begins a session every seven minutes, day and night, is none (own measure)."""
MOST_NEW_STATIONS = 50


class _Day:
    """What began within the last day. `told`: that there was one too many."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._began_s: deque[float] = deque()
        self.told_s: float | None = None

    def full(self, now_s: float) -> bool:
        while self._began_s and now_s - self._began_s[0] >= DAY_S:
            self._began_s.popleft()
        return len(self._began_s) >= self._most

    def count(self, now_s: float) -> None:
        self._began_s.append(now_s)

    def to_tell(self, now_s: float) -> bool:
        """Whether it is to be told now: once a day."""
        if self.told_s is not None and now_s - self.told_s < DAY_S:
            return False
        self.told_s = now_s
        return True


class Admission:
    """`refusal` asks, `begun` counts. Moments are seconds of a monotonic clock."""

    def __init__(self) -> None:
        self._stations = _Day(MOST_NEW_STATIONS)
        self._sessions: OrderedDict[str, _Day] = OrderedDict()

    def full(self, station: str, known: bool, now_s: float) -> bool:
        """Whether no new session of this station is let in now. `known`: it has been recorded before."""
        day = self._sessions.get(station)
        return (not known and self._stations.full(now_s)) or (day is not None and day.full(now_s))

    def refusal(self, station: str, known: bool, now_s: float) -> str:
        """What to tell the person about a session that is not let in; empty where that was told already."""
        day = self._stations if not known and self._stations.full(now_s) else self._sessions[station]
        if not day.to_tell(now_s):
            return ""
        if day is self._stations:
            return f"{station}: more than {MOST_NEW_STATIONS} new stations in a day; no more are recorded until some of them are a day old"
        return f"{station}: more than {MOST_NEW_SESSIONS} new sessions in a day; no more are recorded until some of them are a day old"

    def begun(self, station: str, known: bool, now_s: float) -> None:
        """A session was let in."""
        if not known:
            self._stations.count(now_s)
        self._sessions.setdefault(station, _Day(MOST_NEW_SESSIONS)).count(now_s)
