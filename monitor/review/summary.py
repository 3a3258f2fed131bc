"""A session in words: a paragraph that alone answers what a person must know afterwards, without a picture.

The ten questions (the project's practice text, section 8, scenario 10): planned and actual end, development done, mean and
worst temperature, which minutes were estimated, which probe was compared when against what, age of the solution and area.
Every temperature says where it was measured and how far it is to be trusted. Text only, no numbers are made here.
Tests: tests/review/test_summary.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.core.journal.trusted import news
from monitor.core.journal.words import BEGUN_CLOSED
from monitor.core.text.degrees import degrees, difference, in_unit_shown, plain, plain_difference, span, unit
from monitor.core.text.doubt import plus_minus, said_once, share
from monitor.core.text.quantities import format_duration, format_number
from monitor.review.numbers import LEAST_BELIEVED_S, NO_PROBE, Doubted, NamedSpan, RecordedProbe, SessionMeasures, StageMeasures

OUTSIDE_TELL_S = 15.0
"""Shorter excursions of a stage that is not steered are told as seconds alone (the project's practice text, colour)."""


def signed_duration(seconds: float, words: tuple[str, str] = ("later", "earlier")) -> str:
    """Such as "12 s later" or "1:30 earlier"; `words`: for more and for less."""
    size = abs(seconds)
    shown = f"{size:.0f} s" if size < 60 else format_duration(size)
    return f"{shown} {words[0] if seconds >= 0 else words[1]}"


def at_place(celsius: float | None, sd_c: float | None, where: str | None) -> str:
    """A temperature with its uncertainty and place."""
    if celsius is None:
        return "not measured"
    spread = "" if sd_c is None else f" {plus_minus(span(sd_c), 2, f' {unit()}')}"
    return f"{degrees(celsius, '.2f')}{spread}" + (f" {where_in_words(where)}" if where else "")


def where_in_words(where: str | None) -> str:
    """Name of a probe as a place."""
    return "by the live estimate, no probe was believed" if where is None or where == NO_PROBE else f'at the probe "{where}"'


def stage_label(stage: StageMeasures) -> str:
    """Such as "develop" or "develop, sheet 3"."""
    return stage.name if stage.sheet is None else f"{stage.name}, sheet {stage.sheet}"


def in_stage(span: NamedSpan, stage: StageMeasures) -> str:
    """A span as minutes of the stage."""
    return f"{format_duration(span.from_s - stage.begin_s)} to {format_duration(span.to_s - stage.begin_s)} ({span.what})"


def longer(seconds: float) -> str:
    """Such as "12 s longer" or "1:30 shorter"."""
    return signed_duration(seconds, ("longer", "shorter"))


def by_hand(stage: StageMeasures, off_s: float) -> str:
    """What the hands did to a difference from the plan: they poured off, or lifted, so much later than was called."""
    if stage.lifted:
        return f"by lifting {'late' if off_s > 0 else 'early'}"
    return f"by {'a late' if off_s > 0 else 'an early'} pour"


def parts_of(stage: StageMeasures, moved_s: float, cause: str, poured_s: float) -> str:
    """Of what a difference from the plan is made: what the temperature did (`cause`) and what the hands did. Alike: bare seconds."""
    pour = by_hand(stage, poured_s)
    if (moved_s > 0) == (poured_s > 0):
        moved, poured = (signed_duration(abs(s), ("", "")).rstrip() for s in (moved_s, poured_s))
        return f"{moved} {cause}, {poured} {pour}"
    return f"{longer(moved_s)} {cause}, {longer(poured_s)} {pour}"


def planned_sentence(stage: StageMeasures) -> str:
    """What was planned and how long it took: one statement from the plan, with its parts where there are two."""
    parts = []
    if stage.planned_s == 0:
        parts.append("no clock")
    elif stage.planned_s is not None:
        how = f" at {plain(stage.reference_c or 0.0)}" if stage.steered else " by the clock"
        parts.append(f"{'at least' if stage.until == 'at least' else 'planned'} {format_duration(stage.planned_s)}{how}")
    parts.append(f"took {format_duration(stage.actual_s)} ({_by(stage)}){_against_plan(stage)}")
    if stage.gate_closed:
        parts.append(BEGUN_CLOSED)
    if stage.longer_s or stage.shorter_s:
        least, most = stage.actual_between_s
        counted = format_duration(stage.actual_s)
        parts.append(f"between {format_duration(least)} and {format_duration(most)} in it (counted {counted}), since the power was gone")
    if stage.end_between_s is not None:
        first, last = (format_duration(max(0.0, t_s - stage.begin_s)) for t_s in stage.end_between_s)
        parts.append(f"its end was said to be between {first} and {last} of what was counted")
    if stage.may_have_done_percent is not None and stage.steered:
        parts.append(f"if it stayed in until the next call, its development was {stage.may_have_done_percent:.0f} %")
    return ", ".join(parts)


def _against_plan(stage: StageMeasures) -> str:
    """How much longer than planned, and for what."""
    if not stage.planned_s or (stage.until == "at least" and stage.actual_s >= stage.planned_s):
        return ""
    moved_s = stage.moved_s if stage.steered else None
    off_s = stage.actual_s - stage.planned_s if stage.overrun_s is not None or moved_s is None else moved_s
    if stage.overrun_s is None and moved_s is None:
        return ""
    poured_s = stage.overrun_s if stage.overrun_s is not None and abs(stage.overrun_s) >= 1.0 else None
    if poured_s is None:
        return ", as planned" if abs(off_s) < 0.5 else f", {longer(off_s)} than planned{', for the temperature' if moved_s else ''}"
    if moved_s is None or abs(moved_s) < 0.5:
        return f", {longer(off_s)} than planned, {by_hand(stage, poured_s)}{_station_part(stage)}"
    return f", {longer(off_s)} than planned: {parts_of(stage, moved_s, 'for the temperature', poured_s)}{_station_part(stage)}"


def _station_part(stage: StageMeasures) -> str:
    """How much of a late pour is the station's, in words."""
    late_s = stage.station_late_s
    return "" if late_s is None else f", and NOW had come {format_duration(late_s)} late because the station was away"


def _by(stage: StageMeasures) -> str:
    return {
        "tap": "told by a tap",
        "assumed": "not told: nobody said when it went on",
        "on time": "assumed, and a long press said that it was on time",
        "correction": "corrected by a later tap",
        "close": "close of the session",
        "planned end": "the end that was called, nothing later is known",
        "end of the record": "end of the record",
    }[stage.ended_by]


def done_sentence(stage: StageMeasures) -> str:
    """Development done, now known and live said."""
    if stage.rate_law is None:
        return "" if stage.role != "develop" else "temperature did not count in this stage"
    if stage.done_percent is None:
        return "development not known: nothing was read"
    between = stage.done_between_percent
    if between is not None:
        said = f"development between {between[0]:.0f} % and {between[1]:.0f} % of what was wanted: the power was gone"
        return f"{said}, counted {stage.done_percent:.1f} %"
    words = share(stage.done_percent, stage.done_sd_percent or 0.0)
    if words.startswith("not known"):
        return f"development {words}"
    said = f"development {words} of what was wanted (now known"
    return said + (f"; live said {stage.live_done_percent:.1f} %)" if stage.live_done_percent is not None else ")")


def temperature_sentence(stage: StageMeasures) -> str:
    """Mean, worst and drift, each with its place."""
    if stage.mean_c is None:
        return "temperature not measured" + (f"; {_band_unverified(stage)}" if stage.band_c is not None else "")
    said = [f"mean {at_place(stage.mean_c, stage.mean_sd_c, stage.measured_by)}"]
    if stage.mean_kinetic_c is not None:
        said.append(f"by the rate a steady {degrees(stage.mean_kinetic_c, '.2f')}")
    said.append(_extremes(stage))
    if stage.drift_c_per_min is not None and abs(stage.drift_c_per_min) >= 0.005:
        said.append(f"drift {difference(stage.drift_c_per_min, '+.2f')} a minute")
    said += _band(stage)
    if stage.outside_data_s is not None and stage.outside_data_s >= 0.5:
        said.append(f"{format_duration(stage.outside_data_s)} outside the data of the rate law (three times the uncertainty)")
    return "; ".join(said)


def _band_unverified(stage: StageMeasures) -> str:
    return f"the band of {_band_words(stage)} could not be verified, since no probe was believed"


def _band_words(stage: StageMeasures) -> str:
    """The wanted band by its edges: a +/- is a doubt."""
    assert stage.band_c is not None
    return f"{plain(stage.reference_c or 0.0)}, {plain_difference(stage.band_c)} either way"


def _band(stage: StageMeasures) -> list[str]:
    """How long the stage lay outside its band, and whether that is verified; an estimate alone never says that it lay inside."""
    if stage.band_c is None:
        return []
    outside = stage.outside_band_s
    if outside is None or (stage.probe_compared is None and outside < 0.5):
        return [_band_unverified(stage)]
    whole, sides = format_duration(stage.actual_s), ((stage.below_band_s, "below"), (stage.above_band_s, "above"))
    where = " and ".join(f"{format_duration(s)} of {whole} {word}" for s, word in sides if s and s >= 0.5)
    said = [
        f"outside the band of {_band_words(stage)}: {where}" if outside >= 0.5 else
        f"never outside the band of {_band_words(stage)}"
    ]  # fmt: skip
    if not stage.probe_compared:
        said.append(
            "not verified, since the probe was not compared"
            if stage.probe_compared is False
            else "not verified, since no probe was believed"
        )
    if stage.role == "develop" and not stage.steered and outside >= OUTSIDE_TELL_S:
        said.append("outside its band, and the clock does not make up for that")
    return said


def _extremes(stage: StageMeasures) -> str:
    """The worst temperature (farther from the reference) and the other extreme."""
    assert stage.min_c is not None
    assert stage.max_c is not None
    assert stage.min_at_s is not None
    assert stage.max_at_s is not None
    reference_c = stage.mean_c if stage.reference_c is None else stage.reference_c
    assert reference_c is not None
    lowest = ("lowest", stage.min_c, stage.min_at_s, stage.min_sd_c or 0.0)
    highest = ("highest", stage.max_c, stage.max_at_s, stage.max_sd_c or 0.0)
    (_, worst_c, worst_at_s, worst_sd), (name, other_c, other_at_s, other_sd) = sorted(
        (lowest, highest), key=lambda e: -abs(e[1] - reference_c)
    )
    off = worst_c - reference_c
    to = "reference" if stage.reference_c is not None else "mean"
    from_reference = f"{difference(abs(off), '.2f')} {'above' if off > 0 else 'below'} the {to}"
    worst = f"{degrees(worst_c, '.2f')} {plus_minus(span(worst_sd), 2)} at {format_duration(worst_at_s - stage.begin_s)}"
    other = f"{degrees(other_c, '.2f')} {plus_minus(span(other_sd), 2)} at {format_duration(other_at_s - stage.begin_s)}"
    return f"worst {worst} ({from_reference}), {name} {other}, both {where_in_words(stage.measured_by)}"


def estimated_sentence(stage: StageMeasures) -> str:
    """Which minutes were estimated."""
    if not stage.told_spans:
        return "no minute was estimated" if stage.steered else ""
    spans = ", ".join(in_stage(s, stage) for s in stage.told_spans)
    return f"estimated, not measured: {spans}, {format_duration(stage.told_estimated_s)} in all"


def probe_sentence(probe: RecordedProbe) -> str:
    """Which probe was compared when against what."""
    name = f'probe "{probe.probe}" ({probe.role})'
    doubt = plus_minus(span(probe.comparison_sd_c), 2, f" {unit()}")
    if probe.compared is None:
        return f"{name}: not compared, {doubt}"
    told = probe.compared
    if not told:
        return f"{name}: compared, when and against what is not in the record, {doubt} left"
    when = told.get("wall") or told.get("date") or told.get("when")
    against = told.get("against") or told.get("reference")
    at_c = told.get("at_c")
    words = [f"{name}: compared", str(when) if when else "at a time that is not in the record"]
    words.append(f"against {against}" if against else "against a reference that is not in the record")
    if told.get("who"):
        words.append(f"by {told['who']}")
    if isinstance(at_c, (int, float)):
        words.append(f"at {plain(at_c)}")
    offset = told.get("offset_c")
    taken = f", offset {difference(offset, '+.2f')} taken off" if isinstance(offset, (int, float)) else ""
    return " ".join(words) + f"{taken}, {doubt} left"


def solution_sentence(solution: Mapping[str, Any]) -> str:
    """Age and use of one solution, as recorded."""
    name = solution.get("solution") or solution.get("name") or "a solution"
    words = [str(name)]
    if solution.get("dilution"):
        words.append(f"diluted {solution['dilution']}")
    if solution.get("mixed"):
        words.append(f"mixed {solution['mixed']}")
    if isinstance(solution.get("age_s"), (int, float)):
        words.append(_age_at_begin(float(solution["age_s"])))
    if isinstance(solution.get("used_area_units"), (int, float)):
        words.append(f"{solution['used_area_units']:g} units of 80 sq in through it before")
    if isinstance(solution.get("area_units"), (int, float)):
        words.append(f"{solution['area_units']:g} units of 80 sq in with this session's film")
    factor = solution.get("time_factor")
    if isinstance(factor, (int, float)) and factor > 0 and factor != 1.0:
        asked = f"the ledger asked for {format_number(factor, 2)} times the recipe's time"
        short = f"100 % here is {100.0 / factor:.0f} % of that"
        words.append(f"{asked}, as it was planned" if solution.get("applied") is True else f"{asked}, which was not used: {short}")
    return ", ".join(words)


def _age_at_begin(age_s: float) -> str:
    """The ledger knows days, so an age of nothing is one of some hours."""
    return f"{age(age_s)} old at the begin" if age_s >= 60.0 else "mixed on the same day"


def age(seconds: float) -> str:
    """An age in the unit that a person would use."""
    for size, word in ((86400.0, "days"), (3600.0, "hours"), (60.0, "minutes")):
        if seconds >= 2 * size:
            return f"{format_number(seconds / size, 1 if seconds < 10 * size else 0)} {word}"
    return f"{seconds:.0f} seconds"


def moment(session: SessionMeasures, t_s: float) -> str:
    """A session time as minutes of the stage that ran then."""
    running = [s for s in session.stages if s.begin_s <= t_s <= s.actual_end_s]
    if not running:
        return f"session time {format_duration(t_s)}"
    stage = running[0] if len({s.stage for s in running}) > 1 else min(running, key=lambda s: s.begin_s)
    return f"{format_duration(t_s - stage.begin_s)} of {stage.name}"


def trust_sentence(change: Mapping[str, Any], session: SessionMeasures) -> str:
    """One change of trust."""
    what = "believed" if change["believed"] else "not believed"
    since = change["since_t_s"] if change["since_t_s"] is not None else change["t_s"]
    back = f", so since {moment(session, since)}" if abs(since - change["t_s"]) >= 1.0 else ""
    told = news(change["why"])
    said = f"{what} ({in_unit_shown(change['why'])}{back})" if told is None else f"{in_unit_shown(told)}{back}"
    return f'at {moment(session, change["t_s"])} "{change["probe"]}" {said}'


def faults_sentence(session: SessionMeasures) -> str:
    """How often FAULT sounded, each with its moment and reason."""
    if not session.faults:
        return "No FAULT sounded"
    often = "once" if session.faults == 1 else f"{session.faults} times"
    each = [f"at {moment(session, f['t_s'])} ({in_unit_shown(f['why'] or 'the record does not say why')})" for f in session.fault_calls]
    return f"FAULT sounded {often}: {'; '.join(each)}"


def hindsight_sentences(session: SessionMeasures) -> list[str]:
    """What was left out afterwards and what was corrected. What live had not believed either is left out by both and told as its loss."""
    left_out = [d for d in session.doubted if d.made == "left out" and d.news]
    corrected = [d for d in session.doubted if d.made == "corrected"]
    told = []
    for heading, spans in (("Left out afterwards", left_out), ("Corrected afterwards", corrected)):
        each = [f"{in_unit_shown(d.what)}, {_stretch(session, d)}, {_belief_in(d)}" for d in spans]
        told += [f"{heading}: {'; '.join(each)}."] if each else []
    return told


def _stretch(session: SessionMeasures, span: NamedSpan) -> str:
    """A span on the clock of its stage, or of the two that it goes from and to."""
    stage = next((s for s in session.stages if s.begin_s <= span.from_s < span.to_s <= s.actual_end_s), None)
    if stage is None:
        return f"{moment(session, span.from_s)} to {moment(session, span.to_s)}"
    return f"{format_duration(span.from_s - stage.begin_s)} to {format_duration(span.to_s - stage.begin_s)} of {stage.name}"


def _belief_in(doubted: Doubted) -> str:
    """How far live had believed it."""
    if not doubted.news:
        return "not believed then"
    in_part = doubted.believed_s < doubted.to_s - doubted.from_s - LEAST_BELIEVED_S
    return f"believed then for {format_duration(doubted.believed_s)} of it" if in_part else "believed then"


def resume_sentence(resume: Mapping[str, Any], session: SessionMeasures) -> str:
    """One time in which the program was away."""
    gap_s, least_s, most_s = resume["gap_s"], resume.get("least_s"), resume.get("most_s")
    went_on = f"before {moment(session, resume['t_s'])} and went on"
    if gap_s is None and least_s is not None and most_s is not None:
        bounds = f"at least {format_duration(least_s)}, at most {format_duration(most_s)}"
        return f"The power was gone, nobody knows for how long ({bounds}; counted {format_duration(resume['counted_s'])}), {went_on}."
    return f"The program was gone for {'an unknown time' if gap_s is None else f'{gap_s:.0f} s'} {went_on}."


def head(session: SessionMeasures) -> str:
    """What the session was."""
    kind = f"rehearsal, no {session.medium}" if session.mode == "rehearsal" else session.mode
    words = [f"Session {session.session} ({kind}), opened {session.opened_wall}"]
    if session.recipe:
        words.append(f'recipe "{session.recipe}", {session.material} in {_article(session.vessel or "vessel")}')
    if session.contents:
        words.append(session.contents)
    if session.evening is not None:
        words.append(session.evening.in_words)
    if session.area_units is not None:
        words.append(f"area {session.area_units:g} unit{'' if session.area_units == 1 else 's'} of 80 sq in")
    closed = f"closed: {session.close_why}" if session.closed else "never closed: still running, or lost"
    return ", ".join([*words, closed]) + "."


def _article(words: str) -> str:
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


def main_stages(session: SessionMeasures) -> list[StageMeasures]:
    """The stages that the paragraph tells in full: those that develop, else those with a rate."""
    return [s for s in session.stages if s.role == "develop"] or [s for s in session.stages if s.rate_law is not None]


def _by_stage(stages: list[StageMeasures]) -> list[list[StageMeasures]]:
    """Sheets of one stage together."""
    groups: dict[int, list[StageMeasures]] = {}
    for stage in stages:
        groups.setdefault(stage.stage, []).append(stage)
    return list(groups.values())


def sheets_sentence(sheets: list[StageMeasures]) -> str:
    """One stage of several sheets: what differs sheet by sheet, what they share once."""
    each = []
    for s in sheets:
        words = [
            f"sheet {s.sheet} planned {_or_unknown(s.planned_s)}, took {format_duration(s.actual_s)}"
            + ("" if s.end_told else " (not told)")
            + _against_plan(s)
        ]
        if s.rate_law is not None and s.done_percent is not None:
            live = f" (live said {s.live_done_percent:.1f} %)" if s.live_done_percent is not None else ""
            between = s.done_between_percent
            words.append(
                f"development {share(s.done_percent, s.done_sd_percent or 0.0)}{live}" if between is None else
                f"development between {between[0]:.0f} % and {between[1]:.0f} %: the power was gone"
            )  # fmt: skip
        if s.mean_c is not None:
            words.append(f"mean {degrees(s.mean_c, '.2f')} {plus_minus(span(s.mean_sd_c or 0.0), 2)}")
        if s.told_spans:
            words.append(estimated_sentence(s))
        each.append(", ".join(words))
    first = sheets[0]
    shared = [f"{first.name.capitalize()}, {len(sheets)} sheets, times at {plain(first.reference_c or 0.0)}: " + "; ".join(each)]
    measured = [s for s in sheets if s.min_c is not None and s.max_c is not None and s.reference_c is not None]
    if measured:
        worst = max(measured, key=_worst_c)
        shared.append(f"sheet {worst.sheet} had it worst: {_extremes(worst)}")
    if first.steered and not any(s.told_spans for s in sheets):
        shared.append("no minute was estimated")
    return "; ".join(shared) + "."


def _worst_c(stage: StageMeasures) -> float:
    assert stage.min_c is not None
    assert stage.max_c is not None
    return max(abs(stage.min_c - (stage.reference_c or 0.0)), abs(stage.max_c - (stage.reference_c or 0.0)))


def _or_unknown(seconds: float | None) -> str:
    return "unknown" if seconds is None else format_duration(seconds)


def other_sentence(group: list[StageMeasures]) -> str:
    """A stage that is told in short; sheets together."""
    if len(group) == 1:
        return f"{group[0].name} {planned_sentence(group[0])}"
    shortest, longest = min(s.actual_s for s in group), max(s.actual_s for s in group)
    last = max(group, key=lambda s: s.begin_s)
    off_s = last.overrun_s or 0.0
    return (
        f"{last.name} planned {_or_unknown(last.planned_s)} from the last sheet's begin, its {len(group)} sheets were in it "
        f"{format_duration(shortest)} to {format_duration(longest)}"
        + (f", the last out {signed_duration(off_s)} than called" if abs(off_s) >= 1 else "")
    )


def paragraph(session: SessionMeasures) -> str:
    """The session as one paragraph; ends without a newline."""
    return " ".join(sentences(session))


def sentences(session: SessionMeasures) -> list[str]:
    """The paragraph, sentence by sentence."""
    told_all = [head(session)]
    if session.waived is not None:
        told_all.append(f"Questions before the start were waived: {session.waived}.")
    if session.gate_overridden is not None:
        told_all.append(f"The gate was overridden: {session.gate_overridden}.")
    told = main_stages(session)
    for group in _by_stage(told):
        if len(group) > 1:
            told_all.append(sheets_sentence(group))
    for stage in [group[0] for group in _by_stage(told) if len(group) == 1]:
        parts = [planned_sentence(stage), done_sentence(stage), temperature_sentence(stage), estimated_sentence(stage)]
        told_all.append(f"{stage_label(stage).capitalize()}: {'; '.join(p for p in parts if p)}.")
    others = [s for s in session.stages if s not in told]
    if others:
        told_all.append("Other stages: " + "; ".join(other_sentence(group) for group in _by_stage(others)) + ".")
    if session.max_cue_waited_s is not None:
        told_all.append(f"A call waited {session.max_cue_waited_s:.1f} s until the other film's was over.")
    elif session.max_cue_lateness_s is not None:
        told_all.append(f"The latest cue came {1000 * session.max_cue_lateness_s:.0f} ms after its moment.")
    changes = "; ".join(trust_sentence(t, session) for t in session.trust)
    told_all.append(f"{faults_sentence(session)}.")
    told_all += [f"What was trusted: {changes}."] if changes else []
    told_all += [resume_sentence(resume, session) for resume in session.resumes]
    told_all += hindsight_sentences(session)
    if session.gaps:
        told_all.append(
            "No good reading: "
            + "; ".join(f"{g.what}, {moment(session, g.from_s)} to {moment(session, g.to_s)}" for g in session.gaps)
            + "."
        )
    told_all.append("Comparison: " + ("; ".join(map(probe_sentence, session.probes)) if session.probes else "no probe in the record") + ".")
    solutions = "; ".join(map(solution_sentence, session.solutions))
    told_all.append(f"Solutions: {solutions}." if solutions else "Solutions: age and use are not in the record.")
    told_all += [f"{note}." for note in session.notes]
    if session.torn:
        told_all.append(f"{session.torn}.")
    first = next((n for n, sentence in enumerate(told_all) if said_once(sentence) != sentence), None)
    if first is not None:
        told_all[first] = said_once(told_all[first])
    return told_all
