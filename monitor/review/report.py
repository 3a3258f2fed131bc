"""One page that holds everything of a session: text first, then tables and pictures; opens in any browser, for ever.

Decides the page's order and words; numbers come from the measures, pictures from figures.py. The page is one file, asks the
network for nothing, prints, follows the reader's light or dark, and can be read without seeing: each picture has its numbers
in its text and its data in a table. Tests: tests/review/test_report.py (also in a real Chromium, with axe-core where it is).
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from monitor.core.development.rate import rate
from monitor.core.text.doubt import SHOWN, TWO_SD, two_sd
from monitor.core.text.quantities import format_duration
from monitor.review import figures, summary
from monitor.review.figures import DASH_DOT, DASHED, DIM, FIRST, INK, LONG, SECOND, THIRD, Mark, Picture, PlotLine
from monitor.review.integrals import weights
from monitor.review.judgement import read_judgements
from monitor.review.load import Journal
from monitor.review.measures import Review
from monitor.review.numbers import StageMeasures
from monitor.review.timeline import counted_from_to

if TYPE_CHECKING:
    from monitor.review.compare import SessionComparison

BREAK_C = 0.3
"""Between two stages a larger step of temperature is another liquid, and the line is broken."""
BIN_S = 10.0
CUE_WEIGHTS = {"now": 3.0, "fault": 2.0, "ready": 1.0}
MOST_IN_WORDS = 30
TABLE_ROWS = 90
"""Rows of the table behind a picture; the full one is what `--csv` writes."""


def write_report(journal: Journal, review: Review, out: Path) -> None:
    """Write the page of one session. `review`: the measures of this journal."""
    out.write_text(session_page(journal, review), encoding="utf-8")


def page(title: str, body: str) -> str:
    """A whole page around a body."""
    style = Path(__file__).with_name("report.css").read_text(encoding="utf-8")
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">'
        f'<link rel="icon" href="data:,"><title>{html.escape(title)}</title><style>\n{style}</style></head>\n'
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def table(caption: str, head: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table that can be scrolled sideways by keyboard too. The first cell of a row is its heading."""
    name = html.escape(caption)
    lines = [f'<div class="scroll" tabindex="0" role="region" aria-label="{name}"><table><caption>{name}</caption><thead><tr>']
    lines += [f'<th scope="col">{html.escape(h)}</th>' for h in head]
    lines.append("</tr></thead><tbody>")
    for row in rows:
        first, *rest = ("" if cell is None else html.escape(str(cell)) for cell in row)
        cells = "".join(f'<td class="long">{c}</td>' if len(c) > 28 else f"<td>{c}</td>" for c in rest)
        lines.append(f'<tr><th scope="row">{first}</th>{cells}</tr>')
    lines.append("</tbody></table></div>")
    return "\n".join(lines)


def session_page(journal: Journal, review: Review) -> str:
    """The page of one session as text."""
    numbers = review.numbers
    parts = [f"<h1>Session {html.escape(numbers.session)}: {html.escape(numbers.recipe or 'no recipe in the record')}</h1>"]
    parts += [f'<p class="problem">{html.escape(problem)}</p>' for problem in numbers.problems]
    parts += [f"<p>{html.escape(sentence)}</p>" for sentence in summary.sentences(numbers)]
    parts.append("<h2>Stages</h2>" + _stages_table(numbers.stages))
    if review.tracks:
        parts.append("<h2>Temperature</h2>" + _temperature_figure(journal, review))
    for stage in sorted({s.stage for s in numbers.stages if s.rate_law is not None and s.done_ref_s is not None}):
        parts.append(f"<h2>Development done, stage {stage}</h2>" + _done_figure(journal, review, stage))
    parts.append("<h2>Probes</h2>" + _probes_table(journal, review))
    parts.append("<h2>Trust</h2>" + _trust(review))
    parts.append("<h2>Cues</h2>" + _cues_table(journal, review))
    parts.append("<h2>Judgement</h2>" + _judgements(Path(journal.file)))
    parts.append(_recipe_details(journal))
    return page(f"Session {numbers.session}", "\n".join(parts))


# --- tables ----------------------------------------------------------------------------------------------------------


def _percent(value: float | None, sd: float | None = None) -> str:
    return "not known" if value is None else f"{value:.1f} %" + (f" ±{two_sd(sd):.1f}" if sd else "")


def _celsius(value: float | None, sd: float | None = None) -> str:
    return "not measured" if value is None else f"{value:.2f} C" + (f" ±{two_sd(sd):.2f}" if sd is not None else "")


def _seconds(value: float | None) -> str:
    return "not planned" if value is None else "no clock" if value == 0 else format_duration(value)


def _outside(stage: StageMeasures) -> str:
    """Time outside the band; an estimate alone never says that there was none."""
    if stage.band_c is None:
        return "no band"
    if stage.below_band_s is None or stage.above_band_s is None:
        return "not verified"
    outside_s = stage.below_band_s + stage.above_band_s
    return "not verified" if stage.probe_compared is None and outside_s < 0.5 else format_duration(outside_s)


def _pour(stage: StageMeasures) -> str:
    """How the pour was against its planned end."""
    if not stage.end_told:
        return "not told"
    if stage.overrun_s is None:
        return ""
    return summary.signed_duration(stage.overrun_s) if abs(stage.overrun_s) >= 0.5 else "on time"


def _done(stage: StageMeasures) -> str:
    between = stage.done_between_percent
    return _percent(stage.done_percent, stage.done_sd_percent) if between is None else f"{between[0]:.0f} to {between[1]:.0f} %"


def _stages_table(stages: Sequence[StageMeasures]) -> str:
    head = ("stage", "planned", "actual", "pour", "done, now known", "live said", "mean", "lowest to highest", "out of band", "estimated")
    rows = []
    for s in stages:
        outside = _outside(s)
        counts = s.rate_law is not None
        rows.append((
            f"{s.stage} {summary.stage_label(s)}", _seconds(s.planned_s), format_duration(s.actual_s),
            _pour(s),
            _done(s) if counts else "by the clock", _percent(s.live_done_percent) if counts else "",
            _celsius(s.mean_c, s.mean_sd_c), "" if s.min_c is None else f"{s.min_c:.2f} to {s.max_c:.2f} C", outside,
            format_duration(s.estimated_s),
        ))  # fmt: skip
    places = sorted({s.measured_by for s in stages if s.measured_by})
    where = " and ".join(summary.where_in_words(p) for p in places) or "not measured"
    return table(f"Stages; temperatures {where}, smoothed afterwards; ± {TWO_SD}", head, rows)


def _probes_table(journal: Journal, review: Review) -> str:
    rows = []
    for probe in review.numbers.probes:
        series = journal.readings.get(probe.probe)
        good = 0 if series is None else sum(q == "good" for q in series.quality)
        count = 0 if series is None else len(series.quality)
        rows.append((probe.probe, probe.role, f"{probe.lag_s:g} s", f"±{two_sd(probe.comparison_sd_c):.2f} C",
                     summary.probe_sentence(probe).split(": ", 1)[1], f"{good} of {count}"))  # fmt: skip
    if not rows:
        return "<p>No probe in the record.</p>"
    gaps = "".join(
        f"<li>{html.escape(g.what)}: no good reading from {format_duration(g.from_s)} to {format_duration(g.to_s)}</li>"
        for g in review.numbers.gaps
    )
    return table("Probes of the session", ("probe", "role", "lag", "two standard deviations", "comparison", "good readings"), rows) + (
        f"<ul>{gaps}</ul>" if gaps else "<p>No gap of more than 5 s in any probe's readings.</p>"
    )


def _trust(review: Review) -> str:
    changes = "".join(f"<li>{html.escape(summary.trust_sentence(t, review.numbers))}</li>" for t in review.numbers.trust)
    return f"<ul>{changes}</ul>" if changes else "<p>No probe was gained or lost.</p>"


def _cues_table(journal: Journal, review: Review) -> str:
    rows = []
    for cue in journal.of("cue"):
        if cue["cue"] in ("ready", "now", "fault", "over"):
            late = cue.get("lateness_s")
            sheet = "" if cue.get("sheet") is None else str(cue["sheet"])
            rows.append((format_duration(cue["t_s"], 1), cue["cue"].upper(), sheet, "" if late is None else f"{1000 * late:.0f} ms"))
    counted = ", ".join(f"{number} {name}" for name, number in sorted(review.numbers.cues.items())) or "none"
    if not rows:
        return f"<p>Cues: {html.escape(counted)}.</p>"
    return f"<p>Cues that sounded: {html.escape(counted)}.</p><details><summary>The cues one by one</summary>" + table(
        "Cues but ticks, answers and clicks", ("session time", "cue", "sheet", "after its moment"), rows
    ) + "</details>"  # fmt: skip


def _judgements(file: Path) -> str:
    rows = [(j.wall, j.density, j.base_fog, j.evenness, j.grade, ", ".join(j.seen), j.notes) for j in read_judgements(file)]
    if not rows:
        return "<p>Nothing has been written down about the dry film. <code>evenbath judge</code> does.</p>"
    return table("What the dry film looks like", ("written", "density", "base fog", "evenness", "grade", "seen", "notes"), rows)


def _recipe_details(journal: Journal) -> str:
    import json

    recipe = journal.opening.get("recipe")
    if not isinstance(recipe, dict):
        return ""
    shown = html.escape(json.dumps(recipe, indent=1, ensure_ascii=False))
    block = f'<pre class="scroll" tabindex="0" role="region" aria-label="Recipe">{shown}</pre>'
    return f"<details><summary>The recipe as it was loaded</summary>{block}</details>"


# --- pictures --------------------------------------------------------------------------------------------------------


def _temperature_figure(journal: Journal, review: Review) -> str:
    numbers = review.numbers
    lines: list[PlotLine] = []
    shown_c: list[float] = []
    joined = _joined_tracks(review)
    times, celsius, spread, dotted = joined
    lines.append(PlotLine("developer, now known", times / 60.0, celsius, colour=INK, width=2.0, dotted=dotted, spread=SHOWN * spread))
    shown_c += [float(np.nanmin(celsius)), float(np.nanmax(celsius))]
    live = _live_line(journal)
    if live is not None:
        lines.append(PlotLine("developer, live said", live[0] / 60.0, live[1], style=DASHED, colour=FIRST, width=1.1))
    left_out = []
    for series, style, colour in zip(
        (s for s in journal.readings.values() if s.role in ("bath", "room", "wash")),
        (DASH_DOT, LONG, DASHED) * 3,
        (SECOND, THIRD, DIM) * 3,
        strict=False,
    ):
        values = np.frombuffer(series.celsius)
        good = ~np.isnan(values)
        if not good.any():
            continue
        middle = float(np.median(values[good]))
        if series.role == "room" and (middle < min(shown_c) - 6 or middle > max(shown_c) + 6):
            left_out.append(f"{series.probe} (median {middle:.1f} C) lies outside the picture and is left out")
            continue
        x, y = figures.with_gaps(*figures.means(np.frombuffer(series.t_s)[good], values[good], BIN_S), gap_s=2.5 * BIN_S)
        lines.append(PlotLine(f"{series.probe}, as read, {BIN_S:g} s means", x / 60.0, y, style=style, colour=colour, width=1.0))
    told = summary.main_stages(numbers)
    band, levels = None, []
    if told and told[0].reference_c is not None:
        levels.append((told[0].reference_c, "reference"))
        if told[0].band_c is not None:
            band = (told[0].reference_c - told[0].band_c, told[0].reference_c + told[0].band_c)
    marks = [
        Mark(s.begin_s / 60.0, s.name if s.sheet is None else f"{s.name} {s.sheet}", True, (s.role == "develop") * 1e4 + s.actual_s)
        for s in numbers.stages
    ]
    marks += [Mark(c["t_s"] / 60.0, c["cue"].upper(), weight=CUE_WEIGHTS[c["cue"]]) for c in journal.of("cue") if c["cue"] in CUE_WEIGHTS]
    alt = "Temperature over the session. " + " ".join(
        f"{summary.stage_label(s).capitalize()}: {summary.temperature_sentence(s)}; {summary.estimated_sentence(s) or 'nothing estimated'}."
        for s in told
    )
    caption = "Temperature in C over minutes of the session" + ("; the shaded strip is the wanted band" if band else "")
    caption += f". Shaded around the line: {TWO_SD}. Dotted: estimated, no probe was believed."
    caption += "".join(f" {words}." for words in left_out)
    picture = Picture(lines, marks, "minutes of the session", "C", levels, band=band)
    rows = _thin_rows(
        [
            (format_duration(t), f"{c:.2f} C", f"±{two_sd(s):.2f}", "estimated" if d else "measured")
            for t, c, s, d in zip(*joined, strict=True)
            if not np.isnan(c)
        ]
    )
    behind = table("Temperature now known, thinned", ("session time", "developer", TWO_SD, "rests on"), rows)
    return _figure(picture, "temperature", alt, caption, behind)


def _figure(picture: Picture, salt: str, alt: str, caption: str, behind: str) -> str:
    return (
        f"<figure>{figures.draw(picture, salt, alt)}<figcaption>{html.escape(caption)}</figcaption></figure>"
        f"<details><summary>The numbers behind this picture</summary>{behind}"
        "<p>The whole table: <code>evenbath review JOURNAL --csv FILE.csv</code>.</p></details>"
    )


def _thin_rows(rows: Sequence[Sequence[Any]]) -> list[Sequence[Any]]:
    step = max(1, -(-len(rows) // TABLE_ROWS))
    picked = list(rows[::step])
    return picked if not rows or picked[-1] == rows[-1] else [*picked, rows[-1]]


def _joined_tracks(review: Review) -> tuple[Any, Any, Any, Any]:
    """(t_s, celsius, sd, estimated) of all stages in a row, with NaN between stages that do not touch."""
    pieces: list[tuple[Any, ...]] = []
    for number in sorted(review.tracks):
        track = review.tracks[number]
        own = [p for p in review.stretches if p.stage == number]
        times = track.smoothed.t_s
        inside = (times >= min(p.begin_s for p in own) - 1e-5) & (times <= max(p.end_s for p in own) + 1e-5)
        sds = np.hypot(track.smoothed.sd_c, track.systematic_sd_c)
        pieces.append((times[inside], track.smoothed.celsius[inside], sds[inside], track.estimated[inside]))
        if abs(track.smoothed.celsius[inside][-1] - _next_begin(review, number)) > BREAK_C:
            nothing = np.array([np.nan])
            pieces.append((times[inside][-1:], nothing, nothing, np.zeros(1)))
    return tuple(np.concatenate([p[i] for p in pieces]) for i in range(4))  # type: ignore[return-value]


def _next_begin(review: Review, number: int) -> float:
    """Temperature at the begin of the next stage; infinite if there is none."""
    track = review.tracks.get(number + 1)
    begins = [p.begin_s for p in review.stretches if p.stage == number + 1]
    if track is None or not begins:
        return float("inf")
    return float(np.interp(min(begins), track.smoothed.t_s, track.smoothed.celsius))


def _live_line(journal: Journal) -> tuple[Any, Any] | None:
    pieces = []
    for key in sorted(journal.progress, key=lambda k: (k[0], k[1] or 0)):
        if key[1] in (None, 1):
            said = journal.progress[key]
            pieces.append((np.append(np.frombuffer(said.t_s), said.t_s[-1]), np.append(np.frombuffer(said.developer_c), np.nan)))
    if not pieces:
        return None
    return np.concatenate([p[0] for p in pieces]), np.concatenate([p[1] for p in pieces])


def _done_figure(journal: Journal, review: Review, number: int) -> str:
    assert review.recipe is not None
    stage, track = review.recipe.stages[number - 1], review.tracks[number]
    assert stage.law is not None
    own = [(p, s) for p, s in zip(review.stretches, review.numbers.stages, strict=True) if p.stage == number]
    rates = np.array([rate(stage.law, c) for c in track.smoothed.celsius.tolist()])
    lines: list[PlotLine] = []
    rows: list[Sequence[Any]] = []
    marks: list[Mark] = []
    origin = min(p.begin_s for p, _ in own)
    for i, (part, numbers) in enumerate(own):
        target = numbers.target_ref_s
        if not target:
            continue
        times = track.smoothed.t_s
        inside = (times >= part.begin_s - 1e-5) & (times <= part.end_s + 1e-5)
        percent = np.cumsum(weights(times, *counted_from_to(stage, part)) * rates)[inside] / target * 100.0
        x = (times[inside] - origin) / 60.0
        many = len(own) > 1
        name = f"{part.sheet}" if many else "now known"
        lines.append(PlotLine(name, x, percent, style=figures.STYLES[i % len(figures.STYLES)] if many else figures.SOLID, width=1.6,
                          dotted=track.estimated[inside], at_end=many))  # fmt: skip
        said = journal.progress.get((part.stage, part.sheet))
        live_at = np.full(len(x), np.nan)
        if said is not None:
            live_x, live_y = np.frombuffer(said.t_s), np.frombuffer(said.done_ref_s) / target * 100.0
            if not many:
                lines.append(PlotLine("live said", (live_x - origin) / 60.0, live_y, style=DASHED, colour=FIRST, width=1.2))
            live_at = np.interp(times[inside], live_x, live_y)
        label = () if not many else (part.sheet,)
        rows += _thin_rows([
            (format_duration(60.0 * m), *label, f"{p:.1f} %", "" if np.isnan(v) else f"{v:.1f} %")
            for m, p, v in zip(x.tolist(), percent.tolist(), live_at.tolist(), strict=True)
        ])  # fmt: skip
        if part.planned_end_s is not None:
            marks.append(Mark((part.planned_end_s - origin) / 60.0, "planned end" if not many else f"end {part.sheet}", weight=-i))
        if not many:
            marks.append(Mark((part.end_s - origin) / 60.0, "actual end", True))
    alt = "Development done over time. " + " ".join(
        f"{summary.stage_label(s).capitalize()}: {summary.planned_sentence(s)}; {summary.done_sentence(s)}." for _, s in own
    )
    picture = Picture(lines, marks, f"minutes since the begin of {stage.name}", "% of what was wanted", [(100.0, "wanted")], True)
    caption = "Development done in per cent of what was wanted. Dotted: estimated."
    if len(own) > 1:
        caption += " One line a sheet, its number at the end."
    head = ("since begin", *(("sheet",) if len(own) > 1 else ()), "now known", "live said")
    return _figure(picture, f"done-{number}", alt, caption, table("Development done, thinned", head, rows))


# --- several sessions ------------------------------------------------------------------------------------------------


def write_comparison(comparison: SessionComparison, out: Path) -> None:
    """Write the page of several sessions: paragraph, differences, overlay, the season."""
    from monitor.review.compare import difference_table, season_table, sentence

    parts = [f"<h1>{len(comparison.sessions)} sessions side by side</h1>"]
    parts += [f'<p class="problem">{html.escape(problem)}</p>' for problem in comparison.problems]
    parts.append(f"<p>{html.escape(sentence(comparison))}</p>")
    head, rows = difference_table(comparison)
    parts.append("<h2>Differences</h2>" + table("Differences from the first session, aligned at the begin of development", head, rows))
    if comparison.curves:
        parts.append("<h2>Overlay</h2>" + _overlay(comparison))
    head, rows = season_table(comparison)
    parts.append("<h2>The season</h2>" + _season(comparison, table("By date", head, rows)))
    out.write_text(page(f"{len(comparison.sessions)} sessions", "\n".join(parts)), encoding="utf-8")


def _season(comparison: SessionComparison, by_date: str) -> str:
    from monitor.review.compare import days, name_of

    dated = days(comparison)
    if len({day for day, _ in dated}) < 2:
        return by_date
    x = np.array([day for day, _ in dated])
    done = np.array([row["done_percent"] for _, row in dated])
    speed = np.array([np.nan if row["rate"] is None else 100.0 * row["rate"] for _, row in dated])
    lines = [
        PlotLine("development done", x, done, colour=INK, marker="o"),
        PlotLine("mean rate, 100 at the reference", x, speed, style=DASHED, colour=SECOND, marker="s"),
    ]
    alt = "The season by date. " + "; ".join(
        f"day {day:.0f}, {name_of(row)}: development {row['done_percent']:.1f} %, overrun {row['overrun_s'] or 0.0:.0f} s"
        for day, row in dated[:MOST_IN_WORDS]
    )
    picture = Picture(lines, (), "days since the first session", "%", [(100.0, "wanted")])
    caption = "Development done and mean rate over the days since the first session."
    return f"<figure>{figures.draw(picture, 'season', alt)}<figcaption>{caption}</figcaption></figure>" + by_date


def _overlay(comparison: SessionComparison) -> str:
    lines = [
        PlotLine(c.name, c.since_begin_s / 60.0, c.celsius, style=figures.STYLES[i % len(figures.STYLES)],
             colour=(INK, FIRST, SECOND, THIRD)[i % 4], dotted=c.estimated, at_end=len(comparison.curves) > 8)
        for i, c in enumerate(comparison.curves)
    ]  # fmt: skip
    picture = Picture(lines, (), "minutes since the begin of development", "C")
    alt = "Temperature of each session since the begin of development. " + "; ".join(
        f"{c.name}: from {c.celsius[0]:.2f} C to {c.celsius[-1]:.2f} C, mean {c.celsius.mean():.2f} C" for c in comparison.curves
    )
    rows = [
        (format_duration(t), c.name, f"{v:.2f} C", "estimated" if d else "measured")
        for c in comparison.curves
        for t, v, d in zip(c.since_begin_s[::10].tolist(), c.celsius[::10].tolist(), c.estimated[::10].tolist(), strict=True)
    ]
    behind = table("Temperatures, thinned", ("since begin", "session", "developer", "rests on"), rows[:2000])
    shown = "" if comparison.curves_left_out == 0 else f" {comparison.curves_left_out} more sessions stand only in the tables."
    return _figure(
        picture, "overlay", alt, f"Temperature of the developer, aligned at the begin of development. Dotted: estimated.{shown}", behind
    )
