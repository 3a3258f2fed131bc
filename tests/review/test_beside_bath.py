"""With hindsight: bath and vessel's lag show over a whole stage what live had left undecided. Liquids by closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.core.probes.readings import EXCHANGED
from monitor.review.beside_bath import BathsWord, beside_bath
from monitor.review.load import load
from monitor.review.measures import Review, measure, recorded_probes
from monitor.review.numbers import StageMeasures
from tests.review.journals import Played, play, recipe_data

LAG_S = 400.0
STEP_S, STEP_C = 300.0, 1.5
"""When hot water goes into the bath, and by how much it warms it."""
Change = Callable[[dict[str, Any]], None]


def bath(t: float) -> float:
    """Warmer than the developer, and at one moment warmer still."""
    return 20.5 + (STEP_C if t >= STEP_S else 0.0)


def liquid(t: float) -> float:
    """It follows the bath; hands add 0.03 C a minute."""
    warmed = STEP_C * (1.0 - math.exp(-(t - STEP_S) / LAG_S)) if t >= STEP_S else 0.0
    return 20.5 - 1.2 * math.exp(-t / LAG_S) + warmed + 0.03 / 60.0 * LAG_S * (1.0 - math.exp(-t / LAG_S))


def played(change: Change | None = None, vessel: bool = True) -> Played:
    """An evening in that bath; `change` is done to each reading of the developer's probe."""
    made = play(recipe_data(), liquid, bath=bath, comparison_sd_c=0.05)
    for record in made.records:
        if vessel and record["kind"] == "session" and record["event"] == "open":
            record["vessel"] = {"vessel": "lidded tank", "lag_s": LAG_S, "lag_sd_s": 8.0, "coupled_to": "bath"}
        if change is not None and record["kind"] == "reading" and record["probe"] == "developer":
            change(record)
    return made


def by(record: dict[str, Any], celsius: float) -> None:
    """Move a reading."""
    record["raw_c"] += celsius
    record["celsius"] += celsius


def exchanged() -> Played:
    """Developer's and bath's probe stand under each other's name."""
    made = played()
    other = {"developer": "bath", "bath": "developer"}
    for record in made.records:
        if record["kind"] == "reading" and record["probe"] in other:
            record["probe"] = record["role"] = other[record["probe"]]
    opening = made.records[0]
    told = {p["probe"]: dict(p) for p in opening["probes"]}
    opening["probes"] = [{**told[other[name]], "probe": name, "role": name} for name in ("developer", "bath")]
    return made


def reviewed(made: Played, folder: Path) -> tuple[Review, StageMeasures, float]:
    """The review, its develop stage, and by how many per cent of the target that is off the truth."""
    review = measure(load(made.write(folder / "s.jsonl")))
    develop = next(s for s in review.numbers.stages if s.stage == 2)
    assert develop.done_ref_s is not None
    return review, develop, 100.0 * (develop.done_ref_s - made.true_done_ref_s[2, None]) / 660.0


def drifting(record: dict[str, Any]) -> None:
    """From 250 s on the sensor drifts by -0.3 C a minute."""
    by(record, -0.3 / 60.0 * max(record["t_s"] - 250.0, 0.0))


def half_dry(record: dict[str, Any]) -> None:
    """From 200 s on the probe comes to say 0.8 C less, with its lag of 8 s."""
    by(record, -0.8 * (1.0 - math.exp(-max(record["t_s"] - 200.0, 0.0) / 8.0)))


@pytest.mark.parametrize(("change", "says"), [(drifting, "drifts, by the end it is 2.2"), (half_dry, "0.8")])
def test_what_the_bath_shows_the_probe_to_be_off_is_taken_off(change: Change, says: str, tmp_path: Path) -> None:
    """Live had followed it to the end."""
    review, develop, off_percent = reviewed(played(change), tmp_path)
    assert abs(off_percent) < 0.7
    assert develop.done_sd_percent is not None
    corrected = [d.what for d in review.numbers.doubted if d.made == "corrected"]
    assert corrected == [f"developer {says} C below what bath and vessel's lag say"]
    _, _, plain_percent = reviewed(played(change, vessel=False), tmp_path)
    assert abs(plain_percent) > 2.0  # nothing but the bath can tell


def test_readings_that_live_took_from_a_drifting_probe_come_back(tmp_path: Path) -> None:
    """Live was without the probe from 420 s on; less their drift its readings say more than live's estimate, which is 3 % off."""
    made = played(drifting)
    made.records.insert(-1, {
        "seq": made.records[-1]["seq"], "session": made.records[0]["session"], "wall": made.records[-1]["wall"], "t_s": 420.0,
        "kind": "trust", "probe": "developer", "believed": False, "why": "drifts", "since_t_s": 250.0, "source": "vessel model",
    })  # fmt: skip
    made.records[-1]["seq"] += 1
    for record in made.records:
        if record["kind"] == "progress" and record["t_s"] >= 420.0:
            record["source"], record["developer_c"] = "vessel model", record["developer_c"] + 1.0
    review, _, off_percent = reviewed(made, tmp_path)
    assert abs(off_percent) < 0.7
    assert [(d.made, d.news) for d in review.numbers.doubted] == [("corrected", False)]


def test_probes_in_each_others_liquid_are_taken_for_each_other(tmp_path: Path) -> None:
    """Live had not found it."""
    review, develop, off_percent = reviewed(exchanged(), tmp_path)
    assert abs(off_percent) < 0.5
    assert develop.measured_by == "bath"
    assert any("each other's liquid" in d.what for d in review.numbers.doubted)
    assert review.numbers.exchanged == ("developer", "bath")


def test_a_witness_is_asked_as_the_developers_own_probe_is(tmp_path: Path) -> None:
    """It is a vessel like the developer's, in the same bath."""
    made = exchanged()
    for record in made.records:
        told = record["probes"] if record["kind"] == "session" and record["event"] == "open" else [record]
        for one in (one for one in told if one.get("role") == "developer"):
            one["role"] = "witness"
    assert abs(reviewed(made, tmp_path)[2]) < 0.5


def test_good_probes_are_left_alone(tmp_path: Path) -> None:
    """With a bath that agrees the numbers are what they are without it."""
    review, develop, _ = reviewed(played(), tmp_path)
    _, alone, _ = reviewed(played(vessel=False), tmp_path)
    assert develop.done_ref_s == alone.done_ref_s
    assert develop.done_sd_ref_s == pytest.approx(alone.done_sd_ref_s, rel=0.05)
    assert review.numbers.doubted == []
    assert review.numbers.exchanged is None


def test_a_probe_in_air_is_no_probe_with_an_offset(tmp_path: Path) -> None:
    """Lifted out for good, it goes on its own course to 3 C less, which neither drift nor offset has: nothing is taken off."""
    made = played(lambda r: by(r, -3.0 * (1.0 - math.exp(-max(r["t_s"] - 350.0, 0.0) / 60.0))))
    assert not any("vessel's lag" in d.what for d in reviewed(made, tmp_path)[0].numbers.doubted)


def test_what_stays_undecided_is_a_doubt(tmp_path: Path) -> None:
    """Half a degree off from before the first reading on, in a bath that does nothing: a warm pour-in looks like that too, for long."""
    made = played(lambda r: by(r, -0.55))
    journal = load(made.write(tmp_path / "s.jsonl"))
    word = beside_bath(journal, recorded_probes(journal), 60.0, 300.0)
    assert word is not None
    assert not word.exchanged
    assert word.moved_c == 0.0
    assert word.doubt_c > 0.1


def test_a_doubt_about_the_readings_is_in_the_plus_minus(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter of a degree of it is more than two per cent of the development."""
    word = BathsWord("developer", "bath", 0.0, 700.0, 0.0, 0.25)
    monkeypatch.setattr("monitor.review.measures.beside_bath", lambda *_: word)
    _, develop, _ = reviewed(played(), tmp_path)
    assert develop.done_sd_percent is not None
    assert develop.done_sd_percent > 2.0


def test_an_exchange_that_live_has_found_stands(tmp_path: Path) -> None:
    """Nothing more is asked of the bath."""
    journal = load(exchanged().write(tmp_path / "s.jsonl"))
    facts = recorded_probes(journal)
    found = beside_bath(journal, facts, 60.0, 600.0)
    assert found is not None
    assert found.exchanged
    journal.rows["trust"] = [{"t_s": 300.0, "probe": "developer", "believed": False, "why": f"{EXCHANGED}bath: x", "since_t_s": 0.0}]
    assert beside_bath(journal, facts, 60.0, 600.0) is None
    assert measure(journal).numbers.exchanged == ("developer", "bath")


def test_without_a_lag_of_the_vessel_in_its_bath_nothing_is_said(tmp_path: Path) -> None:
    """Also where the record's vessel is one that follows the room, or is no vessel."""
    journal = load(played(half_dry).write(tmp_path / "s.jsonl"))
    facts = recorded_probes(journal)
    assert beside_bath(journal, facts, 60.0, 600.0) is not None
    for vessel in (None, {"lag_s": 400.0, "lag_sd_s": 8.0, "coupled_to": "room"}, {"lag_s": "long", "coupled_to": "bath"}, 7):
        journal.opening["vessel"] = vessel
        assert beside_bath(journal, facts, 60.0, 600.0) is None


def test_a_drift_grows_from_nothing() -> None:
    """Before its begin nothing is off."""
    off, doubt = BathsWord("a", "b", 100.0, 200.0, 1.0, 0.2, drifts=True).off(np.array([50.0, 100.0, 150.0, 200.0]))
    assert off.tolist() == [0.0, 0.0, 0.5, 1.0]
    assert doubt.tolist() == pytest.approx([0.0, 0.0, 0.1, 0.2])
