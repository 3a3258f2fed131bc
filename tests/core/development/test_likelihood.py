"""Likelihoods of straight sums, against the multivariate normal density of a general-purpose library."""

from __future__ import annotations

import math

import pytest

from monitor.core.development.likelihood import Sums, sum_log


def test_the_evidence_of_a_straight_sum_is_the_multivariate_normal_density() -> None:
    """Two unknowns, five values: the density of N(0, noise + X V X') (scipy)."""
    np = pytest.importorskip("numpy")
    stats = pytest.importorskip("scipy.stats")
    columns = [[1.0] * 5, [0.0, 1.0, 2.0, 3.0, 4.0]]
    values = [0.3, -0.1, 0.4, 0.8, 1.1]
    x = np.array(columns).T
    covariance = 0.04 * np.eye(5) + x @ np.diag([0.5**2, 0.2**2]) @ x.T
    sums = Sums(columns, values, 0.04)
    assert sums.evidence((0.5, 0.2)) == pytest.approx(stats.multivariate_normal(np.zeros(5), covariance).logpdf(values))
    posterior = np.linalg.inv(x.T @ x / 0.04 + np.diag([1 / 0.25, 1 / 0.04]))
    mean = posterior @ x.T @ np.array(values) / 0.04
    assert sums.last((0.5, 0.2)) == pytest.approx((mean[1], math.sqrt(posterior[1, 1])))
    assert sums.misfit((0.5, 0.2)) == pytest.approx(np.array(values) @ np.linalg.inv(covariance) @ np.array(values))


@pytest.mark.parametrize("others", [None, [0.1, 0.2, -0.4, 0.0, 0.7]])
def test_a_column_added_later_gives_the_very_same_bits(others: list[float] | None) -> None:
    """As if all columns had been there from the start, for the same values and for others."""
    columns, values, sds = [[1.0] * 5, [0.0, 1.0, 2.0, 3.0, 4.0], [0.3, 0.1, 0.9, 0.2, 0.5]], [0.3, -0.1, 0.4, 0.8, 1.1], (0.5, 0.2, 0.7)
    added, whole = Sums(columns[:2], values, 0.04).and_one_more(columns[2], others), Sums(columns, others or values, 0.04)
    assert (added.evidence(sds), added.misfit(sds), added.last(sds)) == (whole.evidence(sds), whole.misfit(sds), whole.last(sds))


def test_the_logarithm_of_a_sum_is_not_lost_where_its_parts_are_too_small_for_a_float() -> None:
    """exp(-1000) and exp(-1001)."""
    assert sum_log([-1000.0, -1001.0]) == pytest.approx(-1000.0 + math.log1p(math.exp(-1.0)))
