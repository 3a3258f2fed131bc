"""What only the passing of time can bring about, as data: when, what, and for which run. Of two at one moment the first listed
comes first. Pure; `monitor.core.session.session` carries it out. Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from operator import attrgetter
from typing import Literal, NamedTuple

from monitor.core.session.runs import Run

What = Literal[
    "beat", "held", "fault", "repeat now", "assume a begin", "put a sheet", "end entry", "end offer", "tick", "at most",
    "write at most", "close",
    "freeze", "write ready", "say now", "write now", "end", "leave", "progress",
]  # fmt: skip


MOMENTS: frozenset[What] = frozenset({
    "assume a begin", "put a sheet", "end entry", "end offer", "at most", "write at most", "close", "freeze", "write ready", "say now",
    "write now", "end", "leave",
})  # fmt: skip
"""What moves a session on; the rest repeats, or looks after something."""


class Due(NamedTuple):
    """One thing that is due at `at_s`. `run`: for whom, None where it concerns the session."""

    at_s: float
    what: What
    run: Run | None = None


def first(due: Iterator[Due]) -> Due | None:
    """The one that comes first."""
    return min(due, key=attrgetter("at_s"), default=None)
