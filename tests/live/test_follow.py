"""What the following terminal says, and when it must be black."""

from typing import Any

from monitor.core.recipe import load_recipe
from monitor.live.follow import Curtain, Lines, developer
from tests.live.simulated import DARK, SHORT

LID, OPEN = load_recipe(SHORT.encode(), "r"), load_recipe(DARK.encode(), "r")


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


def test_every_temperature_stands_with_source_age_and_uncertainty() -> None:
    """And an assumed begin says so."""
    lines = Lines(LID)
    known = {"developer_c": 20.2, "developer_sd_c": 0.3, "age_s": 1.0, "source": "vessel model"}
    progress = record("progress", **known, done_ref_s=30.0, target_ref_s=120.0, end_t_s=119.0)
    line = lines.line(progress)
    assert line is not None
    assert "20.20 C +/- 0.60 C" in line
    assert "1 s ago" in line
    assert "estimated by the vessel's lag" in line
    assert "25.0 %" in line
    assert lines.line(progress) is None
    begin = lines.line(record("stage", stage=2, name="stop", event="begin", assumed=True))
    assert begin is not None
    assert "assumed" in begin
    assert "next: fix" in begin


def test_nothing_known_is_said_as_nothing_known() -> None:
    """No number stands in."""
    assert developer({"developer_c": None}) == "developer: not known"
    assert "never" in developer({"developer_c": 20.0, "developer_sd_c": 3.0, "age_s": None, "source": "clock"})


def test_ticks_and_readings_are_no_lines() -> None:
    """A line is for what a person may want to know."""
    lines = Lines(LID)
    assert lines.line(record("cue", cue="tick")) is None
    assert lines.line(record("reading", probe="jug")) is None
    assert lines.line(record("cue", cue="now")) is not None
    assert lines.line(record("trust", probe="jug", believed=False, why="in air")) is not None
