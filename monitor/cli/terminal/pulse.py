"""Whether the station that is followed still speaks. Pure: time comes in. Tests: tests/cli/terminal/test_following.py."""

from __future__ import annotations

from monitor.live.view.state import Gone

SILENT_S = 2.2
"""A station tells each second how things stand; after two that are missing it counts as gone, and within three the screen says so."""


class Pulse:
    """`heard` at each word of the station, `lost` when it hung up; `gone` tells what is to be shown. Moments are monotonic, s."""

    def __init__(self, now_s: float, time_of_day: str) -> None:
        self.heard(now_s, time_of_day)

    def heard(self, now_s: float, time_of_day: str) -> None:
        """A word has come."""
        self._heard_s, self._since, self._lost = now_s, time_of_day, False

    def lost(self) -> None:
        """The connection is: nothing needs to be waited for."""
        self._lost = True

    def age_s(self, now_s: float) -> float:
        """How old the last word is."""
        return max(0.0, now_s - self._heard_s)

    def gone(self, now_s: float) -> Gone | None:
        """Since when there has been no word, None while there are."""
        silent_s = now_s - self._heard_s
        return Gone(self._since, silent_s) if self._lost or silent_s > SILENT_S else None
