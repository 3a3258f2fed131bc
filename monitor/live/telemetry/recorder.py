"""Keeps the journals of stations that publish on a broker, whole and byte for byte, and asks for what is missing.

Decides which record is written: only the next in sequence. A duplicate is dropped by (session, seq), and the first one kept
stays (a contradiction is counted); what lies beyond a gap is dropped too and asked for again together with the gap, so that
nothing unproven is ever held and memory stays flat. A broker's acknowledgement proves nothing, so the recorder asks `again` at
a gap, at each connection, when a station comes back, when a session has gone quiet, and when the list of a station's sessions
shows one that it lacks. It trusts names and sizes only after checking them. One thread, which also owns the connection. The
files are handled by monitor.live.telemetry.kept. Tests: tests/live/telemetry/test_recorder.py, test_mqtt_outages.py.
"""

from __future__ import annotations

import json
from collections import OrderedDict
from collections.abc import Callable, Collection
from dataclasses import asdict, dataclass
from pathlib import Path

from monitor.core.errors import InputWrong, NotThere
from monitor.core.journal.check import LONGEST_LINE
from monitor.core.journal.records import is_close
from monitor.live.broker import ROOT, STATION, MqttConfig, topic_of
from monitor.live.clock import Clock
from monitor.live.disk.own_files import is_session_name, opens
from monitor.live.telemetry.admission import Admission
from monitor.live.telemetry.broker_link import BrokerLink, Timing
from monitor.live.telemetry.dial import BrokerRefused
from monitor.live.telemetry.kept import FileGone, KeptSession, Shelf
from monitor.live.telemetry.outbox import LISTED, parse_object
from monitor.live.telemetry.token_bucket import TokenBucket

LEAVES = ("journal", "status", "sessions")
MOST_STATIONS = 1000
MOST_ASKS_WAITING = 4096
ASKS_IN_FLIGHT = 10


@dataclass(frozen=True, slots=True)
class Patience:
    """When to ask, seconds. `ask_s`: again for the same gap; `quiet_s`: for a session not heard of since. Both double up to their limit.

    `asks_per_s`: for all sessions together. A station answers within 45 s whatever it is flooded with.
    """

    ask_s: float = 5.0
    ask_most_s: float = 60.0
    quiet_s: float = 10.0
    quiet_most_s: float = 600.0
    asks_per_s: float = 50.0


@dataclass(slots=True)
class Heard:
    """What was received, counted. Everything but `kept` was dropped."""

    kept: int = 0
    doubles: int = 0
    contradictions: int = 0
    after_close: int = 0
    ahead: int = 0
    malformed: int = 0
    retained: int = 0
    not_written: int = 0
    refused: int = 0
    asks: int = 0
    connections: int = 0
    complete: int = 0


DROPPED = ("contradictions", "after_close", "malformed", "retained", "not_written", "refused")
"""What a person should know about. Duplicates and records beyond a gap are normal."""


class Recorder:
    """Records. `stations`: whose journals, empty for all; `until_closed`: end once this session is complete.

    `tell` is called with a line for the person. The defaults of `timing` and `patience` suit a home network.

    Raises `InputWrong` for the folder and for invalid names.
    """

    def __init__(
        self,
        config: MqttConfig,
        client_id: str,
        folder: Path,
        stations: Collection[str],
        clock: Clock,
        tell: Callable[[str], None],
        until_closed: str | None = None,
        timing: Timing | None = None,
        patience: Patience | None = None,
    ) -> None:
        for station in stations:
            if not STATION.fullmatch(station):
                raise InputWrong(f'--station "{station}"; allowed: a-z, 0-9 and -, at most 32')
        if until_closed is not None and not is_session_name(until_closed):
            raise InputWrong(f'--until-closed "{until_closed}"; allowed: the id of a session')
        self._config, self._stations, self._clock, self._tell = config, tuple(stations), clock, tell
        self._until_closed, self._patience = until_closed, patience or Patience()
        self._timing = timing or Timing()
        self._asks: OrderedDict[tuple[str, str], None] = OrderedDict()
        self._rate = TokenBucket(self._patience.asks_per_s, self._patience.asks_per_s)
        self._quiet_due_s = 0.0
        self._flying: set[int] = set()
        self._online: OrderedDict[str, bool] = OrderedDict()
        self._told_loss: str | None = None
        self._stopping = False
        self._first_loss: str | None = None
        self._told_disk = False
        self.heard = Heard()
        self._shelf = Shelf(folder, tell=tell)
        self._admission = Admission()
        self._done = until_closed is not None and any(
            self._shelf.find(station, until_closed).closed for station in self._stations or self._shelf.stations()
        )
        self._link = BrokerLink(config, client_id, self, clock, self._timing, LONGEST_LINE + 1024, stopping=lambda: self._stopping)

    def connect(self) -> bool:
        """The first connection, which must succeed. False if `stop` was called meanwhile.

        Raises `NotThere` if no broker answers, `InputWrong` if it refuses this client.
        """
        where = f"{self._config.host}:{self._config.port}"
        try:
            self._link.open()
            while not self._link.up and self._first_loss is None and not self._stopping:
                self._link.turn(0.5)
        except BrokerRefused as refused:
            if self._stopping:
                return False
            if refused.by_input:
                raise InputWrong(f"broker {where}: {refused.why}") from None
            raise NotThere(f"broker {where}: not there ({refused.why}); allowed: the address of an MQTT broker that runs") from None
        if self._first_loss is not None and self._link.refused is not None:
            raise InputWrong(f"broker {where}: {self._first_loss}; allowed: a user and password that the broker accepts")
        if self._first_loss is not None:
            raise NotThere(f"broker {where}: not there ({self._first_loss}); allowed: the address of an MQTT broker that runs")
        return self._link.up

    def run(self) -> None:
        """Record until `stop` is called or the awaited session is complete. A broker that goes away is waited for."""
        while not self._stopping and not self.complete():
            now_s = self._clock.mono_s()
            if self._link.up:
                if now_s >= self._quiet_due_s:
                    self._quiet_due_s = now_s + self._patience.quiet_s / 10.0
                    self._look_around(now_s)
                self._send_asks(now_s)
            self._link.turn(0.05 if self._asks else min(0.5, self._patience.quiet_s / 10.0))

    def stop(self) -> None:
        """End soon. May be called from any thread, and from a signal handler."""
        self._stopping = True
        self._link.wake()

    def close(self) -> None:
        """Disconnect and release the folder."""
        self._link.close()
        self._shelf.close()

    def complete(self) -> bool:
        """Whether the awaited session is kept from its first record to its close, of whichever station."""
        return self._done

    def summary(self) -> str:
        """What was kept and what was dropped, in one line."""
        dropped = [f"{name.replace('_', ' ')} {count}" for name, count in asdict(self.heard).items() if name in DROPPED and count]
        return f"{self.heard.kept} records kept" + (f"; dropped: {', '.join(dropped)}" if dropped else "")

    def link_up(self) -> None:
        """Connected: subscribe, then ask for what may have been missed; the broker keeps this order."""
        self.heard.connections += 1
        if self._told_loss is not None:
            self._tell("the broker is back")
        self._told_loss = None
        self._flying.clear()
        names = self._stations or ("+",)
        self._link.subscribe(*(f"{ROOT}/{name}/{leaf}" for name in names for leaf in LEAVES))
        now_s = self._clock.mono_s()
        for station, session in self._shelf.unclosed():
            self._want(self._shelf.find(station, session), now_s, at_once=True)
        if self._until_closed is not None:
            for station in self._stations:
                self._want(self._shelf.find(station, self._until_closed), now_s, at_once=True)

    def link_down(self, why: str) -> None:
        """The connection was lost."""
        if self._first_loss is None:
            self._first_loss = why
        if self.heard.connections and self._told_loss != why:
            self._told_loss = why
            self._tell(f"the broker is lost ({why}); waiting for it")

    def link_acked(self, mid: int) -> None:
        """The broker has acknowledged a request."""
        self._flying.discard(mid)

    def link_told(self, line: str) -> None:
        """Passed on to the person."""
        self._tell(line)

    def link_message(self, topic: str, payload: bytes, retained: bool) -> None:
        """Sort a message by its topic."""
        parts = topic.split("/")
        if len(parts) != 3 or parts[0] != ROOT or not STATION.fullmatch(parts[1]):
            self.heard.malformed += 1
            return
        _, station, leaf = parts
        if leaf == "journal":
            self._take_record(station, payload, retained)
        elif leaf == "status":
            self._take_status(station, payload, retained)
        elif leaf == "sessions":
            self._take_listing(station, payload)

    def _take_record(self, station: str, payload: bytes, retained: bool) -> None:
        heard = self.heard
        if retained:  # a journal is never retained by a station
            heard.retained += 1
            return
        record = parse_object(payload) if len(payload) <= LONGEST_LINE and b"\n" not in payload and b"\r" not in payload else None
        if record is None or not _follows_the_contract(record, payload):
            heard.malformed += 1
            return
        now_s = self._clock.mono_s()
        kept = self._shelf.find(station, record["session"])
        seq = record["seq"]
        kept.heard_s = now_s
        if kept.barred:
            heard.not_written += 1
        elif seq < kept.next_seq:
            heard.doubles += 1
            heard.contradictions += kept.contradicts(seq, payload)
        elif kept.closed:
            heard.after_close += 1
        elif seq > kept.next_seq:
            heard.ahead += 1
            kept.ahead = max(kept.ahead, seq)
            self._want(kept, now_s)
        else:
            self._keep(kept, payload, is_close(record), now_s)

    def _keep(self, kept: KeptSession, payload: bytes, closes: bool, now_s: float) -> None:
        known = self._shelf.has(kept.station)
        if self._shut_out(kept, now_s):
            self.heard.refused += 1
            told = self._admission.refusal(kept.station, known, now_s)
            if told:
                self._tell(told)
            return
        try:
            self._shelf.append(kept, payload, closes)
        except FileGone:
            self._begin_again(kept.key, now_s)
            return
        except OSError as wrong:
            self.heard.not_written += 1
            if not self._told_disk:
                self._told_disk = True
                self._tell(f"{self._shelf.path(*kept.key)}: cannot be written ({wrong.strerror}); it is asked for again later")
            return
        self._told_disk = False
        self.heard.kept += 1
        if kept.next_seq == 2:
            self._admission.begun(kept.station, known, now_s)
        kept.grew_s, kept.tries = now_s, 0
        if kept.next_seq > kept.ahead:
            kept.asked_s = None
        if closes:
            self.heard.complete += 1
            self._asks.pop(kept.key, None)
            self._done = self._done or kept.session == self._until_closed
            self._tell(f"{kept.station} {kept.session}: complete, {kept.next_seq - 1} records")

    def _shut_out(self, kept: KeptSession, now_s: float) -> bool:
        """Whether this would be one new session too many."""
        if kept.next_seq > 1 or kept.session == self._until_closed:
            return False
        return self._admission.full(kept.station, self._shelf.has(kept.station), now_s)

    def _begin_again(self, key: tuple[str, str], now_s: float) -> None:
        """A file has gone from under its session: what stands there now is what is kept, the rest is asked for."""
        kept = self._shelf.find(*key)
        if kept.barred:  # told already
            return
        path = self._shelf.path(*key)
        self._tell(f"{path}: deleted or replaced while it was recorded; asked for again from record {kept.next_seq}")
        self._want(kept, now_s, at_once=True)

    def _take_status(self, station: str, payload: bytes, retained: bool) -> None:
        online = payload == b"online"
        if station not in self._online and len(self._online) >= MOST_STATIONS:
            self._online.popitem(last=False)
        came = online and (not retained or not self._online.get(station, False))
        self._online[station] = online
        if not came:
            return
        now_s = self._clock.mono_s()
        for name, session in self._shelf.unclosed():
            if name == station:
                self._want(self._shelf.find(name, session), now_s, at_once=not retained)
        if self._until_closed is not None:
            self._want(self._shelf.find(station, self._until_closed), now_s)

    def _take_listing(self, station: str, payload: bytes) -> None:
        body = parse_object(payload) if len(payload) <= 1 << 16 else None
        rows = None if body is None else body.get("sessions")
        if not isinstance(rows, list):
            self.heard.malformed += 1
            return
        now_s = self._clock.mono_s()
        for row in rows[-LISTED:]:
            session, records = (row.get("session"), row.get("records")) if isinstance(row, dict) else (None, None)
            if not isinstance(session, str) or not is_session_name(session) or type(records) is not int:
                self.heard.malformed += 1
                continue
            kept = self._shelf.find(station, session)
            if not kept.closed and records >= kept.next_seq:
                kept.ahead = max(kept.ahead, records)
                self._want(kept, now_s)

    def _want(self, kept: KeptSession, now_s: float, at_once: bool = False) -> None:
        """Queue a request for a session, unless the last one is being answered or is too recent."""
        if kept.closed or kept.barred or kept.key in self._asks or self._shut_out(kept, now_s):
            return
        if not at_once and kept.asked_s is not None:
            wait_s = min(self._patience.ask_s * 2.0 ** max(0, min(kept.tries, 10) - 1), self._patience.ask_most_s)
            being_answered = kept.grew_s > kept.asked_s and now_s - kept.grew_s < self._patience.ask_s
            if being_answered or now_s - kept.asked_s < wait_s:
                return
        if len(self._asks) < MOST_ASKS_WAITING:
            self._asks[kept.key] = None

    def _look_around(self, now_s: float) -> None:
        """Ask for known gaps, whether or not anything more is heard, and for sessions without a close that have gone quiet.

        The record that would show a gap may be the last one, and a request may be lost like anything else.
        """
        for key in self._shelf.gone():
            self._begin_again(key, now_s)
        for kept in list(self._shelf.busy()):
            if kept.ahead >= kept.next_seq:
                self._want(kept, now_s)
                continue
            wait_s = min(self._patience.quiet_s * 2.0 ** min(kept.tries, 10), self._patience.quiet_most_s)
            if now_s - max(kept.heard_s, kept.asked_s or 0.0) >= wait_s and kept.size and self._online.get(kept.station, True):
                self._want(kept, now_s, at_once=True)

    def _send_asks(self, now_s: float) -> None:
        self._rate.refill(now_s)
        while self._asks and not self._rate.empty and len(self._flying) < ASKS_IN_FLIGHT:
            (station, session), _ = self._asks.popitem(last=False)
            kept = self._shelf.find(station, session)
            if kept.closed or kept.barred:
                continue
            body = json.dumps({"session": session, "from_seq": kept.next_seq}).encode()
            mid = self._link.publish(topic_of(station, "again"), body)
            if mid is None:
                return  # lost: each connection asks anew
            self._rate.take()
            self._flying.add(mid)
            self.heard.asks += 1
            kept.tries += 1
            kept.asked_s = now_s


def _follows_the_contract(record: dict[str, object], payload: bytes) -> bool:
    session, seq = record.get("session"), record.get("seq")
    return (
        isinstance(session, str)
        and is_session_name(session)
        and type(seq) is int
        and 1 <= seq < 1 << 53
        and isinstance(record.get("kind"), str)
        and (seq > 1 or opens(payload + b"\n", session))
    )
