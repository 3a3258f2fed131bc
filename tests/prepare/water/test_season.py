"""Before anything is mixed: where to plan, and whether it can be held."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.errors import InputWrong
from monitor.core.recipe.reader import load_recipe
from monitor.core.recipe.values import Recipe
from monitor.prepare.water.season import plan_season, season_lines, usual_tau

PAIRS = 'rate = { law = "pairs", pairs = [["18 C", "12:10"], ["20 C", "10:00"], ["24 C", "6:45"]] }'


def recipe(rate: str = PAIRS, time: str = "10:00", extra: str = "", film: str = "panchromatic", reference: str = "20 C") -> Recipe:
    """One develop stage and a fix."""
    text = f"""schema = 1
name = "Roll film"
film = "{film}"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "{time}"
reference = "{reference}"
{rate}
{extra}
[[stage]]
name = "fix"
role = "fix"
time = "5:00"
"""
    return load_recipe(text.encode(), "r.toml")


def test_a_tap_at_26_c_plans_at_24_c_by_the_persons_own_pairs() -> None:
    """The worked case: 6:45 at 24 C, with the ice that gets there."""
    (plan,) = plan_season(recipe(), 26.0, 30.0, bath_ml=2500.0, tau_s=None)
    assert plan.held
    assert plan.plan_c == 24.0
    assert plan.planned_s == pytest.approx(405.0)
    assert plan.ice_kg is not None
    assert 0.0 < plan.ice_kg < 0.2
    assert season_lines(plan, 2500.0, False)[0].startswith("develop: plan at 24 C by your own pairs: 6:45")


def test_where_the_bath_begins_and_ends_lies_within_what_is_said_to_be_allowed() -> None:
    """Planned at the edge of the data, the bath ends half a degree beyond it: the range that is named has room for that."""
    (plan,) = plan_season(recipe(), 26.0, 30.0, bath_ml=2500.0, tau_s=None)
    assert plan.end_c > plan.high_c
    assert plan.end_c <= plan.high_c + plan.slack_c
    said = "\n".join(season_lines(plan, 2500.0, False))
    assert "allowed 17.5 to 24.5 C: the recipe's data, and 0.5 C beyond at begin or end" in said


def test_a_mild_room_plans_at_the_reference() -> None:
    """Cold tap, room at 21 C: 20 C, warmed from the kettle."""
    (plan,) = plan_season(recipe(), 14.0, 21.0, bath_ml=2500.0, tau_s=None)
    assert plan.held
    assert plan.plan_c == 20.0
    assert plan.hot_ml is not None
    assert abs(plan.drift_c) < 0.3


def test_what_cannot_be_held_says_what_would_hold_it() -> None:
    """Not steered, 8 C room: refused with a time constant and a volume; with that time constant it is held."""
    (plan,) = plan_season(recipe(rate=""), 8.0, 8.0, bath_ml=2500.0, tau_s=None)
    assert not plan.held
    assert plan.drift_c == pytest.approx(-2.44, abs=0.02)
    assert plan.needed_tau_s is not None
    (again,) = plan_season(recipe(rate=""), 8.0, 8.0, bath_ml=2500.0, tau_s=1.001 * plan.needed_tau_s)
    assert again.held
    (not_yet,) = plan_season(recipe(rate=""), 8.0, 8.0, bath_ml=2500.0, tau_s=0.98 * plan.needed_tau_s)
    assert not not_yet.held
    text = "\n".join(season_lines(plan, 2500.0, False))
    assert "cannot be held here" in text


def test_a_circulating_heater_is_named_before_a_bath_that_nobody_has() -> None:
    """In an 8 C room it would take 210 l; a heater comes first, and a bath larger than a wash tub is not named at all."""
    (plan,) = plan_season(recipe(rate="", extra='band = "0.3 C"'), 8.0, 8.0, bath_ml=2500.0, tau_s=None)
    assert plan.needed_bath_ml is not None
    assert plan.needed_bath_ml > 100_000.0
    text = "\n".join(season_lines(plan, 2500.0, False))
    assert "what holds it: a circulating heater, set to 20.0 C, on a residual-current device" in text
    assert "in a vessel of the same shape" not in text
    (near,) = plan_season(recipe(rate="", extra='band = "0.7 C"'), 8.0, 8.0, bath_ml=2500.0, tau_s=None)
    assert near.needed_bath_ml is not None
    assert near.needed_bath_ml < 30_000.0
    lines = season_lines(near, 2500.0, False)
    assert [i for i, line in enumerate(lines) if "heater" in line] < [i for i, line in enumerate(lines) if "of the same shape" in line]


def test_a_heater_is_no_way_to_keep_a_bath_cool() -> None:
    """In a room at 33 C the bath warms."""
    (plan,) = plan_season(recipe(rate="", extra='band = "0.2 C"'), 20.0, 33.0, bath_ml=2500.0, tau_s=None)
    text = "\n".join(season_lines(plan, 2500.0, False))
    assert "a heater only warms" in text
    assert "circulating" not in text


def test_a_steered_recipe_in_a_cold_laundry_is_held_only_with_a_source() -> None:
    """Within its own data, but 2.4 C of drift: the bath alone moves no time, and that is said."""
    (plan,) = plan_season(recipe(), 8.0, 8.0, bath_ml=2500.0, tau_s=None)
    assert plan.held
    assert "witness" in "\n".join(season_lines(plan, 2500.0, False))


def test_colour_is_never_moved_and_needs_a_held_bath() -> None:
    """37.8 C in a 20 C room: the plan stays at the reference and a bowl cannot hold it."""
    (plan,) = plan_season(recipe(rate="", time="3:15", film="colour", reference="37.8 C"), 15.0, 20.0, bath_ml=5000.0, tau_s=None)
    assert plan.plan_c == 37.8
    assert plan.planned_s == 195.0
    assert not plan.held
    said = "\n".join(season_lines(plan, 5000.0, False))
    assert "allowed 37.65 to 37.95 C" in said, "a narrow band is told with its hundredths"
    assert "under 5:00" not in said, "colour has short times of its own"


def test_a_warmer_plan_does_not_go_under_five_minutes() -> None:
    """6:00 at 20 C would be 4:03 at 24 C: the plan stays where it takes 5:00."""
    pairs = 'rate = { law = "pairs", pairs = [["18 C", "7:18"], ["20 C", "6:00"], ["24 C", "4:03"]] }'
    (plan,) = plan_season(recipe(rate=pairs, time="6:00"), 26.0, 30.0, bath_ml=2500.0, tau_s=None)
    assert plan.planned_s >= 300.0
    assert not plan.too_short


def test_a_larger_bath_drifts_less_and_nothing_has_no_time_constant() -> None:
    """49 minutes for the 2.5 l bowl of the practice."""
    assert usual_tau(2500.0) == pytest.approx(2940.0)
    assert usual_tau(20000.0) == pytest.approx(5880.0)
    with pytest.raises(InputWrong):
        usual_tau(0.0)
    with pytest.raises(InputWrong, match="tap"):
        plan_season(recipe(), 90.0, 20.0, bath_ml=2500.0, tau_s=None)


def test_the_command_answers_in_words_and_as_data(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Verdict first; --json has every stage."""
    file = tmp_path / "r.toml"
    file.write_text(
        f'schema = 1\nname = "R"\nfilm = "panchromatic"\nvessel = "lidded tank"\n[[stage]]\nname = "develop"\nrole = "develop"\n'
        f'time = "10:00"\nreference = "20 C"\n{PAIRS}\n'
    )
    assert main(["season", str(file), "--tap", "26 C", "--room", "30 C"]) == 0
    assert "plan at 24 C by your own pairs: 6:45" in capsys.readouterr().out
    assert main(["season", str(file), "--tap", "26 C", "--room", "30 C", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["stages"][0]["planned_s"] == pytest.approx(405.0)
    assert main(["season", str(file), "--tap", "26", "--room", "30 C"]) == 2


def test_a_print_in_a_cold_tray_is_not_warmed_to_the_reference() -> None:
    """Its first trace takes the cold up, down to the end of its data: below, hydroquinone nearly stops (an older English text)."""
    text = """schema = 1
name = "Prints"
film = "paper"
vessel = "open tray"
[[stage]]
name = "develop"
role = "develop"
time = "5:00"
appearance_factor = 6
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
valid = ["13 C", "28 C"]
"""
    prints = load_recipe(text.encode(), "r.toml")
    (plan,) = plan_season(prints, 16.0, 16.0, bath_ml=2500.0, tau_s=None)
    assert (plan.plan_c, plan.hot_ml) == (16.0, None)
    said = season_lines(plan, 2500.0, False)[0]
    assert said == "develop: anything from 13 C to 28 C will do, its first trace sets the time; plan at 16 C"
    (cold,) = plan_season(prints, 8.0, 13.0, bath_ml=2500.0, tau_s=None)
    assert cold.plan_c == 13.0
    assert cold.hot_ml is not None
