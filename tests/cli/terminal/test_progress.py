"""Whoever waits sees what is being done and how far it is."""

from __future__ import annotations

import io
from contextlib import closing

from monitor.cli.terminal.progress import LINES, MANY, counted


class Terminal(io.StringIO):
    """One that is looked at."""

    def isatty(self) -> bool:
        """As a terminal says."""
        return True


def test_it_counts_to_the_end_and_leaves_no_line() -> None:
    """The things come through unchanged."""
    out = Terminal()
    assert list(counted(list(range(50)), 50, "journals read", out)) == list(range(50))
    told = out.getvalue()
    assert "\rjournals read: 50 of 50" in told
    assert told.endswith("\r\x1b[K")


def test_of_very_many_it_says_a_hundred_numbers() -> None:
    """No more text than one can read."""
    out = Terminal()
    assert sum(1 for _ in counted(range(100_000), 100_000, "journals read", out)) == 100_000
    assert out.getvalue().count(" of ") == LINES


def test_a_few_things_need_no_line() -> None:
    """Nor does a pipe or a file get one."""
    few, pipe = Terminal(), io.StringIO()
    list(counted(range(MANY - 1), MANY - 1, "x", few))
    list(counted(range(1000), 1000, "x", pipe))
    assert (few.getvalue(), pipe.getvalue()) == ("", "")


def test_the_line_goes_also_where_the_work_breaks_off() -> None:
    """What is said then stands on a line of its own."""
    out = Terminal()
    with closing(counted(range(50), 50, "x", out)) as through:  # type: ignore[type-var]
        next(through)
    assert out.getvalue().endswith("\r\x1b[K")
