"""The tests that take longest: `tests/slowest.txt`, a name in each line, made from a run's own times.

`.venv/bin/pytest --slow with --durations 0 --durations-min 0.005 > TIMES; python -m tests.slowest TIMES` writes it anew. The whole suite
leaves them out, so that it takes two minutes; `pytest --slow only` runs them, `.ci/run` does, and so does whoever names their file.
Most are whole stations, browsers and brokers in real time, and storms of random events.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from functools import cache
from pathlib import Path

LIST = Path(__file__).with_name("slowest.txt")
SHARE = 0.86
"""They take so much of the whole suite's time together: what is left of it is over in two minutes on two idle cores."""
ALWAYS = (
    "tests/test_",
    "tests/cli/test_station.py::test_after_a_kill_the_session_goes_on_within_three_seconds",
    "tests/cli/test_station.py::test_in_the_dark_no_edge_of_the_lamp_ever_comes",
    "tests/core/development/test_estimator.py::test_development_given_keeps_its_budget",
    "tests/core/session/test_contract_",
    "tests/core/session/test_session_fold.py::",
    "tests/live/station/test_resume.py::test_a_now_that_was_due_and_not_heard_comes_behind_a_fault",
    "tests/live/test_rehearsal.py::test_scenario_1_true_integration",
)
"""Beginnings of names that the whole suite keeps, however long they take: one of each kind, and what the project promises first."""
_TIME = re.compile(r"\s*([\d.]+)s (?:call|setup|teardown)\s+(\S+)")


@cache
def slowest() -> frozenset[str]:
    """Names of the tests, without their parameters."""
    return frozenset(LIST.read_text(encoding="utf-8").split()) if LIST.exists() else frozenset()


def chosen(times: str, share: float = SHARE) -> list[str]:
    """The names to leave out by what pytest told of a run's times: the longest first, until they make up `share` of all."""
    took_s: defaultdict[str, float] = defaultdict(float)
    for line in times.splitlines():
        told = _TIME.match(line)
        if told is not None:
            took_s[told[2].partition("[")[0]] += float(told[1])
    names, left_s = [], share * sum(took_s.values())
    for name in sorted((n for n in took_s if not n.startswith(ALWAYS)), key=lambda n: -took_s[n]):
        if left_s <= 0.0:
            break
        names.append(name)
        left_s -= took_s[name]
    return sorted(names)


if __name__ == "__main__":
    LIST.write_text("".join(f"{name}\n" for name in chosen(Path(sys.argv[1]).read_text(encoding="utf-8"))), encoding="utf-8")
