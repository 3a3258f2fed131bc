"""What a paired phone may write, kind by kind, and how: ticks, notes, the recipe for next time, and the ledger's everyday entries.

Each is handed to the function that the command line uses. What names something (recipe, item, session, bottle) is looked up in what is
there. Whoever changes the ledger says which entry is the next by what he saw: a form that is sent twice, or that another hand has
overtaken, books nothing. Tests: tests/page/test_desk.py.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.errors import EvenbathError, FileWrong, InputWrong, KeptWrong
from monitor.core.recipe.checklist import items_for
from monitor.core.text.quantities import format_number
from monitor.live.station.ended import session_names
from monitor.page import sentences
from monitor.page.bodies import Kind, OrNone, Text, Whole, YesNo
from monitor.page.lists import Lists
from monitor.page.writes import NotNow, Unusable, Write
from monitor.prepare.bottles.area import units_of
from monitor.prepare.bottles.booking import read_booking
from monitor.prepare.bottles.bottles import Bottle
from monitor.prepare.bottles.ledger import Entry, Ledger, booking_entries, discard_entry, undo_last, use_entry, write_entries
from monitor.prepare.logbook.chosen import choose
from monitor.prepare.logbook.notes import LONGEST, add_note
from monitor.prepare.logbook.ticks import tick

TICK, NOTE, CHOOSE = "/writes/tick", "/writes/note", "/writes/choose"
USE, BOOK, DISCARD, UNDO = "/writes/bottle/use", "/writes/bottle/book", "/writes/bottle/discard", "/writes/bottle/undo"
NAME = Text(125)
LONGEST_JOURNAL = 8 << 20
"""Bytes of a journal that are read in this process: four hours (own measurement). The command books longer ones."""
_SEEN: Mapping[str, Kind] = {"next_seq": Whole(1, 10**9)}
_BOTTLE: Mapping[str, Kind] = {"bottle": Whole(1, 10**9), **_SEEN}
Told = Mapping[str, Any]


class Desk:
    """`free`: whether no session is armed or runs; `awake`: whether the station says that something may be lit."""

    def __init__(
        self, state: Path, lists: Lists, wall: Callable[[], datetime], free: Callable[[], bool], awake: Callable[[], bool]
    ) -> None:
        self._state = state
        self._journals = state / "journals"
        self._lists = lists
        self._wall = wall
        self._free = free
        self._awake = awake

    def kinds(self) -> dict[str, Write]:
        """By path."""
        kinds = {
            TICK: Write({"recipe": NAME, "item": Text(40), "ticked": YesNo()}, self._tick),
            NOTE: Write({"text": Text(LONGEST), "session": OrNone(Text(40)), "key": Text(64, 16)}, self._note),
            CHOOSE: Write({"recipe": OrNone(NAME)}, self._choose),
            USE: Write({**_BOTTLE, "size": Text(40), "count": Whole(1, 100)}, self._use),
            BOOK: Write({"session": Text(40), **_SEEN}, self._book),
            DISCARD: Write(_BOTTLE, self._discard),
            UNDO: Write(_SEEN, self._undo),
        }
        return {path: Write(kind.declared, self._told(kind.do)) for path, kind in kinds.items()}

    def _told(self, do: Callable[[Told], str]) -> Callable[[Told], str]:
        """The same, which tells a phone of files by their names alone."""

        def done(told: Told) -> str:
            try:
                return do(told)
            except Unusable as wrong:
                raise Unusable(sentences.NOT_WRITTEN.format(why=self._lists.names_only(wrong.lines[0]))) from None
            except EvenbathError as wrong:
                raise InputWrong(*map(self._lists.names_only, wrong.lines)) from None

        return done

    def _must_be_free(self) -> None:
        if not self._free():
            raise NotNow

    def _must_be_awake(self) -> None:
        if not self._awake():
            raise NotNow

    def _tick(self, told: Told) -> str:
        self._must_be_free()
        recipe = self._lists.recipe_in(told["recipe"])
        if recipe is None or told["item"] not in {item.id for item in items_for(recipe) if item.asked_of == "person"}:
            raise InputWrong(sentences.NO_SUCH_ITEM)
        armed = self._lists.newest_armed()
        with _usable():
            tick(self._state, self._wall(), told["recipe"], told["item"], told["ticked"], armed, self._must_be_free)
        return sentences.TICKED if told["ticked"] else sentences.UNTICKED

    def _note(self, told: Told) -> str:
        self._must_be_awake()
        if told["session"] is not None and told["session"] not in self._sessions():
            raise InputWrong(sentences.NO_SUCH_SESSION)
        with _usable():
            add_note(self._state, self._wall(), told["text"], told["session"], told["key"], self._must_be_awake)
        return sentences.NOTED

    def _choose(self, told: Told) -> str:
        self._must_be_free()
        if told["recipe"] is not None and told["recipe"] not in self._lists.recipe_files():
            raise InputWrong(sentences.NO_SUCH_RECIPE)
        with _usable():
            choose(self._state, self._wall(), told["recipe"], self._must_be_free)
        return sentences.CHOSEN.format(name=told["recipe"].removesuffix(".toml")) if told["recipe"] else sentences.CHOSEN_NONE

    def _use(self, told: Told) -> str:
        units = units_of(told["size"], told["count"])
        bottle = self._booked(told, lambda ledger: [use_entry(ledger, _of(ledger, told["bottle"]), units)])[0]
        return sentences.USED.format(units=format_number(units, 2), name=bottle["name"])

    def _book(self, told: Told) -> str:
        self._must_be_free()
        path = self._journals / f"{told['session']}.jsonl"
        if told["session"] not in self._sessions() or path.is_symlink() or path.stat().st_size > LONGEST_JOURNAL:
            raise InputWrong(sentences.NO_SUCH_SESSION)
        booking = read_booking(path)
        entries = self._booked(told, lambda ledger: booking_entries(ledger, booking, None, None))
        return sentences.BOOKED.format(session=told["session"], names=", ".join(str(entry["name"]) for entry in entries))

    def _discard(self, told: Told) -> str:
        entry = self._booked(told, lambda ledger: [discard_entry(_of(ledger, told["bottle"]))])[0]
        return sentences.DISCARDED.format(name=entry["name"])

    def _undo(self, told: Told) -> str:
        self._booked(told, undo_last)
        return sentences.UNDONE

    def _booked(self, told: Told, make: Callable[[Ledger], list[Entry]]) -> tuple[Entry, ...]:
        """Written as the command writes it, if nobody has written since the form was made."""
        self._must_be_free()

        def checked(ledger: Ledger) -> list[Entry]:
            if ledger.next_seq != told["next_seq"]:
                raise InputWrong(sentences.LEDGER_CHANGED)
            entries = make(ledger)
            self._must_be_free()
            return entries

        with _usable():
            return write_entries(self._state, self._wall(), checked)[1]

    def _sessions(self) -> list[str]:
        try:
            return session_names(self._journals)
        except OSError:
            return []


@contextlib.contextmanager
def _usable() -> Iterator[None]:
    """Around a write: what is wrong with the file itself is not what was posted."""
    try:
        yield
    except (FileWrong, KeptWrong) as wrong:
        raise Unusable(wrong.lines[0]) from None


def _of(ledger: Ledger, number: int) -> Bottle:
    bottle = ledger.bottles.get(number)
    if bottle is None or bottle.discarded is not None:
        raise InputWrong(sentences.NO_SUCH_BOTTLE)
    return bottle
