"""Bytes that are only ever added to, kept compressed, with a checksum of each block. A journal shrinks to about a tenth.

Tests: tests/live/disk/test_disturbed.py.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator

BLOCK_BYTES = 1 << 16
LEVEL = 1
"""The fastest: a few records a second, beside sounds that must be on time."""


class PackedBytes:
    """`length`: how many bytes were added."""

    def __init__(self) -> None:
        self._pack = zlib.compressobj(LEVEL)
        self._blocks: list[bytes] = []
        self._sums: list[int] = []
        self._tail = bytearray()
        self.length = 0

    def add(self, data: bytes) -> None:
        """Add some at the end."""
        block = self._pack.compress(data)
        if block:
            self._blocks.append(block)
        self.length += len(data)
        self._tail += data
        while len(self._tail) >= BLOCK_BYTES:
            self._sums.append(zlib.crc32(self._tail[:BLOCK_BYTES]))
            del self._tail[:BLOCK_BYTES]

    @property
    def blocks(self) -> int:
        """How many blocks there are, the last one not full."""
        return len(self._sums) + 1

    def agrees(self, number: int, data: bytes) -> bool:
        """Whether block `number` (from 0) is this."""
        return data == self._tail if number >= len(self._sums) else zlib.crc32(data) == self._sums[number] and len(data) == BLOCK_BYTES

    def pieces(self) -> Iterator[bytes]:
        """All of it from the beginning, in pieces. More may be added afterwards, but not meanwhile."""
        unpack = zlib.decompressobj()
        for block in (*self._blocks, self._pack.copy().flush()):
            piece = unpack.decompress(block)
            if piece:
                yield piece
