"""What a probe said, when, and how good it is. A bad reading has no number: `celsius` is None, never a stand-in.

Convention of intervals: a reading stands for the instant `t_s`, the middle of its conversion, on the session's
monotonic time. Temperatures between two readings are the estimator's business, nobody else's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal["developer", "witness", "bath", "room", "wash"]
ROLES: tuple[Role, ...] = ("developer", "witness", "bath", "room", "wash")

Quality = Literal["good", "missing", "crc", "reset", "stuck", "implausible", "stale"]
QUALITIES: tuple[Quality, ...] = ("good", "missing", "crc", "reset", "stuck", "implausible", "stale")

Source = Literal["developer", "witness", "vessel model", "held", "clock"]
SOURCES: tuple[Source, ...] = ("developer", "witness", "vessel model", "held", "clock")
ESTIMATED: tuple[Source, ...] = ("vessel model", "held", "clock")
"""Sources that are no reading of the developer: what they say is an estimate and stays marked as one."""
FIRST_READINGS_S = 5.0
"""A stage whose first believed readings come within this has none of it told as estimated to people: they are used backwards to its begin
(this project's own choice; the first reading comes after some 2 s). What was held from before is a loss, and is told."""

EXCHANGED = "exchanged with "
"""How the `why` of a `trust` record begins where two probes turn out to hang in each other's liquid; the other one's name and a colon
follow. From its start on each is taken for the other."""
IN_PART = "in part only: "
"""How it begins where a probe is believed and counts in part: the mean is a mixture. It is so until the next word about that probe."""
WHOLE_AGAIN = "whole again: "
"""How it begins where that is over."""
NOT_ITS_BATH = "the developer does not follow it: "
"""How it begins where the bath's probe is found not to read its bath; the developer's temperature is trusted all the same."""
STEPS_OF, DRY_UNTIL = "moves in steps of ", "dry until "
"""How it begins where something else has turned out of a probe, which is believed as before: its register is coarse, or it hung in air when
the developer came in."""


def other_of(why: str) -> str:
    """The name of the other probe, where `why` tells of an exchange."""
    return why.removeprefix(EXCHANGED).partition(":")[0]

PLAUSIBLE_C = (-2.0, 60.0)
"""Outside this no probe in a bath of this trade is believed (practice of this project, a start value; common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading of one probe.

    `t_s`: middle of the conversion, seconds of session time. `raw_c`: what the register said, None if nothing.
    `celsius`: corrected by the probe's comparison; None unless `quality` is good.
    """

    t_s: float
    probe: str
    role: Role
    raw_c: float | None
    celsius: float | None
    quality: Quality
