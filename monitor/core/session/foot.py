"""The foot: from raw edges to presses, as pure functions of time. Tests: tests/core/session/test_foot.py.

`Debounce` takes the first edge at once (an answer must come within 100 ms) and then ignores the contact for `SETTLE_S`;
if the level has changed in the meantime it says so when that time is over.
"""

from __future__ import annotations

SETTLE_S = 0.030
"""Time for which contacts may bounce. Common practice for small switches (5 to 20 ms), no source."""


class Debounce:
    """Clean edges from raw ones. Feed every raw edge, and call `tick` at `settles_s`."""

    def __init__(self, down: bool = False) -> None:
        self._clean = down
        self._raw = down
        self.settles_s: float | None = None

    def feed(self, t_s: float, down: bool) -> list[tuple[float, bool]]:
        """One raw edge. Returns the clean edges that it makes, as (time, down)."""
        edges = self.tick(t_s)
        self._raw = down
        if self.settles_s is None and down != self._clean:
            self._clean = down
            self.settles_s = t_s + SETTLE_S
            edges.append((t_s, down))
        return edges

    def tick(self, t_s: float) -> list[tuple[float, bool]]:
        """Time has passed: the level that stood when the contact settled, if it is another one."""
        if self.settles_s is None or t_s < self.settles_s:
            return []
        at_s, self.settles_s = self.settles_s, None
        if self._raw == self._clean:
            return []
        self._clean = self._raw
        self.settles_s = at_s + SETTLE_S
        return [(at_s, self._clean), *self.tick(t_s)]
