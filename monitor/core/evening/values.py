"""An evening as frozen values: its films in the order of the file, each with its recipe, its vessel and when it begins.

The fields are those of the project's contract, section 11. Tests: tests/core/evening/test_evening_reader.py.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.recipe.values import Recipe

VESSEL_NAME: Final = re.compile(r"[a-z0-9-]{1,32}", re.ASCII)
"""A vessel's name is a segment of a topic (contract, section 7 and 11), so it keeps to what a station's name keeps to."""
MOST_VESSELS: Final = 2
"""Contract, section 11: two at most."""
USUAL_BETWEEN_S: Final = 360.0
"""Empty, rinse, dry the reel and load the next film: six minutes are common practice, no source."""

USUAL_LOADING_S = 120.0
"""Two minutes to load a reel in the dark: common practice, no source."""
USUAL_MIXING_S = 180.0
"""Three minutes to measure, dilute and temper a developer: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Film:
    """One film of an evening.

    `number` is 1-based; `line` is that of its `[[film]]` in the evening's file, 0 where there is none. `what` is what
    the record, the ledger and the sleeve call it. `vessel` is None where nobody names one: the station's only one.
    `start_s` is after the begin of the film before; None: after the last film in that vessel has ended. `factor` is what a clip
    test or a plan asks of this film; the develop stages of `recipe` have it already.
    """

    number: int
    line: int
    what: str
    recipe: Recipe
    recipe_file: str
    vessel: str | None
    start_s: float | None
    factor: float = 1.0


@dataclass(frozen=True, slots=True)
class Evening:
    """An evening that has passed every check. `from_recipe` is True where the file was a recipe: an evening of one film.

    `between_s` is the planned gap between two films in one vessel; `loading_s` and `mixing_s`: how long loading a reel and mixing a
    developer for it keep the hands. `warnings` are plain sentences.
    """

    name: str
    between_s: float
    films: tuple[Film, ...]
    from_recipe: bool
    warnings: tuple[str, ...] = ()
    loading_s: float = USUAL_LOADING_S
    mixing_s: float = USUAL_MIXING_S

    @property
    def vessels(self) -> tuple[str | None, ...]:
        """The vessels in the order in which the file first names them; (None,) where it names none."""
        return tuple(dict.fromkeys(film.vessel for film in self.films))

    def starts_s(self, totals_s: Sequence[float]) -> tuple[float, ...]:
        """When each film begins, seconds after the first; `totals_s` has how long each film is in its vessel."""
        starts: list[float] = []
        free_s: dict[str | None, float] = {}
        for film, total_s in zip(self.films, totals_s, strict=True):
            if film.start_s is not None and starts:
                start_s = starts[-1] + film.start_s
            else:
                start_s = free_s.get(film.vessel, 0.0)
            starts.append(start_s)
            free_s[film.vessel] = start_s + total_s + self.between_s
        return tuple(starts)
