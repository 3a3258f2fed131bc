"""One thing that can be seen on a film or a print that went wrong, and its causes: the words of the tables beside it. Data.

Tests: tests/review/test_sights.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

About = Literal[
    "solutions", "development", "exposure", "agitation", "handling", "light or material", "fixing", "temperature", "drying"
]  # fmt: skip
Evidence = Literal[
    "hardly developed", "movement", "fixing", "jump", "restart", "tray", "long enough", "first developer less", "first developer more"
]  # fmt: skip
"""What a session's record can say to a cause; monitor/review/record_says.py looks for it."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause. `about` tells development from exposure and from the rest; `next_time`: one change; `evidence`: what of the record
    bears on it, None where a record cannot know."""

    about: About
    cause: str
    next_time: str
    evidence: Evidence | None = None


@dataclass(frozen=True, slots=True)
class Sight:
    """`seen`: what the eye sees; `causes`: the likeliest first; `question`: what tells them apart, None where there is only one."""

    seen: str
    causes: tuple[Cause, ...]
    question: str | None = None
