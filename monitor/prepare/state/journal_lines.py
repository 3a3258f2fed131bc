"""Reads the records of a journal that a tool asks for; the others are not even parsed.

A torn last line is left out; damaged lines before it are refused together, with file and line. What
the records of a session mean to each other is `monitor.core.journal`'s. Tests: tests/prepare/probes/test_readings.py,
tests/prepare/bottles/test_booking.py.
"""

from __future__ import annotations

import json
import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem

JOURNALS = "journals"
"""The subfolder of the state folder that holds them (contract, section 8)."""
JOURNAL_ALLOWED = "allowed: a journal, one JSON object a line"
_LONGEST_BYTES = 256 * 1024 * 1024
_MOST_PROBLEMS = 10


def read_records(path: Path, wanted: Callable[[bytes], bool], take: Callable[[Mapping[str, Any]], None]) -> None:
    """Hand each record whose line is `wanted` to `take`, in order. `take` raises `ValueError` for a record it cannot use,
    and `InputWrong` if the whole journal is the wrong one.

    Raises `InputWrong` for a file that cannot be read, `FileWrong` for damaged lines and for records that `take` refused.
    """
    lines = _read(path).split(b"\n")
    problems: list[Problem] = []
    for number, line in enumerate(lines, 1):
        if not line.strip() or (line.startswith(b"{") and line.rstrip().endswith(b"}") and not wanted(line)):
            continue
        try:
            record = json.loads(line)
            if not isinstance(record, dict):
                raise ValueError("not an object")
            take(record)
        except InputWrong:
            raise
        except (ValueError, RecursionError) as wrong:
            if number == len(lines):
                break
            why = wrong.msg if isinstance(wrong, json.JSONDecodeError) else str(wrong)
            problems.append(Problem(str(path), number, f"not a record of a journal ({why[:80]})", JOURNAL_ALLOWED))
            if len(problems) >= _MOST_PROBLEMS or number == 1:  # what does not begin as a journal is none: once is enough
                break
    if problems:
        raise FileWrong(problems)


def _read(path: Path) -> bytes:
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise InputWrong(f"{path}: cannot be read (not a file); allowed: a journal")
        if path.stat().st_size > _LONGEST_BYTES:
            raise InputWrong(f"{path}: longer than {_LONGEST_BYTES >> 20} MiB; allowed: one session's journal")
        return path.read_bytes()
    except OSError as wrong:
        raise InputWrong(f"{path}: cannot be read ({wrong.strerror}); allowed: a journal") from None
