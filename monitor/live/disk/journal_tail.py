"""The records of a journal that somebody else may be writing, from a place on. For whoever follows a session.

What is not a whole record, as a last line that is being written, is passed over: whoever judges journals reads them elsewhere
(monitor.core.journal.check). Tests: tests/live/disk/test_journal_tail.py.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from monitor.core.journal.check import LONGEST_LINE
from monitor.live.disk.own_files import open_regular


def records_after(path: Path, seq: int) -> Iterator[dict[str, Any]]:
    """The records with a greater `seq`, in the order of the file. Raises OSError where it cannot be read."""
    with open(open_regular(path), "rb") as file:  # noqa: PTH123
        goes_on = False  # this piece continues a line that is longer than a record can be
        while line := file.readline(LONGEST_LINE):
            before, goes_on = goes_on, not line.endswith(b"\n")
            if before:
                continue
            try:
                record = json.loads(line) if line.endswith(b"\n") else None
            except (ValueError, RecursionError):
                continue
            if not isinstance(record, dict) or not {"seq", "t_s", "kind"} <= record.keys():
                continue
            if isinstance(record["seq"], int) and record["seq"] > seq:
                yield record
