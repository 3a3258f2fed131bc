"""What a trace file may hold, and what the liquids are between its rows."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.errors import TraceWrong
from hardware.simulated.trace import load_trace

HEAD = b"t_s,developer_c,bath_c\n"


def test_liquids_go_straight_between_rows_and_are_held_outside() -> None:
    """Between rows a liquid is on the straight line; before the first and after the last it stays."""
    trace = load_trace(HEAD + b"10,24,20\n20,22,19\n40,22,15\n")
    assert [trace.developer_c(t) for t in (-5, 10, 15, 20, 30, 40, 99)] == [24, 24, 23, 22, 22, 22, 22]
    assert trace.bath_c(35) == pytest.approx(16)
    assert (trace.start_s, trace.end_s) == (10, 40)
    assert trace.room_c(12) is None
    assert not trace.has_room


def test_columns_may_stand_in_any_order_with_blanks_and_a_byte_order_mark() -> None:
    """A file from a spreadsheet is read: mark, blanks, carriage returns, blank lines at the end."""
    trace = load_trace(b"\xef\xbb\xbfroom_c, bath_c ,developer_c,t_s\r\n12, 20,21.5,0\r\n12.5,20,21,60\r\n\r\n")
    assert trace.room_c(30) == pytest.approx(12.25)
    assert trace.developer_c(0) == 21.5


def test_a_fault_holds_from_its_row_until_a_later_cell_ends_it() -> None:
    """Each row's cell says what holds from then on; empty is sound; a probe without a column is always sound."""
    trace = load_trace(b"t_s,developer_c,bath_c,developer_fault\n0,20,20,\n10,20,20,crc\n20,20,20,stuck\n30,20,20,\n")
    assert [trace.fault("developer", t) for t in (0, 9.9, 10, 19.9, 20, 30, 99)] == [None, None, "crc", "crc", "stuck", None, None]
    assert trace.fault("bath", 15) is None
    assert trace.fault("room", 15) is None
    late = load_trace(b"t_s,developer_c,bath_c,bath_fault\n10,20,20,missing\n")
    assert [late.fault("bath", t) for t in (0, 10, 999)] == [None, "missing", "missing"]


def test_every_problem_is_told_with_its_line() -> None:
    """Unsorted, equal, empty, non-numeric, infinite, short and unknown cells are all found in one reading."""
    text = b"t_s,developer_c,bath_c,bath_fault\n0,20,20,\n0,20,20,\n5,,nan,\n4,inf,1e999,gone\n6,20\n7,twenty,0x14,air\n8,2_0,20,\n"
    assert _problem_lines(text) == [3, 4, 4, 5, 5, 5, 5, 6, 7, 7, 7, 8]


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        (b"", 1, "empty"),
        (b"\n \n", 1, "empty"),
        (HEAD, 1, "no rows"),
        (b"t_s,bath_c\n0,20\n", 1, "no column developer_c"),
        (b"t_s,developer_c,bath_c,ph\n0,20,20,7\n", 1, 'unknown column "ph"'),
        (b"t_s,developer_c,bath_c,bath_c\n0,20,20,20\n", 1, "stands 2 times"),
        (HEAD + b"0,20,20\n1,20,\xff\n", 3, "0xff is not UTF-8"),
        (HEAD + b"0,20,20\0\n", 2, "NUL"),
        (HEAD + b'0,20,"20\n', 2, "not CSV"),
        (b"t_s,developer_c,bath_c,developer_fault\n0,20,20,air\n", 2, "room_c"),
        (b"t_s,developer_c,bath_c,developer_fault\n0,20,20,CRC\n", 2, 'CRC" is not a fault'),
        (HEAD + b"0,20,20\n1,200,20\n", 3, "out of range"),
        (HEAD + "0,٢٠,20\n".encode(), 2, "not a finite number"),
    ],
)
def test_what_is_no_trace_is_refused(text: bytes, line: int, word: str) -> None:
    """Each kind of wrong file is refused with its line and what is allowed."""
    with pytest.raises(TraceWrong) as caught:
        load_trace(text)
    found_line, what, allowed = caught.value.problems[0]
    assert found_line == line
    assert word in what
    assert allowed.startswith("allowed: ")


@given(st.binary(max_size=200))
def test_no_bytes_do_more_than_be_refused(noise: bytes) -> None:
    """Any bytes are either a trace or a `TraceWrong` whose lines are in the file."""
    for text in (noise, HEAD + noise):
        last_line = text.count(b"\n") + text.count(b"\r") + 1
        assert all(1 <= line <= last_line for line in _problem_lines(text))


def _problem_lines(text: bytes) -> list[int]:
    try:
        load_trace(text)
    except TraceWrong as wrong:
        return [line for line, _, _ in wrong.problems]
    return []


def test_segments_cut_at_rows_alone() -> None:
    """The pieces of an interval join up and end at each row between."""
    trace = load_trace(HEAD + b"0,20,20\n10,21,20\n15,21,20\n")
    assert list(trace.segments(-3, 12)) == [(-3, 0), (0, 10), (10, 12)]
    assert list(trace.segments(10, 15)) == [(10, 15)]
    assert list(trace.segments(20, 20)) == []


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        (b"t_s;developer_c;bath_c\n0;20,5;19,8\n60;20,4;19,7\n", 1, "semicolons"),
        (b"t_s\tdeveloper_c\tbath_c\n0\t20,5\t19,8\n", 1, "tabs"),
        (HEAD + b"0;20,5;19,8\n60;20,4;19,7\n", 2, "semicolons"),
        (HEAD + b"0,20,5,19,8\n60,20,4,19,7\n", 2, "decimal commas"),
        (HEAD + b'0,"20,5","19,8"\n60,"20,4","19,7"\n', 2, "decimal comma"),
        (HEAD + b'0,20.5,19.8\n60,20.4,"19,7"\n', 3, "decimal comma"),
        (HEAD + b"0,68.5,67.1\n60,68.9,67\n", 1, "developer_c is 68.5 to 68.9 throughout: that is Fahrenheit (20.3 to 20.5 C)"),
        (b"t_s,developer_c,bath_c,room_c\n0,20,20,59\n60,20,20,60\n", 1, "room_c is 59 to 60 throughout: that is Fahrenheit"),
    ],
)
def test_a_table_of_another_country_is_told_in_one_line(text: bytes, line: int, says: str) -> None:
    """Not as three missing columns and a thousand rows, and Fahrenheit is not taken for Celsius."""
    with pytest.raises(TraceWrong) as caught:
        load_trace(text)
    assert len(caught.value.problems) == 1
    assert caught.value.problems[0][0] == line
    assert says in caught.value.problems[0][1]


def test_a_hot_moment_or_a_hot_bath_is_no_fahrenheit() -> None:
    """A probe may be dipped into hot water, and a bath may be one."""
    assert load_trace(HEAD + b"0,20,60\n60,85,61\n").developer_c(60) == 85
