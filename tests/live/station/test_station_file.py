"""The station's file: what it may say, and every problem with its line."""

from pathlib import Path

import pytest

from monitor.core.errors import FileWrong
from monitor.live.station.station_file import StationConfig, load_station, lock_state

GOOD = """schema = 1
name = "laundry"
state = "/var/lib/evenbath"
[probes.jug]
id = "28-0316a2795f3c"
role = "developer"
lag_s = 8.0
[probes.bowl]
id = "28-0416c1a2b3d4"
role = "bath"
[panel]
factory = "lgpio"
sounder = "GPIO18"
lamp = "GPIO23"
switch = "GPIO24"
[mqtt]
host = "127.0.0.1"
port = 1883
"""


def read(text: str) -> StationConfig:
    """A station from text; its default state is /tmp/default."""
    return load_station(text.encode(), "s.toml", Path("/tmp/default"))


def lines(text: str) -> list[str]:
    """The problems, a line each."""
    with pytest.raises(FileWrong) as wrong:
        read(text)
    return list(wrong.value.lines)


def test_the_contracts_own_example_is_read() -> None:
    """Every field."""
    config = read(GOOD)
    assert (config.name, config.state, config.state_line) == ("laundry", Path("/var/lib/evenbath"), 3)
    assert [(p.name, p.id, p.role, p.lag_s) for p in config.probes] == [
        ("jug", "28-0316a2795f3c", "developer", 8.0), ("bowl", "28-0416c1a2b3d4", "bath", None),
    ]  # fmt: skip
    assert (config.panel.sounder, config.panel.lamp, config.panel.switch) == ("GPIO18", "GPIO23", "GPIO24")
    assert config.mqtt is not None
    assert (config.mqtt.host, config.mqtt.port, config.mqtt.discovery) == ("127.0.0.1", 1883, False)


def test_state_lamp_switch_and_broker_may_be_left_out() -> None:
    """Then the default folder counts."""
    text = GOOD.split("[mqtt]")[0]
    for line in ('state = "/var/lib/evenbath"\n', 'lamp = "GPIO23"\n', 'switch = "GPIO24"\n'):
        text = text.replace(line, "")
    config = read(text)
    assert config.state == Path("/tmp/default")
    assert (config.panel.lamp, config.panel.switch, config.mqtt) == (None, None, None)


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('name = "laundry"', 'name = "Laundry!"', 2, "a-z, 0-9 and -"),
        ('name = "laundry"', f'name = "{"a" * 33}"', 2, "at most 32"),
        ('state = "/var/lib/evenbath"', 'state = "here"', 3, "path from /"),
        ('id = "28-0316a2795f3c"', 'id = "28-0316A2795F3C"', 5, "28-0316a2795f3c"),
        ('id = "28-0316a2795f3c"', 'id = "99-0316a2795f3c"', 5, "small letters"),
        ('id = "28-0316a2795f3c"', 'id = "../../etc/passwd"', 5, "28-0316a2795f3c"),
        ('role = "developer"', 'role = "tank"', 6, '"developer", "witness", "bath", "room", "wash"'),
        ("lag_s = 8.0", 'lag_s = "8 s"', 7, "seconds, 0 to 120"),
        ("lag_s = 8.0", "lag_s = 500", 7, "0 to 120"),
        ('id = "28-0416c1a2b3d4"', 'id = "28-0316a2795f3c"', 9, "one probe an id"),
        ('role = "bath"', 'role = "developer"', 10, "one developer probe"),
        ('role = "bath"', 'role = "bath"\ncolour = "red"', 11, "id, role, lag_s"),
        ('factory = "lgpio"', 'factory = "magic"', 12, '"lgpio"'),
        ('sounder = "GPIO18"', 'sounder = "18"', 13, '"GPIO0" to "GPIO27"'),
        ('sounder = "GPIO18"', 'sounder = "GPIO99"', 13, '"GPIO0" to "GPIO27"'),
        ('sounder = "GPIO18"', 'sounder = "GPIO07"', 13, '"GPIO0" to "GPIO27"'),
        ('lamp = "GPIO23"', 'lamp = "GPIO18"', 14, "one pin for each"),
        ('switch = "GPIO24"', "switch = 24", 15, "text in quotes"),
        ("port = 1883", "port = 0", 18, "1 to 65535"),
        ('host = "127.0.0.1"\n', "", 16, "host = "),
        ('host = "127.0.0.1"', 'host = "127.0.0.1:18977"', 17, "a host without a port, and port = 18977 beside it"),
        ('host = "127.0.0.1"', 'host = "broker.lan:"', 17, "a host without a port, and port = 1883 beside it"),
        ('host = "127.0.0.1"', 'host = "[::1]:1883"', 17, "a host without a port"),
        ('host = "127.0.0.1"', 'host = "mqtt://broker"', 17, "a host without a port"),
        ("port = 1883", 'password_file = "/nowhere/at/all"\nuser = "me"', 18, "the path of a file"),
        ("port = 1883", f'password_file = "{__file__}"', 18, "user and password_file together"),
        ("port = 1883", f'cert_file = "{__file__}"', 18, "both or neither"),
        ("port = 1883", f'key_file = "{__file__}"', 18, "both or neither"),
        ("schema = 1", "schema = 2", 1, "1, the only schema"),
        ("schema = 1", 'schema = 1\ncolour = "red"', 2, "schema, name, state, units, probes, panel, mqtt"),
        ("[mqtt]", "[kettle]\nwatts = 2000\n[mqtt]", 16, "schema, name, state, units, probes, panel, mqtt"),
    ],
)
def test_each_problem_is_told_with_its_line_and_what_is_allowed(old: str, new: str, line: int, says: str) -> None:
    """FILE:LINE: what is wrong; what is allowed."""
    (problem,) = lines(GOOD.replace(old, new, 1))
    assert problem.startswith(f"s.toml:{line}: ")
    assert says in problem.split("allowed", 1)[-1] or says in problem


def test_all_problems_are_told_together_in_the_order_of_lines() -> None:
    """Nobody mends a file one error at a time."""
    text = GOOD.replace('"laundry"', '"L"').replace('"bath"', '"bucket"').replace('"GPIO18"', '"PWM"')
    found = lines(text)
    assert [int(p.split(":")[1]) for p in found] == [2, 10, 13]


def test_a_file_without_probes_or_panel_is_refused() -> None:
    """There is nothing to read and nothing to sound."""
    assert len(lines('schema = 1\nname = "a"\n')) == 2
    assert lines('schema = 1\nname = "a"\n[probes]\n[panel]\nfactory = "lgpio"\nsounder = "GPIO18"\n')


def test_a_syntax_error_is_told_alone() -> None:
    """With its line."""
    (problem,) = lines(GOOD.replace('role = "bath"', "role = bath"))
    assert problem.startswith("s.toml:10: not TOML")


def in_folder(state: Path) -> StationConfig:
    """A station whose state is here."""
    return read(GOOD.replace("/var/lib/evenbath", str(state)))


@pytest.mark.parametrize(("key", "port"), [("ca_file", 8883), ("discovery", 1883)])
def test_with_tls_the_usual_port_is_another(key: str, port: int) -> None:
    """As registered; one that is named counts in any case."""
    value = f'"{__file__}"' if key == "ca_file" else "true"
    mqtt = read(GOOD.replace("port = 1883", f"{key} = {value}")).mqtt
    assert mqtt is not None
    assert (mqtt.port, mqtt.tls) == (port, key == "ca_file")
    named = read(GOOD.replace("port = 1883", f"{key} = {value}\nport = 1999")).mqtt
    assert named is not None
    assert named.port == 1999


def test_a_second_station_on_the_same_state_is_refused(tmp_path: Path) -> None:
    """Until the first lets go."""
    config = in_folder(tmp_path / "state")
    lock = lock_state(config)
    with pytest.raises(FileWrong, match=r"s\.toml:3: .* in use"):
        lock_state(config)
    lock.close()
    lock_state(config).close()
    assert (tmp_path / "state" / "journals").is_dir()


def test_a_state_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    """A file lies where the folder should be."""
    (tmp_path / "state").write_text("in the way")
    with pytest.raises(FileWrong, match=r"s\.toml:3: .* cannot be written"):
        lock_state(in_folder(tmp_path / "state"))


@pytest.mark.parametrize("host", ["broker", "broker.lan", "192.168.1.4", "::1", "fe80::1"])
def test_a_name_and_an_address_are_hosts(host: str) -> None:
    """Colons of an address are no port."""
    mqtt = read(GOOD.replace('host = "127.0.0.1"', f'host = "{host}"')).mqtt
    assert mqtt is not None
    assert (mqtt.host, mqtt.port) == (host, 1883)


def test_a_passive_sounder_and_a_vibrator_are_read_and_refused_by_line() -> None:
    """The tone belongs to a passive sounder alone; a vibrator has a pin of its own."""
    more = 'sounder = "GPIO18"\nsounder_kind = "passive"\ntone_hz = 1000\nvibrator = "GPIO25"'
    good = read(GOOD.replace('sounder = "GPIO18"', more)).panel
    assert (good.tone_hz, good.vibrator) == (1000.0, "GPIO25")
    found = lines(GOOD.replace('sounder = "GPIO18"', 'sounder = "GPIO18"\ntone_hz = 1000\nvibrator = "GPIO18"'))
    assert sorted(line.split(":")[1] for line in found) == ["14", "15"]
    assert any("an active sounder makes its own tone" in line for line in found)


TWO = GOOD.replace('lag_s = 8.0\n', 'vessel = "left"\n').replace(
    "[panel]", '[probes.jug2]\nid = "28-0516c1a2b3d4"\nrole = "developer"\nvessel = "right"\n[panel]'
).replace('switch = "GPIO24"', 'switch = "GPIO24"\nswitch_2 = "GPIO17"\nsounder_2 = "GPIO27"')  # fmt: skip


def test_a_second_vessel_has_its_own_developer_probe_switch_and_sounder() -> None:
    """In the order of the file; the bath's probe serves both."""
    config = read(TWO)
    assert config.vessels == ("left", "right")
    assert [p.name for p in config.probes_of("right")] == ["bowl", "jug2"]
    assert (config.panel.switch_2, config.panel.sounder_2) == ("GPIO17", "GPIO27")


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('vessel = "left"', 'vessel = "left hand"', 7, "letters, digits, - and _"),
        ('role = "bath"', 'role = "bath"\nvessel = "left"', 11, "a developer or a witness probe only"),
        ('vessel = "right"', 'vessel = "left"', 13, "one developer probe a vessel"),
        ("[panel]", '[probes.w]\nid = "28-0616c1a2b3d4"\nrole = "witness"\nvessel = "third"\n[panel]', 18, "2 vessels at most"),
        ("[panel]", '[probes.w]\nid = "28-0616c1a2b3d4"\nrole = "witness"\n[panel]', 15, 'vessel, such as "left", "right"'),
        ('switch_2 = "GPIO17"', 'switch_2 = "GPIO18"', 20, "one pin for each"),
        ('switch = "GPIO24"\n', "", 19, "switch for the first vessel and switch_2 for the second"),
    ],
)
def test_a_second_vessel_is_refused_by_line(old: str, new: str, line: int, says: str) -> None:
    """FILE:LINE: what is wrong; what is allowed."""
    found = lines(TWO.replace(old, new, 1))
    assert found[0].startswith(f"s.toml:{line}: ")
    assert says in found[0]


def test_a_second_switch_or_sounder_without_a_second_vessel_is_refused() -> None:
    """It would never be asked."""
    found = lines(GOOD.replace('switch = "GPIO24"', 'switch = "GPIO24"\nswitch_2 = "GPIO17"\nsounder_2 = "GPIO27"'))
    assert [int(p.split(":")[1]) for p in found] == [16, 17]
    assert all("without a second vessel" in p for p in found)
