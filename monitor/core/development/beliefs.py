"""What the estimator is told before the first reading, and what it answers: plain values.

`Estimator` (in `estimator`) takes a `Beliefs` and returns the rest. Times are session seconds.
Tests: tests/core/development/test_estimator.py.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from monitor.core.probes.learned import DEFAULT_LAG_S, NOT_COMPARED_SD_C, Coupled
from monitor.core.probes.readings import Role, Source

LAG_LOG_SD, STATED_LAG_LOG_SD, LEARNED_LAG_LOG_SD, SESSION_LAG_LOG_SD = 0.6, 0.3, 0.05, 0.15
"""Standard deviation of the logarithm of a probe's lag: never learned (8 s, give or take a factor of 1.8), stated in the station file,
learned by a dip, told by a session's settling (at least these two; this project's own choice)."""

LagFrom = Literal["usual", "session", "measured"]
"""Where the lag of a probe comes from: nowhere or the station file, an earlier session, a person (by a dip, or adopted)."""


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """What is known of one probe. `comparison_sd_c`: standard uncertainty left after its comparison. `compared`: whether there was one;
    None where only the uncertainty is known (one made with a glass thermometer leaves as much as none). `lag_log_sd`: standard deviation
    of the lag's logarithm (0.1: the lag is known to 10 %). `lag_from`: for what is told of it; it moves nothing here, nor does `step_c`: of
    its register, C, where the station knew it at the opening.
    """

    name: str
    role: Role
    lag_s: float = DEFAULT_LAG_S
    comparison_sd_c: float = NOT_COMPARED_SD_C
    compared: bool | None = None
    lag_log_sd: float = LAG_LOG_SD
    lag_from: LagFrom = "usual"
    step_c: float | None = None

    @property
    def was_compared(self) -> bool:
        """Whether it has been compared; where nobody says so, whether it is surer than one that has not."""
        return self.comparison_sd_c < NOT_COMPARED_SD_C - 1e-6 if self.compared is None else self.compared

    @property
    def opening(self) -> dict[str, Any]:
        """As the first record of a rehearsal tells it; after one nothing is kept, and it does not matter where the lag comes from."""
        told = {**asdict(self), "compared": self.was_compared}
        del told["lag_from"], told["step_c"]
        return told


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel whose lag towards bath or room was learned with water. `lag_sd_s` is its standard uncertainty."""

    lag_s: float
    lag_sd_s: float
    coupled_to: Coupled = "bath"


@dataclass(frozen=True, slots=True)
class Beliefs:
    """All that is known before the first reading. `pour_c`: measured by the person at pour-in, None if not."""

    reference_c: float
    probes: tuple[ProbeModel, ...]
    vessel: Vessel | None = None
    pour_c: float | None = None

    @property
    def ambient_probe(self) -> ProbeModel | None:
        """The probe in what the vessel follows, bath or room. None without a learned vessel or without such a probe."""
        if self.vessel is None:
            return None
        return next((p for p in self.probes if p.role == self.vessel.coupled_to), None)


@dataclass(frozen=True, slots=True)
class TrustChange:
    """A probe was gained or lost, or the source changed. `since_t_s`: since when. `loss`: it calls for one FAULT."""

    probe: str
    believed: bool
    why: str
    since_t_s: float
    source: Source
    loss: bool


@dataclass(frozen=True, slots=True)
class FoundLag:
    """A lag that fits better than the one that was told: of this probe, or of the vessel (None). Seconds. `log_sd`: standard deviation of
    its logarithm. `told_by_person`: what was told had been measured for this probe or vessel."""

    probe: str | None
    lag_s: float
    told_lag_s: float
    log_sd: float
    told_by_person: bool


@dataclass(frozen=True, slots=True)
class Temperature:
    """The developer's temperature: best estimate, standard deviation (comparison included), source, and age of the last believed reading
    (None: there was none)."""

    celsius: float
    sd_c: float
    source: Source
    age_s: float | None


@dataclass(frozen=True, slots=True)
class Done:
    """Development done in seconds at the reference, and its standard deviation (noise, comparison and rate law together)."""

    done_ref_s: float
    sd_ref_s: float


@dataclass(frozen=True, slots=True)
class End:
    """When the target will be reached with the expected drift, and the standard deviation of that time."""

    end_t_s: float
    sd_s: float
