"""The list of the slowest tests is made from times, keeps what always stays, and names tests that there are."""

from __future__ import annotations

from pathlib import Path

from tests.slowest import ALWAYS, chosen, slowest

TIMES = """
12.00s setup    x/test_a.py::test_long
3.00s call     x/test_a.py::test_long[one]
9.00s call     x/test_b.py::test_middle
6.00s call     tests/test_house.py::test_stays
1.00s call     x/test_b.py::test_short
"""


def test_the_longest_are_chosen_until_they_make_up_the_share() -> None:
    """Setup and all parameters of a test together; what begins like one of `ALWAYS` stays."""
    assert chosen(TIMES, 0.4) == ["x/test_a.py::test_long"]
    assert chosen(TIMES, 0.6) == ["x/test_a.py::test_long", "x/test_b.py::test_middle"]
    assert "tests/test_house.py::test_stays" not in chosen(TIMES, 1.0)


def test_every_name_is_a_test_and_none_is_one_that_stays() -> None:
    """A test that is renamed is renamed in the list, or it would be run again without a word."""
    for name in slowest():
        file, _, test = name.partition("::")
        assert f"def {test}(" in Path(file).read_text(encoding="utf-8"), name
        assert not name.startswith(ALWAYS), name


def test_what_stays_exists() -> None:
    """Each beginning is that of some file or test."""
    for start in ALWAYS:
        file, _, test = start.partition("::")
        found = list(Path().glob(f"{file}*"))
        assert found, start
        assert not test or f"def {test}(" in found[0].read_text(encoding="utf-8"), start
