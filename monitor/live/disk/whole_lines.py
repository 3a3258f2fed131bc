"""Whole lines of files that are only appended to and that a crash may truncate: where they end, the last one, how many.

Nothing here holds more than one block, or one line, in memory. Tests: tests/live/disk/test_whole_lines.py.
"""

from __future__ import annotations

import os

BLOCK_BYTES = 1 << 16
COUNT_BYTES = 1 << 18


def end_of_whole_lines(descriptor: int, size: int) -> int:
    """The number of bytes up to and including the last newline among the first `size`; 0 where there is none.
    Reads backwards from the end, a block at a time."""
    end = size
    while end > 0:
        begin = max(0, end - BLOCK_BYTES)
        found = os.pread(descriptor, end - begin, begin).rfind(b"\n")
        if found >= 0:
            return begin + found + 1
        end = begin
    return 0


def last_line(descriptor: int, size: int, longest: int) -> bytes:
    """The last whole line among the first `size` bytes, without its newline; cut off after `longest` bytes."""
    end = end_of_whole_lines(descriptor, size)
    begin = end_of_whole_lines(descriptor, end - 1)
    return os.pread(descriptor, min(end - begin, longest), begin).removesuffix(b"\n")


def count_lines(descriptor: int, size: int) -> int:
    """The number of newlines among the first `size` bytes."""
    count, at = 0, 0
    while at < size and (block := os.pread(descriptor, min(COUNT_BYTES, size - at), at)):
        count, at = count + block.count(b"\n"), at + len(block)
    return count


def start_of_line(descriptor: int, number: int, size: int) -> int | None:
    """Where line `number` (from 1) begins; None if it does not begin among the first `size` bytes."""
    left, at = number - 1, 0
    while left > 0:
        block = os.pread(descriptor, min(COUNT_BYTES, size - at), at) if size > at else b""
        if not block:
            return None
        count = block.count(b"\n")
        if count < left:
            left, at = left - count, at + len(block)
            continue
        place = -1
        for _ in range(left):
            place = block.find(b"\n", place + 1)
        left, at = 0, at + place + 1
    return at if at < size else None
