"""Where a file's last whole line ends: for files that are only appended to and that a crash may tear.

Tests: tests/live/station/test_resume.py.
"""

from __future__ import annotations

import os

BLOCK_BYTES = 65536


def end_of_whole_lines(descriptor: int, size: int) -> int:
    """Bytes up to and with the last newline among the first `size`; 0 where there is none. Read from the end, a block at a time."""
    end = size
    while end > 0:
        begin = max(0, end - BLOCK_BYTES)
        found = os.pread(descriptor, end - begin, begin).rfind(b"\n")
        if found >= 0:
            return begin + found + 1
        end = begin
    return 0
