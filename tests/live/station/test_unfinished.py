"""What stands in STATE/journals when a station starts, and what is not a session of its."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from monitor.live.station.unfinished import MOST_BYTES, unfinished_sessions
from tests.live.simulated import World
from tests.live.station.test_resume import begun, finish

NAME = "271125-1904c7"
"""Later than every session of these tests, so that it is looked at first."""
HEAD = f'{{"seq":1,"session":"{NAME}","t_s":0.0,"wall":"2026-11-25T19:00:00.000Z","kind":"session","event":"open"'.encode()


def written(body: bytes) -> Callable[[Path], None]:
    """A file of these bytes."""
    return lambda path: void(path.write_bytes(body))


def void(*_: object) -> None:
    """Nothing."""


def opened_with(more: bytes, name: str = NAME) -> Callable[[Path], None]:
    """An opening with more in it, and a second record."""
    second = f'{{"seq":2,"session":"{name}","t_s":1.0,"wall":"2026-11-25T19:00:01.000Z","kind":"tap","meaning":"mark"}}\n'
    return written(HEAD.replace(NAME.encode(), name.encode()) + more + b"}\n" + second.encode())


STRANGE: dict[str, tuple[str, Callable[[Path], None]]] = {
    "folder": (f"{NAME}.jsonl", lambda path: path.mkdir()),
    "folder with files": (f"{NAME}.jsonl", lambda path: (path / "x.jsonl").mkdir(parents=True)),
    "dangling link": (f"{NAME}.jsonl", lambda path: path.symlink_to("nowhere")),
    "link to itself": (f"{NAME}.jsonl", lambda path: path.symlink_to(path.name)),
    "FIFO": (f"{NAME}.jsonl", lambda path: os.mkfifo(path)),
    "Latin-1 name": (os.fsdecode(b"caf\xe9.jsonl"), opened_with(b"")),
    "name with an escape": ("a\x1b[31mb.jsonl", opened_with(b"")),
    "name with a newline": ("a\nb.jsonl", opened_with(b"")),
    "name with spaces": ("S (copy).jsonl", opened_with(b"")),
    "nesting": (f"{NAME}.jsonl", written(b"[" * 100_000 + b"\n")),
    "nesting in a record": (f"{NAME}.jsonl", opened_with(b',"x":' + b"[" * 100_000)),
    "nesting in a last line": (f"{NAME}.jsonl", opened_with(b'}\n{"x":' + b"[" * 100_000)),
    "nesting that is closed": (f"{NAME}.jsonl", opened_with(b',"x":' + b"[" * 100_000 + b"]" * 100_000)),
    "t_s of 401 digits": (f"{NAME}.jsonl", opened_with(b'}\n{"seq":2,"session":"%s","t_s":1%s,"kind":"tap"' % (NAME.encode(), b"0" * 400))),
    "first t_s of 401 digits": (f"{NAME}.jsonl", written(HEAD.replace(b"0.0", b"1" + b"0" * 400) + b"}\n")),
    "t_s of 5000 digits": (f"{NAME}.jsonl", opened_with(b'}\n{"seq":2,"session":"x","t_s":' + b"9" * 5000)),
    "infinite t_s": (f"{NAME}.jsonl", opened_with(b'}\n{"seq":2,"session":"%s","t_s":1e999,"kind":"tap"' % NAME.encode())),
    "huge seq": (f"{NAME}.jsonl", opened_with(b'}\n{"seq":1%s,"session":"%s","t_s":1.0,"kind":"tap"' % (b"0" * 300, NAME.encode()))),
    "recipe a string": (f"{NAME}.jsonl", opened_with(b',"recipe":"roll"')),
    "recipe a list": (f"{NAME}.jsonl", opened_with(b',"recipe":[1,2]')),
    "recipe of strange stages": (f"{NAME}.jsonl", opened_with(b',"recipe":{"schema":1,"stage":[3]}')),
    "recipe null": (f"{NAME}.jsonl", opened_with(b',"recipe":null')),
    "zero of 400 digits": (f"{NAME}.jsonl", opened_with(b',"boot_id":"boot-1","mono0_s":1' + b"0" * 400)),
    "only zeros": (f"{NAME}.jsonl", written(b"\0" * 100_000)),
    "text": (f"{NAME}.jsonl", written(b"hello\n")),
    "JSON that is no object": (f"{NAME}.jsonl", written(b"3\n[1]\nnull\n")),
    "a line of two megabytes": (f"{NAME}.jsonl", written(b"x" * 2_000_000)),
    "no UTF-8": (f"{NAME}.jsonl", written(HEAD + b',"x":"\xff\xfe"}\n')),
    "training data": ("training.jsonl", written(b'{"prompt":"x"}\n{"prompt":')),
    "an empty file of another name": ("notes.jsonl", written(b"")),
}


@pytest.mark.parametrize("name", STRANGE)
def test_one_strange_entry_stops_no_start_and_no_session(tmp_path: Path, name: str) -> None:
    """The session that waits goes on; the strange entry is said in one line and stays, byte for byte, unless it is a session's own."""
    world, session = begun(tmp_path, into_s=10.0)
    entry, make = STRANGE[name]
    path = world.state / "journals" / entry
    make(path)
    before = path.read_bytes() if path.is_file() else None
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == session
    lines = [line for line in world.said if entry.removesuffix(".jsonl") in line or "�" in line]
    assert len(lines) == 1, world.said
    assert "\n" not in lines[0]
    assert lines[0].isprintable()
    assert path.is_symlink() or path.exists()
    if before is not None:
        world.write()
        after = path.read_bytes()
        if after != before:  # a session that cannot go on: closed behind what was there
            assert after.startswith(before[: before.rfind(b"\n") + 1])
            assert json.loads(after.splitlines()[-1])["why"] == "lost"
    world.go(3)
    assert world.station.sessions.mishaps == [] or "lost" in lines[0]


def test_a_judgement_is_no_session_and_nothing_to_talk_about(tmp_path: Path) -> None:
    """It stands beside its journal."""
    world, session = begun(tmp_path)
    finish(world, session)
    judged = world.state / "journals" / f"{session}.judgement.jsonl"
    judged.write_bytes(b'{"schema":1,"session":"x","density":"thin"}\n{"torn')
    world.life()
    assert world.said == []
    assert judged.read_bytes().endswith(b'{"torn')
    assert unfinished_sessions(world.state / "journals", world.said.append) == []


@pytest.mark.parametrize("copy", ["copy-{}", "{}-copy", "{}.1", "000000-000000", "zzz"])
def test_a_copy_never_takes_the_session_from_its_journal(tmp_path: Path, copy: str) -> None:
    """Whatever it is called and however it sorts: the session goes on in its own file, and the copy is left alone and told."""
    world, session = begun(tmp_path)
    path = world.journal(session)
    other = path.with_name(f"{copy.format(session)}.jsonl")
    shutil.copy2(path, other)
    before = other.read_bytes()
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == session
    world.go(5)
    assert other.read_bytes() == before
    assert len([line for line in world.said if other.name in line]) == 1
    assert not world.records(session, "session", event="close")
    seqs = [r["seq"] for r in world.records(session)]
    assert seqs == list(range(1, len(seqs) + 1))


def test_a_session_that_cannot_be_taken_up_takes_no_other_one_with_it(tmp_path: Path) -> None:
    """The newest that can go on goes on, not the newest alone."""
    world, session = begun(tmp_path)
    opened_with(b',"recipe":"roll"')(world.state / "journals" / f"{NAME}.jsonl")
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == session
    world.write()
    assert world.records(NAME)[-1]["why"] == "lost"


def test_what_a_repair_cuts_off_is_copied_first(tmp_path: Path) -> None:
    """Half a record, or a page of zeros: it stands beside the journal."""
    world, session = begun(tmp_path)
    path = world.journal(session)
    whole = path.read_bytes()
    for number, torn in enumerate((b'{"seq":9', b"\0" * 4096), 1):
        path.write_bytes(whole + torn)
        world.said.clear()
        unfinished_sessions(path.parent, world.said.append)
        assert path.read_bytes() == whole
        assert (path.parent / f"{path.name}.torn-{number}").read_bytes() == torn
        assert len(world.said) == 1
    path.write_bytes(whole[:-1])
    unfinished_sessions(path.parent, world.said.append)
    assert path.read_bytes() == whole


def test_where_no_copy_can_be_made_nothing_is_cut_and_the_session_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk, for one: the torn record is overwritten only once there is room for it beside."""
    world, session = begun(tmp_path)
    path = world.journal(session)
    whole = path.read_bytes()
    path.write_bytes(whole + b'{"seq":9')

    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    found = unfinished_sessions(path.parent, world.said.append)
    assert path.read_bytes() == whole + b'{"seq":9'
    assert [earlier.session for earlier in found] == [session]


def test_a_journal_that_would_fill_the_memory_is_left_alone(tmp_path: Path) -> None:
    """Its beginning is sound; a hole makes it longer than any session."""
    world, session = begun(tmp_path)
    path = world.state / "journals" / f"{NAME}.jsonl"
    opened_with(b"")(path)
    os.truncate(path, MOST_BYTES + 1)
    world.life()
    assert world.station.running is not None
    assert world.station.running.name == session
    assert [line for line in world.said if NAME in line] == [f"{path}: longer than 128 MiB, which no session fills; left alone"]
    assert path.stat().st_size == MOST_BYTES + 1


def test_a_folder_of_many_strange_things_is_gone_through(tmp_path: Path) -> None:
    """All of them at once, as far as their names allow."""
    world = World(tmp_path)
    taken: set[str] = set()
    for number, (entry, make) in enumerate(STRANGE.values()):
        name = entry if entry not in taken else f"27112{number // 10}-19{number:02d}c7.jsonl"
        taken.add(name)
        make(world.state / "journals" / name)
    world.life()
    assert len(world.said) >= len(STRANGE)
    world.go(5)
    assert world.develop()
