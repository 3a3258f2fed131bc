"""What a session tells of lags that were not as told: of a probe by its settling, of the vessel by its bath; and who is told."""

from __future__ import annotations

import math
import random

import pytest

from monitor.core.development.beliefs import FoundLag, Vessel
from monitor.core.journal.summary import Summary
from tests.core.development.scenes import BATH, DEVELOPER, LAW, Watched
from tests.evening import Evening, develop, recipe


def settling(lag_s: float, *, exchanged: bool = False) -> list[FoundLag]:
    """A probe of this lag, told to have 8 s, comes from the bench. `exchanged`: it turned out to be the bath's."""
    watched, rng = Watched(), random.Random(2)
    for t in range(120):
        celsius = 20.0 - 5.0 * math.exp(-t / lag_s) + rng.gauss(0.0, 0.025)
        watched.hear(float(t), round(16.0 * celsius) / 16.0)
    watched.estimator._bath_watch.exchanged = exchanged
    return watched.estimator.found_lags


def test_a_probes_lag_that_was_not_told_so_is_kept_and_told() -> None:
    """To a tenth."""
    (found,) = settling(20.0)
    assert (found.probe, found.told_lag_s) == ("jug", 8.0)
    assert found.lag_s == pytest.approx(20.0, rel=0.1)


def test_probes_that_were_exchanged_tell_nothing_of_each_other_s_lag() -> None:
    """It would be kept for the wrong one."""
    assert settling(20.0, exchanged=True) == []


def test_a_lag_that_was_told_right_is_no_news() -> None:
    """Within a quarter."""
    assert settling(8.0) == []


@pytest.mark.parametrize(("true_s", "told"), [(360.0, False), (160.0, True)])
def test_a_vessels_lag_that_is_false_is_told_with_the_one_that_would_have_fitted(true_s: float, told: bool) -> None:
    """360 s learned; the developer nears a bath 3 C warmer in 160 s. It costs nothing while its own probe is believed, so no FAULT."""
    watched, rng, liquid_c = Watched(DEVELOPER, BATH, vessel=Vessel(360.0, 7.0)), random.Random(3), 19.0
    watched.estimator.begin(0, 0.0, LAW, 20.0)
    for t in range(400):
        for celsius, probe in ((liquid_c, DEVELOPER), (22.0, BATH)):
            watched.hear(float(t), round(16.0 * (celsius + rng.gauss(0.0, 0.025))) / 16.0, probe)
        liquid_c += (22.0 - liquid_c) / true_s
    assert [(f.probe, f.told_lag_s) for f in watched.estimator.found_lags] == ([(None, 360.0)] if told else [])
    assert all(f.lag_s == pytest.approx(true_s, rel=0.15) for f in watched.estimator.found_lags)
    assert not any(c.loss for c in watched.changes)


def test_the_journal_and_the_summary_say_so_at_the_close() -> None:
    """A record just before the close, and a sentence of what to do about it."""
    evening = Evening(recipe(develop("5:00")), lambda t: 15.0 if t < 0.5 else 20.0)
    evening._lag_s = 20.0  # 8 s are told
    evening.begin().to(150.0)
    evening._do(evening.session.abandon(150.0, "enough"))
    told, close = evening.records[-2:]
    assert (told["kind"], told["probe"], told["told_lag_s"]) == ("learned", "developer", 8.0)
    assert told["lag_s"] == pytest.approx(20.0, rel=0.15)
    assert close["event"] == "close"
    summary = Summary()
    for record in evening.records:
        summary.add(record)
    assert any(line.startswith("Learned: developer lagged by") for line in summary.lines())
