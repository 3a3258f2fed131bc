"""Reads a file of presses for `rehearse --foot`: what the simulated person's foot does, and nothing else.

CSV with a header and the columns `down_s,up_s`, in the trace's t_s; one row a press, in rising order, none before the last one is over.
Tests: tests/cli/test_rehearse_foot.py.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

from monitor.core.errors import FileWrong, InputWrong, Problem

COLUMNS = ["down_s", "up_s"]
_MOST_BYTES = 1 << 24
_LONGEST_S = 1e9


def open_foot(name: str) -> list[tuple[float, float]]:
    """The presses in this file as (down, up). Raises `InputWrong` where it cannot be read and `FileWrong` with all that is wrong in it."""
    path = Path(name)
    try:
        if not path.is_file():
            raise InputWrong(f"{name}: not a file; allowed: the path of a CSV file with the columns {','.join(COLUMNS)}")
        with path.open("rb") as file:
            raw = file.read(_MOST_BYTES + 1)
    except OSError as wrong:
        raise InputWrong(f"{name}: cannot be read ({wrong.strerror}); allowed: the path of a CSV file of presses") from None
    if len(raw) > _MOST_BYTES:
        raise InputWrong(f"{name}: larger than {_MOST_BYTES} bytes; allowed: a file of presses, one a row")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = raw[: wrong.start].count(b"\n") + 1
        raise FileWrong([Problem(name, line, f"not UTF-8 at byte {wrong.start + 1}", "allowed: plain UTF-8 text")]) from None
    return _presses(text, name)


def _presses(text: str, name: str) -> list[tuple[float, float]]:
    reader = csv.reader(io.StringIO(text, newline=""))
    problems: list[Problem] = []
    presses: list[tuple[float, float]] = []
    header = False
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            if not any(cells):
                continue
            if not header:
                header = True
                if cells != COLUMNS:
                    problems.append(Problem(name, reader.line_num, f"the header is {','.join(cells)[:60]!r}", "allowed: down_s,up_s"))
                    break
                continue
            if any("," in cell for cell in cells) or (len(cells) > len(COLUMNS) and all(cell.isdigit() for cell in cells)):
                problems.append(Problem(name, reader.line_num, "numbers with decimal commas", "allowed: points, such as 1.5,2.7"))
                break
            press = _press(cells, presses[-1] if presses else None)
            if isinstance(press, tuple):
                presses.append(press)
            else:
                problems.append(Problem(name, reader.line_num, press, "allowed: two numbers in seconds, each press after the last"))
    except csv.Error as wrong:
        problems.append(Problem(name, reader.line_num, f"not CSV ({wrong})", "allowed: rows of two numbers"))
    if not header:
        problems.append(Problem(name, 1, "the file is empty", "allowed: the header down_s,up_s and a row for each press"))
    if problems:
        raise FileWrong(problems)
    return presses


def _press(cells: list[str], before: tuple[float, float] | None) -> tuple[float, float] | str:
    """One press, or what is wrong with the row."""
    if len(cells) != len(COLUMNS):
        return f"{len(cells)} cells"
    numbers = []
    for column, cell in zip(COLUMNS, cells, strict=True):
        try:
            number = float(cell)
        except ValueError:
            number = math.nan
        if not (math.isfinite(number) and 0.0 <= number <= _LONGEST_S):
            return f'{column} is "{cell[:40]}"'
        numbers.append(number)
    down_s, up_s = numbers
    if up_s <= down_s:
        return f"up at {up_s:g} s, not after down at {down_s:g} s"
    if before is not None and down_s <= before[1]:
        return f"down at {down_s:g} s, before the last press is over at {before[1]:g} s"
    return down_s, up_s
