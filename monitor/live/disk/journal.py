"""The journal on the disk: a thread appends records and makes them safe (syncs them), and nobody waits for it.

Decides when bytes go to the disk and what happens when the disk does not accept them: they stay in memory, are tried again
every second, and are written in order as soon as the disk works again. A half-written remainder is overwritten with the same bytes.
Where they go, and what is done when others lay hands on the file, is decided in monitor.live.disk.journal_place; it is looked at once a
second. Space is reserved before the start, in a file of its own, which is deleted when the disk is full.
Tests: tests/live/disk/test_journal.py.
"""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.journal.records import encode
from monitor.live.clock import Clock
from monitor.live.disk.disk import Disk
from monitor.live.disk.journal_place import JournalPlace
from monitor.live.disk.own_files import PRIVATE
from monitor.live.disk.session_id import session_id
from monitor.live.inbox import Message, Trouble
from monitor.live.writable import writable

SUFFIX = ".jsonl"
GATHER_S = 0.3
"""Readings, progress and ticks are collected for this long and written together; the contract allows a second. Everything else is
written at once."""
RETRY_S = 1.0
LOOK_S = 1.0
"""While nothing is written the file is looked at as often as this: what others do to it is noticed within two seconds."""
PATIENT = frozenset({"reading", "progress", "tick"})
STOPPED_S = 20.0
"""A journal that has not taken up what waits for so long has stopped, unless it is the disk that does not answer."""
BYTES_PER_S = 1500
"""Three probes, progress and ticks: about 900 bytes a second, measured in rehearsals, and some room to spare."""
RESERVE_LEAST, RESERVE_MOST = 2 << 20, 64 << 20


def journal_path(journals: Path, session: str) -> Path:
    """The path of a session's journal."""
    return journals / f"{session}{SUFFIX}"


class Reserve:
    """Space reserved on the disk of the state folder."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def make(self, seconds: float) -> None:
        """Reserve enough for a session of this length. Raises OSError where there is not that much."""
        size = int(min(RESERVE_MOST, max(RESERVE_LEAST, seconds * BYTES_PER_S)))
        descriptor = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, PRIVATE)
        try:
            os.posix_fallocate(descriptor, 0, size)
        finally:
            os.close(descriptor)

    def release(self) -> bool:
        """Give the reserved space up. True if there was any."""
        try:
            self._path.unlink()
        except OSError:
            return False
        return True


def encode_safely(record: Mapping[str, Any]) -> bytes:
    """A record as a line, whatever is in it: its seq is taken, and a record that could not be written would leave a gap for good."""
    try:
        return encode(record).encode()
    except (ValueError, TypeError, RecursionError):
        return encode(writable(record)).encode()


def make_journal(journals: Path, wall: datetime, disk: Disk) -> str:
    """Create the empty journal of a new session and return its name, which no other session in this folder has. Raises OSError."""
    name = session_id(wall, lambda taken: journal_path(journals, taken).exists())
    disk.create(journal_path(journals, name))
    return name


class JournalWriter:
    """The journal of one session. `append` never waits for the disk; `step` is called by the writer thread.

    `safe` is called with the session and with the length of the file that is safe on the disk. `disturbed`: what others last did to the
    file, in words; empty if nothing.
    """

    def __init__(
        self, path: Path, clock: Clock, post: Callable[[Message], None], reserve: Reserve | None = None,
        safe: Callable[[str, int], None] | None = None, disk: Disk | None = None,
    ) -> None:  # fmt: skip
        self._session = path.stem
        self._clock = clock
        self._post = post
        self._reserve = reserve
        self._safe = safe
        self._condition = threading.Condition()
        self._waiting: list[bytes] = []
        self._urgent = False
        self._rest = b""
        self._place = JournalPlace(path, disk or Disk(), self._disturbed)
        self.disturbed = ""
        self._appended = 0
        self._written = 0
        self._failing = ""
        self._finishing = False
        self._ending = False
        self._thread: threading.Thread | None = None
        self._moved_s = clock.mono_s()
        self._asked_s: float | None = None

    def moves(self, now_s: float) -> bool:
        """Whether what was appended is being taken up. A disk that does not answer is the world's fault, and no restart would help."""
        return self.backlog == 0 or self._asked_s is not None or now_s - self._moved_s < STOPPED_S

    def unanswered_s(self, now_s: float) -> float:
        """For how long the disk has not answered, 0 if nothing is being asked of it."""
        asked_s = self._asked_s
        return 0.0 if asked_s is None else now_s - asked_s

    @property
    def backlog(self) -> int:
        """How many records are not yet safe."""
        return self._appended - self._written

    def append(self, record: Mapping[str, Any]) -> None:
        """Take one record; the order of the calls is the order in the file."""
        line = encode_safely(record)
        with self._condition:
            if self._written == self._appended:
                self._moved_s = self._clock.mono_s()
            self._waiting.append(line)
            self._appended += 1
            if record.get("cue", record["kind"]) not in PATIENT:
                self._urgent = True
                self._condition.notify_all()
            elif len(self._waiting) == 1:
                self._condition.notify_all()

    def step(self) -> bool:
        """Try to make everything safe that was appended so far. False if the disk did not accept it."""
        self._asked_s = self._moved_s = self._clock.mono_s()
        try:
            return self._step()
        finally:
            self._asked_s, self._moved_s = None, self._clock.mono_s()

    def _step(self) -> bool:
        with self._condition:
            taken, self._waiting, self._urgent = self._waiting, [], False
        self._rest += b"".join(taken)
        try:
            if not self._rest:
                self._place.look()
                return True
            self._place.write(self._rest)
        except OSError as wrong:
            if wrong.errno in (errno.ENOSPC, errno.EDQUOT) and self._reserve is not None and self._reserve.release():
                self._tell("full; the reserved space is being used now")
                try:
                    self._place.write(self._rest)
                except OSError as again:
                    return self._failed(again)
            else:
                return self._failed(wrong)
        self._rest = b""
        with self._condition:
            self._written = self._appended - len(self._waiting)
            self._condition.notify_all()
        if self._failing:
            self._failing = ""
            self._post(Trouble("disk", True, "everything is on the disk again"))
        if self._safe is not None:
            self._safe(self._session, self._place.safe_bytes)
        return True

    def wait_safe(self, timeout_s: float) -> bool:
        """Wait until everything appended before is safe. Only for the start of a session, never while one runs."""
        with self._condition:
            return self._condition.wait_for(lambda: self._written >= self._appended, timeout_s)

    def start(self) -> None:
        """Run in a thread until `stop`."""
        self._thread = threading.Thread(target=self._run, name="journal", daemon=True)
        self._thread.start()

    def finish(self) -> None:
        """Nothing more will be appended: end as soon as everything is safe, however long the disk takes. Does not wait."""
        with self._condition:
            self._finishing = True
            self._condition.notify_all()

    @property
    def finished(self) -> bool:
        """Whether everything is safe and nothing more will come."""
        with self._condition:
            return self._finishing and self._written >= self._appended

    def stop(self, timeout_s: float = 2.0) -> None:
        """Try once more to write the rest, then end; stop waiting after `timeout_s`."""
        with self._condition:
            self._ending = True
            self._condition.notify_all()
        if self._thread is not None:
            self._thread.join(timeout_s)

    def discard(self) -> None:
        """Nobody was told of this session: end, and remove the file for good, even if the disk answers only afterwards."""
        self._place.given_up = True
        self.stop()
        self._place.remove()

    def _run(self) -> None:
        while True:
            with self._condition:
                idle = not self._has_work and not self._condition.wait_for(lambda: self._has_work, LOOK_S)
                if not idle and not self._in_haste:
                    until_s = self._clock.mono_s() + GATHER_S
                    while not self._in_haste and self._clock.mono_s() < until_s:
                        self._clock.wait(self._condition, until_s)
                last = self._ending
            safe = self.step()
            with self._condition:
                if last or (safe and self._finishing and not self._waiting):
                    break
                if not safe and not self._ending:
                    self._clock.wait(self._condition, self._clock.mono_s() + RETRY_S)
        self._place.close()

    @property
    def _has_work(self) -> bool:
        return bool(self._waiting or self._rest or self._ending or self._finishing)

    @property
    def _in_haste(self) -> bool:
        return self._urgent or self._ending or self._finishing

    def _failed(self, wrong: OSError) -> bool:
        self._place.close()  # a card that came back needs the file opened anew
        self._tell(wrong.strerror or str(wrong))
        return False

    def _tell(self, why: str) -> None:
        if why != self._failing:
            self._failing = why
            self._post(Trouble("disk", False, why))

    def _disturbed(self, what: str) -> None:
        self.disturbed = what
        self._post(Trouble("journal", False, what))
