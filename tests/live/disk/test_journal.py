"""The journal's thread: in order, safe, and never waited for."""

import json
import os
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.live.clock import RealClock
from monitor.live.disk.disk import Disk
from monitor.live.disk.journal import JournalWriter, Reserve, encode_safely, make_journal
from monitor.live.inbox import Inbox, Trouble
from tests.fake_clock import FakeClock
from tests.live.disk.disks import PowerCutDisk, PulledCard, StandingClock
from tests.live.simulated import FakeDisk

DAY = datetime(2026, 11, 25, 19, 4, 5, tzinfo=UTC)


def record(seq: int, kind: str = "reading", **more: Any) -> dict[str, Any]:
    """A small record."""
    return {"seq": seq, "session": "s", "t_s": float(seq), "wall": "w", "kind": kind, **more}


def lines(path: Path) -> list[int]:
    """The numbers in the file."""
    return [json.loads(line)["seq"] for line in path.read_text().splitlines()]


def test_two_sessions_never_share_a_name(tmp_path: Path) -> None:
    """Even within one second; both files are there, empty."""
    names = {make_journal(tmp_path, DAY, Disk()) for _ in range(3)}
    assert len(names) == 3
    assert {p.stem for p in tmp_path.iterdir()} == names


def test_records_stand_in_the_file_in_order_and_are_reported_safe(tmp_path: Path) -> None:
    """With the length of the file up to which they are."""
    path = tmp_path / "s.jsonl"
    path.touch()
    safe: list[tuple[str, int]] = []
    journal = JournalWriter(path, FakeClock(), Inbox().put, safe=lambda session, length: safe.append((session, length)))
    for seq in (1, 2, 3):
        journal.append(record(seq))
    assert journal.backlog == 3
    assert journal.step()
    assert lines(path) == [1, 2, 3]
    assert safe == [("s", path.stat().st_size)]
    assert journal.backlog == 0


def test_a_full_disk_is_told_once_and_everything_is_caught_up(tmp_path: Path) -> None:
    """What was half written before is overwritten by the same bytes."""
    path = tmp_path / "s.jsonl"
    path.touch()
    inbox, disk = Inbox(), FakeDisk()
    journal = JournalWriter(path, FakeClock(), inbox.put, disk=disk)
    journal.append(record(1))
    journal.step()
    disk.full = True
    for seq in range(2, 6):
        journal.append(record(seq))
        assert not journal.step()
    assert path.read_bytes()[-1:] != b"\n"
    disk.full = False
    journal.append(record(6))
    assert journal.step()
    assert lines(path) == [1, 2, 3, 4, 5, 6]
    told = []
    while (message := inbox.get(0)) is not None:
        assert isinstance(message, Trouble)
        told.append(message.well)
    assert told == [False, True]


def test_the_space_set_aside_is_used_when_the_disk_is_full(tmp_path: Path) -> None:
    """It is given up, and the write is tried again at once."""
    path = tmp_path / "s.jsonl"
    path.touch()
    reserve = Reserve(tmp_path / "reserve")
    reserve.make(60.0)
    assert (tmp_path / "reserve").stat().st_blocks > 0

    class Small(FakeDisk):
        def write(self, descriptor: int, data: memoryview, at: int) -> int:
            self.full = (tmp_path / "reserve").exists()
            return super().write(descriptor, data, at)

    inbox = Inbox()
    journal = JournalWriter(path, FakeClock(), inbox.put, reserve, disk=Small())
    journal.append(record(1))
    assert journal.step()
    assert lines(path) == [1]
    assert not (tmp_path / "reserve").exists()
    message = inbox.get(0)
    assert isinstance(message, Trouble)
    assert "reserved" in message.why


def test_a_number_that_is_not_finite_loses_no_record() -> None:
    """It becomes null."""
    line = json.loads(encode_safely(record(1, value=float("nan"), inner={"x": [float("inf"), 1.0]})))
    assert line["value"] is None
    assert line["inner"] == {"x": [None, 1.0]}


def test_the_thread_makes_a_tap_safe_at_once_and_ends_when_all_is_safe(tmp_path: Path) -> None:
    """Real thread, real disk."""
    path = tmp_path / "s.jsonl"
    path.touch()
    journal = JournalWriter(path, RealClock(), Inbox().put)
    journal.start()
    journal.append(record(1, "tap"))
    assert journal.wait_safe(5.0)
    assert lines(path) == [1]
    journal.append(record(2))
    journal.finish()
    assert journal.wait_safe(5.0)
    assert journal.finished
    journal.stop()
    assert lines(path) == [1, 2]


def test_a_session_that_ended_on_a_full_disk_is_still_written_when_there_is_room(tmp_path: Path) -> None:
    """The thread outlives the session until everything is safe."""
    path = tmp_path / "s.jsonl"
    path.touch()
    disk = FakeDisk()
    disk.full = True
    journal = JournalWriter(path, RealClock(), Inbox().put, disk=disk)
    journal.start()
    journal.append(record(1, "session"))
    journal.finish()
    assert not journal.wait_safe(0.05)
    disk.full = False
    assert journal.wait_safe(10.0)
    assert lines(path) == [1]
    journal.stop()


def test_a_file_that_cannot_be_opened_is_told_not_raised(tmp_path: Path) -> None:
    """The card has gone."""
    path = tmp_path / "there" / "s.jsonl"
    path.parent.mkdir()
    path.touch()
    inbox = Inbox()
    journal = JournalWriter(path, FakeClock(), inbox.put)
    path.unlink()
    path.parent.rmdir()
    journal.append(record(1))
    assert not journal.step()
    assert isinstance(inbox.get(0), Trouble)
    path.parent.mkdir()
    assert journal.step()
    assert lines(path) == [1]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_the_real_disks_own_error_is_met_in_the_same_way() -> None:
    """/dev/full answers every write as a full disk does."""
    inbox = Inbox()
    journal = JournalWriter(Path("/dev/full"), FakeClock(), inbox.put)
    journal.append(record(1))
    assert not journal.step()
    message = inbox.get(0)
    assert isinstance(message, Trouble)
    assert message.why == os.strerror(28)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(["append", "append", "write", "cut"]), max_size=14))
def test_what_was_told_safe_is_there_after_a_power_cut(course: list[str]) -> None:
    """Whatever was appended, written and lost before: the file begins with every byte that was told safe."""
    with tempfile.TemporaryDirectory() as folder:
        disk = PowerCutDisk()
        path = Path(folder) / f"{make_journal(Path(folder), DAY, disk)}.jsonl"
        disk.cut()
        told = [(path.stem, 0)]
        seq = 0
        writer = JournalWriter(path, FakeClock(), Inbox().put, safe=lambda session, length: told.append((session, length)), disk=disk)
        for act in [*course, "cut"]:
            if act == "append":
                seq += 1
                writer.append(record(seq))
            elif act == "write":
                assert writer.step()
                assert writer.backlog == 0
            else:
                before = path.read_bytes()
                disk.cut()
                assert path.read_bytes()[: told[-1][1]] == before[: told[-1][1]]
                assert len(path.read_bytes()) >= told[-1][1]
        assert told[-1][1] == len(b"".join(encode_safely(record(n + 1)) for n in range(seq - writer.backlog)))


def test_syncing_asks_the_operating_system(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Of the file and of its folder: the last step before iron cannot be seen otherwise."""
    asked: list[int] = []
    monkeypatch.setattr(os, "fsync", lambda descriptor: asked.append(os.fstat(descriptor).st_ino))
    monkeypatch.setattr(os, "fdatasync", lambda descriptor: asked.append(os.fstat(descriptor).st_ino))
    disk, path = Disk(), tmp_path / "f"
    disk.create(path)
    assert asked == [tmp_path.stat().st_ino]
    descriptor = disk.open(path)
    disk.sync(descriptor)
    os.close(descriptor)
    assert asked == [tmp_path.stat().st_ino, path.stat().st_ino]


def test_after_a_failure_the_file_is_opened_anew(tmp_path: Path) -> None:
    """A card that was pulled out and put back: what was open on it is dead for ever. No descriptor is left behind."""
    path = tmp_path / "s.jsonl"
    path.touch()
    card = PulledCard()
    writer = JournalWriter(path, FakeClock(), Inbox().put, disk=card)
    writer.append(record(1))
    assert writer.step()
    open_before = len(list(Path("/proc/self/fd").iterdir()))
    for seq in (2, 3):
        card.out = True
        writer.append(record(seq))
        assert not writer.step()
        assert not writer.step()
        card.out = False
        assert writer.step()
    assert lines(path) == [1, 2, 3]
    assert len(list(Path("/proc/self/fd").iterdir())) == open_before


AT_ONCE = [
    *("session", "stage", "trust", "tap", "correction", "annulled", "gate", "switch", "fault", "abandon", "trouble", "late", "power"),
    *(("cue", cue) for cue in ("ready", "now", "fault", "answer", "yes", "over", "click")),
]


@pytest.mark.parametrize("what", AT_ONCE, ids=str)
def test_what_moves_a_session_is_made_safe_at_once(tmp_path: Path, what: str | tuple[str, str]) -> None:
    """Not a moment passes between its writing and its safety, even while less urgent records wait for company."""
    path = tmp_path / "s.jsonl"
    path.touch()
    clock = StandingClock()
    writer = JournalWriter(path, clock, Inbox().put)
    writer.start()
    writer.append(record(1, "reading"))
    assert clock.waited_for.wait(5.0)
    writer.append(record(2, what) if isinstance(what, str) else record(2, what[0], cue=what[1]))
    assert writer.wait_safe(2.0)
    assert lines(path) == [1, 2]
    writer.stop()


@pytest.mark.parametrize("what", ["reading", "progress", ("cue", "tick")], ids=str)
def test_what_may_wait_for_company_is_safe_within_a_second(tmp_path: Path, what: str | tuple[str, str]) -> None:
    """Three readings are one write; none waits longer than the contract allows (section 8)."""
    path = tmp_path / "s.jsonl"
    path.touch()
    clock = StandingClock()
    writer = JournalWriter(path, clock, Inbox().put)
    writer.start()
    writer.append(record(1, what) if isinstance(what, str) else record(1, what[0], cue=what[1]))
    assert clock.waited_for.wait(5.0)
    writer.append(record(2, "reading"))
    assert lines(path) == []
    clock.advance_and_wake(0.9)
    assert writer.wait_safe(2.0)
    assert lines(path) == [1, 2]
    writer.stop()
