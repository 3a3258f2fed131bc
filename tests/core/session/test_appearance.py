"""Prints: development by factor from the first trace's tap, steered by temperature between, the longest time without a tap."""

from __future__ import annotations

import json

import pytest

from monitor.core.development.beliefs import Beliefs, ProbeModel
from monitor.core.errors import FileWrong
from monitor.core.recipe.values import Recipe
from monitor.core.session.session import Options, Session
from tests.evening import Evening, recipe

STOP = 'name = "stop"\nrole = "stop"\ntime = "0:30"'
RATE = 'rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }'


def a_print(more: str = RATE, time: str = "5:00", factor: float = 5) -> Recipe:
    """One print in a tray at 20 C, looked at: its development is five times as long as its first trace takes."""
    stage = f'name = "develop"\nrole = "develop"\ntime = "{time}"\nreference = "20 C"\ndrain = "0:05"\nready = "0:15"\n'
    return recipe(f"{stage}appearance_factor = {factor}\n{more}", STOP, film="paper", vessel="open tray")


def test_now_comes_at_the_appearance_times_the_factor() -> None:
    """Seen after 20 s, times 5: the end 100 s after the begin, NOW 5 s before it, READY 15 s before that."""
    evening = Evening(a_print()).begin(1.0).press(21.0).to(140.0)
    assert evening.kind("tap")[1]["meaning"] == "appeared"
    (appeared,) = evening.kind("appeared")
    assert appeared["appearance_ref_s"] == pytest.approx(20.0, abs=0.2)
    assert appeared["target_ref_s"] == pytest.approx(100.0, abs=1.0)
    assert evening.stage(1, "now")["t_s"] == pytest.approx(96.0, abs=1.0)
    assert evening.stage(1, "ready")["t_s"] == pytest.approx(81.0, abs=1.0)
    assert evening.stage(1, "end")["t_s"] == pytest.approx(101.0, abs=1.0)


def test_the_published_example_of_development_by_factor() -> None:
    """45 s to the first trace, a factor of five: three minutes and three quarters (a photographic weekly of 12 April 1901, cited in a
    dictionary of photography of its time)."""
    evening = Evening(a_print(more="")).begin().press(45.0).to(240.0)
    assert evening.stage(1, "end")["t_s"] == pytest.approx(225.0, abs=0.1)


def test_the_factor_takes_up_a_cold_tray_and_the_rate_what_changes_after_it() -> None:
    """A steady 14 C needs no rate; where the tray cools from 20 C to 14 C after the tap, the print stays in longer."""
    cold = Evening(a_print(), lambda _: 14.0).begin().press(30.0).to(200.0)
    assert cold.stage(1, "end")["t_s"] == pytest.approx(150.0, abs=1.5)
    cools = Evening(a_print(), lambda t: 20.0 if t < 20.0 else max(14.0, 20.0 - 0.2 * (t - 20.0))).begin().press(20.0).to(250.0)
    still = Evening(a_print(more="")).begin().press(20.0).to(250.0)
    assert still.stage(1, "end")["t_s"] == pytest.approx(100.0, abs=0.5)
    assert cools.stage(1, "end")["t_s"] > 125.0


def test_without_a_tap_the_longest_time_rules() -> None:
    """And no appearance, however late it is told, makes it longer."""
    assert Evening(a_print()).begin().to(400.0).stage(1, "end")["t_s"] == pytest.approx(300.0, abs=1.0)
    late = Evening(a_print()).begin().press(100.0).to(400.0)
    assert late.kind("appeared")[0]["target_ref_s"] == 300.0
    assert late.stage(1, "end")["t_s"] == pytest.approx(300.0, abs=1.0)


def test_a_second_tap_moves_nothing_and_three_seconds_take_the_begin_and_the_trace_again() -> None:
    """The first tap counts; a begin that is taken again waits for its trace anew."""
    evening = Evening(a_print()).begin().press(20.0).press(40.0).to(140.0)
    assert [t["meaning"] for t in evening.kind("tap")[:3]] == ["begin", "appeared", "mark"]
    assert evening.stage(1, "end")["t_s"] == pytest.approx(100.0, abs=1.0)
    again = Evening(a_print()).begin().press(12.0).press(20.0, 3.2).press(44.0).to(200.0)
    assert [t["meaning"] for t in again.kind("tap")[:4]] == ["begin", "appeared", "again", "appeared"]
    assert again.stage(1, "end")["t_s"] == pytest.approx(20.0 + 5 * 24.0, abs=1.5)


def test_nothing_appears_in_the_first_four_seconds() -> None:
    """A stumble right after the begin is a mark (common practice, no source)."""
    evening = Evening(a_print()).begin().press(3.0).press(20.0).to(30.0)
    assert [t["meaning"] for t in evening.kind("tap")] == ["begin", "mark", "appeared"]


def test_a_trace_so_early_that_ready_is_overdue_still_leaves_ten_seconds() -> None:
    """6 s times 2 is over as soon as it is told: READY at once, NOW ten seconds later (contract, section 5)."""
    evening = Evening(a_print(factor=2)).begin().press(6.0).to(60.0)
    assert evening.stage(1, "now")["t_s"] - evening.stage(1, "ready")["t_s"] == pytest.approx(10.0, abs=0.2)


def test_a_restart_knows_what_was_seen() -> None:
    """Killed after the tap and taken up again, the end is where it was."""
    plan = a_print()
    evening = Evening(plan).begin().press(20.0).to(40.0)
    before = evening.session.snapshot.end_t_s
    probes = (ProbeModel("developer", "developer", 8.0, 0.29), ProbeModel("bath", "bath", 0.0, 0.29))
    session = Session(plan, Beliefs(20.0, probes), Options("live"))
    for record in evening.records:
        session.fold(json.loads(json.dumps(record)))
    session.resume(42.0, 2.0, True)
    assert before is not None
    assert session.snapshot.end_t_s == pytest.approx(before, abs=0.5)
    assert not session.snapshot.awaits_appearance


def test_the_screen_asks_for_the_tap() -> None:
    """As long as it is awaited."""
    evening = Evening(a_print()).begin().to(10.0)
    assert evening.session.snapshot.awaits_appearance
    evening.press(20.0)
    assert not evening.session.snapshot.awaits_appearance


@pytest.mark.parametrize(
    ("more", "film", "tail", "says"),
    [
        ("appearance_factor = 1", "paper", "", "1.5 to 60"),
        ("appearance_factor = 5", "colour", "", "nothing is seen in the dark"),
        ('appearance_factor = 5\nuntil = "at least"', "paper", "", "no single print is looked at"),
        ("appearance_factor = 5", "paper", '[sheets]\ncount = 2\ninterval = "0:10"\n', "no single print is looked at"),
    ],
)
def test_a_factor_is_for_one_print_that_is_looked_at(more: str, film: str, tail: str, says: str) -> None:
    """Refused elsewhere, with its line."""
    stage = f'name = "develop"\nrole = "develop"\ntime = "5:00"\n{more}'
    with pytest.raises(FileWrong) as caught:
        recipe(stage, STOP, film=film, vessel="open tray", tail=tail)
    assert any(says in line for line in caught.value.lines)
