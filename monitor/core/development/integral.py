"""Development done as an integral of the rate over time: one panel of Simpson's rule, written once.

The filter counts with it step by step, the estimator from the newest moment to the one that is asked about.
Tests: tests/core/development/test_dose_formulas.py.
"""

from __future__ import annotations


def simpson(start: float, middle: float, end: float, step_s: float) -> float:
    """Integral over one panel of `step_s` seconds from its three rates, unit of the rates times seconds (Simpson's rule)."""
    return (start + 4.0 * middle + end) * step_s / 6.0
