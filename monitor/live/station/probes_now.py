"""What the probes say now: the newest reading of each, its last good one, and all readings of the last half hour.

Decides which of two readings is newer: one that lies before a reading already taken is dropped. Its quality is judged by
`monitor.core.probes.classify`. Owned by the thread that owns the state. Tests: tests/live/station/test_probes_now.py.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

from monitor.core.probes.classify import Classifier
from monitor.core.probes.learned import NOT_COMPARED_SD_C, Comparison, Learned, WitnessCheck
from monitor.core.probes.readings import Quality, Reading, Role
from monitor.core.probes.register import DATASHEET_STEP_C, TRUNCATED_C, register_step_c
from monitor.live.inbox import Sampled
from monitor.live.station.readers import to_reading
from monitor.live.station.station_file import ProbeConfig

KEPT_S = 1800.0
"""Readings are kept for this long, so that a forecast can be made from the live bath (contract, section 10)."""
STEP_READINGS = 600
"""The step of a register is learned from so many of the newest readings: ten minutes (ours; a few milliseconds of work)."""


@dataclass(frozen=True, slots=True)
class ProbeStatus:
    """One probe at one moment.

    `quality`, `raw_c`, `celsius` and `age_s` are those of its newest reading, None while there is none; `good_age_s` is the
    age of its last good reading, None if it never had one. `compared`: whether a comparison corrects it. `step_c`: the step of its
    register as its own values tell it, None as long as they do not. `comparison_sd_c`: standard uncertainty of that reading as
    `comparison_sd_c` below has it; None while there is no `celsius`.
    """

    name: str
    id: str
    role: Role
    compared: bool
    quality: Quality | None = None
    raw_c: float | None = None
    celsius: float | None = None
    age_s: float | None = None
    good_age_s: float | None = None
    step_c: float | None = None
    comparison_sd_c: float | None = None

    def as_json(self) -> dict[str, Any]:
        """For `status`."""
        return {
            "probe": self.name, "id": self.id, "role": self.role, "compared": self.compared, "raw_c": self.raw_c,
            "celsius": self.celsius, "quality": self.quality, "age_s": self.age_s, "good_age_s": self.good_age_s,
            "step_c": self.step_c, "comparison_sd_c": self.comparison_sd_c,
        }  # fmt: skip


def comparison_of(probe: ProbeConfig, learned: Learned) -> Comparison | None:
    """The comparison of this probe: found by its id, else by its name in the station file."""
    return learned.comparison(probe.id) or learned.comparison(probe.name)


def comparison_sd_c(probe: ProbeConfig, learned: Learned, at_c: float) -> float:
    """Standard uncertainty of what a probe says near `at_c`, C: what its comparison leaves; a witness stands in other water."""
    comparison = comparison_of(probe, learned)
    sd_c = NOT_COMPARED_SD_C if comparison is None else comparison.sd_at(at_c)
    return math.hypot(sd_c, learned.witness_sd_c(probe.id, probe.name)) if probe.role == "witness" else sd_c


def plain(reading: Reading) -> dict[str, Any]:
    """A reading as JSON; `t_s` unchanged."""
    return {
        "t_s": reading.t_s, "probe": reading.probe, "role": reading.role, "raw_c": reading.raw_c,
        "celsius": reading.celsius, "quality": reading.quality,
    }  # fmt: skip


class Told(Sequence[dict[str, Any]]):
    """Readings as JSON, each made when it is asked for: of half an hour there are thousands."""

    def __init__(self, readings: Sequence[Reading]) -> None:
        self._readings = readings

    def __len__(self) -> int:
        return len(self._readings)

    def __getitem__(self, index: Any) -> Any:
        return Told(self._readings[index]) if isinstance(index, slice) else plain(self._readings[index])


class ProbesNow:
    """The probes of one station. Times are seconds of the monotonic clock. `learned`: what has been learned of probes and vessels."""

    def __init__(self, probes: Sequence[ProbeConfig], learned: Learned) -> None:
        self._probes = {probe.name: probe for probe in probes}
        self._classifier = Classifier({probe.name: probe.role for probe in probes})
        self._newest: dict[str, Reading] = {}
        self._good_s: dict[str, float] = {}
        self._kept: deque[Reading] = deque()
        self.learn(learned)

    def learn(self, learned: Learned) -> None:
        """From now on correct readings by what has been learned."""
        self.learned = learned
        self._comparisons = {probe.name: comparison_of(probe, learned) for probe in self._probes.values()}

    def take(self, message: Sampled) -> Reading | None:
        """The reading made from a sample; None where a newer one of this probe was already taken (reads on a bus may overlap)."""
        probe = self._probes[message.probe]
        comparison = self._comparisons[probe.name]
        reading = to_reading(message.sample, probe.name, probe.role, comparison, self._classifier, 0.0, message.arrived_s)
        before = self._newest.get(probe.name)
        if before is not None and reading.t_s < before.t_s:
            return None
        self._newest[probe.name] = reading
        if reading.quality == "good":
            self._good_s[probe.name] = reading.t_s
        self._kept.append(reading)
        while self._kept and self._kept[0].t_s < reading.t_s - KEPT_S:
            self._kept.popleft()
        return reading

    def status(self, now_s: float, *, steps: bool = True) -> tuple[ProbeStatus, ...]:
        """Every probe, in the order of the station file. Without `steps` none is looked for: that takes milliseconds."""
        return tuple(self._status(probe, now_s, steps) for probe in self._probes.values())

    def _status(self, probe: ProbeConfig, now_s: float, steps: bool) -> ProbeStatus:
        compared = self._comparisons[probe.name] is not None
        reading = self._newest.get(probe.name)
        if reading is None:
            return ProbeStatus(probe.name, probe.id, probe.role, compared)
        good_s = self._good_s.get(probe.name)
        sd_c = None if reading.celsius is None else comparison_sd_c(probe, self.learned, reading.celsius)
        return ProbeStatus(
            probe.name, probe.id, probe.role, compared, reading.quality, reading.raw_c, reading.celsius,
            now_s - reading.t_s, None if good_s is None else now_s - good_s, self._step_c(probe.name) if steps else None, sd_c,
        )  # fmt: skip

    @property
    def new_witnesses(self) -> tuple[str, ...]:
        """The witnesses that nobody has checked yet by the developer poured off."""
        return tuple(name for name, check in self._witnesses() if check is None)

    @property
    def wrong_witnesses(self) -> tuple[tuple[str, WitnessCheck], ...]:
        """The witnesses that the developer poured off last showed to be wrong, each with that check."""
        return tuple((name, check) for name, check in self._witnesses() if check is not None and not check.shown)

    def _witnesses(self) -> list[tuple[str, WitnessCheck | None]]:
        return [(p.name, self.learned.witness_check(p.id, p.name)) for p in self._probes.values() if p.role == "witness"]

    @property
    def coarse_steps_c(self) -> dict[str, float]:
        """The steps of those registers that are known by now to be coarse, C."""
        found = {name: self._step_c(name) for name in self._probes}
        return {name: step_c for name, step_c in found.items() if step_c is not None and step_c > DATASHEET_STEP_C + TRUNCATED_C}

    def _step_c(self, name: str) -> float | None:
        """From its newest good values, as the register gave them: a correction with a slope would stretch the steps."""
        good = (r.raw_c for r in reversed(self._kept) if r.probe == name and r.celsius is not None and r.raw_c is not None)
        return register_step_c(list(islice(good, STEP_READINGS)))

    def good(self, now_s: float, fresh_s: float) -> dict[str, float]:
        """Each probe whose newest reading is good and younger than `fresh_s`, C."""
        return {r.probe: r.celsius for r in self._newest.values() if r.celsius is not None and now_s - r.t_s < fresh_s}

    def since(self, mono_s: float) -> list[Reading]:
        """The readings from this moment on, in the order of their arrival."""
        return [reading for reading in self._kept if reading.t_s >= mono_s]
