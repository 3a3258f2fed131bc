"""Publishes on the home's broker what the station measures: every journal record, the newest readings, the newest progress.

Decides the order in which things are sent, what is sent again, and which request from the network is answered: only `again`,
which asks for a part of a journal once more. Nothing from the network reaches the session, the panel or the journal: this
module has no access to them. Its thread owns the outbox and the connection; the station's threads only leave a number or a
newest value behind a lock that is never held during I/O, so that a broker, a name server or a slow card delays nobody. At most
`PUBLISHES_IN_FLIGHT` messages are unacknowledged; an outage costs no memory, because the journal waits on the disk. Home
automation is described by monitor.live.telemetry.discovery. Tests: tests/live/telemetry/test_mqtt.py, test_mqtt_outages.py.
"""

from __future__ import annotations

import contextlib
import dataclasses
import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from monitor.core.journal.records import is_close
from monitor.live.broker import SESSION, STATION, MqttConfig, topic_of
from monitor.live.clock import Clock
from monitor.live.telemetry.broker_link import INFLOW_PER_S, BrokerLink, Timing
from monitor.live.telemetry.discovery import STATUS_TOPIC as HOME_STATUS_TOPIC
from monitor.live.telemetry.mailbox import Mailbox
from monitor.live.telemetry.newest import OFFLINE, NewestValues
from monitor.live.telemetry.outbox import JournalLine, Outbox, Replays, parse_object
from monitor.live.telemetry.turns import Turns

PUBLISHES_IN_FLIGHT = 20
"""The most unacknowledged messages: what a common broker allows one client by default."""
LONGEST_REQUEST = 256
"""Bytes. `{"session": ..., "from_seq": ...}` needs less than 120."""
LONGEST_PACKET = 1 << 16
"""Bytes. A larger packet is not read: the connection is cut, and the next one does not listen for `DEAF_S`."""
DEAF_S = 15.0

_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class PublishPace:
    """How fast, in lines a second, and how often.

    An hour of a station with three probes is about 16,000 records: drained in 8 s, sent again in 20 s. The limits leave the
    processor to the cues. `save_s`: the cursor is written no more often than this; `farewell_s`: how long a stop may take.
    """

    live_per_s: float = 2000.0
    again_per_s: float = 800.0
    save_s: float = 5.0
    farewell_s: float = 2.0


@dataclass(slots=True)
class Counts:
    """Counts for `status`. `asks` were accepted, and so were `asks_covered`, by a pass already under way; the others were dropped.

    `too_long`: records that were passed over, because the broker takes no packet of their length.
    """

    connections: int = 0
    losses: int = 0
    sent: int = 0
    acked: int = 0
    sent_again: int = 0
    asks: int = 0
    asks_covered: int = 0
    asks_malformed: int = 0
    asks_oversize: int = 0
    asks_unknown: int = 0
    asks_retained: int = 0
    strangers: int = 0
    too_long: int = 0
    faults: int = 0


class Publisher:
    """Publishes for one station. `station`: its name in the topics; `journals`: the folder of journals; `state`: the state folder.

    `safe`, `probe`, `progress` and `counters` may be called from any thread; none of them blocks or raises. More than 25 methods: what
    a broker may do has an answer each, and they share one link and one thread.
    """

    def __init__(
        self,
        config: MqttConfig,
        station: str,
        journals: Path,
        state: Path,
        clock: Clock,
        timing: Timing | None = None,
        pace: PublishPace | None = None,
    ) -> None:
        if not STATION.fullmatch(station):
            raise ValueError(f"station {station!r}: a-z, 0-9 and -, at most 32")
        self._config, self._station, self._clock = config, station, clock
        self._timing, self._pace = timing or Timing(), pace or PublishPace()
        self._outbox = Outbox(journals, state / "mqtt" / "cursor.json")
        self._replays = Replays(self._outbox)
        self._mail = Mailbox()
        self._newest = NewestValues(station, config.discovery)
        self._turns = Turns(self._outbox, self._replays, self._pace.live_per_s, self._pace.again_per_s)
        self._counts = Counts()
        self._flying: dict[int, JournalLine | str] = {}
        self._save_due_s = self._deaf_until_s = 0.0
        self._asked_at = topic_of(station, "again")
        self._greet = False
        self._told: str | None = None
        self._oversize_seen = 0
        self._pending_bytes = 0
        self._link = BrokerLink(
            config,
            config.client_id or f"evenbath-{station}",
            self,
            clock,
            self._timing,
            LONGEST_PACKET,
            (topic_of(station, "status"), OFFLINE),
            stopping=lambda: self._mail.stopping,
            inflow_per_s=INFLOW_PER_S,
        )
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)

    # What the station calls.

    def start(self) -> None:
        """Begin: first send what earlier runs did not send, then what comes."""
        self._thread.start()

    def stop(self) -> None:
        """Send what is safe, say `offline`, save the cursor, end the thread. Takes `farewell_s` at most."""
        self._mail.stop()
        self._link.wake()
        if self._thread.ident is None:
            self._link.close()
        elif self._thread.is_alive():
            self._thread.join(self._pace.farewell_s + 1.0)

    def safe(self, session: str, offset: int) -> None:
        """This journal is safe on the disk up to byte `offset`; its whole lines may be published."""
        self._mail.safe(session, offset)
        self._link.wake()

    def probe(self, name: str, payload: Mapping[str, Any]) -> None:
        """The newest reading of a probe; an older one that was not sent yet is replaced."""
        self._mail.probe(name, payload)
        self._link.wake()

    def progress(self, payload: Mapping[str, Any] | None) -> None:
        """The newest progress, retained by the broker for later subscribers; None, when a session closes, removes it."""
        self._mail.progress(payload)

    def vessel(self, name: str, payload: Mapping[str, Any] | None) -> None:
        """The newest progress of the film in this vessel, retained in a topic of its own; None removes it."""
        self._mail.progress(payload, name)
        self._link.wake()

    def counters(self) -> dict[str, Any]:
        """Figures for `status`: the fields of `Counts`, `connected`, `why_down`, `in_flight`, `pending_bytes`, `oversize`, `unreadable`."""
        return {
            **dataclasses.asdict(self._counts),
            "not_sent": self._newest.refused,
            "connected": self._link.up,
            "why_down": None if self._link.up else self._link.why_down,
            "in_flight": len(self._flying),
            "pending_bytes": self._pending_bytes,
            "oversize": self._link.oversize,
            "unreadable": self._outbox.unreadable,
        }

    # What the connection tells; in the publisher's thread, like everything below.

    def link_up(self) -> None:
        """Connected: the next round says hello."""
        self._counts.connections += 1
        self._greet = True
        self._last_ack_s = self._clock.mono_s()
        where = (self._config.host, self._config.port)
        if self._told is None:
            _log.info("connected to the broker at %s:%d", *where)
        else:  # whoever read that it was lost reads this too
            _log.warning("the broker at %s:%d is back; what has waited is sent now", *where)
        self._told = None

    def link_down(self, why: str) -> None:
        """Lost: what was not acknowledged is sent again, in order."""
        self._counts.losses = self._counts.connections
        if why != self._told:
            self._told = why
            _log.warning("no broker at %s:%d: %s", self._config.host, self._config.port, why)
        self._greet = False
        lost, self._flying = list(self._flying.values()), {}
        self._outbox.rewind()
        for item in lost:
            if isinstance(item, JournalLine):
                if item.seq:
                    self._replays.ask(item.session, item.seq)
            else:
                self._newest.want(item)
        if self._link.oversize > self._oversize_seen:
            self._oversize_seen = self._link.oversize
            self._deaf_until_s = self._clock.mono_s() + DEAF_S

    def link_acked(self, mid: int) -> None:
        """The broker has it."""
        item = self._flying.pop(mid, None)
        if isinstance(item, JournalLine):
            self._counts.acked += 1
            if not item.seq:
                self._outbox.acked(item)

    def link_told(self, line: str) -> None:
        """Into the log."""
        _log.warning("the broker at %s:%d: %s", self._config.host, self._config.port, line)

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """A request, or the word that home automation has started. Everything else is counted and dropped, and so is any malformed
        request."""
        if topic == self._asked_at:
            self._request(payload, retained)
        elif self._config.discovery and topic == HOME_STATUS_TOPIC:
            if payload == b"online" and not retained:
                self._newest.describe()
        else:
            self._counts.strangers += 1

    def _request(self, payload: bytes, retained: bool) -> None:
        counts = self._counts
        if retained:
            counts.asks_retained += 1
            return
        if len(payload) > LONGEST_REQUEST:
            counts.asks_oversize += 1
            return
        body = parse_object(payload)
        session, from_seq = (None, None) if body is None else (body.get("session"), body.get("from_seq"))
        if not isinstance(session, str) or type(from_seq) is not int or not 1 <= from_seq < 1 << 53 or not SESSION.fullmatch(session):
            counts.asks_malformed += 1
            return
        answer = self._replays.ask(session, from_seq)
        if answer == "unknown":
            counts.asks_unknown += 1
        elif answer == "covered":
            counts.asks_covered += 1
        else:
            counts.asks += 1

    def _run(self) -> None:
        try:
            self._outbox.load()
        except Exception:
            self._fault("reading the journals")
        self._newest.online()
        stop_by_s: float | None = None
        while True:
            try:
                if self._take_mail() and stop_by_s is None:
                    stop_by_s = self._clock.mono_s() + self._pace.farewell_s
                if stop_by_s is not None and self._finished(stop_by_s):
                    break
                self._round(stop_by_s)
            except Exception:  # the supervisor: telemetry never ends because of one bad moment
                self._fault("publishing")
                self._link.drop("a fault of the program")
        self._farewell()

    def _fault(self, doing: str) -> None:
        self._counts.faults += 1
        _log.exception("a fault while %s", doing)

    def _round(self, stop_by_s: float | None) -> None:
        now_s = self._clock.mono_s()
        if self._greet:
            self._hello(now_s)
        if self._link.up:
            self._send(now_s)
        self._pending_bytes = self._outbox.pending_bytes
        if now_s >= self._save_due_s:
            self._save(now_s)
        self._link.turn(self._patience(now_s, stop_by_s))

    def _patience(self, now_s: float, stop_by_s: float | None) -> float:
        """How long the next turn may wait, s: until tokens come, or the cursor is due."""
        wait_s = 1.0
        if self._link.up and len(self._flying) < self._window and self._turns.held_back:
            wait_s = 0.02
        if stop_by_s is not None:
            wait_s = min(wait_s, 0.05)
        return wait_s

    def _save(self, now_s: float) -> None:
        self._save_due_s = now_s + self._pace.save_s
        with contextlib.suppress(OSError):  # a full disk: the cursor stays behind, doubles are the consumer's to drop
            self._outbox.save()

    def _take_mail(self) -> bool:
        """Take what the other threads left. True once the station wants to stop."""
        mail = self._mail.take()
        for session, offset in mail.safe.items():
            if self._outbox.note_safe(session, offset):
                self._newest.sessions(self._outbox.listing())
        for name, reading in mail.probes.items():
            self._newest.probe(name, reading)
        for vessel, progress in mail.progress.items():
            self._newest.progress(progress, vessel)
        return mail.stop

    def _hello(self, now_s: float) -> None:
        self._greet = False
        if now_s >= self._deaf_until_s:
            self._link.subscribe(self._asked_at)
        if self._config.discovery:
            self._link.subscribe(HOME_STATUS_TOPIC)
            self._newest.describe()
        self._newest.sessions(self._outbox.listing())
        self._newest.connected()

    def _send(self, now_s: float) -> None:
        self._turns.refill(now_s)
        if self._deaf_until_s and now_s >= self._deaf_until_s:
            self._deaf_until_s = 0.0
            self._link.subscribe(self._asked_at)
        while len(self._flying) < self._window and self._link.up:
            slot = self._newest.take()
            if slot is not None:
                self._hand_over(slot.topic, slot.payload, slot.retain, slot.topic)
                continue
            line = self._turns.next_line()
            if line is None:
                return
            self._send_line(line)

    def _send_line(self, line: JournalLine) -> None:
        topic = topic_of(self._station, "journal")
        if not self._link.fits(topic, line.payload):
            self._pass_over(line)
            return
        self._hand_over(topic, line.payload, False, line)
        if line.seq:
            self._counts.sent_again += 1
            return
        self._counts.sent += 1
        if b'"close"' in line.payload and (body := parse_object(line.payload)) and is_close(body):
            self._newest.sessions(self._outbox.listing())

    def _pass_over(self, line: JournalLine) -> None:
        """Sent all the same it would end the connection, and again after each new one, and no later record would ever arrive."""
        self._counts.too_long += 1
        if self._counts.too_long == 1:
            self.link_told(f"it takes no message of {len(line.payload)} bytes; that record is in the station's journal alone")
        if not line.seq:
            self._outbox.acked(line)

    @property
    def _window(self) -> int:
        return min(PUBLISHES_IN_FLIGHT, self._link.window)

    def _hand_over(self, topic: str, payload: bytes, retain: bool, item: JournalLine | str) -> None:
        mid = self._link.publish(topic, payload, retain)
        if mid is not None:
            self._flying[mid] = item
        elif isinstance(item, str):
            self._newest.want(item)
        elif item.seq:
            self._replays.ask(item.session, item.seq)

    def _finished(self, stop_by_s: float) -> bool:
        if not self._link.up or self._clock.mono_s() >= stop_by_s:
            return True
        self._pending_bytes = self._outbox.pending_bytes
        return not self._flying and self._pending_bytes == 0 and not self._newest.pending

    def _farewell(self) -> None:
        """Say `offline` before a clean end, and wait briefly for the broker's acknowledgement."""
        until_s = self._clock.mono_s() + self._pace.farewell_s / 2.0
        try:
            mid = self._link.publish(topic_of(self._station, "status"), OFFLINE, retain=True)
            if mid is not None:
                self._flying[mid] = topic_of(self._station, "status")
            while mid in self._flying and self._link.up and self._clock.mono_s() < until_s:
                self._link.turn(0.05)
            self._save(until_s)
        except Exception:
            self._fault("saying farewell")
        self._link.close()
        self._replays.close()
        self._outbox.close()
