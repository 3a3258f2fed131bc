"""The temperature track of a stage: which readings count, what stands in where none did, and the smoothed curve through them.

Decides which probes speak for a stage, which readings are left out afterwards, and where the live estimate is used; that stretch
stays marked as estimated. Tests: tests/review/test_measures.py, tests/review/test_outside.py.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.filter import QUANTUM_C
from monitor.core.probes.classify import STALE_S
from monitor.core.probes.learned import NOT_COMPARED_SD_C
from monitor.core.probes.readings import ESTIMATED
from monitor.core.recipe.values import Stage
from monitor.review.beside_bath import BathsWord
from monitor.review.elsewhere import Elsewhere, elsewhere, without
from monitor.review.hindsight import lag_and_wetting, of_a_coarse_register, register_step
from monitor.review.layers import Layers, layers
from monitor.review.load import Journal, ProgressSeries, ReadingSeries
from monitor.review.numbers import NO_PROBE, Doubted, NamedSpan, RecordedProbe
from monitor.review.smoother import LIVE, LIVE_NOISE_C, Array, Measurement, Smoothed, noise_sd, smooth
from monitor.review.timeline import Stretch, believed_spans, counted_from_to, within

STOOD_STILL_S = 20.0
"""A code may stand still for so long in calm water; with a jump behind it, it was stuck."""
STALE_LIVE_S = 10.0
"""Live estimates that far apart belong to different stretches."""
BESIDE_S = 60.0
"""So much of the record beside a stage helps to know its edges: several lags of a probe."""
JUMP_C = 0.15
"""A probe that leaves its line by more within half a minute has met another liquid (several times its noise)."""
JUMP_STEPS = 1.5
"""A register moves on by one step at a time."""

Believed = Mapping[str, NDArray[np.bool_]]
"""For each probe which of its readings count."""


@dataclass(slots=True)
class TemperatureTrack:
    """The smoothed temperature of one stage (all sheets) with what it rests on. `doubted`: readings found not to be the liquid's."""

    probe: str
    compared: bool
    smoothed: Smoothed
    systematic_sd_c: Array
    estimated: Array
    doubted: list[Doubted]


def track_of(
    journal: Journal,
    facts: Mapping[str, RecordedProbe],
    believed: Believed,
    stage: Stage | None,
    parts: Sequence[Stretch],
    lifted: bool = False,
    word: BathsWord | None = None,
) -> TemperatureTrack | None:
    """Smooth one stage. Readings from beside it help where the liquid goes on; where it jumps, another liquid must not colour this one.
    `lifted`: what is developed is lifted from bath to bath, and the developer's probe stays in the developer. `word`: what the bath
    says of that probe; where it and the bath's were in each other's liquid they have changed places, and nothing of live's stands in."""
    begin_s, end_s = min(p.begin_s for p in parts), max(p.end_s for p in parts)
    if end_s <= begin_s:
        return None
    role = "unknown" if stage is None else stage.role
    wanted: tuple[str, ...] = ("wash",) if role in ("wash", "wash aid", "rinse") else ()
    if not (lifted and role != "develop"):
        wanted += ("developer", "witness")
    measured: list[Measurement] = []
    lags: list[float] = []
    named: list[tuple[str, float]] = []
    covered: list[tuple[float, float]] = []
    found: list[Doubted] = []
    apart: list[Layers] = []
    for asked in wanted:
        for series in journal.readings.values():
            if series.role != asked:
                continue
            from_s = begin_s - BESIDE_S if _goes_on(series, begin_s) else begin_s
            to_s = end_s + BESIDE_S if _goes_on(series, end_s) else end_s
            counts = believed[series.probe] & ~_inside(np.frombuffer(series.t_s), covered)
            if word is not None and word.probe == series.probe and word.moved_c != 0.0:
                counts |= good_readings(series) & (np.frombuffer(series.t_s) >= word.since_s)
            step_c = register_step(series)
            lag_s, wet_s = lag_and_wetting(series, facts[series.probe], counts, begin_s, step_c)
            taken = _measured(series, counts, max(from_s, wet_s), to_s, len(lags), step_c)
            if taken:
                if word is not None and word.probe == series.probe:
                    taken = _less(taken, word)
                away = elsewhere(taken, lag_s)
                found += [_named(series.probe, one) for one in away if one.left_out]
                taken = without(taken, away)
                apart.append(layers(taken, lag_s, begin_s, end_s) if step_c <= QUANTUM_C else Layers())
                measured += apart[-1].without(taken, lag_s)
                found += _layered(series.probe, apart[-1], end_s)
                lags.append(lag_s)
                named.append((series.probe, facts[series.probe].comparison_sd_c))
                covered += believed_spans(journal, series.probe)
        if asked == "wash" and measured:
            break
    heard = [m.t_s for m in measured]
    live = _live_estimates(journal, parts, (begin_s, end_s), (min(heard, default=math.inf), max(heard, default=-math.inf)))
    if word is not None and measured and (word.exchanged or word.moved_c != 0.0):
        live = [m for m in live if m.t_s < word.since_s]  # the readings speak from there on
        found.append(_told(word))
    measured += live
    measured.sort(key=lambda m: m.t_s)
    nodes = _nodes(stage, parts, [m.t_s for m in measured], begin_s, end_s)
    smoothed = smooth(measured, lags, nodes)
    if smoothed is None:
        return None
    estimated = _estimated_spans(journal, parts)
    marks = np.array([within(estimated, t) for t in smoothed.t_s.tolist()]) if estimated else np.zeros(len(smoothed.t_s), dtype=bool)
    systematic = np.full(len(smoothed.t_s), named[0][1] if named else NOT_COMPARED_SD_C)
    if apart:
        systematic = np.hypot(systematic, apart[0].off(smoothed.t_s)[1])
    if named and word is not None and word.probe == named[0][0]:
        systematic = np.hypot(systematic, word.off(smoothed.t_s)[1])
    if not named:
        systematic = np.zeros(len(smoothed.t_s))  # the live estimate's own standard deviation holds everything
    compared = bool(named) and facts[named[0][0]].compared is not None
    return TemperatureTrack(named[0][0] if named else NO_PROBE, compared, smoothed, systematic, marks.astype(float), found)


def _named(probe: str, one: Elsewhere) -> Doubted:
    side = "above" if one.off_c > 0 else "below"
    return Doubted(f"{probe} up to {abs(one.off_c):.1f} C {side} its line, then back on it", one.from_s, one.to_s, probe, "left out")


def _layered(probe: str, found: Layers, end_s: float) -> list[Doubted]:
    """That it hung in a layer, where that has moved its readings."""
    mixed = len(found.mixed_s) - 1
    if mixed < 1:
        return []
    leap_c = max(map(abs, found.leaps_c))
    broken_up = f"{probe} hung in one of two layers, which {mixed} mixings broke up with leaps of up to {leap_c:.1f} C"
    return [Doubted(f"{broken_up}; the whole between them is counted", found.mixed_s[0], end_s, probe, "corrected")]


def _less(taken: Sequence[Measurement], word: BathsWord) -> list[Measurement]:
    """The readings without what the bath has shown them to be off."""
    off, _ = word.off(np.array([m.t_s for m in taken]))
    return [replace(m, celsius=m.celsius - by) for m, by in zip(taken, off.tolist(), strict=True)]


def _told(word: BathsWord) -> Doubted:
    if word.exchanged:
        what = f"{word.probe} and {word.bath} in each other's liquid, as the whole stage shows; each is taken for the other"
    else:
        side = "above" if word.moved_c > 0.0 else "below"
        off = f"{abs(word.moved_c):.1f} C {side} what bath and vessel's lag say"
        what = f"{word.probe} drifts, by the end it is {off}" if word.drifts else f"{word.probe} {off}"
    return Doubted(what, word.since_s, word.until_s, word.probe, "corrected")


def _goes_on(series: ReadingSeries, at_s: float) -> bool:
    """Whether a probe's readings go straight on through a moment. Not if there are few of them, or if another liquid came."""
    times, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
    low, middle, high = np.searchsorted(times, [at_s - BESIDE_S / 2, at_s, at_s + BESIDE_S / 2])
    before, after = slice(low, middle), slice(middle, high)
    if middle - low < 8 or high - middle < 8 or np.isnan(values[low:high]).any():
        return False
    line = np.polynomial.polynomial.polyfit(times[before] - at_s, values[before], 1)
    off = values[after] - line[0] - line[1] * (times[after] - at_s)
    return bool(abs(np.median(off)) < JUMP_C)


def stuck_spans(series: ReadingSeries) -> list[Doubted]:
    """Where a probe repeated one value and then jumped to where the liquid had gone: seen only afterwards, and left out.

    Hot water makes a jump after a calm stretch too, but there the reading goes on moving through the probe's lag. A coarse register stands
    still and moves on by one step: that is no jump. Across a gap nothing is known of the probe, and the liquid may have gone anywhere: one
    value and a jump count only within `STALE_S`.
    """
    times, raw = np.frombuffer(series.t_s), np.frombuffer(series.raw_c)
    told = ~np.isnan(np.frombuffer(series.celsius)) | (np.array(series.quality, dtype=object) == "stuck")
    told &= ~np.isnan(raw)
    times, raw = times[told], raw[told]
    breaks = np.diff(times) > STALE_S
    least_c = max(JUMP_C, JUMP_STEPS * register_step(series))
    changes = np.flatnonzero((np.diff(raw) != 0.0) | breaks) + 1
    found = []
    for first, after in itertools.pairwise((0, *changes.tolist())):
        jump = raw[after] - raw[after - 1]
        if times[after] - times[first] >= STOOD_STILL_S and abs(jump) >= least_c and not breaks[after - 1]:
            later = int(np.searchsorted(times, times[after] + STOOD_STILL_S / 2))
            if later < len(raw) and abs(raw[later] - raw[after]) < abs(jump) / 2:
                side = "above" if jump > 0.0 else "below"
                words = f"{series.probe} stuck at {raw[first]:g} C, then {abs(jump):.2f} C {side} that at once"
                found.append(Doubted(words, float(times[first]), float(times[after]), series.probe, "left out"))
    return found


def believed_readings(journal: Journal, series: ReadingSeries) -> NDArray[np.bool_]:
    """Which readings of a probe count: good, believed since then, and not found out afterwards."""
    times = np.frombuffer(series.t_s)
    return _inside(times, believed_spans(journal, series.probe)) & good_readings(series)


def good_readings(series: ReadingSeries) -> NDArray[np.bool_]:
    """Which readings of a probe are good and were not found to have been stuck, whoever believed them."""
    stuck = [(s.from_s, s.to_s) for s in stuck_spans(series)]
    return ~np.isnan(np.frombuffer(series.celsius)) & ~_inside(np.frombuffer(series.t_s), stuck)


def _inside(times: Array, spans: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Which times lie in one of the spans (from included, to not)."""
    inside = np.zeros(len(times), dtype=bool)
    for low, high in spans:
        inside |= (times >= low) & (times < high)
    return inside


def _measured(
    series: ReadingSeries, counts: NDArray[np.bool_], from_s: float, to_s: float, channel: int, step_c: float
) -> list[Measurement]:
    times, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
    pick = counts & (times >= from_s) & (times < to_s)
    measured = values[pick]
    if step_c > QUANTUM_C:
        measured, sds = of_a_coarse_register(measured, step_c)
    else:
        sds = np.full(len(measured), noise_sd(measured))
    return [Measurement(t, v, sd, channel) for t, v, sd in zip(times[pick].tolist(), measured.tolist(), sds.tolist(), strict=True)]


def _live_estimates(
    journal: Journal, parts: Sequence[Stretch], within_s: tuple[float, float], heard_s: tuple[float, float]
) -> list[Measurement]:
    """What the live filter believed where no probe was, with the moments at which it went over to another source.

    `heard_s`: first and last believed reading; only between them can readings tell how far the estimate had drifted.
    """
    found: dict[float, tuple[float, float, str]] = {}
    for part in parts:
        said = journal.progress.get((part.stage, part.sheet))
        if said is None:
            continue
        for t, celsius, sd_c, source in zip(said.t_s, said.developer_c, said.developer_sd_c, said.source, strict=True):
            if source in ESTIMATED and within_s[0] <= t <= within_s[1] and not math.isnan(celsius) and not math.isnan(sd_c):
                found.setdefault(t, (celsius, sd_c, source))
    made: list[Measurement] = []
    before, before_s = "", -math.inf
    for t, (celsius, sd_c, source) in sorted(found.items()):
        fresh = source != before or t - before_s > STALE_LIVE_S
        made.append(Measurement(t, celsius, max(sd_c, LIVE_NOISE_C), LIVE, fresh, heard_s[0] < t < heard_s[1]))
        before, before_s = source, t
    return made


def _nodes(stage: Stage | None, parts: Sequence[Stretch], times: Sequence[float], begin_s: float, end_s: float) -> list[float]:
    nodes = [begin_s, end_s]
    for part in parts:
        nodes += [part.begin_s, part.end_s, *counted_from_to(stage, part)]
    edges = [begin_s, *times, end_s]
    for a, b in itertools.pairwise(edges):
        if b - a > 3.0:
            nodes += np.arange(a + 2.0, b, 2.0).tolist()
    return nodes


def source_pieces(said: ProgressSeries, begin_s: float, end_s: float) -> list[NamedSpan]:
    """(source, from, to): a progress record speaks for the time since the one before it, the last one to the end too."""
    pieces: list[NamedSpan] = []
    at_s = begin_s
    for i, (t, source) in enumerate(zip(said.t_s, said.source, strict=True)):
        to_s = end_s if i == len(said.source) - 1 else min(max(t, at_s), end_s)
        if pieces and pieces[-1].what == source:
            pieces[-1] = NamedSpan(source, pieces[-1].from_s, to_s)
        elif to_s > at_s:
            pieces.append(NamedSpan(source, at_s, to_s))
        at_s = max(at_s, to_s)
    return pieces


def _estimated_spans(journal: Journal, parts: Sequence[Stretch]) -> list[tuple[float, float]]:
    spans = []
    for part in parts:
        said = journal.progress.get((part.stage, part.sheet))
        if said is not None:
            spans += [(p.from_s, p.to_s) for p in source_pieces(said, part.begin_s, part.end_s) if p.what in ESTIMATED]
    return sorted(set(spans))
