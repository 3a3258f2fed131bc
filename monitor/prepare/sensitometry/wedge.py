"""A step wedge on film: densities typed or read from CSV, the curve between them, base plus fog, speed point and average gradient.

Exposures are logarithms to base 10 (`log_h`), relative unless they are of lux seconds; a stop is log10(2) = 0.301. The curve
is straight between the steps that were read. Definitions: speed point 0.10 above base plus fog; the average gradient is that of the
straight line from there to 1.30 further (ISO 6, in excerpts: there the standard's contrast is a rise of 0.80, and S = 0.8/Hm).
Pure. Tests: tests/prepare/sensitometry/test_wedge.py.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.text.doubt import plus_minus
from monitor.core.text.quantities import format_number, shown

STOP = math.log10(2.0)
SPEED_DENSITY = 0.10
"""Above base plus fog (ISO 6, in excerpts)."""
GRADIENT_SPAN = 1.30
ISO_RISE, ISO_RISE_WITHIN = 0.80, 0.05
"""The rise over 1.30 for which the standard defines its speed (ISO 6, in excerpts)."""
ISO_SPEED_LX_S = 0.8
ZONE_I_STOPS = -4.0
"""Where a metered grey minus four stops should give the speed density: the zone system, common practice, no source."""
DENSITY_SD = 0.02
"""One standard deviation of one reading: a simple densitometer, or a scan against a known wedge (common practice, no source)."""
LEAST_STEPS, MOST_STEPS = 4, 200
AXES = {"log_h": 1.0, "stops": STOP, "wedge": -1.0}
"""The column with the exposure, and what one of it is in log10: itself, stops, or densities of the wedge that held the light back."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step: log10 of its exposure, and its density as read."""

    log_h: float
    density: float


@dataclass(frozen=True, slots=True)
class Number:
    """A value with one standard deviation."""

    value: float
    sd: float

    def words(self, places: int, unit: str = "") -> str:
        """Such as "0.62 +/- 0.03"."""
        return f"{self.value:.{places}f} {plus_minus(self.sd, places, unit)}"


@dataclass(frozen=True, slots=True)
class Curve:
    """The curve of one film. `steps`: least exposure first; `base_fog`: density of film that got no light; `sd`: of one reading."""

    name: str
    steps: tuple[Step, ...]
    base_fog: float
    sd: float = DENSITY_SD

    def density_at(self, log_h: float) -> float | None:
        """Density on the curve, straight between steps; None outside them."""
        for a, b in pairwise(self.steps):
            if a.log_h <= log_h <= b.log_h:
                return a.density + (b.density - a.density) * (log_h - a.log_h) / (b.log_h - a.log_h)
        return None

    def _slope_at(self, log_h: float) -> float:
        for a, b in pairwise(self.steps):
            if a.log_h <= log_h <= b.log_h:
                return (b.density - a.density) / (b.log_h - a.log_h)
        return 0.0

    @property
    def speed_point(self) -> Number | None:
        """log_h where the curve rises for good through 0.10 above base plus fog; None where it never does, or lies above from the start."""
        wanted = self.base_fog + SPEED_DENSITY
        found: float | None = None
        for a, b in pairwise(self.steps):
            if a.density < wanted <= b.density:
                found = a.log_h + (b.log_h - a.log_h) * (wanted - a.density) / (b.density - a.density)
        if found is None:
            return None
        slope = max(self._slope_at(found), 1e-6)
        return Number(found, math.hypot(self.sd, self.sd) / slope)

    @property
    def gradient(self) -> Number | None:
        """Average gradient from the speed point over 1.30; None where the wedge ends before."""
        m = self.speed_point
        if m is None:
            return None
        top = self.density_at(m.value + GRADIENT_SPAN)
        if top is None:
            return None
        steepness = self._slope_at(m.value + GRADIENT_SPAN)
        sd = math.sqrt(2.0 * self.sd**2 + (steepness * m.sd) ** 2) / GRADIENT_SPAN
        return Number((top - self.base_fog - SPEED_DENSITY) / GRADIENT_SPAN, sd)

    def index(self, metered_index: float) -> float | None:
        """The exposure index that puts the speed density four stops under the metered grey; exposures in stops from the metered one."""
        m = self.speed_point
        return None if m is None else metered_index * 2.0 ** (ZONE_I_STOPS - m.value / STOP)

    @property
    def iso_speed(self) -> float | None:
        """0.8/Hm where the exposures are log10 of lux seconds; the standard's only where the rise over 1.30 is the standard's."""
        m = self.speed_point
        return None if m is None else ISO_SPEED_LX_S / 10.0**m.value

    @property
    def standard_contrast(self) -> bool:
        """Whether the rise over 1.30 is the standard's, 0.80 within 0.05."""
        gradient = self.gradient
        return gradient is not None and abs(gradient.value * GRADIENT_SPAN - ISO_RISE) <= ISO_RISE_WITHIN

    @property
    def falls(self) -> tuple[Step, ...]:
        """Steps that are thinner than the one before by more than reading explains: read twice, or a step left out."""
        return tuple(b for a, b in pairwise(self.steps) if b.density < a.density - 4.0 * self.sd)


def curve(name: str, steps: Sequence[Step], base_fog: float | None, sd: float = DENSITY_SD) -> Curve:
    """A curve from its steps in any order; without a reading of unexposed film the thinnest step stands in. Raises `InputWrong`."""
    if not LEAST_STEPS <= len(steps) <= MOST_STEPS:
        raise InputWrong(f"{name}: {len(steps)} steps; allowed: {LEAST_STEPS} to {MOST_STEPS}")
    ordered = sorted(steps, key=lambda step: step.log_h)
    if any(b.log_h - a.log_h < 1e-6 for a, b in pairwise(ordered)):
        raise InputWrong(f"{name}: two steps have the same exposure; allowed: each exposure once")
    return Curve(name, tuple(ordered), min(s.density for s in ordered) if base_fog is None else base_fog, sd)


def typed(name: str, densities: str, increment: float, base_fog: float | None, sd: float = DENSITY_SD) -> Curve:
    """Densities typed in a row, least exposure first, their exposures `increment` apart in log10. Raises `InputWrong`."""
    if not 0.01 <= increment <= 1.0:
        raise InputWrong(f"steps {increment:g} apart; allowed: 0.01 to 1 in log10 (a stop is 0.30, half a stop 0.15)")
    read = [_density(word, name) for word in densities.replace(",", " ").split()]
    return curve(name, [Step(i * increment, d) for i, d in enumerate(read)], base_fog, sd)


def _density(text: str, where: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not -0.1 <= value <= 6.0:
        raise InputWrong(f"{where}: {shown(text)} is not a density; allowed: a number from 0 to 6")
    return value


def read_csv(text: str, file: str, base_fog: float | None = None, sd: float = DENSITY_SD) -> Curve:
    """A wedge from CSV: `density` and one of log_h, stops, wedge; a row without exposure is unexposed film. Raises `FileWrong`."""
    rows = list(csv.reader(io.StringIO(text)))
    head = [cell.strip() for cell in rows[0]] if rows else []
    axes = [name for name in AXES if name in head]
    if "density" not in head or len(axes) != 1:
        what = f"columns {', '.join(head) or 'none'}"
        raise FileWrong([Problem(file, 1, what, f"allowed: density and one of {', '.join(AXES)}")])
    axis, problems, steps = axes[0], [], []
    for line, row in enumerate(rows[1:], 2):
        if not any(cell.strip() for cell in row):
            continue
        cells = {name: cell.strip() for name, cell in zip(head, row, strict=False)}
        try:
            density = _density(cells.get("density", ""), "density")
        except InputWrong as wrong:
            what, _, allowed = wrong.lines[0].partition("; ")
            problems.append(Problem(file, line, what, allowed))
            continue
        exposure = cells.get(axis, "")
        if not exposure:
            base_fog = density if base_fog is None else base_fog
            continue
        try:
            value = float(exposure)
        except ValueError:
            value = math.nan
        if not abs(value) <= 40.0:
            what = f"{axis}: {shown(exposure)} is not an exposure"
            problems.append(Problem(file, line, what, "allowed: a number, or empty for film without light"))
            continue
        steps.append(Step(value * AXES[axis], density))
    if problems:
        raise FileWrong(problems)
    try:
        return curve(file, steps, base_fog, sd)
    except InputWrong as wrong:
        what, _, allowed = wrong.lines[0].removeprefix(f"{file}: ").partition("; ")
        raise FileWrong([Problem(file, 1, what, allowed)]) from None


def curve_lines(found: Curve, metered_index: float | None = None, lux_seconds: bool = False) -> Iterator[str]:
    """The curve in words."""
    yield f"{len(found.steps)} steps; base plus fog {format_number(found.base_fog, 2)}"
    m, gradient = found.speed_point, found.gradient
    if m is None:
        yield (
            f"no speed point: no step lies below {found.base_fog + SPEED_DENSITY:.2f} with a denser one above it. "
            "Give the wedge less light, or one step none at all."
        )
        return
    yield f"speed point, 0.10 above that: log H {m.words(2)}, {format_number(m.value / STOP, 1)} stops on this wedge's scale"
    if gradient is None:
        yield f"no average gradient: the wedge ends less than {GRADIENT_SPAN:.2f} above the speed point. Give it more light."
    else:
        yield f"average gradient from there over {GRADIENT_SPAN:.2f}: {gradient.words(2)}"
    if metered_index is not None:
        index = found.index(metered_index)
        assert index is not None
        stops = math.log2(index / metered_index)
        yield (
            f"exposed at index {format_number(metered_index, 0)}: the shadows ask for {format_number(index, 0)}, "
            f"{abs(stops):.1f} stops {'less' if stops > 0 else 'more'} light (zone I four stops under the metered grey: common practice)"
        )
    if lux_seconds:
        speed = found.iso_speed
        assert speed is not None
        how = "" if found.standard_contrast else "; not the standard's speed, since its contrast is a rise of 0.80 over 1.30"
        yield f"0.8/Hm: {format_number(speed, 0)}{how}"
    for step in found.falls:
        yield f"look again at the step at log H {step.log_h:.2f}: {step.density:.2f} is thinner than the one before it"
