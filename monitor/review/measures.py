"""The numbers of a session, recomputed from its raw records: planned against actual, development done, temperature, trust.

Decides what each number means (the docstrings of `StageMeasures` and `SessionMeasures` are the definition); shows nothing.
"Now known" comes from the readings by the review's own smoother, "live said" from the progress records; both stand side by
side. Where no probe was believed the live estimate is used and the stretch stays marked as estimated.
Tests: tests/review/test_measures.py, tests/review/test_outside.py.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from monitor.core.development.rate import RateLaw, rate
from monitor.core.probes.learned import DEFAULT_LAG_S, NOT_COMPARED_SD_C
from monitor.core.recipe.values import Recipe, Stage
from monitor.review.load import Journal, Progress, Series
from monitor.review.smoother import LIVE, LIVE_NOISE_C, Array, Measured, Smoothed, noise_sd, smooth
from monitor.review.timeline import Stretch, believed_spans, stretches, within

ESTIMATED = ("vessel model", "held", "clock")
STUCK_S = 20.0
"""A code may stand still for so long in calm water; with a jump behind it, it was stuck."""
STALE_LIVE_S = 10.0
"""Live estimates that far apart belong to different stretches."""
NO_PROBE = "none"
"""Stands for a probe's name where only the live estimate is known."""
GAP_S = 5.0
"""No good reading for longer than this is a gap (the project's practice text: stale after 5 s)."""


BESIDE_S = 60.0
"""So much of the record beside a stage helps to know its edges: several lags of a probe."""
JUMP_C = 0.15
"""A probe that leaves its line by more within half a minute has met another liquid (several times its noise)."""


Believed = Mapping[str, NDArray[np.bool_]]
"""For each probe which of its readings count."""


@dataclass(frozen=True, slots=True)
class ProbeFacts:
    """What the session believed of a probe. `compared` is the comparison as recorded, None if there was none."""

    probe: str
    role: str
    lag_s: float
    comparison_sd_c: float
    compared: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of time that deserves a word. Session seconds."""

    what: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class StageMeasures:
    """One stage of one sheet.

    `planned_s`: time x factor; 0 for a stage without a time, which has no planned end.
    `actual_s`: begin to the next begin. `planned_end_s`, `actual_end_s`: session time.
    `overrun_s`: actual minus planned end (negative: early), None where no end was planned. `ended_by`: what told the actual end.
    `done_ref_s`: integral of the rate over the stage to its ACTUAL end, now known; in a stage without a rate temperature does
    not count and it is plain seconds (`rate_law` None). Counted "full to empty": from begin + fill to the actual end less the
    drain. `done_sd_ref_s`: standard deviation (noise, comparison, estimate, rate law together). `done_percent`: of `target_ref_s`.
    `live_...`: what the live filter said for the same moment, None without progress records.
    `mean_c`: time-weighted mean of the smoothed temperature, `mean_kinetic_c`: the steady temperature that would have done as much
    by the stage's own law, `min_c`/`max_c` with the session time where they lay, `drift_c_per_min`: least squares; all None if
    nothing was read. `mean_sd_c`: standard deviation of the mean, comparison included. `measured_by`: the probe,
    `probe_compared`: whether it was ever compared with a thermometer that is trusted.
    `estimated_s`: seconds whose progress came from vessel model, held or clock (a stage without progress has none);
    `unmeasured_s`: seconds without a believed reading. `below_band_s`, `above_band_s`: None without a band,
    and where all of the stage went by the clock and no probe was believed: then its temperature is only assumed.
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
    estimated_spans: tuple[Span, ...]


@dataclass(slots=True)
class SessionMeasures:
    """One session. `max_cue_lateness_s`: None where no cue carries one (a rehearsal). `problems`: of the file, as told.

    `waived`, `gate_overridden`: the reasons that the person gave, None where nothing was waived or overridden.
    `doubted`: readings that were believed then and turn out afterwards to have been wrong; they are left out.
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
    stages: list[StageMeasures]
    max_cue_lateness_s: float | None
    cues: dict[str, int]
    faults: int
    probes: list[ProbeFacts]
    trust: list[dict[str, Any]]
    gaps: list[Span]
    doubted: list[Span]
    resumes: list[dict[str, Any]]
    solutions: list[dict[str, Any]]
    waived: str | None = None
    gate_overridden: str | None = None
    notes: list[str] = field(default_factory=list)
    torn: str | None = None
    problems: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Track:
    """The smoothed temperature of one stage (all sheets) with what it rests on."""

    probe: str
    compared: bool
    smoothed: Smoothed
    systematic_sd_c: Array
    estimated: Array


@dataclass(slots=True)
class Review:
    """What `measure` returns beside the numbers, for figures and for the CSV."""

    numbers: SessionMeasures
    tracks: dict[int, Track]
    stretches: list[Stretch]
    recipe: Recipe | None


def probe_facts(journal: Journal) -> dict[str, ProbeFacts]:
    """Lag and comparison of each probe as the opening of the session recorded them; the project's defaults where it did not."""
    told: dict[str, Mapping[str, Any]] = {}
    recorded = journal.opening.get("probes")
    if isinstance(recorded, Mapping):
        told = {str(name): value for name, value in recorded.items() if isinstance(value, Mapping)}
    elif isinstance(recorded, list):
        told = {str(p.get("probe", p.get("name", ""))): p for p in recorded if isinstance(p, Mapping)}
    facts = {}
    for name in dict.fromkeys((*told, *journal.readings)):
        said = told.get(name, {})
        role = journal.readings[name].role if name in journal.readings else str(said.get("role", "unknown"))
        compared = said.get("compared", said.get("comparison"))
        facts[name] = ProbeFacts(
            name,
            role,
            float(said["lag_s"])
            if isinstance(said.get("lag_s"), (int, float))
            else (DEFAULT_LAG_S if role in ("developer", "witness") else 0.0),
            float(said["comparison_sd_c"]) if isinstance(said.get("comparison_sd_c"), (int, float)) else NOT_COMPARED_SD_C,
            compared if isinstance(compared, Mapping) else {} if compared is True else None,
        )
    return facts


def measure(journal: Journal, only_counted: bool = False) -> Review:
    """All numbers of one session. `only_counted`: leave out the temperatures of stages that have no rate (comparing many)."""
    facts = probe_facts(journal)
    parts = stretches(journal)
    believed = {series.probe: believed_readings(journal, series) for series in journal.readings.values()}
    recipe = journal.recipe
    tracks: dict[int, Track] = {}
    made: list[StageMeasures] = []
    for number in sorted({p.stage for p in parts}):
        own = [p for p in parts if p.stage == number]
        stage = recipe.stages[number - 1] if recipe is not None and number <= len(recipe.stages) else None
        track = None
        if not only_counted or stage is None or stage.law is not None or stage.role == "develop":
            track = _track(journal, facts, believed, stage, own)
        if track is not None:
            tracks[number] = track
        made += [_stage(journal, believed, recipe, stage, part, track) for part in own]
    return Review(_session(journal, facts, made), tracks, parts, recipe)


# --- temperature -----------------------------------------------------------------------------------------------------


def _track(
    journal: Journal, facts: Mapping[str, ProbeFacts], believed: Believed, stage: Stage | None, parts: Sequence[Stretch]
) -> Track | None:
    """Smooth one stage. Readings from beside it help where the liquid goes on; where it jumps, another liquid must not colour this one."""
    begin_s, end_s = min(p.begin_s for p in parts), max(p.end_s for p in parts)
    if end_s <= begin_s:
        return None
    wanted = (
        ("wash", "developer", "witness") if stage is not None and stage.role in ("wash", "wash aid", "rinse") else ("developer", "witness")
    )
    measured: list[Measured] = []
    lags: list[float] = []
    named: list[tuple[str, float]] = []
    covered: list[tuple[float, float]] = []
    for role in wanted:
        for series in journal.readings.values():
            if series.role != role:
                continue
            from_s = begin_s - BESIDE_S if _goes_on(series, begin_s) else begin_s
            to_s = end_s + BESIDE_S if _goes_on(series, end_s) else end_s
            taken = _measured(series, believed[series.probe] & ~_inside(np.frombuffer(series.t_s), covered), from_s, to_s, len(lags))
            if taken:
                measured += taken
                lags.append(facts[series.probe].lag_s)
                named.append((series.probe, facts[series.probe].comparison_sd_c))
                covered += believed_spans(journal, series.probe)
        if role == "wash" and measured:
            break
    heard = [m.t_s for m in measured]
    live = _live_estimates(journal, parts, (begin_s, end_s), (min(heard, default=math.inf), max(heard, default=-math.inf)))
    measured += live
    measured.sort(key=lambda m: m.t_s)
    nodes = _nodes(stage, parts, [m.t_s for m in measured], begin_s, end_s)
    smoothed = smooth(measured, lags, nodes)
    if smoothed is None:
        return None
    estimated = _estimated_spans(journal, parts)
    marks = np.array([within(estimated, t) for t in smoothed.t_s.tolist()]) if estimated else np.zeros(len(smoothed.t_s), dtype=bool)
    systematic = np.full(len(smoothed.t_s), named[0][1] if named else NOT_COMPARED_SD_C)
    if not named:
        systematic = np.zeros(len(smoothed.t_s))  # the live estimate's own standard deviation holds everything
    compared = bool(named) and facts[named[0][0]].compared is not None
    return Track(named[0][0] if named else NO_PROBE, compared, smoothed, systematic, marks.astype(float))


def _goes_on(series: Series, at_s: float) -> bool:
    """Whether a probe's readings go straight on through a moment. Not if there are few of them, or if another liquid came."""
    times, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
    low, middle, high = np.searchsorted(times, [at_s - BESIDE_S / 2, at_s, at_s + BESIDE_S / 2])
    before, after = slice(low, middle), slice(middle, high)
    if middle - low < 8 or high - middle < 8 or np.isnan(values[low:high]).any():
        return False
    line = np.polynomial.polynomial.polyfit(times[before] - at_s, values[before], 1)
    off = values[after] - line[0] - line[1] * (times[after] - at_s)
    return bool(abs(np.median(off)) < JUMP_C)


def stuck_spans(series: Series) -> list[Span]:
    """Where a probe repeated one value and then jumped to where the liquid had gone: seen only afterwards, and left out.

    Hot water makes a jump after a calm stretch too, but there the reading goes on moving through the probe's lag. Across a gap
    nothing is known of the probe, and the liquid may have gone anywhere: one value and a jump count only within `GAP_S`.
    """
    times, raw = np.frombuffer(series.t_s), np.frombuffer(series.raw_c)
    told = ~np.isnan(np.frombuffer(series.celsius)) | (np.array(series.quality, dtype=object) == "stuck")
    told &= ~np.isnan(raw)
    times, raw = times[told], raw[told]
    breaks = np.diff(times) > GAP_S
    changes = np.flatnonzero((np.diff(raw) != 0.0) | breaks) + 1
    found = []
    for first, after in itertools.pairwise((0, *changes.tolist())):
        jump = raw[after] - raw[after - 1]
        if times[after] - times[first] >= STUCK_S and abs(jump) >= JUMP_C and not breaks[after - 1]:
            later = int(np.searchsorted(times, times[after] + STUCK_S / 2))
            if later < len(raw) and abs(raw[later] - raw[after]) < abs(jump) / 2:
                words = f"{series.probe}: stuck at {raw[first]:g} C, then {jump:+.2f} C at once"
                found.append(Span(words, float(times[first]), float(times[after])))
    return found


def believed_readings(journal: Journal, series: Series) -> NDArray[np.bool_]:
    """Which readings of a probe count: good, believed since then, and not found out afterwards."""
    times = np.frombuffer(series.t_s)
    counts = _inside(times, believed_spans(journal, series.probe))
    stuck = [(s.from_s, s.to_s) for s in stuck_spans(series)]
    return counts & ~np.isnan(np.frombuffer(series.celsius)) & ~_inside(times, stuck)


def _inside(times: Array, spans: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Which times lie in one of the spans (from included, to not)."""
    inside = np.zeros(len(times), dtype=bool)
    for low, high in spans:
        inside |= (times >= low) & (times < high)
    return inside


def _measured(series: Series, counts: NDArray[np.bool_], from_s: float, to_s: float, channel: int) -> list[Measured]:
    times, values = np.frombuffer(series.t_s), np.frombuffer(series.celsius)
    pick = counts & (times >= from_s) & (times < to_s)
    sd_c = noise_sd(values[pick])
    return [Measured(t, v, sd_c, channel) for t, v in zip(times[pick].tolist(), values[pick].tolist(), strict=True)]


def _live_estimates(
    journal: Journal, parts: Sequence[Stretch], within_s: tuple[float, float], heard_s: tuple[float, float]
) -> list[Measured]:
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
    made: list[Measured] = []
    before, before_s = "", -math.inf
    for t, (celsius, sd_c, source) in sorted(found.items()):
        fresh = source != before or t - before_s > STALE_LIVE_S
        made.append(Measured(t, celsius, max(sd_c, LIVE_NOISE_C), LIVE, fresh, heard_s[0] < t < heard_s[1]))
        before, before_s = source, t
    return made


def counted_from_to(stage: Stage | None, part: Stretch) -> tuple[float, float]:
    """The stretch of time whose development counts, by the person's way of counting."""
    if stage is None or stage.counted == "pour to pour":
        return part.begin_s, part.end_s
    drain_s = part.planned_end_s - part.now_s if part.planned_end_s is not None and part.now_s is not None else stage.drain_s
    begin_s = min(part.begin_s + stage.fill_s, part.end_s)
    return begin_s, max(begin_s, part.end_s - drain_s)


def _nodes(stage: Stage | None, parts: Sequence[Stretch], times: Sequence[float], begin_s: float, end_s: float) -> list[float]:
    nodes = [begin_s, end_s]
    for part in parts:
        nodes += [part.begin_s, part.end_s, *counted_from_to(stage, part)]
    edges = [begin_s, *times, end_s]
    for a, b in itertools.pairwise(edges):
        if b - a > 3.0:
            nodes += np.arange(a + 2.0, b, 2.0).tolist()
    return nodes


def _pieces(said: Progress, begin_s: float, end_s: float) -> list[Span]:
    """(source, from, to): a progress record speaks for the time since the one before it, the last one to the end too."""
    pieces: list[Span] = []
    at_s = begin_s
    for i, (t, source) in enumerate(zip(said.t_s, said.source, strict=True)):
        to_s = end_s if i == len(said.source) - 1 else min(max(t, at_s), end_s)
        if pieces and pieces[-1].what == source:
            pieces[-1] = Span(source, pieces[-1].from_s, to_s)
        elif to_s > at_s:
            pieces.append(Span(source, at_s, to_s))
        at_s = max(at_s, to_s)
    return pieces


def _estimated_spans(journal: Journal, parts: Sequence[Stretch]) -> list[tuple[float, float]]:
    spans = []
    for part in parts:
        said = journal.progress.get((part.stage, part.sheet))
        if said is not None:
            spans += [(p.from_s, p.to_s) for p in _pieces(said, part.begin_s, part.end_s) if p.what in ESTIMATED]
    return sorted(set(spans))


# --- one stage -------------------------------------------------------------------------------------------------------


def weights(times: Array, from_s: float, to_s: float) -> Array:
    """Trapezoid weights (seconds) of the nodes for an integral over [from, to]; both ends are nodes."""
    inside = (times >= from_s - 1e-5) & (times <= to_s + 1e-5)
    made = np.zeros(len(times))
    where = np.flatnonzero(inside)
    if len(where) > 1:
        steps = np.diff(times[where])
        made[where[:-1]] += steps / 2.0
        made[where[1:]] += steps / 2.0
    return made


def mean_kinetic_temperature(law: RateLaw, mean_rate: float) -> float:
    """The steady temperature in C at which a law's rate is `mean_rate` (above 0); the reference for a law that is flat.

    For Arrhenius' law this is the mean kinetic temperature of USP <1079.2>. Halving, since every law rises with temperature.
    """
    low, high = 0.0, 60.0
    if rate(law, high) <= rate(law, low):
        return law.reference_c
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if rate(law, middle) < mean_rate else (low, middle)
    return 0.5 * (low + high)


def integral(law: RateLaw, celsius: Array, seconds: Array) -> tuple[float, Array, float]:
    """(sum of rate times seconds, its change per C at each node, its change for one standard deviation of the law)."""
    rates = np.array([rate(law, c) for c in celsius.tolist()])
    slopes = np.array([law.log_rate_slope(c) for c in celsius.tolist()])
    of_law = np.array([law.log_rate_sd_slope(c) for c in celsius.tolist()])
    return float(seconds @ rates), seconds * rates * slopes, float(seconds @ (rates * of_law))


def seconds_below(times: Array, celsius: Array, level_c: float) -> float:
    """Time for which the broken line through the nodes lies below a level."""
    low, high = np.minimum(celsius[:-1], celsius[1:]), np.maximum(celsius[:-1], celsius[1:])
    spread = high - low
    share = np.where(spread > 0, (level_c - low) / np.where(spread > 0, spread, 1.0), np.where(level_c > low, 1.0, 0.0))
    return float(np.diff(times) @ np.clip(share, 0.0, 1.0))


@dataclass(frozen=True, slots=True)
class _Temperatures:
    """Named as in `StageMeasures`."""

    mean_c: float
    mean_sd_c: float
    min_c: float
    min_sd_c: float
    min_at_s: float
    max_c: float
    max_sd_c: float
    max_at_s: float
    drift_c_per_min: float
    below_band_s: float | None
    above_band_s: float | None
    outside_data_s: float | None


def _temperatures(stage: Stage | None, part: Stretch, track: Track) -> _Temperatures | None:
    smoothed = track.smoothed
    seconds = weights(smoothed.t_s, part.begin_s, part.end_s)
    total = float(seconds.sum())
    if total <= 0:
        return None
    inside = seconds > 0
    times, celsius, shares = smoothed.t_s[inside], smoothed.celsius[inside], seconds[inside] / total
    mean_c = float(shares @ celsius)
    random_sd, systematic = smoothed.sd_of_sum(seconds / total), float(shares @ track.systematic_sd_c[inside])
    middle = float(shares @ times)
    spread = float(shares @ (times - middle) ** 2)
    drift = float(shares @ ((times - middle) * celsius)) / spread * 60.0 if spread > 0 else 0.0
    lowest, highest = int(celsius.argmin()), int(celsius.argmax())
    below = above = outside = None
    if stage is not None and stage.band_c is not None:
        below = seconds_below(times, celsius, stage.reference_c - stage.band_c)
        above = total - seconds_below(times, celsius, stage.reference_c + stage.band_c)
    if stage is not None and stage.law is not None:
        low, high = stage.law.valid_c
        outside = seconds_below(times, celsius, low) + total - seconds_below(times, celsius, high + 1e-9)
    sds = np.hypot(smoothed.sd_c, track.systematic_sd_c)[inside]
    return _Temperatures(
        mean_c=mean_c,
        mean_sd_c=math.hypot(random_sd, systematic),
        min_c=float(celsius[lowest]),
        min_sd_c=float(sds[lowest]),
        min_at_s=float(times[lowest]),
        max_c=float(celsius[highest]),
        max_sd_c=float(sds[highest]),
        max_at_s=float(times[highest]),
        drift_c_per_min=drift,
        below_band_s=below,
        above_band_s=above,
        outside_data_s=outside,
    )


def _done(stage: Stage, part: Stretch, track: Track) -> tuple[float, float, float] | None:
    """(done, its standard deviation, mean rate), by the stage's own law."""
    if stage.law is None:
        return None
    from_s, to_s = counted_from_to(stage, part)
    seconds = weights(track.smoothed.t_s, from_s, to_s)
    if not seconds.any():
        return None
    done, per_c, of_law = integral(stage.law, track.smoothed.celsius, seconds)
    random_sd = track.smoothed.sd_of_sum(per_c)
    systematic = float(per_c @ track.systematic_sd_c)
    return done, math.sqrt(random_sd**2 + systematic**2 + of_law**2), done / float(seconds.sum())


def _live_done(said: Progress | None, end_s: float) -> tuple[float | None, float | None]:
    """What the live filter would have said at the actual end: between its records, or straight on from its last two."""
    if said is None or not len(said.t_s):
        return None, None
    times, done = np.frombuffer(said.t_s), np.frombuffer(said.done_ref_s)
    sds = np.frombuffer(said.done_sd_ref_s)
    sd = float(sds[-1]) if not math.isnan(sds[-1]) else None
    if end_s <= times[-1] or len(times) < 2 or times[-1] <= times[-2]:
        return float(np.interp(end_s, times, done)), sd
    speed = (done[-1] - done[-2]) / (times[-1] - times[-2])
    return float(done[-1] + speed * (end_s - times[-1])), sd


def _planned(recipe: Recipe | None, stage: Stage | None, sheet: int | None) -> float | None:
    if stage is None:
        return None
    share = 1.0
    if recipe is not None and recipe.sheets is not None and sheet is not None and stage.role == "develop":
        share = recipe.sheets.factors[sheet - 1] if sheet <= len(recipe.sheets.factors) else 1.0
    return stage.time_s * stage.factor * share


def _unmeasured(journal: Journal, believed: Believed, part: Stretch) -> float:
    """Seconds of a stage farther than `GAP_S` from the last believed reading of a developer or witness probe."""
    heard = [np.frombuffer(r.t_s)[believed[r.probe]] for r in journal.readings.values() if r.role in ("developer", "witness")]
    times = np.sort(np.concatenate(heard)) if heard else np.empty(0)
    times = times[(times >= part.begin_s - GAP_S) & (times <= part.end_s)]
    known_until = np.concatenate(([part.begin_s], np.maximum(times + GAP_S, part.begin_s)))
    silent = np.concatenate((times, [part.end_s])) - known_until
    return float(min(silent[silent > 0].sum(), part.actual_s))


def _stage(
    journal: Journal, believed: Believed, recipe: Recipe | None, stage: Stage | None, part: Stretch, track: Track | None
) -> StageMeasures:
    said = journal.progress.get((part.stage, part.sheet))
    planned_s = _planned(recipe, stage, part.sheet)
    law = stage.law if stage is not None else None
    done = _done(stage, part, track) if stage is not None and track is not None else None
    done_ref_s, done_sd, mean_rate = done if done is not None else (None, None, None)
    from_s, to_s = counted_from_to(stage, part)
    if stage is not None and law is None:
        done_ref_s, done_sd = to_s - from_s, 0.0
    live, live_sd = _live_done(said, to_s)
    heat = _temperatures(stage, part, track) if track is not None else None
    pieces = [p for p in _pieces(said, part.begin_s, part.end_s) if p.what in ESTIMATED] if said is not None else []
    if heat is not None and track is not None and track.probe == NO_PROBE and all(p.what == "clock" for p in pieces):
        heat = replace(heat, below_band_s=None, above_band_s=None)
    target = said.target_ref_s if stage is None and said is not None else planned_s

    def share(value: float | None) -> float | None:
        return None if value is None or not target else 100.0 * value / target

    return StageMeasures(
        stage=part.stage,
        name=part.name,
        role=stage.role if stage is not None else "unknown",
        sheet=part.sheet,
        begin_s=part.begin_s,
        begin_assumed=part.begin_assumed,
        planned_s=planned_s,
        actual_s=part.actual_s,
        planned_end_s=part.planned_end_s,
        actual_end_s=part.end_s,
        ended_by=part.ended_by,
        overrun_s=part.late_s,
        steered=stage is not None and stage.steer,
        rate_law=None if law is None else type(law).__name__.lower(),
        reference_c=None if stage is None else stage.reference_c,
        counted="pour to pour" if stage is None else stage.counted,
        target_ref_s=target,
        done_ref_s=done_ref_s,
        done_sd_ref_s=done_sd,
        done_percent=share(done_ref_s),
        done_sd_percent=share(done_sd),
        live_done_ref_s=live,
        live_done_sd_ref_s=live_sd,
        live_done_percent=share(live),
        measured_by=track.probe if track is not None else None,
        probe_compared=None if track is None or track.probe == NO_PROBE else track.compared,
        mean_kinetic_c=mean_kinetic_temperature(law, mean_rate) if law is not None and mean_rate is not None else None,
        band_c=stage.band_c if stage is not None else None,
        estimated_s=sum((p.to_s - p.from_s for p in pieces), 0.0),
        unmeasured_s=_unmeasured(journal, believed, part),
        estimated_spans=tuple(pieces),
        **(asdict(heat) if heat is not None else dict.fromkeys(_Temperatures.__dataclass_fields__)),
    )


# --- the session -----------------------------------------------------------------------------------------------------


def gaps(journal: Journal) -> list[Span]:
    """Stretches longer than `GAP_S` without a good reading, of every probe, with the worst quality met in them."""
    found = []
    for series in journal.readings.values():
        since: float | None = None
        why = "no record"
        for t, quality in zip(series.t_s, series.quality, strict=True):
            if quality == "good":
                if since is not None and t - since > GAP_S:
                    found.append(Span(f"{series.probe}: {why}", since, t))
                since, why = t, "no record"
            else:
                since, why = (t if since is None else since), quality
        if since is not None and why != "no record" and series.t_s[-1] - since > GAP_S:
            found.append(Span(f"{series.probe}: {why}", since, series.t_s[-1]))
    return found


def _session(journal: Journal, facts: Mapping[str, ProbeFacts], stages: list[StageMeasures]) -> SessionMeasures:
    recipe, close, opening = journal.recipe, journal.close, journal.opening
    late = [r["lateness_s"] for r in journal.of("cue") if isinstance(r.get("lateness_s"), (int, float))]
    counts: dict[str, int] = {}
    for record in journal.of("cue"):
        counts[record["cue"]] = counts.get(record["cue"], 0) + 1
    solutions = opening.get("solutions")
    return SessionMeasures(
        file=journal.file, session=journal.session, mode=journal.mode, recipe=recipe.name if recipe else None,
        film=recipe.film if recipe else None, vessel=recipe.vessel if recipe else None, contents=recipe.what if recipe else None,
        area_units=recipe.area_units if recipe else None, program_version=opening.get("version"), opened_wall=journal.first_wall,
        zone=opening.get("zone"), closed=close is not None, close_why=str(close.get("why", "")) if close else None, stages=stages,
        max_cue_lateness_s=max(late) if late else None, cues=counts, faults=counts.get("fault", 0), probes=list(facts.values()),
        trust=[{k: r.get(k) for k in ("t_s", "probe", "believed", "why", "since_t_s")} for r in journal.of("trust")],
        gaps=gaps(journal), doubted=[s for series in journal.readings.values() for s in stuck_spans(series)],
        resumes=[{k: r.get(k) for k in ("t_s", "gap_s", "same_boot")} for r in journal.of("session") if r["event"] == "resume"],
        solutions=[s for s in solutions if isinstance(s, dict)] if isinstance(solutions, list) else [],
        waived=str(opening["waived"]) if opening.get("waived") else None,
        gate_overridden=next((str(r.get("why", "no reason given")) for r in journal.of("gate") if r["state"] == "overridden"), None),
        notes=[str(r["text"]) for r in journal.of("note") if isinstance(r.get("text"), str)],
        torn=journal.findings.torn, problems=journal.findings.lines(),
    )  # fmt: skip


def warmest_gap_c(numbers: SessionMeasures) -> float | None:
    """Largest step between the mean temperatures of two stages in a row, C; None if fewer than two were measured."""
    means = [s.mean_c for s in numbers.stages if s.mean_c is not None]
    return max((abs(b - a) for a, b in itertools.pairwise(means)), default=None)
