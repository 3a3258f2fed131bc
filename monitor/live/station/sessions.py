"""The running session, and the journals that still have something to write: armed, resumed, closed.

Decides what happens to journals that an earlier run of the station left without a `close`, and that nobody is told of a session
before its first record is safe. Owned by the thread that owns the state. Tests: tests/live/station/test_daemon.py,
tests/live/station/test_resume.py.
"""

from __future__ import annotations

import contextlib
import math
import sys
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.core.journal.records import LagFound, parse
from monitor.core.journal.words import Cue
from monitor.core.recipe.values import Recipe
from monitor.core.session.session import Session
from monitor.core.session.sounds import FAULT, YES, Sound, Vessel
from monitor.core.text.quantities import shown
from monitor.live.disk.journal import JournalWriter, Reserve, journal_path, make_journal
from monitor.live.inbox import Trouble
from monitor.live.station.followers import Followers
from monitor.live.station.keeper import LAGS
from monitor.live.station.lags import found_lag
from monitor.live.station.left_bare import LeftBare
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.resume import LATER_S, UnfinishedSession, close_by_hand, plan
from monitor.live.station.running import FilmPlace, Running, StartRequest, beliefs_of, opening_fields, options_of
from monitor.live.station.side_by_side import SideBySide
from monitor.live.station.unfinished import unfinished_sessions

KNOWN_S = 5.0
"""A session begins with the readings of the last seconds before it was armed; its t_s = 0 is the first of them."""
HANDS_ON_JOURNAL = "somebody else changed or moved the journal; it was put right, leave it alone until the session is over"
ANSWER_AFTER_S = 0.15
OUR_SOUNDS = 1_000_000
"""The number of a sound that is no session's own."""
ARM_SAFE_S = 3.0
"""The start waits this long for its first record to be safe. Nothing is timed yet."""
BESIDE_SAFE_S = 0.2
"""The same beside a film that runs, whose calls are handed on half a second ahead: a disk that is slower delays none of them, and its
journal tells of it as any other does."""
MISHAPS_KEPT, MISHAPS_SAID = 20, 3
MISHAP_NOTES, NOTE_AGAIN_S = 20, 60.0
"""So many faults of the program are noted in a journal one by one; then one a minute."""


class Sessions:
    """`side` holds the sessions that run. `mishaps`: the newest faults of the program itself, with their tracebacks. `not_kept`: why a lag
    that a session told could not be stored so far."""

    def __init__(self, parts: Parts) -> None:
        self.side = SideBySide(parts.player, parts.panel, parts.inbox.put)
        self.mishaps: list[str] = []
        self.followers = Followers(parts.send)
        self.left = LeftBare()
        self._config = parts.config
        self._parts = parts
        self._ended: list[JournalWriter] = []
        self.not_kept: str | None = None
        self._hands_told_of: set[str] = set()
        self._generation = 0
        self._mishaps = 0
        self._mishap_noted_s = -math.inf

    @property
    def running(self) -> Running | None:
        """The session whose hands are due next; None while none is armed."""
        return self.side.next

    @property
    def films(self) -> list[Running]:
        """All that run, in the order of their vessels."""
        return self.side.films

    @property
    def bare_now(self) -> bool:
        """Whether any film lies open now."""
        return any(film.bare_now for film in self.films)

    # -- begin and end ----------------------------------------------------------------------------------------------

    def take_up(self, found: Sequence[UnfinishedSession] | None = None) -> None:
        """Resume the newest session without a close that can be resumed, and the one of the same evening in the other vessel; close the
        others as lost. `found`: oldest first; they are looked for if they are not given."""
        clock = self._parts.clock
        self.left.take_up(self._config.journals, clock.wall() if clock.wall_set() else None, clock.mono_s())
        for earlier in reversed(unfinished_sessions(self._config.journals, self._parts.say) if found is None else found):
            if self._has_room(earlier) and self._goes_on(earlier):
                continue
            try:
                self._close_as_lost(earlier)
            except OSError as wrong:
                self._parts.say(f"{earlier.path}: had no end, and cannot be closed ({wrong.strerror})")
        if self._parts.publisher is not None:
            if not self.films:
                self._parts.publisher.progress(None)
            for vessel in self._config.vessels:
                if all(film.vessel != vessel for film in self.films):
                    self._parts.publisher.vessel(vessel, None)

    def _has_room(self, earlier: UnfinishedSession) -> bool:
        """Whether it can go on beside those that already do."""
        place = FilmPlace.read(earlier.opening)
        if not self.films:
            return True
        other = self.films[0].place
        if len(self.films) > 1 or place is None or other is None:
            return False
        return place.evening == other.evening and place.number != other.number

    def _goes_on(self, earlier: UnfinishedSession) -> bool:
        going_on: Running | None = None
        if earlier.recipe is None:
            return False
        try:
            told = plan(earlier, self._parts.clock)
            if told.verdict == "lost":
                return False
            session = Session(earlier.recipe, beliefs_of(earlier.opening, earlier.recipe), replace(options_of(earlier.opening), lamp=False))
            going_on = self._new(session, earlier.session, told.zero_s, FilmPlace.read(earlier.opening))
            going_on.take_up(self._next_generation(), earlier, told)
        except Exception as wrong:  # a record that this program cannot fold: the session cannot be saved, the station can
            self.mishaps.append(f"take up: {traceback.format_exc()}")
            self._parts.say(f"session {earlier.session} cannot be taken up: {shown(f'{type(wrong).__name__}: {wrong}')}")
            if going_on is not None:
                going_on.let_go()
                going_on.journal.stop()
                self.side.leave(going_on)
            return False
        self._parts.say(f"session {earlier.session} goes on")
        self._reserve(earlier.recipe)
        self.let_go_of_closed()
        return True

    def _close_as_lost(self, earlier: UnfinishedSession) -> None:
        journal = self._journal(earlier.path)
        journal.append(close_by_hand(earlier, "lost", self._parts.clock.wall()))
        journal.finish()
        self._ended.append(journal)
        begun = [int(record["stage"]) for record in earlier.records if record["kind"] == "stage" and record.get("event") == "begin"]
        mode = str(earlier.opening.get("mode"))
        self.left.closed(earlier.recipe, begun[-1] if begun else None, mode, "lost", self._parts.clock.mono_s())
        self._parts.say(f"session {earlier.session} had no end and cannot go on: closed as lost")

    def start(self, wanted: StartRequest, answers: Mapping[str, Any], probes: ProbesNow) -> Mapping[str, Any]:
        """Arm. The open record is on the disk before anybody is told the session's name."""
        clock, journals = self._parts.clock, self._config.journals
        probes.learn(self._parts.learn())
        try:
            name = make_journal(journals, clock.wall(), self._parts.disk)
        except OSError as wrong:
            return {"ok": False, "status": 3, "lines": [f"{journals}: no journal can be created ({wrong.strerror})"]}
        recent = sorted(probes.since(clock.mono_s() - KNOWN_S), key=lambda reading: reading.t_s)
        zero_s = recent[0].t_s if recent else clock.mono_s()
        beliefs, opening = opening_fields(self._config, wanted, probes.learned, clock, zero_s, answers, probes.coarse_steps_c)
        unreserved = self._reserve(wanted.recipe)
        session = Session(wanted.recipe, beliefs, options_of({**opening, "mode": "rehearsal" if wanted.rehearsal else "live"}))
        running = self._new(session, name, zero_s, wanted.place)
        running.begin(self._next_generation(), opening)
        for reading in recent:  # what is known of the bath is known to the session: a begin may come at once
            if running.probes is not None and reading.probe not in running.probes:
                continue
            running.take(reading, reading.t_s)
        if unreserved:
            running.note("trouble", {"part": "disk", "well": False, "why": f"no space could be reserved: {unreserved}"}, clock.mono_s())
        beside = len(self.films) > 1
        safe = running.journal.wait_safe(BESIDE_SAFE_S if beside else ARM_SAFE_S) if self._parts.threads else running.journal.step()
        if not safe and not beside:
            return self._unarm(running)
        self.left.armed(wanted.recipe)
        return {"ok": True, "armed": name, "open_film": list(wanted.recipe.open_film), "has_switch": opening["has_switch"]}

    def _unarm(self, running: Running) -> Mapping[str, Any]:
        """The disk does not accept the first record, so nothing could be resumed after a crash: no start."""
        running.let_go()
        self.side.leave(running)
        if not self.films:
            self._parts.player.restart(self._next_generation(), self._parts.clock.mono_s())
        running.journal.discard()
        path = journal_path(self._config.journals, running.name)
        return {"ok": False, "status": 3, "lines": [f"{path}: the disk does not accept the journal; check the card, then start again"]}

    def let_go_of_closed(self) -> bool:
        """Let go of each session that has closed. Returns whether the last one had."""
        closed = [film for film in self.films if film.session.closed]
        for running in closed:
            self.side.leave(running)
            self.left.closed(running.recipe, *running.ended, self._parts.clock.mono_s())
            running.journal.finish()
            self._ended = [journal for journal in self._ended if not journal.finished] + [running.journal]
            if self._parts.publisher is not None:
                if not self.films:
                    self._parts.publisher.progress(None)
                if running.vessel is not None:
                    self._parts.publisher.vessel(running.vessel, None)
            self.followers.tell(running.name, {"event": "closed", "session": running.name})
            self.followers.clear(running.name)
        return bool(closed) and not self.films

    def stop(self) -> None:
        """End without a close: the next run of the station goes on with the session."""
        for journal in self.journals:
            journal.stop()

    @property
    def mishap_count(self) -> int:
        """How many faults of the program itself there were since its start."""
        return self._mishaps

    @property
    def journals(self) -> list[JournalWriter]:
        """All that may still have something to write, that of the running session last."""
        return [*self._ended, *(film.journal for film in self.films)]

    # -- what a session is made of ----------------------------------------------------------------------------------

    def _new(self, session: Session, name: str, zero_s: float, place: FilmPlace | None) -> Running:
        journal = self._journal(journal_path(self._config.journals, name))
        probes = None if place is None else frozenset(p.name for p in self._config.probes_of(place.vessel))
        return Running(session, name, zero_s, journal, self.side, self._parts.clock, self._tell, place, probes)

    def _journal(self, path: Path) -> JournalWriter:
        parts = self._parts
        safe = None if parts.publisher is None else parts.publisher.safe
        journal = JournalWriter(path, parts.clock, parts.inbox.put, Reserve(self._config.state / "reserve"), safe, parts.disk)
        if parts.threads:
            journal.start()
        return journal

    def _reserve(self, recipe: Recipe) -> str:
        """Reserve space. Returns what went wrong, in words; empty if nothing did."""
        try:
            Reserve(self._config.state / "reserve").make(recipe.total_s + LATER_S)
        except OSError as wrong:
            return wrong.strerror or str(wrong)
        return ""

    def _next_generation(self) -> int:
        self._generation += 1
        return self._generation

    # -- what is told -----------------------------------------------------------------------------------------------

    def sound(self, pattern: Sequence[tuple[float, tuple[float, ...]]]) -> None:
        """Sound ticks of the pre-flight, or a sound of a lesson: (seconds from now, pattern) of each."""
        self._parts.player.restart(self._next_generation(), self._parts.clock.mono_s())
        for number, (after_s, ticks) in enumerate(pattern):
            self._parts.player.add(Sound(number, "tick", after_s, ticks))

    def answer_foot(self, vessel: Vessel, well: bool) -> None:
        """YES where the next film of this vessel was armed, limping where it was not; in the journal of a film that runs."""
        film = next((f for f in self.films if f.number == vessel), next(iter(self.films), None))
        if film is None:
            self.sound([(ANSWER_AFTER_S, FAULT)])
            return
        cue: Cue = "yes" if well else "answer"
        onset_s = film.moment(self._parts.clock.mono_s()) + ANSWER_AFTER_S
        self._parts.player.add(Sound(OUR_SOUNDS, cue, onset_s, YES if well else FAULT, vessel=film.number))

    def note(self, kind: str, fields: Mapping[str, Any]) -> None:
        """Write a note into the journal of each session that runs; where none does, a trouble is said instead."""
        for film in self.films:
            film.note(kind, fields, self._parts.clock.mono_s())
        if not self.films and kind == "trouble":
            self._parts.say(f"{fields['part']}: {fields['why']}")

    def trouble(self, message: Trouble) -> None:
        """A part of the station failed, or works again: a note. Hands on the running journal are a FAULT too, once a session."""
        if message.part == LAGS:
            self.not_kept = None if message.well else message.why
        self.note("trouble", {"part": message.part, "well": message.well, "why": message.why})
        for film in self.films if message.part == "journal" else ():
            if film.name not in self._hands_told_of:
                self._hands_told_of.add(film.name)
                film.fault(HANDS_ON_JOURNAL, self._parts.clock.mono_s())

    def mishap(self, where: str) -> None:
        """A fault of the program itself; called where it was caught. It is told, and the session goes on without what was being done."""
        what, kind = traceback.format_exc(), sys.exc_info()[0]
        self.mishaps.append(f"{where}: {what}")
        del self.mishaps[:-MISHAPS_KEPT]
        self._mishaps += 1
        with contextlib.suppress(Exception):  # whoever watches the daemon is told if that can be done, and nothing depends on it
            if self._mishaps <= MISHAPS_SAID:
                self._parts.say(f"a fault of the program itself ({where}), the time goes on:\n{what}")
        now_s = self._parts.clock.mono_s()
        if all(film.session.closed for film in self.films):
            return
        if self._mishaps > MISHAP_NOTES and now_s - self._mishap_noted_s < NOTE_AGAIN_S:
            return
        self._mishap_noted_s = now_s
        with contextlib.suppress(Exception):  # the same fault may be in the way of the note
            self.note("mishap", {"where": where, "what": "" if kind is None else kind.__name__})

    def _keep(self, record: Mapping[str, Any]) -> None:
        """A lag that a session tells at its close is stored, unless it was a rehearsal."""
        film, told = next((f for f in self.films if f.name == record["session"]), None), parse(record)
        if film is not None and isinstance(told, LagFound):
            found = found_lag(told, film.opening, self._parts.clock.wall().astimezone().date())
            if found is not None:
                self._parts.keep(found)

    def _tell(self, record: Mapping[str, Any]) -> None:
        """A record was handed to the journal."""
        session = record["session"]
        if record["kind"] == LagFound.kind:
            self._keep(record)
        if record["kind"] == "progress" and self._parts.publisher is not None:
            running = self.running
            if running is None or running.name == session:
                self._parts.publisher.progress(record)
            vessel = next((film.vessel for film in self.films if film.name == session), None)
            if vessel is not None:
                self._parts.publisher.vessel(vessel, record)
        if self.followers:
            self.followers.tell(session, {"event": "record", "record": record})
