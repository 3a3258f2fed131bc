"""The words that a recipe may use for films, vessels, roles and ways of ending (contract, section 2): their only home."""

from __future__ import annotations

import re
from typing import Final, Literal

Film = Literal["panchromatic", "orthochromatic", "blue-sensitive", "colour", "infrared", "paper"]
VesselKind = Literal["lidded tank", "open tank", "open tray", "drum"]
StageRole = Literal["load", "presoak", "develop", "stop", "bleach", "fix", "bleach-fix", "wash", "wash aid", "rinse", "hold"]
Until = Literal["time", "at least"]
Counted = Literal["pour to pour", "full to empty"]

CLOSED_VESSELS: Final[tuple[VesselKind, ...]] = ("lidded tank", "drum")
"""Vessels with a lid; the others are open."""
PLACES: Final[dict[VesselKind, str]] = {"lidded tank": "jug", "drum": "jug", "open tank": "tank", "open tray": "tray"}
"""What the baths for each vessel stand in."""
FIXING_ROLES: Final[tuple[StageRole, ...]] = ("fix", "bleach-fix")
AT_LEAST_ROLES: Final[tuple[StageRole, ...]] = ("load", "fix", "wash", "wash aid", "rinse", "hold")
"""Unless the recipe says otherwise, stages with these roles last at least their time and are ended by a tap."""

_OF_PRINTS = re.compile(r"\b(prints?|papers?)\b", re.IGNORECASE)


def names_paper(words: str) -> bool:
    """Whether these words name a print or paper."""
    return _OF_PRINTS.search(words) is not None


def is_paper(film: str | None, what: str | None) -> bool:
    """Whether paper is developed: black-and-white paper, or `film = "colour"` where `what` (of the contents) names a print or paper.

    The recipe has one word for colour film and colour paper; what is in the vessel tells them apart.
    """
    return film == "paper" or (film == "colour" and what is not None and names_paper(what))


def medium_of(film: str | None, what: str | None = None) -> str:
    """The word for what is developed: "film" or "paper"."""
    return "paper" if is_paper(film, what) else "film"


def material_of(film: str | None, what: str | None = None) -> str:
    """Such as "panchromatic film", "paper", "colour paper"; the bare word where the kind of film is not known."""
    medium = medium_of(film, what)
    return medium if film in (None, "paper") else f"{film} {medium}"
