"""A begin that was assumed: how long a press may still answer for it, and what the answer does. Contract, section 5.

There is one offer at a time: from the first call of the stage that it began, a press speaks of that stage alone.
Tests: tests/core/session/test_presses.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from monitor.core.session.counting import Counting
from monitor.core.session.desk import Desk
from monitor.core.session.runs import Run


@dataclass(slots=True)
class Offer:
    """A begin that was assumed at the planned end, and that a press may still answer: `seq` of its record, `index` of its stage (0-based;
    past the last stage where the session would close). `left`: the run that it ended; `entered`: the run that began, None for a sheet
    whose stage has not begun its clock. `nags`: NOW goes on meanwhile. `until_s`: when it ends at the latest. `others`: sheets that are
    still to leave; from the next call on a tap is theirs."""

    index: int
    seq: int
    left: Run
    entered: Run | None
    nags: bool
    until_s: float
    others: tuple[Run, ...] = ()

    @property
    def end_s(self) -> float:
        """When a press no longer answers it: at its latest, and in any case at the first call of the stage that it began, or of the next
        sheet."""
        calls_s = [r.now_s for r in self.others if r.frozen and not r.left and r.now_s is not None]
        return min([self.until_s, *calls_s, *([] if self.entered is None else [self.entered.first_call_s])])


class Offers:
    """The offer that stands. `finish` closes the session where no stage follows: (the run that ended it, when)."""

    def __init__(self, desk: Desk, counting: Counting, finish: Callable[[Run, float], None]) -> None:
        self._desk = desk
        self._counting = counting
        self._finish = finish
        self.now: Offer | None = None

    @property
    def end_s(self) -> float:
        """When it ends, infinite where there is none or nothing but a press ends it."""
        return math.inf if self.now is None else self.now.end_s

    def closes(self, offer: Offer) -> bool:
        """Whether no stage follows the one that it ended."""
        return offer.index >= len(self._desk.recipe.stages)

    def end(self) -> None:
        """Nobody answers any more: what was assumed stands, and what still counted for it is over."""
        offer, self.now = self.now, None
        if offer is None:
            return
        self._counting.stop(offer.left)
        if offer.nags:
            self._desk.calls.silence_now(offer.left)
        if self.closes(offer):
            self._finish(offer.left, self._desk.t_s)

    def answered(self, offer: Offer, press_s: float) -> None:
        """A press has answered it."""
        if self.now is offer:
            self.now = None
        self._counting.stop(offer.left)
        self._desk.calls.silence_now(offer.left)
        if self.closes(offer):
            self._finish(offer.left, press_s)
