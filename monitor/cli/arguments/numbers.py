"""Plain numbers without a unit on a command line: counts, factors, per cents. Tests: tests/cli/test_clearing.py."""

from __future__ import annotations

import math


def read_plain(option: str, text: str, allowed: str) -> float:
    """A finite number from decimal text. Raises `InputWrong`, naming the option and what is allowed."""
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import shown

    try:
        number = float(text)
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise InputWrong(f"{option} {shown(text)}: not a number; allowed: {allowed}")
    return number
