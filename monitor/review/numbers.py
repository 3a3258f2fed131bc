"""The numbers of a session as values: what each means, its unit, and when it is None. Nothing is computed or shown here.

"Now known" comes from the readings by the review's own smoother, "live said" from the progress records; both stand side by
side. The numbers are made by monitor/review/measures.py and stage_measures.py beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from monitor.core.development.beliefs import LAG_LOG_SD
from monitor.core.probes.readings import EXCHANGED, FIRST_READINGS_S, NOT_ITS_BATH
from monitor.core.recipe.kinds import material_of, medium_of
from monitor.core.text.doubt import two_sd

NO_PROBE = "none"
"""Stands for a probe's name where only the live estimate is known."""


LEAST_BELIEVED_S = 5.0
"""A shorter belief is none: live dates its own losses about as well as that (this project's own choice)."""


@dataclass(frozen=True, slots=True)
class RecordedProbe:
    """What the session believed of a probe. `compared` is the comparison as recorded, None if there was none.
    `lag_log_sd`: standard deviation of the lag's logarithm. `witness_sd_c`: what `comparison_sd_c` of a witness has in it because nothing
    had shown yet, as the session began, that it speaks for the film's developer; 0 where something had, and of other probes."""

    probe: str
    role: str
    lag_s: float
    comparison_sd_c: float
    compared: Mapping[str, Any] | None
    lag_log_sd: float = LAG_LOG_SD
    witness_sd_c: float = 0.0


@dataclass(frozen=True, slots=True)
class NamedSpan:
    """A stretch of time that deserves a word. Session seconds."""

    what: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Doubted(NamedSpan):
    """Readings of `probe` that turn out afterwards not to have been the liquid's. `made`: what the review has done to them; `believed_s`:
    for so many seconds of it live believed the probe, its second thoughts included. What it never believed is its own loss."""

    probe: str
    made: Literal["left out", "corrected"]
    believed_s: float = 0.0

    @property
    def news(self) -> bool:
        """Whether live had believed any of it."""
        return self.believed_s >= LEAST_BELIEVED_S


@dataclass(frozen=True, slots=True)
class StageMeasures:
    """One stage of one sheet.

    `planned_s`: time x factor; 0 for a stage without a time, which has no planned end.
    `actual_s`: begin to the next begin. `planned_end_s`, `actual_end_s`: session time.
    `overrun_s`: actual minus planned end (negative: early), None where no end was planned or nobody told the actual one. `ended_by`: what
    told the actual end. `end_told`: whether anybody did. `may_have_done_percent`: where nobody did, what the live filter counted until
    the next stage's first call, in case the film stayed in so long. `station_late_s`: how much later than due NOW sounded because the
    program was away, None where it was in time.
    `done_ref_s`: integral of the rate over the stage to its ACTUAL end, now known; in a stage without a rate temperature does
    not count and it is plain seconds (`rate_law` None). Counted "full to empty": from begin + fill to the actual end less the
    drain. `done_sd_ref_s`: standard deviation (noise, comparison, estimate, rate law together), and `done_sd_is` in words what it
    holds and what not, None without a rate. `done_percent`: of `target_ref_s`; without a rate it is time in per cent of time, kept in data
    because the contract names it (6), and shown to nobody.
    `live_...`: what the live filter said for the same moment, None without progress records.
    `mean_c`: time-weighted mean of the smoothed temperature, `mean_kinetic_c`: the steady temperature that would have done as much
    by the stage's own law, `min_c`/`max_c` with the session time where they lay, `drift_c_per_min`: least squares; all None if
    nothing was read. `mean_sd_c`: standard deviation of the mean, comparison included. `measured_by`: the probe,
    `probe_compared`: whether it was ever compared with a thermometer that is trusted.
    `estimated_s`: seconds whose progress came from vessel model, held or clock (a stage without progress has none);
    `unmeasured_s`: seconds without a believed reading. `below_band_s`, `above_band_s`: None without a band,
    and where all of the stage went by the clock and no probe was believed: then its temperature is only assumed.
    `longer_s`, `shorter_s`: by how much it may have lasted longer and shorter than counted, because the power was gone meanwhile;
    `end_between_s`: the earliest and the latest end, as it was said at last, session time. `until`: as in the recipe; an "at least" stage
    has no late hands, so no `overrun_s`. `first_trace_s`: of a print, seconds after its begin, None where nobody told it, and the
    `appearance_factor` of its recipe: its plan is what these two came to.
    `movement_due_s`: seconds in which the recipe has a develop stage moved, as far as it lasted, None for other stages and without a
    recipe; `movement_missed_s`: those of them that no tick called for. `lifted`: it ended by lifting (open vessel), not by pouring off.
    `gate_closed`: as in `Passage`.
    """

    stage: int
    name: str
    role: str
    sheet: int | None
    begin_s: float
    begin_assumed: bool
    planned_s: float | None
    actual_s: float
    planned_end_s: float | None
    actual_end_s: float
    ended_by: str
    overrun_s: float | None
    end_told: bool
    may_have_done_percent: float | None
    station_late_s: float | None
    steered: bool
    rate_law: str | None
    reference_c: float | None
    counted: str
    target_ref_s: float | None
    done_ref_s: float | None
    done_sd_ref_s: float | None
    done_percent: float | None
    done_sd_percent: float | None
    live_done_ref_s: float | None
    live_done_sd_ref_s: float | None
    live_done_percent: float | None
    measured_by: str | None
    probe_compared: bool | None
    mean_c: float | None
    mean_sd_c: float | None
    mean_kinetic_c: float | None
    min_c: float | None
    min_sd_c: float | None
    min_at_s: float | None
    max_c: float | None
    max_sd_c: float | None
    max_at_s: float | None
    drift_c_per_min: float | None
    band_c: float | None
    below_band_s: float | None
    above_band_s: float | None
    outside_data_s: float | None
    estimated_s: float
    unmeasured_s: float
    estimated_spans: tuple[NamedSpan, ...]
    longer_s: float = 0.0
    shorter_s: float = 0.0
    end_between_s: tuple[float, float] | None = None
    until: str = "time"
    first_trace_s: float | None = None
    appearance_factor: float | None = None
    movement_due_s: float | None = None
    movement_missed_s: float = 0.0
    lifted: bool = False
    gate_closed: bool = False
    done_sd_is: str | None = None

    @property
    def moved_s(self) -> float | None:
        """How much later than planned (time x factor) the end was called; negative: earlier. None where none was planned."""
        if self.planned_end_s is None or not self.planned_s:
            return None
        return self.planned_end_s - self.begin_s - self.planned_s

    @property
    def told_spans(self) -> tuple[NamedSpan, ...]:
        """`estimated_spans` that a person is told: without a wait for the first readings at the begin, which are used backwards over it."""
        if not self.estimated_spans:
            return ()
        first, *later = self.estimated_spans
        waited = first.what != "held" and first.from_s <= self.begin_s and first.to_s - first.from_s < FIRST_READINGS_S
        then_measured = first.to_s < (later[0].from_s if later else self.actual_end_s)
        return tuple(later) if waited and then_measured else self.estimated_spans

    @property
    def told_estimated_s(self) -> float:
        """Seconds of `told_spans`."""
        return sum((span.to_s - span.from_s for span in self.told_spans), 0.0)

    @property
    def outside_band_s(self) -> float | None:
        """Seconds outside the band, below and above together; None where that is not known."""
        return None if self.below_band_s is None or self.above_band_s is None else self.below_band_s + self.above_band_s

    @property
    def actual_between_s(self) -> tuple[float, float]:
        """The least and the most that the stage may have lasted; the same twice where no power cut left it in doubt."""
        return max(0.0, self.actual_s - self.shorter_s), self.actual_s + self.longer_s

    @property
    def done_between_percent(self) -> tuple[float, float] | None:
        """Where a power cut left the time in doubt: the least and the most that was done, two standard deviations in them."""
        if not (self.longer_s or self.shorter_s) or self.done_percent is None or self.actual_s <= 0.0:
            return None
        per_s, around = self.done_percent / self.actual_s, two_sd(self.done_sd_percent or 0.0)
        low, high = self.done_percent - per_s * self.shorter_s - around, self.done_percent + per_s * self.longer_s + around
        return max(0.0, low), high


@dataclass(frozen=True, slots=True)
class FilmOfEvening:
    """Which film of an evening a session was: number `film` of `of`, from 1; `vessel`: by its name in the station file."""

    name: str
    film: int
    of: int
    vessel: str | None

    @property
    def in_words(self) -> str:
        """Such as "film 2 of 4, right vessel"."""
        return f"film {self.film} of {self.of}" + ("" if self.vessel is None else f", {self.vessel} vessel")


@dataclass(slots=True)
class SessionMeasures:
    """One session. `max_cue_lateness_s`: None where no cue carries one (a rehearsal); `max_cue_waited_s`: how much of that
    a call waited for the other film's, None where none did. `problems`: of the file, as told.

    `evening`: None where the session was a recipe's own. `waived`, `gate_overridden`: the reasons that the person gave, None where
    nothing was waived or overridden.
    `never_begun`: the recipe's stages behind the last one that was begun, by name.
    `fault_calls`: each FAULT that sounded, with `t_s` and `why`, None where nothing tells why.
    `doubted`: readings that turn out afterwards to have been wrong; they are left out or corrected. `exchanged`: the developer's probe and
    the bath's, where they turned out to hang in each other's liquid, live or afterwards; each was taken for the other.
    """

    file: str
    session: str
    mode: str
    recipe: str | None
    film: str | None
    vessel: str | None
    contents: str | None
    area_units: float | None
    program_version: str | None
    opened_wall: str
    zone: str | None
    closed: bool
    close_why: str | None
    never_begun: tuple[str, ...]
    stages: list[StageMeasures]
    max_cue_lateness_s: float | None
    max_cue_waited_s: float | None
    cues: dict[str, int]
    faults: int
    fault_calls: list[dict[str, Any]]
    probes: list[RecordedProbe]
    trust: list[dict[str, Any]]
    gaps: list[NamedSpan]
    doubted: list[Doubted]
    resumes: list[dict[str, Any]]
    solutions: list[dict[str, Any]]
    evening: FilmOfEvening | None = None
    waived: str | None = None
    gate_overridden: str | None = None
    exchanged: tuple[str, str] | None = None
    notes: list[str] = field(default_factory=list)
    torn: str | None = None
    problems: list[str] = field(default_factory=list)

    def probe(self, name: str | None) -> RecordedProbe | None:
        """What the session believed of the probe with this name; None where there is none."""
        return next((p for p in self.probes if p.probe == name), None)

    @property
    def losses(self) -> list[dict[str, Any]]:
        """The changes of trust for which something stood in; a bath's probe that did not read its bath, or an exchange, is none."""
        return [t for t in self.trust if not t["believed"] and not str(t["why"]).startswith((NOT_ITS_BATH, EXCHANGED))]

    @property
    def medium(self) -> str:
        """The word for what was developed: "film" or "paper"."""
        return medium_of(self.film, self.contents)

    @property
    def material(self) -> str:
        """Such as "panchromatic film", "paper", "colour paper"."""
        return material_of(self.film, self.contents)
