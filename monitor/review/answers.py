"""What a person wants to know first: the result, and five rows that answer for it. The same words for the page and the terminal.

Time, hands, what was estimated, what was verified, next time. Numbers are those of `StageMeasures`; nothing is computed here.
Tests: tests/review/test_answers.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from monitor.core.journal.words import BEGUN_CLOSED, FINISHED
from monitor.core.text.degrees import degrees, difference, figure, in_unit_shown, plain, span, unit
from monitor.core.text.doubt import NOT_KNOWN_PERCENT, TWO_SD, plus_minus, share, two_sd
from monitor.core.text.quantities import format_duration, format_number
from monitor.review.judgement import Judgement
from monitor.review.next_time import next_time
from monitor.review.numbers import NO_PROBE, NamedSpan, SessionMeasures, StageMeasures
from monitor.review.summary import by_hand, longer, main_stages, parts_of, solution_sentence

FIVE = ("Time", "Hands", "Estimated", "Verified", "Next time")
"""The rows that are always there. A page has no others but `ENDED_EARLY` and `AFTERWARDS`: FAULT stands in its picture, the solution in its
head."""
ENDED_EARLY = "Ended"
AFTERWARDS = "Afterwards"
ON_TIME_S = 1.5
"""A pour this near to its moment was on time."""
OUTSIDE_S = 1.0
"""A shorter time outside the wanted band is not told."""
COOLING_C = 0.3
"""A smaller fall or rise is not called one."""
BY_THE_CLOCK = ", as planned by the clock"
LEAST_TOLD_PERCENT = 0.05
"""A smaller doubt is not told: that of a print's temperature, which its first trace has in it already."""
MOST_NAMED = 3
"""So many baths are named one by one where each was as planned, and so many things that were found afterwards."""
ALL_OF_IT = 0.97
"""More of a stage than this is all of it."""
STOOD_IN = {
    "vessel model": "the vessel's learned lag stood in",
    "held": "the last temperature was held",
    "clock": "the clock alone went on",
}


@dataclass(frozen=True, slots=True)
class Answers:
    """`result` with its `doubt` beside it (empty where it has none), what it is the result of, and the rows: (name, words)."""

    result: str
    doubt: str
    under: str
    rows: tuple[tuple[str, str], ...]


def answers(session: SessionMeasures, judged: Judgement | None = None) -> Answers:
    """Of one session. `judged`: the dry film."""
    stages = main_stages(session)
    result, doubt, under = _result(stages)
    rows = (
        *_ended_early(session),
        ("Time", _each(stages, lambda group: _time(group) + _outside_steered(group))),
        ("Hands", _each(stages, _hands)),
        *_faults(session, stages),
        ("Estimated", _each(stages, lambda group: _estimated(session, group))),
        *_afterwards(session, stages),
        ("Verified", _verified(session, stages)),
        *solution_row(session),
        ("Next time", next_time(session, stages, judged)),
    )
    return Answers(result, doubt, under, rows)


def _ended_early(session: SessionMeasures) -> tuple[tuple[str, str], ...]:
    """Where a session was closed before its last stage was over, why, and what the film never saw."""
    if not session.closed or session.close_why == FINISHED:
        return ()
    where = f"early, in {session.stages[-1].name}" if session.stages else "before it began"
    never = f"; never begun: {', '.join(session.never_begun)}" if session.never_begun else ""
    return ((ENDED_EARLY, f"{where}{never}: {session.close_why}"),)


def _groups(stages: list[StageMeasures]) -> list[list[StageMeasures]]:
    """Sheets of one stage together."""
    return [[s for s in stages if s.stage == number] for number in dict.fromkeys(s.stage for s in stages)]


def shows_per_cent(stages: Sequence[StageMeasures]) -> bool:
    """Whether a development in per cent is told of one of these stages."""
    return any(s.done_percent is not None and s.rate_law is not None for s in stages)


def _each(stages: list[StageMeasures], words: object) -> str:
    """The words of every developing stage, with its name where there are several."""
    assert callable(words)
    groups = _groups(stages)
    if not groups:
        return "nothing developed in this record"
    told = [str(words(group)) for group in groups]
    if len(groups) == 1:
        return told[0]
    if len(set(told)) == 1:
        return f"each {told[0]}" if told[0][:1].isdigit() else told[0]
    if all(said.endswith(BY_THE_CLOCK) for said in told) and len(told) > MOST_NAMED:
        return f"each{BY_THE_CLOCK.removeprefix(',')}"
    return "; ".join(f"{group[0].name}: {said}" for group, said in zip(groups, told, strict=True))


def _result(stages: list[StageMeasures]) -> tuple[str, str, str]:
    """The big figure: per cent done, or the time where temperature did not count."""
    counted = [s for s in stages if s.rate_law is not None]
    if not stages:
        return "no development", "", "in this record"
    if not counted:
        together = max(_runs(stages), key=lambda run: sum(s.actual_s for s in run))
        longest, count = max(together, key=lambda s: s.actual_s), len({s.stage for s in together})
        if count == 1:
            return format_duration(longest.actual_s), "", _outside(longest) + _others_outside(stages, longest)
        baths, band = _outside(longest).partition("by the clock")[1:]
        return format_duration(sum(s.actual_s for s in together)), "", f"{baths}, {count} baths together{band}"
    first = counted[0]
    group = [s for s in counted if s.stage == first.stage]
    what = "of the wanted development"
    if len(group) > 1:
        what += f", {len(group)} sheets"
    elif len(_groups(counted)) > 1:
        what = f"of the wanted {first.name}"
    what += _at(group)
    if all(s.appearance_factor is not None and s.first_trace_s is None for s in group):
        return "not known", "", "of the wanted development: nobody told its first trace"
    known = [s for s in group if s.done_percent is not None]
    if not known:
        return "not known", "", "nothing was read"
    betweens = [b for s in known if (b := s.done_between_percent) is not None]
    if betweens:
        low, high = min(b[0] for b in betweens), max(b[1] for b in betweens)
        return f"{low:.0f} to {high:.0f} %", "", f"{what}: the power was gone"
    widest = max(two_sd(s.done_sd_percent or 0.0) for s in known)
    if widest > NOT_KNOWN_PERCENT:
        worst = max(known, key=lambda s: s.done_sd_percent or 0.0)
        words = share(worst.done_percent or 0.0, worst.done_sd_percent or 0.0)
        return "not known", "", f"{words.removeprefix('not known (').removesuffix(')')} {what}"
    least, most = (f(s.done_percent or 0.0 for s in known) for f in (min, max))
    figure = f"{least:.1f} %" if most - least < 0.15 else f"{least:.1f} to {most:.1f} %"
    return figure, f"+/- {widest:.1f}" if widest >= LEAST_TOLD_PERCENT else "", what


def _runs(stages: list[StageMeasures]) -> list[list[StageMeasures]]:
    """Developing baths that follow one another, as in a water bath, together."""
    runs: list[list[StageMeasures]] = []
    for stage in stages:
        if runs and stage.stage - runs[-1][-1].stage == 1:
            runs[-1].append(stage)
        else:
            runs.append([stage])
    return runs


def _at(group: list[StageMeasures]) -> str:
    """Its temperature: the mean, and from where to where."""
    read = [s for s in group if s.mean_c is not None and s.min_c is not None and s.max_c is not None]
    if not read:
        return ""
    mean_c = sum(s.mean_c or 0.0 for s in read) / len(read)
    low_c, high_c = min(s.min_c or 0.0 for s in read), max(s.max_c or 0.0 for s in read)
    return f", at {degrees(mean_c)} on average ({figure(low_c):.1f} to {figure(high_c):.1f})"


def _outside(stage: StageMeasures) -> str:
    """Of a stage by the clock: its band."""
    if stage.band_c is None:
        return "by the clock"
    outside_s = stage.outside_band_s
    if outside_s is None:
        return "by the clock; its band was not verified"
    verified = "" if stage.probe_compared else ", not verified"
    if outside_s < 0.5:
        return f"by the clock, inside its band{verified}{_at([stage])}"
    return f"by the clock, outside its band for {format_duration(outside_s)}{verified}{_at([stage])}"


def _others_outside(stages: list[StageMeasures], longest: StageMeasures) -> str:
    """Of a headline that speaks of the longest bath: the others that left their bands."""
    out = [s for s in stages if s.stage != longest.stage and (s.outside_band_s or 0.0) >= OUTSIDE_S]
    return "".join(f"; {s.name} outside its band for {format_duration(s.outside_band_s or 0.0)}" for s in out)


def _time(group: list[StageMeasures]) -> str:
    return _took(group) + (f"; {BEGUN_CLOSED}" if group[0].gate_closed else "")


def _took(group: list[StageMeasures]) -> str:
    stage = group[0]
    if len(group) > 1:
        return _sheets_time(group)
    took = format_duration(stage.actual_s)
    plan = "no clock" if not stage.planned_s else f"plan {format_duration(stage.planned_s)}"
    if stage.longer_s or stage.shorter_s:
        least, most = (format_duration(s) for s in stage.actual_between_s)
        return f"between {least} and {most}, counted {took}, {plan}: the power was gone"
    if not stage.planned_s:
        return f"{took}, {plan}"
    if stage.until == "at least" and stage.actual_s > stage.planned_s - 0.5:
        return f"{took}, at least {format_duration(stage.planned_s)} by the clock"
    if stage.appearance_factor is not None:
        return f"{took}, {_by_first_trace(stage)}"
    off_s = stage.actual_s - stage.planned_s
    if abs(off_s) < 0.5:
        return f"{took}, as planned" if stage.steered else f"{took}{BY_THE_CLOCK}"
    moved_s = stage.moved_s if stage.steered else None
    poured_s = _poured_s(stage)
    if moved_s is None or abs(moved_s) < 0.5:
        return f"{took}, {plan}: {longer(off_s)}" + ("" if poured_s is None else f", {by_hand(stage, poured_s)}")
    if poured_s is None:
        return f"{took}, {plan}: {longer(off_s)}, {_heat(stage)}"
    return f"{took}, {plan}: {longer(off_s)}: {parts_of(stage, moved_s, _heat(stage), poured_s)}"


def _outside_steered(group: list[StageMeasures]) -> str:
    """How long the temperature, which moved the time, lay outside the wanted band: the longest of several sheets."""
    worst = max(group, key=lambda s: s.outside_band_s or 0.0)
    if not worst.steered or worst.band_c is None or worst.longer_s or worst.shorter_s or (worst.outside_band_s or 0.0) < OUTSIDE_S:
        return ""
    return f"; outside its band of {difference(worst.band_c)} for {format_duration(worst.outside_band_s or 0.0)}"


def _by_first_trace(stage: StageMeasures) -> str:
    """What set a print's time."""
    if stage.first_trace_s is None:
        return f"the longest time of {format_duration(stage.planned_s or 0.0)}: nobody told its first trace"
    times = f"{format_number(stage.appearance_factor or 1.0)} times its first trace at {format_duration(stage.first_trace_s)}"
    poured_s = _poured_s(stage)
    return times + ("" if poured_s is None else f", {longer(poured_s)} {by_hand(stage, poured_s)}")


def _poured_s(stage: StageMeasures) -> float | None:
    """By how much the pour missed its moment; None where it was on time, or nobody knows."""
    return stage.overrun_s if stage.overrun_s is not None and abs(stage.overrun_s) >= ON_TIME_S else None


def _heat(stage: StageMeasures) -> str:
    """Why the end moved: that it cooled or warmed where it began about right, else how far it lay from the reference on average."""
    if stage.mean_c is None or stage.reference_c is None:
        return "for the temperature"
    off_c = stage.mean_c - stage.reference_c
    mean = f"at {difference(abs(off_c))} {'above' if off_c > 0 else 'below'} {plain(stage.reference_c)}"
    if stage.min_c is None or stage.max_c is None or stage.min_at_s is None or stage.max_at_s is None:
        return mean
    span_c, cooled = stage.max_c - stage.min_c, stage.min_at_s > stage.max_at_s
    if span_c < COOLING_C:
        return mean
    first_c, last_c = (stage.max_c, stage.min_c) if cooled else (stage.min_c, stage.max_c)
    towards = -1.0 if cooled else 1.0
    if towards * off_c > 0.0 and towards * (first_c - stage.reference_c) <= abs(off_c) / 2.0:
        return f"as it {'cooled' if cooled else 'warmed'} {difference(span_c)}"
    return f"{mean} on average ({figure(first_c):.1f} to {figure(last_c):.1f})"


def _sheets_time(group: list[StageMeasures]) -> str:
    shortest, longest = min(s.actual_s for s in group), max(s.actual_s for s in group)
    took = format_duration(shortest) if longest - shortest < 0.5 else f"{format_duration(shortest)} to {format_duration(longest)}"
    offs = [s.actual_s - s.planned_s for s in group if s.planned_s]
    plans = {round(s.planned_s) for s in group if s.planned_s}
    plan = f"plan {format_duration(plans.pop())}" if len(plans) == 1 else "each with its own plan"
    if not offs or max(map(abs, offs)) < 0.5:
        return f"{took}, as planned"
    low, high = sorted((min(offs, key=abs), max(offs, key=abs)), key=abs)
    if low * high < 0:
        return f"{took}, {plan}: from {longer(min(offs))} to {longer(max(offs))}"
    size = longer(high) if abs(high - low) < 0.5 else f"{abs(low):.0f} to {longer(high)}"
    heat = _heat(max(group, key=lambda s: abs((s.mean_c or 0.0) - (s.reference_c or 0.0)))) if group[0].steered else ""
    return f"{took}, {plan}: {size}" + (f", {heat}" if heat else "")


def _hands(group: list[StageMeasures]) -> str:
    untold = [s for s in group if not s.end_told]
    if untold:
        which = "" if len(group) == 1 else f" ({len(untold)} of {len(group)} sheets)"
        return f"not told when the {group[0].name} bath was left{which}"
    offs = [s for s in group if s.overrun_s is not None]
    if not offs:
        return "no end was called"
    worst = max(offs, key=lambda s: abs(s.overrun_s or 0.0))
    off_s = worst.overrun_s or 0.0
    verb = "lifted" if worst.lifted else "poured"
    by = {"tap": "you tapped", "on time": "you held", "correction": "a later tap told it"}.get(worst.ended_by, "")
    if worst.longer_s or worst.shorter_s:
        return f"{verb} at the counted end; when that really was nobody knows"
    if abs(off_s) < ON_TIME_S:
        return f"{verb} on time" + (f" ({by})" if by else "")
    size = f"{abs(off_s):.0f} s" if abs(off_s) < 60 else format_duration(abs(off_s))
    said = f"{size} {'late' if off_s > 0 else 'early'}" + ("" if len(group) == 1 else f" (sheet {worst.sheet})")
    if worst.station_late_s is not None:
        return f"{said}, of which the station's {worst.station_late_s:.0f} s: it was away when NOW was due"
    done = 100.0 * off_s / worst.actual_s
    cost = f": {abs(done):.1f} % {'more' if done > 0 else 'less'}" if abs(done) >= 0.5 and worst.rate_law is not None else ""
    return f"{said}{cost}" + (f" ({by})" if by else "")


def _estimated(session: SessionMeasures, group: list[StageMeasures]) -> str:
    worst = max(group, key=lambda s: s.told_estimated_s)
    if worst.told_estimated_s < 0.5:
        return "nothing" if worst.mean_c is not None or worst.steered else "the temperature was not measured"
    whole = f"{format_duration(worst.told_estimated_s)} of {format_duration(worst.actual_s)}"
    if worst.told_estimated_s > ALL_OF_IT * worst.actual_s:
        whole = "all of it"
    elif len(worst.told_spans) == 1:
        only = worst.told_spans[0]
        whole += f", from {format_duration(only.from_s - worst.begin_s)} to {format_duration(only.to_s - worst.begin_s)}"
    main = max(worst.told_spans, key=lambda s: s.to_s - s.from_s)
    stood = STOOD_IN.get(main.what, main.what)
    away = [r for r in session.resumes if main.from_s - 5.0 <= r["t_s"] <= main.to_s + 5.0]
    lost = [t for t in session.losses if main.from_s - 20.0 <= t["t_s"] <= main.to_s]
    if away:
        return f"{whole}: the program was off, {stood}"
    return f"{whole}: " + (f"{lost[0]['probe']}, {in_unit_shown(lost[0]['why'])}; {stood}" if lost else stood)


def _afterwards(session: SessionMeasures, stages: list[StageMeasures]) -> tuple[tuple[str, str], ...]:
    """A row only where readings of the developer that live had believed were left out or corrected: which, when, and why."""
    told = []
    for one in session.doubted:
        group = next((g for g in _groups(stages) if one.from_s < _end_s(g) and one.to_s > g[0].begin_s), None)
        probe = session.probe(one.probe)
        of_developer = one.made == "corrected" or (probe is not None and probe.role in ("developer", "witness"))
        if group is not None and one.news and of_developer:
            named = f" of {group[0].name}" if len(_groups(stages)) > 1 else ""
            told.append(f"{one.made} {_when(one, group)}{named} ({in_unit_shown(one.what.partition('; ')[0])})")
    more = [f"{len(told) - MOST_NAMED} more"] if len(told) > MOST_NAMED else []
    return ((AFTERWARDS, "; ".join([*told[:MOST_NAMED], *more])),) if told else ()


def _end_s(group: list[StageMeasures]) -> float:
    return max(s.actual_end_s for s in group)


def _when(span: NamedSpan, group: list[StageMeasures]) -> str:
    """A span on the clock of a stage, or that it is all of it."""
    begin_s, end_s = group[0].begin_s, _end_s(group)
    from_s, to_s = max(span.from_s, begin_s), min(span.to_s, end_s)
    if to_s - from_s > ALL_OF_IT * (end_s - begin_s):
        return "all of it"
    return f"{format_duration(from_s - begin_s)} to {format_duration(to_s - begin_s)}"


def _faults(session: SessionMeasures, stages: list[StageMeasures]) -> tuple[tuple[str, str], ...]:
    """A row only where FAULT sounded: when and why, on the clock of the stage that it fell into."""
    told = []
    for call in session.fault_calls:
        stage = next((s for s in stages if s.begin_s <= call["t_s"] <= s.actual_end_s), None)
        at = "outside development" if stage is None else f"at {format_duration(call['t_s'] - stage.begin_s)}"
        if stage is not None and stage.begin_s >= 1.0:  # else the session's clock shows the same
            at += f" into {stage.name}"
        told.append(f"{at}, {in_unit_shown(str(call['why'] or 'nothing tells why'))}")
    return (("FAULT", "; ".join(told)),) if told else ()


def solution_row(session: SessionMeasures) -> tuple[tuple[str, str], ...]:
    """A row only where the record knows a solution's age or use: the one for which the ledger asked for more time, else the first."""
    known = [s for s in session.solutions if s.get("mixed") or s.get("age_s") is not None or s.get("used_area_units") is not None]
    told = next((s for s in known if s.get("time_factor", 1.0) != 1.0), known[0] if known else None)
    return () if told is None else (("Solution", solution_sentence(told)),)


def _verified(session: SessionMeasures, stages: list[StageMeasures]) -> str:
    """Whether what was measured is known to be right: the comparison of the probe that measured."""
    by = next((s.measured_by for s in stages if s.measured_by), None)
    if by is None or by == NO_PROBE:
        return "no: no probe in the developer was believed"
    probe = session.probe(by)
    if probe is None or probe.compared is None:
        return f"no: the probe was never compared, {plus_minus(span(0.0 if probe is None else probe.comparison_sd_c), 2, f' {unit()}')}"
    when = probe.compared.get("wall") or probe.compared.get("date") or probe.compared.get("when")
    against = probe.compared.get("against") or probe.compared.get("reference")
    words = f"probe compared {str(when)[:10]}" if when else "probe compared (the record has no date)"
    return f"{words}{f', against {against}' if against else ''}, {plus_minus(span(probe.comparison_sd_c), 2, f' {unit()}')}"


def short_text(session: SessionMeasures, judged: Judgement | None = None) -> str:
    """For a terminal: what it was and how it went, then the five rows; ends without a newline."""
    told = answers(session, judged)
    doubt = f" {told.doubt} ({TWO_SD})" if told.doubt else ""
    kind = f" (rehearsal, no {session.medium})" if session.mode == "rehearsal" else ""
    which = "" if session.evening is None else f", {session.evening.in_words}"
    lines = [f"{session.session}: {session.recipe or 'no recipe in the record'}{which}{kind}: {told.result}{doubt} {told.under}"]
    lines += [f"  {name:<10} {words}" for name, words in told.rows]
    if session.torn:
        lines.append(f"  {session.torn}")
    return "\n".join(lines)
