"""The page of one session: the answer first, then one picture, then the numbers; on paper one A4 page.

Decides the page's order and words; numbers come from the measures, the first screen's words from answers.py, the picture from
evening.py. Each picture has its numbers in its text and its data in a table. Tests: tests/review/pages/test_session.py.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from monitor.core.text.degrees import degrees, figure, in_unit_shown, span
from monitor.core.text.doubt import PER_CENT_IS, TWO_SD, plus_minus, share, two_sd
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.review import summary
from monitor.review.answers import AFTERWARDS, ENDED_EARLY, FIVE, ON_TIME_S, answers, shows_per_cent, solution_row
from monitor.review.days import day_in_words
from monitor.review.judgement import Judgement, latest, read_judgements
from monitor.review.load import Journal
from monitor.review.measures import Review
from monitor.review.numbers import SessionMeasures, StageMeasures
from monitor.review.pages.evening import CALLS_APART_S, Evening, draw, gather
from monitor.review.pages.html import cell, details, items, page, picture, table, thin_rows

_LEADING = re.compile(r"^\d+:\d\d(?::\d\d)?(?: of \d+:\d\d)?(?=[,:; ])")


def write_report(journal: Journal, review: Review, out: Path) -> None:
    """Write the page of one session. `review`: the measures of this journal."""
    out.write_text(session_page(journal, review), encoding="utf-8")


def session_page(journal: Journal, review: Review) -> str:
    """The page of one session as text."""
    numbers = review.numbers
    judged = read_judgements(Path(journal.file))
    parts = [_head(numbers)]
    parts += [f'<p class="problem">{cell(problem)}</p>' for problem in numbers.problems]
    parts.append(_answer(numbers, latest(judged)))
    parts += [_picture(journal, review, evening, stage) for evening, stage in _evenings(journal, review)]
    parts.append(_stages_table(numbers.stages))
    parts.append(_cues(journal, numbers))
    if judged:
        parts.append(_judgements(judged))
    parts.append(details("The session in words", "".join(f"<p>{cell(typeset(s))}</p>" for s in summary.sentences(numbers))))
    parts.append(_probes(journal, numbers))
    parts.append(_recipe(journal))
    if not judged:
        parts.append('<p class="screen">Nothing is written down about the dry film yet: <code>evenbath judge</code> does that.</p>')
    return page(f"{numbers.recipe or 'No recipe'}, session {numbers.session}", "\n".join(parts))


# --- the first screen ------------------------------------------------------------------------------------------------


def _head(numbers: SessionMeasures) -> str:
    words = [day_in_words(numbers.opened_wall, numbers.zone)]
    if numbers.contents:
        words.append(numbers.contents)
    if numbers.evening is not None:
        words.append(f"{numbers.evening.in_words} of the evening “{numbers.evening.name}”")
    words += [said for name, said in solution_row(numbers)]
    words.append({"rehearsal": f"rehearsal, no {numbers.medium}", "live": "live"}.get(numbers.mode, numbers.mode))
    words.append(f"session {numbers.session}")
    if not numbers.closed:
        words.append("never closed: still running, or lost")
    return f"<header><h1>{cell(numbers.recipe or 'No recipe in the record')}</h1><p>{cell(' · '.join(words))}</p></header>"


def _answer(numbers: SessionMeasures, judged: Judgement | None) -> str:
    told = answers(numbers, judged)
    doubt = f' <span class="doubtful">{cell(typeset(told.doubt))}</span>' if told.doubt else ""
    meaning = f" (± {TWO_SD})" if told.doubt else ""
    shown = (ENDED_EARLY, AFTERWARDS, *FIVE)
    rows = "".join(f"<dt>{name}</dt><dd>{_row(typeset(words))}</dd>" for name, words in told.rows if name in shown)
    long = " long" if len(told.result) > 8 else ""
    what, comma, rest = told.under.partition(",")
    return (
        f'<section class="answer" aria-label="Result"><div><p class="result{long}">{cell(typeset(told.result))}{doubt}</p>'
        f'<p class="under">{cell(typeset(what))}{meaning}{cell(typeset(comma + rest))}</p></div><dl>{rows}</dl></section>'
    )


def _row(words: str) -> str:
    """A row's words as a sentence, its leading time in bold."""
    return _LEADING.sub(r"<b>\g<0></b>", cell(words[:1].upper() + words[1:]))


# --- the picture -----------------------------------------------------------------------------------------------------


def _evenings(journal: Journal, review: Review) -> Iterator[tuple[Evening, StageMeasures]]:
    """What is drawn: every developing stage whose temperature is known, else the first stage that has one."""
    wanted = list(dict.fromkeys(s.stage for s in summary.main_stages(review.numbers)))
    for number in wanted or sorted(review.tracks)[:1]:
        evening = gather(journal, review, number)
        if evening is not None:
            yield evening, next(s for s in review.numbers.stages if s.stage == number)


def pictures_of(journal: Journal, review: Review) -> list[tuple[str, str]]:
    """The pictures of a session's page: each at a desk's and at a phone's size."""
    made = []
    for evening, stage in _evenings(journal, review):
        alt = in_words(evening, [s for s in review.numbers.stages if s.stage == stage.stage])
        made.append((draw(evening, alt, wide=True), draw(evening, alt, wide=False)))
    return made


def in_words(evening: Evening, stages: Sequence[StageMeasures]) -> str:
    """The picture for somebody who does not see it."""
    told = [f"{evening.name.capitalize()} over time."]
    for s in stages:
        done = "by the clock" if s.rate_law is None else summary.done_sentence(s)
        told.append(f"{summary.stage_label(s).capitalize()}: {summary.planned_sentence(s)}; {done}.")
    first = stages[0]
    told.append(f"Temperature: {summary.temperature_sentence(first)}; {summary.estimated_sentence(first) or 'nothing estimated'}.")
    if evening.behind_words[0]:
        told.append(f"At the end {' '.join(evening.behind_words).strip()}.")
    return typeset(" ".join(told))


def _picture(journal: Journal, review: Review, evening: Evening, stage: StageMeasures) -> str:
    stages = [s for s in review.numbers.stages if s.stage == stage.stage]
    alt = in_words(evening, stages)
    caption = [f"Minutes of {evening.name}. Shaded around the developer: {TWO_SD}."]
    if any(estimated for _, _, _, estimated in evening.curve):
        caption.append("Dotted: estimated, no probe was believed.")
    if evening.far:
        caption.append(f"Too far off to be drawn: {', '.join(evening.far)}.")
    rows = thin_rows([
        (format_duration(t), typeset(degrees(c, ".2f")), f"±{span(s):.2f}", "estimated" if d else "measured")
        for t, c, s, d in evening.curve
    ])  # fmt: skip
    behind = table(f"{evening.name.capitalize()}, thinned", ("since its begin", "developer", TWO_SD, "rests on"), rows)
    behind += "<p>All of it: <code>evenbath review JOURNAL --csv FILE.csv</code>.</p>"
    return picture(draw(evening, alt, wide=True), draw(evening, alt, wide=False), " ".join(caption), behind)


# --- tables ----------------------------------------------------------------------------------------------------------


def _celsius(value: float | None, sd: float | None = None) -> str:
    return "not measured" if value is None else degrees(value, ".2f") + (f" {plus_minus(span(sd), 2)}" if sd is not None else "")


def _from_to(low_c: float, high_c: float) -> str:
    return f"{figure(low_c):.2f} to {degrees(high_c, '.2f')}"


def _outside(stage: StageMeasures) -> str:
    """Time outside the band; an estimate alone never says that there was none."""
    if stage.band_c is None:
        return ""
    outside_s = stage.outside_band_s
    if outside_s is None:
        return "not verified"
    return "not verified" if stage.probe_compared is None and outside_s < 0.5 else format_duration(outside_s)


def _pour(stage: StageMeasures) -> str:
    """How its end was against the end that was called."""
    if not stage.end_told:
        return "not told"
    if stage.overrun_s is None:
        return ""
    return summary.signed_duration(stage.overrun_s) if abs(stage.overrun_s) >= ON_TIME_S else "on time"


def _done(stage: StageMeasures) -> str:
    if stage.rate_law is None:
        return "by the clock"
    if stage.done_percent is None:
        return "not known"
    said = share(stage.done_percent, stage.done_sd_percent or 0.0, stage.done_between_percent)
    live = stage.live_done_percent
    differs = live is not None and abs(live - stage.done_percent) > max(0.5, two_sd(stage.done_sd_percent or 0.0))
    return said + (f" (said then: {live:.1f} %)" if differs else "")


def _took(stage: StageMeasures) -> str:
    if not (stage.longer_s or stage.shorter_s):
        return format_duration(stage.actual_s)
    return " to ".join(format_duration(s) for s in stage.actual_between_s)


def _plan(stage: StageMeasures) -> str:
    return "" if stage.planned_s is None else "no clock" if stage.planned_s == 0 else format_duration(stage.planned_s)


def _stages_table(stages: Sequence[StageMeasures]) -> str:
    head = ["stage", "plan", "took", "ended", "done", "mean", "lowest to highest", "outside its band", "estimated"]
    rows = []
    for s in _folded(stages):
        if isinstance(s, list):
            rows.append(_together(s))
            continue
        extremes = "" if s.min_c is None or s.max_c is None else _from_to(s.min_c, s.max_c)
        row = (f"{s.stage} {summary.stage_label(s)}", _plan(s), _took(s), _pour(s), _done(s), _celsius(s.mean_c, s.mean_sd_c), extremes,
               _outside(s), format_duration(s.told_estimated_s) if s.told_estimated_s >= 0.5 else "")  # fmt: skip
        rows.append([row[0], *map(typeset, row[1:])])
    filled = [i for i in range(len(head)) if any(row[i] for row in rows)]
    places = sorted({s.measured_by for s in stages if s.measured_by})
    where = " and ".join(summary.where_in_words(p) for p in places) or "not measured"
    shown = [[row[i] for i in filled] for row in rows]
    caption = f"Stages. Temperatures {where}; ± {TWO_SD}."
    if shows_per_cent(stages):
        caption += f" {typeset(PER_CENT_IS)}"
    return table(caption, [head[i] for i in filled], shown, narrow=("stage", "plan", "took"), kind="stages")


def _folded(stages: Sequence[StageMeasures]) -> Iterator[StageMeasures | list[StageMeasures]]:
    """The stages one by one, the sheets of a stage by the clock together: they are nowhere told apart."""
    for number in dict.fromkeys(s.stage for s in stages):
        own = [s for s in stages if s.stage == number]
        if len(own) > 1 and own[0].rate_law is None:
            yield own
        else:
            yield from own


def _together(own: Sequence[StageMeasures]) -> list[str]:
    """The row of several sheets in one stage."""
    shortest, longest = (format_duration(f(s.actual_s for s in own)) for f in (min, max))
    worst = max(own, key=lambda s: (not s.end_told, abs(s.overrun_s or 0.0)))
    known = [s for s in own if s.min_c is not None and s.max_c is not None and s.mean_c is not None]
    mean, extremes = "not measured", ""
    if known:
        mean = typeset(_celsius(sum(s.mean_c or 0.0 for s in known) / len(known), max(s.mean_sd_c or 0.0 for s in known)))
        extremes = typeset(_from_to(min(s.min_c or 0.0 for s in known), max(s.max_c or 0.0 for s in known)))
    outside = [s.outside_band_s or 0.0 for s in own if s.band_c is not None]
    took = shortest if shortest == longest else f"{shortest} to {longest}"
    return [f"{own[0].stage} {own[0].name}, {len(own)} sheets", _plan(own[-1]), took, _pour(worst),
            "by the clock", mean, extremes, format_duration(max(outside)) if outside else "", ""]  # fmt: skip


def _cues(journal: Journal, numbers: SessionMeasures) -> str:
    """What sounded but ticks, answers and clicks; a call that goes on is one row. Always open: a paper has no other place for it."""
    rows: list[list[str]] = []
    last: dict[tuple[str, Any], tuple[float, int]] = {}
    for cue in journal.of("cue"):
        if cue["cue"] not in ("ready", "now", "fault", "over"):
            continue
        key, t_s = (cue["cue"], cue.get("sheet")), cue["t_s"]
        before = last.get(key)
        if before is not None and cue["cue"] == "now" and t_s - before[0] <= CALLS_APART_S:
            last[key] = (t_s, before[1])
            row = rows[before[1]]
            row[5] = f"until {summary.moment(numbers, t_s).split(' of ')[0]}"
            continue
        last[key] = (t_s, len(rows))
        late, sheet = cue.get("lateness_s"), cue.get("sheet")
        why = cue.get("why") or next((f["why"] for f in numbers.fault_calls if cue["cue"] == "fault" and f["t_s"] == t_s), None) or ""
        moment, _, stage = summary.moment(numbers, t_s).partition(" of ")
        rows.append([cue["cue"].upper(), moment, stage, "" if sheet is None else str(sheet), typeset(in_unit_shown(why)), "",
                     "" if late is None else f"{1000 * late:.0f} ms"])  # fmt: skip
    rows = _sheets_together(rows)
    if not rows:
        return '<p class="screen">Nothing was called: no READY, NOW or FAULT sounded.</p>'
    head = ["cue", "at", "of", "sheet", "why", "went on", "late by"]
    filled = [i for i in range(len(head)) if any(row[i] for row in rows)]
    ticks = numbers.cues.get("tick", 0)
    caption = "Calls that sounded" + (f"; beside them {ticks} ticks" if ticks else "")
    shown = [[row[i] for i in filled] for row in rows]
    inside = table(caption, [head[i] for i in filled], shown, narrow=("cue", "at", "of", "sheet", "why"))
    return details("Calls", inside, opened=True, kind="cues")


def _sheets_together(rows: Sequence[list[str]]) -> list[list[str]]:
    """One row for what was called sheet after sheet in one stage."""
    made: list[list[str]] = []
    for row in rows:
        before = made[-1] if made else None
        if before is not None and row[3] and before[3] and (before[0], before[2], before[4]) == (row[0], row[2], row[4]):
            before[1] = f"{before[1].split(' to ')[0]} to {row[1]}"
            before[3] = f"{before[3].split(' to ')[0]} to {row[3]}"
            before[5] = row[5] or before[5]
            before[6] = max(before[6], row[6], key=len)
        else:
            made.append(row)
    return made


def _judgements(judged: Sequence[Judgement]) -> str:
    head = ["written", "density", "base fog", "evenness", "grade", "seen", "notes"]
    rows = [(j.wall, j.density, j.base_fog, j.evenness, j.grade, ", ".join(j.seen), j.notes) for j in judged]
    filled = [i for i in range(len(head)) if any(row[i] for row in rows)]
    return table("The dry film", [head[i] for i in filled], [[row[i] for i in filled] for row in rows])


def _probes(journal: Journal, numbers: SessionMeasures) -> str:
    rows = []
    for probe in numbers.probes:
        series = journal.readings.get(probe.probe)
        good = 0 if series is None else sum(q == "good" for q in series.quality)
        count = 0 if series is None else len(series.quality)
        compared = summary.probe_sentence(probe).split(": ", 1)[1]
        rows.append((probe.probe, probe.role, f"{probe.lag_s:g} s", typeset(compared), f"{good} of {count}"))
    if not rows:
        return details("Probes", "<p>No probe in the record.</p>")
    inside = table(f"Probes; ± {TWO_SD}", ("probe", "role", "lag", "comparison", "good readings"), rows)
    gaps = [f"{g.what}: no good reading from {format_duration(g.from_s)} to {format_duration(g.to_s)}" for g in numbers.gaps]
    inside += items(gaps) if gaps else "<p>No gap of more than 5 s in any probe's readings.</p>"
    trust = [typeset(summary.trust_sentence(t, numbers)) for t in numbers.trust]
    inside += items(trust) if trust else "<p>No probe was gained or lost.</p>"
    return details("Probes, and when they were believed", inside)


def _recipe(journal: Journal) -> str:
    recipe = journal.opening.get("recipe")
    if not isinstance(recipe, dict):
        return ""
    shown = cell(json.dumps(recipe, indent=1, ensure_ascii=False))
    return details("The recipe as it was loaded", f'<pre class="scroll" tabindex="0" role="region" aria-label="Recipe">{shown}</pre>')
