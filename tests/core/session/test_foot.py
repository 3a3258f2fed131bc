"""From raw edges to clean ones."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from monitor.core.session.foot import SETTLE_S, Debounce


def run(edges: list[tuple[float, bool]], until_s: float = 100.0) -> list[tuple[float, bool]]:
    """Feed raw edges, settle in between, and collect the clean ones."""
    debounce, clean = Debounce(), []
    for t_s, down in edges:
        while debounce.settles_s is not None and debounce.settles_s < t_s:
            clean += debounce.tick(debounce.settles_s)
        clean += debounce.feed(t_s, down)
    while debounce.settles_s is not None and debounce.settles_s <= until_s:
        clean += debounce.tick(debounce.settles_s)
    return clean


def test_the_first_edge_counts_at_once() -> None:
    """An answer must come within 100 ms, so nobody waits for the contact to settle."""
    assert Debounce().feed(1.0, True) == [(1.0, True)]


def test_bounces_of_a_press_and_of_its_release_make_one_press() -> None:
    """Five bounces, one press."""
    raw = [(1.0, True), (1.004, False), (1.006, True), (1.011, False), (1.013, True), (1.3, False), (1.304, True), (1.306, False)]
    assert run(raw) == [(1.0, True), (1.3, False)]


def test_a_press_that_ends_within_the_bouncing_time_ends_when_that_is_over() -> None:
    """A level that changed for good while nobody looked is not lost."""
    assert run([(1.0, True), (1.01, False)]) == [(1.0, True), (1.0 + SETTLE_S, False)]


@given(st.lists(st.tuples(st.floats(0.001, 0.5), st.booleans()), max_size=60))
def test_clean_edges_alternate_are_apart_and_end_at_the_last_raw_level(steps: list[tuple[float, bool]]) -> None:
    """Whatever a contact does."""
    t_s, raw = 0.0, []
    for wait_s, down in steps:
        t_s += wait_s
        raw.append((t_s, down))
    clean = run(raw)
    assert all(a[1] != b[1] for a, b in pairwise(clean))
    assert all(b[0] - a[0] >= SETTLE_S - 1e-9 for a, b in pairwise(clean))
    assert (clean[-1][1] if clean else False) == (raw[-1][1] if raw else False)
