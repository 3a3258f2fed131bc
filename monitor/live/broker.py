"""Where an MQTT broker is, how to be let in, and which names may stand in a topic: plain values, nothing is opened.

The table [mqtt] of a station file and the options of `evenbath record` become an `MqttConfig`; `monitor.live.telemetry.broker_link`
connects by it. Tests: tests/live/station/test_station_file.py, tests/live/telemetry/test_mqtt_link.py.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

ROOT = "evenbath"
STATION = re.compile(r"[a-z0-9-]{1,32}", re.ASCII)
"""A station's name: the segment of the topics."""
PROBE = re.compile(r"[A-Za-z0-9_-]{1,32}", re.ASCII)
"""A probe's name: the last segment of the topic of its readings."""
SESSION = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)
"""A session's id. No slash, no leading dot: it becomes the name of a file."""
HOST = re.compile(r"[^\[\]:/@\s]+")
"""A host name or an IPv4 address, as far as it can be told from a port, a user or a whole address of a broker."""

PLAIN_PORT, TLS_PORT = 1883, 8883
"""Registered with IANA as mqtt and secure-mqtt."""


@dataclass(frozen=True, slots=True)
class MqttConfig:
    """Where the broker is and how to be let in: the table [mqtt] of a station file, key for key.

    `password_file`: its first line is the password. `ca_file`: makes the connection TLS, and is what the broker's
    certificate is checked against. `cert_file` and `key_file`: this client's own certificate. All are read anew at each
    connection. `client_id` None: made from the station's name. `discovery`: tell home automation about the station.
    """

    host: str
    port: int = PLAIN_PORT
    user: str | None = None
    password_file: str | None = None
    ca_file: str | None = None
    client_id: str | None = None
    discovery: bool = False
    cert_file: str | None = None
    key_file: str | None = None

    @property
    def tls(self) -> bool:
        """Whether the connection is encrypted."""
        return self.ca_file is not None or self.cert_file is not None


def usual_port(tls: bool) -> int:
    """The port where none is named."""
    return TLS_PORT if tls else PLAIN_PORT


def topic_of(station: str, leaf: str) -> str:
    """`evenbath/STATION/LEAF`."""
    return f"{ROOT}/{station}/{leaf}"
