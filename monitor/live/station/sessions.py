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

from monitor.core.recipe.values import Recipe
from monitor.core.session.cues import Sound
from monitor.core.session.session import Session
from monitor.core.text.quantities import shown
from monitor.live.disk.journal import JournalWriter, Reserve, journal_path, make_journal
from monitor.live.inbox import Trouble
from monitor.live.station.followers import Followers
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import ProbesNow
from monitor.live.station.resume import LATER_S, UnfinishedSession, close_by_hand, plan
from monitor.live.station.running import Running, StartRequest, beliefs_of, opening_fields, options_of
from monitor.live.station.unfinished import unfinished_sessions

KNOWN_S = 5.0
"""A session begins with the readings of the last seconds before it was armed; its t_s = 0 is the first of them."""
HANDS_ON_JOURNAL = "somebody else changed or moved the journal; it was put right, leave it alone until the session is over"
ARM_SAFE_S = 3.0
"""The start waits this long for its first record to be safe. Nothing is timed yet."""
MISHAPS_KEPT, MISHAPS_SAID = 20, 3
MISHAP_NOTES, NOTE_AGAIN_S = 20, 60.0
"""So many faults of the program are noted in a journal one by one; then one a minute."""


class Sessions:
    """`running` is None while no session is armed. `mishaps`: the newest faults of the program itself, with their tracebacks."""

    def __init__(self, parts: Parts) -> None:
        self.running: Running | None = None
        self.mishaps: list[str] = []
        self.followers = Followers(parts.send)
        self._config = parts.config
        self._parts = parts
        self._ended: list[JournalWriter] = []
        self._hands_told_of = ""
        self._generation = 0
        self._mishaps = 0
        self._mishap_noted_s = -math.inf

    # -- begin and end ----------------------------------------------------------------------------------------------

    def take_up(self, found: Sequence[UnfinishedSession] | None = None) -> None:
        """Resume the newest session without a close that can be resumed, close the others as lost. `found`: oldest first; they are looked
        for if they are not given."""
        for earlier in reversed(unfinished_sessions(self._config.journals, self._parts.say) if found is None else found):
            if self.running is None and self._goes_on(earlier):
                continue
            try:
                self._close_as_lost(earlier)
            except OSError as wrong:
                self._parts.say(f"{earlier.path}: had no end, and cannot be closed ({wrong.strerror})")
        if self.running is None and self._parts.publisher is not None:
            self._parts.publisher.progress(None)

    def _goes_on(self, earlier: UnfinishedSession) -> bool:
        if earlier.recipe is None:
            return False
        try:
            told = plan(earlier, self._parts.clock)
            if told.verdict == "lost":
                return False
            session = Session(earlier.recipe, beliefs_of(earlier.opening, earlier.recipe), replace(options_of(earlier.opening), lamp=False))
            self.running = self._new(session, earlier.session, told.zero_s)
            self.running.take_up(self._next_generation(), earlier, told)
        except Exception as wrong:  # a record that this program cannot fold: the session cannot be saved, the station can
            self.mishaps.append(f"take up: {traceback.format_exc()}")
            self._parts.say(f"session {earlier.session} cannot be taken up: {shown(f'{type(wrong).__name__}: {wrong}')}")
            if self.running is not None:
                self.running.let_go()
                self.running.journal.stop()
            self.running = None
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
        beliefs, opening = opening_fields(self._config, wanted, probes.learned, clock, zero_s, answers)
        unreserved = self._reserve(wanted.recipe)
        session = Session(wanted.recipe, beliefs, options_of({**opening, "mode": "rehearsal" if wanted.rehearsal else "live"}))
        self.running = running = self._new(session, name, zero_s)
        running.begin(self._next_generation(), opening)
        for reading in recent:  # what is known of the bath is known to the session: a begin may come at once
            running.take(reading, reading.t_s)
        if unreserved:
            self.note("trouble", {"part": "disk", "well": False, "why": f"no space could be reserved: {unreserved}"})
        if not (running.journal.wait_safe(ARM_SAFE_S) if self._parts.threads else running.journal.step()):
            return self._unarm(running)
        return {"ok": True, "armed": name, "open_film": list(wanted.recipe.open_film), "has_switch": opening["has_switch"]}

    def _unarm(self, running: Running) -> Mapping[str, Any]:
        """The disk does not accept the first record, so nothing could be resumed after a crash: no start."""
        self.running = None
        running.let_go()
        self._parts.player.restart(self._next_generation(), self._parts.clock.mono_s())
        running.journal.discard()
        path = journal_path(self._config.journals, running.name)
        return {"ok": False, "status": 3, "lines": [f"{path}: the disk does not accept the journal; check the card, then start again"]}

    def let_go_of_closed(self) -> bool:
        """Let go of the session if it has closed. Returns whether it had."""
        running = self.running
        if running is None or not running.session.closed:
            return False
        self.running = None
        running.journal.finish()
        self._ended = [journal for journal in self._ended if not journal.finished] + [running.journal]
        if self._parts.publisher is not None:
            self._parts.publisher.progress(None)
        self.followers.tell({"event": "closed", "session": running.name})
        self.followers.clear()
        return True

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
        return [*self._ended, *([] if self.running is None else [self.running.journal])]

    # -- what a session is made of ----------------------------------------------------------------------------------

    def _new(self, session: Session, name: str, zero_s: float) -> Running:
        parts = self._parts
        journal = self._journal(journal_path(self._config.journals, name))
        return Running(session, name, zero_s, journal, parts.player, parts.panel, parts.clock, self._tell)

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

    def note(self, kind: str, fields: Mapping[str, Any]) -> None:
        """Write a note into the running session's journal; where none runs, a trouble is said instead."""
        if self.running is not None:
            self.running.note(kind, fields, self._parts.clock.mono_s())
        elif kind == "trouble":
            self._parts.say(f"{fields['part']}: {fields['why']}")

    def trouble(self, message: Trouble) -> None:
        """A part of the station failed, or works again: a note. Hands on the running journal are a FAULT too, once a session."""
        self.note("trouble", {"part": message.part, "well": message.well, "why": message.why})
        if message.part == "journal" and self.running is not None and self._hands_told_of != self.running.name:
            self._hands_told_of = self.running.name
            self.running.fault(HANDS_ON_JOURNAL, self._parts.clock.mono_s())

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
        if self.running is None or self.running.session.closed:
            return
        if self._mishaps > MISHAP_NOTES and now_s - self._mishap_noted_s < NOTE_AGAIN_S:
            return
        self._mishap_noted_s = now_s
        with contextlib.suppress(Exception):  # the same fault may be in the way of the note
            self.note("mishap", {"where": where, "what": "" if kind is None else kind.__name__})

    def _tell(self, record: Mapping[str, Any]) -> None:
        """A record was handed to the journal."""
        if record["kind"] == "progress" and self._parts.publisher is not None:
            self._parts.publisher.progress(record)
        if self.followers:
            self.followers.tell({"event": "record", "record": record})
