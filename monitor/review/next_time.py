"""One sentence for the next film, by rules that can be told, with a number where one can be had.

The first rule that applies speaks; one change at a time (common practice, no source). Exchanged probes come before all of them: to put them
right changes no film, and beside that only the dry film speaks. In order: what the dry film showed (judgement);
a print whose first trace nobody told; a pour that nobody told; no probe at all; a probe that was lost; hands that were late or early;
a stage by the clock that left its band by more than its probe can be wrong; a probe that was never compared; a witness that nothing had
shown to speak for the film; a stage that left its band by less; an end that moved far. Otherwise there is nothing to change.
Tests: tests/review/test_next_time.py.
"""

from __future__ import annotations

import shlex

from monitor.core.text.degrees import difference, plain, plain_difference
from monitor.core.text.doubt import two_sd
from monitor.core.text.quantities import format_duration
from monitor.review.judgement import Judgement, change_for, kinds_of, sights
from monitor.review.numbers import NO_PROBE, SessionMeasures, StageMeasures
from monitor.review.record_says import findings, leading

NOTHING = "nothing to change"
LOST_S = 30.0
"""So much estimated is worth a word. This and what follows: choices, no source."""
HANDS_S, HANDS_PERCENT = 5.0, 1.0
"""A pour that is farther off than both."""
OUTSIDE_S = 15.0
MOVED_SHARE = 0.03
"""An end that moved by more of the planned time."""
LEAST_PERCENT = 0.5
"""A smaller doubt is not worth a comparison."""
LEAST_C = 0.1
"""A smaller change of temperature nobody can set."""


def next_time(session: SessionMeasures, stages: list[StageMeasures], judged: Judgement | None) -> str:
    """The sentence, without its full stop. `stages`: those that develop; `judged`: the dry film, None where nobody judged it."""
    film = _dry_film(session, stages, judged)
    if session.exchanged is not None:
        swap = 'swap the probes "{}" and "{}", which hung in each other\'s liquid: their places, or their ids in the station file'
        return "; ".join([swap.format(*session.exchanged), *([] if film is None else [film])])
    if film is not None:
        return film
    for rule in (_no_first_trace, _not_told, _no_probe, _lost, _hands, _surely_outside, _not_compared, _witness, _outside, _moved):
        for stage in stages:
            said = rule(session, stage)
            if said is not None:
                return said
    return NOTHING


def _dry_film(session: SessionMeasures, stages: list[StageMeasures], judged: Judgement | None) -> str | None:
    seen = [] if judged is None else sights(judged, kinds_of(session))
    if not seen:
        return None
    return f"{change_for(leading(seen[0], findings(session)), stages[0] if stages else None)} (the dry film: {seen[0].seen})"


def _no_first_trace(_: SessionMeasures, stage: StageMeasures) -> str | None:
    missed = stage.appearance_factor is not None and stage.first_trace_s is None
    return "tap at the first trace: without it the longest time rules" if missed else None


def _not_told(_: SessionMeasures, stage: StageMeasures) -> str | None:
    if stage.end_told or stage.role != "develop":
        return None
    return f"tap as you {'lift' if stage.lifted else 'pour'}: nobody told when the {stage.name} bath was left"


def _no_probe(_: SessionMeasures, stage: StageMeasures) -> str | None:
    if stage.rate_law is None or stage.measured_by not in (None, NO_PROBE):
        return None
    around = two_sd(stage.done_sd_percent or 0.0)
    return f"put a probe into the developer or its witness: without one its development is known to {around:.0f} % at best"


def _lost(session: SessionMeasures, stage: StageMeasures) -> str | None:
    if stage.longer_s or stage.shorter_s:
        return "have the second clock running from the first bath: the power may go, and nobody knows for how long"
    if stage.estimated_s < LOST_S:
        return None
    lost = [t for t in session.losses if stage.begin_s <= t["t_s"] <= stage.actual_end_s]
    if not lost:
        return None
    since_s = lost[0]["t_s"] if lost[0]["since_t_s"] is None else lost[0]["since_t_s"]
    at = format_duration(max(0.0, since_s - stage.begin_s))
    learn = "" if all(s.what == "vessel model" for s in stage.estimated_spans) else ", and learn the vessel's lag (evenbath lag)"
    if "air" in str(lost[0]["why"]):
        return f'fasten the probe "{lost[0]["probe"]}" where no hand lifts it: from {at} it read like one in air{learn}'
    return f'look at the lead and the place of the probe "{lost[0]["probe"]}", which was lost at {at}{learn}'


def _hands(_: SessionMeasures, stage: StageMeasures) -> str | None:
    if stage.overrun_s is None or stage.station_late_s is not None or abs(stage.overrun_s) < HANDS_S:
        return None
    percent = 100.0 * stage.overrun_s / stage.actual_s
    if abs(percent) < HANDS_PERCENT:
        return None
    size_s = abs(stage.overrun_s)
    late = f"{f'{size_s:.0f} s' if size_s < 60 else format_duration(size_s)} {'late' if stage.overrun_s > 0 else 'early'}"
    do = "lift it out" if stage.lifted else "pour off"
    return f"{do} when NOW says: {late} was {abs(percent):.1f} % too {'much' if percent > 0 else 'little'}"


def _may_be_off_c(session: SessionMeasures, stage: StageMeasures) -> float:
    """How far the probe that measured may be off: two standard deviations of its comparison."""
    probe = session.probe(stage.measured_by)
    return two_sd(0.0 if probe is None else probe.comparison_sd_c)


def _not_compared(session: SessionMeasures, stage: StageMeasures) -> str | None:
    if stage.probe_compared is not False:
        return None
    if stage.first_trace_s is not None and two_sd(stage.done_sd_percent or 0.0) < LEAST_PERCENT:
        return None  # a steady error of the probe is in the first trace as well
    around = _may_be_off_c(session, stage)
    cost = f" is {two_sd(stage.done_sd_percent):.0f} % of development" if stage.rate_law and stage.done_sd_percent else ""
    if not cost and stage.band_c is not None and around > stage.band_c:
        cost = f" is wider than the band of {plain_difference(stage.band_c)}"
    return f"compare the probe first (evenbath compare): +/- {difference(around, '.2f')}{cost}"


def _witness(session: SessionMeasures, stage: StageMeasures) -> str | None:
    """What was shown since then no journal knows: so it says when."""
    probe = session.probe(stage.measured_by)
    if stage.role != "develop" or probe is None or probe.role != "witness" or not probe.witness_sd_c:
        return None
    tell = f"evenbath lag {session.session} --probe {shlex.quote(probe.probe)} --poured-off"
    return (
        f"tell how warm the developer was that you poured off, or measure it next time ({tell}): as this film began, nothing had shown "
        "that the witness speaks for it"
    )


def _surely_outside(session: SessionMeasures, stage: StageMeasures) -> str | None:
    """Farther off than the probe can be wrong."""
    if stage.mean_c is None or stage.reference_c is None or stage.band_c is None or stage.measured_by in (None, NO_PROBE):
        return None
    wide_c = stage.band_c + _may_be_off_c(session, stage)
    return _outside(session, stage) if abs(stage.mean_c - stage.reference_c) > wide_c else None


def _outside(session: SessionMeasures, stage: StageMeasures) -> str | None:
    outside_s = stage.outside_band_s or 0.0
    if stage.steered or outside_s < OUTSIDE_S or stage.mean_c is None or stage.reference_c is None:
        return None
    off_c = stage.reference_c - stage.mean_c
    if abs(off_c) < LEAST_C:
        return f"hold it steadier: it was outside its band for {format_duration(outside_s)}, on either side"
    gate = "wait for the gate, and " if stage.gate_closed or session.gate_overridden is not None else ""
    low = "below" if off_c > 0 else "above"
    return f"{gate}start it {_degrees(off_c)}: it was {_size(off_c)} {low} {plain(stage.reference_c)} on average"


def _moved(_: SessionMeasures, stage: StageMeasures) -> str | None:
    moved_s = stage.moved_s if stage.steered and stage.appearance_factor is None else None
    if moved_s is None or not stage.planned_s or stage.mean_kinetic_c is None or stage.reference_c is None:
        return None
    off_c = stage.reference_c - stage.mean_kinetic_c
    if abs(moved_s) < MOVED_SHARE * stage.planned_s or abs(off_c) < LEAST_C:
        return None
    again = format_duration(stage.planned_s + moved_s)
    return f"start developer and bath {_degrees(off_c)} to finish in {format_duration(stage.planned_s)}, or plan {again}"


def _degrees(off_c: float) -> str:
    return f"{_size(off_c)} {'warmer' if off_c > 0 else 'cooler'}"


def _size(off_c: float) -> str:
    return difference(abs(off_c))
