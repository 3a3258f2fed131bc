"""Evenings drawn at random: the plan foresees what the hands meet."""

from __future__ import annotations

import pytest

from tests.benchmarks.random_evenings import compare
from tests.seeds import seeds


@pytest.mark.parametrize("seed", seeds(2))
def test_no_clash_is_met_that_the_plan_did_not_foresee(seed: int) -> None:
    """With liquids whose drift stays within the plan's bound; a hundred of them: `python -m tests.benchmarks.bench_evenings`."""
    outcome = compare(seed)
    assert not outcome.drifted
    assert outcome.unforeseen == []
    assert outcome.worst_now_s <= 2.4
