"""One thing that can be seen on a film or a print that went wrong, and its causes: the words of the tables beside it. Data.

Tests: tests/review/test_sights.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from monitor.core.recipe.kinds import VesselKind

About = Literal[
    "solutions", "development", "exposure", "agitation", "handling", "light or material", "fixing", "temperature", "drying"
]  # fmt: skip
Evidence = Literal[
    "hardly developed", "movement", "fixing", "jump", "restart", "tray", "long enough", "first developer less", "first developer more",
    "lifted early", "colour developer off",
]  # fmt: skip
"""What a session's record can say to a cause; monitor/review/record_says.py looks for it."""

Material = Literal["black-and-white", "colour"]
Kind = VesselKind | Material
"""What a session was made in, and of."""
_DIMENSIONS: Final = (frozenset(get_args(VesselKind)), frozenset(get_args(Material)))


@dataclass(frozen=True, slots=True)
class In:
    """Words that hold for any of these kinds, in place of the words that fit all."""

    kinds: tuple[Kind, ...]
    words: str


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause. `about` tells development from exposure and from the rest; `next_time`: one change, in words that fit every kind that
    the cause is of; `evidence`: what of the record bears on it, None where a record cannot know. `only_in`: the vessels or materials
    that it is of, empty for all; `next_in`: the change where more is known of the session."""

    about: About
    cause: str
    next_time: str
    evidence: Evidence | None = None
    only_in: tuple[Kind, ...] = ()
    next_in: tuple[In, ...] = ()

    def in_words(self) -> str:
        """The cause, what it is about, and what it is only of."""
        only = f"; {' or '.join(self.only_in)} only" if self.only_in else ""
        return f"{self.cause} ({self.about}{only})"


@dataclass(frozen=True, slots=True)
class Sight:
    """`seen`: what the eye sees; `causes`: the likeliest first; `question`: what tells them apart, None where there is only one;
    `asked_in`: the question where more is known of the session."""

    seen: str
    causes: tuple[Cause, ...]
    question: str | None = None
    asked_in: tuple[In, ...] = ()

    def of(self, kinds: frozenset[Kind]) -> Sight:
        """This sight as it is in a session of these kinds; a vessel or a material that is not among them is not known."""
        causes = tuple(_of(cause, kinds) for cause in self.causes if _may_be(cause.only_in, kinds))
        return replace(self, causes=causes, question=_words(self.asked_in, kinds) or self.question)


def _may_be(only_in: Iterable[Kind], kinds: frozenset[Kind]) -> bool:
    """Not shut out: of the vessel and of the material, each where it is asked for and is known."""
    asked = frozenset(only_in)
    return all(not asked & of or not kinds & of or bool(asked & kinds & of) for of in _DIMENSIONS)


def _words(said: tuple[In, ...], kinds: frozenset[Kind]) -> str | None:
    return next((one.words for one in said if kinds.intersection(one.kinds)), None)


def _of(cause: Cause, kinds: frozenset[Kind]) -> Cause:
    words = _words(cause.next_in, kinds)
    open_still = tuple(kind for kind in cause.only_in if not any(kind in of and kinds & of for of in _DIMENSIONS))
    if words is None and open_still == cause.only_in:
        return cause
    return replace(cause, next_time=words or cause.next_time, only_in=open_still)
