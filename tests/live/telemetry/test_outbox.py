"""The cursor over the journals, and what is sent again."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.live.telemetry.outbox import CHUNK, JournalLine, JournalReader, Outbox, Replays
from tests.live.disk.disks import Platter
from tests.live.telemetry.publishers import closing, journal, opening, record


@pytest.fixture
def state(tmp_path: Path) -> Path:
    """A state folder with an empty folder of journals."""
    (tmp_path / "journals").mkdir()
    return tmp_path


def outbox(state: Path) -> Outbox:
    """An outbox that has looked at the disk."""
    box = Outbox(state / "journals", state / "mqtt" / "cursor.json")
    box.load()
    return box


def drain(box: Outbox) -> list[JournalLine]:
    """All lines that can go now."""
    lines = []
    while (line := box.next_line()) is not None:
        lines.append(line)
    return lines


def keep(state: Path, session: str, records: int, closed: bool = True) -> bytes:
    """A journal on the disk."""
    body = journal(session, records, closed)
    (state / "journals" / f"{session}.jsonl").write_bytes(body)
    return body


def test_lines_come_whole_and_byte_for_byte_without_their_newline(state: Path) -> None:
    """What is handed out, joined by newlines, is the file."""
    body = keep(state, "a", 500)
    assert b"".join(line.payload + b"\n" for line in drain(outbox(state))) == body


def test_only_the_journals_of_this_station_are_sent(state: Path) -> None:
    """No copy of one, no judgement, nothing foreign; a FIFO among them holds nobody up."""
    body = keep(state, "a1", 5)
    folder = state / "journals"
    (folder / "copy-a1.jsonl").write_bytes(body)
    (folder / "a1.judgement.jsonl").write_bytes(b'{"schema":1,"session":"a1"}\n')
    (folder / "foreign.jsonl").write_bytes(b'{"prompt":"x"}\n')
    (folder / "link.jsonl").symlink_to(folder / "a1.jsonl")
    (folder / "folder.jsonl").mkdir()
    os.mkfifo(folder / "pipe.jsonl")
    box = outbox(state)
    assert [row["session"] for row in box.listing()] == ["a1"]
    assert b"".join(line.payload + b"\n" for line in drain(box)) == body


def test_the_cursor_follows_no_link(state: Path) -> None:
    """It would empty a file elsewhere."""
    keep(state, "a1", 5)
    box = outbox(state)
    for line in drain(box):
        box.acked(line)
    (state / "mine").write_text("mine")
    (state / "mqtt").mkdir()
    (state / "mqtt" / "cursor.new").symlink_to(state / "mine")
    with pytest.raises(OSError, match=r"."):
        box.save()
    assert (state / "mine").read_text() == "mine"


def test_nothing_beyond_the_safe_byte_is_handed_out(state: Path) -> None:
    """A line that is in the file, but not known to be on the disk, waits, and so does one of which only a part is safe."""
    box = outbox(state)
    body = keep(state, "a", 3)
    first = body.index(b"\n") + 1
    box.note_safe("a", first + 10)
    assert [line.end for line in drain(box)] == [first]
    box.note_safe("a", len(body))
    assert drain(box)[0].start == first


def test_a_torn_last_line_is_not_sent_and_goes_once_it_is_whole(state: Path) -> None:
    """A start after a crash sends up to the last newline; what the repair writes there follows."""
    file = state / "journals" / "a.jsonl"
    file.write_bytes(opening("a") + record("a", 2)[:40])
    box = outbox(state)
    assert len(drain(box)) == 1
    file.write_bytes(opening("a") + closing("a", 2))
    box.note_safe("a", file.stat().st_size)
    assert [line.payload + b"\n" for line in drain(box)] == [closing("a", 2)]


def test_sessions_go_in_the_order_of_their_ids(state: Path) -> None:
    """An older journal is sent before a newer one."""
    for session in ("b", "c", "a"):
        keep(state, session, 3)
    assert [line.session for line in drain(outbox(state))] == list("aaabbbccc")


def test_the_cursor_moves_only_over_acknowledged_lines_without_a_hole(state: Path) -> None:
    """An acknowledgement out of its order does not carry the cursor over a line that may be lost."""
    keep(state, "a", 4)
    box = outbox(state)
    lines = drain(box)
    box.acked(lines[1])
    box.acked(lines[2])
    box.save()
    assert len(drain(outbox(state))) == 4
    box.acked(lines[0])
    box.save()
    assert [line.start for line in drain(outbox(state))] == [lines[3].start]


def test_a_lost_connection_sends_again_what_was_not_acknowledged_in_order(state: Path) -> None:
    """Rewound to the cursor, not further and not less."""
    keep(state, "a", 5)
    keep(state, "b", 5)
    box = outbox(state)
    lines = drain(box)
    for line in lines[:3]:
        box.acked(line)
    box.rewind()
    assert drain(box) == lines[3:]


def test_the_cursor_is_there_after_a_power_cut(state: Path) -> None:
    """A saved cursor survives it: only what came after it is sent twice."""
    keep(state, "a", 4)
    platter = Platter()
    box = Outbox(state / "journals", state / "mqtt" / "cursor.json", platter.sync)
    box.load()
    lines = drain(box)
    for line in lines[:2]:
        box.acked(line)
    box.save()
    box.acked(lines[2])
    platter.cut(state / "mqtt" / "cursor.json")
    assert drain(outbox(state)) == lines[2:]


def test_what_an_earlier_life_left_is_made_safe_before_it_is_sent(state: Path) -> None:
    """It may have died between writing and syncing: a line that the network has and the disk loses would be a contradiction."""
    body = keep(state, "a", 4)
    platter = Platter()
    box = Outbox(state / "journals", state / "mqtt" / "cursor.json", platter.sync)
    box.load()
    sent = drain(box)
    platter.cut(state / "journals" / "a.jsonl")
    assert b"".join(line.payload + b"\n" for line in sent) == body == (state / "journals" / "a.jsonl").read_bytes()


@pytest.mark.parametrize(
    "damage", [b"", b"\0" * 50, b"[1, 2]", b'{"acked": {"a": -5, "b": "x"}}', b'{"acked": 7}', b'{"acked": {"a": 999999}}']
)
def test_a_cursor_that_makes_no_sense_sends_everything_again(state: Path, damage: bytes) -> None:
    """Doubles are dropped by whoever records; a loss could not be made good."""
    keep(state, "a", 5)
    (state / "mqtt").mkdir()
    (state / "mqtt" / "cursor.json").write_bytes(damage)
    assert len(drain(outbox(state))) == 5


def test_a_cursor_inside_a_line_is_not_believed(state: Path) -> None:
    """The file is another one than the cursor was made for."""
    keep(state, "a", 5)
    (state / "mqtt").mkdir()
    (state / "mqtt" / "cursor.json").write_text('{"schema": 1, "acked": {"a": 33}}')
    assert drain(outbox(state))[0].start == 0


def test_files_that_are_no_journals_are_left_alone(state: Path) -> None:
    """A stray file beside the journals is not published, and a name is never a path."""
    (state / "journals" / ".hidden.jsonl").write_bytes(opening("x"))
    (state / "journals" / "notes.txt").write_bytes(b"secret\n")
    box = outbox(state)
    assert not box.note_safe("../notes", 7)
    assert drain(box) == []


def test_a_journal_that_has_gone_does_not_hold_up_the_others(state: Path) -> None:
    """Counted, and the next one is sent."""
    keep(state, "b", 2)
    box = outbox(state)
    box.note_safe("a", 1000)
    assert [line.session for line in drain(box)] == ["b", "b"]
    assert box.unreadable == 1


def test_a_line_longer_than_a_block_comes_whole(state: Path) -> None:
    """A recipe of 200 kB inside the opening record is still one message."""
    long = record("a", 1, kind="session", event="open", recipe="x" * 200_000)
    (state / "journals" / "a.jsonl").write_bytes(long + closing("a", 2))
    assert [line.payload + b"\n" for line in drain(outbox(state))] == [long, closing("a", 2)]


def test_a_journal_that_was_cut_back_is_sent_from_there(state: Path) -> None:
    """After a repair below what was sent the new lines follow, not a piece from the middle."""
    body = keep(state, "a", 5, closed=False)
    box = outbox(state)
    drain(box)
    shorter = body[: body.index(b"\n") + 1]
    file = state / "journals" / "a.jsonl"
    file.write_bytes(shorter)
    box.note_safe("a", len(shorter))
    file.write_bytes(shorter + closing("a", 2))
    box.note_safe("a", file.stat().st_size)
    assert [line.payload + b"\n" for line in drain(box)] == [closing("a", 2)]


def test_the_listing_names_the_newest_sessions_and_what_they_hold(state: Path) -> None:
    """A recorder that has never heard of a session can learn of it."""
    keep(state, "a", 30)
    keep(state, "b", 7, closed=False)
    assert outbox(state).listing() == [
        {"session": "a", "records": 30, "closed": True},
        {"session": "b", "records": 7, "closed": False},
    ]


def test_a_place_in_a_large_file_is_found(state: Path) -> None:
    """Every line number leads to its line, the one beyond the last to none."""
    body = keep(state, "a", 5000)
    starts = [0] + [i + 1 for i, c in enumerate(body) if c == 10]
    reader = JournalReader(state / "journals" / "a.jsonl")
    assert [reader.seek(seq, len(body)) for seq in (1, 2, 2500, 5000)] == [starts[0], starts[1], starts[2499], starts[4999]]
    assert reader.seek(5001, len(body)) is None
    assert reader.seek(10**12, len(body)) is None
    reader.close()


def test_only_what_was_sent_before_is_sent_again(state: Path) -> None:
    """A request cannot bring out a record before its turn, nor one that is not safe."""
    body = keep(state, "a", 10)
    box = outbox(state)
    replays = Replays(box)
    for _ in range(4):
        box.next_line()
    assert replays.ask("a", 3) == "taken"
    again = [replays.next_line() for _ in range(3)]
    assert [line and line.seq for line in again] == [3, 4, None]
    assert again[0] is not None
    assert again[0].payload == body.split(b"\n")[2]
    assert replays.ask("nobody", 1) == "unknown"


def test_what_is_sent_again_does_not_run_after_what_is_new(state: Path) -> None:
    """A request during a drain ends where the drain was when it came: the rest arrives anyway, once."""
    keep(state, "a", 50)
    box = outbox(state)
    replays = Replays(box)
    for _ in range(10):
        box.next_line()
    replays.ask("a", 1)
    again = 0
    while box.next_line() is not None:
        again += replays.next_line() is not None
    assert again == 10
    assert replays.next_line() is None


def test_a_request_among_requests_for_all_sessions_is_answered_in_its_turn(state: Path) -> None:
    """200 journals asked for whole do not keep one short gap waiting for more than a turn of each."""
    for number in range(200):
        keep(state, f"s{number:03d}", 200)
    box = outbox(state)
    drain(box)
    replays = Replays(box)
    for number in range(200):
        replays.ask(f"s{number:03d}", 1)
    replays.ask("true", 1)
    replays.ask("s199", 195)
    seen = 0
    while (line := replays.next_line()) is not None:
        seen += 1
        if (line.session, line.seq) == ("s199", 1):
            break
    assert seen <= 200 * CHUNK
    replays.close()


@settings(max_examples=120, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 32), st.integers(0, 14)), min_size=1, max_size=30))
def test_whoever_asks_gets_everything_from_there_within_one_length_of_the_journal(
    tmp_path_factory: pytest.TempPathFactory, asks: list[tuple[int, int]]
) -> None:
    """Whatever is asked meanwhile, in any order: each request is answered in full by lines sent after it, no later than N lines on."""
    state = tmp_path_factory.mktemp("again")
    (state / "journals").mkdir()
    records = 30
    keep(state, "a", records)
    box = outbox(state)
    drain(box)
    replays = Replays(box)
    sent: list[int] = []
    wanted: list[tuple[int, int]] = []
    for from_seq, lines in asks:
        replays.ask("a", from_seq)
        wanted.append((from_seq, len(sent)))
        for _ in range(lines):
            line = replays.next_line()
            if line is not None:
                sent.append(line.seq)
    while (line := replays.next_line()) is not None:
        sent.append(line.seq)
    for from_seq, at in wanted:
        assert set(range(from_seq, records + 1)) <= set(sent[at : at + records])
    replays.close()
