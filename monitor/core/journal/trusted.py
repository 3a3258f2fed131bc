"""What the records of trust come to: which probe is lost, which is doubted, which two are exchanged. Pure.

One fold for the session, for one that takes up an earlier life, and for every view, so that they say the same.
Tests: tests/core/journal/test_trusted.py.
"""

from __future__ import annotations

from collections.abc import Mapping

from monitor.core.journal.records import TrustChanged
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA
from monitor.core.probes.readings import DRY_UNTIL, EXCHANGED, IN_PART, NOT_ITS_BATH, STEPS_OF, WHOLE_AGAIN, Role, other_of

NO_BELIEF = (OUTSIDE_DATA, INSIDE_DATA, STEPS_OF, DRY_UNTIL)
"""How the `why` of a record begins that moves no belief in any probe."""

PUT_BACK = "put it back into the bath"
"""What to do about a bath's probe that no longer reads its bath."""

Since = tuple[str, float | None]
"""Why, and since when; None where nobody saw it."""


def news(why: str) -> str | None:
    """What a record tells of its probe, as what follows its name, where that is neither plainly a loss nor a gain."""
    if why.startswith((EXCHANGED, STEPS_OF, DRY_UNTIL)):
        return why
    if why.startswith((IN_PART, WHOLE_AGAIN)):
        return f"counts {why}"
    return f"not believed: {why}; {PUT_BACK}" if why.startswith(NOT_ITS_BATH) else None


class Trusted:
    """Give it every `TrustChanged` in order. `lost`: probes that are not believed, so that something else stands in. `doubts`: probes of
    which something is to be known all the same: the developer's counts in part, or one that is not needed now is not believed.
    `exchanged`: these two hang in each other's liquid, and each is taken for the other."""

    def __init__(self) -> None:
        self.lost: dict[str, Since] = {}
        self.doubts: dict[str, Since] = {}
        self.exchanged: tuple[str, str] | None = None

    def role_of(self, told: Mapping[str, Role]) -> dict[str, Role]:
        """In which role each probe speaks: its own, or where two were exchanged the other's. `told`: as the station has them."""
        roles = dict(told)
        if self.exchanged is not None and all(probe in roles for probe in self.exchanged):
            one, other = self.exchanged
            roles[one], roles[other] = roles[other], roles[one]
        return roles

    def take(self, told: TrustChanged) -> Since | None:
        """One record. What is over by it: why that probe was lost, and since when."""
        if told.why.startswith(NO_BELIEF):
            return None
        was = self.lost.pop(told.probe, None)
        self.doubts.pop(told.probe, None)
        if told.why.startswith(EXCHANGED):
            other = other_of(told.why)
            self.exchanged = told.probe, other
            self.doubts.pop(other, None)
            its = self.lost.pop(other, None)
            return was or its
        if told.is_loss:
            self.lost[told.probe] = told.why, told.since_t_s
            return None
        if told.why.startswith(IN_PART) or (not told.believed and told.source is not None):
            self.doubts[told.probe] = told.why, told.since_t_s
        return was if told.believed else None
