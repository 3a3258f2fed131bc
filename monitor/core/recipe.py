"""A recipe: the stages of one evening as frozen values, and the reader that refuses everything it does not understand.

The format is the project's contract, section 2. `load_recipe` takes the file's bytes and its name (for messages); all
problems are raised together as one `FileWrong`. Tests: tests/core/test_recipe.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from monitor.core.rate import RateLaw

Film = Literal["panchromatic", "orthochromatic", "blue-sensitive", "colour", "infrared"]
VesselKind = Literal["lidded tank", "open tank", "open tray", "drum"]
StageRole = Literal["load", "presoak", "develop", "stop", "bleach", "fix", "bleach-fix", "wash", "wash aid", "rinse", "hold"]
Until = Literal["time", "at least"]
Counted = Literal["pour to pour", "full to empty"]


@dataclass(frozen=True, slots=True)
class Burst:
    """Agitation of `for_s` seconds: once at `from_s` after the stage's begin, or again every `every_s` (the other is None)."""

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

    @property
    def target_ref_s(self) -> float:
        """Time times factor: seconds of development at the reference, or plain seconds where temperature does not steer."""
        return self.time_s * self.factor


@dataclass(frozen=True, slots=True)
class Sheets:
    """One film after another through the develop stage. `factors` has `count` entries and multiplies the stage's factor."""

    count: int
    interval_s: float
    factors: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Recipe:
    """A recipe that has passed every check. `data` is what the file said, for the journal; `warnings` are plain sentences."""

    name: str
    film: Film
    vessel: VesselKind
    stages: tuple[Stage, ...]
    sheets: Sheets | None
    what: str | None
    area_units: float | None
    data: Mapping[str, Any]
    warnings: tuple[str, ...] = field(default=())

    @property
    def open_film(self) -> tuple[int, ...]:
        """Numbers of the stages during which film is bare: `load`, and in an open vessel all up to the end of the last fix."""
        raise NotImplementedError


def load_recipe(text: bytes, file: str) -> Recipe:
    """Read a recipe. Raises `FileWrong` with every problem, each with file, line, what is wrong and what is allowed."""
    raise NotImplementedError


def recipe_from_data(data: Mapping[str, Any]) -> Recipe:
    """A recipe from `Recipe.data`, as a journal's `session` record carries it. Raises `FileWrong` (lines are 0)."""
    raise NotImplementedError
