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


def test_the_logarithm_of_a_sum_is_not_lost_where_its_parts_are_too_small_for_a_float() -> None:
    """exp(-1000) and exp(-1001)."""
    assert sum_log([-1000.0, -1001.0]) == pytest.approx(-1000.0 + math.log1p(math.exp(-1.0)))
