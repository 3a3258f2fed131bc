"""Many sessions side by side: differences from the first, an overlay aligned at the begin of development, a season.

Decides the rows (one a develop stage and sheet) and their columns; reads one journal at a time and keeps only its row, so
memory does not grow with what the journals hold. Many files are read by several processes. Tests: tests/review/test_compare.py.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from monitor.core.errors import FileWrong
from monitor.core.text.degrees import degrees, figure, span, unit
from monitor.core.text.doubt import NOT_KNOWN_PERCENT, PER_CENT_IS, TWO_SD, plus_minus, share, two_sd
from monitor.core.text.quantities import format_duration
from monitor.review.answers import ON_TIME_S
from monitor.review.days import local, short_day
from monitor.review.judgement import latest, read_judgements
from monitor.review.load import load
from monitor.review.measures import Review, measure
from monitor.review.numbers import StageMeasures
from monitor.review.smoother import Array
from monitor.review.summary import main_stages
from monitor.review.timeline import counted_from_to

MOST_CURVES = 24
"""More lines than this nobody can tell apart; the rest stand in the tables."""
CURVE_POINTS = 240
ALONE = 12
"""Up to so many files one process is quicker than several."""

FROM_STAGE = (
    *("stage", "sheet", "planned_s", "actual_s", "overrun_s", "target_ref_s", "done_ref_s", "done_percent"),
    *("done_sd_percent", "done_sd_is", "live_done_percent", "mean_c", "mean_sd_c", "mean_kinetic_c", "min_c", "max_c"),
    *("drift_c_per_min", "estimated_s", "reference_c", "band_c", "end_told"),
)

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Curve:
    """One session's developer, thinned, from the begin of its development on. `row`: the number of its row, from 0."""

    row: int
    since_begin_s: Array
    celsius: Array
    estimated: Array


@dataclass(slots=True)
class SessionComparison:
    """Rows in the order of the files, one a develop stage (and sheet); `sessions`: their ids."""

    rows: list[Row] = field(default_factory=list)
    curves: list[Curve] = field(default_factory=list)
    curves_left_out: int = 0
    problems: list[str] = field(default_factory=list)
    sessions: list[str] = field(default_factory=list)


def row_of(review: Review, stage: StageMeasures | None, file: Path) -> Row:
    """One row. Names carry units; None where nothing is known."""
    numbers = review.numbers
    developer = None if stage is None else numbers.probe(stage.measured_by)
    judged = latest(read_judgements(file))
    solution = next((s for s in numbers.solutions), {})
    counted_s = None if stage is None or not stage.done_ref_s else stage.actual_s
    row: Row = {"session": numbers.session, "opened_wall": numbers.opened_wall, "mode": numbers.mode, "recipe": numbers.recipe,
                "film": numbers.film, "vessel": numbers.vessel, "area_units": numbers.area_units,
                "contents": numbers.contents, "zone": numbers.zone}  # fmt: skip
    for name in FROM_STAGE:
        row[name] = None if stage is None else getattr(stage, name)
    between = None if stage is None or stage.rate_law is None else stage.done_between_percent
    row["done_least_percent"], row["done_most_percent"] = between or (None, None)
    row["rate_law"] = None if stage is None else stage.rate_law
    row["rate"] = None if stage is None or stage.done_ref_s is None or not counted_s or stage.rate_law is None else _rate(review, stage)
    row["faults"] = numbers.faults
    row["max_cue_lateness_s"] = numbers.max_cue_lateness_s
    row["comparison_sd_c"] = None if developer is None else developer.comparison_sd_c
    row["compared"] = developer is not None and developer.compared is not None
    row["comparison_age_days"] = None if developer is None else comparison_age_days(developer.compared, numbers.opened_wall)
    row["dilution"] = solution.get("dilution")
    row["solution_age_s"] = solution.get("age_s")
    for name in ("density", "measured_density", "base_fog", "evenness", "grade", "contrast"):
        row[f"judged_{name}"] = None if judged is None else getattr(judged, name)
    row["file"] = numbers.file
    return row


def _rate(review: Review, stage: StageMeasures) -> float:
    """Mean rate over the counted stretch, 1 at the reference."""
    assert review.recipe is not None
    assert stage.done_ref_s is not None
    part = next(p for p in review.stretches if p.stage == stage.stage and p.sheet == stage.sheet)
    from_s, to_s = counted_from_to(review.recipe.stages[stage.stage - 1], part)
    return stage.done_ref_s / (to_s - from_s) if to_s > from_s else 0.0


def comparison_age_days(compared: Any, opened_wall: str) -> float | None:
    """Days between a probe's comparison and the session, None if either date cannot be read."""
    when = compared.get("wall") or compared.get("date") or compared.get("when") if isinstance(compared, dict) else None
    try:
        then, now = datetime.fromisoformat(str(when)), datetime.fromisoformat(opened_wall)
    except ValueError:
        return None
    if (then.tzinfo is None) != (now.tzinfo is None):
        then, now = then.replace(tzinfo=None), now.replace(tzinfo=None)
    return (now - then).total_seconds() / 86400.0


Found = tuple[str, list[Row], list[Curve], list[str]]
"""Of one file: its session, rows, curves and problems."""


def _one(job: tuple[Path, bool]) -> Found:
    """Everything that is kept of one file."""
    file, curves = job
    review = measure(load(file, pass_over=("bath", "room")), only_counted=True)
    numbers = review.numbers
    problems = list(numbers.problems)
    if not numbers.session:
        return "", [], [], problems
    stages = main_stages(numbers)
    try:
        rows = [row_of(review, stage, file) for stage in (stages or (None,))]
    except FileWrong as wrong:
        problems += [str(p) for p in wrong.problems]
        rows = []
    return numbers.session, rows, [_curve(review, stages[0])] if curves and stages and stages[0].stage in review.tracks else [], problems


def _curve(review: Review, stage: StageMeasures) -> Curve:
    track = review.tracks[stage.stage]
    times = track.smoothed.t_s
    inside = np.flatnonzero((times >= stage.begin_s - 1e-5) & (times <= stage.actual_end_s + 1e-5))
    pick = inside[np.unique(np.linspace(0, len(inside) - 1, min(CURVE_POINTS, len(inside))).astype(int))]
    return Curve(0, times[pick] - stage.begin_s, track.smoothed.celsius[pick].copy(), track.estimated[pick].copy())


def compare_files(
    files: Sequence[Path], curves: bool = False, through: Callable[[Iterable[Found]], Iterable[Found]] = iter
) -> SessionComparison:
    """Read every file and keep its rows. What is wrong with files stands in `problems`; the others are compared all the same.

    What is found of each file goes `through` a function of the caller's, which may say how far it is."""
    made = SessionComparison()
    jobs = [(file, curves and i < MOST_CURVES) for i, file in enumerate(files)]
    made.curves_left_out = max(0, len(files) - MOST_CURVES) if curves else 0
    for session, rows, lines, problems in through(_results(jobs)):
        made.problems += problems
        if session:
            made.sessions.append(session)
        made.curves += [replace(line, row=len(made.rows)) for line in lines if rows]
        made.rows += rows
    return made


def _results(jobs: list[tuple[Path, bool]]) -> Iterator[Found]:
    processes = min(len(os.sched_getaffinity(0)), 8)
    if len(jobs) <= ALONE or processes == 1:
        yield from map(_one, jobs)
        return
    import multiprocessing

    with multiprocessing.get_context("spawn").Pool(processes, maxtasksperchild=500) as pool:
        yield from pool.imap(_one, jobs, chunksize=8)


# --- words and tables ------------------------------------------------------------------------------------------------


def _signed(value: float | None, first: float | None, unit: str, places: int) -> str:
    if value is None or first is None:
        return ""
    off = round(value - first, places)
    return f"{off:+.{places}f}{unit}" if off else f"0{unit}"


def _number(value: float | None, unit: str, places: int, sign: bool = False) -> str:
    if value is None:
        return ""
    return _signed(value, 0.0, unit, places) if sign else f"{value:.{places}f}{unit}"


def _time(seconds: float | None) -> str:
    return "" if seconds is None else format_duration(seconds)


SHORT_NAME = 24
"""A film's name of so many characters at most fits beside its day."""


def names_of(rows: Sequence[Row]) -> list[str]:
    """What a person calls each row: its day, where a day has several sessions with what tells them apart (short names of the films, where
    each has one of its own, else the time of day), and the sheet where there is one."""
    days = [short_day(row["opened_wall"], row["zone"]) for row in rows]
    evenings: dict[str, dict[str, str]] = {}
    for day, row in zip(days, rows, strict=True):
        evenings.setdefault(day, {})[row["session"]] = row["contents"] or ""
    names = []
    for day, row in zip(days, rows, strict=True):
        films, moment = evenings[day], local(row["opened_wall"], row["zone"])
        told_apart = len(set(films.values())) == len(films) and all(0 < len(film) <= SHORT_NAME for film in films.values())
        at = "" if len(films) == 1 else f", {row['contents']}" if told_apart else "" if moment is None else f", {moment:%H:%M}"
        names.append(day + at + ("" if row["sheet"] is None else f", sheet {row['sheet']}"))
    return names


def what_of(row: Row, name: str) -> str:
    """What was developed; by which recipe, where nobody said or its name says it already."""
    contents = row["contents"]
    return str(contents if contents and f", {contents}" not in name else row["recipe"] or "no recipe")


def rate_difference_percent(row: Row, first: Row) -> float | None:
    """How much faster development went than in the first session, per cent."""
    return 100.0 * (row["rate"] / first["rate"] - 1.0) if row["rate"] and first["rate"] else None


def like(rows: Sequence[Row]) -> list[list[int]]:
    """Numbers of the rows that may be held against each other: those of one recipe with one time and
    reference, in the order of the first of each."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for i, row in enumerate(rows):
        groups.setdefault((row["recipe"], row["planned_s"], row["reference_c"], row["rate_law"]), []).append(i)
    return list(groups.values())


Table = tuple[Sequence[str], Sequence[Sequence[str]]]


def filled(head: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """A table without its empty columns; the first two, which name the film, stay."""
    kept = [i for i in range(len(head)) if i < 2 or any(row[i] for row in rows)]
    return [head[i] for i in kept], [[row[i] for i in kept] for row in rows]


DIFFERENCES = (
    *("film", "what", "plan", "took", "longer by", "done", "more by", "mean", "warmer by", "faster by"),
    *("ended", "estimated", "dilution", "solution age", "density", "grade"),
)


def difference_table(comparison: SessionComparison) -> Table:
    """Head and rows of the differences, each from the first film of the same recipe; empty columns are left out."""
    names, rows = names_of(comparison.rows), []
    for group in like(comparison.rows):
        first = comparison.rows[group[0]]
        for i in group:
            row = comparison.rows[i]
            other = {} if i == group[0] else first
            faster = rate_difference_percent(row, first) if other else None
            rows.append(
                (
                    names[i],
                    what_of(row, names[i]),
                    _time(row["planned_s"]),
                    _time(row["actual_s"]),
                    _signed(row["actual_s"], other.get("actual_s"), " s", 0),
                    done_words(row),
                    _signed(_known_done(row), _known_done(first) if other else None, " %", 1),
                    _with_sd(row["mean_c"], row["mean_sd_c"]),
                    _signed(_shown(row["mean_c"]), _shown(other.get("mean_c")), f" {unit()}", 2),
                    _number(faster, " %", 1, sign=True),
                    ended_words(row),
                    _estimated(row),
                    row["dilution"] or "",
                    "" if row["solution_age_s"] is None else f"{row['solution_age_s'] / 3600:.1f} h",
                    row["judged_density"] or _number(row["judged_measured_density"], "", 2),
                    _number(row["judged_grade"], "", 1),
                )
            )
    return filled(DIFFERENCES, rows)


def done_words(row: Row) -> str:
    """Development with its doubt; nothing where temperature did not count, since there it is seconds over seconds."""
    if row["rate_law"] is None or row["done_percent"] is None:
        return ""
    between = None if row["done_least_percent"] is None else (row["done_least_percent"], row["done_most_percent"])
    return share(row["done_percent"], row["done_sd_percent"] or 0.0, between)


def _known_done(row: Row) -> float | None:
    """The per cent that may be compared: of a stage with a rate whose time is not in doubt."""
    known = row["rate_law"] is not None and row["done_least_percent"] is None
    return row["done_percent"] if known and two_sd(row["done_sd_percent"] or 0.0) <= NOT_KNOWN_PERCENT else None


def ended_words(row: Row) -> str:
    """How its end was against its call."""
    if row["end_told"] is None:
        return ""
    if not row["end_told"]:
        return "not told"
    off_s = row["overrun_s"]
    if off_s is None:
        return ""
    return "on time" if abs(off_s) < ON_TIME_S else f"{abs(off_s):.0f} s {'late' if off_s > 0 else 'early'}"


def _estimated(row: Row) -> str:
    return "" if not row["estimated_s"] else format_duration(row["estimated_s"])


def _shown(celsius: float | None) -> float | None:
    """In the unit that people see."""
    return None if celsius is None else figure(celsius)


def _with_sd(celsius: float | None, sd_c: float | None) -> str:
    return "" if celsius is None else degrees(celsius, ".2f") + (f" {plus_minus(span(sd_c), 2)}" if sd_c else "")


SEASON = ("film", "what", "recipe", "plan", "took", "done", "ended", "estimated", "FAULTs", "probe compared", "mode")


def by_date(comparison: SessionComparison) -> list[Row]:
    """The rows by date."""
    return sorted(comparison.rows, key=lambda r: (r["opened_wall"], r["session"], r["sheet"] or 0))


def season_table(comparison: SessionComparison) -> Table:
    """Head and rows of the season, by date; empty columns are left out."""
    ordered = by_date(comparison)
    rows = [
        (
            name,
            str(row["contents"] or ""),
            row["recipe"] or "",
            _time(row["planned_s"]),
            _time(row["actual_s"]),
            done_words(row) or ("by the clock" if row["stage"] is not None else "no development"),
            ended_words(row),
            _estimated(row),
            str(row["faults"] or ""),
            _age(row),
            row["mode"],
        )
        for name, row in zip(names_of(ordered), ordered, strict=True)
    ]
    return filled(SEASON, rows)


def _age(row: Row) -> str:
    if row["comparison_age_days"] is not None:
        return f"{row['comparison_age_days']:.0f} days before"
    return "no date" if row["compared"] else "never"


def _told_difference(row: Row, first: Row) -> float | None:
    """How much faster it went, per cent; 0 where one of the two is known too badly for that. What both share (rate, probe) cancels."""
    off = rate_difference_percent(row, first)
    if off is None or _known_done(row) is None or _known_done(first) is None:
        return None
    around = two_sd(math.sqrt(abs((row["done_sd_percent"] or 0.0) ** 2 - (first["done_sd_percent"] or 0.0) ** 2)))
    return off if abs(off) > around else 0.0


def sentence(comparison: SessionComparison) -> str:
    """What stands out, in words; only films of one recipe are held against each other."""
    if not comparison.rows:
        return "No session could be read."
    names = names_of(comparison.rows)
    count = len(comparison.sessions)
    told = [f"{count} session{'' if count == 1 else 's'}."]
    for group in like(comparison.rows):
        first = comparison.rows[group[0]]
        rates = [(d, names[i]) for i in group[1:] if (d := _told_difference(comparison.rows[i], first)) is not None]
        if not rates or len({comparison.rows[i]["session"] for i in group}) == 1:
            continue
        told.append(f"Against {names[group[0]]} ({first['recipe'] or 'no recipe'}):")
        said = [
            f"{name} went {abs(off):.1f} % {'faster' if off >= 0 else 'slower'}"
            for off, name in dict.fromkeys([min(rates), max(rates)])
            if abs(off) >= 0.05
        ]
        told.append(f"{'; '.join(said) or 'the others went as fast'}.")
    done = [(d, name) for row, name in zip(comparison.rows, names, strict=True) if (d := _known_done(row)) is not None]
    if len(done) > 1:
        (least, one), (most, other) = min(done), max(done)
        same = most - least < 0.05
        told.append(f"Development done {least:.1f} %" + (" in each." if same else f" ({one}) to {most:.1f} % ({other})."))
    unknown = [name for row, name in zip(comparison.rows, names, strict=True) if row["rate_law"] and _known_done(row) is None]
    if unknown:
        told.append(f"Not known: {', '.join(unknown)}.")
    return " ".join(told)


def _plain(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(str(r[i])) for r in [head, *rows]) for i in range(len(head))]
    return "".join("  ".join(str(c).ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() + "\n" for row in [head, *rows])


MEANS = f"+/- is {TWO_SD}"


def meaning(comparison: SessionComparison) -> str:
    """What the per cent and its +/- hold, where there is one; else nothing."""
    return PER_CENT_IS if any(done_words(row) for row in comparison.rows) else ""


def _with_meaning(head: Sequence[str], rows: Sequence[Sequence[str]], comparison: SessionComparison) -> str:
    below = [MEANS, *filter(None, [meaning(comparison)])]
    return _plain(head, rows) + "".join(f"{line}\n" for line in below)


def comparison_text(comparison: SessionComparison) -> str:
    """Sentence and table of differences."""
    return f"{sentence(comparison)}\n" + (_with_meaning(*difference_table(comparison), comparison) if comparison.rows else "")


def season_text(comparison: SessionComparison) -> str:
    """The season as a table."""
    return _with_meaning(*season_table(comparison), comparison) if comparison.rows else sentence(comparison) + "\n"
