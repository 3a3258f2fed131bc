"""When the following terminal must be black."""

from typing import Any

from monitor.core.recipe.reader import load_recipe
from monitor.live.view.curtain import MOST_KEPT, Curtain
from tests.live.simulated import DARK, SHORT

LID, OPEN = load_recipe(SHORT.encode(), "r"), load_recipe(DARK.encode(), "r")
LOAD = load_recipe(SHORT.replace("[[stage]]", '[[stage]]\nname = "load"\nrole = "load"\n[[stage]]', 1).encode(), "r")


def record(kind: str, t_s: float = 60.0, **fields: Any) -> dict[str, Any]:
    """An event with a record."""
    return {"event": "record", "record": {"seq": 1, "t_s": t_s, "kind": kind, **fields}}


def test_a_lidded_session_has_no_curtain() -> None:
    """Its terminal may be lit."""
    assert not Curtain(LID).down


def test_the_curtain_stays_down_until_the_fixing_minimum_and_a_key() -> None:
    """A key before does nothing; the minimum alone does nothing either."""
    curtain = Curtain(OPEN)
    assert curtain.down
    curtain.take(record("stage", stage=1, event="end"))
    assert not curtain.key()
    curtain.take(record("stage", stage=3, event="minimum"))
    assert curtain.down
    assert curtain.key()
    assert not curtain.down


def test_a_session_that_ended_leaves_the_curtain_to_the_person() -> None:
    """Nobody knows where the film is."""
    curtain = Curtain(OPEN)
    curtain.take({"event": "closed", "session": "x"})
    assert curtain.down
    assert curtain.key()


def test_what_was_not_shown_is_kept_for_the_light() -> None:
    """But for readings and ticks."""
    curtain = Curtain(OPEN)
    for event in (record("cue", cue="tick"), record("reading", probe="jug"), record("trust", probe="jug"), record("cue", cue="now")):
        curtain.take(event)
    assert [(r["kind"], r.get("cue")) for r in curtain.kept] == [("trust", None), ("cue", "now")]


def test_with_a_lid_the_curtain_is_down_until_the_loading_is_left() -> None:
    """Armed and while the reel is loaded; no key lifts it, the begin of the next stage does, and that record is not kept."""
    curtain = Curtain(LOAD)
    assert curtain.down
    curtain.take(record("stage", stage=1, event="begin"))
    curtain.take(record("stage", stage=1, event="minimum"))
    curtain.take({"event": "view", "view": {"stage": 1}})
    assert not curtain.key()
    assert curtain.down
    curtain.take(record("stage", stage=2, event="begin"))
    assert not curtain.down
    assert [r["event"] for r in curtain.kept] == ["begin", "minimum"]


def test_a_snapshot_too_tells_that_the_loading_is_left() -> None:
    """After a connection was lost, when nobody saw the begin."""
    curtain = Curtain(LOAD)
    curtain.take({"event": "view", "view": {"stage": None}})
    assert curtain.down
    curtain.take({"event": "view", "view": {"stage": 2}})
    assert not curtain.down


def test_a_session_that_ended_while_loading_waits_for_a_key() -> None:
    """The film may lie open."""
    curtain = Curtain(LOAD)
    curtain.take({"event": "closed", "session": "x"})
    assert curtain.down
    assert curtain.key()


def view(stage: int | None, t_s: float = 60.0, end_t_s: float | None = 300.0, until: str = "time") -> dict[str, Any]:
    """An event with a snapshot."""
    return {"event": "view", "view": {"stage": stage, "t_s": t_s, "end_t_s": end_t_s, "until": until}}


def test_one_who_comes_late_may_lift_it_by_what_a_snapshot_shows() -> None:
    """Past the minimum of the last fix, or in a stage after it; never before, and never without a key."""
    fixing = (view(3, 200.0, 300.0, "at least"), view(3, 400.0, 300.0, "time"), view(3, 9.0, None))
    for early in (view(None), view(1), view(2, 400.0), view(2, 400.0, 300.0, "at least"), *fixing):
        curtain = Curtain(OPEN)
        curtain.take(early)
        assert not curtain.key()
    curtain = Curtain(OPEN)
    curtain.take(view(3, 300.0, 300.0, "at least"))
    assert curtain.down
    assert curtain.key()
    washed = Curtain(load_recipe((DARK + '[[stage]]\nname = "wash"\nrole = "wash"\ntime = "5:00"\n').encode(), "r"))
    washed.take(view(4))
    assert washed.key()


def test_the_minimum_that_counts_is_that_of_the_last_fix() -> None:
    """The film goes on bare through two of them."""
    fix = '[[stage]]\nname = "fix"\nrole = "fix"\ntime = "0:20"\n'
    assert DARK.count('role = "fix"') == 1
    twice = Curtain(load_recipe((DARK + fix).encode(), "r"))
    twice.take(record("stage", stage=3, event="minimum"))
    assert not twice.key()
    twice.take(record("stage", stage=4, event="minimum"))
    assert twice.key()


def test_what_is_kept_for_the_light_is_bounded() -> None:
    """The newest records are kept."""
    curtain = Curtain(OPEN)
    for number in range(MOST_KEPT + 10):
        curtain.take(record("trust", t_s=float(number)))
    assert len(curtain.kept) == MOST_KEPT
    assert curtain.kept[-1]["t_s"] == MOST_KEPT + 9
