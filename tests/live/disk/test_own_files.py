"""Which files are ours, and what happens to them before anything is cut."""

import os
from pathlib import Path

import pytest

from monitor.live.disk.own_files import copy_aside, first_line, is_session_name, open_regular, opens, torn_opening

OPENING = b'{"seq":1,"session":"a1","t_s":0.0,"wall":"w","kind":"session","event":"open"}\n'


@pytest.mark.parametrize("what", ["folder", "link", "dangling", "fifo", "device"])
def test_only_a_regular_file_is_opened_and_nobody_waits(tmp_path: Path, what: str) -> None:
    """A link is not followed; a FIFO without a writer would hold up for ever."""
    path = tmp_path / "a1.jsonl"
    if what == "folder":
        path.mkdir()
    elif what == "fifo":
        os.mkfifo(path)
    elif what == "device":
        path = Path("/dev/null")
    else:
        (tmp_path / "target").write_bytes(OPENING if what == "link" else b"")
        path.symlink_to(tmp_path / ("target" if what == "link" else "nowhere"))
    with pytest.raises(OSError, match="not a file"):
        open_regular(path, os.O_RDWR)


def test_a_journal_is_known_by_its_first_record(tmp_path: Path) -> None:
    """Session, number, kind and event; a line without its newline is none."""
    assert opens(OPENING, "a1")
    for wrong in (
        OPENING[:-1], OPENING.replace(b"a1", b"a2"), OPENING.replace(b":1,", b":2,"), OPENING.replace(b"open", b"close"),
        OPENING.replace(b'"kind":"session"', b'"kind":"tap"'), b"[1]\n", b"[" * 100_000 + b"\n", b"\n", b"",
    ):  # fmt: skip
        assert not opens(wrong, "a1"), wrong
    path = tmp_path / "a1.jsonl"
    for body in (OPENING + b"more\n", OPENING[:30], b"x" * 40_000 + b"\nmore"):
        path.write_bytes(body)
        descriptor = open_regular(path)
        assert first_line(descriptor) == body.splitlines(keepends=True)[0]
        os.close(descriptor)


def test_what_a_power_cut_leaves_of_the_first_record_is_known_too() -> None:
    """At whatever byte; and nothing else is taken for it."""
    assert all(torn_opening(OPENING[:cut], "a1") for cut in range(len(OPENING)))
    assert not torn_opening(OPENING, "a1")
    assert not torn_opening(b'{"seq":1,"session":"a2","t', "a1")
    assert not torn_opening(b'{"prompt":', "a1")


def test_the_name_of_a_judgement_is_no_session() -> None:
    """Nor is one that could not be a file's."""
    assert is_session_name("261125-1904c7")
    assert not any(map(is_session_name, ("261125-1904c7.judgement", ".a", "a/b", "", "caf\udce9", "a b")))


def test_a_copy_takes_a_name_that_nobody_has(tmp_path: Path) -> None:
    """Not even a dangling link; its bytes are those that were asked for."""
    path = tmp_path / "a1.jsonl"
    path.write_bytes(b"0123456789")
    (tmp_path / "a1.jsonl.torn-1").write_bytes(b"older")
    (tmp_path / "a1.jsonl.torn-2").symlink_to(tmp_path / "nowhere")
    descriptor = open_regular(path)
    aside = copy_aside(descriptor, 3, 7, path, "torn")
    os.close(descriptor)
    assert (aside.name, aside.read_bytes()) == ("a1.jsonl.torn-3", b"3456")
    assert (tmp_path / "a1.jsonl.torn-1").read_bytes() == b"older"
    assert not (tmp_path / "nowhere").exists()
