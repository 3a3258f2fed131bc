"""When each film of an evening has its turn: when it is armed, and when it is to begin, from what has begun and what is over.

A film that waits for its begin takes every press of a second, also one that was meant as a question about the other film. So it is
armed only `ARMED_BEFORE_S` before it is to begin. Times are of a clock that the films share. Pure; live and in rehearsal alike.
Tests: tests/core/evening/test_turns.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

ARMED_BEFORE_S = 120.0
"""A film is armed so long before it is to begin: its probe lies in the developer by then, a gate has had its time, and a press of a
second is not likely to be a question about the other film any more (own choice)."""


@dataclass(frozen=True, slots=True)
class Turn:
    """One film. `start_s`: after the begin of the film before; None: after the last film in its vessel is over."""

    vessel: int
    start_s: float | None = None


class Turns:
    """The films in the order of the evening, by their numbers from 1 on. `between_s`: the gap between two films in one vessel. What is
    told of a film by `began` and `ended` may be told again, with another time."""

    def __init__(self, between_s: float, films: Sequence[Turn]) -> None:
        self.between_s = between_s
        self.films = tuple(films)
        self._begun_s: dict[int, float] = {}
        self._over_s: dict[int, float] = {}

    @property
    def told(self) -> tuple[Mapping[int, float], Mapping[int, float]]:
        """When films began, and when they were over."""
        return dict(self._begun_s), dict(self._over_s)

    def began(self, number: int, t_s: float) -> None:
        """Its first stage has begun."""
        self._begun_s[number] = t_s

    def ended(self, number: int, t_s: float) -> None:
        """It is over. One that never began counts as begun there: what counts from its begin would wait for ever."""
        self._over_s[number] = t_s
        self._begun_s.setdefault(number, t_s)

    def before(self, number: int) -> int | None:
        """The film before it in its vessel."""
        vessel = self.films[number - 1].vessel
        return max((n for n in range(1, number) if self.films[n - 1].vessel == vessel), default=None)

    def free_s(self, number: int) -> float | None:
        """When its vessel is free for it: -inf for the first one there, None while the film before is not over."""
        before = self.before(number)
        return -math.inf if before is None else self._over_s.get(before)

    def start_s(self, number: int, ends_s: Mapping[int, float] | None = None) -> float | None:
        """When it is to begin, None while that is not known; -inf: at once. `ends_s`: forecasts of when films will be over."""
        before, after_s = self.before(number), self.films[number - 1].start_s
        over_s = -math.inf if before is None else self._over_s.get(before, (ends_s or {}).get(before))
        if over_s is None:
            return None
        if after_s is None or number == 1:
            return over_s + self.between_s
        begun_s = self._begun_s.get(number - 1)
        return None if begun_s is None else max(begun_s + after_s, over_s)

    def arm_s(self, number: int) -> float | None:
        """When its turn to be armed comes: never before its vessel is free. None while that is not known. One that is to begin within
        `ARMED_BEFORE_S` of the film before is armed with it."""
        start_s, free_s, after_s = self.start_s(number), self.free_s(number), self.films[number - 1].start_s
        if free_s is None:
            return None
        if start_s is None and after_s is not None and after_s <= ARMED_BEFORE_S:
            with_s = self.arm_s(number - 1)
            return None if with_s is None else max(with_s, free_s)
        return None if start_s is None else max(start_s - ARMED_BEFORE_S, free_s)
