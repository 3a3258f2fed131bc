"""A trace: what the liquids of a rehearsal or a rig really do, read from CSV.

Columns `t_s`, `developer_c`, `bath_c`; optional `room_c`, `developer_fault`, `bath_fault`, and `developer_2_c`, `developer_2_fault` for
a second vessel. Straight between rows, held before the
first and after the last. A fault holds from its row until a later row's cell ends it (empty: sound).
Decides what a trace file may hold; knows nothing of probes. Tests: tests/hardware/test_trace.py.
"""

from __future__ import annotations

import csv
import io
import math
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

from hardware.errors import TraceWrong

FAULTS = ("missing", "crc", "reset", "stuck", "air")
"""Words that a fault cell may hold; empty is sound."""

REGISTER_C = (-55.0, 125.0)
"""What the probe's register can say (DS18B20 data sheet, range)."""

FAHRENHEIT_FROM = 50.0
"""A developer that is this warm throughout is given in Fahrenheit: 50 F is 10 C, and references end at 50 C (own measure)."""

LONGEST_S = 1e9
"""No trace is longer than thirty years; beyond it floats lose the milliseconds."""

_REQUIRED = ("t_s", "developer_c", "bath_c")
_TEMPERATURES = ("developer_c", "bath_c", "room_c", "developer_2_c")
_FAULT_COLUMNS = ("developer_fault", "bath_fault", "developer_2_fault")
_COLUMNS = (*_REQUIRED, "room_c", "developer_fault", "bath_fault", "developer_2_c", "developer_2_fault")
_POINTS = "allowed: commas between cells and points in numbers, such as 60,20.5,19.8"
_COMMA = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d+", re.ASCII)
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Trace:
    """Rows of a trace, column by column. Times in seconds, strictly rising; temperatures in degrees Celsius.

    `columns_c` has `developer_c`, `bath_c` and, where the file has them, `room_c` and `developer_2_c`. `faults` has a tuple of one word
    or None a row for each probe that has a fault column.
    """

    t_s: tuple[float, ...]
    columns_c: dict[str, tuple[float, ...]]
    faults: dict[str, tuple[str | None, ...]]

    @property
    def start_s(self) -> float:
        """Time of the first row, seconds."""
        return self.t_s[0]

    @property
    def end_s(self) -> float:
        """Time of the last row, seconds."""
        return self.t_s[-1]

    @property
    def has_room(self) -> bool:
        """Whether the air of the room is known."""
        return "room_c" in self.columns_c

    @property
    def has_second(self) -> bool:
        """Whether it has a second vessel."""
        return "developer_2_c" in self.columns_c

    def developer_c(self, t_s: float) -> float:
        """True temperature of the developer, degrees Celsius."""
        return self.value_c("developer_c", t_s)

    def bath_c(self, t_s: float) -> float:
        """True temperature of the bath, degrees Celsius."""
        return self.value_c("bath_c", t_s)

    def room_c(self, t_s: float) -> float | None:
        """True temperature of the room's air, degrees Celsius; None where the trace has none."""
        return self.value_c("room_c", t_s) if self.has_room else None

    def value_c(self, column: str, t_s: float) -> float:
        """One temperature column at `t_s`: straight between rows, held outside."""
        times, values = self.t_s, self.columns_c[column]
        after = bisect_right(times, t_s)
        if after == 0:
            return values[0]
        if after == len(times):
            return values[-1]
        share = (t_s - times[after - 1]) / (times[after] - times[after - 1])
        return values[after - 1] + share * (values[after] - values[after - 1])

    def fault(self, probe: str, t_s: float) -> str | None:
        """The fault of `developer`, `bath` or `developer_2` at `t_s`, one of `FAULTS`; None is sound, also for every other probe."""
        words = self.faults.get(probe)
        after = bisect_right(self.t_s, t_s)
        return words[after - 1] if words is not None and after > 0 else None

    def segments(self, from_s: float, to_s: float) -> Iterator[tuple[float, float]]:
        """Cuts (from_s, to_s] at the rows between, so that inside each piece every column is straight and every fault constant."""
        left = from_s
        for index in range(bisect_right(self.t_s, from_s), len(self.t_s)):
            if self.t_s[index] >= to_s:
                break
            yield left, self.t_s[index]
            left = self.t_s[index]
        if left < to_s:
            yield left, to_s


def load_trace(text: bytes) -> Trace:
    """A `Trace` from the bytes of a CSV file. Raises `TraceWrong` with every problem and its 1-based line."""
    rows = _rows(_decoded(text))
    header = next(rows, None)
    if header is None:
        raise TraceWrong([(1, "the file is empty", f"allowed: a header row ({','.join(_REQUIRED)}, ...) and rows")])
    problems: list[tuple[int, str, str]] = []
    _check_separator(*header)
    _check_header(*header, problems)
    reader = _RowReader(header[1], problems)
    read = 0
    for line, cells in rows:
        _check_separator(line, cells)
        _check_commas(line, cells, header[1])
        reader.read(line, cells)
        read += 1
    if not read:
        problems.append((header[0], "no rows under the header", "allowed: one row or more"))
    if problems:
        raise TraceWrong(problems)
    trace = reader.trace()
    _check_unit(header[0], trace)
    return trace


def _decoded(text: bytes) -> str:
    if b"\0" in text:
        line = text[: text.index(b"\0")].count(b"\n") + 1
        raise TraceWrong([(line, "a NUL byte", "allowed: text in UTF-8")])
    try:
        return text.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = text[: wrong.start].count(b"\n") + 1
        raise TraceWrong([(line, f"byte 0x{text[wrong.start]:02x} is not UTF-8", "allowed: text in UTF-8")]) from None


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """The header and the rows that are not blank, each with its line; one at a time, for a trace may have a million."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    before = 0
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield before + 1, [cell.strip() for cell in cells]
            before = reader.line_num
    except csv.Error as wrong:
        raise TraceWrong([(max(before + 1, 1), f"not CSV ({wrong})", "allowed: cells with commas between them")]) from None


def _check_header(line: int, names: list[str], problems: list[tuple[int, str, str]]) -> None:
    allowed = f"allowed: {', '.join(_REQUIRED)}; optional: {', '.join(n for n in _COLUMNS if n not in _REQUIRED)}"
    for name in _REQUIRED:
        if name not in names:
            problems.append((line, f"no column {name}", allowed))
    for name in dict.fromkeys(names):
        if name not in _COLUMNS:
            problems.append((line, f"unknown column {_shown(name)}", allowed))
        elif names.count(name) > 1:
            problems.append((line, f"column {name} stands {names.count(name)} times", "allowed: once"))
    if "developer_2_fault" in names and "developer_2_c" not in names:
        problems.append((line, "column developer_2_fault without developer_2_c", "allowed: both, or developer_2_c alone"))


def _check_separator(line: int, names: list[str]) -> None:
    """A table of a country with decimal commas is told as one, not as three missing columns and a thousand rows."""
    for sign, word in ((";", "semicolons"), ("\t", "tabs")):
        if any(sign in name for name in names):
            raise TraceWrong([(line, f"cells with {word} between them", _POINTS)])


def _check_commas(line: int, cells: list[str], names: list[str]) -> None:
    """Raise `TraceWrong` at the first number with a decimal comma: each row of such a file has them."""
    shown = next((cell for cell in cells if _COMMA.fullmatch(cell)), None)
    if shown is not None:
        raise TraceWrong([(line, f"{_shown(shown)} is a number with a decimal comma", _POINTS)])
    if len(cells) > len(names) and all(_WHOLE.fullmatch(cell) for cell in cells):
        raise TraceWrong([(line, f"{len(cells)} cells for {len(names)} columns: numbers with decimal commas", _POINTS)])


def _check_unit(line: int, trace: Trace) -> None:
    """Raise `TraceWrong` where a column in degrees Celsius can only be Fahrenheit: no developer and no room is that hot throughout."""
    for name in ("developer_c", "room_c", "developer_2_c"):
        values = trace.columns_c.get(name)
        if values is not None and min(values) >= FAHRENHEIT_FROM:
            low, high = min(values), max(values)
            told = f"{name} is {low:g} to {high:g} throughout: that is Fahrenheit ({(low - 32) / 1.8:.1f} to {(high - 32) / 1.8:.1f} C)"
            raise TraceWrong([(line, told, "allowed: degrees Celsius")])


class _RowReader:
    """Collects the cells of rows and what is wrong with them."""

    def __init__(self, names: list[str], problems: list[tuple[int, str, str]]) -> None:
        self._names = names
        self._problems = problems
        self._places = {name: names.index(name) for name in _COLUMNS if name in names}
        self._numbers: dict[str, list[float]] = {n: [] for n in self._places if n not in _FAULT_COLUMNS}
        self._words: dict[str, list[str | None]] = {n: [] for n in self._places if n in _FAULT_COLUMNS}
        self._last_s: float | None = None

    def read(self, line: int, cells: list[str]) -> None:
        """Take one row."""
        if len(cells) != len(self._names):
            self._problems.append((line, f"{len(cells)} cells", f"allowed: {len(self._names)}, one for each column"))
            return
        for name, place in self._places.items():
            cell = cells[place]
            if name in self._words:
                self._words[name].append(self._fault(line, name, cell))
            else:
                value = self._number(line, name, cell)
                self._numbers[name].append(value)
                if name == "t_s":
                    self._check_order(line, cell, value)

    def trace(self) -> Trace:
        """What was read; only once there are no problems."""
        return Trace(
            t_s=tuple(self._numbers["t_s"]),
            columns_c={name: tuple(self._numbers[name]) for name in _TEMPERATURES if name in self._numbers},
            faults={name.removesuffix("_fault"): tuple(words) for name, words in self._words.items()},
        )

    def _number(self, line: int, name: str, cell: str) -> float:
        low, high = (-LONGEST_S, LONGEST_S) if name == "t_s" else REGISTER_C
        allowed = f"allowed: a number from {low:g} to {high:g}"
        if _NUMBER.fullmatch(cell) is None:
            what = f"{name} is empty" if not cell else f"{name} {_shown(cell)} is not a finite number"
            self._problems.append((line, what, allowed))
            return math.nan
        value = float(cell)
        if not low <= value <= high:
            self._problems.append((line, f"{name} {_shown(cell)} is out of range", allowed))
            return math.nan
        return value

    def _check_order(self, line: int, cell: str, value_s: float) -> None:
        if math.isnan(value_s):
            return
        if self._last_s is not None and value_s <= self._last_s:
            self._problems.append((line, f"t_s {_shown(cell)} does not rise", f"allowed: above {self._last_s:.10g}, the row before"))
        self._last_s = value_s

    def _fault(self, line: int, name: str, cell: str) -> str | None:
        if not cell:
            return None
        if cell not in FAULTS:
            self._problems.append((line, f"{name} {_shown(cell)} is not a fault", f"allowed: {', '.join(FAULTS)} or empty"))
        elif cell == "air" and "room_c" not in self._places:
            self._problems.append((line, f"{name} air without a column room_c", "allowed: air only where the room's temperature is given"))
        return cell


def _shown(text: str) -> str:
    short = "".join(c if c.isprintable() else "�" for c in text[:41])
    return f'"{short}"' if len(short) <= 40 else f'"{short[:37]}..."'
