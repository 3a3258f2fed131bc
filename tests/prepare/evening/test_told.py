"""The plan of an evening in words: what stands first, what fits, what the timeline shows."""

from __future__ import annotations

import pytest

from monitor.core.evening.values import Evening
from monitor.prepare.evening.planned import planned
from monitor.prepare.evening.supplies import supplies
from monitor.prepare.evening.told import told
from tests.prepare.bottles.test_counting import bottle
from tests.prepare.evening.samples import evening_of, film
from tests.prepare.evening.test_planned import PUSH, ROLL, STOCK, TODAY

TWO = film("roll.toml", "left") + film("push.toml", "right", "+4:00") + film("roll.toml", "left") + film("stock.toml", "right")


def lines_of(films: str = TWO, width: int = 80, **more: str) -> list[str]:
    """What is printed."""
    evening: Evening = evening_of(films, "6:00", roll_toml=ROLL, push_toml=PUSH, stock_toml=STOCK, **more)
    plan = planned(evening, {1: bottle(longer_percent=10.0)}, TODAY)
    return list(told(plan, supplies(plan), width))


def block(lines: list[str], head: str) -> list[str]:
    """The indented lines below a heading."""
    at = next(i for i, line in enumerate(lines) if line.startswith(head))
    after = [i for i, line in enumerate(lines) if i > at and not line.startswith(" ")]
    return lines[at + 1 : after[0] if after else None]


@pytest.mark.parametrize("width", [80, 60, 40, 5])
def test_no_line_is_longer_than_the_terminal_is_wide(width: int) -> None:
    """40 columns at the least, whatever the films are called."""
    long = film("roll.toml", "left").rstrip() + f'\nwhat = "{"the mill wheel " * 8}"\n' + film("roll.toml", "right", "+0:10")
    for films in (TWO, long, film("roll.toml") * 24, film("roll.toml")):
        assert max(map(len, lines_of(films, width))) <= max(40, width)


def test_the_answers_come_first() -> None:
    """How long, whether the hands suffice, what the ledger says, what to mix."""
    lines = lines_of()
    assert lines[1] == "4 films in 2 vessels, 38:00 from the first pour to the last film out."
    assert lines[2].startswith("Hands: ")
    assert [line.split(":")[0] for line in lines if not line.startswith(" ")][:5] == [
        "Sunday", "4 films in 2 vessels, 38", "Hands", "Light", "Ledger",
    ]  # fmt: skip


def test_the_timeline_has_each_vessels_stages_under_its_films() -> None:
    """A column is the same span of time in every row."""
    lines = lines_of()
    left = next(i for i, line in enumerate(lines) if line.startswith("left"))
    right = next(i for i, line in enumerate(lines) if line.startswith("right"))
    assert lines[left - 1].split() == ["1", "Roll", "3", "Roll"]
    assert lines[right - 1].split() == ["2", "Roll", "4", "Roll"]
    assert lines[left].split()[1].startswith("DDDD")
    assert lines[left - 1].index("3") == lines[left].rindex("  D") + 2
    begin = lines[right].index("D")
    column_s = 38 * 60 / (80 - 7)
    assert abs((begin - 6) * column_s - 240.0) <= column_s
    assert lines[right + 1].startswith("hands |")


def test_a_clash_says_how_far_the_later_film_is_to_be_moved() -> None:
    """In whole seconds, rounded up; and marks the column."""
    lines = lines_of(film("roll.toml", "left") + film("roll.toml", "right", "+0:10"))
    said = " ".join(line.strip() for line in lines[2:5])
    assert "Hands: at 7 moments two films need you at once (1 as planned" in said
    assert "Film 2 (Roll) 2:28 later clears all of it." in said
    assert "X" in next(line for line in lines if line.startswith("hands"))
    assert block(lines, "Clashes")


def test_without_a_clash_the_drift_that_it_bears_is_said() -> None:
    """Five per cent."""
    lines = lines_of(film("roll.toml", "left") + film("roll.toml", "right", "+4:00"))
    assert lines[2] == "Hands: no two films want them together, even if temperature moves an end by 5 %."


def test_the_bath_is_warmed_between_two_films_or_cannot_serve_both() -> None:
    """One after the other it can; side by side it cannot."""
    warm = ROLL.replace('"20 C"', '"24 C"')
    lines = lines_of(film("roll.toml") + film("warm.toml"), warm_toml=warm)
    assert block(lines, "Bath") == ["  20 C before film 1 begins", "  warm it to 24 C between 12:00 and 18:00, for film 2"]
    lines = lines_of(film("roll.toml", "left") + film("warm.toml", "right", "+4:00"), warm_toml=warm)
    assert "film 2 wants 24 C at 4:00 while film 1 is in at 20 C" in " ".join(block(lines, "Bath"))
    assert "20 C again by 18:00, for film 2" in block(lines_of(film("roll.toml") * 2), "Bath")[1]


def test_a_reel_that_cannot_be_dry_in_time_is_said() -> None:
    """Six minutes after the film before it."""
    assert "have a second, dry one" in " ".join(block(lines_of(film("roll.toml") * 2), "Reels"))
    assert not [line for line in lines_of(film("roll.toml")) if line.startswith("Reels")]


def test_the_light_rule_is_that_of_all_films_together() -> None:
    """Sheets in a tray darken the room for the tank beside them; a load wants the dark too."""
    lines = lines_of(film("roll.toml", "left") + film("tray.toml", "right", "+1:00"))
    assert "Light: film is bare from 1:00 to 14:20: no lamp of any colour, no screen, no" in lines
    assert lines_of(film("roll.toml"))[3] == "Light: no stage leaves film bare, as long as the lids stay on."


def test_each_caution_stands_once_and_the_rule_last() -> None:
    """Those that are the same each evening only where they are asked for."""
    with_trays = film("roll.toml", "left") + film("tray.toml", "right", "+4:00")
    evening = evening_of(with_trays, "6:00", roll_toml=ROLL, push_toml=PUSH, stock_toml=STOCK)
    plan = planned(evening, {}, TODAY)
    few, many = (list(told(plan, supplies(plan), 80, everything)) for everything in (False, True))
    assert few[-1].endswith("more, the same each evening: --cautions")
    assert len(block(many, "Cautions")) > len(block(few, "Cautions")) > 2
    assert "[design of this project]" in many[-1]
    starts = [line for line in block(many, "Cautions") if line.startswith("  - ")]
    assert len(starts) == len(set(starts))
