"""In what steps a register moves, from its values, bit by bit as the data sheet has it."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from monitor.core.probes.register import register_step_c

TABLE = {
    0x07D0: 125.0, 0x0550: 85.0, 0x0191: 25.0625, 0x00A2: 10.125, 0x0008: 0.5,
    0x0000: 0.0, 0xFFF8: -0.5, 0xFF5E: -10.125, 0xFE6F: -25.0625, 0xFC90: -55.0,
}  # fmt: skip
"""Register and temperature (DS18B20 data sheet, table 1)."""


def told_c(word: int, bits: int = 12) -> float:
    """The temperature in a 16-bit register; at fewer than 12 bits the lowest are undefined and masked (data sheet)."""
    kept = word & ~((1 << (12 - bits)) - 1)
    return (kept - 0x10000 if kept & 0x8000 else kept) / 16


def word_of(celsius: float) -> int:
    """The register after a 12-bit conversion."""
    return round(celsius * 16) & 0xFFFF


def bits_probe(bits: int) -> Callable[[float], float]:
    """A probe at so many bits."""
    return lambda celsius: told_c(word_of(celsius), bits)


def clone(step_c: float) -> Callable[[float], float]:
    """A clone that tells decimal steps."""
    return lambda celsius: round(celsius / step_c) * step_c


def rounded_clone(step_c: float) -> Callable[[float], float]:
    """A clone whose decimal step is rounded into a register of sixteenths."""
    return lambda celsius: told_c(word_of(round(celsius / step_c) * step_c))


def bath(
    seed: int, seconds: int = 600, noise_c: float = 0.02, rate_c_per_min: float = -0.2, start_c: float = 20.4
) -> list[float]:
    """A bath that drifts, with the noise of a probe, once a second."""
    random_numbers = random.Random(seed)
    return [start_c + rate_c_per_min * s / 60 + random_numbers.gauss(0.0, noise_c) for s in range(seconds)]


def dip(seed: int, lag_s: float = 8.0, noise_c: float = 0.02) -> list[float]:
    """A probe of some lag from a bath into warmer water, and a minute there."""
    random_numbers = random.Random(seed)
    return [24.0 - 4.3 * math.exp(-s / lag_s) + random_numbers.gauss(0.0, noise_c) for s in range(60)]


def test_the_register_of_these_tests_is_the_data_sheets() -> None:
    """All ten rows, and back."""
    for word, celsius in TABLE.items():
        assert told_c(word) == celsius
        assert word_of(celsius) == word


@pytest.mark.parametrize("bits", [9, 10, 11, 12])
def test_a_drifting_bath_tells_the_bits(bits: int) -> None:
    """Two degrees in ten minutes, ten baths; a constant correction changes nothing."""
    read = bits_probe(bits)
    for seed in range(10):
        for offset_c in (0.0, -0.3137, 0.4):
            assert register_step_c([read(c) + offset_c for c in bath(seed)]) == 2.0**-(bits - 8)


@pytest.mark.parametrize("step_c", [0.1, 0.2, 0.25, 0.5])
@pytest.mark.parametrize("make", [clone, rounded_clone])
def test_a_drifting_bath_tells_a_clone(step_c: float, make: Callable[[float], Callable[[float], float]]) -> None:
    """Steps of a tenth to a half, told to the digit or rounded into sixteenths; ten baths."""
    read = make(step_c)
    for seed in range(10):
        assert register_step_c([read(c) + 0.17 for c in bath(seed)]) == pytest.approx(step_c)


@pytest.mark.parametrize("noise_c", [0.0, 0.005, 0.02, 0.06])
@pytest.mark.parametrize("rate", [0.0, -0.05, -0.25, 1.0, 3.0])
def test_a_sound_probe_is_never_called_coarse(noise_c: float, rate: float) -> None:
    """In still, drifting and quick water, quiet or noisy, at every moment: a dip and two baths each."""
    for seed in range(3):
        truth = dip(seed, random.Random(seed).uniform(2, 20), noise_c) + bath(seed, 60, noise_c, rate)
        values = [told_c(word_of(c)) for c in (bath(seed, 120, noise_c, rate) if seed else truth)]
        for end in range(1, len(values) + 1):
            assert register_step_c(values[:end]) in (None, 0.0625), (seed, end)


def test_the_kernels_whole_thousandths_tell_the_same() -> None:
    """The kernel cuts off after three places, towards zero: 20.4375 is told as 20.437."""
    for bits in (10, 12):
        read = bits_probe(bits)
        thousandths = [math.trunc(read(c) * 1000) / 1000 for c in bath(1, start_c=1.0)]
        assert register_step_c(thousandths) == 2.0**-(bits - 8)


@pytest.mark.parametrize(
    "values",
    [
        [],
        [20.0] * 500,
        [20.0, 20.5, 20.0],
        [20.0] * 30 + [20.5] * 3 + [20.0] * 30,
        ([20.0] * 9 + [20.5] * 3) * 20,
        [20.0, 20.5, 21.0, 21.5, 22.0, 22.5, 23.0, 23.5, 24.0, 24.5, 25.0],
        [20.0, 20.125, 20.25],
    ],
)
def test_values_that_cannot_tell_have_no_step(values: list[float]) -> None:
    """Nothing, a still probe, one flicker, a bad contact, quick water, three values in passing."""
    assert register_step_c(values) is None


def test_a_probe_without_steps_has_none() -> None:
    """Values that were never in a register."""
    assert register_step_c(bath(3)) is None


def test_an_early_guess_is_taken_back() -> None:
    """A value between the coarse ones proves the finer step."""
    coarse = [bits_probe(10)(c) for c in bath(2)]
    assert register_step_c(coarse) == 0.25
    assert register_step_c([*coarse, coarse[-1] + 0.0625, coarse[-1] + 0.125]) == 0.0625


def test_a_value_that_is_no_number_is_refused() -> None:
    """Not a number, and infinite."""
    for wrong in (math.nan, math.inf):
        with pytest.raises(ValueError, match="no number"):
            register_step_c([20.0, wrong])


def test_values_that_lie_near_a_rounded_decimal_step_by_chance_do_not_tell_it() -> None:
    """A settling probe whose correction is no multiple of sixteenths: three values within a sixteenth of tenths are no clone's."""
    assert register_step_c([23.0, 22.295, 21.673]) is None
    assert register_step_c([23.0, 22.3, 21.7, 21.3]) == 0.1
