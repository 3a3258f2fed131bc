"""Many sessions side by side: differences from the first, an overlay aligned at the begin of development, a season.

Decides the rows (one a develop stage and sheet) and their columns; reads one journal at a time and keeps only its row, so
memory does not grow with what the journals hold. Many files are read by several processes. Tests: tests/review/test_compare.py.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from monitor.core.errors import FileWrong
from monitor.core.text.doubt import NOT_KNOWN_PERCENT, plus_minus, share, two_sd
from monitor.core.text.quantities import format_duration
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
    *("stage", "sheet", "planned_s", "actual_s", "overrun_s", "target_ref_s", "done_ref_s", "done_percent", "done_sd_percent"),
    *("live_done_percent", "mean_c", "mean_sd_c", "mean_kinetic_c", "min_c", "max_c", "drift_c_per_min", "estimated_s"),
)

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Curve:
    """One session's developer, thinned, from the begin of its development on."""

    name: str
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
    developer = next((p for p in numbers.probes if stage is not None and p.probe == stage.measured_by), None)
    judged = latest(read_judgements(file))
    solution = next((s for s in numbers.solutions), {})
    counted_s = None if stage is None or not stage.done_ref_s else stage.actual_s
    row: Row = {"session": numbers.session, "opened_wall": numbers.opened_wall, "mode": numbers.mode, "recipe": numbers.recipe,
                "film": numbers.film, "vessel": numbers.vessel, "area_units": numbers.area_units}  # fmt: skip
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


def _one(job: tuple[Path, bool]) -> tuple[str, list[Row], list[Curve], list[str]]:
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
    return Curve(review.numbers.session, times[pick] - stage.begin_s, track.smoothed.celsius[pick].copy(), track.estimated[pick].copy())


def compare_files(files: Sequence[Path], curves: bool = False) -> SessionComparison:
    """Read every file and keep its rows. What is wrong with files stands in `problems`; the others are compared all the same."""
    made = SessionComparison()
    jobs = [(file, curves and i < MOST_CURVES) for i, file in enumerate(files)]
    made.curves_left_out = max(0, len(files) - MOST_CURVES) if curves else 0
    for session, rows, lines, problems in _results(jobs):
        made.problems += problems
        if session:
            made.sessions.append(session)
        made.rows += rows
        made.curves += lines
    return made


def _results(jobs: list[tuple[Path, bool]]) -> Iterator[tuple[str, list[Row], list[Curve], list[str]]]:
    processes = min(len(os.sched_getaffinity(0)), 8)
    if len(jobs) <= ALONE or processes == 1:
        yield from map(_one, jobs)
        return
    import multiprocessing

    with multiprocessing.get_context("spawn").Pool(processes, maxtasksperchild=500) as pool:
        yield from pool.imap(_one, jobs, chunksize=8)


# --- words and tables ------------------------------------------------------------------------------------------------


def _signed(value: float | None, first: float | None, unit: str, places: int) -> str:
    return "" if value is None or first is None else f"{value - first:+.{places}f}{unit}"


def _number(value: float | None, unit: str, places: int, sign: bool = False) -> str:
    return "" if value is None else f"{value:{'+' if sign else ''}.{places}f}{unit}"


def _time(seconds: float | None) -> str:
    return "" if seconds is None else format_duration(seconds)


def name_of(row: Row) -> str:
    """Session, and sheet where there is one."""
    return row["session"] if row["sheet"] is None else f"{row['session']} sheet {row['sheet']}"


def rate_difference_percent(row: Row, first: Row) -> float | None:
    """How much faster development went than in the first session, per cent."""
    return 100.0 * (row["rate"] / first["rate"] - 1.0) if row["rate"] and first["rate"] else None


DIFFERENCES = (
    *("session", "mean (+/- 2 sd)", "against first", "mean rate", "against first", "done (+/- 2 sd)", "against first"),
    *("actual", "against first"),
    *("overrun", "estimated", "dilution", "solution age", "density", "grade"),
)


def difference_table(comparison: SessionComparison) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Head and rows of the table of differences from the first session."""
    first = comparison.rows[0] if comparison.rows else {}
    rows = []
    for row in comparison.rows:
        faster = rate_difference_percent(row, first)
        rows.append(
            (
                name_of(row),
                _with_sd(row["mean_c"], row["mean_sd_c"]),
                _signed(row["mean_c"], first["mean_c"], " C", 2),
                _number(row["rate"], "", 3),
                _number(faster, " %", 1, sign=True),
                done_words(row),
                _signed(_known_done(row), _known_done(first), " %", 1),
                _time(row["actual_s"]),
                _signed(row["actual_s"], first["actual_s"], " s", 0),
                _number(row["overrun_s"], " s", 0, sign=True),
                _time(row["estimated_s"]),
                row["dilution"] or "",
                "" if row["solution_age_s"] is None else f"{row['solution_age_s'] / 3600:.1f} h",
                row["judged_density"] or _number(row["judged_measured_density"], "", 2),
                _number(row["judged_grade"], "", 1),
            )
        )
    return DIFFERENCES, rows


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


def _with_sd(value: float | None, sd: float | None, unit: str = " C", places: int = 2) -> str:
    return "" if value is None else f"{value:.{places}f}{unit}" + (f" {plus_minus(sd, places)}" if sd else "")


SEASON = ("opened", "session", "recipe", "mean rate", "done (+/- 2 sd)", "overrun", "estimated", "faults", "comparison age", "mode")


def season_table(comparison: SessionComparison) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Head and rows of the season, by date."""
    rows = [
        (
            row["opened_wall"][:16].replace("T", " "),
            name_of(row),
            row["recipe"] or "",
            _number(row["rate"], "", 3),
            done_words(row),
            _number(row["overrun_s"], " s", 0, sign=True),
            _time(row["estimated_s"]),
            str(row["faults"]),
            _age(row),
            row["mode"],
        )
        for row in sorted(comparison.rows, key=lambda r: (r["opened_wall"], r["session"], r["sheet"] or 0))
    ]
    return SEASON, rows


def _age(row: Row) -> str:
    if row["comparison_age_days"] is not None:
        return f"{row['comparison_age_days']:.0f} days"
    return "compared, no date" if row["compared"] else "not compared"


def days(comparison: SessionComparison) -> list[tuple[float, Row]]:
    """Rows with a date and a development, as (days since the first of them, row), by date."""
    found = []
    for row in comparison.rows:
        with contextlib.suppress(ValueError):
            if row["done_percent"] is not None:
                found.append((datetime.fromisoformat(row["opened_wall"]).timestamp() / 86400.0, row))
    found.sort(key=lambda f: (f[0], f[1]["sheet"] or 0))
    return [(day - found[0][0], row) for day, row in found]


def sentence(comparison: SessionComparison) -> str:
    """What stands out, in words."""
    if not comparison.rows:
        return "No session could be read."
    first = comparison.rows[0]
    told = [f"{len(comparison.sessions)} sessions; every difference is from {name_of(first)}."]
    rates = [(rate_difference_percent(r, first), r) for r in comparison.rows[1:]]
    known = [(d, r) for d, r in rates if d is not None]
    if known:
        slow, fast = min(known, key=lambda k: k[0]), max(known, key=lambda k: k[0])
        for difference, row in dict.fromkeys([(slow[0], name_of(slow[1])), (fast[0], name_of(fast[1]))]):
            if abs(difference) >= 0.05:
                told.append(f"{row} went {abs(difference):.1f} % {'faster' if difference >= 0 else 'slower'}.")
    done = [(d, r) for r in comparison.rows if (d := _known_done(r)) is not None]
    if len(done) > 1:
        least, most = min(done, key=lambda d: d[0]), max(done, key=lambda d: d[0])
        told.append(f"Development done from {least[0]:.1f} % ({name_of(least[1])}) to {most[0]:.1f} % ({name_of(most[1])}).")
    return " ".join(told)


def _plain(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    widths = [max(len(str(r[i])) for r in [head, *rows]) for i in range(len(head))]
    return "".join("  ".join(str(c).ljust(w) for c, w in zip(row, widths, strict=True)).rstrip() + "\n" for row in [head, *rows])


def comparison_text(comparison: SessionComparison) -> str:
    """Sentence and table of differences."""
    return sentence(comparison) + "\n" + (_plain(*difference_table(comparison)) if comparison.rows else "")


def season_text(comparison: SessionComparison) -> str:
    """The season as a table."""
    return _plain(*season_table(comparison)) if comparison.rows else sentence(comparison) + "\n"
