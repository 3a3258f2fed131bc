"""Sockets with a name in the state folder: made for the station's user and group, and reached however deep the folder lies.

Tests: tests/live/station/test_control.py, tests/live/station/test_telling.py.
"""

from __future__ import annotations

import errno
import os
import socket
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.live.disk.own_files import kind_of


@contextmanager
def short_path(state: Path, name: str) -> Iterator[str]:
    """A path of the socket that is short enough for the kernel (108 bytes), however deep the folder lies. Raises OSError."""
    folder = os.open(state, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        yield f"/proc/self/fd/{folder}/{name}"
    finally:
        os.close(folder)


def open_door(state: Path, name: str, waiting: int) -> socket.socket:
    """A socket of this name that listens, mode 0660; `waiting` may stand before it. One that a dead station left is removed (the lock on
    the state folder says that it is dead). Raises OSError, also where anything else of this name stands there."""
    before = state / name
    if os.path.lexists(before):
        mode = os.lstat(before).st_mode
        if not stat.S_ISSOCK(mode):
            raise OSError(errno.EEXIST, f"{kind_of(mode)} of this name stands there")
        before.unlink()
    door = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
    door.setblocking(False)
    mask = os.umask(0o117)
    try:
        with short_path(state, name) as path:
            door.bind(path)
    finally:
        os.umask(mask)
    door.listen(waiting)
    return door
