"""Where an MQTT broker is, how to log in, and which names may be part of a topic. Plain values; nothing is opened here.

The table [mqtt] of a station file and the options of `evenbath record` become an `MqttConfig`, and
`monitor.live.telemetry.broker_link` connects with it. Tests: tests/live/station/test_station_file.py,
tests/live/telemetry/test_mqtt_link.py.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

ROOT = "evenbath"
STATION = re.compile(r"[a-z0-9-]{1,32}", re.ASCII)
"""A station's name, which is a segment of its topics."""
PROBE = re.compile(r"[A-Za-z0-9_-]{1,32}", re.ASCII)
"""A probe's name, which is the last segment of the topic of its readings."""
SESSION = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)
"""A session's id. No slash and no leading dot, because it becomes the name of a file."""
HOST = re.compile(r"[^\[\]:/@\s]+")
"""A host name or an IPv4 address, as far as these can be told from a port, a user name or the URL of a broker."""

PLAIN_PORT, TLS_PORT = 1883, 8883
"""Registered with IANA as mqtt and secure-mqtt."""


@dataclass(frozen=True, slots=True)
class MqttConfig:
    """Where the broker is and how to log in: the table [mqtt] of a station file, key by key.

    `password_file`: its first line is the password. `ca_file`: turns TLS on; the broker's certificate is checked against it.
    `cert_file` and `key_file`: a certificate for this client. All files are read again at each connection. `client_id` None:
    made from the station's name. `discovery`: announce the station to home automation.
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
    """The default port."""
    return TLS_PORT if tls else PLAIN_PORT


def topic_of(station: str, leaf: str) -> str:
    """`evenbath/STATION/LEAF`."""
    return f"{ROOT}/{station}/{leaf}"
