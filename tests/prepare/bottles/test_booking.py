"""What a session's journal means for the bottles; a rehearsal means nothing."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest

from monitor.core.errors import FileWrong, InputWrong
from monitor.core.recipe.reader import load_recipe
from monitor.prepare.bottles.booking import read_booking
from monitor.prepare.bottles.ledger import Ledger, booking_entries, write_entries
from tests.core.recipe.samples import ROLL, changed
from tests.prepare.bottles.test_ledger import added, put

NOW = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)
DILUTED = changed(ROLL, 'solution = "developer A" => solution = "developer A"\ndilution = "1+31"\nvolume = "512 ml"')


def journal(path: Path, text: str = ROLL, mode: str = "live", begun: tuple[int, ...] = (1, 2), tail: str = "") -> Path:
    """A journal as short as one can be: opening, a reading, and the begins of some stages."""
    recipe = load_recipe(text.encode(), "recipe.toml")
    common: dict[str, Any] = {"session": "20261125-1900", "t_s": 0.0, "wall": "2026-11-25T19:00:00Z"}
    rows: list[dict[str, Any]] = [
        {"seq": 1, **common, "kind": "session", "event": "open", "mode": mode, "recipe": dict(recipe.data)},
        {"seq": 2, **common, "kind": "reading", "probe": "jug", "role": "developer", "raw_c": 20.0, "celsius": 20.0, "quality": "good"},
    ]
    rows += [{"seq": 3 + i, **common, "kind": "stage", "stage": n, "name": "x", "event": "begin"} for i, n in enumerate(begun)]
    path.write_text("".join(json.dumps(row, separators=(",", ":")) + "\n" for row in rows) + tail, encoding="utf-8")
    return path


def book(state: Path, path: Path, name: str | None, units: float | None = None) -> Ledger:
    """Book a journal as the command does."""
    return write_entries(state, NOW, lambda ledger: booking_entries(ledger, read_booking(path), name, units))[0]


def test_the_area_of_the_recipe_goes_through_the_named_bottle(tmp_path: Path) -> None:
    """One unit, with the session's id in the bottle."""
    put(tmp_path, added("developer A"))
    bottle = book(tmp_path, journal(tmp_path / "j.jsonl"), "developer a").bottle("developer A")
    assert (bottle.units, bottle.sessions) == (1.0, ("20261125-1900",))


def test_without_a_name_every_bottle_that_the_session_used_is_booked(tmp_path: Path) -> None:
    """The fixer only where its stage was begun."""
    text = changed(ROLL, 'name = "fix" => name = "fix"\nsolution = "fixer"')
    put(tmp_path, added("developer A"), added("fixer"), added("other"))
    ledger = book(tmp_path, journal(tmp_path / "j.jsonl", text, begun=(1,)), None)
    assert [ledger.bottle(name).units for name in ("developer A", "fixer", "other")] == [1.0, 0.0, 0.0]


def test_a_journal_is_booked_once_a_bottle(tmp_path: Path) -> None:
    """By name and without; nothing is written the second time."""
    put(tmp_path, added("developer A"))
    path = journal(tmp_path / "j.jsonl")
    book(tmp_path, path, "developer A")
    for name in ("developer A", None):
        with pytest.raises(InputWrong, match="booked"):
            book(tmp_path, path, name)


def test_a_bottle_of_stock_gives_millilitres_and_counts_no_film(tmp_path: Path) -> None:
    """512 ml at 1+31 take 16 ml of stock."""
    put(tmp_path, {**added("developer A", 500.0), "dilution": "stock"})
    bottle = book(tmp_path, journal(tmp_path / "j.jsonl", DILUTED), "developer A").bottle("developer A")
    assert (bottle.volume_ml, bottle.units) == (484.0, 0.0)


def test_a_rehearsal_never_enters_the_ledger(tmp_path: Path) -> None:
    """Refused, whatever else it says."""
    put(tmp_path, added("developer A"))
    with pytest.raises(InputWrong, match="rehearsal"):
        book(tmp_path, journal(tmp_path / "j.jsonl", mode="rehearsal"), "developer A")


def test_a_solution_that_no_bottle_bears_is_refused_with_the_names(tmp_path: Path) -> None:
    """So that nothing is booked on the wrong bottle."""
    put(tmp_path, added("fixer"))
    for name in ("fixer", None):
        with pytest.raises(InputWrong, match='used the solutions "developer A"'):
            book(tmp_path, journal(tmp_path / "j.jsonl"), name)


def test_a_recipe_without_an_area_wants_the_units_said(tmp_path: Path) -> None:
    """Then they count."""
    text = changed(ROLL, "area_units = 1.0\n =>")
    put(tmp_path, added("developer A"))
    path = journal(tmp_path / "j.jsonl", text)
    with pytest.raises(InputWrong, match="--units"):
        book(tmp_path, path, "developer A")
    assert book(tmp_path, path, "developer A", 1.5).bottle("developer A").units == 1.5


def test_a_torn_last_line_is_passed_over_and_a_damaged_one_is_refused(tmp_path: Path) -> None:
    """By file and line."""
    assert read_booking(journal(tmp_path / "a.jsonl", tail='{"seq":5,"kind":"st')).session == "20261125-1900"
    with pytest.raises(FileWrong, match=r"b\.jsonl:5: "):
        read_booking(journal(tmp_path / "b.jsonl", tail="rubbish\n{}\n"))
    with pytest.raises(InputWrong, match="no record opens"):
        read_booking(_written(tmp_path / "c.jsonl", "{}\n"))
    with pytest.raises(InputWrong, match="cannot be read"):
        read_booking(tmp_path / "none.jsonl")


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_a_session_is_told_the_age_and_use_of_the_solutions_that_stand_in_the_ledger(tmp_path: Path) -> None:
    """By name, for the record alone; a solution without a bottle is left out."""
    import datetime as dt

    from monitor.cli.main import main
    from monitor.prepare.bottles.booking import solutions_told

    add = ["bottle", "add", "fixer", "--volume", "1 l", "--dilution", "1+4", "--mixed", "2026-11-20", "--state", str(tmp_path)]
    assert main(add) == 0
    assert main(["bottle", "use", "fixer", "--units", "1.5", "--state", str(tmp_path)]) == 0
    text = changed(ROLL, 'until = "at least" => until = "at least"\nsolution = "fixer"')
    (standing,) = solutions_told(tmp_path, load_recipe(text.encode(), "r.toml"), dt.date(2026, 11, 25))
    told = standing.as_json()
    assert told["solution"] == "fixer"
    assert told["age_s"] == 5 * 86400
    assert told["used_area_units"] == 1.5
    assert told["area_units"] == 2.5
    assert told["dilution"] == "1+4"
