"""How the temperature drifts on when the last probe is lost: as it has lately, clamped to what a bowl of water does.

Tests: tests/core/development/test_held.py.
"""

from __future__ import annotations

from collections.abc import Sequence

from monitor.core.development.filter import SLOPE, TRANSIENT, T
from monitor.core.development.moment import Moment
from monitor.core.development.replay import Rivalries

HELD_WINDOWS_S = (120.0, 280.0)
"""A held slope is the median of the newest slope (with and without the transient) and the mean slopes over these windows. A hunting
heater or a stir that dies away does not last (tuned on this project's own liquids)."""
KNOWN_SD_C = 0.1
"""Where the liquid itself was not known so well yet, no mean slope begins (this project's own choice)."""
STEEPEST_HELD_C_PER_S = 0.45 / 60.0
"""A bowl loses 0.1 to 0.3 C a minute (practice, section 6). A much steeper slope was stirring, which does not last."""


def held_slope(snapshots: Sequence[Moment], rivalries: Rivalries, since_t_s: float) -> float:
    """The drift in C/s with which a held temperature goes on from `since_t_s`. 0 where no probe was followed before."""
    usable = [s for s in snapshots if s.t < since_t_s and s.drift == "liquid" and not s.attach]
    if not usable:
        return 0.0
    late = usable[-1]
    now = late.bank.mean().x
    slopes = [now[SLOPE], now[SLOPE] + now[TRANSIENT]]
    for window_s in HELD_WINDOWS_S:
        early = next((s for s in usable if s.t >= late.t - window_s and s.bank.mean().c[T][T] < KNOWN_SD_C**2), late)
        if late.t - early.t > 0.5 * HELD_WINDOWS_S[0] and not rivalries.between(early.t, late.t):
            slopes.append((now[T] - early.bank.mean().x[T]) / (late.t - early.t))
    slopes.sort()
    slope = 0.5 * (slopes[(len(slopes) - 1) // 2] + slopes[len(slopes) // 2])
    return min(max(slope, -STEEPEST_HELD_C_PER_S), STEEPEST_HELD_C_PER_S)
