"""A recorder's folder: FOLDER/STATION/SESSION.jsonl, each the beginning of the station's own file, byte for byte.

Decides which files there are ours, what is on the disk already and whether a file can be continued: a torn last line is copied
aside as `.torn`, a file with a hole as `.damaged`, before either is cut. What is not ours (monitor.live.disk.own_files) is told and
left alone. It appends and never rewrites, and notices when a file has gone from under it. Memory is bounded: some numbers for the
sessions last heard of, whose files are read again when they are needed, however many there are. One recorder a folder. It knows
nothing of the network. Tests: tests/live/telemetry/test_recorder_files.py.
"""

from __future__ import annotations

import errno
import fcntl
import os
import resource
import stat
import zlib
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from monitor.core.errors import InputWrong
from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.live.broker import STATION
from monitor.live.disk.journal import SUFFIX, journal_path
from monitor.live.disk.own_files import PRIVATE, copy_aside, first_line, is_session_name, kind_of, open_regular, opens, torn_opening
from monitor.live.disk.whole_lines import count_lines, end_of_whole_lines, last_line
from monitor.live.telemetry.outbox import parse_object

MOST_KNOWN = 2048
MOST_STRANGERS = 256
"""Sessions of which something was heard, but never the first record."""
MOST_OPEN = 256
SPARE_FILES = 32
"""Descriptors left to the rest of the process: the connection, the libraries, a copy being made."""
RECENT = 64
"""How many of the newest records of a session are remembered by their checksums, to tell a duplicate from a contradiction."""
MOST_NAMED = 5
"""So many files that are not ours are named when the folder is first looked at; the others are counted."""
MOST_BARRED = 1024
NONE_LEFT = (errno.EMFILE, errno.ENFILE)
PRIVATE_FOLDER = 0o750

T = TypeVar("T")


class FileGone(Exception):
    """The file was deleted, moved or replaced while it was written. Nothing was written; what is kept is to be found anew."""


@dataclass(slots=True)
class KeptSession:
    """One session as far as it is kept. `next_seq`: the record to come; `size`: bytes; `barred`: why nothing may be written, in words.

    The other fields are the recorder's, in seconds of its clock: when it last asked (None: answered since), how often in vain
    (`tries`), when the file last grew and when anything was last heard; `ahead`: the highest seq seen beyond a gap.
    """

    station: str
    session: str
    next_seq: int = 1
    size: int = 0
    closed: bool = False
    barred: str = ""
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

    `sync` makes what was written to a descriptor safe on the disk. `tell` is called with a line for the person; without it the
    lines gather in `told`.
    """

    def __init__(self, folder: Path, sync: Callable[[int], None] = os.fsync, tell: Callable[[str], None] | None = None) -> None:
        self._folder = folder
        self._sync = sync
        self._known: OrderedDict[tuple[str, str], KeptSession] = OrderedDict()
        self._strangers: OrderedDict[tuple[str, str], KeptSession] = OrderedDict()
        self._barred: OrderedDict[tuple[str, str], tuple[KeptSession, object]] = OrderedDict()
        self._files: OrderedDict[tuple[str, str], int] = OrderedDict()
        self._most_open = max(1, min(MOST_OPEN, resource.getrlimit(resource.RLIMIT_NOFILE)[0] - SPARE_FILES))
        self._unclosed: set[tuple[str, str]] = set()
        self.told: list[str] = []
        self._tell = tell or self.told.append
        try:
            folder.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
            self._lock = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, PRIVATE)
        except OSError as wrong:
            raise InputWrong(f"{folder}: cannot be written ({wrong.strerror}); allowed: a folder that you may write") from None
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._lock)
            raise InputWrong(f"{folder}: another recorder uses it; allowed: one recorder a folder") from None
        self._scan()

    def _scan(self) -> None:
        unnamed = 0
        for path in sorted(self._folder.glob(f"*/*{SUFFIX}")):
            station, session = path.parent.name, path.name[: -len(SUFFIX)]
            if not STATION.fullmatch(station) or not is_session_name(session):
                continue
            kept = self._load(station, session)
            if kept.barred:
                named = len(self._barred) < MOST_NAMED
                unnamed += not named
                self._bar(kept, quiet=not named)
            elif not kept.closed:
                self._unclosed.add(kept.key)
        if unnamed:
            self._tell(f"{self._folder}: {unnamed} more files there are no journals of ours; left as they are")

    def path(self, station: str, session: str) -> Path:
        """The path of a session's file. Both names must have been checked."""
        return journal_path(self._folder / station, session)

    def has(self, station: str) -> bool:
        """Whether the station has a folder."""
        return (self._folder / station).is_dir()

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
        if key in self._barred:
            kept, seen = self._barred[key]
            if seen == _seen(self.path(station, session)):
                return kept
            del self._barred[key]
        kept = self._load(station, session)
        if kept.barred:
            self._bar(kept)
            return kept
        home, most = (self._known, MOST_KNOWN) if kept.size else (self._strangers, MOST_STRANGERS)
        home[key] = kept
        if len(home) > most:
            home.popitem(last=False)
        return kept

    def append(self, kept: KeptSession, payload: bytes, closes: bool) -> None:
        """Write the next record. Raises OSError, and then nothing has changed, nor has the file; `FileGone` where it is not there any
        more: then `kept` is void, and `find` tells what there is."""
        if kept.barred:
            raise OSError(errno.EPERM, kept.barred)
        fd = self._open(kept)
        self._still_there(kept, fd)
        line = payload + b"\n"
        try:
            if os.write(fd, line) != len(line):
                raise OSError(28, "no space left on device")
        except OSError:
            os.ftruncate(fd, kept.size)
            raise
        if closes:
            self._sync(fd)
            self._still_there(kept, fd)
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
            self._shut(kept.key)

    def gone(self) -> list[tuple[str, str]]:
        """(station, session) of the open files that are not there any more. They are forgotten: `find` tells what there is."""
        lost = []
        for key, fd in list(self._files.items()):
            kept = self._known.get(key)
            try:
                if kept is not None:
                    self._still_there(kept, fd)
            except FileGone:
                lost.append(key)
        return lost

    def stations(self) -> list[str]:
        """The stations that have a folder."""
        with os.scandir(self._folder) as entries:
            return sorted(entry.name for entry in entries if entry.is_dir(follow_symlinks=False) and STATION.fullmatch(entry.name))

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

    def _still_there(self, kept: KeptSession, fd: int) -> None:
        """Raise `FileGone`, and forget the session, unless its path leads to this open file."""
        try:
            there = self.path(*kept.key).stat()
        except OSError:
            there = None
        if there is not None and os.path.samestat(there, os.fstat(fd)):
            return
        self._shut(kept.key)
        self._known.pop(kept.key, None)
        self._strangers.pop(kept.key, None)
        self._unclosed.discard(kept.key)
        raise FileGone(str(self.path(*kept.key)))

    def _bar(self, kept: KeptSession, quiet: bool = False) -> None:
        path = self.path(*kept.key)
        self._barred[kept.key] = (kept, _seen(path))
        if len(self._barred) > MOST_BARRED:
            self._barred.popitem(last=False)
        if not quiet:
            self._tell(f"{path}: {kept.barred}; left as it is, nothing is recorded there; allowed: move it away")

    def _open(self, kept: KeptSession) -> int:
        fd = self._files.get(kept.key)
        if fd is not None:
            self._files.move_to_end(kept.key)
            return fd
        path = self.path(kept.station, kept.session)
        path.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        if path.parent.is_symlink():
            raise OSError(errno.ENOTDIR, "its folder is a symbolic link")
        flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC
        fd = self._with_room(lambda: os.open(path, flags, PRIVATE))
        self._files[kept.key] = fd
        if len(self._files) > self._most_open:
            self._shut(next(iter(self._files)))
        return fd

    def _with_room(self, do: Callable[[], T]) -> T:
        """Do what opens files. Where the process may open no more, the one of ours that was used longest ago is closed for it."""
        while True:
            try:
                return do()
            except OSError as wrong:
                if wrong.errno not in NONE_LEFT or not self._files:
                    raise
                self._shut(next(iter(self._files)))

    def _shut(self, key: tuple[str, str]) -> None:
        fd = self._files.pop(key, None)
        if fd is not None:
            os.close(fd)

    def _load(self, station: str, session: str) -> KeptSession:
        return self._with_room(lambda: self._read(station, session))

    def _read(self, station: str, session: str) -> KeptSession:
        """What is kept of a session in its file, which is repaired if it is ours. Raises OSError only where no more files may be opened."""
        kept = KeptSession(station, session)
        path = self.path(station, session)
        try:
            mode = os.lstat(path.parent).st_mode
            if not stat.S_ISDIR(mode):
                raise OSError(errno.ENOTDIR, f"its folder is {kind_of(mode)}")
            fd = open_regular(path)
        except FileNotFoundError:
            return kept
        except OSError as wrong:
            return self._refused(kept, wrong)
        try:
            size = os.fstat(fd).st_size
            if size and not opens(first_line(fd), session) and not torn_opening(os.pread(fd, LONGEST_LINE, 0), session):
                kept.barred = "no journal of this session"
                return kept
            whole = end_of_whole_lines(fd, size)
            if whole < size:
                self._cut(path, fd, whole, (whole, size), f"a torn last record, {size - whole} bytes, cut off")
            kept.size = whole
            kept.next_seq, kept.closed = self._state(fd, session, whole)
            if kept.next_seq == 0:
                kept.next_seq, kept.size, kept.closed = _up_to_the_hole(fd, session)
                self._cut(path, fd, kept.size, (0, whole), f"damaged at line {kept.next_seq}; kept up to there")
        except OSError as wrong:
            return self._refused(kept, wrong)
        finally:
            os.close(fd)
        return kept

    @staticmethod
    def _refused(kept: KeptSession, wrong: OSError) -> KeptSession:
        if wrong.errno in NONE_LEFT:
            raise wrong
        kept.barred = f"cannot be continued ({wrong.strerror})"
        return kept

    def _cut(self, path: Path, fd: int, at: int, copied: tuple[int, int], what: str) -> None:
        """Cut the file at a byte. The bytes from `copied[0]` to `copied[1]` are safe in a copy before that."""
        writable = open_regular(path, os.O_RDWR)
        try:
            aside = copy_aside(fd, *copied, path, "damaged" if copied[0] == 0 < at else "torn")
            os.ftruncate(writable, at)
        finally:
            os.close(writable)
        self._tell(f"{path}: {what}; a copy is {aside.name}")

    @staticmethod
    def _state(fd: int, session: str, size: int) -> tuple[int, bool]:
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


def _seen(path: Path) -> object:
    """What tells one state of a path from another."""
    try:
        seen = os.lstat(path)
    except OSError:
        return None
    return seen.st_dev, seen.st_ino, seen.st_size, seen.st_mtime_ns, stat.S_ISLNK(os.lstat(path.parent).st_mode)


def _up_to_the_hole(fd: int, session: str) -> tuple[int, int, bool]:
    """(next seq, size, closed) before the first line that is not next in sequence."""
    next_seq, size, closed = 1, 0, False
    with open(os.dup(fd), "rb") as file:  # noqa: PTH123
        file.seek(0)
        while line := file.readline(LONGEST_LINE + 2):
            record = parse_object(line)
            if closed or record is None or record.get("session") != session or record.get("seq") != next_seq:
                break
            next_seq, size, closed = next_seq + 1, size + len(line), is_close(record)
    return next_seq, size, closed
