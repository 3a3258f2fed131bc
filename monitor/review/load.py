"""From a journal's file to what the review works on: one session as compact arrays, or pandas DataFrames, one a kind.

Decides what is kept of a journal and in which columns, units and types; judges nothing. A file with problems still gives
what can be used of it, the problems stand in `Journal.findings`. A folder is walked file by file and only one session is
held at a time. Tests: tests/review/test_load.py.
"""

from __future__ import annotations

import contextlib
import stat
from array import array
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.journal.check import LONGEST_LINE, Findings, Record, read_records
from monitor.core.journal.history import History
from monitor.core.journal.records import reached_s
from monitor.core.probes.readings import EXCHANGED, other_of
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe, Stage
from monitor.core.text.doubt import two_sd

if TYPE_CHECKING:
    import pandas as pd

NAN = float("nan")


@dataclass(slots=True)
class ReadingSeries:
    """Readings of one probe in the order of time. `celsius` is NaN where the reading was not good."""

    probe: str
    role: str
    t_s: array[float] = field(default_factory=lambda: array("d"))
    raw_c: array[float] = field(default_factory=lambda: array("d"))
    celsius: array[float] = field(default_factory=lambda: array("d"))
    quality: list[str] = field(default_factory=list)


@dataclass(slots=True)
class ProgressSeries:
    """What the live filter said of one stage and sheet. NaN where it said nothing."""

    target_ref_s: float
    t_s: array[float] = field(default_factory=lambda: array("d"))
    developer_c: array[float] = field(default_factory=lambda: array("d"))
    developer_sd_c: array[float] = field(default_factory=lambda: array("d"))
    done_ref_s: array[float] = field(default_factory=lambda: array("d"))
    done_sd_ref_s: array[float] = field(default_factory=lambda: array("d"))
    end_t_s: array[float] = field(default_factory=lambda: array("d"))
    source: list[str] = field(default_factory=list)
    end_between_s: tuple[float, float] | None = None
    """Earliest and latest end as it was said last, two standard deviations of the forecast in them; None where no time was in doubt."""


FOLDED = ("stage", "correction", "annulled", "appeared", "tap", "gate")
"""Kinds of records that the history is told, beside the close."""


@dataclass(slots=True)
class Journal:
    """One session as it stands in its file.

    `opening`: the `session` record with event open, {} if the file has none. `recipe`: None if there is none that can be
    read. `rows`: records of every kind but reading and progress, by kind, in the order of the file. `history`: what they tell of the
    stages. Times are session seconds.
    """

    file: str
    findings: Findings
    session: str = ""
    opening: Record = field(default_factory=dict)
    recipe: Recipe | None = None
    readings: dict[str, ReadingSeries] = field(default_factory=dict)
    progress: dict[tuple[int, int | None], ProgressSeries] = field(default_factory=dict)
    rows: dict[str, list[Record]] = field(default_factory=dict)
    history: History = field(default_factory=History)
    last_t_s: float = 0.0
    first_wall: str = ""
    last_wall: str = ""

    def of(self, kind: str) -> list[Record]:
        """Records of one kind (not reading, not progress)."""
        return self.rows.get(kind, [])

    def stage(self, number: int) -> Stage | None:
        """A stage of the recipe by its number, None where the recipe does not have it."""
        return self.recipe.stages[number - 1] if self.recipe is not None and number <= len(self.recipe.stages) else None

    @property
    def close(self) -> Record | None:
        """The record that closes the session, None if it never was closed."""
        return next((r for r in self.of("session") if r["event"] == "close"), None)

    @property
    def mode(self) -> str:
        """`live` or `rehearsal`, or `unknown`."""
        return str(self.opening.get("mode", "unknown"))


def lines_of(path: Path) -> Iterator[bytes]:
    """The file's lines with their newlines; of one that is longer than a record may be only so much that this can be told.

    Raises `InputWrong` if it is no regular file or cannot be read.
    """
    try:
        refuse_special(path)
        with path.open("rb") as file:
            while line := file.readline(LONGEST_LINE + 2):
                if len(line) > LONGEST_LINE and not line.endswith(b"\n"):
                    rest = line
                    while rest and not rest.endswith(b"\n"):
                        rest = file.readline(LONGEST_LINE)
                    line += b"\n"
                yield line
    except FileNotFoundError:
        raise InputWrong(f"{path}: there is no such file; allowed: a journal (SESSION.jsonl) or a folder of them") from None
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be read ({wrong.strerror or wrong}); allowed: a journal or a folder of them") from None


def refuse_special(path: Path) -> None:
    """Raise `InputWrong` for a folder, a FIFO or a device: reading would fail, wait for ever or never end. Raises OSError."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise InputWrong(f"{path}: not a file; allowed: a journal or a folder of them")


def journal_files(paths: Iterable[Path]) -> Iterator[Path]:
    """The journals named: a file is itself, a folder all `*.jsonl` below it by name; judgements beside them are passed over."""
    for path in paths:
        if path.is_dir():
            found = sorted(p for p in path.rglob("*.jsonl") if not p.name.endswith(".judgement.jsonl"))
            if not found:
                raise InputWrong(f"{path}: no journal in this folder; allowed: a folder with SESSION.jsonl files")
            yield from found
        else:
            yield path


def load(path: Path, pass_over: Collection[str] = ()) -> Journal:
    """One session. What is wrong with the file stands in `findings`; raises `InputWrong` only if it cannot be opened.

    `pass_over`: roles of probes whose readings are not wanted.
    """
    findings = Findings(str(path))
    journal = Journal(str(path), findings)
    line = 0
    for line, record in read_records(lines_of(path), findings, pass_over):
        kind = record["kind"]
        journal.last_t_s = max(journal.last_t_s, reached_s(record))
        journal.last_wall = record["wall"]
        if not journal.session:
            journal.session, journal.first_wall = record["session"], record["wall"]
        if kind == "reading":
            _take_reading(journal, record)
        elif kind == "progress":
            _take_progress(journal, record)
        else:
            if kind == "session" and record["event"] == "open":
                journal.opening = record
                _take_recipe(journal, line, record)
                journal.history = History(None if journal.recipe is None else len(journal.recipe.stages))
            elif kind in FOLDED or (kind == "session" and record["event"] == "close"):
                journal.history.fold(record)
            journal.rows.setdefault(kind, []).append(record)
    _exchange(journal)
    return journal


def _exchange(journal: Journal) -> None:
    """Two probes that turned out to hang in each other's liquid: each speaks for the other's, in the whole journal."""
    for record in journal.of("trust"):
        if record["why"].startswith(EXCHANGED):
            one, other = record["probe"], other_of(record["why"])
            if one in journal.readings and other in journal.readings:
                mine, its = journal.readings[one], journal.readings[other]
                mine.role, its.role = its.role, mine.role


def _or_nan(value: float | None) -> float:
    return NAN if value is None else float(value)


def _take_reading(journal: Journal, record: Record) -> None:
    series = journal.readings.get(record["probe"])
    if series is None:
        series = journal.readings[record["probe"]] = ReadingSeries(record["probe"], record["role"])
    series.t_s.append(record["t_s"])
    series.raw_c.append(_or_nan(record["raw_c"]))
    series.celsius.append(_or_nan(record["celsius"]))
    series.quality.append(record["quality"])


def _take_progress(journal: Journal, record: Record) -> None:
    key = (record["stage"], record.get("sheet"))
    said = journal.progress.get(key)
    if said is None:
        said = journal.progress[key] = ProgressSeries(float(record["target_ref_s"]))
    said.target_ref_s = float(record["target_ref_s"])  # of a print the first trace has set it meanwhile
    said.t_s.append(record["t_s"])
    said.developer_c.append(_or_nan(record["developer_c"]))
    said.developer_sd_c.append(_or_nan(record["developer_sd_c"]))
    said.done_ref_s.append(record["done_ref_s"])
    said.done_sd_ref_s.append(_or_nan(record["done_sd_ref_s"]))
    said.end_t_s.append(_or_nan(record["end_t_s"]))
    said.source.append(record["source"])
    earliest_s, latest_s = record.get("earliest_end_t_s"), record.get("latest_end_t_s")
    if isinstance(earliest_s, (int, float)) and isinstance(latest_s, (int, float)):
        around_s = two_sd(record.get("end_sd_s") or 0.0)
        said.end_between_s = (earliest_s - around_s, latest_s + around_s)


def _take_recipe(journal: Journal, line: int, record: Record) -> None:
    data = record.get("recipe")
    if not isinstance(data, dict):
        journal.findings.report(line, 'the opening has no "recipe"', "allowed: the recipe as it was loaded; only what needs none is shown")
        return
    try:
        journal.recipe = recipe_from_data(data)
    except FileWrong as wrong:
        for problem in wrong.problems:
            journal.findings.report(line, f"in the recipe: {problem.what}", problem.allowed)


COLUMNS: dict[str, dict[str, tuple[str, str]]] = {
    "session": {
        "event": ("string", "open, resume or close"),
        "mode": ("string", "live or rehearsal (open)"),
        "version": ("string", "program version (open)"),
        "zone": ("string", "time zone of the place (open)"),
        "gap_s": ("Float64", "s without a running program (resume), missing if unknown"),
        "same_boot": ("boolean", "whether the clock went on (resume)"),
        "why": ("string", "reason (close)"),
    },
    "reading": {
        "probe": ("string", "name of the probe"),
        "role": ("string", "developer, witness, bath, room or wash"),
        "raw_c": ("Float64", "C, what the register said, missing if nothing"),
        "celsius": ("Float64", "C, corrected by the comparison, missing unless good"),
        "quality": ("string", "good, missing, crc, reset, stuck, implausible or stale"),
    },
    "progress": {
        "stage": ("Int64", "number of the stage, from 1"),
        "sheet": ("Int64", "number of the sheet, missing without sheets"),
        "developer_c": ("Float64", "C, live estimate"),
        "developer_sd_c": ("Float64", "C, its standard deviation"),
        "done_ref_s": ("Float64", "seconds of development at the reference, live"),
        "target_ref_s": ("Float64", "seconds of development wanted"),
        "done_sd_ref_s": ("Float64", "standard deviation of done_ref_s"),
        "end_t_s": ("Float64", "s, forecast of the end, session time"),
        "source": ("string", "developer, witness, vessel model, held or clock"),
    },
    "stage": {
        "stage": ("Int64", "number of the stage, from 1"),
        "name": ("string", "its name"),
        "event": ("string", "begin, ready, now, minimum or end (the planned end)"),
        "sheet": ("Int64", "number of the sheet, missing without sheets"),
        "assumed": ("boolean", "true where no tap said so"),
    },
    "cue": {
        "cue": ("string", "tick, ready, now, fault, answer, over or click"),
        "lateness_s": ("Float64", "s after the intended onset, missing in a rehearsal"),
        "sheet": ("Int64", "number of the sheet, missing without sheets"),
    },
    "trust": {
        "probe": ("string", "probe or source"),
        "believed": ("boolean", "gained or lost"),
        "why": ("string", "reason"),
        "since_t_s": ("Float64", "s, since when it has been so"),
    },
    "tap": {"meaning": ("string", "begin, poured, heard, mark or question")},
    "correction": {
        "stage": ("Int64", "number of the stage"),
        "begin_t_s": ("Float64", "s, the begin that counts"),
        "replaces_seq": ("Int64", "seq of the begin that it replaces"),
    },
    "gate": {"state": ("string", "withheld, open or overridden")},
}
"""Columns of each kind's DataFrame with dtype and meaning; `FIRST_COLUMNS` stand before them in every one."""

FIRST_COLUMNS: dict[str, tuple[str, str]] = {
    "line": ("int64", "line of the file, from 1"),
    "seq": ("int64", "number of the record, from 1"),
    "t_s": ("float64", "s, monotonic session time"),
    "wall": ("datetime64[us, UTC]", "the wall clock's label, missing if it is no RFC 3339 time"),
}


def frames(path: Path, findings: Findings | None = None) -> dict[str, pd.DataFrame]:
    """The journal as DataFrames, one for each kind of `COLUMNS` (empty ones too). Fields that are not documented are left out.

    Problems are added to `findings`. Raises `InputWrong` if the file cannot be opened.
    """
    import pandas as pd

    found = Findings(str(path)) if findings is None else findings
    lists: dict[str, dict[str, list[Any]]] = {kind: {name: [] for name in (*FIRST_COLUMNS, *names)} for kind, names in COLUMNS.items()}
    for line, record in read_records(lines_of(path), found):
        columns = lists.get(record["kind"])
        if columns is None:
            continue
        for name, values in columns.items():
            values.append(line if name == "line" else record.get(name))
    return {kind: _frame(pd, kind, columns) for kind, columns in lists.items()}


def _frame(pandas: Any, kind: str, columns: dict[str, list[Any]]) -> pd.DataFrame:
    made: dict[str, Any] = {}
    for name, values in columns.items():
        dtype = (FIRST_COLUMNS.get(name) or COLUMNS[kind][name])[0]
        if name == "wall":
            made[name] = pandas.Series(pandas.to_datetime(values, utc=True, errors="coerce", format="ISO8601")).astype(dtype)
            continue
        try:
            made[name] = pandas.Series(values, dtype=dtype)
        except (TypeError, ValueError):  # a field of another kind of value than documented, in a kind that is not checked for it
            cleaned = values
            with contextlib.suppress(TypeError, ValueError):
                cleaned = [v if isinstance(v, str if dtype == "string" else (int, float)) else None for v in values]
            made[name] = pandas.Series(cleaned, dtype=dtype)
    frame: pd.DataFrame = pandas.DataFrame(made)
    return frame
