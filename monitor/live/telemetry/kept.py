"""A recorder's folder: FOLDER/STATION/SESSION.jsonl, each the beginning of the station's own file, byte for byte.

Decides what is on the disk already and whether a file can be continued: a torn last line is cut off; a file with a hole is
copied aside as `.damaged` and kept up to the hole. It appends and never rewrites. Memory is bounded: some numbers for the
sessions last heard of, whose files are read again when they are needed, however many there are. One recorder a folder. It knows
nothing of the network. Tests: tests/live/telemetry/test_recorder_files.py.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import zlib
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from monitor.core.errors import InputWrong
from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.live.broker import SESSION, STATION
from monitor.live.disk.journal import SUFFIX, journal_path
from monitor.live.disk.whole_lines import count_lines, end_of_whole_lines, last_line
from monitor.live.telemetry.outbox import parse_object

MOST_KNOWN = 2048
MOST_STRANGERS = 256
"""Sessions of which something was heard, but never the first record."""
MOST_OPEN = 256
RECENT = 64
"""How many of the newest records of a session are remembered by their checksums, to tell a duplicate from a contradiction."""


@dataclass(slots=True)
class KeptSession:
    """One session as far as it is kept. `next_seq`: the record to come; `size`: bytes.

    The other fields are the recorder's, in seconds of its clock: when it last asked (None: answered since), how often in vain
    (`tries`), when the file last grew and when anything was last heard; `ahead`: the highest seq seen beyond a gap.
    """

    station: str
    session: str
    next_seq: int = 1
    size: int = 0
    closed: bool = False
    recent: deque[int] = field(default_factory=lambda: deque(maxlen=RECENT))
    asked_s: float | None = None
    grew_s: float = 0.0
    heard_s: float = 0.0
    tries: int = 0
    ahead: int = 0

    @property
    def key(self) -> tuple[str, str]:
        """(station, session)."""
        return self.station, self.session

    def contradicts(self, seq: int, payload: bytes) -> bool:
        """Whether the record kept under this seq is known to be a different one. Old ones are taken for the same."""
        back = self.next_seq - seq
        return 1 <= back <= len(self.recent) and self.recent[-back] != zlib.crc32(payload)


class Shelf:
    """The files of a recorder. Raises `InputWrong` for a folder that cannot be written or that another recorder uses.

    `sync` makes what was written to a descriptor safe on the disk.
    """

    def __init__(self, folder: Path, sync: Callable[[int], None] = os.fsync) -> None:
        self._folder = folder
        self._sync = sync
        self._known: OrderedDict[tuple[str, str], KeptSession] = OrderedDict()
        self._strangers: OrderedDict[tuple[str, str], KeptSession] = OrderedDict()
        self._files: OrderedDict[tuple[str, str], int] = OrderedDict()
        self._unclosed: set[tuple[str, str]] = set()
        self.repaired: list[str] = []
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as wrong:
            raise InputWrong(f"{folder}: cannot be written ({wrong.strerror}); allowed: a folder that you may write") from None
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._lock)
            raise InputWrong(f"{folder}: another recorder uses it; allowed: one recorder a folder") from None
        self._scan()

    def _scan(self) -> None:
        for path in sorted(self._folder.glob(f"*/*{SUFFIX}")):
            station, session = path.parent.name, path.name[: -len(SUFFIX)]
            if STATION.fullmatch(station) and SESSION.fullmatch(session) and not self._load(station, session).closed:
                self._unclosed.add((station, session))

    def path(self, station: str, session: str) -> Path:
        """The path of a session's file. Both names must have been checked."""
        return journal_path(self._folder / station, session)

    def find(self, station: str, session: str) -> KeptSession:
        """What is kept of a session, from memory or from its file; a blank one for an unknown session."""
        key = (station, session)
        kept = self._known.get(key)
        if kept is not None:
            self._known.move_to_end(key)
            return kept
        kept = self._strangers.get(key)
        if kept is not None:
            self._strangers.move_to_end(key)
            return kept
        kept = self._load(station, session)
        home, most = (self._known, MOST_KNOWN) if kept.size else (self._strangers, MOST_STRANGERS)
        home[key] = kept
        if len(home) > most:
            home.popitem(last=False)
        return kept

    def append(self, kept: KeptSession, payload: bytes, closes: bool) -> None:
        """Write the next record. Raises OSError, and then nothing has changed, nor has the file."""
        fd = self._open(kept)
        line = payload + b"\n"
        try:
            if os.write(fd, line) != len(line):
                raise OSError(28, "no space left on device")
        except OSError:
            os.ftruncate(fd, kept.size)
            raise
        kept.size += len(line)
        kept.next_seq += 1
        kept.recent.append(zlib.crc32(payload))
        if kept.next_seq == 2:
            self._strangers.pop(kept.key, None)
            self._known[kept.key] = kept
            self._unclosed.add(kept.key)
        if closes:
            kept.closed = True
            self._unclosed.discard(kept.key)
            self._sync(fd)
            self._shut(kept.key)

    def stations(self) -> list[str]:
        """The stations that have a folder."""
        return sorted(path.name for path in self._folder.iterdir() if path.is_dir() and STATION.fullmatch(path.name))

    def unclosed(self) -> list[tuple[str, str]]:
        """(station, session) of every file without its closing record, in order."""
        return sorted(self._unclosed)

    def busy(self) -> Iterator[KeptSession]:
        """The unclosed sessions in memory, unknown ones too."""
        for kept in (*self._known.values(), *self._strangers.values()):
            if not kept.closed:
                yield kept

    def close(self) -> None:
        """Close the files and release the folder."""
        for key in list(self._files):
            self._shut(key)
        os.close(self._lock)

    def _open(self, kept: KeptSession) -> int:
        fd = self._files.get(kept.key)
        if fd is not None:
            self._files.move_to_end(kept.key)
            return fd
        path = self.path(kept.station, kept.session)
        path.parent.mkdir(exist_ok=True)
        fd = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_CLOEXEC, 0o644)
        self._files[kept.key] = fd
        if len(self._files) > MOST_OPEN:
            self._shut(next(iter(self._files)))
        return fd

    def _shut(self, key: tuple[str, str]) -> None:
        os.close(self._files.pop(key))

    def _load(self, station: str, session: str) -> KeptSession:
        kept = KeptSession(station, session)
        path = self.path(station, session)
        try:
            with path.open("rb+") as file:
                size = file.seek(0, os.SEEK_END)
                whole = end_of_whole_lines(file.fileno(), size)
                if whole < size:
                    self.repaired.append(f"{path}: a torn last record, {size - whole} bytes, removed")
                    file.truncate(whole)
                kept.size = whole
                kept.next_seq, kept.closed = self._state(path, file.fileno(), session, whole)
                if kept.next_seq == 0:
                    kept.next_seq, kept.size, kept.closed = self._up_to_the_hole(path, session)
        except FileNotFoundError:
            pass
        return kept

    def _state(self, path: Path, fd: int, session: str, size: int) -> tuple[int, bool]:
        """(next seq, closed) from the last line and, unless it closes the session, the number of lines; (0, False) if they disagree."""
        if size == 0:
            return 1, False
        last = last_line(fd, size, LONGEST_LINE)
        record = parse_object(last)
        if record is None or record.get("session") != session or type(record.get("seq")) is not int:
            return 0, False
        seq: int = record["seq"]
        if is_close(record):
            return seq + 1, True
        return (seq + 1, False) if count_lines(fd, size) == seq else (0, False)

    def _up_to_the_hole(self, path: Path, session: str) -> tuple[int, int, bool]:
        """Copy the file aside and cut it before the first line that is not next in sequence. (next seq, size, closed)."""
        number = 1
        while (aside := path.with_name(f"{path.name}.damaged-{number}")).exists():
            number += 1
        shutil.copyfile(path, aside)
        next_seq, size, closed = 1, 0, False
        with path.open("rb+") as file:
            for line in file:
                record = parse_object(line)
                if closed or record is None or record.get("session") != session or record.get("seq") != next_seq:
                    break
                next_seq, size, closed = next_seq + 1, size + len(line), is_close(record)
            file.truncate(size)
        self.repaired.append(f"{path}: damaged at line {next_seq}; kept up to there; a copy of all of it is {aside.name}")
        return next_seq, size, closed
