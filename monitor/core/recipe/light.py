"""When the tool's own lamp may be lit. Pure, total, and dark for everything unknown.

The rule (reasons in the user's guide): bare film gets no light of any colour from this tool, whether it is red-blind
or not; bare paper has the room's own tested safelight, and none of this tool's, whose colour nobody has tested; loading is
always dark; infrared film allows no lamp ever; with a closed lid the lamp is allowed when the person asked
for it in this session. Faults, restarts and the network are not among the arguments: they cannot light anything.
Sources: a US navy training manual, NAVEDTRA 14209, chapter 10, for the tests of darkness; the rest common practice, no
source. No I/O. Tests: tests/core/recipe/test_light.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, get_args

from monitor.core.recipe.kinds import CLOSED_VESSELS, FIXING_ROLES, Film, StageRole, VesselKind

FILMS: Final = get_args(Film)
ROLES: Final = get_args(StageRole)
OPEN_VESSELS: Final = tuple(vessel for vessel in get_args(VesselKind) if vessel not in CLOSED_VESSELS)


@dataclass(frozen=True, slots=True)
class LampVerdict:
    """Whether the lamp may be lit, and the reason in a plain sentence."""

    allowed: bool
    why: str


def bare_film(vessel: str, role: str, before_last_fix: bool) -> bool:
    """Whether film is exposed to the room during a stage, with the lid on. An unknown vessel or role counts as exposed.

    `before_last_fix`: this stage is the last fix or an earlier stage, or the recipe fixes nothing at all.
    """
    if role not in ROLES or role == "load":
        return True
    if vessel in CLOSED_VESSELS:
        return False
    return before_last_fix or vessel not in OPEN_VESSELS


def lamp(film: str, vessel: str, role: str, *, before_last_fix: bool, lid_on: bool, asked: bool, medium: str = "film") -> LampVerdict:
    """The rule. `lid_on` matters only for a lidded tank and a drum; `asked`: the person asked for the lamp in this session; `medium`: the
    word for what is developed, film or paper, in the reason alone.

    Total: it takes any text, and whatever it does not know is dark.
    """
    if film not in FILMS or vessel not in (*CLOSED_VESSELS, *OPEN_VESSELS) or role not in ROLES:
        return LampVerdict(False, "film, vessel or stage is not known: dark")
    if film == "infrared":
        return LampVerdict(False, "film for the infrared: no lamp in any stage, and invisible light is light")
    if role == "load":
        return LampVerdict(False, f"the {medium} is bare while it is loaded")
    if bare_film(vessel, role, before_last_fix):
        return LampVerdict(False, f"the {medium} is bare until the last fixing bath is over")
    if vessel in CLOSED_VESSELS and not lid_on and before_last_fix:
        return LampVerdict(False, f"the lid is off and the {medium} is not fixed")
    if not asked:
        return LampVerdict(False, "nobody asked for the lamp in this session")
    if vessel in CLOSED_VESSELS and lid_on:
        return LampVerdict(True, "the lid is on, and the lamp was asked for")
    return LampVerdict(True, "the last fixing bath is over, and the lamp was asked for")


def lamp_allowed(film: str, vessel: str, role: str, *, before_last_fix: bool, lid_on: bool, asked: bool) -> bool:
    """The verdict of `lamp` alone."""
    return lamp(film, vessel, role, before_last_fix=before_last_fix, lid_on=lid_on, asked=asked).allowed


def stages_before_last_fix(roles: tuple[str, ...]) -> tuple[bool, ...]:
    """For each stage, whether it is the last fixing bath or an earlier stage; True for all if nothing fixes."""
    last = max((i for i, role in enumerate(roles) if role in FIXING_ROLES), default=len(roles))
    return tuple(i <= last for i in range(len(roles)))


def session_refusal(film: str, vessel: str, roles: tuple[str, ...], medium: str = "film") -> str | None:
    """Why the lamp may not be asked for with this recipe, or None. `load` stages do not count: the lamp stays dark during them."""
    if film == "infrared":
        return "film for the infrared allows no lamp in any stage"
    for number, (role, before) in enumerate(zip(roles, stages_before_last_fix(roles), strict=True), start=1):
        verdict = lamp(film, vessel, role, before_last_fix=before, lid_on=True, asked=True, medium=medium)
        if role != "load" and not verdict.allowed:
            return f"stage {number} ({role}): {verdict.why}"
    return None
