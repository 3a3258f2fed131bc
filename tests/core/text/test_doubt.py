"""A doubt is two standard deviations wherever a person reads it, and that is said once."""

from __future__ import annotations

import pytest

from monitor.core.text.doubt import plus_minus, said_once, two_sd


def test_a_person_is_shown_two_standard_deviations() -> None:
    """In whatever unit."""
    assert two_sd(0.29) == pytest.approx(0.58)
    assert plus_minus(0.093, 2, " C") == "+/- 0.19 C"
    assert plus_minus(4.2, 0) == "+/- 8"
    assert plus_minus(0.0, 1, " %") == "+/- 0.0 %"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("mean 19.39 C +/- 0.18 C, worst +/- 0.18 C", "mean 19.39 C +/- 0.18 C (two standard deviations), worst +/- 0.18 C"),
        ("done 100.0 % +/- 1.9 of it", "done 100.0 % +/- 1.9 (two standard deviations) of it"),
        ("11:00 +/- 0:03", "11:00 +/- 0:03 (two standard deviations)"),
        ("+/- 3 seconds", "+/- 3 (two standard deviations) seconds"),
        ("inside the band of +/-0.5 C, +/- 0.2 C", "inside the band of +/-0.5 C, +/- 0.2 C (two standard deviations)"),
        ("nothing was measured", "nothing was measured"),
    ],
)  # fmt: skip
def test_what_it_means_is_said_beside_the_first(text: str, said: str) -> None:
    """A wanted band is no doubt; it has no space behind its sign."""
    assert said_once(text) == said
