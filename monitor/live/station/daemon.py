"""The station: one thread owns all state; probes, foot, player, disk, sockets and signals only put into its inbox.

Decides what each message means for the session that runs, or for the watch over the bath while none does. It never waits
for a disk, a network or a follower. Time comes from the clock that is handed in; `turn` is one step and needs no thread,
so that simulated time runs through the same code. Threads: station (this), player, one reader a probe, journal, control,
keeper, and the publisher's where there is a broker. Tests: tests/live/station/test_daemon.py, tests/live/station/test_fault_storm.py.
"""

from __future__ import annotations

import random
import sys
import traceback
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from monitor import __version__
from monitor.core.errors import EvenbathError
from monitor.core.probes.classify import Classifier
from monitor.core.probes.learned import Comparison, Learned
from monitor.core.probes.readings import Reading
from monitor.core.recipe.values import Recipe
from monitor.core.session.cues import Sound
from monitor.core.session.foot import Debounce
from monitor.core.session.session import Session
from monitor.live.clock import BUILT, Clock, stamp
from monitor.live.disk.journal import Disk, JournalWriter, Reserve, make_journal
from monitor.live.inbox import Edge, HungUp, Inbox, MachineHealth, Message, Request, Sampled, Sounded, Trouble, Unsounded
from monitor.live.station.parts import Panel, Publisher
from monitor.live.station.player import Player
from monitor.live.station.preflight import Facts, ProbeFacts
from monitor.live.station.readers import Reader, to_reading
from monitor.live.station.requests import RequestRefused
from monitor.live.station.resume import LATER_S, UnfinishedSession, close_by_hand, load, plan, planned_total_s, repair, unfinished_journals
from monitor.live.station.running import Running, StartRequest, beliefs_of, opening_fields, options_of
from monitor.live.station.sdnotify import Notifier
from monitor.live.station.starting import Starting
from monitor.live.station.station_file import StationConfig

RING_S = 1800.0
SECOND_S = 1.0
READER_LATE_S, PLAYER_LATE_S = 20.0, 3.0
"""A part that has not moved for this long has stopped: the watchdog is no longer fed."""
CLOCK_STEP_S = 1.0
"""A wall clock that moves by more than this against the monotonic one within a second was set."""
KNOWN_S = 5.0
"""A session begins with the readings of the last seconds before it was armed; its t_s = 0 is the first of them."""
ARM_SAFE_S = 3.0
"""So long the start waits for its first record to be safe; nothing is timed yet."""
LATE_S, LATE_APART_S = 0.25, 10.0
KEY_TAP_S, KEY_HOLD_S = 0.15, 1.2
"""How long a key of the keyboard holds the switch that is not there."""


@dataclass(frozen=True, slots=True)
class Newest:
    """The newest of one probe: its reading (monotonic `t_s`), and the moment of its last good one."""

    reading: Reading
    good_s: float | None


class Station:
    """All state of the daemon. Every method belongs to one thread."""

    def __init__(
        self, config: StationConfig, clock: Clock, panel: Panel, inbox: Inbox, player: Player, learn: Callable[[], Learned],
        *, send: Callable[[int, Mapping[str, Any]], bool], publisher: Publisher | None = None, notifier: Notifier | None = None,
        say: Callable[[str], None] = lambda line: None, dice: random.Random | None = None, disk: Disk | None = None, threads: bool = True,
    ) -> None:  # fmt: skip
        self.config = config
        self.running: Running | None = None
        self.mishaps: list[str] = []
        self.ending = False
        self.readers: list[Reader] = []
        self._clock = clock
        self._panel = panel
        self._inbox = inbox
        self._player = player
        self._learn = learn
        self._send = send
        self._publisher = publisher
        self._notifier = notifier
        self._say = say
        self._starting = Starting(self, clock.mono_s, config.panel.lamp is not None, dice or random.Random())
        self._disk = disk
        self._threads = threads
        self._classifier = Classifier({p.name: p.role for p in config.probes})
        self._comparisons: dict[str, Comparison | None] = {}
        self._newest: dict[str, Newest] = {}
        self._ring: deque[Reading] = deque()
        self._health = MachineHealth(None, None)
        self._followers: set[int] = set()
        self._keys: list[tuple[float, bool]] = []
        self._debounce = Debounce(panel.switch is not None and panel.switch.is_down())
        self._generations = 0
        now_s = clock.mono_s()
        self._up_s = now_s
        self._second_s = now_s + SECOND_S
        self._planned_s = now_s + SECOND_S
        self._wall_ahead_s = self._ahead()
        self._late_told_s = -LATE_APART_S
        self._ended: list[JournalWriter] = []
        self._switch_dead = False
        self._throttled: int | None = None
        self.learn_again()

    # -- start and end ----------------------------------------------------------------------------------------------

    def learn_again(self) -> None:
        """Take up what has been learned about probes."""
        self._learned = self._learn()
        for probe in self.config.probes:
            self._comparisons[probe.name] = self._learned.comparison(probe.id) or self._learned.comparison(probe.name)

    def take_up(self) -> None:
        """Look for sessions that were left without a close: go on with the newest that can be, close the others as lost."""
        found: list[UnfinishedSession] = []
        for path in unfinished_journals(self.config.journals):
            repair(path)
            earlier = load(path)
            if earlier is not None:
                found.append(earlier)
            elif path.stat().st_size == 0:
                path.unlink()  # made, and never written to: nobody was told of this session
        for number, earlier in enumerate(reversed(found)):
            told = plan(earlier, self._clock)
            if number == 0 and told.verdict != "lost" and earlier.recipe is not None:
                try:
                    self._go_on(earlier, earlier.recipe)
                    continue
                except Exception:  # a record that this program cannot fold: the session cannot be saved, the station can
                    self._mishap("take up")
                    if self.running is not None:
                        self.running.let_go()
                    self.running = None
            journal = self._journal(earlier.path)
            journal.append(close_by_hand(earlier, "lost", self._clock.wall()))
            journal.finish()
            self._ended.append(journal)
            self._say(f"session {earlier.session} was left without an end and cannot go on: closed as lost")
        if self.running is None and self._publisher is not None:
            self._publisher.progress(None)

    def _go_on(self, earlier: UnfinishedSession, recipe: Recipe) -> None:
        session = Session(recipe, beliefs_of(earlier.opening, recipe), options_of(earlier.opening))
        told = plan(earlier, self._clock)
        running = self._running(session, earlier.session, told.zero_s, self._journal(earlier.path))
        self.running = running
        running.take_up(self._next_generation(), earlier, told)
        self._say(f"session {earlier.session} goes on")
        self._reserve(recipe)
        self._done()

    def _journal(self, path: Path) -> JournalWriter:
        safe = None if self._publisher is None else self._publisher.safe
        journal = JournalWriter(path, self._clock, self._inbox.put, Reserve(self.config.state / "reserve"), safe, self._disk)
        if self._threads:
            journal.start()
        return journal

    def _running(self, session: Session, name: str, zero_s: float, journal: JournalWriter) -> Running:
        return Running(session, name, zero_s, journal, self._player, self._panel, self._clock, self._tell)

    def _reserve(self, recipe: Recipe) -> str:
        """Set space aside; what went wrong, in words."""
        try:
            Reserve(self.config.state / "reserve").make(planned_total_s(recipe) + LATER_S)
        except OSError as wrong:
            return wrong.strerror or str(wrong)
        return ""

    def _next_generation(self) -> int:
        self._generations += 1
        return self._generations

    def on_edge(self, mono_s: float, down: bool) -> None:
        """An edge of the switch, from the pins' own thread: into the inbox and nothing else."""
        self._inbox.put(Edge(mono_s, down))

    def run(self) -> None:
        """Serve the inbox until it says stop."""
        while not self.ending:
            self.turn(self._inbox.get(self.due_s - self._clock.mono_s()))

    def stop(self) -> None:
        """End without a close: another life goes on with the session."""
        for journal in self.journals:
            journal.stop()

    @property
    def journals(self) -> list[JournalWriter]:
        """All that may still have something to write, the running session's last."""
        return [*self._ended, *([] if self.running is None else [self.running.journal])]

    # -- one step ---------------------------------------------------------------------------------------------------

    @property
    def due_s(self) -> float:
        """The monotonic moment at which `turn` is wanted without a message."""
        times = [self._second_s, self._debounce.settles_s, self._starting.until_s]
        if self.running is not None:
            times.append(self.running.wake_mono_s)
        times += [at_s for at_s, _ in self._keys[:1]]
        return min(t for t in times if t is not None)

    def turn(self, message: Message | None) -> None:
        """Take one message, if there is one, and do what time has made due. Whatever goes wrong in it, time goes on."""
        try:
            if message is not None:
                self._take(message)
        except Exception:  # the supervisor: one bad message must not end the session
            self._mishap(type(message).__name__)
        try:
            self._time_passes()
        except Exception:
            self._mishap("time")
        self._done()
        self._planned_s = max(self.due_s, self._clock.mono_s())

    def _mishap(self, where: str) -> None:
        """A fault of the program itself. It is told, and the session goes on without whatever the message was for."""
        what = traceback.format_exc()
        self.mishaps.append(f"{where}: {what}")
        del self.mishaps[:-20]
        if len(self.mishaps) <= 3:
            self._say(f"a fault of the program itself ({where}), the time goes on:\n{what}")
        kind = sys.exc_info()[0]
        if self.running is not None and not self.running.session.closed:
            try:
                self.running.note("mishap", {"where": where, "what": "" if kind is None else kind.__name__}, self._clock.mono_s())
            except Exception:
                self._say("and it could not be written down")

    def _take(self, message: Message) -> None:
        if isinstance(message, Sampled):
            self._sampled(message)
        elif isinstance(message, Edge):
            self._edges(self._debounce.feed(message.mono_s, message.down))
        elif isinstance(message, Sounded):
            if self.running is not None and message.generation == self.running.generation:
                self.running.sounded(message.sound, message.onset_s)
        elif isinstance(message, Unsounded):
            if self.running is not None and message.generation == self.running.generation:
                self.running.dropped(message.sound, self._clock.mono_s())
        elif isinstance(message, Request):
            self._request(message)
        elif isinstance(message, HungUp):
            self._hung_up(message.line)
        elif isinstance(message, Trouble):
            self._note("trouble", {"part": message.part, "well": message.well, "why": message.why})
        elif isinstance(message, MachineHealth):
            self._look_health(message)
        else:
            self.ending = True

    def _time_passes(self) -> None:
        now_s = self._clock.mono_s()
        if self._debounce.settles_s is not None and now_s >= self._debounce.settles_s:
            self._edges(self._debounce.tick(now_s))
        while self._keys and self._keys[0][0] <= now_s:
            at_s, down = self._keys.pop(0)
            self._edges([(at_s, down)])
        if self.running is not None:
            if now_s - self._planned_s > LATE_S and now_s - self._late_told_s > LATE_APART_S:
                self._late_told_s = now_s
                self.running.note("late", {"late_s": now_s - self._planned_s}, now_s)
            self.running.wake(now_s)
        self._starting.look()
        if now_s >= self._second_s:
            self._second_s = max(self._second_s + SECOND_S, now_s)
            self._each_second(now_s)

    def _done(self) -> None:
        """Let go of a session that has closed."""
        running = self.running
        if running is not None and running.session.closed:
            self.running = None
            running.journal.finish()
            self._ended = [journal for journal in self._ended if not journal.finished] + [running.journal]
            if self._publisher is not None:
                self._publisher.progress(None)
            self._tell_followers({"event": "closed", "session": running.name})
            self._followers.clear()
            self._keys.clear()

    # -- probes -----------------------------------------------------------------------------------------------------

    def _sampled(self, message: Sampled) -> None:
        probe = self.config.probe(message.probe)
        comparison = self._comparisons[probe.name]
        reading = to_reading(message.sample, probe.name, probe.role, comparison, self._classifier, 0.0, message.arrived_s)
        before = self._newest.get(probe.name)
        if before is not None and reading.t_s < before.reading.t_s:
            return  # a bus whose spans overlap; the newer one has been taken
        good_s = reading.t_s if reading.quality == "good" else None if before is None else before.good_s
        self._newest[probe.name] = Newest(reading, good_s)
        self._ring.append(reading)
        while self._ring and self._ring[0].t_s < reading.t_s - RING_S:
            self._ring.popleft()
        if self.running is not None:
            self.running.take(reading, self._clock.mono_s())
        if self._publisher is not None:
            self._publisher.probe(probe.name, self._told_of(reading))
        self._starting.look()

    def _told_of(self, reading: Reading) -> dict[str, Any]:
        """A reading for the network: with the wall clock, and session time where a session runs."""
        age_s = self._clock.mono_s() - reading.t_s
        told: dict[str, Any] = {**_plain(reading), "t_s": None, "session": None, "wall": stamp(self._clock.wall()), "age_s": age_s}
        if self.running is not None:
            told |= {"t_s": self.running.moment(reading.t_s), "session": self.running.name}
        return told

    def good_now(self) -> dict[str, float]:
        """Each probe that reads well at this moment, C."""
        now_s = self._clock.mono_s()
        fresh = {name: n.reading for name, n in self._newest.items() if now_s - n.reading.t_s < 5.0}
        return {name: r.celsius for name, r in fresh.items() if r.celsius is not None}

    # -- the foot ---------------------------------------------------------------------------------------------------

    def _edges(self, edges: list[tuple[float, bool]]) -> None:
        for at_s, down in edges:
            if self.running is not None:
                self.running.press(at_s, down)
            elif down:
                self._starting.pressed()

    # -- once a second ----------------------------------------------------------------------------------------------

    def _ahead(self) -> float:
        return self._clock.wall().timestamp() - self._clock.mono_s()

    def _each_second(self, now_s: float) -> None:
        ahead_s = self._ahead()
        moved_s, self._wall_ahead_s = ahead_s - self._wall_ahead_s, ahead_s
        if abs(moved_s) > CLOCK_STEP_S:
            self._note("clock", {"event": "stepped", "by_s": moved_s})
        self._look_switch(now_s)
        if self._notifier is not None and self._moves(now_s):
            self._notifier.alive()
        running = self.running
        if running is not None and self._followers:
            view = running.session.view
            self._tell_followers({"event": "view", "session": running.name, "view": view})

    def _moves(self, now_s: float) -> bool:
        """Whether readers, player and panel have all moved lately."""
        readers = all(now_s - reader.beat_s < READER_LATE_S for reader in self.readers)
        return readers and now_s - self._player.beat_s < PLAYER_LATE_S and self._panel.alive()

    def _look_switch(self, now_s: float) -> None:
        dead = not self._panel.alive()
        if dead == self._switch_dead:
            return
        self._switch_dead = dead
        self._note("trouble", {"part": "switch", "well": not dead, "why": "no edge can come any more" if dead else "it is read again"})
        if dead and self.running is not None:
            self.running.fault("the foot switch is no longer read: go on by the cues and the second clock", now_s)

    def _look_health(self, health: MachineHealth) -> None:
        self._health = health
        if health.throttled is not None and health.throttled != self._throttled:
            if self._throttled is not None or health.throttled:
                self._note("power", {"throttled": health.throttled})
            self._throttled = health.throttled

    def _note(self, kind: str, fields: Mapping[str, Any]) -> None:
        if self.running is not None:
            self.running.note(kind, fields, self._clock.mono_s())
        elif kind == "trouble":
            self._say(f"{fields['part']}: {fields['why']}")

    # -- followers --------------------------------------------------------------------------------------------------

    def _tell(self, record: Mapping[str, Any]) -> None:
        """A record has been handed to the journal."""
        if record["kind"] == "progress" and self._publisher is not None:
            self._publisher.progress(record)
        if self._followers:
            self._tell_followers({"event": "record", "record": record})

    def _tell_followers(self, body: Mapping[str, Any]) -> None:
        for line in list(self._followers):
            if not self._send(line, body):
                self._followers.discard(line)

    def _hung_up(self, line: int) -> None:
        self._followers.discard(line)
        self._starting.hung_up(line)

    # -- requests ---------------------------------------------------------------------------------------------------

    def _request(self, request: Request) -> None:
        verbs: dict[str, Callable[[Request], Mapping[str, Any] | None]] = {
            "status": self._status,
            "readings": self._readings,
            "develop": self._develop,
            "answer": self._starting.answer,
            "arm": self._starting.arm,
            "press": self._key,
            "follow": self._follow,
            "abandon": self._abandon,
        }
        verb = request.body.get("verb")
        try:
            if not isinstance(verb, str) or verb not in verbs:
                raise RequestRefused(f"no such verb; allowed: {', '.join(verbs)}")
            answer = verbs[verb](request)
        except EvenbathError as wrong:
            answer = {"ok": False, "status": wrong.exit_status, "lines": list(wrong.lines)}
        if answer is not None:
            request.reply(answer)

    def _status(self, request: Request) -> Mapping[str, Any]:
        now_s = self._clock.mono_s()
        running = self.running
        probes = []
        for probe in self.config.probes:
            newest = self._newest.get(probe.name)
            compared = self._comparisons[probe.name] is not None
            told: dict[str, Any] = {"probe": probe.name, "id": probe.id, "role": probe.role, "compared": compared}
            if newest is None:
                told |= {"raw_c": None, "celsius": None, "quality": None, "age_s": None, "good_age_s": None}
            else:
                reading = newest.reading
                told |= {"raw_c": reading.raw_c, "celsius": reading.celsius, "quality": reading.quality, "age_s": now_s - reading.t_s}
                told["good_age_s"] = None if newest.good_s is None else now_s - newest.good_s
            probes.append(told)
        view = None if running is None else running.session.view
        return {
            "ok": True,
            "station": self.config.name,
            "version": __version__,
            "up_s": now_s - self._up_s,
            "session": None if running is None else running.name,
            "recipe": None if running is None else running.recipe.name,
            "view": view,
            "source": None if view is None else view["source"],
            "probes": probes,
            "free_bytes": self._health.free_bytes,
            "throttled": self._health.throttled,
            "wall_set": self._clock.wall_set(),
            "unsafe_records": None if running is None else running.journal.backlog,
            "switch": None if self._panel.switch is None else self._panel.alive(),
            "broker": self._broker(),
            "mqtt": None if self._publisher is None else self._publisher.counters(),
            "bare_now": running is not None and running.bare_now,
            "mishaps": len(self.mishaps),
        }

    def _broker(self) -> Any:
        return "none" if self._publisher is None else "there" if self._publisher.counters()["connected"] else "away"

    def _readings(self, request: Request) -> Mapping[str, Any]:
        """The last half hour, or `minutes`, of every probe. Times are monotonic, `now_s` is this moment."""
        now_s, minutes = self._clock.mono_s(), request.body.get("minutes")
        since_s = now_s - (60.0 * minutes if isinstance(minutes, (int, float)) else RING_S)
        return {"ok": True, "now_s": now_s, "readings": [_plain(reading) for reading in self._ring if reading.t_s >= since_s]}

    def _develop(self, request: Request) -> None:
        if self.running is not None:
            name = self.running.name
            raise RequestRefused(f"session {name} is armed or running; allowed: one session at a time (evenbath status shows it)")
        self._starting.develop(request)

    def facts(self, wanted: StartRequest) -> Facts:
        """What the machine knows when somebody wants to start."""
        now_s = self._clock.mono_s()
        probes = []
        for probe in self.config.probes:
            newest = self._newest.get(probe.name)
            age_s = None if newest is None or newest.good_s is None else now_s - newest.good_s
            quality = None if newest is None else newest.reading.quality
            celsius = None if newest is None else newest.reading.celsius
            probes.append(ProbeFacts(probe.name, probe.role, quality, celsius, age_s, self._comparisons[probe.name] is not None))
        switch = self._panel.switch
        return Facts(
            probes=tuple(probes),
            has_switch=switch is not None,
            switch_alive=self._panel.alive(),
            switch_down=switch is not None and switch.is_down(),
            free_bytes=self._health.free_bytes,
            wall_set=self._clock.wall_set(),
            wall_plausible=self._clock.wall() >= BUILT,
            throttled=self._health.throttled,
            has_vessel_lag=self._learned.vessel_lag(wanted.vessel or wanted.recipe.vessel) is not None,
            broker=self._broker(),
        )

    def sound(self, pattern: Sequence[tuple[float, tuple[float, ...]]]) -> None:
        """Ticks of the pre-flight, so many seconds from now."""
        self._player.restart(self._next_generation(), self._clock.mono_s())
        for number, (after_s, ticks) in enumerate(pattern):
            self._player.add(Sound(number, "tick", after_s, ticks))

    def start(self, wanted: StartRequest, answers: Mapping[str, Any]) -> Mapping[str, Any]:
        """Arm. The open record is on the disk before anybody is told the session's name."""
        self.learn_again()
        try:
            name = make_journal(self.config.journals, self._clock.wall())
        except OSError as wrong:
            return {"ok": False, "status": 3, "lines": [f"{self.config.journals}: no journal can be made ({wrong.strerror})"]}
        recent = sorted((r for r in self._ring if r.t_s >= self._clock.mono_s() - KNOWN_S), key=lambda r: r.t_s)
        zero_s = recent[0].t_s if recent else self._clock.mono_s()
        beliefs, opening = opening_fields(self.config, wanted, self._learned, self._clock, zero_s, answers)
        unreserved = self._reserve(wanted.recipe)
        session = Session(wanted.recipe, beliefs, options_of({**opening, "lamp": wanted.lamp}))
        running = self._running(session, name, zero_s, self._journal(self.config.journals / f"{name}.jsonl"))
        self.running = running
        running.begin(self._next_generation(), opening)
        for reading in recent:  # what is known of the bath is known to the session: a begin may come at once
            running.take(reading, reading.t_s)
        if unreserved:
            self._note("trouble", {"part": "disk", "well": False, "why": f"no space could be set aside: {unreserved}"})
        if not (running.journal.wait_safe(ARM_SAFE_S) if self._threads else running.journal.step()):
            return self._unarm(running)
        return {"ok": True, "armed": name, "open_film": list(wanted.recipe.open_film), "has_switch": opening["has_switch"]}

    def _unarm(self, running: Running) -> Mapping[str, Any]:
        """The disk does not take the first record, so that nothing could be taken up after a crash: no start."""
        self.running = None
        running.let_go()
        self._player.restart(self._next_generation(), self._clock.mono_s())
        running.journal.stop()
        path = self.config.journals / f"{running.name}.jsonl"
        path.unlink(missing_ok=True)
        return {"ok": False, "status": 3, "lines": [f"{path}: the disk does not take the journal; see to the card, then start again"]}

    def _key(self, request: Request) -> Mapping[str, Any]:
        """A key of the keyboard that stands for the switch: in the light, and only where there is no switch."""
        running = self.running
        if running is None:
            raise RequestRefused("nothing is armed; allowed: develop first")
        if self.config.panel.switch is not None:
            raise RequestRefused("this station has a foot switch; the keyboard is none")
        if running.bare_now:
            raise RequestRefused("the film is bare: no keyboard and no screen now; begins are assumed")
        now_s = self._clock.mono_s()
        if self._keys:
            return {"ok": True}
        kind = request.body.get("kind")
        self._edges([(now_s, True)])
        self._keys.append((now_s + (KEY_HOLD_S if kind == "hold" else KEY_TAP_S), False))
        return {"ok": True}

    def _follow(self, request: Request) -> Mapping[str, Any]:
        running = self.running
        if running is None:
            raise RequestRefused("no session is running; allowed: develop first")
        self._followers.add(request.line)
        beliefs = running.session.beliefs
        told: dict[str, Any] = {"ok": True, "session": running.name, "view": running.session.view, "recipe": running.recipe.data}
        vessel = None if beliefs.vessel is None else asdict(beliefs.vessel)
        return {**told, "probes": [asdict(probe) for probe in beliefs.probes], "vessel": vessel}

    def _abandon(self, request: Request) -> Mapping[str, Any]:
        running = self.running
        why = request.body.get("why")
        if running is None:
            raise RequestRefused("no session is running; nothing to abandon")
        if not isinstance(why, str) or not why.strip():
            raise RequestRefused("no reason; allowed: a few words that will be written into the journal")
        running.note("abandon", {"why": why.strip()[:500], "by": "this machine"}, self._clock.mono_s())
        running.abandon(why.strip()[:500], self._clock.mono_s())
        if self._threads:
            running.journal.wait_safe(2.0)
        return {"ok": True, "session": running.name}


def _plain(reading: Reading) -> dict[str, Any]:
    return {
        "t_s": reading.t_s, "probe": reading.probe, "role": reading.role, "raw_c": reading.raw_c,
        "celsius": reading.celsius, "quality": reading.quality,
    }  # fmt: skip
