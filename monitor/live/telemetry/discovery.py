"""Describes a station to home automation, by the open convention for device discovery over MQTT. Pure data.

Decides which values are offered and how they are read from the station's own topics; sends nothing. Rules of the convention
(home-assistant.io, integrations/sensor.mqtt and mqtt, read 2026): one retained message for the whole device at
`homeassistant/device/ID/config`; `dev` and `o` are mandatory; each entry of `cmps` has a platform `p` and a `unique_id`;
`default_entity_id` in place of the former `object_id`; long names, but for `dev`, `o`, `cmps` and `p`. A state with
`expire_after` must not be retained, or it is replayed as fresh at a restart: probe readings are not retained and expire,
the session's progress is retained and does not, the station's `status` covers it. Nothing here can be commanded: there
is no command topic. Tests: tests/live/telemetry/test_discovery.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from monitor import __version__
from monitor.live.broker import topic_of

STATUS_TOPIC = "homeassistant/status"
"""Home automation says `online` here when it has started: the description is then sent again."""
EXPIRE_AFTER_S = 30
"""A reading comes every second or two; without one for so long the value is shown as unavailable."""


def device_id(station: str) -> str:
    """The id of the device, in letters that the convention allows."""
    return f"evenbath_{_word(station)}"


def config_topic(station: str) -> str:
    """The topic of the description, retained."""
    return f"homeassistant/device/{device_id(station)}/config"


def device_config(station: str, probes: Iterable[str]) -> dict[str, Any]:
    """The description of a station with these probes.

    Readings are taken to carry `celsius` (null when bad), progress to carry `stage`, `done_ref_s`, its `done_sd_ref_s` and `target_ref_s`.
    What the clock alone ends has no doubt and no share: part of the time is no development.
    """
    identity = device_id(station)
    components = {f"probe_{_word(name)}": _probe(station, name) for name in sorted(set(probes))}
    components["stage"] = _of_session(station, "stage", "Stage", "value_json.stage")
    share = "100 * value_json.done_ref_s / value_json.target_ref_s"
    components["done"] = {
        **_of_session(station, "done", "Development done", f"({share} if value_json.done_sd_ref_s else None)"),
        "unit_of_measurement": "%",
        "state_class": "measurement",
        "suggested_display_precision": 0,
    }
    return {
        "dev": {"identifiers": [identity], "name": f"Bath {station}", "model": "evenbath station", "sw_version": __version__},
        "o": {"name": "evenbath", "sw_version": __version__},
        "availability_topic": topic_of(station, "status"),
        "payload_available": "online",
        "payload_not_available": "offline",
        "qos": 1,
        "cmps": components,
    }


def _probe(station: str, name: str) -> dict[str, Any]:
    identity = f"{device_id(station)}_probe_{_word(name)}"
    return {
        "p": "sensor",
        "unique_id": identity,
        "default_entity_id": f"sensor.{identity}",
        "name": f"Probe {name}",
        "device_class": "temperature",
        "state_class": "measurement",
        "unit_of_measurement": "°C",
        "suggested_display_precision": 1,
        "state_topic": topic_of(station, f"probe/{name}"),
        "value_template": "{{ value_json.celsius }}",
        "expire_after": EXPIRE_AFTER_S,
    }


def _of_session(station: str, key: str, name: str, expression: str) -> dict[str, Any]:
    identity = f"{device_id(station)}_{key}"
    return {
        "p": "sensor",
        "unique_id": identity,
        "default_entity_id": f"sensor.{identity}",
        "name": name,
        "state_topic": topic_of(station, "session"),
        "value_template": f"{{{{ {expression} if value_json is defined else None }}}}",
    }


def _word(name: str) -> str:
    """Letters, digits and _ only; any other character becomes its code, so that two names stay different."""
    return "".join(c if c.isascii() and (c.islower() or c.isdigit()) else "_" if c == "-" else f"_{ord(c):x}_" for c in name)
