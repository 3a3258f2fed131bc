"""What a paired phone may write, by the very functions of the commands, and that it writes nothing while a session is armed or runs."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from monitor.cli.main import main
from monitor.core.errors import InputWrong
from monitor.page import desk as desk_module
from monitor.page import pairing as pairing_module
from monitor.page import sentences
from monitor.page.board import Board
from monitor.page.desk import BOOK, CHOOSE, DISCARD, NOTE, TICK, UNDO, USE, Desk
from monitor.page.lists import Lists, Reader
from monitor.page.made import Made
from monitor.page.pairing import Pairing
from monitor.page.writes import Answer, Writes
from monitor.prepare.bottles.ledger import read_ledger
from monitor.prepare.logbook.chosen import chosen
from monitor.prepare.logbook.notes import read_notes
from monitor.prepare.logbook.ticks import ticked
from tests.fake_clock import FakeClock
from tests.page.served import DEMO
from tests.page.test_journals import put

WRITER = Reader(True, True, True)
KEY = "k" * 32


class NoMaker:
    """Makes nothing."""

    def make(self, key: object, words: object, writes: object = None, columns: object = None) -> Made:
        """An empty list."""
        return Made(True, "")


class Phone:
    """A paired phone, the state folder it writes in, and what the station says."""

    def __init__(self, folder: Path) -> None:
        self.state = folder / "state"
        (self.state / "journals").mkdir(parents=True)
        for name in ("roll", "two-tanks", "short-roll"):
            shutil.copy(DEMO / f"{name}.toml", folder / f"{name}.toml")
        self.clock = FakeClock(wall=datetime(2026, 11, 26, 19, 0, tzinfo=UTC))
        self.lists = Lists(folder / "station.toml", self.state, NoMaker(), self.clock.wall)  # type: ignore[arg-type]
        self.free: Callable[[], bool] = lambda: True
        self.awake: Callable[[], bool] = lambda: True
        desk = Desk(self.state, self.lists, self.clock.wall, lambda: self.free(), lambda: self.awake())
        self.pairing = Pairing(self.state, self.clock)
        self.writes = Writes(self.pairing, desk.kinds())
        self.token = self.pairing.trade(self.pairing.new_code())
        self.pairing.device(self.token)  # the first time is written down

    def post(self, path: str, **told: Any) -> Answer:
        """What comes back."""
        return self.writes.take(path, self.token, json.dumps(told).encode())

    def add(self, name: str, *more: str) -> int:
        """A bottle, by the command; its number."""
        assert main(["bottle", "add", name, "--volume", "1 l", "--state", str(self.state), *more]) == 0
        return read_ledger(self.state).bottle(name).id

    @property
    def next_seq(self) -> int:
        """Of the ledger."""
        return read_ledger(self.state).next_seq


@pytest.fixture
def phone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Phone]:
    """With the quick hash."""
    monkeypatch.setattr(pairing_module, "ROUNDS", 1)
    return Phone(tmp_path)  # type: ignore[return-value]


def test_a_tick_is_kept_and_taken_back(phone: Phone) -> None:
    """Of a recipe and an item that there are, and that a person answers."""
    assert phone.post(TICK, recipe="roll.toml", item="jugs", ticked=True) == Answer(200, "Ticked.")
    assert ticked(phone.state, "roll.toml", phone.clock.wall(), None) == {"jugs"}
    leaf = phone.lists.checklist("roll.toml", WRITER)
    assert leaf is not None
    assert 'data-tick="jugs" checked>' in leaf.body
    assert phone.post(TICK, recipe="roll.toml", item="jugs", ticked=False).words == "Tick taken back."
    assert ticked(phone.state, "roll.toml", phone.clock.wall(), None) == frozenset()
    wrong = (("none.toml", "jugs"), ("roll.toml", "none"), ("two-tanks.toml", "jugs"), ("../roll.toml", "jugs"), ("roll.toml", "probes"))
    for recipe, item in wrong:
        assert phone.post(TICK, recipe=recipe, item=item, ticked=True) == Answer(400, sentences.NO_SUCH_ITEM)


def test_the_next_session_begins_with_an_empty_checklist(phone: Phone) -> None:
    """Whatever was ticked before it was armed."""
    phone.clock._wall = datetime(2026, 11, 6, 19, 0, tzinfo=UTC)
    phone.post(TICK, recipe="roll.toml", item="jugs", ticked=True)
    put(phone.state / "journals", "01-cold-laundry", closed=True)
    phone.clock._wall = datetime(2026, 11, 6, 20, 0, tzinfo=UTC)
    assert phone.lists.newest_armed() is not None
    leaf = phone.lists.checklist("roll.toml", WRITER)
    assert leaf is not None
    assert " checked>" not in leaf.body


def test_a_note_is_kept_once_and_may_name_a_session(phone: Phone) -> None:
    """One that is there; sent twice, it stands once."""
    session = put(phone.state / "journals", "01-cold-laundry", closed=True) or "261106-1910a"
    for _ in range(2):
        assert phone.post(NOTE, text="thin", session=session, key=KEY) == Answer(200, "The note is kept.")
    assert [(note.text, note.session) for note in read_notes(phone.state)] == [("thin", session)]
    for other in ("261106-9999z", "../x", "261106-1910a.jsonl"):
        assert phone.post(NOTE, text="x", session=other, key=KEY) == Answer(400, sentences.NO_SUCH_SESSION)


def test_in_a_lidded_session_a_note_is_kept_and_nothing_else(phone: Phone) -> None:
    """It stands in the logbook, not in the journal, which it leaves byte for byte."""
    put(phone.state / "journals", "01-cold-laundry", closed=False)
    journal = phone.state / "journals" / "261106-1910a.jsonl"
    before = journal.read_bytes()
    phone.free = lambda: False
    assert phone.post(NOTE, text="the tap drips", session="261106-1910a", key=KEY).status == 200
    assert phone.post(CHOOSE, recipe="roll.toml").status == 409
    assert journal.read_bytes() == before


def test_a_recipe_is_chosen_for_next_time_and_given_up(phone: Phone) -> None:
    """One that is listed."""
    assert phone.post(CHOOSE, recipe="roll.toml").words == "roll is chosen for next time."
    assert chosen(phone.state) == "roll.toml"
    assert "take that back" in phone.lists.recipes(WRITER).body
    assert phone.post(CHOOSE, recipe="station.toml") == Answer(400, sentences.NO_SUCH_RECIPE)
    assert phone.post(CHOOSE, recipe=None).status == 200
    assert chosen(phone.state) is None


def test_film_goes_through_a_bottle_as_the_command_books_it(phone: Phone, tmp_path: Path) -> None:
    """The same entries, moment and number apart."""
    other = tmp_path / "other"
    number = phone.add("Fix", "--role", "fix", "--per-litre", "10")
    assert main(["bottle", "add", "Fix", "--volume", "1 l", "--role", "fix", "--per-litre", "10", "--state", str(other)]) == 0
    said = phone.post(USE, bottle=number, size="4x5", count=6, next_seq=phone.next_seq)
    assert said == Answer(200, "Booked: 1.5 units through Fix.")
    assert main(["bottle", "use", "Fix", "--sheets", "4x5", "--count", "6", "--state", str(other)]) == 0
    mine, theirs = ({k: v for k, v in read_ledger(state).entries[-1].items() if k not in ("at", "day")} for state in (phone.state, other))
    assert mine == theirs


def test_a_bottle_that_is_not_there_is_refused_and_so_is_a_size_that_is_none(phone: Phone) -> None:
    """In the ledger's own line."""
    number = phone.add("Fix")
    assert phone.post(USE, bottle=number + 7, size="36", count=1, next_seq=phone.next_seq) == Answer(400, sentences.NO_SUCH_BOTTLE)
    assert "is not a known film size; allowed:" in phone.post(USE, bottle=number, size="99", count=1, next_seq=phone.next_seq).words
    assert phone.post(DISCARD, bottle=number, next_seq=phone.next_seq).words == "Booked: Fix was thrown away."
    assert phone.post(USE, bottle=number, size="36", count=1, next_seq=phone.next_seq) == Answer(400, sentences.NO_SUCH_BOTTLE)


def test_a_session_is_booked_once(phone: Phone) -> None:
    """Every bottle named like one of its solutions; the second time the ledger's own line says so."""
    put(phone.state / "journals", "01-cold-laundry", closed=True)
    for name in ("stop bath", "fixer"):
        phone.add(name)
    said = phone.post(BOOK, session="261106-1910a", next_seq=phone.next_seq)
    assert said == Answer(200, "Booked: session 261106-1910a, stop bath, fixer.")
    assert [read_ledger(phone.state).bottle(name).units for name in ("stop bath", "fixer")] == [1.0, 1.0]
    again = phone.post(BOOK, session="261106-1910a", next_seq=phone.next_seq)
    assert (again.status, "booked already" in again.words) == (400, True)
    assert phone.post(BOOK, session="../../etc/passwd", next_seq=phone.next_seq) == Answer(400, sentences.NO_SUCH_SESSION)


def test_the_last_entry_is_taken_back(phone: Phone) -> None:
    """The one that was seen, and no other."""
    number, seen = phone.add("Fix"), phone.next_seq
    phone.add("Stop")
    assert phone.post(UNDO, next_seq=seen) == Answer(400, sentences.LEDGER_CHANGED)
    assert phone.post(UNDO, next_seq=phone.next_seq).status == 200
    assert list(read_ledger(phone.state).bottles) == [number]


def test_a_form_that_is_sent_twice_books_once(phone: Phone) -> None:
    """Nor does one that a shell has overtaken."""
    number = phone.add("Fix")
    told = {"bottle": number, "size": "36", "count": 1, "next_seq": phone.next_seq}
    assert phone.post(USE, **told).status == 200
    assert phone.post(USE, **told) == Answer(400, sentences.LEDGER_CHANGED)
    seen = phone.next_seq
    assert main(["bottle", "use", "Fix", "--units", "1", "--state", str(phone.state)]) == 0
    assert phone.post(USE, **{**told, "next_seq": seen}) == Answer(400, sentences.LEDGER_CHANGED)
    assert read_ledger(phone.state).bottle("Fix").units == 2.0


def test_two_writers_at_once_leave_a_whole_ledger(phone: Phone) -> None:
    """A shell and two phones: of the same form one wins, and every entry that was answered with yes is there."""
    number = phone.add("Fix")
    seen = phone.next_seq

    def posted(_: int) -> bool:
        return phone.post(USE, bottle=number, size="36", count=1, next_seq=seen).status == 200

    def shell(_: int) -> bool:
        return main(["bottle", "use", "Fix", "--units", "1", "--state", str(phone.state)]) == 0

    with ThreadPoolExecutor(4) as pool:
        answers = [pool.submit(posted, 0), pool.submit(shell, 0), pool.submit(posted, 1), pool.submit(shell, 1)]
        yes = sum(answer.result() for answer in answers)
    assert read_ledger(phone.state).bottle("Fix").units == yes
    assert 2 <= yes <= 3


def _all(phone: Phone) -> dict[str, dict[str, Any]]:
    number = phone.add("fixer")
    put(phone.state / "journals", "01-cold-laundry", closed=True)
    seen = {"next_seq": phone.next_seq}
    return {
        TICK: {"recipe": "roll.toml", "item": "jugs", "ticked": True},
        NOTE: {"text": "x", "session": None, "key": KEY},
        CHOOSE: {"recipe": "roll.toml"},
        USE: {"bottle": number, "size": "36", "count": 1, **seen},
        BOOK: {"session": "261106-1910a", **seen},
        DISCARD: {"bottle": number, **seen},
        UNDO: seen,
    }


def _files(folder: Path) -> dict[str, bytes]:
    found = (path for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))
    return {str(path): path.read_bytes() for path in found if path.stat().st_size}


def test_while_a_session_is_armed_or_runs_nothing_is_written(phone: Phone) -> None:
    """Not one byte, of any kind; and a note is not where the station says nothing or says dark."""
    told = _all(phone)
    before = _files(phone.state)
    phone.free = lambda: False
    for path, fields in told.items():
        if path != NOTE:
            assert phone.post(path, **fields) == Answer(409, sentences.NOT_NOW), path
    phone.awake = lambda: False
    assert phone.post(NOTE, **told[NOTE]) == Answer(409, sentences.NOT_NOW)
    assert _files(phone.state) == before


@pytest.mark.parametrize("path", [TICK, NOTE, CHOOSE, USE, BOOK, DISCARD, UNDO])
def test_what_is_armed_between_the_form_and_the_lock_stops_the_write(phone: Phone, path: str) -> None:
    """It is asked again with the file in hand, last of all."""
    told = _all(phone)
    before = _files(phone.state)
    answers = iter([True, False])
    phone.free = phone.awake = lambda: next(answers)
    said = phone.post(path, **told[path])
    assert said == Answer(409, sentences.NOT_NOW)
    assert _files(phone.state) == before


def test_an_unpaired_phone_writes_nothing_of_any_kind(phone: Phone) -> None:
    """Nor does one that was revoked a moment ago."""
    told = _all(phone)
    before = _files(phone.state / "ledger")
    phone.pairing.revoke(None)
    for path, fields in told.items():
        assert phone.post(path, **fields) == Answer(401, sentences.NOT_PAIRED)
    assert _files(phone.state / "ledger") == before
    assert not (phone.state / "logbook").exists()


def test_a_damaged_file_is_told_in_its_own_line(phone: Phone) -> None:
    """As the command tells it."""
    number, seen = phone.add("Fix"), phone.next_seq
    (phone.state / "ledger" / "bottles.jsonl").write_text('{"seq": 7}\n{"seq": 8}\n')
    said = phone.post(USE, bottle=number, size="36", count=1, next_seq=seen)
    assert said.status == 503
    assert said.words.startswith("Nothing was written: bottles.jsonl:1: ")


def _spoil(path: Path, how: str) -> None:
    """What an attacker or a broken disk leaves in place of a file that is only appended to."""
    foreign = path.parents[1] / "foreign"
    foreign.write_text("a letter\nwithout an end")
    path.parent.mkdir(exist_ok=True)
    path.unlink(missing_ok=True)
    if how == "link":
        path.symlink_to(foreign)
    elif how == "dangling link":
        path.symlink_to(path.parents[1] / "none")
    elif how == "FIFO":
        os.mkfifo(path)
    elif how == "folder":
        path.mkdir()
    else:
        path.write_text(how)


SPOILT = [
    "link", "dangling link", "FIFO", "folder", '{"at": "yesterday"}\n{}\n', "rubbish\n{}\n", '{"x": 1}\n',
    '{"at":"2026-11-26T19:00:00+00:00","text":"\\ud800","session":null}\n', '{"at":"0001-01-01T00:00:00+14:00","text":"x"}\n',
]  # fmt: skip


@pytest.mark.parametrize("how", SPOILT)
def test_a_book_that_cannot_be_read_is_not_added_to_and_is_told_of_in_a_sentence(phone: Phone, how: str) -> None:
    """Of notes: nothing is called kept that could not be read back, nothing is altered, the page and the refusal name the file alone."""
    path = phone.state / "logbook" / "notes.jsonl"
    _spoil(path, how)
    before = _files(phone.state)
    said = phone.post(NOTE, text="x", session=None, key=KEY)
    assert said.status == 503
    assert said.words.startswith("Nothing was written: notes.jsonl:")
    assert _files(phone.state) == before
    assert not (phone.state / "none").exists()
    leaf = phone.lists.notes(WRITER)
    assert leaf.status == 503
    assert "This list cannot be read. notes.jsonl:" in leaf.body
    assert str(phone.state) not in leaf.body + said.words


@pytest.mark.parametrize("how", ["link", "dangling link", "FIFO", "folder", "rubbish\n{}\n"])
def test_no_write_tells_a_phone_where_the_state_folder_is(phone: Phone, how: str) -> None:
    """Every kind, onto files that are spoilt; and nothing foreign is altered by any."""
    told = _all(phone)
    for name in ("logbook/notes.jsonl", "logbook/ticks.jsonl", "logbook/chosen.jsonl", "ledger/bottles.jsonl"):
        _spoil(phone.state / name, how)
    (phone.state / "journals" / "261106-1910a.jsonl").write_text("{}\n")
    before = _files(phone.state)
    for path, fields in told.items():
        said = phone.post(path, **fields)
        assert said.status in (400, 503), path
        assert str(phone.state) not in said.words
        assert "/" not in said.words.replace(sentences.NO_SUCH_SESSION, ""), path
    for body in (b"", b"[]", b'{"x": 1}'):
        assert str(phone.state) not in "".join(phone.writes.take(path, phone.token, body).words for path in told)
    assert _files(phone.state) == before


def test_a_logbook_that_is_a_link_is_not_followed(phone: Phone, tmp_path: Path) -> None:
    """Nothing is made where it leads."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (phone.state / "logbook").symlink_to(elsewhere)
    for path, fields in ((NOTE, {"text": "x", "session": None, "key": KEY}), (CHOOSE, {"recipe": "roll.toml"})):
        assert phone.post(path, **fields) == Answer(
            503, "Nothing was written: logbook: a symbolic link, which is not followed; " + ("allowed: a state folder of your own")
        )
    assert list(elsewhere.iterdir()) == []


def test_a_journal_that_cannot_be_booked_is_called_by_its_name(phone: Phone) -> None:
    """Without the folder that it lies in."""
    told = _all(phone)[BOOK]
    journal = phone.state / "journals" / "261106-1910a.jsonl"
    journal.write_text(journal.read_text().split("\n")[0] + "\n")
    said = phone.post(BOOK, **told)
    assert said.status == 400
    assert said.words.startswith("261106-1910a.jsonl: no stage ")


def test_no_function_but_the_ledgers_own_writes_it(phone: Phone, monkeypatch: pytest.MonkeyPatch) -> None:
    """There is no second writer: where the ledger's is gone, nothing is booked."""
    number, seen = phone.add("Fix"), phone.next_seq
    monkeypatch.setattr("monitor.page.desk.write_entries", lambda *_: (_ for _ in ()).throw(InputWrong("gone")))
    assert phone.post(USE, bottle=number, size="36", count=1, next_seq=seen) == Answer(400, "gone")
    assert phone.next_seq == seen


def test_no_code_of_the_page_can_ask_the_station_for_anything() -> None:
    """Nothing in it knows the socket that takes verbs, nor a verb; one place starts child processes; what may be written is this."""
    sources = {path.name: path.read_text(encoding="utf-8") for path in Path(desk_module.__file__).parent.rglob("*.py")}
    assert len(sources) > 20
    for word in ("station.control", "StationLink", '"verb":', "control.sock", "hardware", "os.system", "eval(", "exec("):
        assert not [name for name, text in sources.items() if word in text], word
    assert [name for name, text in sources.items() if "subprocess.Popen" in text] == ["made.py"]
    assert set(Desk(Path(), None, None, None, None).kinds()) == {TICK, NOTE, CHOOSE, USE, BOOK, DISCARD, UNDO}  # type: ignore[arg-type]


# -- how it is known that no session runs -------------------------------------------------------------------------------


WORD: dict[str, Any] = {"station": "laundry", "light": True, "films": [], "probes": []}


def _board(folder: Path, word: dict[str, Any] | None) -> Board:
    (folder / "journals").mkdir(exist_ok=True)
    board = Board(folder / "journals", 15.0, lambda: datetime(2026, 11, 26, tzinfo=UTC))
    if word is not None:
        board.word(word, 100.0)
    return board


def test_the_stations_own_fresh_word_makes_it_free(tmp_path: Path) -> None:
    """For three seconds; one that is silent or was never heard does not."""
    board = _board(tmp_path, WORD)
    assert (board.free(103.0), board.awake(103.0)) == (True, True)
    assert (board.free(103.1), board.awake(103.1)) == (False, False)
    nobody = _board(tmp_path, None)
    assert (nobody.free(0.0), nobody.awake(0.0)) == (False, False)


def test_a_dark_word_and_one_that_says_nothing_of_films_make_nothing_free(tmp_path: Path) -> None:
    """What is not said is not so."""
    dark = _board(tmp_path, {"station": "laundry", "light": False})
    assert (dark.free(100.0), dark.awake(100.0)) == (False, False)
    assert not _board(tmp_path, {"station": "laundry", "light": True}).free(100.0)
    assert not _board(tmp_path, {**WORD, "light": "yes"}).free(100.0)
    assert not _board(tmp_path, {**WORD, "to_come": [{"vessel": "left"}]}).free(100.0)


def test_a_session_is_known_by_its_journal_before_the_next_word(tmp_path: Path) -> None:
    """Which is there from the arming on; and a lidded one leaves the station awake."""
    board = _board(tmp_path, WORD)
    put(tmp_path / "journals", "01-cold-laundry", closed=False)
    assert (board.free(100.0), board.awake(100.0)) == (False, True)
