"""The checker of journals: what it takes, what it refuses, and that it says where."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.journal.check import LONGEST_LINE, MOST_PROBLEMS, Findings, read_records
from monitor.core.journal.records import SCHEMA_VERSION


def record(seq: int, kind: str = "tap", t_s: float | None = None, session: str = "s1", **fields: Any) -> dict[str, Any]:
    """A good record of a kind."""
    more: dict[str, dict[str, Any]] = {
        "session": {"event": "open", "schema": 1, "recipe": {}},
        "tap": {"meaning": "mark"},
        "reading": {"probe": "a", "role": "bath", "raw_c": 20.0, "celsius": 20.0, "quality": "good"},
    }
    head = {"seq": seq, "session": session, "t_s": float(seq) if t_s is None else t_s, "wall": "2026-03-01T19:00:00Z", "kind": kind}
    return head | more.get(kind, {}) | fields


def lines(*records: Any) -> list[bytes]:
    """Records (or raw bytes) as lines."""
    return [r if isinstance(r, bytes) else (json.dumps(r) + "\n").encode() for r in records]


def read(*records: Any) -> tuple[list[dict[str, Any]], Findings]:
    """What comes out, and what was found."""
    findings = Findings("J")
    return [r for _, r in read_records(lines(*records), findings)], findings


OPEN = record(1, "session")


def test_a_sound_journal_gives_every_record_and_no_problem() -> None:
    """Nothing is found where nothing is wrong, and unknown kinds and fields pass."""
    records = [OPEN, record(2, "reading"), record(3, "sunspot", strength=3), record(4, extra="x")]
    out, findings = read(*records)
    assert out == records
    assert (findings.problems, findings.torn, findings.records) == ([], None, 4)


def test_every_word_of_the_contract_is_read() -> None:
    """Those of `lid on`, `again`, `on time` and the two specks too."""
    taps = [record(i, "tap", meaning=word) for i, word in enumerate(("lid on", "again", "on time"), 2)]
    records = [OPEN, *taps, record(5, "cue", cue="yes")]
    out, findings = read(*records)
    assert out == records
    assert findings.problems == []


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        (b"\xff\xfe\n", "not UTF-8 at byte 1"),
        (b'{"seq":3,\n', "not JSON"),
        (b"[1]\n", "not an object"),
        (b'{"seq":3,"t_s":NaN}\n', "NaN is not a number"),
        (b"[" * 100_000 + b"\n", "not JSON"),
        (b" " * (LONGEST_LINE + 1) + b"\n", "a line of more than"),
        (record(3) | {"seq": 3.0}, '"seq" is 3.0'),
        ({k: v for k, v in record(3).items() if k != "wall"}, 'no "wall"'),
        (record(3, t_s=float("1e300")), '"t_s" is 1e+300'),
        (record(3, "stage", stage=True, name="x", event="begin"), '"stage" of a stage record is True'),
        (record(3, "stage", stage=1, name="x", event="begin", sheet="A"), "\"sheet\" is 'A'"),
        (record(3, "annulled", stage=1), 'without "replaces_seq"'),
        (record(3, "reading", quality="fine"), "not one of good"),
        (record(3, "reading", quality="crc"), '"celsius" 20.0 (null unless it is good)'),
        (record(3, "trust", believed=True, why="x"), 'without "since_t_s"'),
    ],
)
def test_a_bad_line_is_told_with_its_number_and_left_out(bad: Any, says: str) -> None:
    """Whatever is wrong with a line, the line is named, the rest is read, and its missing seq is not told a second time."""
    out, findings = read(OPEN, record(2), bad, record(4))
    assert [r["seq"] for r in out] == [1, 2, 4]
    assert [p.line for p in findings.problems] == [3]
    assert says in findings.problems[0].what
    assert str(findings.problems[0]).startswith("J:3: ")
    assert "allowed" in findings.problems[0].allowed


def test_a_gap_in_seq_is_told_and_reading_goes_on() -> None:
    """Lost records are counted."""
    out, findings = read(OPEN, record(2), record(7), record(8))
    assert [r["seq"] for r in out] == [1, 2, 7, 8]
    assert [(p.line, p.what) for p in findings.problems] == [(3, "seq 7 after seq 2")]
    assert "4 records are missing" in findings.problems[0].allowed


def test_an_unreadable_line_excuses_its_own_gap_and_no_later_one() -> None:
    """One line was nonsense, and further on one record is missing: both are told."""
    _, findings = read(OPEN, b"nonsense\n", record(3), record(4), record(6))
    assert [p.line for p in findings.problems] == [2, 5]


def test_a_repeated_record_counts_once() -> None:
    """A line that came twice is told and left out."""
    out, findings = read(OPEN, record(2), record(2), record(3))
    assert [r["seq"] for r in out] == [1, 2, 3]
    assert [p.line for p in findings.problems] == [3]


def test_of_two_sessions_in_a_file_the_first_is_shown() -> None:
    """The second is named once, at its first line."""
    out, findings = read(OPEN, record(2), record(1, "session", session="s2"), record(2, session="s2"), record(3))
    assert [r["session"] for r in out] == ["s1"] * 3
    assert [(p.line, p.what) for p in findings.problems] == [(3, "session s2 in a file of session s1")]


def test_readings_whose_time_goes_back_are_left_out() -> None:
    """Only within one probe: other records may tell of earlier moments."""
    other = record(4, "reading", t_s=3.0, probe="b")
    back = record(5, "reading", t_s=8.0)
    out, findings = read(OPEN, record(2, "reading", t_s=9.0), record(3, t_s=2.0), other, back, record(6, "reading", t_s=9.0))
    assert [r["seq"] for r in out] == [1, 2, 3, 4, 6]
    assert [(p.line, p.what) for p in findings.problems] == [(5, "the clock went back: t_s 8 after 9")]


def test_a_newer_format_is_refused_at_once() -> None:
    """Nothing of it is read, and the line says what to do."""
    out, findings = read(record(1, "session", schema=SCHEMA_VERSION + 1), record(2))
    assert out == []
    assert len(findings.problems) == 1
    assert "newer evenbath" in str(findings.problems[0])


def test_a_torn_last_record_is_a_note_and_no_problem() -> None:
    """As a loss of power leaves it; in the middle of a character too."""
    whole = json.dumps(record(3, notes="é"), ensure_ascii=False).encode()
    for cut in range(1, len(whole)):
        out, findings = read(OPEN, record(2), whole[:cut])
        assert len(out) == 2
        assert not findings.problems
        assert findings.torn is not None
        assert findings.torn.startswith("J:3: ")


def test_a_last_record_without_its_newline_is_a_whole_one() -> None:
    """Only the newline was lost."""
    out, findings = read(OPEN, record(2), json.dumps(record(3)).encode())
    assert len(out) == 3
    assert findings.torn is None


@pytest.mark.parametrize(
    ("content", "says"), [([], "an empty file"), ([b"t_s,developer_c\n", b"0,20\n"], "not a journal"), ([b'{"se'], "cut off")]
)
def test_what_is_no_journal_is_said_once(content: list[bytes], says: str) -> None:
    """One line, not one for each line of the file."""
    out, findings = read(*content)
    assert out == []
    assert len(findings.problems) == 1
    assert says in findings.problems[0].what
    assert findings.problems[0].line == 1


def test_a_journal_that_does_not_begin_with_its_opening_is_read_all_the_same() -> None:
    """What can be shown is shown; a second opening is refused."""
    out, findings = read(record(1), record(2))
    assert len(out) == 2
    assert "begins with a tap record" in findings.problems[0].what
    _, findings = read(OPEN, record(2, "session"))
    assert "a second opening" in findings.problems[0].what


def test_a_flood_of_problems_is_counted() -> None:
    """A person reads the first ones and how many more there are."""
    _, findings = read(OPEN, *[b"nonsense\n"] * 100)
    assert len(findings.problems) == MOST_PROBLEMS
    assert findings.lines()[-1] == f"J: and {100 - MOST_PROBLEMS} more problems"


def test_it_streams() -> None:
    """A record comes out before the next line is asked for."""
    taken = []

    def source() -> Iterator[bytes]:
        for line in lines(OPEN, record(2), record(3)):
            taken.append(line)
            yield line

    reader = read_records(source(), Findings("J"))
    next(reader)
    assert len(taken) == 1


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.binary(max_size=60), st.sampled_from([json.dumps(record(i, k)).encode() for i in (1, 2, 3) for k in ("session", "reading")])
        )
    )
)
def test_no_bytes_make_it_fail(raw: list[bytes]) -> None:
    """Whatever stands in a file, it ends with findings and never with an exception, and what comes out is in order."""
    findings = Findings("J")
    seqs = [r["seq"] for _, r in read_records([line.replace(b"\n", b"") + b"\n" for line in raw], findings)]
    assert seqs == sorted(set(seqs))


def test_readings_that_are_not_wanted_are_passed_over_and_still_counted() -> None:
    """Only in the form in which they are written here; gaps are found all the same, and an opening is never taken for a reading."""

    def written(record: dict[str, Any]) -> bytes:
        return (json.dumps(record, separators=(",", ":")) + "\n").encode()

    opening = OPEN | {"probes": [{"probe": "a", "role": "bath", "kind": "steel"}]}
    rows = [opening, record(2, "reading"), record(3, "reading", role="developer"), record(4, "reading"), record(7, "reading"), record(8)]
    findings = Findings("J")
    out = [r["seq"] for _, r in read_records([written(r) for r in rows], findings, pass_over=("bath",))]
    assert out == [1, 3, 8]
    assert [(p.line, p.what) for p in findings.problems] == [(5, "seq 7 after seq 4")]
    out = [r["seq"] for _, r in read_records(lines(*rows), Findings("J"), pass_over=("bath",))]
    assert out == [1, 2, 3, 4, 7, 8]
