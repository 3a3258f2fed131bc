"""What the probes say now: the newest of each, and what is kept for whoever asks later."""

import math
from dataclasses import replace

import pytest

from hardware.ports import Sample, SampleFault
from monitor.core.probes.learned import NOT_COMPARED_SD_C, Comparison, ComparisonPoint, Learned
from monitor.live.inbox import Sampled
from monitor.live.station.probes_now import KEPT_S, ProbesNow
from monitor.live.station.station_file import ProbeConfig
from tests.live.simulated import BOWL, JUG

PROBES = (ProbeConfig("jug", JUG, "developer", 8.0, 5), ProbeConfig("bowl", BOWL, "bath", None, 8))


def watched(*samples: tuple[str, float, float | None, SampleFault | None]) -> ProbesNow:
    """Probes that have told these samples, in this order: (name, t_s, raw_c, fault)."""
    probes = ProbesNow(PROBES, Learned())
    for name, t_s, raw_c, fault in samples:
        probes.take(Sampled(name, Sample(JUG if name == "jug" else BOWL, t_s, raw_c, fault), t_s + 0.4))
    return probes


def test_an_older_reading_never_takes_the_place_of_a_newer_one() -> None:
    """A slow read that comes back last changes nothing: not the newest, not its age, not what is kept."""
    probes = watched(("jug", 100.0, 20.0, None), ("jug", 101.0, 20.5, None))
    assert probes.take(Sampled("jug", Sample(JUG, 99.5, 25.0), 102.0)) is None
    jug = probes.status(103.0)[0]
    assert (jug.raw_c, jug.age_s, jug.good_age_s) == (20.5, 2.0, 2.0)
    assert [r.t_s for r in probes.since(0.0)] == [100.0, 101.0]
    assert probes.good(103.0, 5.0) == {"jug": 20.5}


def test_a_bad_reading_has_no_number_and_the_last_good_one_keeps_its_age() -> None:
    """`quality` says why, `raw_c` what the register said."""
    probes = watched(("bowl", 100.0, 20.0, None), ("bowl", 101.0, 85.0, "reset"))
    bowl = probes.status(103.0)[1]
    assert (bowl.quality, bowl.raw_c, bowl.celsius, bowl.age_s, bowl.good_age_s) == ("reset", 85.0, None, 2.0, 3.0)
    assert probes.good(103.0, 5.0) == {}


def test_a_probe_that_never_answered_is_told_without_values() -> None:
    """Every probe of the station's file is told."""
    told = [probe.as_json() for probe in watched(("jug", 100.0, 20.0, None)).status(101.0)]
    assert [probe["probe"] for probe in told] == ["jug", "bowl"]
    assert told[1] == {
        "probe": "bowl", "id": BOWL, "role": "bath", "compared": False, "raw_c": None, "celsius": None, "quality": None,
        "age_s": None, "good_age_s": None, "step_c": None, "comparison_sd_c": None,
    }  # fmt: skip


def test_a_reading_is_told_with_what_the_session_would_believe_of_it() -> None:
    """What its own comparison leaves near this temperature; that of a probe never compared; and a witness stands in other water."""
    glass = Comparison("jug", JUG, 20.0, 0.3, 0.0, 0.01, 0.004, "glass", 0.3, "me", "2026-11-01", (ComparisonPoint(20.0, 0.3, 0.01),))
    told = []
    for role in ("developer", "witness"):
        probes = ProbesNow((replace(PROBES[0], role=role), PROBES[1]), Learned(comparisons={JUG: glass}))
        for name, raw_c in (("jug", 38.3), ("bowl", 38.0)):
            probes.take(Sampled(name, Sample(JUG if name == "jug" else BOWL, 100.0, raw_c, None), 100.4))
        told.append([probe.as_json()["comparison_sd_c"] for probe in probes.status(101.0)])
    own = glass.sd_at(38.0)
    assert 0.3 < own < 0.32
    assert told == [[pytest.approx(own), NOT_COMPARED_SD_C], [pytest.approx(math.hypot(own, 0.2)), NOT_COMPARED_SD_C]]


def test_a_reading_that_is_not_fresh_is_no_answer_for_now() -> None:
    """Five seconds are the pre-flight's patience, handed in."""
    probes = watched(("jug", 100.0, 20.0, None))
    assert probes.good(104.9, 5.0) == {"jug": 20.0}
    assert probes.good(105.0, 5.0) == {}


def test_half_an_hour_is_kept() -> None:
    """No more, no less."""
    probes = watched(("jug", 100.0, 20.0, None), ("bowl", 101.0, 20.0, None), ("jug", 100.5 + KEPT_S, 20.0, None))
    assert [r.probe for r in probes.since(0.0)] == ["bowl", "jug"]


def test_the_step_of_a_register_is_learned_from_its_good_values_alone() -> None:
    """Half degrees, with a reset among them; a correction with a slope does not hide them."""
    values: list[tuple[str, float, float | None, SampleFault | None]] = [
        ("jug", 100.0 + i, 20.0 + 0.5 * (i // 20), None) for i in range(100)
    ]
    values.insert(50, ("jug", 149.5, 85.0, "reset"))
    assert watched(*values).status(200.0)[0].step_c == 0.5
    line = Comparison("jug", JUG, 0.0, 0.3, 0.01, 0.02, 0.001, "ice", 0.02, "me", "2026-11-01", (ComparisonPoint(0.0, 0.3, 0.01),))
    corrected = ProbesNow(PROBES, Learned(comparisons={JUG: line}))
    for name, t_s, raw_c, fault in values:
        corrected.take(Sampled(name, Sample(JUG, t_s, raw_c, fault), t_s + 0.4))
    assert corrected.status(200.0)[0].step_c == 0.5
    assert watched(*values[:20]).status(200.0)[0].step_c is None
