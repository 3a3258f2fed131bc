"""What the session watches beside the clock: whether the data cover the temperature, the wanted band, the gate before a start.

Decides what is written about them and whether a FAULT is wanted; it moves no time. Pure, part of one session.
Tests: tests/core/session/test_session.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from monitor.core.development.beliefs import Temperature
from monitor.core.development.rate import believed_at
from monitor.core.journal import records
from monitor.core.journal.words import INSIDE_DATA, OUTSIDE_DATA, GateState
from monitor.core.probes.readings import Source
from monitor.core.recipe.data_range import data_matter, known_outside
from monitor.core.recipe.values import Stage

OUTSIDE_BAND_S = 15.0
"""Out of the wanted band for longer than this the person is told once (the project's practice, session c)."""
OUTSIDE_DATA_S = 15.0
"""Outside the recipe's data for longer than this the person is told once (ours, as for the band)."""
EDGE_C = 0.05
"""Back inside the data's range by this much before it is said, so that noise at the edge says nothing."""

GateNow = Literal["none"] | GateState


Write = Callable[[records.Record], int]
"""Writes one record and returns its seq."""


@dataclass(slots=True)
class GateWatch:
    """Whether the next stage may begin. `index` is 0-based; `since_s`: since when the developer has been near enough for the
    stage at `near_index`, which is looked at from the arming on and not only when that stage comes next."""

    state: GateNow = "none"
    index: int = 0
    near_index: int = 0
    since_s: float | None = None

    def arm(self, stage: Stage | None, index: int, t_s: float, override: str | None, write: Write) -> None:
        """The stage at `index` comes next: withhold its begin if it has a gate that is not satisfied yet and the person gave no
        reason against it."""
        self.index = index
        if stage is None or stage.gate is None:
            self.state = "none"
            return
        state: GateState = "overridden"
        if override is None:
            state = "open" if self.satisfied(stage, index, t_s) else "withheld"
        self.state = state
        write(records.GateChanged(t_s=t_s, stage=index + 1, state=state, why=override))

    def closed_for(self, index: int) -> bool:
        """Whether the stage at `index` may not begin yet."""
        return self.state == "withheld" and self.index == index

    def satisfied(self, stage: Stage, index: int, t_s: float) -> bool:
        """Whether the developer has been near enough for the stage at `index`, for as long as its gate wants."""
        assert stage.gate is not None
        return self.near_index == index and self.since_s is not None and t_s - self.since_s >= stage.gate.for_s - 1e-6

    def watch(self, stage: Stage, index: int, temperature: Temperature, t_s: float, write: Write) -> bool:
        """Look at the developer, once a second. True at the moment when the gate opens."""
        gate = stage.gate
        assert gate is not None
        if index != self.near_index:
            self.near_index, self.since_s = index, None
        believed = temperature.source in ("developer", "witness")
        if not believed or abs(temperature.celsius - stage.reference_c) > gate.band_c:
            self.since_s = None
        elif self.since_s is None:
            self.since_s = t_s
        if not self.closed_for(index) or not self.satisfied(stage, index, t_s):
            return False
        self.state = "open"
        write(records.GateChanged(t_s=t_s, stage=index + 1, state="open", celsius=temperature.celsius, sd_c=temperature.sd_c))
        return True


@dataclass(slots=True)
class Band:
    """How long a stage was outside its wanted band, and between what temperatures."""

    below_s: float = 0.0
    above_s: float = 0.0
    lowest_c: float | None = None
    highest_c: float | None = None
    sum_c: float = 0.0
    seconds: float = 0.0
    last_s: float | None = None
    told: bool = False

    @property
    def outside_s(self) -> float:
        """Below and above."""
        return self.below_s + self.above_s

    def add(self, stage: Stage, celsius: float, begin_s: float, t_s: float) -> None:
        """This temperature held from the last call (the first time: from `begin_s`) to `t_s`."""
        assert stage.band_c is not None
        dt_s = t_s - (begin_s if self.last_s is None else self.last_s)
        self.last_s = t_s
        self.seconds += dt_s
        self.sum_c += celsius * dt_s
        self.lowest_c = celsius if self.lowest_c is None else min(self.lowest_c, celsius)
        self.highest_c = celsius if self.highest_c is None else max(self.highest_c, celsius)
        if celsius < stage.reference_c - stage.band_c:
            self.below_s += dt_s
        elif celsius > stage.reference_c + stage.band_c:
            self.above_s += dt_s

    def watch(self, stage: Stage, celsius: float, begin_s: float, t_s: float, write: Write) -> str | None:
        """Once a second. Returns why a FAULT is wanted, once, and never where temperature moves the time instead."""
        assert stage.band_c is not None
        before_s = self.outside_s
        self.add(stage, celsius, begin_s, t_s)
        if before_s == 0.0 and self.outside_s > 0.0:
            write(records.BandLeft(t_s=t_s, stage=stage.number, celsius=celsius, reference_c=stage.reference_c, band_c=stage.band_c))
        if self.outside_s <= OUTSIDE_BAND_S or self.told:
            return None
        self.told = True
        if stage.steer:
            return None
        return f"developer {celsius:.2f} C, wanted {stage.reference_c:g} within {stage.band_c:g} C, outside for {self.outside_s:.0f} s"

    def close(self, stage: Stage, celsius: float, begin_s: float, t_s: float, compared: bool, write: Write) -> None:
        """The stage is over: what it was like."""
        if self.last_s is None:
            return
        self.add(stage, celsius, begin_s, t_s)
        write(
            records.BandSummary(
                t_s=t_s,
                stage=stage.number,
                outside_s=self.outside_s,
                below_s=self.below_s,
                above_s=self.above_s,
                watched_s=self.seconds,
                mean_c=self.sum_c / self.seconds,
                lowest_c=self.lowest_c,
                highest_c=self.highest_c,
                compared=compared,
            )
        )


@dataclass(slots=True)
class DataRange:
    """Whether the law's data cover the developer's temperature. Each change is written; one FAULT a stage is wanted for it.

    `since_s`: since when it is outside, None while it is inside. `told`: FAULT was wanted.
    """

    since_s: float | None = None
    told: bool = False

    def watch(self, stage: Stage, temperature: Temperature, t_s: float, write: Write) -> str | None:
        """Once a second for a develop stage. Returns why a FAULT is wanted, once; where the band is told instead, never."""
        if stage.law is None or temperature.source == "clock":
            return None
        low_c, high_c = stage.law.valid_c
        source, celsius = temperature.source, temperature.celsius
        if self.since_s is None and not believed_at(stage.law, celsius):
            self.since_s = t_s
            self._write(source, outside_data(stage, celsius), t_s, write)
        elif self.since_s is not None and min(celsius - low_c, high_c - celsius) >= EDGE_C:
            self.since_s = None
            self._write(source, INSIDE_DATA, t_s, write)
        if self.since_s is None or t_s - self.since_s <= OUTSIDE_DATA_S or self.told or not data_matter(stage):
            return None
        self.told = True
        return outside_data(stage, celsius)


    @staticmethod
    def _write(source: Source, why: str, t_s: float, write: Write) -> None:
        write(records.TrustChanged(t_s=t_s, probe=source, believed=True, why=why, since_t_s=t_s, source=source))


def outside_data(stage: Stage, celsius: float) -> str:
    """That a stage's law runs outside its data at this temperature, and what is known there."""
    return f"{OUTSIDE_DATA}: {celsius:.1f} C, {known_outside(stage, celsius)}"
