"""A recipe as frozen values: the stages of one session, with every default filled in.

The fields are those of the project's contract, section 2. Tests: tests/core/recipe/test_reader.py.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from monitor.core.development.handling import Handling, Held
from monitor.core.development.rate import RateLaw
from monitor.core.recipe.kinds import (
    CLOSED_VESSELS,
    FIXING_ROLES,
    PLACES,
    Counted,
    Film,
    StageRole,
    Until,
    VesselKind,
    is_paper,
    material_of,
    medium_of,
)
from monitor.core.recipe.light import bare_film, stages_before_last_fix
from monitor.core.text.quantities import Dilution

READY_AFTER_BEGIN_LEAST_S = 10.0
"""READY is left out if it would come sooner than this after the begin (contract, section 5)."""
SAME = 1e-6
"""Two temperatures (C) or times (s) nearer than this are one: 68 F is 20 C."""
_LIGHT_IN_A_NAME = re.compile(r"\b(light|lamp|(re-?)?expos\w*)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Burst:
    """Agitation for `for_s` seconds: once, `from_s` after the stage's begin, or every `every_s` (the other is None)."""

    from_s: float | None
    every_s: float | None
    for_s: float


@dataclass(frozen=True, slots=True)
class Gate:
    """The start is withheld until the developer has been within `band_c` of the reference for `for_s`."""

    band_c: float
    for_s: float


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage. `number` is 1-based. Fields as in the contract, defaults filled in."""

    number: int
    line: int
    name: str
    role: StageRole
    time_s: float
    counted: Counted
    fill_s: float
    reference_c: float
    steer: bool
    law: RateLaw | None
    valid_c: tuple[float, float] | None
    drain_s: float
    ready_s: float
    agitation: tuple[Burst, ...]
    continuous: bool
    band_c: float | None
    gate: Gate | None
    factor: float
    solution: str | None
    jug: int | None
    until: Until
    at_most_s: float | None
    dilution: Dilution | None = None
    volume_ml: float | None = None

    reference_stated: bool = True
    """Whether the recipe itself gives this stage's reference temperature."""
    tempered: bool | None = None
    """Whether the empty vessel has the developer's temperature as this goes in, or the room's; None where the recipe does not say."""
    in_hand: bool = False
    """Whether the vessel is out of its bath, in the hands, whenever it is moved."""
    appearance_factor: float | None = None
    """A print: development lasts this many times as long as its first trace takes to appear; the time is then the longest."""

    @property
    def handling(self) -> Handling:
        """What the hands do to the vessel, for the estimate of what is in it."""
        held = tuple(Held(b.from_s, b.every_s, b.for_s) for b in self.agitation) if self.in_hand else ()
        return Handling(self.tempered, held, self.volume_ml)

    @property
    def target_ref_s(self) -> float:
        """Time x factor: seconds of development at the reference, or plain seconds if temperature does not steer the stage."""
        return self.time_s * self.factor

    @property
    def has_times_by_temperature(self) -> bool:
        """Whether a chart of times over temperature says something: not where a print's first trace sets the time."""
        return self.steer and self.law is not None and self.appearance_factor is None

    @property
    def has_no_clock(self) -> bool:
        """Loading without a time: dark and silent, over when the hands say so and never assumed to be."""
        return self.role == "load" and self.target_ref_s == 0

    @property
    def begin_to_end_s(self) -> float:
        """From the begin to the planned end at the reference; for an at-least stage, to its minimum."""
        return self.target_ref_s + self.beyond_target_s

    @property
    def beyond_target_s(self) -> float:
        """What filling takes before the time counts and, in a timed stage, draining after it; 0 where pouring in and out count."""
        if self.counted == "pour to pour":
            return 0.0
        return self.fill_s + (self.drain_s if self.until == "time" else 0.0)

    @property
    def fills_s(self) -> float:
        """From the begin to the moment from which development counts."""
        return self.fill_s if self.counted == "full to empty" else 0.0

    @property
    def stock_and_water_ml(self) -> tuple[float, float] | None:
        """Stock and water in `volume_ml` of a diluted solution; None if it is used undiluted or the recipe does not say."""
        if self.volume_ml is None or self.dilution is None or not self.dilution.parts_water:
            return None
        stock_ml = self.volume_ml * float(self.dilution.stock_fraction)
        return stock_ml, self.volume_ml - stock_ml


@dataclass(frozen=True, slots=True)
class Sheets:
    """Sheets that go through the develop stage one after another. `factors` has `count` entries; each multiplies the stage's factor."""

    count: int
    interval_s: float
    factors: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A recipe that has passed every check. `data` is the file's content, for the journal; `warnings` are plain sentences."""

    name: str
    film: Film
    vessel: VesselKind
    stages: tuple[Stage, ...]
    sheets: Sheets | None
    what: str | None
    area_units: float | None
    data: Mapping[str, Any]
    warnings: tuple[str, ...] = field(default=())
    cover_ml: float | None = None
    """What covers the film in its vessel, as the person has measured it; None if nobody says."""

    @property
    def on_paper(self) -> bool:
        """Whether this is for paper, black-and-white or colour."""
        return is_paper(self.film, self.what)

    @property
    def lifted(self) -> bool:
        """Whether what is developed is lifted out of a bath, in an open tank or tray, rather than the bath poured off."""
        return self.vessel not in CLOSED_VESSELS

    @property
    def medium(self) -> str:
        """The word for what is developed: "film" or "paper"."""
        return medium_of(self.film, self.what)

    @property
    def place(self) -> str:
        """What a bath stands in: "jug", "tank" or "tray"."""
        return PLACES[self.vessel]

    @property
    def goes_in(self) -> str:
        """When the first bath begins, such as "with the first pour" or "as the first sheet goes in"."""
        if not self.lifted:
            return "with the first pour"
        return f"as the {'first sheet' if self.sheets is not None else self.medium} goes in"

    @property
    def lid_off_at(self) -> Stage | None:
        """The stage at which the lid comes off before anything is fixed; None where it stays on until then.

        A black-and-white reversal: the first stage between two developers whose name says light; where none says so and a bleach comes
        between them, the second developer, which blackens only what the light has reached.
        """
        unfixed = next((i for i, stage in enumerate(self.stages) if stage.role in FIXING_ROLES), len(self.stages))
        developers = [stage for stage in self.stages[:unfixed] if stage.role == "develop"]
        if len(developers) < 2:
            return None
        between = self.stages[developers[0].number : developers[-1].number - 1]
        lit = next((stage for stage in between if _LIGHT_IN_A_NAME.search(stage.name)), None)
        bleached = any(stage.role == "bleach" for stage in between)
        return developers[-1] if lit is None and bleached else lit

    @property
    def material(self) -> str:
        """Such as "panchromatic film", "paper", "colour paper"."""
        return material_of(self.film, self.what)

    @property
    def open_film(self) -> tuple[int, ...]:
        """Numbers of the stages during which film is bare: `load`, and in an open vessel all up to the end of the last fix."""
        before = stages_before_last_fix(tuple(stage.role for stage in self.stages))
        return tuple(s.number for s, early in zip(self.stages, before, strict=True) if bare_film(self.vessel, s.role, early))

    @property
    def total_s(self) -> float:
        """From the first begin to the last planned end; with sheets, the last exit in place of a single film's."""
        whole_s = sum(stage.begin_to_end_s for stage in self.stages)
        if self.sheets is None:
            return whole_s
        return whole_s + max(self.sheet_exits_s) - self._developing.target_ref_s

    @property
    def _developing(self) -> Stage:
        return next(stage for stage in self.stages if stage.role == "develop")

    @property
    def sheet_exits_s(self) -> tuple[float, ...]:
        """When each sheet leaves a developer at the reference, seconds after the first sheet's begin; in the order of going in."""
        if self.sheets is None:
            return ()
        return planned_exits(self._developing.target_ref_s, self.sheets)

    def target_ref_s(self, stage: Stage, sheet: int | None) -> float:
        """Time times factor of a stage, for one sheet in the developer times that sheet's factor too."""
        if self.sheets is None or sheet is None or stage.role != "develop" or sheet > len(self.sheets.factors):
            return stage.target_ref_s
        return stage.target_ref_s * self.sheets.factors[sheet - 1]


def planned_exits(target_s: float, sheets: Sheets) -> tuple[float, ...]:
    """Seconds after the first sheet's begin at which each sheet is due out of a bath at the reference."""
    return tuple(i * sheets.interval_s + target_s * factor for i, factor in enumerate(sheets.factors))
