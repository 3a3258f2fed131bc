"""Development done as an integral of a rate over temperature: Simpson's rule, written once.

The filter counts with `simpson`, step by step; `integrate` counts over a recorded history (review, checks against other
trades' dose formulas). A temperature is straight between two points of a history.
It may not know of probes or trust. Tests: tests/core/development/test_estimator_integral.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

PANEL_C = 0.25
"""A panel spans at most this change of temperature. With the steepest law here (6 in 10 C) the relative error is (0.0448)^4/2880,
1.4e-9."""


def simpson(start: float, middle: float, end: float, step_s: float) -> float:
    """Integral over one panel of `step_s` seconds from its three rates, unit of the rates times seconds (Simpson's rule)."""
    return (start + 4.0 * middle + end) * step_s / 6.0


def integrate(rate_at: Callable[[float], float], times_s: Sequence[float], temps_c: Sequence[float]) -> float:
    """Integral of `rate_at(T)` over a history of straight pieces, in the unit of `times_s` times that of the rate.

    `times_s` rise (equal ones make a step), one temperature each. Fewer than two points give 0. Raises `ValueError` for
    times that fall or lengths that differ.
    """
    if len(times_s) != len(temps_c):
        raise ValueError(f"{len(times_s)} times and {len(temps_c)} temperatures; allowed: as many of the one as of the other")
    total = 0.0
    for i in range(1, len(times_s)):
        span, t0, t1 = times_s[i] - times_s[i - 1], temps_c[i - 1], temps_c[i]
        if span < 0:
            raise ValueError(f"time {times_s[i]} after {times_s[i - 1]}; allowed: times that rise")
        panels = 1 + int(abs(t1 - t0) / PANEL_C)
        width, dt = span / panels, (t1 - t0) / panels
        left = rate_at(t0)
        for k in range(panels):
            a = t0 + k * dt
            right = rate_at(a + dt)
            total += simpson(left, rate_at(a + 0.5 * dt), right, width)
            left = right
    return total
