"""The description for home automation, checked against the convention's rules as data (platform: device discovery)."""

from __future__ import annotations

import json
import re
from types import SimpleNamespace
from typing import Any

import pytest

from monitor.live.telemetry.discovery import config_topic, device_config

RETAINED_BY_THE_STATION = {"session", "status", "sessions"}
LONG_NAMES = {
    "p", "unique_id", "default_entity_id", "name", "device_class", "state_class", "unit_of_measurement", "suggested_display_precision",
    "state_topic", "value_template", "expire_after",
}  # fmt: skip


@pytest.fixture
def config() -> dict[str, Any]:
    """A station with two probes, as it goes over the wire."""
    loaded: dict[str, Any] = json.loads(json.dumps(device_config("cold-laundry", ["jug", "bowl"])))
    return loaded


def test_the_device_says_who_it_is_and_who_describes_it(config: dict[str, Any]) -> None:
    """`dev` with identifiers and name, and `o` with a name, are mandatory."""
    assert config["dev"]["identifiers"]
    assert config["dev"]["name"]
    assert config["o"]["name"]


def test_the_topic_is_the_conventions_and_free_of_wildcards() -> None:
    """homeassistant/device/ID/config, the id of letters, digits, _ and -."""
    assert re.fullmatch(r"homeassistant/device/[a-zA-Z0-9_-]+/config", config_topic("cold-laundry"))


def test_every_component_has_a_platform_and_an_id_of_its_own(config: dict[str, Any]) -> None:
    """`p` and `unique_id` in each; no id twice; no former `object_id`."""
    components = config["cmps"].values()
    assert all(component["p"] == "sensor" for component in components)
    assert len({component["unique_id"] for component in components}) == len(config["cmps"])
    assert all(re.fullmatch(r"sensor\.[a-z0-9_]+", component["default_entity_id"]) for component in components)
    assert not any("object_id" in component for component in components)


def test_names_are_long_but_for_those_that_must_be_short(config: dict[str, Any]) -> None:
    """A reader of the broker's traffic understands them."""
    assert all(set(component) <= LONG_NAMES for component in config["cmps"].values())
    assert set(config) == {"dev", "o", "cmps", "availability_topic", "payload_available", "payload_not_available", "qos"}


def test_what_expires_is_never_a_retained_topic(config: dict[str, Any]) -> None:
    """A retained state with an expiry is replayed as fresh at a restart."""
    for component in config["cmps"].values():
        leaf = component["state_topic"].split("/")[2]
        assert ("expire_after" in component) == (leaf not in RETAINED_BY_THE_STATION)


def test_a_temperature_is_a_measurement_in_degrees(config: dict[str, Any]) -> None:
    """Class, unit and state class fit together."""
    jug = config["cmps"]["probe_jug"]
    assert (jug["device_class"], jug["unit_of_measurement"], jug["state_class"]) == ("temperature", "°C", "measurement")
    assert jug["state_topic"] == "evenbath/cold-laundry/probe/jug"


def test_nothing_can_be_commanded(config: dict[str, Any]) -> None:
    """No topic that the station would listen to appears anywhere."""
    assert "command" not in json.dumps(config)
    assert "again" not in json.dumps(config)


def test_availability_is_the_stations_status(config: dict[str, Any]) -> None:
    """The last will makes every value unavailable."""
    assert config["availability_topic"] == "evenbath/cold-laundry/status"


def test_names_that_differ_stay_apart() -> None:
    """Letters that an id may not have do not fall together."""
    components = device_config("a", ["Jug", "jug", "jüg", "j.g"])["cmps"]
    assert len({component["unique_id"] for component in components.values()}) == 6


def test_a_stage_by_the_clock_has_no_share_of_development() -> None:
    """Jinja's conditional reads like Python's: a half with a doubt is 50, without one it is not known."""
    template = device_config("laundry", [])["cmps"]["done"]["value_template"]
    expression = template.strip("{} ").replace("value_json is defined", "True")
    for sd, share in ((1.5, 50.0), (0.0, None)):
        progress = SimpleNamespace(done_ref_s=150.0, target_ref_s=300.0, done_sd_ref_s=sd)
        assert eval(expression, {"value_json": progress}) == share
