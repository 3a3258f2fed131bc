"""When the hands move: the ticks of a stage, each on a whole second after its begin. Sound is movement, silence is rest.

A burst that would run into the last `QUIET_S` before NOW is dropped as a whole, except the one that begins with the
stage, which is cut there. Ticks that fall into another cue are dropped by the mixer and the rhythm keeps its phase.
Pure; tests: tests/core/session/test_agitation.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from monitor.core.recipe.values import Burst

QUIET_S = 30.0
"""No agitation this close before NOW (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick at `after_begin_s` whole seconds after the begin; `double` marks the first sheet of a round."""

    after_begin_s: float
    double: bool = False


@dataclass(frozen=True, slots=True)
class Pace:
    """The movement of one stage.

    `bursts` by the recipe; or `step_s` seconds between ticks without end. `round_of`: ticks in a round, the first of
    each is a double tick (0: none). `shift_s`: where the endless ticks begin, seconds after the begin.
    """

    bursts: tuple[Burst, ...] = ()
    step_s: float | None = None
    round_of: int = 0
    shift_s: float = 0.0

    def next_tick(self, after_s: float, now_after_s: float | None) -> Tick | None:
        """The first tick later than `after_s`. `now_after_s`: when NOW is expected (both seconds after the begin), None if never."""
        if self.step_s is not None:
            count = max(0, math.floor((after_s - self.shift_s) / self.step_s + 1e-9) + 1)
            at_s = self.shift_s + count * self.step_s
            if now_after_s is not None and at_s >= now_after_s:
                return None
            return Tick(at_s, self.round_of > 0 and count % self.round_of == 0)
        found = [t for t in (self._in_burst(b, after_s, now_after_s) for b in self.bursts) if t is not None]
        return Tick(min(found)) if found else None

    @staticmethod
    def _in_burst(burst: Burst, after_s: float, now_after_s: float | None) -> float | None:
        limit_s = math.inf if now_after_s is None else now_after_s - QUIET_S
        if burst.every_s is None:
            start_s = burst.from_s or 0.0
        else:
            number = max(1, math.floor(after_s / burst.every_s))
            start_s = number * burst.every_s
            if start_s + burst.for_s - 1.0 <= after_s + 1e-9:
                start_s += burst.every_s
        first = start_s < 1.0
        if not first and start_s + burst.for_s > limit_s + 1e-9:
            return None
        at_s = start_s + max(0, math.floor(after_s - start_s + 1e-9) + 1)
        if at_s >= start_s + burst.for_s - 1e-9:
            return None
        if first and now_after_s is not None:
            end_s = limit_s if limit_s >= 10.0 else now_after_s
            if at_s >= end_s - 1e-9:
                return None
        return at_s
