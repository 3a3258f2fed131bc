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

_PART = "temperature's part of the development; agitation, age of the bath and water are not in"
DONE_SD_IS = f"{_PART} it"
"""What the standard deviation of a development done holds, for JSON."""
PER_CENT_IS = f"Per cent: {_PART} its +/-."
"""What a per cent of development and its +/- speak of: said once on each page that shows one."""

NOT_KNOWN_PERCENT = 25.0
"""A development with two standard deviations of more than this, in per cent of what was wanted, is called not known: three of the usual
steps in which times are changed lie inside. A choice, no source."""

_FIRST = re.compile(r"\+/- \d+(?:[.:]\d+)*(?: (?:C|F|%|s|kJ/mol)(?!\w))?")


def two_sd(sd: float) -> float:
    """The half-width that a person is shown for this standard deviation, in its unit."""
    return SHOWN * sd


def plus_minus(sd: float, places: int, unit: str = "") -> str:
    """`sd` in any unit, such as 0.093: "+/- 0.19 C" with `places` 2 and `unit` " C"."""
    return f"+/- {two_sd(sd):.{places}f}{unit}"


def share(percent: float, sd_percent: float, between: tuple[float, float] | None = None) -> str:
    """How much of something was done, per cent of what was wanted: "100.0 % +/- 1.7", or "not known (36 % to 123 %)".

    `between`: least and most, where more is in doubt than a standard deviation can hold; then these two alone.
    """
    if between is not None:
        return f"{between[0]:.0f} % to {between[1]:.0f} %"
    around = two_sd(sd_percent)
    if around > NOT_KNOWN_PERCENT:
        return f"not known ({max(0.0, percent - around):.0f} % to {percent + around:.0f} %)"
    return f"{percent:.1f} % {plus_minus(sd_percent, 1)}"


def said_once(text: str) -> str:
    """The text with what +/- means after its first one; a text without any as it is."""
    return _FIRST.sub(lambda found: f"{found[0]} ({TWO_SD})", text, count=1)
