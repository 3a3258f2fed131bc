"""A pytest plugin for `bench_breaks`: the tests that will most likely notice a break come first, so that most runs end after one test.

EVENBATH_PROMISE names the promise that is broken. A test counts for each word of it that stands in its name or docstring; a word that few
tests have counts for more. Tests: tests/test_breaks.py.
"""

from __future__ import annotations

import math
import os
import re
from collections import Counter
from collections.abc import Sequence

import pytest

PROMISE = "EVENBATH_PROMISE"
_STEM = 5
"""So many letters of a word are compared: "begun" and "begins" stay different, "reader" and "readers" do not."""


def words(text: str) -> frozenset[str]:
    """The words of a text, cut to their stems."""
    return frozenset(word[:_STEM] for word in re.findall(r"[a-z0-9]{3,}", text.lower()))


def order(promise: str, tests: Sequence[str]) -> list[int]:
    """The places of `tests` (each one's name and docstring), the likeliest first; those that share no word stay in their order."""
    every = [words(test) for test in tests]
    having = Counter(word for one in every for word in one)
    sought = words(promise)

    def score(one: frozenset[str]) -> float:
        return math.fsum(1.0 / having[word] for word in one & sought)

    return sorted(range(len(every)), key=lambda k: -score(every[k]))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Sort them."""
    promise = os.environ.get(PROMISE)
    if promise:
        told = [f"{item.name.replace('_', ' ')} {getattr(getattr(item, 'function', None), '__doc__', '') or ''}" for item in items]
        items[:] = [items[k] for k in order(promise, told)]
