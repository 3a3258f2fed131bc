"""The archive of negatives in STATE/archive/negatives.jsonl, beside the journals and never in them; only ever appended to.

Decides what an entry is, what the entries make of a negative, and which words are let in: one line without control characters, and no
sign at its beginning that a spreadsheet would take for a formula. An undo is an entry too. Facts of a session (day, developer, what was
done) are copied when it is added, so they stay when the journal is gone. Tests: tests/prepare/archive/test_negatives.py.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from monitor.core.errors import FileWrong, InputWrong, Problem
from monitor.core.text.controls import FORMULA_SIGNS
from monitor.core.text.quantities import shown
from monitor.prepare.archive.exposure import ReciprocityTable, exposure_words, table_of
from monitor.prepare.days import read_day
from monitor.prepare.state.kept_lines import Row, read_lines, writing

FOLDER, FILE = "archive", "negatives.jsonl"
LONGEST_WORDS = 120
FASTEST_INDEX = 102400
_ALLOWED = "allowed: entries as evenbath archive writes them, each following from those before it"
_YEARLY = re.compile(r"\d{4}-\d{1,14}", re.ASCII)
_NUMBER = re.compile(r"[0-9A-Za-z][0-9A-Za-z./-]{0,19}", re.ASCII)
_FRAME = re.compile(r"[0-9A-Za-z]{1,6}", re.ASCII)
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?", re.ASCII)
Entry = dict[str, Any]


@dataclass(frozen=True, slots=True)
class FrameNote:
    """One note: on a frame or sheet, or on the whole film (`frame` None). Times in seconds; None: not noted."""

    frame: str | None
    index: float | None = None
    aperture: str | None = None
    filter: str | None = None
    filter_factor: float | None = None
    bellows_factor: float | None = None
    metered_s: float | None = None
    exposed_s: float | None = None
    words: str | None = None

    def line(self) -> str:
        """In words, the frame first."""
        filtered = None if self.filter is None and self.filter_factor is None else f"filter {self.filter or f'{self.filter_factor:g}x'}"
        parts = [
            None if self.index is None else f"index {self.index:g}",
            None if self.exposed_s is None else exposure_words(self.exposed_s),
            self.aperture,
            filtered,
            None if self.bellows_factor is None else f"bellows {self.bellows_factor:.2g}x",
            self.words,
        ]
        return f"{self.frame or 'all'}: {', '.join(p for p in parts if p)}"


@dataclass(frozen=True, slots=True)
class Negative:
    """One film. `number`: as it stands on the sleeve; `day`: ISO; `film`, `developer`, `developed`: words; `session`: its journal's id."""

    number: str
    day: str
    film: str
    developer: str | None = None
    developed: str | None = None
    session: str | None = None
    index: float | None = None
    words: str | None = None
    notes: tuple[FrameNote, ...] = ()


@dataclass(frozen=True, slots=True)
class Archive:
    """All negatives by number, tables by film (its words in small letters), the entries that count, and a damaged last line if any."""

    negatives: Mapping[str, Negative] = field(default_factory=dict)
    tables: Mapping[str, ReciprocityTable] = field(default_factory=dict)
    counting: tuple[Mapping[str, Any], ...] = ()
    next_seq: int = 1
    damaged: str | None = None

    def negative(self, number: str) -> Negative:
        """The one with this number; a bare "1" is the number 1 of the newest year that has one. Raises `InputWrong`, naming the newest."""
        if number not in self.negatives and number.isascii() and number.isdecimal():
            of_years = [n for n in self.negatives if _YEARLY.fullmatch(n) and int(n[5:]) == int(number)]
            number = max(of_years, default=number)
        if number not in self.negatives:
            newest = ", ".join(list(self.negatives)[-5:]) or "add one first (evenbath archive add)"
            raise InputWrong(f"there is no negative {shown(number)} in the archive; allowed: {newest}")
        return self.negatives[number]

    def table(self, film: str) -> ReciprocityTable:
        """The person's own for this film. Raises `InputWrong`."""
        if film.casefold() not in self.tables:
            known = ", ".join(self.tables) or "none yet (evenbath archive table)"
            raise InputWrong(f"there is no reciprocity table for {shown(film)}; allowed: {known}")
        return self.tables[film.casefold()]

    def next_number(self, year: int) -> str:
        """Such as "2026-014": one more than the highest of that year."""
        taken = [int(n[5:]) for n in self.negatives if n.startswith(f"{year}-") and n[5:].isascii() and n[5:].isdecimal()]
        return f"{year}-{max(taken, default=0) + 1:03d}"


def plain_words(text: str, what: str, longest: int = LONGEST_WORDS) -> str:
    """Words that may be printed anywhere. Raises `InputWrong`."""
    words = text.strip()
    if not words or len(words) > longest or not words.isprintable():
        raise InputWrong(
            f"{what} {shown(text)} does not fit; allowed: one line of 1 to {longest} characters, none of them a control character"
        )
    if words.lstrip(" '").startswith(FORMULA_SIGNS):
        raise InputWrong(f"{what} {shown(text)} begins like a formula; allowed: words that begin with a letter or a digit")
    return words


def copied_words(text: str | None) -> str | None:
    """Words that stand in a journal, made fit: other people's recipes may hold anything."""
    if text is None:
        return None
    words = "".join(c for c in text if c.isprintable()).strip()
    while words.lstrip(" '").startswith(FORMULA_SIGNS):
        words = words.lstrip(" '")[1:].strip()
    return words[:LONGEST_WORDS].strip() or None


def read_number(text: str) -> str:
    """A negative's number as it is written on a sleeve. Raises `InputWrong`."""
    if _NUMBER.fullmatch(text.strip()) is None:
        raise InputWrong(f'{shown(text)} is not a number for a negative; allowed: letters, digits, ".", "/" and "-", such as "2026-014"')
    return text.strip()


def read_frame(text: str) -> str:
    """A frame or a sheet, such as "12", "12A" or "h3". Raises `InputWrong`."""
    if _FRAME.fullmatch(text.strip()) is None:
        raise InputWrong(f'{shown(text)} is not a frame; allowed: up to six letters and digits, such as "12" or "12A"')
    return text.strip()


def read_index(text: str) -> float:
    """An exposure index: the film speed that the meter was set to. Raises `InputWrong`."""
    if not re.fullmatch(r"\d{1,6}(\.\d)?", text.strip(), re.ASCII) or not 0 < float(text) <= FASTEST_INDEX:
        raise InputWrong(f"{shown(text)} is not an exposure index; allowed: above 0, at most {FASTEST_INDEX}, such as 200")
    return float(text)


def read_date(text: str) -> str:
    """A year, a month or a day, such as "2026", "2026-11" or "2026-11-26". Raises `InputWrong`."""
    try:
        if _DATE.fullmatch(text):
            dt.date.fromisoformat(f"{text}-01-01"[:10])
            return text
    except ValueError:
        pass
    raise InputWrong(f'{shown(text)} is not a date; allowed: "2026", "2026-11" or "2026-11-26"')


def find(archive: Archive, words: Sequence[str] = (), film: str = "", developer: str = "", date: str = "") -> list[Negative]:
    """Negatives whose film and developer hold these words, of this date, and in which each of `words` stands somewhere; oldest first."""
    found = []
    for negative in sorted(archive.negatives.values(), key=lambda n: (n.day, n.number)):
        everything = " ".join((*sleeve_lines(negative), *contact_lines(negative))).casefold()
        if (
            film.casefold() in negative.film.casefold()
            and developer.casefold() in (negative.developer or "").casefold()
            and negative.day.startswith(date)
            and all(word.casefold() in everything for word in words)
        ):
            found.append(negative)
    return found


def sleeve_lines(negative: Negative) -> list[str]:
    """What goes on the strip of a sleeve: number, day and film; developer; session."""
    done = ", ".join(w for w in (negative.developer, negative.developed) if w)
    lines = [f"{negative.number}  {negative.day}  {negative.film}{'' if negative.index is None else f', index {negative.index:g}'}"]
    return [*lines, *([done] if done else []), *([f"session {negative.session}"] if negative.session else [])]


def contact_lines(negative: Negative) -> list[str]:
    """What goes beside the contact sheet: words on the whole, then each note."""
    return [*([negative.words] if negative.words else []), *(note.line() for note in negative.notes)]


# --- the file --------------------------------------------------------------------------------------------------------


def archive_file(state: Path) -> Path:
    """The archive's file in a state folder."""
    return state / FOLDER / FILE


def read_archive(state: Path) -> Archive:
    """The archive of a state folder; empty if there is none. Raises `FileWrong` for lines that do not fit."""
    path = archive_file(state)
    kept = read_lines(path)
    return _folded(path, kept.rows, kept.damaged)


def write_entry(state: Path, now: dt.datetime, make: Callable[[Archive], Entry]) -> tuple[Archive, Entry]:
    """Append the entry that `make` returns for the archive as read under the lock. `now` (aware) is its time stamp.

    Returns the archive afterwards and the entry. Raises `InputWrong` if it is not allowed; nothing is written then.
    """
    path = archive_file(state)
    with writing(path) as file:
        before = _folded(path, file.kept.rows, file.kept.damaged)
        at = now.astimezone(dt.UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
        entry = {"seq": before.next_seq, "at": at, **make(before)}
        after = _undone(before, entry, path) if entry["entry"] == "undo" else _followed(before, entry)
        file.append(entry)
    return after, entry


def undo_entry(archive: Archive) -> Entry:
    """The entry that takes back the last one that still counts. Raises `InputWrong` if there is none."""
    if not archive.counting:
        raise InputWrong("nothing to undo; allowed: after an entry that was not undone")
    return {"entry": "undo", "undoes": archive.counting[-1]["seq"]}


def _folded(path: Path, rows: Sequence[Row], damaged: str | None) -> Archive:
    archive = Archive(damaged=damaged)
    for row in rows:
        try:
            if row.data["seq"] != archive.next_seq:
                raise InputWrong(f"seq {row.data['seq']!r} instead of {archive.next_seq}")
            archive = _undone(archive, row.data, path) if row.data["entry"] == "undo" else _followed(archive, row.data)
        except (InputWrong, KeyError, TypeError, ValueError, AttributeError) as wrong:
            raise FileWrong([Problem(str(path), row.line, f"not an entry of the archive ({str(wrong)[:80]})", _ALLOWED)]) from None
    return archive


def _undone(archive: Archive, entry: Mapping[str, Any], path: Path) -> Archive:
    """Without the last entry that counted: the others are folded again."""
    if not archive.counting or archive.counting[-1]["seq"] != entry["undoes"]:
        raise InputWrong("an undo of an entry that was not the last; allowed: of the last one")
    again = Archive(damaged=archive.damaged)
    for earlier in archive.counting[:-1]:
        again = _followed(replace(again, next_seq=earlier["seq"]), earlier)
    return replace(again, next_seq=archive.next_seq + 1)


def _followed(archive: Archive, entry: Mapping[str, Any]) -> Archive:
    negatives, tables = dict(archive.negatives), dict(archive.tables)
    kind = entry["entry"]
    if kind == "negative":
        made = _negative(entry)
        if made.number in negatives:
            raise InputWrong(f"there is a negative {made.number} already; allowed: another number, or none: the next one is taken")
        negatives[made.number] = made
    elif kind == "note":
        of = archive.negative(entry["number"])
        negatives[of.number] = replace(of, notes=(*of.notes, _note(entry)))
    elif kind == "table":
        tables[plain_words(entry["film"], "film").casefold()] = table_of([(float(m), float(n)) for m, n in entry["points"]])
    else:
        raise InputWrong(f"an entry of kind {shown(kind)}; allowed: negative, note, table or undo")
    return replace(archive, negatives=negatives, tables=tables, counting=(*archive.counting, entry), next_seq=archive.next_seq + 1)


def _negative(entry: Mapping[str, Any]) -> Negative:
    """What an entry says of a negative, checked like what a person types: a file may have been edited."""
    return Negative(
        read_number(entry["number"]),
        read_day(entry["day"]).isoformat(),
        plain_words(entry["film"], "film"),
        developer=_kept_words(entry, "developer"),
        developed=_kept_words(entry, "developed"),
        session=_kept_words(entry, "session"),
        index=_kept_number(entry, "index"),
        words=_kept_words(entry, "words"),
    )


def _note(entry: Mapping[str, Any]) -> FrameNote:
    return FrameNote(
        None if entry.get("frame") is None else read_frame(entry["frame"]),
        index=_kept_number(entry, "index"),
        aperture=_kept_words(entry, "aperture"),
        filter=_kept_words(entry, "filter"),
        filter_factor=_kept_number(entry, "filter_factor"),
        bellows_factor=_kept_number(entry, "bellows_factor"),
        metered_s=_kept_number(entry, "metered_s"),
        exposed_s=_kept_number(entry, "exposed_s"),
        words=_kept_words(entry, "words"),
    )


def _kept_words(entry: Mapping[str, Any], name: str) -> str | None:
    return None if entry.get(name) is None else plain_words(entry[name], name)


def _kept_number(entry: Mapping[str, Any], name: str) -> float | None:
    value = entry.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < 1e9:
        raise ValueError(f"{name} is no number above 0")
    return float(value)
