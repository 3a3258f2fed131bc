"""How a doubt is said to a person: +/- two standard deviations, everywhere, and once in words beside the first (contract, section 14).

Files, records and JSON hold one standard deviation, in fields named `sd`; nothing else turns the one into the other.
Tests: tests/core/text/test_doubt.py.
"""

from __future__ import annotations

import re

TWO_SD = "two standard deviations"
"""What a +/- means, in words."""
SHOWN = 2.0
"""So many standard deviations: of a normal error 95 in 100 lie inside."""

_FIRST = re.compile(r"\+/- \d+(?:[.:]\d+)*(?: (?:C|%|s|kJ/mol)(?!\w))?")


def two_sd(sd: float) -> float:
    """The half-width that a person is shown for this standard deviation, in its unit."""
    return SHOWN * sd


def plus_minus(sd: float, places: int, unit: str = "") -> str:
    """`sd` in any unit, such as 0.093: "+/- 0.19 C" with `places` 2 and `unit` " C"."""
    return f"+/- {two_sd(sd):.{places}f}{unit}"


def said_once(text: str) -> str:
    """The text with what +/- means after its first one; a text without any as it is."""
    return _FIRST.sub(lambda found: f"{found[0]} ({TWO_SD})", text, count=1)
