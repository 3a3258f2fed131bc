"""What was learned before the film, as frozen values: how far a probe reads from a trusted thermometer, how it lags, how a vessel lags.

Decides how a raw reading becomes a corrected one and how far the correction may be trusted at another temperature and on
another day; measures nothing and stores nothing (monitor.prepare does). The day comes in as an argument.
Sign: an offset is probe minus reference. A probe that reads high has a positive one; it is subtracted.
Tests: tests/core/probes/test_learned.py, tests/prepare/probes/test_learned_store.py.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Coupled = Literal["bath", "room"]

COLOUR_DAYS = 90
"""A comparison older than this does not count for a colour developer (common practice, no source)."""
USUAL_DAYS = 365
"""A probe is compared again at least once a year, and after a fall (common practice, no source)."""
DEFAULT_LAG_S = 8.0
"""Lag of a probe whose lag was never learned, seconds (the project's practice: 8 to 20 s for a steel sheath)."""
NOT_COMPARED_SD_C = 0.29
"""Standard uncertainty of a probe that was never compared, C: half-width 0.5 C (data sheet of the usual probe), uniform: 0.5/sqrt(3)."""
GLASS_SD_C = 0.3
"""Standard uncertainty of a glass thermometer of unknown history (contract, section 10; common practice, no source)."""
WITNESS_SD_C = 0.2
"""Standard uncertainty of a witness as the film's own developer, C, until the developer poured off has shown it: it stands in other
water, in another vessel, and nobody shook it as much (ours)."""
POURED_OFF_C = 0.4
"""An estimate further than this from the developer poured off is wrong (common practice)."""
SAME_WITNESS = "Same vessel, same volume, same bath, filled from the same jug?"
"""What to look at where a witness was wrong."""
NEAR_C = 2.0
"""A comparison holds within this distance of its points; farther away it is extrapolated (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ComparisonPoint:
    """One comparison in one water: the trusted thermometer's temperature, the offset found, and the scatter of that offset alone (C).

    `reference`, `reference_sd_c`: what it was compared with, and the standard uncertainty of that; None: the comparison's own.
    """

    reference_c: float
    offset_c: float
    sd_c: float
    reference: str | None = None
    reference_sd_c: float | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """The offset of one probe as a straight line: `offset_c` at `at_c`, changing by `slope_per_c` for each C of true temperature.

    `sd_offset_c`, `sd_slope_per_c`: standard uncertainties of these two (they are uncorrelated at `at_c`), without the
    reference's own. `reference_sd_c`: that of the trusted thermometer, shared by all points; 0 where points have different ones
    (ice and a thermometer): then it is contained in the other two. `date`: ISO day of the newest point.
    """

    probe: str
    id: str | None
    at_c: float
    offset_c: float
    slope_per_c: float
    sd_offset_c: float
    sd_slope_per_c: float
    reference: str
    reference_sd_c: float
    who: str
    date: str
    points: tuple[ComparisonPoint, ...]

    @property
    def kind(self) -> Literal["offset", "line"]:
        """`line` where points at different temperatures carry one."""
        return "line" if self.slope_per_c != 0.0 else "offset"

    @property
    def valid_c(self) -> tuple[float, float]:
        """The temperatures that the points cover, `NEAR_C` more at both ends."""
        temperatures = [p.reference_c for p in self.points]
        return min(temperatures) - NEAR_C, max(temperatures) + NEAR_C

    def offset_at(self, celsius: float) -> float:
        """Probe minus reference at a true temperature, C."""
        return self.offset_c + self.slope_per_c * (celsius - self.at_c)

    def sd_at(self, celsius: float) -> float:
        """Standard uncertainty of a corrected reading near `celsius`, C, reference included. Grows away from the points."""
        return math.hypot(self.sd_offset_c, self.sd_slope_per_c * (celsius - self.at_c), self.reference_sd_c)

    def age_days(self, today: dt.date) -> int:
        """Days since the newest point, 0 at least."""
        return max(0, (today - dt.date.fromisoformat(self.date)).days)

    def expires(self, narrow: bool) -> dt.date:
        """The last day on which it counts; `narrow` for a colour developer (90 days), else a year."""
        return dt.date.fromisoformat(self.date) + dt.timedelta(days=COLOUR_DAYS if narrow else USUAL_DAYS)


def apply(comparison: Comparison, raw_c: float) -> float:
    """The true temperature that belongs to what the probe said, C: the inverse of raw = T + offset(T), exactly."""
    return (raw_c - comparison.offset_c + comparison.slope_per_c * comparison.at_c) / (1.0 + comparison.slope_per_c)


@dataclass(frozen=True, slots=True)
class ProbeLag:
    """Time constant of a probe in stirred water, seconds, its standard uncertainty, and the ISO day it was learned. `session`: the one
    whose settling told it, None where a person measured it by a dip. `adopted`: a person has taken over what that session told."""

    probe: str
    id: str | None
    lag_s: float
    sd_s: float
    date: str
    session: str | None = None
    adopted: bool = False

    @property
    def by_person(self) -> bool:
        """Whether a person has measured or adopted it: then it stands until a person replaces it."""
        return self.session is None or self.adopted


@dataclass(frozen=True, slots=True)
class VesselLag:
    """Time constant with which a vessel's liquid follows bath or room, seconds. It belongs to one volume and one way of agitation."""

    vessel: str
    lag_s: float
    sd_s: float
    coupled_to: Coupled
    date: str
    volume_ml: float | None = None
    agitation: str | None = None
    learn_again: str | None = None
    """Why it should be learned again, where a check by the poured-off developer said so."""
    session: str | None = None
    adopted: bool = False
    """The session in which this lag would have fitted, and whether a person has taken it over; None and False where it was measured."""

    @property
    def by_person(self) -> bool:
        """Whether a person has measured or adopted it. What a session found is only offered: it belongs to that film's bath and hands."""
        return self.session is None or self.adopted


@dataclass(frozen=True, slots=True)
class WitnessCheck:
    """A witness against the developer poured off the film: `difference_c` is measured minus estimated, C. `date`: ISO day."""

    probe: str
    id: str | None
    difference_c: float
    date: str

    @property
    def shown(self) -> bool:
        """Whether it has shown that the witness speaks for the film's developer."""
        return abs(self.difference_c) <= POURED_OFF_C

    @property
    def sd_c(self) -> float:
        """How much worse than its comparison the witness is after this check, standard, C: nothing where it was shown, else half of what it
        was off, so that its +/- holds what was measured; that is more than `WITNESS_SD_C` (this project's own choice)."""
        return 0.0 if self.shown else abs(self.difference_c) / 2.0


@dataclass(frozen=True, slots=True)
class Learned:
    """All that has been learned so far: the newest of each. Keys are names, and permanent numbers where there is one.

    `probe_lags`, `vessel_lags`: as a person measured or adopted them. `found_probe_lags`, `found_vessel_lags`: what sessions have told
    since then.
    """

    comparisons: Mapping[str, Comparison] = field(default_factory=dict)
    probe_lags: Mapping[str, ProbeLag] = field(default_factory=dict)
    vessel_lags: Mapping[str, VesselLag] = field(default_factory=dict)
    witness_checks: Mapping[str, WitnessCheck] = field(default_factory=dict)
    found_probe_lags: Mapping[str, ProbeLag] = field(default_factory=dict)
    found_vessel_lags: Mapping[str, VesselLag] = field(default_factory=dict)

    def comparison(self, probe: str) -> Comparison | None:
        """The newest comparison of a probe, by its permanent number or its name; None if it was never compared."""
        return self.comparisons.get(probe)

    def probe_lag(self, probe: str, number: str | None = None) -> ProbeLag | None:
        """The lag that counts for a probe, by its permanent number, else its name: what a person measured or adopted, else what the newest
        session told of this very sensor."""
        measured = None if number is None else self.probe_lags.get(number)
        return measured or self.probe_lags.get(probe) or self.found_probe_lags.get(number or probe)

    def offered_probe_lag(self, probe: str, number: str | None = None) -> ProbeLag | None:
        """What a session has told since a person measured the lag that counts: it changes nothing until somebody adopts it."""
        counts, found = self.probe_lag(probe, number), self.found_probe_lags.get(number or probe)
        return None if counts is None or not counts.by_person else found

    def vessel_lag(self, vessel: str) -> VesselLag | None:
        """The lag that counts for a vessel, by its name: as a person measured or adopted it."""
        return self.vessel_lags.get(vessel)

    def offered_vessel_lag(self, vessel: str) -> VesselLag | None:
        """What would have fitted in a session since then."""
        return self.found_vessel_lags.get(vessel)

    def witness_check(self, *probe: str) -> WitnessCheck | None:
        """The newest check of a witness; None where nobody has checked it. `probe`: its permanent number, then its name."""
        return next((self.witness_checks[key] for key in probe if key in self.witness_checks), None)

    def witness_sd_c(self, *probe: str) -> float:
        """How much worse than its comparison a witness is, standard, C: to be added in quadrature. `probe`: as in `witness_check`."""
        check = self.witness_check(*probe)
        return WITNESS_SD_C if check is None else check.sd_c
