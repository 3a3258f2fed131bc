"""Bytes that are only ever added to, kept compressed. A journal shrinks to about a tenth. Tests: tests/live/disk/test_disturbed.py."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

LEVEL = 1
"""The fastest: a few records a second, beside sounds that must be on time."""


class PackedBytes:
    """`length`: how many bytes were added."""

    def __init__(self) -> None:
        self._pack = zlib.compressobj(LEVEL)
        self._blocks: list[bytes] = []
        self.length = 0

    def add(self, data: bytes) -> None:
        """Add some at the end."""
        block = self._pack.compress(data)
        if block:
            self._blocks.append(block)
        self.length += len(data)

    def pieces(self) -> Iterator[bytes]:
        """All of it from the beginning, in pieces. More may be added afterwards, but not meanwhile."""
        unpack = zlib.decompressobj()
        for block in (*self._blocks, self._pack.copy().flush()):
            piece = unpack.decompress(block)
            if piece:
                yield piece
