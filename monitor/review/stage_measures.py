"""The numbers of one stage of one sheet, from its stretch of time and its temperature track.

What each number means stands in `StageMeasures`. Tests: tests/review/test_measures.py, tests/review/test_outside.py.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, replace

import numpy as np

from monitor.core.journal.records import GapDoubt, gap_doubt
from monitor.core.probes.classify import STALE_S
from monitor.core.probes.readings import ESTIMATED
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.session.runs import pace_of
from monitor.core.text.doubt import DONE_SD_IS
from monitor.review.integrals import integral, mean_kinetic_temperature, seconds_below, weights
from monitor.review.load import Journal, ProgressSeries
from monitor.review.numbers import NO_PROBE, StageMeasures
from monitor.review.timeline import Stretch, counted_from_to
from monitor.review.track import Believed, TemperatureTrack, source_pieces


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


def _temperatures(stage: Stage | None, part: Stretch, track: TemperatureTrack) -> _Temperatures | None:
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


def _done(stage: Stage, part: Stretch, track: TemperatureTrack, traced_s: float | None) -> tuple[float, float, float] | None:
    """(done, its standard deviation, mean rate), by the stage's own law.

    `traced_s`: when a print's first trace was told. Its target is a multiple of what was done by then, so that what makes all of the
    development quicker or slower, the comparison first of all, is in both and leaves only what differs between the two.
    """
    if stage.law is None:
        return None
    from_s, to_s = counted_from_to(stage, part)
    seconds = weights(track.smoothed.t_s, from_s, to_s)
    if not seconds.any():
        return None
    done, per_c, of_law = integral(stage.law, track.smoothed.celsius, seconds)
    random_sd = track.smoothed.sd_of_sum(per_c)
    systematic = float(per_c @ track.systematic_sd_c)
    if traced_s is not None and from_s < traced_s < to_s:
        before, before_per_c, before_of_law = integral(stage.law, track.smoothed.celsius, weights(track.smoothed.t_s, from_s, traced_s))
        times = done / before if before > 0.0 else 0.0
        systematic = float((per_c - times * before_per_c) @ track.systematic_sd_c)
        of_law = abs(of_law - times * before_of_law)
    return done, math.sqrt(random_sd**2 + systematic**2 + of_law**2), done / float(seconds.sum())


def _live_done(said: ProgressSeries | None, end_s: float) -> tuple[float | None, float | None]:
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


def _unmeasured(journal: Journal, believed: Believed, part: Stretch) -> float:
    """Seconds of a stage farther than `STALE_S` from the last believed reading of a developer or witness probe."""
    heard = [np.frombuffer(r.t_s)[believed[r.probe]] for r in journal.readings.values() if r.role in ("developer", "witness")]
    times = np.sort(np.concatenate(heard)) if heard else np.empty(0)
    times = times[(times >= part.begin_s - STALE_S) & (times <= part.end_s)]
    known_until = np.concatenate(([part.begin_s], np.maximum(times + STALE_S, part.begin_s)))
    silent = np.concatenate((times, [part.end_s])) - known_until
    return float(min(silent[silent > 0].sum(), part.actual_s))


def _station_late_s(journal: Journal, part: Stretch) -> float | None:
    """By how much NOW of this stage came late because the program was away."""
    late = [
        float(cue["late_s"])
        for cue in journal.of("cue")
        if cue["cue"] == "now" and "late_s" in cue and part.begin_s <= cue["t_s"] - cue["late_s"] <= (part.planned_end_s or part.end_s)
        and cue.get("sheet") == part.sheet
    ]  # fmt: skip
    return max(late, default=None)


def _time_doubt(journal: Journal, part: Stretch) -> GapDoubt:
    """Of the power cuts that fell into a stage."""
    back = [r for r in journal.of("session") if r["event"] == "resume" and part.begin_s < r["t_s"] <= part.end_s]
    return sum((gap_doubt(record) for record in back), GapDoubt())


def _movement(journal: Journal, recipe: Recipe | None, stage: Stage | None, part: Stretch) -> tuple[float | None, float]:
    """Seconds of movement that the recipe has in a develop stage until its NOW or its end, and how many of them no tick called for.

    Ticks are counted, not matched: a begin that was corrected afterwards shifts them all."""
    if recipe is None or stage is None or stage.role != "develop":
        return None, 0.0
    pace, now_after_s = pace_of(recipe, stage), None if part.now_s is None else part.now_s - part.begin_s
    due, after_s = 0, 0.0
    while (tick := pace.next_tick(after_s, now_after_s)) is not None and tick.after_begin_s < part.actual_s:
        after_s = tick.after_begin_s
        due += 1
    told = sum(c["cue"] == "tick" and part.begin_s <= c["t_s"] <= part.end_s for c in journal.of("cue"))
    each_s = pace.step_s or 1.0
    return due * each_s, max(0, due - told) * each_s


def measure_stage(
    journal: Journal, believed: Believed, recipe: Recipe | None, stage: Stage | None, part: Stretch, track: TemperatureTrack | None
) -> StageMeasures:
    """All numbers of one stage and sheet; without a recipe and without a track, those that need neither."""
    said = journal.progress.get((part.stage, part.sheet))
    planned_s = recipe.target_ref_s(stage, part.sheet) if recipe is not None and stage is not None else None
    passage = journal.history.passage(part.stage, part.sheet)
    if stage is not None and stage.appearance_factor is not None and passage is not None:
        planned_s = passage.target_ref_s
    law = stage.law if stage is not None else None
    traced_s = None if passage is None or stage is None or stage.appearance_factor is None else passage.appeared_s
    done = _done(stage, part, track, traced_s) if stage is not None and track is not None else None
    done_ref_s, done_sd, mean_rate = done if done is not None else (None, None, None)
    from_s, to_s = counted_from_to(stage, part)
    if stage is not None and law is None:
        done_ref_s, done_sd = to_s - from_s, 0.0
    live, live_sd = _live_done(said, to_s)
    heat = _temperatures(stage, part, track) if track is not None else None
    pieces = [p for p in source_pieces(said, part.begin_s, part.end_s) if p.what in ESTIMATED] if said is not None else []
    if heat is not None and track is not None and track.probe == NO_PROBE and all(p.what == "clock" for p in pieces):
        heat = replace(heat, below_band_s=None, above_band_s=None)
    target = said.target_ref_s if stage is None and said is not None else planned_s

    doubt = _time_doubt(journal, part)
    movement_due_s, movement_missed_s = _movement(journal, recipe, stage, part)

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
        overrun_s=part.late_s if part.end_told and not (stage is not None and stage.until == "at least") else None,
        end_told=part.end_told,
        may_have_done_percent=share(said.done_ref_s[-1]) if said is not None and said.done_ref_s and not part.end_told else None,
        station_late_s=_station_late_s(journal, part),
        steered=stage is not None and stage.steer,
        until="time" if stage is None else stage.until,
        first_trace_s=None if passage is None or passage.appeared_s is None else passage.appeared_s - passage.begin_s,
        appearance_factor=None if stage is None else stage.appearance_factor,
        movement_due_s=movement_due_s,
        movement_missed_s=movement_missed_s,
        lifted=recipe is not None and recipe.lifted,
        gate_closed=passage is not None and passage.gate_closed,
        rate_law=None if law is None else type(law).__name__.lower(),
        reference_c=None if stage is None else stage.reference_c,
        counted="pour to pour" if stage is None else stage.counted,
        target_ref_s=target,
        done_ref_s=done_ref_s,
        done_sd_ref_s=done_sd,
        done_percent=share(done_ref_s),
        done_sd_percent=share(done_sd),
        done_sd_is=None if law is None or done_sd is None else DONE_SD_IS,
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
        longer_s=doubt.longer_s,
        shorter_s=doubt.shorter_s,
        end_between_s=None if said is None or said.end_between_s is None else (
            max(part.begin_s, said.end_between_s[0]), said.end_between_s[1],
        ),
        **(asdict(heat) if heat is not None else dict.fromkeys(_Temperatures.__dataclass_fields__)),
    )
