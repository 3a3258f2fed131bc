"""The readings of a journal or of a running station, for tools used before or between sessions.

Picks the good readings and refuses malformed ones, all together; it does not check a session's course
(monitor.core.journal.check does). Tests: tests/prepare/probes/test_readings.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import InputWrong, NotThere
from monitor.prepare.state.journal_lines import read_records


@dataclass(frozen=True, slots=True)
class ProbeReadings:
    """The good readings of one probe, in order of time. `raw_c`: what the register said; `celsius`: corrected by its comparison."""

    probe: str
    role: str
    t_s: tuple[float, ...]
    raw_c: tuple[float, ...]
    celsius: tuple[float, ...]

    def between(self, begin_s: float, end_s: float) -> ProbeReadings:
        """The readings from `begin_s` to `end_s`, both included."""
        keep = [i for i, t in enumerate(self.t_s) if begin_s <= t <= end_s]
        return ProbeReadings(
            self.probe,
            self.role,
            tuple(self.t_s[i] for i in keep),
            tuple(self.raw_c[i] for i in keep),
            tuple(self.celsius[i] for i in keep),
        )


@dataclass(frozen=True, slots=True)
class ReadingSource:
    """All good readings of one journal or station. `name` is the file's, for messages; `last_progress` the newest progress record."""

    name: str
    series: tuple[ProbeReadings, ...]
    last_progress: Mapping[str, Any] | None = None

    def probe(self, name: str) -> ProbeReadings:
        """One probe by name. Raises `InputWrong`, naming the probes there are."""
        for series in self.series:
            if series.probe == name:
                return series
        raise InputWrong(f'{self.name}: no good reading of a probe "{name}"; allowed: {self._known()}')

    def role(self, *roles: str) -> ProbeReadings | None:
        """The first probe with one of these roles, in the order of the roles; None if there is no such probe."""
        for role in roles:
            for series in self.series:
                if series.role == role:
                    return series
        return None

    def needed(self, *roles: str) -> ProbeReadings:
        """As `role`, but raises `InputWrong` if there is no such probe."""
        series = self.role(*roles)
        if series is None:
            raise InputWrong(f"{self.name}: no good reading of a {' or '.join(roles)} probe; allowed: one of {self._known()}")
        return series

    def _known(self) -> str:
        return ", ".join(f"{s.probe} ({s.role})" for s in self.series) or "none at all"


def read_journal(path: str | Path) -> ReadingSource:
    """The good readings of a journal. Raises `InputWrong` for a file that cannot be read, `FileWrong` for damaged lines."""
    file = Path(path)
    rows: list[Mapping[str, Any]] = []
    newest_progress: list[bytes] = [b"null"]

    def wanted(line: bytes) -> bool:
        if b'"reading"' in line:
            return True
        if b'"progress"' in line:
            newest_progress[0] = line
        return False

    def take(record: Mapping[str, Any]) -> None:
        if record.get("kind") == "reading":
            rows.append(_checked(record))

    read_records(file, wanted, take)
    return ReadingSource(str(file), _by_probe(rows), _progress(newest_progress[0]))


def _progress(line: bytes) -> Mapping[str, Any] | None:
    try:
        record = json.loads(line)
    except ValueError:
        return None
    return record if isinstance(record, dict) and record.get("kind") == "progress" else None


def from_station(name: str, answer: Mapping[str, Any]) -> ReadingSource:
    """The readings in a station's answer to the verb `readings`. Raises `NotThere` for an answer without any."""
    rows = answer.get("readings")
    if not isinstance(rows, list):
        lines = answer.get("lines")
        said = "; ".join(map(str, lines))[:200] if isinstance(lines, list) else "no reason given"
        raise NotThere(f"{name}: the station answered without readings ({said}); allowed: a running station")
    try:
        return ReadingSource(name, _by_probe([_checked(row) for row in rows]))
    except (ValueError, AttributeError) as wrong:
        raise NotThere(f"{name}: the station's answer cannot be used ({wrong}); is it of this version?") from None


def _number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and abs(value) < 1e12


def _checked(record: Mapping[str, Any]) -> Mapping[str, Any]:
    if not isinstance(record.get("probe"), str):
        raise ValueError('a reading without "probe"')
    if not _number(record.get("t_s")):
        raise ValueError('a reading whose "t_s" is not a number')
    for key in ("raw_c", "celsius"):
        if record.get(key) is not None and not _number(record[key]):
            raise ValueError(f'a reading whose "{key}" is neither a number nor null')
    return record


def _by_probe(rows: Iterable[Mapping[str, Any]]) -> tuple[ProbeReadings, ...]:
    """Good readings, by probe; a reading that is not later than the one before is left out."""
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
    return tuple(ProbeReadings(probe, role, tuple(t), tuple(r), tuple(c)) for probe, (role, t, r, c) in found.items())
