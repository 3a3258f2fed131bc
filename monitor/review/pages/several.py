"""The pages of several sessions: films of one recipe in one picture, others beside them with the same span; a season as dots by date.

Decides order and pictures; rows, words and tables are those of compare.py. Tests: tests/review/pages/test_several.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from monitor.core.drawing.strips import DEGREES, Drawing, Scale, ticks, time_axis
from monitor.core.drawing.words import apart, width
from monitor.core.text.degrees import celsius_of, degrees, figure, unit
from monitor.core.text.doubt import NOT_KNOWN_PERCENT, TWO_SD, two_sd
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.review.compare import (
    Curve,
    Row,
    SessionComparison,
    by_date,
    difference_table,
    done_words,
    ended_words,
    like,
    meaning,
    names_of,
    season_table,
    sentence,
    what_of,
)
from monitor.review.pages.evening import NARROW_PX, NARROW_TEXT_PX, WIDE_PX, WIDE_TEXT_PX
from monitor.review.pages.html import cell, page, picture, table, thin_rows

IN_ONE = 6
"""So many lines can be told apart in one picture; more films of one recipe get pictures of their own."""
DASHES = ("", "7 3", "7 3 1.5 3", "12 4", "3 2", "12 3 2 3 2 3")
"""One for each line of a picture, so that none is told by its colour."""
LEAST_SPAN_C = 1.0
MOST_OFF_PERCENT = 30.0
"""The season's axis goes no farther from 100 %; what lies beyond ends in an arrow."""
MOST_IN_WORDS = 30


def write_comparison(comparison: SessionComparison, out: Path) -> None:
    """Write the page of several sessions: what stands out, the curves of like films together, the differences."""
    title = f"{len(comparison.sessions)} sessions side by side"
    parts = [f"<header><h1>{title}</h1><p>{cell(_days(comparison))}</p></header>", *_problems(comparison)]
    parts.append(f"<p>{cell(typeset(sentence(comparison)))}</p>")
    parts += _pictures(comparison)
    head, rows = difference_table(comparison)
    if rows:
        caption = f"Differences, each from the first film of the same recipe; {_means(comparison)}"
        parts.append(_table(caption, head, rows, "took"))
    out.write_text(page(title, "\n".join(parts)), encoding="utf-8")


def write_season(comparison: SessionComparison, out: Path) -> None:
    """Write the page of a season: a dot for each film by date, and the table behind it."""
    count = len(comparison.sessions)
    title = f"The season: {count} session{'' if count == 1 else 's'}"
    parts = [f"<header><h1>{title}</h1><p>{cell(_days(comparison))}</p></header>", *_problems(comparison)]
    head, rows = season_table(comparison)
    if rows:
        alt = _season_words(comparison)
        caption = f"Development done, per cent of what was wanted; the stroke: {TWO_SD}."
        parts.append(picture(_season(comparison, alt, True), _season(comparison, alt, False), caption))
        parts.append(_table(f"By date; {_means(comparison)}", head, rows, "ended"))
    else:
        parts.append("<p>No session could be read.</p>")
    out.write_text(page(title, "\n".join(parts)), encoding="utf-8")


def _means(comparison: SessionComparison) -> str:
    """What ± is, and what the per cent holds where there is one."""
    said = meaning(comparison)
    return f"± {TWO_SD}" + (f". {typeset(said)}" if said else "")


def _table(caption: str, head: Sequence[str], rows: Sequence[Sequence[str]], *narrow: str) -> str:
    """Figures with the signs of a page; what it was stands below the day, both as people wrote them."""
    joined = [[f"{row[0]}\n{row[1]}", *map(typeset, row[2:])] for row in rows]
    return table(caption, [head[0], *head[2:]], joined, narrow=("film", "done", *narrow), kind="stages films")


def _days(comparison: SessionComparison) -> str:
    ordered = by_date(comparison)
    if not ordered:
        return "no date in the record"
    first, last = (names_of([row])[0].split(", ")[0] for row in (ordered[0], ordered[-1]))
    return first if first == last else f"{first} to {last}"


def _problems(comparison: SessionComparison) -> list[str]:
    return [f'<p class="problem">{cell(problem)}</p>' for problem in comparison.problems]


# --- curves ----------------------------------------------------------------------------------------------------------


def _pictures(comparison: SessionComparison) -> list[str]:
    """One picture for the films of a recipe, all with the same minutes and the same span of degrees."""
    by_row = {curve.row: curve for curve in comparison.curves}
    names = names_of(comparison.rows)
    groups: list[tuple[list[int], str]] = []
    for group in like(comparison.rows):
        drawn = [i for i in group if i in by_row]
        title = str(comparison.rows[group[0]]["recipe"] or "no recipe")
        groups += [(drawn[k : k + IN_ONE], title) for k in range(0, len(drawn), IN_ONE)]
    if not groups:
        return []
    edges = [_edges([by_row[i] for i in group], comparison.rows[group[0]]) for group, _ in groups]
    span_c = max(LEAST_SPAN_C, *(max(each) - min(each) for each in edges))
    span_s = max(float(c.since_begin_s[-1]) for c in comparison.curves)
    called = {i: names[i].split(", sheet")[0] for group, _ in groups for i in group}
    longest = max(called.values(), key=len)
    made = []
    for group, title in groups:
        curves = [by_row[i] for i in group]
        lines = [(called[i], by_row[i]) for i in group]
        alt = typeset(f"Temperature of the developer, {title}, since the begin of development. " + "; ".join(
            f"{name}: from {degrees(c.celsius[0], '.2f')} to {degrees(c.celsius[-1], '.2f')}, mean {degrees(c.celsius.mean(), '.2f')}"
            for name, c in lines
        ))  # fmt: skip
        row = comparison.rows[group[0]]
        wide, narrow = (_curves(lines, row, (span_c, span_s), longest, alt, wide) for wide in (True, False))
        rows = thin_rows([
            (format_duration(t), name, typeset(degrees(v, ".2f")), "estimated" if d else "measured")
            for name, c in lines
            for t, v, d in zip(c.since_begin_s[::20].tolist(), c.celsius[::20].tolist(), c.estimated[::20].tolist(), strict=True)
        ], 80)  # fmt: skip
        behind = table(f"{title}, thinned", ("since begin", "film", "developer", "rests on"), rows)
        dotted = " Dotted: estimated." if any(c.estimated.any() for c in curves) else ""
        caption = f"Developer, °{unit()}, over minutes since the begin of development.{dotted}"
        made.append(f"<h2>{cell(title)}</h2>{picture(wide, narrow, caption, behind)}")
    if comparison.curves_left_out:
        made.append(f"<p>{comparison.curves_left_out} more sessions stand only in the table.</p>")
    return made


def _edges(curves: Sequence[Curve], row: Row) -> list[float]:
    values = [float(f(c.celsius)) for c in curves for f in (min, max)]
    return values if row["reference_c"] is None else [*values, row["reference_c"]]


def _curves(lines: Sequence[tuple[str, Curve]], row: Row, spans: tuple[float, float], longest: str, alt: str, wide: bool) -> str:
    """One picture. `spans`: degrees and seconds of every picture of the page; `longest`: the longest name at an end on the page."""
    span_c, span_s = spans
    d = Drawing(WIDE_PX if wide else NARROW_PX, WIDE_TEXT_PX if wide else NARROW_TEXT_PX)
    ends = [name for name, _ in lines]
    left = 12.0 + width("101.5 °F", d.size)
    below = not wide
    right = d.width - (12.0 if below else 14.0 + width(longest, d.size))
    top, bottom = 6.0, 206.0 if wide else 166.0
    edges = _edges([c for _, c in lines], row)
    middle = (min(edges) + max(edges)) / 2
    low, high = middle - 0.52 * span_c, middle + 0.52 * span_c
    x, y = Scale(0.0, span_s, left, right), Scale(low, high, bottom, top)
    if row["reference_c"] is not None and row["band_c"] is not None:
        a, b = max(top, y.at(row["reference_c"] + row["band_c"])), min(bottom, y.at(row["reference_c"] - row["band_c"]))
        if b > a:
            d.rect(left, a, right - left, b - a, "band")
    marks = ticks(figure(low), figure(high), 4, DEGREES)
    fine = any(abs(m - round(m)) > 0.01 for m in marks)
    for i, mark in enumerate(reversed(marks)):
        at_mark = y.at(celsius_of(mark))
        d.stroke(left, at_mark, right, at_mark, "grid")
        d.text(left - 8.0, at_mark + 0.35 * d.size, f"{mark:.{1 if fine else 0}f}{f' °{unit()}' if i == 0 else ''}", "", "end")
    for i, (_, curve) in enumerate(lines):
        points = [(x.at(t), y.at(v)) for t, v in zip(curve.since_begin_s.tolist(), curve.celsius.tolist(), strict=True)]
        dash = f'" stroke-dasharray="{DASHES[i % len(DASHES)]}' if DASHES[i % len(DASHES)] else ""
        d.line(points, f"thin{dash}")
        d.line([p for p, e in zip(points, curve.estimated.tolist(), strict=True) if e], "dots")
    line = 1.3 * d.size
    at = [(y.at(float(c.celsius[-1])) - 0.5 * line, line) for _, c in lines]
    if not below:
        for (_, curve), end, block_top, (wanted, _) in zip(lines, ends, apart(at, top - 4, bottom + 10), at, strict=True):
            px = x.at(float(curve.since_begin_s[-1]))
            if abs(block_top - wanted) > 0.6 * line:
                d.stroke(px + 1, wanted + 0.5 * line, right + 4, block_top + 0.5 * line, "edge")
            d.text(max(px + 6.0, right + 6.0 if abs(block_top - wanted) > 0.6 * line else px + 6.0), block_top + 0.82 * line, end)
    d.stroke(left, bottom, right, bottom, "edge")
    time_axis(d, x, top, bottom, 8 if wide else 4)
    d.height = bottom + 2.0 * d.size
    if below:
        for i, end in enumerate(ends):
            d.height += line
            dash = f'" stroke-dasharray="{DASHES[i % len(DASHES)]}' if DASHES[i % len(DASHES)] else ""
            d.stroke(4.0, d.height - 0.35 * d.size, 44.0, d.height - 0.35 * d.size, f"thin{dash}")
            d.text(52.0, d.height, end)
        d.height += 0.4 * d.size
    return d.svg(alt)


# --- the season ------------------------------------------------------------------------------------------------------


def _reach(row: Row) -> tuple[float, float] | None:
    """Least and most that was done, two standard deviations in them; None for a film by the clock."""
    if row["rate_law"] is None or row["done_percent"] is None:
        return None
    if row["done_least_percent"] is not None:
        return row["done_least_percent"], row["done_most_percent"]
    around = two_sd(row["done_sd_percent"] or 0.0)
    return row["done_percent"] - around, row["done_percent"] + around


def _known(row: Row) -> bool:
    """Whether a dot may stand for it."""
    return row["done_least_percent"] is None and two_sd(row["done_sd_percent"] or 0.0) <= NOT_KNOWN_PERCENT


def _season_words(comparison: SessionComparison) -> str:
    ordered = by_date(comparison)
    told = [
        f"{name}, {what_of(row, name)}: {done_words(row) or 'by the clock'}" + (f", {said}" if (said := ended_words(row)) else "")
        for name, row in zip(names_of(ordered), ordered, strict=True)
    ]
    more = "" if len(told) <= MOST_IN_WORDS else f"; {len(told) - MOST_IN_WORDS} more in the table"
    return typeset("Development done, film by film. " + "; ".join(told[:MOST_IN_WORDS]) + more)


def _season(comparison: SessionComparison, alt: str, wide: bool) -> str:
    d = Drawing(WIDE_PX if wide else NARROW_PX, WIDE_TEXT_PX if wide else NARROW_TEXT_PX)
    ordered = by_date(comparison)
    names = names_of(ordered)
    reaches = [_reach(row) for row in ordered]
    known = [edge for row, reach in zip(ordered, reaches, strict=True) if reach is not None and _known(row) for edge in reach]
    off = min(MOST_OFF_PERCENT, max([5.0, *(abs(edge - 100.0) for edge in known)]))
    columns = [(ended_words(row), format_duration(row["estimated_s"]) if row["estimated_s"] else "") for row in ordered]
    heads = ("ended", "estimated") if any(c[1] for c in columns) else ("ended",)
    if not wide:
        years = {name.split(",")[0].rsplit(" ", 1)[-1] for name in names}
        gone = f" {years.pop()}" if len(years) == 1 else ""
        names = [name.replace(gone, "", 1).replace(", sheet ", " #") for name in names]
        heads = ("ended",)
    left = 12.0 + max(width(name, d.size) for name in names)
    widths = [14.0 + max(width(words, d.size) for words in (head, *(c[i] for c in columns))) for i, head in enumerate(heads)]
    right = d.width - sum(widths)
    x = Scale(100.0 - 1.05 * off, 100.0 + 1.05 * off, left + 6.0, right - 6.0)
    row_px, top = 1.75 * d.size, 2.1 * d.size
    bottom = top + row_px * len(ordered)
    for mark in ticks(x.low, x.high, 8 if wide else 4, (1.0, 2.0, 5.0, 10.0, 20.0)):
        d.stroke(x.at(mark), top - 4.0, x.at(mark), bottom, "edge" if mark == 100.0 else "grid")
        d.text(x.at(mark), top - 0.7 * d.size, f"{mark:.0f}{' %' if mark == 100.0 else ''}", "d", "middle")
    at = right
    for head, wide_px in zip(heads, widths, strict=True):
        d.text(at + 14.0, top - 0.7 * d.size, head, "d")
        at += wide_px
    for i, (name, row, reach, column) in enumerate(zip(names, ordered, reaches, columns, strict=True)):
        y = top + (i + 0.5) * row_px
        d.text(0.0, y + 0.35 * d.size, name)
        at = right
        for words, wide_px in zip(column, widths, strict=False):
            d.text(at + 14.0, y + 0.35 * d.size, words)
            at += wide_px
        if reach is None:
            words = f"{format_duration(row['actual_s'])} by the clock" if wide and row["actual_s"] is not None else "by the clock"
            words = "no development" if row["actual_s"] is None else words
            d.text(x.at(x.low), y + 0.35 * d.size, words, "d")
            continue
        a, b = x.at(max(reach[0], x.low)), x.at(min(reach[1], x.high))
        d.stroke(a, y, b, y, "bar")
        if reach[1] > x.high:
            d.add(f'<path class="bar" d="M{b - 6:.1f} {y - 4:.1f}L{b:.1f} {y:.1f}L{b - 6:.1f} {y + 4:.1f}"/>')
        if reach[0] < x.low:
            d.add(f'<path class="bar" d="M{a + 6:.1f} {y - 4:.1f}L{a:.1f} {y:.1f}L{a + 6:.1f} {y + 4:.1f}"/>')
        if _known(row):
            d.mark(x.at(min(max(row["done_percent"], x.low), x.high)), y, filled=True)
    d.height = bottom + 0.6 * d.size
    return d.svg(alt)
