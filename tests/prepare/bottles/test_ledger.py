"""The ledger of bottles: what entries make of them, undo, balances, and two shells at once."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.errors import FileWrong, InputWrong
from monitor.prepare.bottles.bottles import Bottle, NotAllowed, Rules, fold
from monitor.prepare.bottles.ledger import Entry, Ledger, ledger_file, read_ledger, undo_last, use_entry, write_entries

NOW = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)
TODAY = dt.date(2026, 11, 25)


def added(name: str = "fixer", volume_ml: float = 1000.0, mixed: str = "2026-11-01", opened: str | None = None, **rules: Any) -> Entry:
    """The entry of a new bottle."""
    said = {"name": name, "volume_ml": volume_ml, "role": "fix", "mixed": mixed, "opened": opened}
    return {"entry": "add", **said, "rules": asdict(Rules(**rules))}


def put(state: Path, *entries: Entry) -> Ledger:
    """Write ready entries."""
    return write_entries(state, NOW, lambda ledger: entries)[0]


def used(state: Path, name: str, units: float = 0.0, taken_ml: float = 0.0, **more: Any) -> Bottle:
    """Use a bottle; the bottle afterwards."""
    ledger, _ = write_entries(state, NOW, lambda ledger: [use_entry(ledger, ledger.bottle(name), units, taken_ml, **more)])
    return ledger.bottle(name)


def after_test(state: Path, name: str, today_s: float, fresh_s: float, kind: str) -> Bottle:
    """Enter a test; the bottle afterwards."""
    number = read_ledger(state).bottle(name).id
    test = {"entry": "test", "bottle": number, "name": name, "test": kind, "today_s": today_s, "fresh_s": fresh_s}
    return put(state, test).bottle(name)


def undo(state: Path) -> Ledger:
    """Take back the last entry."""
    return write_entries(state, NOW, undo_last)[0]


def test_two_sessions_through_one_bottle_add_up(tmp_path: Path) -> None:
    """Six 4x5 twice are three units of the twenty that the sheet allows in a litre."""
    put(tmp_path, added(per_litre=20.0))
    used(tmp_path, "fixer", 1.5)
    bottle = used(tmp_path, "Fixer", 1.5)
    assert (bottle.units, bottle.remaining_units, bottle.state(TODAY)[0]) == (3.0, 17.0, "good")
    assert read_ledger(tmp_path).bottle("fixer") == bottle


@pytest.mark.parametrize(
    ("rules", "capacity"),
    [({}, None), ({"per_litre": 20.0}, 10.0), ({"discard_at": 4.0}, 4.0), ({"per_litre": 20.0, "discard_at": 12.0}, 10.0)],
)
def test_the_capacity_is_the_smallest_limit_that_was_entered(tmp_path: Path, rules: dict[str, Any], capacity: float | None) -> None:
    """Half a litre; none entered, none shown."""
    assert put(tmp_path, added(volume_ml=500.0, **rules)).bottle("fixer").capacity_units == capacity


def test_a_full_count_is_used_up_and_never_below_zero(tmp_path: Path) -> None:
    """What really went through is booked all the same; the last unit that it is good for is the last."""
    put(tmp_path, added("last", discard_at=2.0))
    assert used(tmp_path, "last", 1.9).state(TODAY)[0] == "good"
    assert used(tmp_path, "last", 0.1).state(TODAY)[0] == "used up"
    put(tmp_path, added(discard_at=2.0))
    bottle = used(tmp_path, "fixer", 3.5)
    assert (bottle.units, bottle.remaining_units, bottle.state(TODAY)[0]) == (3.5, 0.0, "used up")


def test_a_test_overrules_the_count_both_ways(tmp_path: Path) -> None:
    """Good after the count is over, until it is used again; dead long before."""
    put(tmp_path, added(discard_at=2.0))
    used(tmp_path, "fixer", 2.0)
    assert after_test(tmp_path, "fixer", 60.0, 40.0, "clearing").state(TODAY)[0] == "good"
    assert used(tmp_path, "fixer", 1.0).state(TODAY)[0] == "test first"
    assert after_test(tmp_path, "fixer", 80.0, 40.0, "clearing").state(TODAY)[0] == "dead"
    put(tmp_path, added("young", discard_at=20.0))
    assert after_test(tmp_path, "young", 40.0, 20.0, "leader").state(TODAY)[0] == "dead"


def test_the_time_grows_by_so_many_per_cent_for_each_unit(tmp_path: Path) -> None:
    """Ten per cent a film: the fourth film takes 1.3 times."""
    put(tmp_path, added(longer_percent=10.0))
    assert used(tmp_path, "fixer", 3.0).time_factor == pytest.approx(1.3)


def test_a_one_shot_bottle_is_struck_off_by_its_use(tmp_path: Path) -> None:
    """Nothing left, and a second use is refused."""
    put(tmp_path, added(volume_ml=600.0, one_shot=True))
    bottle = used(tmp_path, "fixer", 1.0)
    assert (bottle.volume_ml, bottle.state(TODAY)[0]) == (0.0, "used up")
    with pytest.raises(InputWrong, match="one-shot"):
        used(tmp_path, "fixer", 1.0)


def test_replenishment_takes_eight_times_seventy_from_the_replenisher_and_the_balance_is_right(tmp_path: Path) -> None:
    """8 units x 70 ml = 560 ml; 90 ml carried over with the films, so 470 ml are poured off."""
    put(tmp_path, added("replenisher", 5000.0), added("tank", 2000.0, replenish_ml=70.0, replenisher="replenisher"))
    tank = used(tmp_path, "tank", 8.0, 90.0)
    assert (tank.volume_ml, tank.added_ml, tank.taken_ml, tank.poured_off_ml) == (2000.0, 560.0, 90.0, 470.0)
    assert read_ledger(tmp_path).bottle("replenisher").volume_ml == 4440.0


def test_more_than_there_is_cannot_be_taken(tmp_path: Path) -> None:
    """Refused in one line with what there is; nothing is written."""
    put(tmp_path, added(volume_ml=100.0))
    before = ledger_file(tmp_path).read_bytes()
    with pytest.raises(InputWrong, match="at most 100 ml"):
        used(tmp_path, "fixer", taken_ml=101.0)
    put(tmp_path, added("tank", 500.0, replenish_ml=200.0, replenisher="fixer"))
    with pytest.raises(InputWrong, match='200 ml from "fixer"'):
        used(tmp_path, "tank", 1.0)
    assert ledger_file(tmp_path).read_bytes().startswith(before)
    assert read_ledger(tmp_path).bottle("fixer").volume_ml == 100.0


def test_undo_takes_back_the_last_entry_and_stands_in_the_file_itself(tmp_path: Path) -> None:
    """Again and again, down to the first; then there is nothing to undo."""
    put(tmp_path, added())
    used(tmp_path, "fixer", 1.0)
    used(tmp_path, "fixer", 2.0)
    assert undo(tmp_path).bottle("fixer").units == 1.0
    assert undo(tmp_path).bottle("fixer").units == 0.0
    assert used(tmp_path, "fixer", 4.0).units == 4.0
    assert undo(tmp_path).bottle("fixer").units == 0.0
    undo(tmp_path)
    assert not read_ledger(tmp_path).bottles
    with pytest.raises(InputWrong, match="nothing to undo"):
        undo(tmp_path)
    assert len(ledger_file(tmp_path).read_text(encoding="utf-8").splitlines()) == 8


def test_ages_count_full_from_mixing_and_part_full_from_opening(tmp_path: Path) -> None:
    """Six months full, one month part-full; the first litre taken out opens it."""
    bottle = put(tmp_path, added(mixed="2026-11-01", keeps_full="6 months", keeps_part="1 month")).bottle("fixer")
    assert bottle.keeps_until == dt.date(2027, 5, 1)
    bottle = used(tmp_path, "fixer", taken_ml=250.0)
    assert (bottle.opened, bottle.keeps_until) == ("2026-11-25", dt.date(2026, 12, 25))
    assert bottle.state(dt.date(2026, 12, 25))[0] == "good"
    assert bottle.state(dt.date(2026, 12, 26))[0] == "too old"


def test_a_name_is_free_again_after_discarding(tmp_path: Path) -> None:
    """Two standing bottles of one name are refused, whatever the capitals."""
    put(tmp_path, added())
    with pytest.raises(InputWrong, match="is in the ledger already"):
        put(tmp_path, added("FIXER"))
    put(tmp_path, {"entry": "discard", "bottle": 1, "name": "fixer"})
    ledger = put(tmp_path, added())
    assert (ledger.bottle("fixer").id, ledger.bottles[1].discarded_ml) == (3, 1000.0)


def test_a_damaged_last_line_costs_that_line_alone(tmp_path: Path) -> None:
    """All before it stands, the damage is told and kept aside, and the numbers go on."""
    put(tmp_path, added())
    used(tmp_path, "fixer", 1.0)
    with ledger_file(tmp_path).open("ab") as file:
        file.write(b'{"seq":3,"entry":"use","bot')
    ledger = read_ledger(tmp_path)
    assert ledger.bottle("fixer").units == 1.0
    assert ledger.damaged is not None
    assert used(tmp_path, "fixer", 1.0).units == 2.0
    assert read_ledger(tmp_path).damaged is None
    assert ledger_file(tmp_path).with_name("bottles.jsonl.damaged").read_bytes() == b'{"seq":3,"entry":"use","bot\n'


@pytest.mark.parametrize(
    "line",
    [
        '{"seq":3,"entry":"use"}',
        '{"seq":5,"entry":"undo","undoes":2}',
        '{"seq":3,"entry":"undo","undoes":1}',
        '{"seq":3,"entry":"pour"}',
        "{}",
    ],
)
def test_a_line_that_does_not_follow_is_refused_by_file_and_line(tmp_path: Path, line: str) -> None:
    """Somebody edited the file by hand."""
    put(tmp_path, added())
    used(tmp_path, "fixer", 1.0)
    with ledger_file(tmp_path).open("a", encoding="utf-8") as file:
        file.write(f"{line}\n")
    with pytest.raises(FileWrong) as refused:
        read_ledger(tmp_path)
    assert str(refused.value).startswith(f"{ledger_file(tmp_path)}:3: ")


SHELL = """
import datetime as dt, sys
from pathlib import Path
from monitor.prepare.bottles.ledger import use_entry, write_entries
now = dt.datetime(2026, 11, 25, tzinfo=dt.UTC)
for _ in range(40):
    write_entries(Path(sys.argv[1]), now, lambda ledger: [use_entry(ledger, ledger.bottle("fixer"), 0.5)])
"""


def test_two_shells_at_once_lose_nothing(tmp_path: Path) -> None:
    """Two processes book forty times half a unit each: forty units, eighty entries, numbered without a gap."""
    put(tmp_path, added())
    shells = [subprocess.Popen([sys.executable, "-c", SHELL, str(tmp_path)]) for _ in range(2)]
    assert [shell.wait(60) for shell in shells] == [0, 0]
    rows = [json.loads(line) for line in ledger_file(tmp_path).read_text(encoding="utf-8").splitlines()]
    assert [row["seq"] for row in rows] == list(range(1, 82))
    assert read_ledger(tmp_path).bottle("fixer").units == 40.0


STEPS = st.lists(
    st.tuples(st.floats(0, 20), st.floats(0, 400), st.floats(0, 900), st.sampled_from(["use", "use", "use", "discard"])), max_size=12
)


@settings(max_examples=80, deadline=None)
@given(STEPS)
def test_whatever_is_entered_the_millilitres_add_up_and_nothing_is_negative(steps: list[tuple[float, float, float, str]]) -> None:
    """filled + added = left + taken + poured off + discarded, to a thousandth of a millilitre."""
    bottles = fold({}, 1, {**added(discard_at=10.0), "day": "2026-11-25"})
    for seq, (units, taken_ml, added_ml, kind) in enumerate(steps, 2):
        entry = {"entry": kind, "bottle": 1, "units": units, "taken_ml": taken_ml, "added_ml": added_ml, "day": "2026-11-25"}
        try:
            bottles = fold(bottles, seq, entry)
        except NotAllowed:
            continue
        bottle = bottles[1]
        assert bottle.filled_ml + bottle.added_ml == pytest.approx(
            bottle.volume_ml + bottle.taken_ml + bottle.poured_off_ml + bottle.discarded_ml, abs=1e-3
        )
        assert 0 <= bottle.volume_ml <= bottle.filled_ml
        assert (bottle.remaining_units or 0.0) >= 0


def test_a_fixer_listens_to_its_own_clearing_tests(tmp_path: Path) -> None:
    """A count of three in twenty says good for long; a bath that clears in 1.8 times the fresh time bears one or two more films."""
    put(tmp_path, added(per_litre=20.0))
    used(tmp_path, "fixer", 3.0)
    tired = after_test(tmp_path, "fixer", 72.0, 40.0, "clearing")
    assert (tired.remaining_units, tired.units_left, tired.fix_least_s) == (17.0, 2.0, 144.0)
    assert tired.state(TODAY) == (
        "good", "cleared in 1:12 on 2026-11-25, 1.8 times fresh: near its end, one or two more films, then a fresh bath",
    )  # fmt: skip
    again = used(tmp_path, "fixer", 1.0)
    assert again.units_left == 1.0
    assert again.state(TODAY)[0] == "test first"
    well = after_test(tmp_path, "fixer", 64.0, 40.0, "clearing")
    assert well.units_left == 16.0
    assert well.state(TODAY)[1].endswith("well used, test it before each film")
    assert after_test(tmp_path, "fixer", 50.0, 40.0, "clearing").state(TODAY) == ("good", "16 of 20 units left")
    assert after_test(tmp_path, "fixer", 80.0, 40.0, "clearing").units_left == 0.0
