"""Forty questions about the sounds, and the score: what is asked, what counts as right, and when the lesson is passed.

Contract, section 13. Every signal is asked nearly equally often, in a random order, half the time for its name and half the time
for what the hands do; an answer tells another number of minutes each time. Pure but for the dice handed in.
Tests: tests/prepare/lesson/test_quiz.py.
"""

from __future__ import annotations

import random
import string
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from monitor.core.session.sounds import SIGNALS, TENS_FROM, Signal, answer

QUESTIONS = 40
PASSED = 0.95
"""Share of the questions that must be right; and NOW always (contract, section 13)."""
ALWAYS = "now"
MINUTES = {"answer": (1, TENS_FROM - 1), "answer-tens": (TENS_FROM, 120)}
"""What the answers in a lesson may tell, whole minutes, both ends included."""
TICKS, TICK_S = 3, 1.0
"""One tick alone is no rhythm: three are played, a second apart."""

Kind = Literal["name", "hands"]


@dataclass(frozen=True, slots=True)
class LessonQuestion:
    """`pattern`: what is played, seconds on and off. `kind`: whether the name is asked, or what the hands do."""

    signal: Signal
    pattern: tuple[float, ...]
    kind: Kind

    def is_right(self, typed: str) -> bool:
        """Whether this names the signal: its letter or its name, or in its own words what the hands do."""
        word = " ".join(typed.lower().split())
        return word in (letter(self.signal), self.signal.name) or (self.kind == "hands" and word == self.signal.do.lower())


@dataclass(frozen=True, slots=True)
class Score:
    """How often each signal was asked and how often it was known, by its name."""

    asked_of: Mapping[str, int] = field(default_factory=dict)
    right_of: Mapping[str, int] = field(default_factory=dict)

    def after(self, question: LessonQuestion, right: bool) -> Score:
        """With one more question answered."""
        name = question.signal.name
        return Score(
            {**self.asked_of, name: self.asked_of.get(name, 0) + 1}, {**self.right_of, name: self.right_of.get(name, 0) + int(right)}
        )

    @property
    def asked(self) -> int:
        """All questions."""
        return sum(self.asked_of.values())

    @property
    def right(self) -> int:
        """All that were known."""
        return sum(self.right_of.values())

    @property
    def passed(self) -> bool:
        """All questions answered, enough of them right, and NOW never mistaken."""
        known = 0 < self.asked_of.get(ALWAYS, 0) == self.right_of.get(ALWAYS, 0)
        return self.asked >= QUESTIONS and self.right >= PASSED * self.asked and known


def letter(signal: Signal) -> str:
    """The letter that stands for a signal, by its row in the table."""
    return string.ascii_lowercase[SIGNALS.index(signal)]


def played(signal: Signal, minutes: int | None = None) -> tuple[float, ...]:
    """One sounding as it is taught: ticks a few in a row, an answer of so many minutes where they are given."""
    if signal.name == "tick":
        return (*signal.pattern, TICK_S - signal.pattern[0]) * (TICKS - 1) + signal.pattern
    return signal.pattern if minutes is None else answer(minutes)


def series(chance: random.Random, count: int = QUESTIONS) -> tuple[LessonQuestion, ...]:
    """The questions in their order. `count`: 1 or more."""
    signals: list[Signal] = []
    while len(signals) < count:
        signals += chance.sample(SIGNALS, len(SIGNALS))
    return tuple(_question(signal, chance) for signal in signals[:count])


def _question(signal: Signal, chance: random.Random) -> LessonQuestion:
    told = MINUTES.get(signal.name)
    minutes = None if told is None else chance.randint(*told)
    kind: Kind = "name" if chance.random() < 0.5 else "hands"
    return LessonQuestion(signal, played(signal, minutes), kind)
