"""Two films that will want the hands at the same time: told three minutes before, with which goes first and why.

What the plan foresaw with bounds is here what the forecasts say now. Development goes before a stop bath, a stop bath before a fix;
of two alike the one that comes first, and what may wait gives way to what may not (common practice, no source: a stop bath may last
a minute longer, a fix some minutes, a developer not at all). Pure; tests: tests/core/session/test_clashes.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Any

from monitor.core.recipe.kinds import StageRole
from monitor.core.recipe.values import Stage

TOLD_BEFORE_S = 180.0
"""Contract, section 11."""
LOOK_AHEAD_S = TOLD_BEFORE_S + 60.0
POURING_S = 15.0
"""The hands are busy this long after the end of a stage: pouring in takes 10 to 20 s (NAVEDTRA 14209)."""


@dataclass(frozen=True, slots=True)
class Hands:
    """When one film wants the hands: from NOW, or from a minimum, until what follows is poured in. Times are of a clock that the
    films share. `role`, `name`: of the stage that is left at `end_s`; `may_wait`: it is one that may last longer."""

    stage: int
    role: StageRole
    name: str
    from_s: float
    end_s: float
    may_wait: bool

    @property
    def until_s(self) -> float:
        """When the hands are free again."""
        return self.end_s + POURING_S

    @property
    def rank(self) -> tuple[int, float]:
        """What goes first comes first."""
        urgent = 0 if self.role == "develop" else 2 if self.may_wait else 1
        return urgent, self.from_s

    def later(self, by_s: float) -> Hands:
        """The same on a clock that shows `by_s` more."""
        return Hands(self.stage, self.role, self.name, self.from_s + by_s, self.end_s + by_s, self.may_wait)


def hands_of(stage: Stage, end_s: float) -> Hands:
    """The hands that a stage wants where it ends then."""
    may_wait = stage.until == "at least"
    return Hands(stage.number, stage.role, stage.name, end_s if may_wait else end_s - stage.drain_s, end_s, may_wait)


@dataclass(slots=True)
class ClashWatch:
    """Remembers which clashes it has told: each pair of stages once."""

    _told: set[tuple[str, int, str, int]] = field(default_factory=set)

    def forget(self, name: str) -> None:
        """A film is over, and another one may take its name."""
        self._told = {told for told in self._told if name not in (told[0], told[2])}

    def look(self, hands: Mapping[str, Sequence[Hands]], t_s: float) -> list[tuple[str, dict[str, Any]]]:
        """What is to be told at `t_s`, to each of the two films by its name."""
        found: list[tuple[str, dict[str, Any]]] = []
        for one, other in combinations(sorted(hands), 2):
            found += self._between(one, hands[one], other, hands[other], t_s)
        return found

    def _between(
        self, one: str, ones: Sequence[Hands], other: str, others: Sequence[Hands], t_s: float
    ) -> list[tuple[str, dict[str, Any]]]:
        found: list[tuple[str, dict[str, Any]]] = []
        for a, b in product(ones, others):
            told = None if (one, a.stage, other, b.stage) in self._told else clash_of(one, a, other, b, t_s)
            if told is not None:
                self._told.add((one, a.stage, other, b.stage))
                found += [(one, told), (other, told)]
        return found


def clash_of(one: str, a: Hands, other: str, b: Hands, t_s: float) -> dict[str, Any] | None:
    """What is to be told at `t_s` of the hands that two films want; None where they are free in time, or where it is too early."""
    overlap_s = min(a.until_s, b.until_s) - max(a.from_s, b.from_s)
    if overlap_s <= 0.0 or min(a.from_s, b.from_s) - t_s > TOLD_BEFORE_S:
        return None
    first, second = (one, other) if a.rank <= b.rank else (other, one)
    why = _why(a, b) if first == one else _why(b, a)
    return {"first": first, "then": second, "why": why, "at_s": max(a.from_s, b.from_s), "overlap_s": overlap_s}


def _why(first: Hands, second: Hands) -> str:
    if first.role == "develop" and second.role != "develop":
        return f"{first.name} before {second.name}: development does not wait"
    if second.may_wait and not first.may_wait:
        return f"{first.name} before {second.name}: {second.name} may last a little longer"
    return f"{first.name} comes first"
