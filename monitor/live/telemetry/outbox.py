"""The journals as the outbox: which line goes to the broker next, and where to continue after a crash.

The journal on the disk is the record, and needs no copy: a cursor for each file says up to which byte the broker has
acknowledged. It moves only over acknowledged lines, never over a hole, and is written to STATE/mqtt/cursor.json a few seconds
late on purpose: after a crash some lines are sent twice, none is left out. Only lines that are safe on the disk are handed out,
whole and byte for byte, without their newline. `Replays` keeps what was asked for again, fairly and within bounds. Opens no
socket and starts no thread; belongs to the publisher's thread. Tests: tests/live/telemetry/test_outbox.py.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.live.broker import SESSION
from monitor.live.disk.journal import SUFFIX, journal_path
from monitor.live.disk.own_files import PRIVATE, first_line, is_session_name, open_regular, opens
from monitor.live.disk.whole_lines import BLOCK_BYTES, end_of_whole_lines, last_line, start_of_line

LISTED = 20
"""How many of the newest sessions are announced to recorders that do not know them yet."""
CHUNK = 20
"""How many lines of one session are sent again before it is the next session's turn."""
SEEK_COST = 20
"""What finding a place in a file costs, in lines, so that asking for single lines is not cheaper than asking for all."""


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One line to send. `start` and `end`: its bytes in the file, newline included. `seq`: its number if it is sent again, else 0."""

    session: str
    start: int
    end: int
    payload: bytes
    seq: int = 0


class JournalReader:
    """Reads whole lines of one file from a byte on, up to a bound, in blocks. Holds one block and one open file."""

    def __init__(self, path: Path) -> None:
        self._fd = open_regular(path)
        self._at, self._block = 0, b""

    def line(self, start: int, below: int) -> bytes | None:
        """The line that begins at `start`, newline included, if it ends at or before `below`; else None."""
        found = self._in_block(start, below)
        size = BLOCK_BYTES
        while found is None and size <= 2 * LONGEST_LINE:
            want = min(size, below - start)
            if want <= 0:
                return None
            self._at, self._block = start, os.pread(self._fd, want, start)
            found = self._in_block(start, below)
            if want < size:
                break
            size *= 32
        return found

    def _in_block(self, start: int, below: int) -> bytes | None:
        at = start - self._at
        if not 0 <= at < len(self._block):
            return None
        end = self._block.find(b"\n", at)
        return None if end < 0 or self._at + end + 1 > below else self._block[at : end + 1]

    def seek(self, seq: int, below: int) -> int | None:
        """Where line number `seq` (from 1) begins, or None if it does not begin below `below`."""
        return start_of_line(self._fd, seq, below)

    def close(self) -> None:
        """Close the file."""
        os.close(self._fd)


@dataclass(slots=True)
class _Cursor:
    """How far one journal is safe, was sent and is acknowledged, in bytes; `early`: acknowledged ahead of what stands before them."""

    path: Path
    safe: int
    sent: int
    acked: int
    flying: deque[int]
    early: set[int]


class Outbox:
    """The cursor over all journals of a station. `journals`: their folder; `cursor_file`: created by the first `save`.

    `sync` makes what was written to a descriptor safe on the disk.
    """

    def __init__(self, journals: Path, cursor_file: Path, sync: Callable[[int], None] = os.fsync) -> None:
        self._folder, self._cursor_file, self._sync = journals, cursor_file, sync
        self._journals: dict[str, _Cursor] = {}
        self._waiting: set[str] = set()
        self._current: str | None = None
        self._reader: JournalReader | None = None
        self._dirty = False
        self._tails: dict[str, tuple[int, dict[str, Any] | None]] = {}
        self.unreadable = 0

    def load(self) -> None:
        """Read the cursor and find every journal in the folder, each up to its last whole line, which is made safe first."""
        acked = _read_cursor(self._cursor_file)
        for path in sorted(self._folder.glob(f"*{SUFFIX}")):
            session = path.name[: -len(SUFFIX)]
            if not is_session_name(session):
                continue
            try:
                safe = self._safe_lines(path, session)
                if safe is None:
                    continue
                at = _at_line_start(path, acked.get(session, 0), safe)
            except OSError:
                self.unreadable += 1
                continue
            self._journals[session] = _Cursor(path, safe, at, at, deque(), set())
            if at < safe:
                self._waiting.add(session)

    def _safe_lines(self, path: Path, session: str) -> int | None:
        """The end of the last whole line; all below is on the disk when this returns (its writer may have died before making it so).
        None for a file that is no journal of this session: a copy, say, whose lines would be sent a second time."""
        fd = open_regular(path)
        try:
            size = os.fstat(fd).st_size
            if size and not opens(first_line(fd), session):
                return None
            self._sync(fd)
            return end_of_whole_lines(fd, size)
        finally:
            os.close(fd)

    def note_safe(self, session: str, offset: int) -> bool:
        """This journal is safe on the disk up to byte `offset`. True if the session was not known before."""
        journal = self._journals.get(session)
        new = journal is None
        if journal is None:
            if not SESSION.fullmatch(session):
                return False
            journal = self._journals[session] = _Cursor(journal_path(self._folder, session), 0, 0, 0, deque(), set())
        if offset < journal.sent:  # cut back by a repair: what follows is sent anew
            journal.sent = journal.acked = _at_line_start(journal.path, offset, offset)
            journal.flying.clear()
            journal.early.clear()
        journal.safe = offset
        if journal.sent < offset:
            self._waiting.add(session)
        return new

    def knows(self, session: str) -> bool:
        """Whether there is such a journal."""
        return session in self._journals

    def bounds(self, session: str) -> tuple[Path, int]:
        """The file, and the byte up to which it was sent at least once."""
        journal = self._journals[session]
        return journal.path, journal.sent

    def next_line(self) -> JournalLine | None:
        """The next line not yet sent on this connection: older sessions first, each in its own order; None if there is none now."""
        while self._waiting or self._current is not None:
            if self._current is None:
                self._open(min(self._waiting))
                continue
            journal = self._journals[self._current]
            line = None if self._reader is None else self._reader.line(journal.sent, journal.safe)
            if line is not None:
                start, journal.sent = journal.sent, journal.sent + len(line)
                journal.flying.append(journal.sent)
                return JournalLine(self._current, start, journal.sent, line[:-1])
            done = journal.safe - journal.sent < LONGEST_LINE and self._reader is not None
            if not done:  # unreadable, or a line without end: leave the file alone, say so, go on with the others
                self.unreadable += 1
            self._waiting.discard(self._current)
            self._leave()
        return None

    def _open(self, session: str) -> None:
        self._current = session
        try:
            self._reader = JournalReader(self._journals[session].path)
        except OSError:
            self._reader = None

    def _leave(self) -> None:
        if self._reader is not None:
            self._reader.close()
        self._current, self._reader = None, None

    def acked(self, line: JournalLine) -> None:
        """The broker has acknowledged this line. The cursor moves once no earlier line is unacknowledged."""
        journal = self._journals.get(line.session)
        if journal is None or line.end <= journal.acked:
            return
        journal.early.add(line.end)
        while journal.flying and journal.flying[0] in journal.early:
            journal.acked = journal.flying.popleft()
            journal.early.discard(journal.acked)
            self._dirty = True

    def rewind(self) -> None:
        """The connection is lost: what was not acknowledged is to be sent again, in order."""
        self._leave()
        for session, journal in self._journals.items():
            journal.sent = journal.acked
            journal.flying.clear()
            journal.early.clear()
            if journal.sent < journal.safe:
                self._waiting.add(session)

    @property
    def pending_bytes(self) -> int:
        """Bytes that are safe on the disk and not acknowledged."""
        return sum(journal.safe - journal.acked for journal in self._journals.values())

    def save(self) -> None:
        """Write the cursor if it has moved: as a whole or not at all. Raises OSError."""
        if not self._dirty:
            return
        self._cursor_file.parent.mkdir(parents=True, exist_ok=True)
        body = {"schema": 1, "acked": {session: journal.acked for session, journal in sorted(self._journals.items())}}
        fresh = self._cursor_file.with_suffix(".new")
        fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_NOFOLLOW | os.O_CLOEXEC, PRIVATE)
        with open(fd, "w", encoding="utf-8") as file:  # noqa: PTH123
            json.dump(body, file)
            file.flush()
            self._sync(file.fileno())
        fresh.replace(self._cursor_file)
        self._dirty = False

    def listing(self) -> list[dict[str, Any]]:
        """The newest sessions: `session`, `records` (the newest seq that is safe), `closed`."""
        rows = []
        for session in sorted(self._journals)[-LISTED:]:
            journal = self._journals[session]
            if self._tails.get(session, (-1, None))[0] != journal.safe:
                self._tails[session] = (journal.safe, _last_record(journal.path, journal.safe))
            last = self._tails[session][1]
            if last is not None and type(last.get("seq")) is int:
                rows.append({"session": session, "records": last["seq"], "closed": is_close(last)})
        return rows

    def close(self) -> None:
        """Give files back."""
        self._leave()


@dataclass(slots=True)
class _Resend:
    """What is sent again of one session: the line to come, and the end."""

    seq: int
    until: int
    below_seq: int | None = None
    offset: int | None = None
    again_from: int | None = None
    again_below: int | None = None


class Replays:
    """What was asked for again. One entry a session, so memory is bounded by the number of journals.

    Sessions take turns, `CHUNK` lines each. A request that the current pass will still reach is covered by it; one for earlier
    lines adds a second pass over just the part that the first has gone past. So whoever asks once gets everything within one
    length of the journal, whatever else is asked meanwhile. Only what was sent before the request is sent again: the rest is
    still to come anyway, and would otherwise be sent twice.
    """

    def __init__(self, outbox: Outbox) -> None:
        self._outbox = outbox
        self._turns: OrderedDict[str, _Resend] = OrderedDict()
        self._reader: JournalReader | None = None
        self._left = CHUNK
        self.cost = 0

    def __len__(self) -> int:
        return len(self._turns)

    def ask(self, session: str, from_seq: int) -> str:
        """Take a request: `taken`, `covered` by a pass under way, or `unknown`."""
        if not self._outbox.knows(session):
            return "unknown"
        replay = self._turns.get(session)
        if replay is None:
            self._turns[session] = _Resend(from_seq, self._outbox.bounds(session)[1])
            return "taken"
        replay.until = self._outbox.bounds(session)[1]
        replay.below_seq = None  # a pass over a part goes on to the end now
        if from_seq >= replay.seq:
            return "covered"
        replay.again_from = from_seq if replay.again_from is None else min(replay.again_from, from_seq)
        replay.again_below = max(replay.again_below or 0, replay.seq)
        return "taken"

    def next_line(self) -> JournalLine | None:
        """The next line to send again, None if nothing is due. `cost` grows by what it cost, in lines."""
        while self._turns:
            session, replay = next(iter(self._turns.items()))
            path, sent = self._outbox.bounds(session)
            try:
                line = self._line(path, min(sent, replay.until), replay)
            except OSError:
                line = None
            if line is None or replay.offset is None:
                self._finish(session, replay)
                continue
            start, seq = replay.offset, replay.seq
            replay.offset, replay.seq = start + len(line), seq + 1
            self.cost += 1
            self._left -= 1
            if self._left <= 0:
                self._turns.move_to_end(session)
                self._next_turn()
            return JournalLine(session, start, start + len(line), line[:-1], seq)
        return None

    def _line(self, path: Path, below: int, replay: _Resend) -> bytes | None:
        if replay.below_seq is not None and replay.seq >= replay.below_seq:
            return None
        if self._reader is None:
            self._reader = JournalReader(path)
        if replay.offset is None:
            self.cost += SEEK_COST
            replay.offset = self._reader.seek(replay.seq, below)
        return None if replay.offset is None else self._reader.line(replay.offset, below)

    def _finish(self, session: str, replay: _Resend) -> None:
        del self._turns[session]
        if replay.again_from is not None:
            self._turns[session] = _Resend(replay.again_from, replay.until, replay.again_below)
        self._next_turn()

    def _next_turn(self) -> None:
        self._left = CHUNK
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def close(self) -> None:
        """Give files back."""
        self._next_turn()


def _read_cursor(file: Path) -> dict[str, int]:
    """What was acknowledged. A cursor that is missing or damaged is ignored: then everything is sent again, and duplicates are dropped."""
    try:
        body = json.loads(file.read_text(encoding="utf-8"))
        items = body["acked"].items()
        return {session: at for session, at in items if type(at) is int and at >= 0}
    except (OSError, ValueError, RecursionError, AttributeError, KeyError, TypeError):
        return {}


def _at_line_start(path: Path, offset: int, most: int) -> int:
    """`offset` if it is at most `most` and a line begins there, else 0: a cursor that does not fit its file is ignored."""
    if not 0 < offset <= most:
        return 0
    with contextlib.suppress(OSError), path.open("rb") as file:
        file.seek(offset - 1)
        if file.read(1) == b"\n":
            return offset
    return 0


def _last_record(path: Path, below: int) -> dict[str, Any] | None:
    with contextlib.suppress(OSError):
        fd = open_regular(path)
        try:
            return parse_object(last_line(fd, below, LONGEST_LINE))
        finally:
            os.close(fd)
    return None


def parse_object(payload: bytes) -> dict[str, Any] | None:
    """A JSON object; None for anything else, malicious or not."""
    try:
        value = json.loads(payload.decode("utf-8"))
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None
