"""The running journal deleted, moved, replaced or edited by somebody else: noticed, told, whole again, and nobody's file lost."""

from __future__ import annotations

import json
import os
import random
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.core.journal.check import Findings, read_records
from monitor.live.clock import RealClock
from monitor.live.disk.disk import Disk
from monitor.live.disk.journal import JournalWriter
from monitor.live.inbox import Inbox, Trouble
from tests.fake_clock import FakeClock
from tests.live.disk.test_journal import lines, record
from tests.live.telemetry.publishers import opening


class QuickDisk(Disk):
    """Safe at once: no power is lost in these tests. `meanwhile` is what somebody else does between a write and its being safe."""

    meanwhile: Callable[[], object] | None = None

    def sync(self, descriptor: int) -> None:
        """Nothing is waited for."""
        if self.meanwhile is not None:
            act, self.meanwhile = self.meanwhile, None
            act()

    def sync_folder(self, folder: Path) -> None:
        """Nor here."""


class Kept:
    """A writer with so many records behind it, and what it tells."""

    def __init__(self, folder: Path, count: int = 5) -> None:
        self.path = folder / "journals" / "s.jsonl"
        self.path.parent.mkdir(parents=True)
        self.path.touch()
        self.inbox, self.disk = Inbox(), QuickDisk()
        self.safe: list[int] = []
        safe = lambda _, length: self.safe.append(length)  # noqa: E731
        self.writer = JournalWriter(self.path, FakeClock(), self.inbox.put, safe=safe, disk=self.disk)
        self.seq = 0
        self.more(count)

    def more(self, count: int = 1) -> None:
        """So many records more, one write each."""
        for _ in range(count):
            self.seq += 1
            self.writer.append(record(self.seq))
            assert self.writer.step()

    def told(self) -> list[str]:
        """What it has told since the last time."""
        found = []
        while (message := self.inbox.get(0)) is not None:
            assert isinstance(message, Trouble)
            found.append(message.why if message.part == "journal" else f"{message.part}: {message.why}")
        return found


def replace(path: Path, body: bytes) -> None:
    """As an editor does that writes a new file and renames it."""
    fresh = path.with_name("fresh")
    fresh.write_bytes(body)
    fresh.replace(path)


def in_place(path: Path, body: bytes) -> None:
    """As an editor does that writes into the file it has read."""
    path.write_bytes(body)


def move_folder(path: Path, body: bytes) -> None:
    """`mv journals elsewhere`."""
    path.parent.rename(path.parent.with_name("elsewhere"))


def gone(path: Path) -> Path:
    """A path at which nothing stands any more."""
    path.unlink()
    return path


WAYS: dict[str, Callable[[Path, bytes], object]] = {
    "deleted": lambda path, body: path.unlink(),
    "moved": lambda path, body: path.rename(path.with_name("moved.jsonl")),
    "folder moved": move_folder,
    "folder deleted": lambda path, body: shutil.rmtree(path.parent),
    "state moved": lambda path, body: path.parent.parent.rename(path.parent.parent.with_name("other")),
    "saved by an editor": lambda path, body: replace(path, body),
    "saved by an editor that had read less": lambda path, body: replace(path, body[: len(body) // 2]),
    "saved in place": lambda path, body: in_place(path, body[: len(body) // 2]),
    "emptied": lambda path, body: in_place(path, b""),
    "edited": lambda path, body: replace(path, body.replace(b"reading", b"writing")),
    "edited in place, as long as before": lambda path, body: in_place(path, body.replace(b"reading", b"writing")),
    "sorted in place": lambda path, body: in_place(path, b"".join(reversed(body.splitlines(keepends=True)))),
    "its last newline taken": lambda path, body: in_place(path, body[:-1]),
    "something added": lambda path, body: in_place(path, body + b"# looked at by me\n"),
    "a folder in its place": lambda path, body: gone(path).mkdir(),
    "a FIFO in its place": lambda path, body: os.mkfifo(gone(path)),
    "a link in its place": lambda path, body: path.symlink_to(path.rename(path.with_name("real"))),
    "a dangling link in its place": lambda path, body: gone(path).symlink_to("nowhere"),
    "another session's journal": lambda path, body: replace(path, body.replace(b'"s"', b'"x"')),
}


@pytest.mark.parametrize("idle", [True, False], ids=["while nothing is written", "at the next record"])
@pytest.mark.parametrize("way", WAYS)
def test_whatever_is_done_to_the_running_journal_it_is_whole_again_at_once(tmp_path: Path, way: str, idle: bool) -> None:
    """Every record stands at its path, in order and once; it is told in one line; later records follow."""
    kept = Kept(tmp_path / "state")
    WAYS[way](kept.path, kept.path.read_bytes())
    if idle:
        assert kept.writer.step()
    else:
        kept.more()
    told = kept.told()
    assert len(told) == 1, told
    assert str(kept.path) in told[0]
    assert lines(kept.path) == list(range(1, kept.seq + 1))
    assert not kept.path.is_symlink()
    kept.more(3)
    assert lines(kept.path) == list(range(1, kept.seq + 1))
    assert kept.told() == []
    assert kept.safe[-1] == kept.path.stat().st_size
    assert kept.writer.disturbed == told[0]


@pytest.mark.parametrize("way", ["edited", "edited in place, as long as before", "something added", "another session's journal"])
def test_what_somebody_has_written_stands_beside_it(tmp_path: Path, way: str) -> None:
    """A file that is not ours is called otherwise, and is what it was."""
    kept = Kept(tmp_path / "state")
    WAYS[way](kept.path, kept.path.read_bytes())
    theirs = kept.path.read_bytes()
    kept.more()
    assert kept.path.with_name("s.jsonl.changed-1").read_bytes() == theirs
    assert "s.jsonl.changed-1" in kept.told()[0]


def test_what_was_moved_away_is_touched_no_more(tmp_path: Path) -> None:
    """It belongs to whoever moved it; so does the target of a link that was put in its place."""
    kept = Kept(tmp_path / "state")
    for number, way in enumerate(("moved", "folder moved", "a link in its place")):
        body = kept.path.read_bytes()
        WAYS[way](kept.path, body)
        kept.more(3)
        name = {"moved": "journals/moved.jsonl", "folder moved": "elsewhere/s.jsonl", "a link in its place": "journals/real"}[way]
        if number == 0:
            (tmp_path / "state" / "journals" / "moved.jsonl").rename(tmp_path / "state" / "kept")
            name = "kept"
        assert (tmp_path / "state" / name).read_bytes() == body


def test_touching_it_is_no_disturbance(tmp_path: Path) -> None:
    """Nor is reading it, or another mode: what counts is what stands in it."""
    kept = Kept(tmp_path / "state")
    os.utime(kept.path, (1.0, 1.0))
    kept.path.chmod(0o600)
    kept.path.read_bytes()
    kept.more(2)
    assert kept.told() == []
    assert kept.writer.disturbed == ""


def test_a_session_of_an_earlier_life_is_as_safe(tmp_path: Path) -> None:
    """What an earlier writer wrote is put back too."""
    kept = Kept(tmp_path / "state", 400)
    second = JournalWriter(kept.path, FakeClock(), kept.inbox.put, disk=kept.disk)
    second.append(record(401))
    assert second.step()
    kept.path.unlink()
    second.append(record(402))
    assert second.step()
    assert lines(kept.path) == list(range(1, 403))


def test_where_it_cannot_be_put_back_yet_nothing_is_lost(tmp_path: Path) -> None:
    """A file stands where the folder was: told, kept in memory, written as soon as it can be."""
    kept = Kept(tmp_path / "state")
    shutil.rmtree(kept.path.parent)
    kept.path.parent.write_text("in the way")
    kept.writer.append(record(6))
    assert not kept.writer.step()
    assert not kept.writer.step()
    told = kept.told()
    assert len(told) == 1, told
    assert told[0].startswith("disk: ")
    assert kept.path.parent.read_text() == "in the way"
    kept.path.parent.unlink()
    assert kept.writer.step()
    assert lines(kept.path) == [1, 2, 3, 4, 5, 6]


def test_nothing_is_told_safe_that_does_not_stand_at_its_path(tmp_path: Path) -> None:
    """Replaced between the writing and the word: the word comes after the mending."""
    kept = Kept(tmp_path / "state")
    body = kept.path.read_bytes()
    kept.disk.meanwhile = lambda: replace(kept.path, body[:-30])
    before = len(kept.safe)
    kept.more()
    assert lines(kept.path) == [1, 2, 3, 4, 5, 6]
    assert kept.safe[before:] == [kept.path.stat().st_size]
    assert len(kept.told()) == 1


def test_an_edit_in_place_during_a_write_is_noticed(tmp_path: Path) -> None:
    """As long as the file then is: its lines turned round, while the record behind them is being made safe."""
    kept = Kept(tmp_path / "state")

    def turned() -> None:
        body = kept.path.read_bytes().splitlines(keepends=True)
        in_place(kept.path, b"".join([*reversed(body[:-1]), body[-1]]))

    kept.disk.meanwhile = turned
    kept.more()
    assert lines(kept.path) == [1, 2, 3, 4, 5, 6]
    assert len(kept.told()) == 1


@pytest.mark.parametrize("at", [0, 70_000, 140_000, -200])
def test_a_change_that_left_no_other_trace_is_found_all_the_same(tmp_path: Path, at: int) -> None:
    """Within one tick of the kernel's clock, as long as before: at the end at once, elsewhere as soon as its block has its turn."""
    kept = Kept(tmp_path / "state", 5000)
    body = bytearray(kept.path.read_bytes())
    place = at if at >= 0 else len(body) + at
    body[place] ^= 1
    before = kept.path.stat()
    with kept.path.open("rb+") as file:
        file.seek(place)
        file.write(body[place : place + 1])
    os.utime(kept.path, ns=(before.st_atime_ns, before.st_mtime_ns))
    for _ in range(1 if at < 0 else 6):
        kept.writer.step()
    assert lines(kept.path) == list(range(1, 5001))
    assert len(kept.told()) == 1


def test_it_is_noticed_within_two_seconds_while_nothing_is_written(tmp_path: Path) -> None:
    """By the thread itself; real time, for once."""
    path = tmp_path / "s.jsonl"
    path.touch()
    inbox = Inbox()
    writer = JournalWriter(path, RealClock(), inbox.put)
    writer.start()
    writer.append(record(1, "tap"))
    assert writer.wait_safe(5.0)
    path.unlink()
    message = inbox.get(2.0)
    assert isinstance(message, Trouble)
    assert message.part == "journal"
    assert lines(path) == [1]
    writer.stop()


@pytest.mark.parametrize("seed", range(12))
def test_a_storm_of_disturbances_loses_nothing(tmp_path: Path, seed: int) -> None:
    """In any order, at any place among the records: at the end all stands at the path, and review has nothing to say."""
    dice = random.Random(seed)
    state = tmp_path / "state"
    path = state / "journals" / "s.jsonl"
    path.parent.mkdir(parents=True)
    path.touch()
    inbox, clock = Inbox(), FakeClock()
    writer = JournalWriter(path, clock, inbox.put, disk=QuickDisk())
    body = [json.loads(opening("s"))] + [{**record(seq, "tap"), "session": "s", "meaning": "mark"} for seq in range(2, 120)]
    for fields in body:
        writer.append(fields)
        if dice.random() < 0.6:
            writer.step()
        if dice.random() < 0.2 and path.is_file() and not path.is_symlink():
            WAYS[dice.choice(list(WAYS))](path, path.read_bytes())
            for name in ("elsewhere", "moved.jsonl", "real"):
                for place in (state, state / "journals"):
                    if (place / name).is_dir():
                        shutil.rmtree(place / name)
            if (tmp_path / "other").exists():
                shutil.rmtree(tmp_path / "other")
    assert writer.step()
    findings = Findings(str(path))
    with path.open("rb") as file:
        assert [r["seq"] for _, r in read_records(file, findings)] == list(range(1, 120))
    assert findings.problems == []


def test_a_journal_that_is_discarded_does_not_come_back(tmp_path: Path) -> None:
    """Although its disk answers only when the file is gone; a file that somebody put there stays."""
    kept = Kept(tmp_path / "state", 1)
    kept.writer.append(record(2))
    kept.disk.meanwhile = kept.writer.discard
    kept.writer.step()
    assert not kept.writer.step()
    assert list(kept.path.parent.iterdir()) == []
    other = Kept(tmp_path / "other", 1)
    replace(other.path, b"mine")
    other.writer.discard()
    assert other.path.read_bytes() == b"mine"
