"""The heart: from readings that lag, lie and go missing to development done, with an honest standard deviation.

One `Estimator` serves one session. The session tells it what passes (`read`, `advance`, `begin`) and asks (`temperature`,
`done`, `end`). It never reads a clock; times are session seconds and never go back by more than `PAST_S` in `begin`.
Which source it uses is the ladder of the contract, section 5; each change of trust is returned once as a `TrustChange`.
Tests: tests/core/test_estimator.py, figures: tests/benchmarks/bench_estimator.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from monitor.core.rate import RateLaw
from monitor.core.readings import Reading, Role, Source

NOT_COMPARED_SD_C = 0.29
"""Standard uncertainty of a probe that was never compared: half-width 0.5 C (data sheet of the usual probe), uniform: 0.5/sqrt(3)."""
DEFAULT_LAG_S = 8.0
PAST_S = 60.0


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """What is believed of one probe. `comparison_sd_c`: standard uncertainty left after its comparison."""

    name: str
    role: Role
    lag_s: float = DEFAULT_LAG_S
    comparison_sd_c: float = NOT_COMPARED_SD_C


@dataclass(frozen=True, slots=True)
class Vessel:
    """A vessel whose lag towards bath or room was learned with water. `lag_sd_s` is its standard uncertainty."""

    lag_s: float
    lag_sd_s: float
    coupled_to: Literal["bath", "room"] = "bath"


@dataclass(frozen=True, slots=True)
class Beliefs:
    """All that is known before the first reading. `pour_c`: measured by the person at pour-in, None if not."""

    reference_c: float
    probes: tuple[ProbeModel, ...]
    vessel: Vessel | None = None
    pour_c: float | None = None


@dataclass(frozen=True, slots=True)
class TrustChange:
    """A probe gained or lost, or the source changed. `since_t_s`: since when it has been so. `loss` asks for one FAULT."""

    probe: str
    believed: bool
    why: str
    since_t_s: float
    source: Source
    loss: bool


@dataclass(frozen=True, slots=True)
class Temperature:
    """Where the developer is now: best estimate, its standard deviation (comparison included), whose it is, how old the last believed reading is (None: never)."""

    celsius: float
    sd_c: float
    source: Source
    age_s: float | None


@dataclass(frozen=True, slots=True)
class Done:
    """Development done, seconds at the reference, and its standard deviation (noise, comparison and rate law together)."""

    done_ref_s: float
    sd_ref_s: float


@dataclass(frozen=True, slots=True)
class End:
    """When the target will be reached, with the expected drift, and the standard deviation of that moment."""

    end_t_s: float
    sd_s: float


class Estimator:
    """To be written; see the module's docstring and design.md section 2."""

    def __init__(self, beliefs: Beliefs) -> None:
        raise NotImplementedError

    def read(self, reading: Reading) -> list[TrustChange]:
        """Take one reading of any probe, in the order of arrival. Bad ones count too: they may end a belief."""
        raise NotImplementedError

    def advance(self, t_s: float) -> list[TrustChange]:
        """Time has passed with or without readings: find what has gone stale."""
        raise NotImplementedError

    def begin(self, key: int, t_s: float, law: RateLaw | None, reference_c: float) -> None:
        """Integral `key` counts from `t_s` on, which may lie ahead or up to `PAST_S` back. A key begun again starts at 0. All keys that count at one time share one law; None counts plain seconds."""
        raise NotImplementedError

    def forget(self, key: int) -> None:
        """Integral `key` is no longer asked for."""
        raise NotImplementedError

    def temperature(self, t_s: float) -> Temperature:
        """The developer's temperature at `t_s` (not before the newest event)."""
        raise NotImplementedError

    def done(self, key: int, t_s: float) -> Done:
        """Development done at `t_s` by integral `key`; 0 before it begins."""
        raise NotImplementedError

    def end(self, key: int, target_ref_s: float, t_s: float) -> End:
        """Forecast, made at `t_s`, of when integral `key` reaches the target."""
        raise NotImplementedError
