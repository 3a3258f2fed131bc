"""Which FAULTs still stand, with their reason and what the hands do about each: for whoever shows a session.

A FAULT stands until what it told of is over: a probe until it is believed again (two that are exchanged are so at once), a band until
the next stage begins, a stuck switch until it opens. A loss of power and a fault of the tool stand until the session ends. Pure.
Tests: tests/live/view/test_faults.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from monitor.core.journal.records import Anything, BandLeft, CueSounded, Resumed, StageBegun, SwitchStuck, Tapped, TrustChanged
from monitor.core.journal.trusted import NO_BELIEF
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA
from monitor.core.probes.readings import EXCHANGED

Cause = Literal["probe", "exchanged", "colder", "warmer", "data", "switch", "power", "tool"]
DO: Mapping[Cause, str] = {
    "probe": "Go on as called. Watch the second clock too.",
    "exchanged": "Leave both probes where they are. Go on as called.",
    "colder": "Warm the bath. The time stays: no time makes this good.",
    "warmer": "Cool the bath. The time stays: no time makes this good.",
    "data": "Bring the developer back towards the reference. Go on as called.",
    "switch": "Free the foot switch. Until it opens no press counts; the sounds go on.",
    "power": "The second clock rules. Here the time lies between two bounds.",
    "tool": "Go on as called. Watch the second clock too.",
}
"""What to do, by what the FAULT is about."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One that stands. `t_s`: session time at which it sounded, None where this view did not see it. `about`: the probe, if one."""

    t_s: float | None
    cause: Cause
    why: str
    about: str = ""

    @property
    def do(self) -> str:
        """What the hands do about it."""
        return DO[self.cause]


class Faults:
    """Feed it every record as its type; `standing` are the FAULTs that are not over, the newest last."""

    def __init__(self) -> None:
        self._standing: list[Fault] = []
        self._lost: set[str] = set()
        self._band: BandLeft | None = None
        self._stuck = False
        self._power = False
        self.newest: Fault | None = None

    def take(self, told: Anything) -> None:
        """One record."""
        if isinstance(told, CueSounded) and told.cue == "fault":
            self._sounded(told)
        elif isinstance(told, TrustChanged):
            self._trust(told)
        elif isinstance(told, BandLeft):
            self._band = told
        elif isinstance(told, StageBegun):
            self._band = None
            self._over("colder", "warmer", "data")
        elif isinstance(told, SwitchStuck):
            self._stuck = True
        elif isinstance(told, Tapped):
            self._stuck = False
            self._over("switch")
        elif isinstance(told, Resumed):
            self._power = not told.same_boot

    def standing(self, lost: Mapping[str, str], develops: bool) -> list[Fault]:
        """The newest last. `lost`: probes that are not believed, and why, for a view that did not hear their FAULT. `develops`: there
        is development now or to come; without any a temperature moves nothing and no FAULT about one stands."""
        if not develops:
            return [fault for fault in self._standing if fault.cause in ("switch", "power", "tool")]
        told = {fault.about for fault in self._standing if fault.about}
        unheard = [Fault(None, "probe", f"{probe}: {why}", probe) for probe, why in lost.items() if probe not in told]
        return unheard + [fault for fault in self._standing if not fault.about or fault.about in lost]

    def _sounded(self, cue: CueSounded) -> None:
        why = cue.why or "the station did not say why"
        if f": {EXCHANGED}" in why:
            self.newest = Fault(cue.t_s, "exchanged", why)
            return
        about = next((probe for probe in self._lost if why.startswith(f"{probe}: ")), "")
        self.newest = Fault(cue.t_s, "probe" if about else self._cause(why), why, about)
        self._standing = [f for f in self._standing if (f.cause, f.about) != (self.newest.cause, about)] + [self.newest]

    def _cause(self, why: str) -> Cause:
        if why.startswith(OUTSIDE_DATA):
            return "data"
        if self._power:
            self._power = False
            return "power"
        if self._stuck:
            return "switch"
        if self._band is not None and why.startswith("developer "):
            return "colder" if self._band.celsius < self._band.reference_c else "warmer"
        return "tool"

    def _trust(self, told: TrustChanged) -> None:
        if told.why == INSIDE_DATA:
            self._over("data")
        elif told.why.startswith(NO_BELIEF):
            return
        elif told.believed or told.why.startswith(EXCHANGED):
            self._lost.discard(told.probe)
            self._standing = [f for f in self._standing if f.about != told.probe]
        else:
            self._lost.add(told.probe)

    def _over(self, *causes: Cause) -> None:
        self._standing = [f for f in self._standing if f.cause not in causes]
