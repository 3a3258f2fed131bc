"""What the bath and the vessel's learned lag say of the developer's probe over a whole stage.

Live asks the bath every few seconds, of what it has heard by then (`monitor/core/development/crosswatch.py`), and must often leave it
undecided. The same explanations are weighed here once, for all readings of the stage: were the two probes in each other's liquid, did
the developer's drift, was it off? What is likely is taken off the readings, what stays undecided is a doubt about them.
Tests: tests/review/test_beside_bath.py, figures: tests/benchmarks/bench_doubt.py (`--review`, "exchanged", "sensor drifts",
"half in air").
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.crosswatch import (
    APART_C,
    AT_REST_S,
    EXCHANGED_AHEAD,
    HOPELESS_LOG,
    LEAST_OFF_C,
    PAIR_S,
    SETTLED_LAGS,
    Disagreement,
    Pair,
    at_rest,
    disagreement,
)
from monitor.core.development.moment import NOISE_FIRST
from monitor.core.probes.readings import EXCHANGED
from monitor.review.load import Journal, ReadingSeries
from monitor.review.numbers import RecordedProbe

Array = NDArray[np.float64]

FITS = 9.0
"""Mean square in standard deviations that an explanation may leave: what leaves more is none, as of a probe that was lifted out (this
project's own choice)."""

TEMPERED = 0.5
"""Hands and walls pull on many pairs of readings at once, so that logarithms of odds count by half (this project's own choice)."""
MOST_PAIRS = 120
"""Twice as many as live weighs; a long stage has them farther apart."""
ALIKE_S = 40.0
"""For about so long pairs share what no vessel's model has, so that a mean over a stage is less sure than that many pairs make it (the
time between two handlings; this project's own choice)."""
MOVES = 0.7
"""What is likelier than this moves the mean; less is only a doubt (this project's own choice)."""


@dataclass(frozen=True, slots=True)
class BathsWord:
    """Of the readings of `probe`, from `since_s` on (session seconds): `moved_c` is what is taken off them at `until_s`, `doubt_c` the
    standard deviation of what then is left. `drifts`: both grow straight from 0. `exchanged`: it was in the bath, and the bath's probe
    `bath` in the developer."""

    probe: str
    bath: str
    since_s: float
    until_s: float
    moved_c: float
    doubt_c: float
    drifts: bool = False
    exchanged: bool = False

    def off(self, times: Array) -> tuple[Array, Array]:
        """By how much readings of these moments are off the developer, and the standard deviation of that, C."""
        share = np.where(times >= self.since_s, 1.0, 0.0)
        if self.drifts:
            share *= (times - self.since_s) / max(self.until_s - self.since_s, 1.0)
        return self.moved_c * share, self.doubt_c * share


def beside_bath(journal: Journal, facts: Mapping[str, RecordedProbe], begin_s: float, end_s: float) -> BathsWord | None:
    """What there is to say of the developer's probe in the develop stage that lasted from `begin_s` to `end_s`; None if nothing, or where
    no lag of the vessel in its bath was known. Where live has found the two exchanged, that stands."""
    lag = _vessel_lag(journal)
    developer, bath = _only(journal, "developer") or _only(journal, "witness"), _only(journal, "bath")
    if lag is None or developer is None or bath is None or any(r["why"].startswith(EXCHANGED) for r in journal.of("trust")):
        return None
    probe_lag_s = facts[developer.probe].lag_s
    times, values = np.frombuffer(developer.t_s), np.frombuffer(developer.celsius)
    first = (times >= begin_s) & (times <= begin_s + AT_REST_S) & ~np.isnan(values)
    from_s = begin_s - probe_lag_s if at_rest(values[first].tolist()) else begin_s + SETTLED_LAGS * probe_lag_s
    slot_s = max(PAIR_S, (end_s - from_s) / MOST_PAIRS)
    pairs = _pairs(developer, probe_lag_s, bath, facts[bath.probe].lag_s, from_s, end_s, slot_s)
    found = disagreement(pairs, *lag, max(probe_lag_s, 1.0), NOISE_FIRST / slot_s)
    if found is None:
        return None
    apart_c = math.fsum(p.developer_c - p.bath_c for p in pairs) / len(pairs)
    whole = BathsWord(developer.probe, bath.probe, begin_s, end_s, 0.0, 0.0)
    if found.exchanged_ahead > EXCHANGED_AHEAD:
        return replace(whole, exchanged=True)
    swapped = _in_part(whole, found.exchanged_ahead, apart_c, 0.0)
    if found.exchanged_ahead > 0.0 and abs(apart_c) > APART_C:
        return swapped
    words = [swapped, _wrong(whole, found, pairs[0].t_s, probe_lag_s, ALIKE_S / slot_s)]
    return max(words, key=lambda word: math.hypot(word.moved_c, word.doubt_c))


def _wrong(whole: BathsWord, found: Disagreement, first_s: float, probe_lag_s: float, alike: float) -> BathsWord:
    """A probe that drifts, or is off, from some moment on. `alike`: so many pairs count as one."""
    if found.misfit > FITS:
        return whole
    since_s = whole.since_s if found.since_t_s <= first_s else found.since_t_s + probe_lag_s
    stretch = replace(whole, since_s=since_s, drifts=found.cause == "drift")
    return _in_part(stretch, found.ahead, found.off_c, found.off_sd_c * math.sqrt(max(found.misfit, 1.0) * max(alike, 1.0)))


def _in_part(word: BathsWord, ahead: float, off_c: float, off_sd_c: float) -> BathsWord:
    """With odds of exp(`ahead`) the readings are off by so much, and surely known to a standard deviation then: mean and standard deviation
    of the mixture."""
    if ahead < HOPELESS_LOG:
        return word
    share = 1.0 / (1.0 + math.exp(-TEMPERED * min(ahead, 50.0)))
    moves = share > MOVES and abs(off_c) > LEAST_OFF_C
    doubt_c = math.sqrt(share * (1.0 - share) * off_c**2 + share * off_sd_c**2)
    return replace(word, moved_c=share * off_c if moves else 0.0, doubt_c=doubt_c)


def _vessel_lag(journal: Journal) -> tuple[float, float] | None:
    """The lag of the vessel in its bath as the session opened with it, and its standard deviation, s."""
    told = journal.opening.get("vessel")
    if not isinstance(told, Mapping) or told.get("coupled_to") != "bath":
        return None
    lag_s, sd_s = told.get("lag_s"), told.get("lag_sd_s")
    if not isinstance(lag_s, (int, float)) or not isinstance(sd_s, (int, float)) or not lag_s > 0.0:
        return None
    return float(lag_s), float(sd_s)


def _only(journal: Journal, role: str) -> ReadingSeries | None:
    """The probe of this role, where there is one and no more."""
    found = [series for series in journal.readings.values() if series.role == role]
    return found[0] if len(found) == 1 else None


def _pairs(
    developer: ReadingSeries, lag_s: float, bath: ReadingSeries, bath_lag_s: float, from_s: float, to_s: float, slot_s: float
) -> list[Pair]:
    """Means over `slot_s` of what both say of the same moments, each its lag before it says so."""
    count = max(int((to_s - from_s) // slot_s), 0)
    if not count:
        return []
    times, mine, number = _means(developer, lag_s, from_s, count, slot_s)
    _, its, other = _means(bath, bath_lag_s, from_s, count, slot_s)
    both = (number > 0) & (other > 0)
    return [Pair(t, a, b) for t, a, b in zip(times[both].tolist(), mine[both].tolist(), its[both].tolist(), strict=True)]


def _means(series: ReadingSeries, lag_s: float, from_s: float, count: int, slot_s: float) -> tuple[Array, Array, NDArray[np.int64]]:
    """Mean time, mean reading and number of readings of each slot of `slot_s` from `from_s` on."""
    times, values = np.frombuffer(series.t_s) - lag_s, np.frombuffer(series.celsius)
    inside = ~np.isnan(values) & (times >= from_s) & (times < from_s + count * slot_s)
    slots = ((times[inside] - from_s) // slot_s).astype(int)
    number = np.bincount(slots, minlength=count)
    fewest = np.maximum(number, 1)
    means = [np.bincount(slots, weights=of[inside], minlength=count) / fewest for of in (times, values)]
    return means[0], means[1], number
