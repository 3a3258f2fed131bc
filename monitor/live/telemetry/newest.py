"""Topics of which only the newest value matters: status, session, sessions, each probe, the description for home automation.

Decides what is retained and what has to be sent again at a connection; sends nothing. Belongs to the publisher's thread.
Tests: tests/live/telemetry/test_mqtt.py, tests/live/telemetry/test_publisher_wire.py.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.live.broker import PROBE, topic_of
from monitor.live.telemetry.discovery import config_topic, device_config

ONLINE, OFFLINE = b"online", b"offline"


@dataclass(slots=True)
class Slot:
    """The newest value of a topic. `wanted`: it has to be sent. Retained ones are sent at each connection."""

    topic: str
    retain: bool
    payload: bytes = b""
    wanted: bool = False


class NewestValues:
    """The slots of one station. `discovery`: whether home automation is told about it. `refused`: values that could not be sent."""

    def __init__(self, station: str, discovery: bool) -> None:
        self._station = station
        self._discovery = discovery
        self._slots: dict[str, Slot] = {}
        self._probes: list[str] = []
        self.refused = 0

    def online(self) -> None:
        """The station runs, and no session of an earlier run does."""
        self._put(self._topic("status"), ONLINE, retain=True)
        self._put(self._topic("session"), b"", retain=True)

    def probe(self, name: str, reading: Mapping[str, Any]) -> None:
        """A reading. Not retained: home automation lets it expire, and one that is replayed would count as fresh."""
        if not PROBE.fullmatch(name):  # it becomes a segment of a topic
            self.refused += 1
            return
        payload = self._encode(reading)
        if payload is None:
            return
        self._put(self._topic(f"probe/{name}"), payload, retain=False)
        if name not in self._probes:
            self._probes.append(name)
            self.describe()

    def progress(self, progress: Mapping[str, Any] | None, vessel: str | None = None) -> None:
        """The newest progress, of the film in this vessel where one is named; None removes it from the broker."""
        if vessel is not None and not PROBE.fullmatch(vessel):  # it becomes a segment of a topic
            self.refused += 1
            return
        payload = b"" if progress is None else self._encode(progress)
        if payload is not None:
            self._put(self._topic("session" if vessel is None else f"session/{vessel}"), payload, retain=True)

    def sessions(self, listing: Sequence[Mapping[str, Any]]) -> None:
        """The newest sessions, for recorders that know nothing of them."""
        payload = self._encode({"sessions": listing})
        if payload is not None:
            self._put(self._topic("sessions"), payload, retain=True)

    def describe(self) -> None:
        """Describe the station and its probes to home automation, where that is wanted."""
        payload = self._encode(device_config(self._station, self._probes)) if self._discovery else None
        if payload is not None:
            self._put(config_topic(self._station), payload, retain=True)

    def connected(self) -> None:
        """A new connection: what is retained is sent once more."""
        for slot in self._slots.values():
            slot.wanted = slot.wanted or slot.retain

    def take(self) -> Slot | None:
        """The next that has to be sent, None if none has."""
        for slot in self._slots.values():
            if slot.wanted:
                slot.wanted = False
                return slot
        return None

    def want(self, topic: str) -> None:
        """Send this one, once more."""
        if topic in self._slots:
            self._slots[topic].wanted = True

    @property
    def pending(self) -> bool:
        """Whether anything has to be sent."""
        return any(slot.wanted for slot in self._slots.values())

    def _put(self, topic: str, payload: bytes, retain: bool) -> None:
        slot = self._slots.setdefault(topic, Slot(topic, retain))
        slot.payload, slot.wanted = payload, True

    def _encode(self, payload: Mapping[str, Any]) -> bytes | None:
        try:
            return json.dumps(payload, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        except (TypeError, ValueError, RuntimeError):  # RuntimeError: nested too deep, or changed by its owner meanwhile
            self.refused += 1
            return None

    def _topic(self, leaf: str) -> str:
        return topic_of(self._station, leaf)
