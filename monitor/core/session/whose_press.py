"""Whose a press is where two films share one foot switch. Contract, section 11; pure, knows nothing of sessions.

A press goes to the film whose NOW has sounded unanswered longest, however long it is held. Where none has, it goes by its length to the
first film in which it is more than a mark or a question: a begin that nobody answered, a begin taken again, what the hands are in already
(a reel that is being loaded, sheets that go in, a print without a trace yet), what waits, an at-least stage past its minimum; of several
the one that has lasted longest. Else to the film whose stage began last. Tests: tests/core/session/test_whose_press.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from monitor.core.journal.words import Meaning
from monitor.core.session.presses import ALL_LENGTHS, FROM_S, TABLE, Length, State

_CLASS: dict[State, int] = {
    "now": 0, "due": 0, "unanswered": 0, "just begun": 1, "just in": 1, "loading": 2, "entering": 2, "appearing": 2, "waiting": 3,
    "past minimum": 4,
}  # fmt: skip
_NOTHING: frozenset[Meaning] = frozenset({"mark", "question"})


@dataclass(frozen=True, slots=True)
class Stand:
    """How one film stands when the foot comes down, on a clock that the films share. `called_s`: since when its NOW has sounded unanswered,
    None where none has; `since_s`: since when its state has lasted; `begun_s`: when its stage began, -inf before the first; `assumed`: the
    0-based index of the stage whose assumed begin a press answers, past the last one where it answers for the end, None elsewhere;
    `calls_s`: when it will call because an at-least stage is then at its longest, None where it has no longest time."""

    state: State
    called_s: float | None = None
    since_s: float = -math.inf
    begun_s: float = -math.inf
    assumed: int | None = None
    calls_s: float | None = None

    def later(self, by_s: float) -> Stand:
        """The same on a clock that shows `by_s` more."""
        called_s = None if self.called_s is None else self.called_s + by_s
        calls_s = None if self.calls_s is None else self.calls_s + by_s
        return replace(self, called_s=called_s, since_s=self.since_s + by_s, begun_s=self.begun_s + by_s, calls_s=calls_s)


def own_lengths(stands: Sequence[Stand]) -> list[frozenset[Length]]:
    """For each film, in the order of the vessels, the lengths with which a press that begins now is its own. Each length is one film's."""
    called = [i for i, stand in enumerate(stands) if stand.called_s is not None]
    if called:
        first = min(called, key=lambda i: stands[i].called_s or -math.inf)
        return [ALL_LENGTHS if i == first else frozenset[Length]() for i in range(len(stands))]
    owner = {length: _owner(stands, length) for length in FROM_S}
    return [frozenset(length for length in FROM_S if owner[length] == i) for i in range(len(stands))]


def tap_owner(stands: Sequence[Stand]) -> int:
    """Which film a tap that begins now is about."""
    return next(i for i, own in enumerate(own_lengths(stands)) if "tap" in own)


def tap_owner_at_now(stands: Sequence[Stand], called: int, now_s: float) -> int:
    """Which film a tap is about once the NOW of the film `called` sounds, at `now_s`, if nobody presses before."""
    return tap_owner([replace(stand, state="now", called_s=now_s) if i == called else _at(stand, now_s) for i, stand in enumerate(stands)])


def _at(stand: Stand, now_s: float) -> Stand:
    """How it stands at `now_s` for whoever asks which film calls."""
    if stand.called_s is None and stand.calls_s is not None and stand.calls_s <= now_s:
        return replace(stand, state="past minimum", called_s=stand.calls_s)
    return stand


def means_nothing(stands: Sequence[Stand], length: Length) -> bool:
    """Whether a press of this length that begins now is no more than a mark or a question, whoever's it is."""
    called = any(stand.called_s is not None for stand in stands)
    return not called and all(TABLE[stand.state][length].meaning in _NOTHING for stand in stands)


def _owner(stands: Sequence[Stand], length: Length) -> int:
    means = [i for i, stand in enumerate(stands) if TABLE[stand.state][length].meaning not in _NOTHING]
    if means:
        return min(means, key=lambda i: (_CLASS[stands[i].state], stands[i].since_s, i))
    return max(range(len(stands)), key=lambda i: (stands[i].begun_s, -i))
