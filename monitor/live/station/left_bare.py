"""Whether film is bare: by the recipe while a session is armed or runs, and for an hour after a close that left it so.

A session that is closed in the middle ("abandon", a power cut that was too long) leaves its film where it lies. Nobody tells the station
when it is safe, so pages stay dark for `LEFT_S`, or until a recipe is armed that bares no film. The journals on the disk tell it too,
so the rule outlives the station and the page. Time is an argument. Tests: tests/live/station/test_left_bare.py.
"""

from __future__ import annotations

import math
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.journal.words import FINISHED
from monitor.core.recipe.kinds import CLOSED_VESSELS
from monitor.core.recipe.light import stages_before_last_fix
from monitor.core.recipe.values import Recipe
from monitor.live.station.ended import Ended, read_session, session_names

LEFT_S = 3600.0
"""The fix and the wash of a film take less, and whoever has ended a session early has put the film somewhere by then (no source)."""
NEWEST = 8
"""So many of the newest journals are looked at: more are hardly armed within an hour."""


def may_be_lit(recipe: Recipe, stage: int | None, mode: str) -> bool:
    """Whether a display may be lit while this recipe is armed or runs. `stage`: the one that runs, from 1 on; None while one waits."""
    if mode == "rehearsal":
        return True
    loading = [s.number for s in recipe.stages if s.role == "load"]
    if set(recipe.open_film) - set(loading):
        return False
    return not loading or (stage or 0) > loading[-1]


def left_bare(recipe: Recipe | None, stage: int | None, mode: str, why: str) -> bool:
    """Whether a session that was closed for this reason after this stage had begun has left film bare; not known is bare."""
    if why == FINISHED or mode == "rehearsal":
        return False
    return recipe is None or not may_be_lit(recipe, stage, mode)


def left_as(recipe: Recipe, stage: int | None, begun: int, mode: str) -> dict[str, Any]:
    """How a session that is ended now leaves its film. `stage`: the one that runs, from 1 on, None while one waits; `begun`: the last
    that has begun, 0 before the first. `in`: its name or None; `never_begun`: the names of those that follow; `keep`: "dark" where the
    film may be bare, "lid" where it is under one and not fixed, None where light does it no harm, and in a dry run."""
    keep = None
    if mode != "rehearsal" and stages_before_last_fix(tuple(s.role for s in recipe.stages))[max(begun, 1) - 1]:
        at = begun + 1 if stage is None and begun else stage  # after a load the lid is on
        keep = "lid" if recipe.vessel in CLOSED_VESSELS and may_be_lit(recipe, at, mode) else "dark"
        if keep == "lid" and recipe.lid_off_at is not None and (at or 0) >= recipe.lid_off_at.number:
            keep = None  # a black-and-white reversal, whose light has come
    running = None if stage is None else recipe.stages[stage - 1].name
    return {"in": running, "begun": begun, "never_begun": [s.name for s in recipe.stages[begun:]], "keep": keep}


class LeftBare:
    """The film that was left bare, as a running station knows it. Moments are monotonic, seconds."""

    def __init__(self) -> None:
        self._until_s = -math.inf

    def closed(self, recipe: Recipe | None, stage: int | None, mode: str, why: str, now_s: float) -> None:
        """A session is over."""
        if left_bare(recipe, stage, mode, why):
            self._until_s = now_s + LEFT_S

    def armed(self, recipe: Recipe) -> None:
        """A session is armed; with a lid from its first stage on it ends the waiting."""
        if not recipe.open_film:
            self._until_s = -math.inf

    def take_up(self, journals: Path, wall: datetime | None, now_s: float) -> None:
        """What the journals of an earlier run tell. `wall`: None where the clock is not set, then the whole time is waited again."""
        self._until_s = max(self._until_s, now_s + left_bare_s(journals, wall))

    def bare(self, now_s: float) -> bool:
        """Whether pages have to stay dark for it."""
        return now_s < self._until_s


def left_bare_s(journals: Path, wall: datetime | None) -> float:
    """For how many seconds more pages stay dark, by the journals on the disk; all of them where they cannot be read, 0 for none."""
    try:
        newest = [read_session(journals, session) for session in session_names(journals)[:NEWEST]]
    except FileNotFoundError:
        return 0.0
    except OSError:
        return LEFT_S
    found = [(ended, ended.recipe) for ended in newest if ended is not None]
    lidded = [_wall(ended.opening.get("wall")) for ended, recipe in found if recipe is not None and not recipe.open_film]
    since = [at for at in lidded if at is not None]
    return max((_left_s(ended, recipe, wall, since) for ended, recipe in found), default=0.0)


def _left_s(ended: Ended, recipe: Recipe | None, wall: datetime | None, lidded: list[datetime]) -> float:
    close = ended.close
    if close is None or not left_bare(recipe, ended.stage, str(ended.opening.get("mode")), str(close.get("why"))):
        return 0.0
    at = _wall(close.get("wall"))
    if at is None or wall is None:
        return LEFT_S
    if any(armed >= at for armed in lidded):
        return 0.0
    return min(LEFT_S, max(0.0, LEFT_S - (wall - at).total_seconds()))


def _wall(stamp: object) -> datetime | None:
    try:
        at = datetime.fromisoformat(str(stamp))
    except ValueError:
        return None
    return at if at.tzinfo is not None else None
