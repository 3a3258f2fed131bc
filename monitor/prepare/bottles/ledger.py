"""The ledger of bottles in STATE/ledger/bottles.jsonl: entries are only ever appended; an undo is an entry too.

Whatever two shells write at once is kept, in one order (each writer holds the lock from reading to writing). No entry is
written that would make a volume or an area negative. A session is booked once per bottle, never from a rehearsal, and only
if the person says so. What the entries make of a bottle is decided in monitor.prepare.bottles.bottles.
Tests: tests/prepare/bottles/test_ledger.py.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.prepare.bottles.bottles import Bottle, NotAllowed, fold, standing
from monitor.prepare.state.kept_lines import Row, read_lines, writing

FOLDER, FILE = "ledger", "bottles.jsonl"
Entry = dict[str, Any]
_ALLOWED = "allowed: entries as evenbath bottle writes them, each following from those before it"


@dataclass(frozen=True, slots=True)
class Ledger:
    """All bottles by id, the entries that count, in order, and a sentence about a damaged last line if there is one."""

    bottles: Mapping[int, Bottle]
    entries: tuple[Mapping[str, Any], ...]
    damaged: str | None
    next_seq: int = 1

    def bottle(self, name: str) -> Bottle:
        """The bottle with this name that has not been discarded. Raises `InputWrong`, naming those there are."""
        found = standing(self.bottles, name)
        if found is None:
            names = [f'"{b.name}"' for b in self.bottles.values() if b.discarded is None]
            those = ", ".join(names) or "add one first (evenbath bottle add)"
            raise InputWrong(f'there is no bottle "{name}" in the ledger; allowed: {those}')
        return found


def ledger_file(state: Path) -> Path:
    """The ledger's file in a state folder."""
    return state / FOLDER / FILE


def read_ledger(state: Path) -> Ledger:
    """The ledger of a state folder; empty if there is none. Raises `FileWrong` for lines that do not fit."""
    path = ledger_file(state)
    kept = read_lines(path)
    return _ledger(path, kept.rows, kept.damaged)


Making = Callable[[Ledger], Sequence[Entry]]
"""Makes new entries, without seq and time, from the ledger read under the lock. May raise `InputWrong`."""


def write_entries(state: Path, now: dt.datetime, make: Making) -> tuple[Ledger, tuple[Entry, ...]]:
    """Append what `make` returns; returns the ledger afterwards and the entries as written. `now` (aware) is their time stamp.

    Raises `InputWrong` if an entry is not allowed; nothing is written then.
    """
    path = ledger_file(state)
    with writing(path) as file:
        before = _ledger(path, file.kept.rows, file.kept.damaged)
        at = now.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        day = now.astimezone().date().isoformat()
        entries = tuple({"seq": before.next_seq + i, "at": at, "day": day, **entry} for i, entry in enumerate(make(before)))
        after = before
        for entry in entries:
            try:
                after = _followed(after, entry)
            except NotAllowed as wrong:
                raise InputWrong(str(wrong)) from None
        file.append(*entries)
    return after, entries


def undo_last(ledger: Ledger) -> list[Entry]:
    """The entry that takes back the last one that still counts. Raises `InputWrong` if there is none."""
    if not ledger.entries:
        raise InputWrong("nothing to undo; allowed: after an entry that was not undone")
    last = ledger.entries[-1]
    return [{"entry": "undo", "undoes": last["seq"]}]


def _ledger(path: Path, rows: Sequence[Row], damaged: str | None) -> Ledger:
    """Apply the file's rows; the first one that does not fit is reported with its line."""
    undone = _undone(path, rows)
    ledger = Ledger({}, (), damaged)
    for row in rows:
        try:
            if row.data["seq"] != ledger.next_seq:
                raise NotAllowed(f"seq {row.data['seq']!r} instead of {ledger.next_seq}")
            if row.data["entry"] == "undo" or row.data["seq"] in undone:
                ledger = Ledger(ledger.bottles, ledger.entries, damaged, ledger.next_seq + 1)
            else:
                ledger = _followed(ledger, row.data)
        except (NotAllowed, KeyError, TypeError, ValueError) as wrong:
            raise _line_wrong(path, row.line, wrong) from None
    return ledger


def _undone(path: Path, rows: Sequence[Row]) -> frozenset[int]:
    """The numbers of all entries that were undone; each must have been the last one that counted when the undo was written."""
    counting: list[int] = []
    undone: set[int] = set()
    for row in rows:
        try:
            if row.data["entry"] != "undo":
                counting.append(int(row.data["seq"]))
                continue
            if not counting or counting[-1] != row.data["undoes"]:
                raise NotAllowed("an undo of an entry that was not the last")
            undone.add(counting.pop())
        except (NotAllowed, KeyError, TypeError, ValueError) as wrong:
            raise _line_wrong(path, row.line, wrong) from None
    return frozenset(undone)


def _line_wrong(path: Path, line: int, wrong: Exception) -> FileWrong:
    what = f"no {wrong}" if isinstance(wrong, KeyError) else str(wrong).partition("; allowed")[0]
    return FileWrong([Problem(str(path), line, what[:200], _ALLOWED)])


def _followed(ledger: Ledger, entry: Mapping[str, Any]) -> Ledger:
    """The ledger after one more entry. Raises `NotAllowed` and what a malformed entry raises."""
    if entry["entry"] == "undo":
        return _without_last(ledger)
    bottles = fold(ledger.bottles, entry["seq"], entry)
    return Ledger(bottles, (*ledger.entries, entry), ledger.damaged, ledger.next_seq + 1)


def _without_last(ledger: Ledger) -> Ledger:
    bottles: Mapping[int, Bottle] = {}
    for entry in ledger.entries[:-1]:
        bottles = fold(bottles, entry["seq"], entry)
    return Ledger(bottles, ledger.entries[:-1], ledger.damaged, ledger.next_seq + 1)


def use_entry(ledger: Ledger, bottle: Bottle, units: float, taken_ml: float = 0.0, added_ml: float | None = None, **more: Any) -> Entry:
    """A use of one bottle: `units` of film through it, `taken_ml` out of it (carried over or drawn off).

    It is replenished by its rule, unless `added_ml` gives the amount. If the rule names a bottle of replenisher,
    that is where it comes from.
    """
    by_rule_ml = units * (bottle.rules.replenish_ml or 0.0)
    entry: Entry = {
        "entry": "use", "bottle": bottle.id, "name": bottle.name, "units": units, "taken_ml": taken_ml,
        "added_ml": by_rule_ml if added_ml is None else added_ml,
    }  # fmt: skip
    if bottle.rules.replenisher is not None and entry["added_ml"] > 0:
        entry["from_bottle"] = ledger.bottle(bottle.rules.replenisher).id
    return entry | more


def discard_entry(bottle: Bottle) -> Entry:
    """The entry that says that this bottle was thrown away."""
    return {"entry": "discard", "bottle": bottle.id, "name": bottle.name}


@dataclass(frozen=True, slots=True)
class Solution:
    """A solution that a session used. `diluted`: made from stock, of which it took `stock_ml` (None if the recipe does not say)."""

    name: str
    diluted: bool
    stock_ml: float | None


@dataclass(frozen=True, slots=True)
class Booking:
    """What a session's journal says about its solutions: the session, its units of film, and every solution that was begun."""

    session: str
    units: float | None
    solutions: tuple[Solution, ...]


def booking_entries(ledger: Ledger, booking: Booking, name: str | None, units: float | None) -> list[Entry]:
    """The uses to book for a session: of one bottle by name, or of every bottle named like one of its solutions. Raises `InputWrong`.

    `units` overrides the recipe's area. A bottle of stock that the session diluted from gives millilitres, no units.
    """
    through = booking.units if units is None else units
    if name is None:
        found = [standing(ledger.bottles, solution.name) for solution in booking.solutions]
        bottles = [bottle for bottle in found if bottle is not None]
    else:
        bottles = [ledger.bottle(name)]
    known = ", ".join(f'"{solution.name}"' for solution in booking.solutions)
    if not bottles or any(_solution(booking, bottle) is None for bottle in bottles):
        which = f'"{name}" is' if name is not None else "none of them is"
        raise InputWrong(f"session {booking.session} used the solutions {known}; {which} the name of a bottle; allowed: such a name")
    if name is None:
        bottles = [bottle for bottle in bottles if booking.session not in bottle.sessions]
        if not bottles:
            raise InputWrong(f"session {booking.session} is booked already; allowed: once, or undo first")
    return [_booked(ledger, booking, bottle, through) for bottle in bottles]


def _solution(booking: Booking, bottle: Bottle) -> Solution | None:
    return next((s for s in booking.solutions if s.name.casefold() == bottle.name.casefold()), None)


def _booked(ledger: Ledger, booking: Booking, bottle: Bottle, units: float | None) -> Entry:
    solution = _solution(booking, bottle)
    if solution is not None and solution.diluted and bottle.dilution == "stock":
        if solution.stock_ml is None:
            said = f'session {booking.session} does not say how much of "{bottle.name}" was mixed'
            raise InputWrong(f'{said}; allowed: bottle use "{bottle.name}" --take, with its volume')
        return use_entry(ledger, bottle, 0.0, solution.stock_ml, 0.0, session=booking.session)
    if units is None:
        said = f"session {booking.session}: its recipe has no [contents] area_units"
        raise InputWrong(f"{said}; allowed: --units, in units of 80 sq in")
    return use_entry(ledger, bottle, units, session=booking.session)
