"""Reads a journal line by line and says what is wrong with it, where, and what is allowed. Everything that can be used comes out.

Decides whether a line is a record of the project's contract (section 5) and whether it follows on from the ones before it.
It opens no file (lines are handed in as bytes, newline included), keeps no record after it has been yielded, and repairs
nothing: whoever reads decides what to do with a journal that has problems. A last line that was cut off by a loss of
power is no problem but a note (`Findings.torn`). Tests: tests/core/journal/test_check.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from monitor.core.errors import Problem
from monitor.core.journal.records import SCHEMA_VERSION
from monitor.core.journal.words import CUES, GATE_STATES, MEANINGS, SESSION_EVENTS, STAGE_EVENTS
from monitor.core.probes.readings import QUALITIES, ROLES, SOURCES
from monitor.core.text.controls import without_controls

MOST_PROBLEMS = 20
"""So many problems of one file are told one by one; the rest are counted. A wrong file has thousands."""
LONGEST_LINE = 1 << 20
"""Bytes. A record is a few hundred; a recipe inside a `session` record some thousands."""

_HUGE = 1e12  # no time and no temperature of a journal is of this size; infinity is not either

Record = dict[str, Any]


@dataclass(slots=True)
class Findings:
    """What was found in one file. `torn` is a sentence about a last line that was cut off, None if there was none."""

    file: str
    problems: list[Problem] = field(default_factory=list)
    torn: str | None = None
    records: int = 0
    untold: int = 0

    def report(self, line: int, what: str, allowed: str) -> None:
        """Note one problem; beyond `MOST_PROBLEMS` they are only counted."""
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(self.file, line, what, allowed))
        else:
            self.untold += 1

    def lines(self) -> list[str]:
        """The problems as lines for a person, with a count of those that were not told."""
        told = [str(p) for p in self.problems]
        return [*told, f"{self.file}: and {self.untold} more problems"] if self.untold else told


def _number(value: Any) -> bool:
    return (type(value) is float or type(value) is int) and -_HUGE < value < _HUGE


def _number_or_none(value: Any) -> bool:
    return value is None or _number(value)


def _text(value: Any) -> bool:
    return isinstance(value, str)


def _count(value: Any) -> bool:
    return type(value) is int and value >= 1


def _yes_no(value: Any) -> bool:
    return value is True or value is False


def _one_of(words: Sequence[str]) -> tuple[Callable[[Any], bool], str]:
    return (lambda value: value in words), "one of " + ", ".join(words)


_NUMBER = (_number, "a number")
_MAYBE = (_number_or_none, "a number or null")
_TEXT = (_text, "text")
_COUNT = (_count, "a whole number from 1 on")
_YES_NO = (_yes_no, "true or false")

FIELDS: Mapping[str, Mapping[str, tuple[Callable[[Any], bool], str]]] = {
    "session": {"event": _one_of(SESSION_EVENTS)},
    "reading": {"probe": _TEXT, "role": _one_of(ROLES), "raw_c": _MAYBE, "celsius": _MAYBE, "quality": _one_of(QUALITIES)},
    "progress": {
        "stage": _COUNT,
        "developer_c": _MAYBE,
        "developer_sd_c": _MAYBE,
        "done_ref_s": _NUMBER,
        "target_ref_s": _NUMBER,
        "done_sd_ref_s": _MAYBE,
        "end_t_s": _MAYBE,
        "source": _one_of(SOURCES),
    },
    "stage": {"stage": _COUNT, "name": _TEXT, "event": _one_of(STAGE_EVENTS)},
    "cue": {"cue": _one_of(CUES)},
    "trust": {"believed": _YES_NO, "why": _TEXT, "since_t_s": _MAYBE},
    "tap": {"meaning": _one_of(MEANINGS)},
    "correction": {"stage": _COUNT, "begin_t_s": _NUMBER, "replaces_seq": _COUNT},
    "appeared": {"stage": _COUNT, "appearance_ref_s": _NUMBER, "target_ref_s": _NUMBER},
    "annulled": {"stage": _COUNT, "replaces_seq": _COUNT},
    "gate": {"state": _one_of(GATE_STATES)},
}
"""Fields that a record of each kind must have, beyond those of every record. Other fields and other kinds are welcome."""

_EVERY = ("session", "t_s", "wall", "kind")


class _Parse(Exception):
    pass


def _no_constant(word: str) -> float:
    raise _Parse(f"{word} is not a number of JSON")


def _parse(line: bytes) -> Record:
    """One line as an object. Raises `_Parse` with what is wrong."""
    if len(line) > LONGEST_LINE:
        raise _Parse(f"a line of more than {LONGEST_LINE} bytes")
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as wrong:
        raise _Parse(f"not UTF-8 at byte {wrong.start + 1} of the line") from None
    try:
        value, end = _DECODER.raw_decode(text)
        if end != len(text) - 1 or text[-1] != "\n":  # not the plain line that we write
            value = _DECODER.decode(text)
    except (ValueError, RecursionError) as wrong:
        what = wrong.msg if isinstance(wrong, json.JSONDecodeError) else type(wrong).__name__
        raise _Parse(f"not JSON ({what})") from None
    if not isinstance(value, dict):
        raise _Parse("JSON, but not an object")
    if b"\\" in line or not line.isascii():  # only there can a character stand that is none, or that does something
        try:
            if not _writable(value):
                raise _Parse("a lone surrogate, which is no character")
            cleaned: Record = without_controls(value)
            return cleaned
        except RecursionError as wrong:
            raise _Parse(f"not JSON ({type(wrong).__name__})") from None
    return value


def _writable(value: Record) -> bool:
    try:
        json.dumps(value, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return False
    return True


_DECODER = json.JSONDecoder(parse_constant=_no_constant)


def _plain_reading(record: Record) -> bool:
    """Whether a record is a good reading without doubt: nine of ten records are, and need no closer look."""
    get = record.get
    t_s, raw_c, celsius = get("t_s"), get("raw_c"), get("celsius")
    return (
        get("kind") == "reading"
        and get("quality") == "good"
        and type(t_s) is float
        and type(raw_c) is float
        and type(celsius) is float
        and -_HUGE < t_s < _HUGE
        and -_HUGE < raw_c < _HUGE
        and -_HUGE < celsius < _HUGE
        and type(get("probe")) is type(get("session")) is type(get("wall")) is str
        and get("role") in ROLES
    )


def _wrong_fields(record: Record) -> list[str]:
    """What is wrong with the fields of one record, in words; empty if nothing."""
    if _plain_reading(record):
        return []
    wrong: list[str] = [f'no "{name}"' for name in _EVERY if name not in record]
    if wrong:
        return wrong
    if not _number(record["t_s"]):
        wrong.append(f'"t_s" is {str(record["t_s"])[:40]}')
    wrong += [f'"{name}" is {record[name]!r}' for name in ("session", "wall", "kind") if not isinstance(record[name], str)]
    for name, (good, words) in (FIELDS.get(record["kind"], {}) if isinstance(record["kind"], str) else {}).items():
        if name not in record:
            wrong.append(f'a {record["kind"]} record without "{name}"')
        elif not good(record[name]):
            shown = repr(record[name])
            wrong.append(f'"{name}" of a {record["kind"]} record is {shown[:40]}, not {words}')
    if record.get("sheet") is not None and not _count(record["sheet"]):
        wrong.append(f'"sheet" is {repr(record["sheet"])[:40]}, not a whole number from 1 on')
    if record["kind"] == "reading" and not wrong and (record["celsius"] is not None) != (record["quality"] == "good"):
        wrong.append(f'a reading of quality {record["quality"]} with "celsius" {record["celsius"]!r} (null unless it is good)')
    return wrong


class _Follow:
    """Whether a record follows on from those before it."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings
        self.session: str | None = None
        self.stranger: str | None = None
        self.opened = False
        self.last_seq = 0
        self.unread = 0
        self.newest: dict[tuple[str, Any], float] = {}

    def take(self, line: int, record: Record) -> bool:
        """False if the record is not to be used."""
        return (
            self._one_session(line, record)
            and self.in_order(line, record["seq"])
            and self._opening(line, record)
            and self._clock(line, record)
        )

    def _one_session(self, line: int, record: Record) -> bool:
        if self.session is None:
            self.session = record["session"]
        if record["session"] == self.session:
            return True
        if self.stranger is None:
            self.stranger = record["session"]
            self.findings.report(
                line,
                f"session {record['session']} in a file of session {self.session}",
                "allowed: one session a file; only the first is shown",
            )
        return False

    def in_order(self, line: int, seq: int) -> bool:
        """Whether a seq follows the one before; what is missing is told."""
        expected = self.last_seq + 1
        if seq < expected:
            self.findings.report(
                line, f"seq {seq} after seq {self.last_seq}", "allowed: 1, 2, 3 ... without repeats; the record is left out"
            )
            return False
        missing = seq - expected
        if missing and missing != self.unread:
            self.findings.report(line, f"seq {seq} after seq {self.last_seq}", f"allowed: no gaps; {missing} records are missing")
        self.last_seq, self.unread = seq, 0
        return True

    def _opening(self, line: int, record: Record) -> bool:
        opens = record["kind"] == "session" and record["event"] == "open"
        if opens and self.opened:
            self.findings.report(line, "a second opening of the session", "allowed: one, as the first record")
            return False
        if not opens and not self.opened and self.findings.records == 0:
            self.findings.report(line, f"begins with a {record['kind']} record", "allowed: a session record, event open, first")
        self.opened = self.opened or opens
        return True

    def _clock(self, line: int, record: Record) -> bool:
        """Readings of one probe, and progress of one film, must not go back. Other records may tell of earlier moments."""
        kind = record["kind"]
        if kind not in ("reading", "progress"):
            return True
        key = (kind, record["probe"] if kind == "reading" else (record["stage"], record.get("sheet")))
        newest = self.newest.get(key, -math.inf)
        if record["t_s"] < newest:
            self.findings.report(
                line, f"the clock went back: t_s {record['t_s']:g} after {newest:g}", "allowed: t_s that rises; the record is left out"
            )
            return False
        self.newest[key] = record["t_s"]
        return True


def _refused_version(record: Record) -> str | None:
    schema = record.get("schema", SCHEMA_VERSION)
    if type(schema) is int and 1 <= schema <= SCHEMA_VERSION:
        return None
    return f"a journal of format {schema!r}"


def _seq_of_passed_over(line: bytes, roles: Collection[bytes]) -> int | None:
    """The seq of a line that is plainly a reading of one of these roles, as this program writes it; None for every other line."""
    if not line.startswith(b'{"seq":') or b'"kind":"reading"' not in line or not line.endswith(b"}\n"):
        return None
    for role in roles:
        if role in line:
            digits = line[7 : line.find(b",")]
            return int(digits) if digits.isdigit() else None
    return None


def read_records(lines: Iterable[bytes], findings: Findings, pass_over: Collection[str] = ()) -> Iterator[tuple[int, Record]]:
    """Yield (line, record) for every record that can be used; what is wrong goes into `findings` as it is met.

    `lines` are bytes with their newline, as a binary file yields them; only the last may be without one. Lines are
    counted from 1. Streams: holds one record at a time. Left out are lines that are no record, records of a second
    session, repeats, and readings or progress whose time went back. A newer format is refused at its first record.
    `pass_over`: roles whose readings are not wanted; only their seq is looked at, which saves two thirds of the time.
    """
    follow = _Follow(findings)
    roles = [f'"role":"{role}"'.encode() for role in pass_over]
    number, last = 0, b""
    for number, last in enumerate(lines, 1):
        if roles and (seq := _seq_of_passed_over(last, roles)) is not None:
            follow.in_order(number, seq)
            continue
        try:
            record = _parse(last)
        except _Parse as wrong:
            if not last.endswith(b"\n"):
                break
            if number == 1:
                findings.report(1, f"not a journal: {wrong}", "allowed: JSON Lines, first a session record with event open")
                return
            findings.report(number, str(wrong), "allowed: one JSON object a line, UTF-8")
            follow.unread += 1
            continue
        if not _count(record.get("seq")):
            findings.report(number, f'"seq" is {record.get("seq")!r}', "allowed: a whole number from 1 on")
            if number == 1:
                return
            follow.unread += 1
            continue
        wrong_fields = _wrong_fields(record)
        if wrong_fields:
            findings.report(number, "; ".join(wrong_fields), "allowed: the fields of the journal's description; the record is left out")
            follow.unread += 1
            continue
        if record["kind"] == "session" and record["event"] == "open" and (refused := _refused_version(record)) is not None:
            findings.report(number, refused, f"allowed: up to format {SCHEMA_VERSION}; a newer evenbath wrote this, read it with that")
            return
        if follow.take(number, record):
            findings.records += 1
            yield number, record
    if number == 0:
        findings.report(1, "an empty file", "allowed: a journal, first a session record with event open")
    elif not last.endswith(b"\n") and not _complete(last):
        if findings.records == 0:
            findings.report(number, "a record cut off, and nothing else", "allowed: a journal, first a session record with event open")
        else:
            findings.torn = f"{findings.file}:{number}: the last record was cut off ({len(last)} bytes left out), as a loss of power does"


def _complete(line: bytes) -> bool:
    try:
        _parse(line)
    except _Parse:
        return False
    return True
