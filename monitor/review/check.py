"""Does a journal agree with itself? Everything that can be recomputed from the raw records is, and held against what was said.

Decides what counts as agreeing (the constants) and says both: what agrees and what does not. Changes nothing.
Tests: tests/review/test_check.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from monitor.core.development.probe_trust import LOST_S
from monitor.core.probes.readings import ESTIMATED
from monitor.core.recipe.values import Stage
from monitor.core.session.fixed_times import FAULT_APART_S, PROGRESS_EVERY_S, READY_TO_NOW_LEAST_S
from monitor.review.load import Journal, ProgressSeries
from monitor.review.measures import Review
from monitor.review.numbers import StageMeasures
from monitor.review.timeline import Stretch, believed_spans, within

DONE_PERCENT = 0.5
"""Live and recomputed development may differ by this much of the target where all was measured: several times what the live
filter errs on real steps (0.12 % rms)."""
TARGET_PERCENT = 1.0
"""At the planned end the live filter's own figure may be this far from the target: the end was frozen before it."""
MOMENT_S = 0.25
"""Moments that the session decided may lie so far from where the recipe puts them. This and what follows: choices, no source."""
PROGRESS_S = PROGRESS_EVERY_S + 0.5
"""Progress records may lie this far apart."""
PRESS_S = 1.0
"""A begin that is not assumed lies within this of a press."""
FALL_PERCENT = 0.02
"""The live figure of development may fall by this much of the target from one record to the next."""
SOUND_EARLY_S, SOUND_LATE_S = 0.5, 5.0
"""A READY or NOW has its sound no earlier and no later than this."""
SETTLED_S = 120.0
"""A begin at a planned end may have been settled by a tap while NOW sounded (a drain is shorter than this), or by a long press after it."""


@dataclass(slots=True)
class Check:
    """What was held against what. `agree` and `disagree` are lines for a person."""

    session: str
    agree: list[str] = field(default_factory=list)
    disagree: list[str] = field(default_factory=list)

    def hold(self, good: bool, said: str, otherwise: str) -> None:
        """Note one comparison."""
        (self.agree if good else self.disagree).append(said if good else otherwise)

    def lines(self) -> list[str]:
        """All of it; what does not agree comes first."""
        head = f"{self.session}: {len(self.agree)} comparisons agree, {len(self.disagree)} do not"
        return [head, *(f"  DOES NOT AGREE: {line}" for line in self.disagree), *(f"  agrees: {line}" for line in self.agree)]


def check(journal: Journal, review: Review) -> Check:
    """Hold the journal against what its raw records give."""
    found = Check(journal.session)
    for part, numbers in zip(review.stretches, review.numbers.stages, strict=True):
        stage = journal.stage(part.stage)
        said = journal.progress.get((part.stage, part.sheet))
        label = numbers.name if numbers.sheet is None else f"{numbers.name}, sheet {numbers.sheet}"
        if stage is not None:
            _plan(found, label, stage, part, numbers, said)
        if said is not None:
            _development(found, label, part, numbers, said)
            _flow(found, label, journal, part, numbers, said)
            _sources(found, label, journal, said)
        if not part.begin_assumed:
            near = min((abs(t["t_s"] - part.begin_s) for t in journal.of("tap")), default=math.inf)
            settled = any(t["meaning"] in ("heard", "on time") and abs(t["t_s"] - part.begin_s) <= SETTLED_S for t in journal.of("tap"))
            found.hold(
                near <= PRESS_S or settled,
                f"{label}: its begin is a press",
                f"{label}: its begin is not marked as assumed, but no press lies near it",
            )
    _readings(found, journal)
    _cues(found, journal)
    return found


def _plan(found: Check, label: str, stage: Stage, part: Stretch, numbers: StageMeasures, said: ProgressSeries | None) -> None:
    if said is not None and numbers.planned_s is not None:
        found.hold(
            abs(said.target_ref_s - numbers.planned_s) < 1e-6 * max(1.0, numbers.planned_s),
            f"{label}: target {said.target_ref_s:g} s is the recipe's time x factor",
            f"{label}: target {said.target_ref_s:g} s, but the recipe's time x factor is {numbers.planned_s:g} s",
        )
    if part.planned_end_s is None:
        return
    if not stage.steer and numbers.planned_s is not None and part.sheet is None:
        took = part.planned_end_s - part.begin_s - stage.beyond_target_s
        found.hold(
            abs(took - numbers.planned_s) <= MOMENT_S,
            f"{label}: its planned end lies time x factor after its begin",
            f"{label}: its planned end lies {took:.2f} s after its begin, but time x factor is {numbers.planned_s:g} s",
        )
    if part.now_s is not None and stage.until != "time":
        after = part.now_s - part.begin_s
        found.hold(
            stage.at_most_s is not None and abs(after - stage.at_most_s) <= MOMENT_S,
            f"{label}: NOW came after its longest time",
            f"{label}: NOW came {after:.2f} s after its begin, but its longest time is {stage.at_most_s or math.nan:g} s",
        )
    elif part.now_s is not None:
        lead = part.planned_end_s - part.now_s
        put_off = part.ready_s is not None and part.now_s - part.ready_s <= READY_TO_NOW_LEAST_S + MOMENT_S  # READY was overdue
        found.hold(
            abs(lead - stage.drain_s) <= MOMENT_S or put_off,
            f"{label}: NOW came {stage.drain_s:g} s before the planned end",
            f"{label}: NOW came {lead:.2f} s before the planned end, but the drain is {stage.drain_s:g} s",
        )


def _development(found: Check, label: str, part: Stretch, numbers: StageMeasures, said: ProgressSeries) -> None:
    live, now, target = numbers.live_done_ref_s, numbers.done_ref_s, numbers.target_ref_s
    if live is None or now is None or not target or numbers.rate_law is None:
        return
    allowed = DONE_PERCENT / 100.0 * target
    if numbers.estimated_s > 0:
        allowed = max(allowed, 2.0 * (numbers.live_done_sd_ref_s or 0.0))
    words = f"{label}: development live said {100 * live / target:.2f} %, recomputed {100 * now / target:.2f} %"
    found.hold(abs(live - now) <= allowed, words, f"{words}; at most {100 * allowed / target:.2f} % of difference can be explained")
    if (
        numbers.steered
        and part.planned_end_s is not None
        and numbers.counted == "pour to pour"
        and part.planned_end_s <= said.t_s[-1] + 3.0
    ):
        at_end = float(np.interp(part.planned_end_s, np.frombuffer(said.t_s), np.frombuffer(said.done_ref_s)))
        off = 100.0 * (at_end - target) / target
        found.hold(
            abs(off) <= TARGET_PERCENT + 100.0 * (PROGRESS_S / target),
            f"{label}: at its planned end the live figure was {100 + off:.2f} %",
            f"{label}: at its planned end the live figure was {100 + off:.2f} %, not 100 %",
        )


def _flow(found: Check, label: str, journal: Journal, part: Stretch, numbers: StageMeasures, said: ProgressSeries) -> None:
    times, done = np.frombuffer(said.t_s), np.frombuffer(said.done_ref_s)
    if numbers.steered:
        until_s = min(part.planned_end_s or times[-1], part.end_s)  # poured off early, it has nothing more to tell
        edges = np.concatenate(([part.begin_s], times, [max(until_s, times[-1])]))
        steps = np.diff(edges)
        widest = float(steps.max())
        at = int(steps.argmax())
        resumed = any(a_s <= edges[at + 1] + 1 and b_s >= edges[at] - 1 for a_s, b_s, _ in _away(journal))
        found.hold(
            widest <= PROGRESS_S or resumed,
            f"{label}: progress at least every {widest:.1f} s" + (" (the program was gone)" if widest > PROGRESS_S else ""),
            f"{label}: {widest:.1f} s without progress (records lost, or the program was gone and did not say so)",
        )
    falls = np.flatnonzero(np.diff(done) < -FALL_PERCENT / 100.0 * max(said.target_ref_s, 1.0))
    first_s = float(times[falls[0] + 1]) if len(falls) else 0.0
    found.hold(
        len(falls) == 0,
        f"{label}: the live figure never fell by more than {FALL_PERCENT:g} %",
        f"{label}: the live figure fell {len(falls)} times (corrected backwards), first at session time {first_s:.0f} s",
    )


def _sources(found: Check, label: str, journal: Journal, said: ProgressSeries) -> None:
    good: list[float] = []
    spans: list[tuple[float, float]] = []
    for series in journal.readings.values():
        if series.role in ("developer", "witness"):
            of = believed_spans(journal, series.probe, as_known_then=True)
            spans += of
            good += [t for t, c in zip(series.t_s, series.celsius, strict=True) if not math.isnan(c)]
    newest = np.sort(np.array(good)) if good else np.empty(0)
    bare = 0
    for t, source in zip(said.t_s, said.source, strict=True):
        if source in ESTIMATED:
            continue
        i = int(np.searchsorted(newest, t, side="right")) - 1
        if i < 0 or t - newest[i] > LOST_S or not (within(spans, t) or within(spans, newest[i])):
            bare += 1
    found.hold(
        bare == 0,
        f"{label}: whenever a probe was named as the source it was believed and had spoken within {LOST_S:g} s",
        f"{label}: {bare} progress records name a probe as the source that was not believed or had not spoken for {LOST_S:g} s",
    )


def _readings(found: Check, journal: Journal) -> None:
    for series in journal.readings.values():
        raw, celsius = np.frombuffer(series.raw_c), np.frombuffer(series.celsius)
        both = ~np.isnan(raw) & ~np.isnan(celsius)
        if not both.any():
            continue
        taken = raw[both] - celsius[both]
        line = np.polynomial.polynomial.polyfit(raw[both], taken, 1) if np.ptp(raw[both]) > 0.5 else np.array([taken.mean(), 0.0])
        rest = float(np.abs(taken - line[0] - line[1] * raw[both]).max())
        found.hold(
            rest < 0.01,
            f"probe {series.probe}: one comparison takes what the register said to what was used ({taken.mean():+.3f} C taken off)",
            f"probe {series.probe}: no single comparison takes what the register said to what was used (up to {rest:.3f} C off)",
        )


def _away(journal: Journal) -> list[tuple[float, float, Sequence[str]]]:
    """From when to when nothing was recorded, and the calls that fell due meanwhile."""
    away: list[tuple[float, float, Sequence[str]]] = []
    life_s = 0.0
    for record in journal.of("session"):
        if record["event"] == "resume":
            gap_s = record.get("counted_s", record.get("gap_s"))
            since_s = record["t_s"] - gap_s if isinstance(gap_s, (int, float)) else life_s
            away.append((since_s, record["t_s"], record.get("missed", ())))
        life_s = record["t_s"]
    return away


def _fell_into_a_gap(journal: Journal, event: str, at_s: float) -> bool:
    """Whether the station was away at this moment, and said at its return that this call fell due meanwhile."""
    return any(event in missed and a_s - SOUND_LATE_S <= at_s <= b_s + SOUND_EARLY_S for a_s, b_s, missed in _away(journal))


def _at_the_return(journal: Journal, event: str, at_s: float) -> str:
    """What became of a call that fell into a time in which the station was away."""
    call = f"the {event.upper()} of session time {at_s:.0f} s"
    late = [c["late_s"] for c in journal.of("cue") if c["cue"] == event and isinstance(c.get("late_s"), (int, float)) and c["t_s"] >= at_s]
    if not late:
        return f"{call} did not sound, since it did not hold any more when the station was back"
    return f"{call} sounded at the return of the station, {late[0]:.0f} s late"


def _cues(found: Check, journal: Journal) -> None:
    cues = journal.of("cue")
    heard = {name: [c["t_s"] for c in cues if c["cue"] == name] for name in ("ready", "now", "fault")}
    for event in ("ready", "now"):
        said = [s["t_s"] for s in journal.of("stage") if s["event"] == event]
        silent = [at_s for at_s in said if not any(-SOUND_EARLY_S <= t - at_s <= SOUND_LATE_S for t in heard[event])]
        away = [at_s for at_s in silent if _fell_into_a_gap(journal, event, at_s)]
        silent = [at_s for at_s in silent if at_s not in away]
        if said:
            late = "".join(f"; {_at_the_return(journal, event, at_s)}" for at_s in away)
            found.hold(
                not silent,
                f"each of {len(said)} {event.upper()} has its sound{late}",
                f"{len(silent)} of {len(said)} {event.upper()} have no sound, first at session time {silent[0] if silent else 0:.1f} s",
            )
    close = [b - a for a, b in zip(heard["fault"], heard["fault"][1:], strict=False) if b - a < FAULT_APART_S - MOMENT_S]
    if heard["fault"]:
        found.hold(
            not close,
            f"FAULTs lie at least {FAULT_APART_S:g} s apart",
            f"two FAULTs lie {min(close, default=0):.1f} s apart, less than {FAULT_APART_S:g} s",
        )
