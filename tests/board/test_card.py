"""The card that loses power: what its log can leave behind."""

from __future__ import annotations

import contextlib
import os
import random
import socket
import struct
import threading
from pathlib import Path

from tests.board.card import SECTOR, Server, gaps, kept, listen, put, tell


def request(end: socket.socket, command: int, place: int = 0, data: bytes = b"", length: int | None = None) -> None:
    """One request of the protocol, to its answer."""
    size = len(data) if length is None else length
    end.sendall(struct.pack(">IHHQQI", 0x25609513, 0, command, 7, place, size) + data)
    assert end.recv(16, socket.MSG_WAITALL)[:8] == struct.pack(">II", 0x67446698, 0)


def test_writes_flushes_and_what_was_told_stand_in_the_log_in_their_order(tmp_path: Path) -> None:
    """Through the socket, as the emulator talks to it."""
    image, log, path = tmp_path / "card.img", tmp_path / "log", tmp_path / "s"
    image.write_bytes(bytes(8 * SECTOR))
    server = Server(image, log)
    with contextlib.closing(server), listen(path) as listening, socket.socket(socket.AF_UNIX) as end:
        serving = threading.Thread(target=server.serve, args=(listening, 1))
        serving.start()
        end.connect(str(path))
        assert end.recv(18, socket.MSG_WAITALL).startswith(b"NBDMAGIC")
        end.sendall(struct.pack(">I", 3) + struct.pack(">QII", 0x49484156454F5054, 1, 0))
        assert struct.unpack(">Q", end.recv(134, socket.MSG_WAITALL)[:8]) == (8 * SECTOR,)
        request(end, 1, SECTOR, b"a" * SECTOR)
        request(end, 3)
        tell(log, 5)
        request(end, 1, 2 * SECTOR, b"b" * 2 * SECTOR)
        end.shutdown(socket.SHUT_WR)
        serving.join()
    first, last = gaps(log)
    assert (first.sectors(), first.told) == ({1: b"a" * SECTOR}, 0)
    assert (last.sectors(), last.told) == ({2: b"b" * SECTOR, 3: b"b" * SECTOR}, 5)


def test_a_cut_keeps_some_of_what_was_not_flushed_and_what_stood_there_comes_back(tmp_path: Path) -> None:
    """Over many cuts nothing, everything and every single sector is kept at times."""
    image = tmp_path / "card.img"
    image.write_bytes(b"x" * 4 * SECTOR)
    written = dict.fromkeys(range(4), b"y" * SECTOR)
    seen = {tuple(sorted(kept(written, random.Random(seed)))) for seed in range(200)}
    assert () in seen
    assert (0, 1, 2, 3) in seen
    assert len(seen) == 16
    opened = os.open(image, os.O_RDWR)
    before = put(opened, {1: written[1]})
    assert image.read_bytes() == b"x" * SECTOR + b"y" * SECTOR + b"x" * 2 * SECTOR
    put(opened, before)
    os.close(opened)
    assert image.read_bytes() == b"x" * 4 * SECTOR
