"""The station: one thread owns all state; probes, foot switch, player, disk, sockets and signals only put messages into its inbox.

Decides what each message means for the running session, or for the watch over the bath while none runs. It never waits for a
disk, a network or a follower. The clock is handed in; `turn` is one step and needs no thread, so that simulated time runs
through the same code. Threads: station (this one), player, one reader for each probe, journal, control, telling, keeper, and
the publisher where there is a broker. Tests: tests/live/station/test_daemon.py, tests/live/station/test_fault_storm.py.
"""

from __future__ import annotations

import math
from typing import Any

from monitor.core.probes.learned import Learned
from monitor.core.probes.readings import Reading
from monitor.core.session.foot import Debounce
from monitor.live.clock import stamp
from monitor.live.inbox import Edge, HungUp, MachineHealth, Message, Relearned, Request, Sampled, Sounded, Stop, Trouble, Unsounded
from monitor.live.station.answers import Answers
from monitor.live.station.followers import Keyboard
from monitor.live.station.machine import Machine
from monitor.live.station.parts import Parts
from monitor.live.station.probes_now import ProbesNow, plain
from monitor.live.station.running import Running
from monitor.live.station.sessions import Sessions
from monitor.live.station.side_by_side import Switch
from monitor.live.station.starting import Starting
from monitor.live.station.word import Teller

SECOND_S = 1.0
LATE_S, LATE_APART_S = 0.25, 10.0
"""A turn that comes later than this is noted, at most once in ten seconds."""
FAULT_PAUSE_S = 0.1
"""What failed because its time had come is tried again after this: a fault that stays takes no whole processor."""


class Station:
    """The loop. Every method but `on_edge` belongs to one thread."""

    def __init__(self, parts: Parts) -> None:
        self._parts = parts
        self._clock = parts.clock
        self._keyboard = Keyboard()
        self.sessions = Sessions(parts)
        self._probes = ProbesNow(parts.config.probes, parts.learn())
        self._machine = Machine(parts, self.sessions)
        self._starting = Starting(parts, self.sessions, self._probes, self._machine)
        self._starting.turns.to_come.load()
        self._answers = Answers(parts, self.sessions, self._probes, self._machine, self._starting, self._keyboard)
        self._teller = Teller(parts, self.sessions, self._probes, self._starting)
        switch = parts.panel.switch
        second = parts.panel.switch_2
        self._debounces: dict[Switch, Debounce] = {1: Debounce(switch is not None and switch.is_down())}
        if second is not None:
            self._debounces[2] = Debounce(second.is_down())
        self._ending: Stop | None = None
        self._relearned: Learned | None = None
        now_s = self._clock.mono_s()
        self._second_s = now_s + SECOND_S
        self._planned_s = now_s + SECOND_S
        self._late_noted_s = now_s - LATE_APART_S
        self._not_before_s = -math.inf

    @property
    def running(self) -> Running | None:
        """The session that runs, of two the one whose hands are due next."""
        return self.sessions.running

    def on_edge(self, mono_s: float, down: bool) -> None:
        """An edge of the switch, called by the pins' thread: it only goes into the inbox."""
        self._parts.inbox.put(Edge(mono_s, down))

    def on_edge_2(self, mono_s: float, down: bool) -> None:
        """The same of the second vessel's own switch."""
        self._parts.inbox.put(Edge(mono_s, down, 2))

    def run(self) -> str:
        """Handle messages until one says stop; returns why."""
        while self._ending is None:
            self.turn(self._parts.inbox.get(self.due_s - self._clock.mono_s()))
        return self._ending.why

    # -- one step ---------------------------------------------------------------------------------------------------

    @property
    def due_s(self) -> float:
        """When `turn` is wanted although no message came, monotonic."""
        settles = [debounce.settles_s for debounce in self._debounces.values()]
        times = [self._second_s, *settles, self._starting.until_s, self._keyboard.next_s, self._teller.due_s]
        times += [film.wake_mono_s for film in self.sessions.films]
        return max(self._not_before_s, min(t for t in times if t is not None))

    def turn(self, message: Message | None) -> None:
        """Take one message, if there is one, and do what has become due. Whatever goes wrong in it, time goes on."""
        try:
            if message is not None:
                self._take(message)
        except Exception:  # the supervisor: one bad message must not end the session
            self.sessions.mishap(type(message).__name__)
        try:
            self._time_passes()
            if self.sessions.let_go_of_closed():
                self._keyboard.clear()
            self._teller.look(self._clock.mono_s())
        except Exception:
            self.sessions.mishap("time")
            self._not_before_s = self._clock.mono_s() + FAULT_PAUSE_S
        self._planned_s = max(self.due_s, self._clock.mono_s())

    def _take(self, message: Message) -> None:
        if isinstance(message, Sampled):
            self._sampled(message)
        elif isinstance(message, Edge):
            debounce = self._debounces.get(message.switch)
            if debounce is not None:
                self._edges(debounce.feed(message.mono_s, message.down), message.switch)
        elif isinstance(message, Sounded):
            self.sessions.side.sounded(message)
        elif isinstance(message, Unsounded):
            self.sessions.side.unsounded(message, self._clock.mono_s())
        elif isinstance(message, Request):
            self._answers.answer(message)
        elif isinstance(message, HungUp):
            self.sessions.followers.discard(message.line)
            self._starting.hung_up(message.line)
        elif isinstance(message, Trouble):
            self.sessions.trouble(message)
        elif isinstance(message, MachineHealth):
            self._machine.take(message)
        elif isinstance(message, Relearned):
            self._relearned = message.learned
            self._learn_anew()
        else:
            self._ending = message

    def _learn_anew(self) -> None:
        """What was learned since counts once no film runs: one goes on with what it began with."""
        if self._relearned is not None and not self.sessions.films:
            self._probes.learn(self._relearned)
            self._relearned = None

    def _time_passes(self) -> None:
        now_s = self._clock.mono_s()
        for switch, debounce in self._debounces.items():
            if debounce.settles_s is not None and now_s >= debounce.settles_s:
                self._edges(debounce.tick(now_s), switch)
        self._edges(self._keyboard.due(now_s))
        if self.sessions.films:
            if now_s - self._planned_s > LATE_S and now_s - self._late_noted_s > LATE_APART_S:
                self._late_noted_s = now_s
                self.sessions.note("late", {"late_s": now_s - self._planned_s})
            for film in list(self.sessions.films):
                film.wake(now_s)
        self._starting.look()
        if now_s >= self._second_s:
            self._second_s = max(self._second_s + SECOND_S, now_s)
            self._each_second(now_s)

    def _each_second(self, now_s: float) -> None:
        self._learn_anew()
        self._machine.look(now_s)
        for reader in self._parts.readers:
            hung = reader.look()
            if hung is not None:
                self._sampled(hung)
        self.sessions.side.look_for_clashes(now_s)
        self._starting.turns.look()
        for film in self.sessions.films if self.sessions.followers else ():
            turns = self._starting.turns
            others = [other for other in self.sessions.films if other is not film]
            beside = [{**other.beside(), "begins_in_s": turns.begins_in_s(other)} for other in others]
            told = {"event": "view", "session": film.name, "view": film.session.view}
            to_come = turns.next_ones()
            more = {key: rows for key, rows in (("beside", beside), ("to_come", to_come)) if rows}
            self.sessions.followers.tell(film.name, {**told, **more})

    def _edges(self, edges: list[tuple[float, bool]], switch: Switch = 1) -> None:
        for at_s, down in edges:
            if not self.sessions.side.press(at_s, down, switch) and down:
                self._starting.pressed()

    def _sampled(self, message: Sampled) -> None:
        reading = self._probes.take(message)
        if reading is None:
            return
        for film in list(self.sessions.films):
            if film.probes is None or reading.probe in film.probes:
                film.take(reading, self._clock.mono_s())
        if self._parts.publisher is not None:
            self._parts.publisher.probe(reading.probe, self._for_the_network(reading))
        self._starting.look()

    def _for_the_network(self, reading: Reading) -> dict[str, Any]:
        """A reading with the wall time, and with session time while a session runs."""
        age_s = self._clock.mono_s() - reading.t_s
        told: dict[str, Any] = {**plain(reading), "t_s": None, "session": None, "wall": stamp(self._clock.wall()), "age_s": age_s}
        films = [film for film in self.sessions.films if film.probes is None or reading.probe in film.probes]
        film = self.running if self.running in films else next(iter(films), None)
        if film is not None:
            told |= {"t_s": film.moment(reading.t_s), "session": film.name}
        return told
