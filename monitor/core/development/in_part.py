"""When it is told that a probe counts in part, and when that this is over: once each, and no flutter.

Tests: tests/core/development/test_in_part.py.
"""

from __future__ import annotations

from monitor.core.development.probe_trust import Verdict
from monitor.core.probes.readings import IN_PART, WHOLE_AGAIN

OVER_S = 60.0
"""It is over when it has been so for this long (this project's own choice)."""


class InPart:
    """Told of the followed probe after each reading while something develops. `probe`: of which it has been told that it counts in part."""

    def __init__(self) -> None:
        self.probe: str | None = None
        self._whole_since_t_s: float | None = None

    def look(self, probe: str, t_s: float, moved_c: float) -> Verdict | None:
        """By how much the liquid is taken for warmer than this probe says, 0 where it counts whole. What is to be told of it."""
        if moved_c != 0.0:
            self._whole_since_t_s = None
            if self.probe == probe:
                return None
            self.probe = probe
            side = "above" if moved_c > 0.0 else "below"
            why = f"{IN_PART}bath and vessel's lag put the developer {abs(moved_c):.1f} C {side} what this probe reads"
            return Verdict(True, t_s, why)
        if self.probe != probe:
            return None
        if self._whole_since_t_s is None:
            self._whole_since_t_s = t_s
        if t_s - self._whole_since_t_s < OVER_S:
            return None
        since_t_s = self._whole_since_t_s
        self.forget(probe)
        return Verdict(True, since_t_s, f"{WHOLE_AGAIN}the bath agrees")

    def forget(self, probe: str) -> None:
        """Something else has been told of this probe, which ends it: it is not believed, or was exchanged."""
        if self.probe == probe:
            self.probe = self._whole_since_t_s = None
