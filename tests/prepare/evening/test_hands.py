"""The moments that need hands: every end of a stage, pouring off before it, turning, sheets."""

from __future__ import annotations

import pytest

from monitor.core.errors import InputWrong
from monitor.core.session.clashes import POURING_S
from monitor.prepare.evening.clashes import clashes
from monitor.prepare.evening.hands import DONE_S, SHEET_S, bursts, if_longer, moments
from tests.core.recipe.samples import TRAY
from tests.prepare.evening.samples import HEAD, ROLL, evening_of, film, hands_of, placed, stage


def told(recipe: str) -> list[tuple[float, float, str]]:
    """The moments of an evening of one film: when, how long, what."""
    return [(m.t_s, m.busy_s, m.what) for m in hands_of(evening_of(film("x.toml"), x_toml=recipe))]


def test_one_roll_has_its_pours_its_turns_and_every_end() -> None:
    """Pouring in lasts as long as the first burst; pouring off begins at NOW; a minimum is followed by its own pouring off."""
    assert told(ROLL) == [
        (0.0, 30.0, "develop in"),
        (120.0, 10.0, "develop: agitate"), (240.0, 10.0, "develop: agitate"),
        (360.0, 10.0, "develop: agitate"), (480.0, 10.0, "develop: agitate"),
        (585.0, 15.0, "develop: pour off"),
        (600.0, POURING_S, "develop ends: stop in"),
        (650.0, 10.0, "stop: pour off"),
        (660.0, POURING_S, "stop ends: fix in"),
        (960.0, 10.0 + DONE_S, "fix ends: film out"),
    ]  # fmt: skip


def test_every_end_of_a_stage_is_a_moment() -> None:
    """To the second, with one vessel or two, with sheets or a load."""
    load = HEAD + '[[stage]]\nname = "load"\nrole = "load"\n' + ROLL.removeprefix(HEAD)
    evening = evening_of(film("load.toml", "left") + film("tray.toml", "right", "+0:30"), load_toml=load)
    ends = {(f.film.number, s.stage.number, s.end_s) for f in placed(evening) for s in f.stages}
    assert ends <= {(m.film, m.stage, m.t_s) for m in hands_of(evening)}


def test_each_moment_names_its_stage_and_a_load_with_a_time_is_one() -> None:
    """What is only agitated, kept moving or loaded cannot wait; a stage without a drain has no pouring off."""
    load = '[[stage]]\nname = "load"\nrole = "load"\ntime = "2:00"\n'
    dry = 'drain = "0:00"\nagitation = "continuous"\n'
    text = HEAD + load + stage("develop", "10:00", dry) + stage("fix", "5:00")
    found = [(m.stage, m.t_s, m.busy_s, m.what, m.may_wait) for m in hands_of(evening_of(film("x.toml"), x_toml=text))]
    assert found == [
        (1, 0.0, 120.0, "load: load", False),
        (1, 120.0, POURING_S, "load ends: develop in", True),
        (2, 120.0, 600.0, "develop: keep it moving", False),
        (2, 720.0, POURING_S, "develop ends: fix in", False),
        (3, 1020.0, 10.0 + DONE_S, "fix ends: film out", True),
    ]  # fmt: skip
    assert [m.stage for m in hands_of(evening_of(film()))] == [1] * 7 + [2] * 2 + [3]


def test_what_ends_by_a_tap_may_wait_and_nothing_else() -> None:
    """The end of the fix; pours into the developer cannot."""
    assert [m.what for m in hands_of(evening_of(film())) if m.may_wait] == ["fix ends: film out"]


def test_the_hands_move_when_the_ticks_will_sound() -> None:
    """None in the last half minute before NOW; the first burst is cut there."""
    (develop, *_) = placed(evening_of(film()))[0].recipe.stages
    assert bursts(develop, 585.0) == [(0.0, 30.0), (120.0, 130.0), (240.0, 250.0), (360.0, 370.0), (480.0, 490.0)]
    assert bursts(develop, 519.0)[-1] == (360.0, 370.0)
    assert bursts(develop, 520.0)[-1] == (480.0, 490.0)


def test_moved_all_the_time_it_keeps_the_hands_until_now() -> None:
    """In a tank; a drum rolls by itself."""
    text = HEAD + stage("develop", "10:00", 'agitation = "continuous"\n')
    assert (0.0, 590.0, "develop: keep it moving") in told(text)
    assert not [what for _, _, what in told(text.replace("lidded tank", "drum")) if "moving" in what]


def test_sheets_keep_the_hands_from_the_first_in_to_the_last_out() -> None:
    """Shuffling, then each one's exit."""
    found = told(TRAY)
    exits = sorted(placed(evening_of(film("tray.toml")))[0].recipe.sheet_exits_s)
    assert (0.0, exits[0] - 5.0) == next((t_s, busy_s) for t_s, busy_s, what in found if "shuffle" in what)
    assert [(t_s, busy_s) for t_s, busy_s, what in found if what == "develop: a sheet out"] == [(e - 5.0, 5.0 + SHEET_S) for e in exits]


def test_more_than_one_person_can_do_is_refused_at_once() -> None:
    """Twenty-four films of a day, turned every ten seconds; two hundred moments are an evening."""
    day = HEAD + stage("develop", "23:00:00", 'agitation = [{ every = "0:10", for = "0:05" }]\n')
    with pytest.raises(InputWrong, match="more than 5000 moments need hands"):
        hands_of(evening_of(film("x.toml") * 24, x_toml=day))
    assert len(hands_of(evening_of(film() * 20))) == 200


def test_counted_from_full_a_pour_takes_as_long_as_the_recipe_says() -> None:
    """And NOW comes at the end of the time, the drain after it."""
    text = HEAD + stage("develop", "10:00", 'counted = "full to empty"\nfill = "0:20"\n')
    assert [(t_s, busy_s) for t_s, busy_s, _ in told(text)] == [(0.0, 20.0), (620.0, 10.0), (630.0, pytest.approx(DONE_S))]


OFTENER = ROLL.replace('"2:00"', '"1:54"')
"""Its fifth turn would come 15 s before NOW, when the film is left to rest."""


def test_a_stage_that_lasts_longer_wants_a_turn_that_the_plan_has_not() -> None:
    """Half a minute more, and there is time for it. A drum rolls by itself, and other turns lie where nothing changes."""
    found = placed(evening_of(film("x.toml"), x_toml=OFTENER))
    (more,) = if_longer(found)
    assert (more.t_s, more.busy_s, more.what, more.if_longer) == (570.0, 10.0, "develop: agitate, if it lasts longer", True)
    assert more.t_s not in {m.t_s for m in moments(found)}
    assert if_longer(placed(evening_of(film("x.toml"), x_toml=OFTENER.replace("lidded tank", "drum")))) == ()
    assert if_longer(placed(evening_of(film("x.toml"), x_toml=ROLL.replace('"2:00"', '"4:00"')))) == ()


def test_a_turn_that_only_a_longer_stage_wants_clashes_but_not_as_planned() -> None:
    """The other film is poured in at that moment."""
    both = placed(evening_of(film("x.toml", "left") + film("x.toml", "right", "+9:25"), x_toml=OFTENER))
    met = [c for c in clashes((*moments(both), *if_longer(both))) if c.first.if_longer or c.second.if_longer]
    assert [(c.first.t_s, c.second.t_s, c.overlap_s) for c in met] == [(565.0, 570.0, 0.0)]
