"""In what steps a probe's register moves, learned from its values: clones of the usual probe often have coarser ones.

Decides only what the values themselves can tell. A sound 12-bit probe steps by 1/16 C (data sheet), one set to 11, 10 or 9 bits
by 1/8, 1/4 or 1/2 C. Some clones step by a tenth or a fifth of a degree, either to the digit or rounded into sixteenths (reports
of users, no source). Pure: no time comes in, only values in the order of reading. Tests: tests/core/probes/test_register.py.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

DATASHEET_STEP_C = 0.0625
"""Step of the register at 12 bits, C (DS18B20 data sheet)."""
BITS_FACTORS = (8, 4, 2, 1)
"""Steps of 9, 10, 11 and 12 bits, in steps of 12 bits (same data sheet)."""
DECIMAL_STEPS_C = (0.2, 0.1)
"""Decimal steps that clones have (reports of users, no source)."""
TRUNCATED_C = 0.0015
"""The kernel tells whole thousandths of a degree, cut off towards zero (w1_therm.rst): a value may lie so far off its step."""
REST = 3
"""A probe is at rest where one value came at least so many times running (ours)."""
REST_ODDS, BACK_ODDS, PAIR_ODDS = 8.0, 2.0, 32.0
"""How strongly a coarse step is spoken for by a move of one such step between two rests; by one back to a value seen before; by
all moves between the same two values, which may be a bad contact. Water does not jump, and noise that reaches the next coarse
value meets those between (ours)."""
ENOUGH_ODDS = 500.0
"""A coarse step is told when the values speak for it so many times more strongly than for any finer one (ours)."""


@dataclass(frozen=True, slots=True)
class _Lattice:
    """Values a constant plus k x `step_c`; each lies within an arc of `width_c`, wider where it was rounded once more."""

    step_c: float
    width_c: float

    def holds(self, values_c: Sequence[float]) -> bool:
        """Whether all values lie on it, wherever it begins."""
        rests = sorted((v - values_c[0]) % self.step_c for v in values_c)
        gaps = [b - a for a, b in itertools.pairwise(rests)]
        return self.step_c - max([*gaps, self.step_c + rests[0] - rests[-1]]) <= self.width_c


def register_step_c(values_c: Sequence[float], datasheet_step_c: float = DATASHEET_STEP_C) -> float | None:
    """The step of a probe's register, C, from its good values in the order of reading; None as long as they cannot tell.

    The answer is 0.5, 0.25, 0.125 or 0.0625 (9 to 12 bits) or 0.2 or 0.1 (clones); `datasheet_step_c` means a sound probe. The
    values may carry any constant offset; a correction with a slope stretches the steps, so pass raw values there. A sound probe
    is known from three or four values. A coarse one is told where the values moved by it to and fro or from rest to rest, over
    three values at least, and never by quick water alone. A later value can make the answer finer or take it back to None, so
    ask again with all of them. Good readings of one probe only. Raises `ValueError` for a value that is no number.
    """
    if not all(math.isfinite(v) for v in values_c):
        raise ValueError("a value that is no number has no step")
    runs = _runs(values_c)
    if not runs:
        return None
    distinct = sorted({value for value, _ in runs})
    exact_c = 2 * TRUNCATED_C
    lattices = [_Lattice(factor * datasheet_step_c, exact_c) for factor in BITS_FACTORS]
    lattices += [_Lattice(step_c, width_c) for step_c in DECIMAL_STEPS_C for width_c in (exact_c, datasheet_step_c - 0.01)]
    fitting = sorted((one for one in lattices if one.holds(distinct)), key=lambda one: (-one.step_c, one.width_c))
    if not fitting:
        return None
    best = fitting[0]
    if best.step_c == datasheet_step_c:
        return datasheet_step_c
    finer_c = [one.step_c for one in fitting if one.step_c < best.step_c - TRUNCATED_C]
    if any(datasheet_step_c < step_c and best.step_c < 2 * step_c - TRUNCATED_C for step_c in finer_c):
        return None  # neither is a part of the other: a value more decides
    if not finer_c:
        return best.step_c if (best.step_c / best.width_c) ** (len(distinct) - 1) >= ENOUGH_ODDS else None
    return best.step_c if _odds(runs, best, finer_c[0]) >= ENOUGH_ODDS else None


def _runs(values_c: Sequence[float]) -> list[tuple[float, int]]:
    """Each value and how many times running it came."""
    runs: list[tuple[float, int]] = []
    for value in (round(v, 4) for v in values_c):
        if runs and runs[-1][0] == value:
            runs[-1] = (value, runs[-1][1] + 1)
        else:
            runs.append((value, 1))
    return runs


def _odds(runs: Sequence[tuple[float, int]], step: _Lattice, finer_c: float) -> float:
    """How much better the values speak for `step` than for `finer_c`; 1 where the probe never rested and never went back."""
    seen, to_and_fro, landed = {runs[0][0]}, dict[tuple[float, float], float](), 1.0
    for (before, held), (after, holds) in itertools.pairwise(runs):
        moved_c = abs(after - before)
        one_step = abs(moved_c - step.step_c) <= step.width_c and moved_c >= 2 * finer_c - 2 * TRUNCATED_C
        if one_step and (after in seen or min(held, holds) >= REST):
            pair = (min(before, after), max(before, after))
            odds = REST_ODDS if min(held, holds) >= REST else BACK_ODDS
            to_and_fro[pair] = min(PAIR_ODDS, to_and_fro.get(pair, 1.0) * odds)
        elif after not in seen:
            landed = min(1e12, landed * step.step_c / finer_c)
        seen.add(after)
    return landed * min(1e12, math.prod(to_and_fro.values())) if to_and_fro else 1.0
