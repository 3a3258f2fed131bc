"""Everything goes wrong, and the session goes on. Two hundred seeds, an hour each: tests/benchmarks/bench_storm.py."""

from pathlib import Path

import pytest

from tests.live.station.storm import storm


@pytest.mark.parametrize("seed", [1])
def test_a_storm_of_faults_loses_nothing(tmp_path: Path, seed: int) -> None:
    """No exception, no late NOW, no lamp in the dark, no gap in the journal."""
    result = storm(tmp_path, seed, hour_s=900.0)
    assert result.wrong == []
    assert result.records > 1000


def test_a_storm_with_kills_loses_nothing(tmp_path: Path) -> None:
    """And the process dies now and then."""
    result = storm(tmp_path, 11, hour_s=900.0, kills=True)
    assert result.wrong == []
    assert result.lives > 1
