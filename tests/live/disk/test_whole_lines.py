"""Lines of a file that a crash may have torn: against the plain way of reading it whole."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.live.disk.whole_lines import BLOCK_BYTES, COUNT_BYTES, count_lines, end_of_whole_lines, last_line, start_of_line

LENGTHS = st.lists(st.sampled_from([0, 1, 2, BLOCK_BYTES, COUNT_BYTES + 1]), max_size=6)


@contextmanager
def opened(content: bytes) -> Iterator[int]:
    """A file with this content, open."""
    with tempfile.TemporaryFile() as file:
        file.write(content)
        file.flush()
        yield file.fileno()


@settings(max_examples=60, deadline=None)
@given(LENGTHS, st.sampled_from([b"", b"torn"]), st.integers(0, 3))
def test_they_agree_with_reading_the_file_whole(lengths: list[int], torn: bytes, short: int) -> None:
    """At any size below the file's too: what lies behind it does not count."""
    content = b"".join(b"x" * length + b"\n" for length in lengths) + torn
    size = max(0, len(content) - short)
    seen = content[:size]
    whole = seen[: seen.rfind(b"\n") + 1]
    starts = [0, *(at + 1 for at, byte in enumerate(seen) if byte == 10)]
    with opened(content) as file:
        assert end_of_whole_lines(file, size) == len(whole)
        assert last_line(file, size, 1 << 20) == (whole.split(b"\n")[-2] if whole else b"")
        assert count_lines(file, size) == seen.count(b"\n")
        for number in range(1, len(starts) + 2):
            found = start_of_line(file, number, size)
            assert found == (starts[number - 1] if number <= len(starts) and starts[number - 1] < size else None)


def test_a_line_without_end_is_cut_and_not_held() -> None:
    """A damaged file is no reason to run out of memory."""
    with opened(b"x" * 5000 + b"\n") as file:
        assert last_line(file, 5001, 100) == b"x" * 100
