"""The deliberate breaks of tests/benchmarks/breaks fit the tree as it is. What catches them: tests/benchmarks/bench_breaks.py."""

from __future__ import annotations

import ast

import pytest

from tests.benchmarks.bench_breaks import NotApplicable, areas, entries, mirrored_tests, read
from tests.benchmarks.likeliest import order
from tests.benchmarks.mutants import mutants

GOOD = {"promise": "p", "file": "monitor/__init__.py", "was": '"""', "becomes": "#", "caught_by": ["tests/test_breaks.py"]}


@pytest.mark.parametrize("area", areas())
def test_each_break_can_be_applied(area: str) -> None:
    """Its file exists, the text stands in it once and changes, the result is Python, and the tests that should notice exist."""
    wrong = []
    for k, entry in enumerate(entries(area), 1):
        try:
            read(entry, f"{area}.toml:{k}")
        except NotApplicable as why:
            wrong.append(str(why))
    assert not wrong


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"file": "monitor/nowhere"}, "does not exist"),
        ({"was": "no such text"}, "occurs 0 times"),
        ({"was": "_"}, "needed: once"),
        ({"was": "__version__", "becomes": "__version__"}, "nothing would change"),
        ({"was": "__version__", "becomes": "1 +"}, "no Python"),
        ({"was": "__version__", "caught_by": ["tests/nowhere"]}, "does not exist"),
        ({"was": "__version__", "caught_by": ["tests/test_breaks.py::test_nothing"]}, "has no test_nothing"),
        ({"was": "__version__", "caught_by": []}, "names no test"),
        ({"because": "x"}, "unknown"),
        ({"promise": 3}, "promise is missing"),
    ],
)
def test_a_break_that_does_not_fit_is_refused(wrong: dict[str, object], says: str) -> None:
    """With what is wrong with it."""
    with pytest.raises(NotApplicable, match=says):
        read(GOOD | wrong, "somewhere")


SOURCE = '''
def late(at_s: float = 3.0, heard: bool = False) -> bool:
    """3 < 4."""
    if heard and not 0 < at_s <= 60:
        tell(f"{at_s + 1}")
    return at_s * 2 > 5
'''


def test_mutants_change_one_thing_each_and_stay_python() -> None:
    """Numbers, comparisons, operators, conditions and calls; never a docstring, an annotation or a formatted string."""
    made = mutants(SOURCE)
    assert {(m.was, m.becomes) for m in made} >= {
        ("3.0", "4.0"),
        ("False", "True"),
        ("heard and not 0 < at_s <= 60", "(heard or not 0 < at_s <= 60)"),
        ("0 < at_s <= 60", "(0 <= at_s <= 60)"),
        ("0 < at_s <= 60", "(0 < at_s < 60)"),
        ("not 0 < at_s <= 60", "(0 < at_s <= 60)"),
        ('tell(f"{at_s + 1}")', "None"),
        ("at_s * 2 > 5", "(at_s * 2 >= 5)"),
        ("at_s * 2", "((at_s) / (2))"),
        ("5", "6"),
    }
    for mutant in made:
        ast.parse(mutant.source)
        assert '"""3 < 4."""' in mutant.source
        assert "at_s: float" in mutant.source
        assert "at_s + 1" in mutant.source or mutant.becomes == "None"


def test_the_tests_of_a_module_are_those_that_it_names_and_the_one_that_mirrors_it() -> None:
    """From its docstring first."""
    assert mirrored_tests("hardware/one_wire.py") == ("tests/hardware/test_one_wire.py",)
    assert "tests/core/session/test_sounds.py" in mirrored_tests("monitor/core/session/calls.py")


def test_the_tests_that_speak_of_a_promise_run_first() -> None:
    """A word that few tests have counts for more; those that share none keep their order."""
    tests = ["a probe is lost", "a probe is read", "readers of the telling socket are few", "nothing at all"]
    assert order("the probe of the telling socket", tests) == [2, 0, 1, 3]
    assert order("readers are lost", tests) == [2, 0, 1, 3]
    assert order("unheard of", tests) == [0, 1, 2, 3]
