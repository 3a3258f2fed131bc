"""A card as an NBD server on a Unix socket, which writes down every write, every flush, and what was told at which point between them.

    python -m tests.board.card IMAGE SOCKET LOG

From the log each card that a power cut can leave is made again (`Log.left_by`): what was flushed is there, and of what came after the last
flush any part may be, sector by sector. Protocol: the NBD project's proto.md (newstyle handshake; from memory).
"""

from __future__ import annotations

import contextlib
import os
import random
import socket
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SECTOR = 512
_HEAD = struct.Struct(">cQI")
_REPLY = 0x3E889045565A9


@dataclass
class Gap:
    """What came between two flushes: writes (place, bytes), in order, and what had been told safe by then (records)."""

    writes: list[tuple[int, bytes]] = field(default_factory=list)
    told: int = 0

    def sectors(self) -> dict[int, bytes]:
        """Number of each sector that was written, with its last content."""
        found: dict[int, bytes] = {}
        for place, data in self.writes:
            for k in range(0, len(data), SECTOR):
                found[(place + k) // SECTOR] = data[k : k + SECTOR]
        return found


def gaps(log: Path) -> Iterator[Gap]:
    """The log, flush by flush. The last gap has no flush behind it."""
    told, gap = 0, Gap()
    with log.open("rb") as file:
        while len(head := file.read(_HEAD.size)) == _HEAD.size:
            kind, place, length = _HEAD.unpack(head)
            if kind == b"w":
                gap.writes.append((place, file.read(length)))
            elif kind == b"t":
                told = max(told, place)
                gap.told = told
            else:
                yield gap
                gap = Gap(told=told)
    yield gap


def put(image: int, sectors: dict[int, bytes]) -> dict[int, bytes]:
    """Write sectors to an open image and give what stood there before."""
    before = {}
    for number, data in sectors.items():
        before[number] = os.pread(image, SECTOR, number * SECTOR)
        os.pwrite(image, data, number * SECTOR)
    return before


def kept(sectors: dict[int, bytes], chance: random.Random) -> dict[int, bytes]:
    """What a card without power keeps of what was not flushed: nothing, all, or each sector by itself with a probability of a half."""
    how = chance.random()
    if how < 0.2:
        return {}
    if how < 0.4:
        return sectors
    return {number: data for number, data in sectors.items() if chance.random() < 0.5}


def listen(path: Path) -> socket.socket:
    """A socket that the emulator may connect to from now on."""
    path.unlink(missing_ok=True)
    listening = socket.socket(socket.AF_UNIX)
    listening.bind(str(path))
    listening.listen(4)
    return listening


class Server:
    """One client, one image."""

    def __init__(self, image: Path, log: Path) -> None:
        self._image = os.open(image, os.O_RDWR)
        self._size = os.fstat(self._image).st_size
        self._log = log.open("ab", buffering=0)

    def close(self) -> None:
        """Let go of image and log."""
        os.close(self._image)
        self._log.close()

    def write_down(self, kind: bytes, place: int = 0, data: bytes = b"") -> None:
        """One entry of the log."""
        self._log.write(_HEAD.pack(kind, place, len(data)) + data)

    def serve(self, listening: socket.socket, clients: int | None = None) -> None:
        """Serve one client after the other: so many, or for ever."""
        served = 0
        while clients is None or served < clients:
            end, _ = listening.accept()
            served += 1
            with end, contextlib.suppress(EOFError, ConnectionError):
                self._greet(end)
                self._answer(end)

    def _greet(self, end: socket.socket) -> None:
        end.sendall(b"NBDMAGICIHAVEOPT" + struct.pack(">H", 3))
        _need(end, 4)
        flags = 1 | 4 | 8  # has flags, flush, force unit access
        while True:
            _, option, length = struct.unpack(">QII", _need(end, 16))
            _need(end, length)
            if option == 1:
                end.sendall(struct.pack(">QH", self._size, flags) + b"\0" * 124)
                return
            if option in (6, 7):
                for kind, data in (
                    (3, struct.pack(">HQH", 0, self._size, flags)),
                    (3, struct.pack(">HIII", 3, 512, 4096, 1 << 25)),
                    (1, b""),
                ):
                    end.sendall(struct.pack(">QIII", _REPLY, option, kind, len(data)) + data)
                if option == 7:
                    return
            elif option == 2:
                raise EOFError
            else:
                end.sendall(struct.pack(">QIII", _REPLY, option, 0x80000001, 0))

    def _answer(self, end: socket.socket) -> None:
        while True:
            _, flags, command, handle, place, length = struct.unpack(">IHHQQI", _need(end, 28))
            done = struct.pack(">IIQ", 0x67446698, 0, handle)
            if command == 0:
                end.sendall(done + os.pread(self._image, length, place))
            elif command == 1:
                data = _need(end, length)
                os.pwrite(self._image, data, place)
                self.write_down(b"w", place, data)
                if flags & 1:
                    self.write_down(b"f")
                end.sendall(done)
            elif command == 3:
                self.write_down(b"f")
                end.sendall(done)
            elif command == 2:
                raise EOFError
            else:
                end.sendall(struct.pack(">IIQ", 0x67446698, 22, handle))


def _need(end: socket.socket, count: int) -> bytes:
    data = b""
    while len(data) < count:
        more = end.recv(count - len(data), socket.MSG_WAITALL)
        if not more:
            raise EOFError
        data += more
    return data


def tell(log: Path, records: int) -> None:
    """Write down that so many records had been told safe. One short write to a file that is appended to is whole."""
    with log.open("ab", buffering=0) as file:
        file.write(_HEAD.pack(b"t", records, 0))


if __name__ == "__main__":
    Server(Path(sys.argv[1]), Path(sys.argv[3])).serve(listen(Path(sys.argv[2])))
