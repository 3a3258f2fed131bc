"""How far a recipe's data go, in words, and what is known of developers beyond them.

Decides nothing: the law goes on outside with three times the uncertainty (`monitor.core.development.rate`). Pure.
Tests: tests/core/recipe/test_data_range.py, tests/core/session/test_session.py, tests/live/station/test_preflight.py.
"""

from __future__ import annotations

from monitor.core.recipe.values import Stage

KNOWN_BELOW = "hydroquinone nearly stops below about 13 C"
"""Common practice (13 to 15 C); an English text names 55 F for hydroquinone and ortol (gluedideas.com, Development of the Negative)."""
KNOWN_ABOVE = "above 24 C older films' gelatine softens"
"""Common practice, no source; many of today's films stand 30 C."""
BELOW_SAID_UNDER_C = 18.0
"""What is known below is said under this temperature; hydroquinone slows down well before it nearly stops (ours)."""
ABOVE_SAID_FROM_C = 23.0
"""What is known above is said from here on: a degree before its own 24 C, which a developer that warms soon has (ours)."""
WARM_C = 30.0
"""Both hold for developers that work below this reference, not for colour at 38 C (ours)."""


def data_matter(stage: Stage) -> bool:
    """Whether a person is told when this stage's law runs outside its data: it moves the time, or there is no band to speak for it."""
    return stage.role == "develop" and stage.law is not None and (stage.steer or stage.band_c is None)


def known_outside(stage: Stage, celsius: float) -> str:
    """How far the data of a stage with a law go, and what is known on the side where `celsius` lies, where it is near enough to matter."""
    assert stage.law is not None
    low_c, high_c = stage.law.valid_c
    said = f"the recipe's data go from {low_c:g} C to {high_c:g} C; outside them the rate is three times as uncertain"
    known = ""
    if stage.reference_c <= WARM_C and celsius < low_c and celsius < BELOW_SAID_UNDER_C:
        known = KNOWN_BELOW
    elif stage.reference_c <= WARM_C and celsius > high_c and celsius >= ABOVE_SAID_FROM_C:
        known = KNOWN_ABOVE
    return f"{said}; {known}" if known else said
