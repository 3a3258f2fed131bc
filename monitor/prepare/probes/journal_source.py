"""Takes the readings out of a journal, for the tools that look at a bath before or between sessions.

Decides which lines are readings and refuses damaged ones by file and line, all together; looks at no other kind of record
and does not check a session's course (monitor.core.journal.check does). A torn last line is left out. Tests:
tests/prepare/probes/test_journal_source.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, NotThere, Problem

LONGEST_BYTES = 256 * 1024 * 1024
_MOST_PROBLEMS = 10
_ALLOWED = "allowed: a journal, one JSON object a line"


@dataclass(frozen=True, slots=True)
class Series:
    """The good readings of one probe in the order of time. `raw_c`: what the register said; `celsius`: corrected by its comparison."""

    probe: str
    role: str
    t_s: tuple[float, ...]
    raw_c: tuple[float, ...]
    celsius: tuple[float, ...]

    def between(self, begin_s: float, end_s: float) -> Series:
        """The readings from `begin_s` to `end_s`, both included."""
        keep = [i for i, t in enumerate(self.t_s) if begin_s <= t <= end_s]
        return Series(
            self.probe,
            self.role,
            tuple(self.t_s[i] for i in keep),
            tuple(self.raw_c[i] for i in keep),
            tuple(self.celsius[i] for i in keep),
        )


@dataclass(frozen=True, slots=True)
class Source:
    """All good readings of one journal or station. `name` is the file's, for messages; `last_progress` the newest progress record."""

    name: str
    series: tuple[Series, ...]
    last_progress: Mapping[str, Any] | None = None

    def probe(self, name: str) -> Series:
        """One probe by name. Raises `InputWrong` with the probes there are."""
        for series in self.series:
            if series.probe == name:
                return series
        raise InputWrong(f'{self.name}: no good reading of a probe "{name}"; allowed: {self._known()}')

    def role(self, *roles: str) -> Series | None:
        """The first probe with one of these roles, in the order of the roles; None if there is none."""
        for role in roles:
            for series in self.series:
                if series.role == role:
                    return series
        return None

    def needed(self, *roles: str) -> Series:
        """As `role`, but raises `InputWrong` where there is none."""
        series = self.role(*roles)
        if series is None:
            raise InputWrong(f"{self.name}: no good reading of a {' or '.join(roles)} probe; there are: {self._known()}")
        return series

    def _known(self) -> str:
        return ", ".join(f"{s.probe} ({s.role})" for s in self.series) or "none at all"


def read_journal(path: str | Path) -> Source:
    """The good readings of a journal. Raises `InputWrong` for a file that cannot be read, `FileWrong` for damaged lines."""
    file = Path(path)
    try:
        if file.stat().st_size > LONGEST_BYTES:
            raise InputWrong(f"{file}: longer than {LONGEST_BYTES >> 20} MiB; allowed: one session's journal")
        data = file.read_bytes()
    except OSError as wrong:
        raise InputWrong(f"{file}: cannot be read ({wrong.strerror}); allowed: a journal") from None
    rows: list[Mapping[str, Any]] = []
    progress: bytes | None = None
    problems: list[Problem] = []
    lines = data.split(b"\n")
    for number, line in enumerate(lines, 1):
        torn = number == len(lines)
        if not line.strip():
            continue
        if b'"reading"' not in line and line.startswith(b"{") and line.rstrip().endswith(b"}"):
            progress = line if b'"progress"' in line else progress
            continue
        try:
            record = json.loads(line)
            if not isinstance(record, dict):
                raise ValueError("not an object")
            if record.get("kind") == "reading":
                rows.append(_checked(record))
        except (ValueError, RecursionError) as wrong:
            if torn:
                break
            what = wrong.msg if isinstance(wrong, json.JSONDecodeError) else str(wrong)
            problems.append(Problem(str(file), number, f"not a record of a journal ({what[:80]})", _ALLOWED))
            if len(problems) >= _MOST_PROBLEMS:
                break
    if problems:
        raise FileWrong(problems)
    return Source(str(file), _by_probe(rows), _progress(progress))


def _progress(line: bytes | None) -> Mapping[str, Any] | None:
    try:
        record = json.loads(line or b"null")
    except ValueError:
        return None
    return record if isinstance(record, dict) and record.get("kind") == "progress" else None


def from_station(name: str, answer: Mapping[str, Any]) -> Source:
    """The readings of a station's answer to the verb `readings`. Raises `NotThere` for an answer that carries none."""
    rows = answer.get("readings")
    if not isinstance(rows, list):
        lines = answer.get("lines")
        said = "; ".join(map(str, lines))[:200] if isinstance(lines, list) else "no reason given"
        raise NotThere(f"{name}: the station answered without readings ({said}); allowed: a running station")
    try:
        return Source(name, _by_probe([_checked(row) for row in rows]))
    except (ValueError, AttributeError) as wrong:
        raise NotThere(f"{name}: the station's answer cannot be used ({wrong}); is it of this version?") from None


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and abs(value) < 1e12


def _checked(record: Mapping[str, Any]) -> Mapping[str, Any]:
    if not isinstance(record.get("probe"), str):
        raise ValueError('a reading without "probe"')
    if not _number(record.get("t_s")):
        raise ValueError('a reading whose "t_s" is no number')
    for key in ("raw_c", "celsius"):
        if record.get(key) is not None and not _number(record[key]):
            raise ValueError(f'a reading whose "{key}" is neither a number nor null')
    return record


def _by_probe(rows: Iterable[Mapping[str, Any]]) -> tuple[Series, ...]:
    """Good readings apart by probe; a reading that is not later than the one before it is left out."""
    found: dict[str, tuple[str, list[float], list[float], list[float]]] = {}
    for row in rows:
        if row.get("celsius") is None or row.get("quality", "good") != "good":
            continue
        _, t_s, raw_c, celsius = found.setdefault(row["probe"], (str(row.get("role", "")), [], [], []))
        if t_s and row["t_s"] <= t_s[-1]:
            continue
        t_s.append(float(row["t_s"]))
        celsius.append(float(row["celsius"]))
        raw_c.append(float(row["celsius"] if row.get("raw_c") is None else row["raw_c"]))
    return tuple(Series(probe, role, tuple(t), tuple(r), tuple(c)) for probe, (role, t, r, c) in found.items())


def median(values: Sequence[float]) -> float:
    """Middle value. The sequence is not empty."""
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else 0.5 * (ordered[half - 1] + ordered[half])
