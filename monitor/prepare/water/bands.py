"""How far a bath may be off if the recipe names no band (half-widths in C), and a band in words. Pure.

Tests: tests/prepare/water/test_forecast.py, tests/prepare/water/test_season.py.
"""

from __future__ import annotations

from monitor.core.recipe.kinds import Film, StageRole
from monitor.core.recipe.warnings import BATHS_WITHIN_C
from monitor.core.text.degrees import degrees, figure

COLOUR_BAND_C, USUAL_BAND_C = 0.15, 0.5
"""For a developer that is not steered: colour (process definition, at second hand), black-and-white (common practice)."""
WASH_WITHIN_C = 5.0
"""For a wash, relative to the developer (common practice)."""


def developer_band_c(film: Film) -> float:
    """For a developer that temperature does not steer."""
    return COLOUR_BAND_C if film == "colour" else USUAL_BAND_C


def bath_band_c(role: StageRole) -> float:
    """For any other bath, relative to the developer's temperature."""
    return WASH_WITHIN_C if role in ("wash", "wash aid", "rinse") else BATHS_WITHIN_C


def band_words(low_c: float, high_c: float) -> str:
    """From where to where; a narrow one with its hundredths."""
    form = ".2f" if high_c - low_c < 1.0 else ".1f"
    return f"{figure(low_c):{form}} to {degrees(high_c, form)}"
