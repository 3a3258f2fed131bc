"""The words that a recipe may use for films, vessels, roles and ways of ending (contract, section 2): their only home."""

from __future__ import annotations

from typing import Final, Literal

Film = Literal["panchromatic", "orthochromatic", "blue-sensitive", "colour", "infrared", "paper"]
VesselKind = Literal["lidded tank", "open tank", "open tray", "drum"]
StageRole = Literal["load", "presoak", "develop", "stop", "bleach", "fix", "bleach-fix", "wash", "wash aid", "rinse", "hold"]
Until = Literal["time", "at least"]
Counted = Literal["pour to pour", "full to empty"]

CLOSED_VESSELS: Final[tuple[VesselKind, ...]] = ("lidded tank", "drum")
"""Vessels with a lid; the others are open."""
FIXING_ROLES: Final[tuple[StageRole, ...]] = ("fix", "bleach-fix")
AT_LEAST_ROLES: Final[tuple[StageRole, ...]] = ("load", "fix", "wash", "wash aid", "rinse", "hold")
"""Unless the recipe says otherwise, stages with these roles last at least their time and are ended by a tap."""
