"""What a recorder makes of what it hears; messages are handed to it directly, or come through an embedded broker."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.core.errors import InputWrong
from monitor.live.broker import MqttConfig
from monitor.live.clock import RealClock
from monitor.live.telemetry.admission import MOST_NEW_SESSIONS, MOST_NEW_STATIONS
from monitor.live.telemetry.recorder import Patience, Recorder
from tests.fake_clock import FakeClock
from tests.live.telemetry.brokers import EmbeddedBroker, until
from tests.live.telemetry.publishers import Listener, RunningRecorder, closing, journal, opening, record

TOPIC = "evenbath/laundry/journal"


class Desk:
    """A recorder without a broker: messages are put on its desk, requests are looked at."""

    def __init__(self, folder: Path, until_closed: str | None = None) -> None:
        self.told: list[str] = []
        self.folder = folder
        self.clock = FakeClock()
        self.recorder = Recorder(MqttConfig("127.0.0.1"), "desk", folder, (), self.clock, self.told.append, until_closed)
        self.heard = self.recorder.heard

    def hear(self, payload: bytes, station: str = "laundry", retained: bool = False) -> None:
        """A record, as it stands in the file or without its newline."""
        self.recorder.link_message(f"evenbath/{station}/journal", payload.removesuffix(b"\n"), retained)

    def asks(self) -> list[tuple[str, str]]:
        """Which sessions it wants to ask for, and the queue is empty."""
        wanted = list(self.recorder._asks)
        self.recorder._asks.clear()
        for key in wanted:
            self.recorder._shelf.find(*key).asked_s = self.clock.mono_s()
            self.recorder._shelf.find(*key).tries += 1
        return wanted

    def file(self, session: str = "a1", station: str = "laundry") -> bytes:
        """What it has kept."""
        path = self.folder / station / f"{session}.jsonl"
        return path.read_bytes() if path.exists() else b""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A desk with an empty folder."""
    made = Desk(tmp_path / "kept")
    yield made
    made.recorder.close()


@pytest.fixture(scope="module")
def broker() -> Iterator[EmbeddedBroker]:
    """An embedded broker."""
    running = EmbeddedBroker()
    running.start()
    yield running
    running.stop()


def test_doubles_are_dropped_by_session_and_seq(desk: Desk) -> None:
    """Whatever is sent twice is kept once."""
    for line in journal("a1", 20).splitlines(keepends=True):
        desk.hear(line)
        desk.hear(line)
    for line in journal("a1", 20).splitlines(keepends=True):
        desk.hear(line)
    assert desk.file() == journal("a1", 20)
    assert (desk.heard.kept, desk.heard.doubles, desk.heard.contradictions) == (20, 40, 0)


def test_a_gap_is_asked_for_and_what_lies_beyond_waits(desk: Desk) -> None:
    """Nothing is written out of order; the answer brings both."""
    lines = journal("a1", 10).splitlines(keepends=True)
    for line in (*lines[:3], *lines[5:]):
        desk.hear(line)
    assert desk.file() == b"".join(lines[:3])
    assert desk.asks() == [("laundry", "a1")]
    assert desk.heard.complete == 0
    for line in lines[3:]:
        desk.hear(line)
    assert desk.file() == b"".join(lines)
    assert desk.told == ["laundry a1: complete, 10 records"]


def test_a_session_met_in_its_middle_is_asked_for_from_the_beginning(desk: Desk) -> None:
    """A recorder that knows nothing of it makes no file before the first record is there."""
    desk.hear(record("a1", 57))
    assert desk.asks() == [("laundry", "a1")]
    assert desk.recorder._shelf.find("laundry", "a1").next_seq == 1
    assert not (desk.folder / "laundry").exists()


def test_a_gap_is_asked_for_again_with_growing_patience(desk: Desk) -> None:
    """Not at every record beyond it: after 5, 10, 20, 40 and then every 60 s."""
    desk.hear(record("a1", 1))
    moments = []
    for tick in range(300):
        desk.hear(record("a1", 10 + tick))
        moments += [tick] * len(desk.asks())
        desk.clock.advance(1.0)
    assert moments == [0, 5, 15, 35, 75, 135, 195, 255]


def test_a_gap_that_is_being_filled_is_not_asked_for_again(desk: Desk) -> None:
    """While the answer comes, new records go on arriving beyond it."""
    desk.hear(record("a1", 1))
    desk.hear(record("a1", 200))
    assert len(desk.asks()) == 1
    for seq in range(2, 150):
        desk.clock.advance(1.0)
        desk.hear(record("a1", seq))
        desk.hear(record("a1", 200 + seq))
        assert desk.asks() == []


def test_a_gap_is_asked_for_even_if_nothing_more_is_heard(desk: Desk) -> None:
    """The request may have been lost; the clock alone brings it up again."""
    desk.hear(record("a1", 5))
    assert len(desk.asks()) == 1
    desk.clock.advance(6.0)
    desk.recorder._look_around(desk.clock.mono_s())
    assert desk.asks() == [("laundry", "a1")]


def test_a_session_without_a_close_that_has_gone_quiet_is_asked_for(desk: Desk) -> None:
    """Its last records may be what was lost. A closed one is left in peace."""
    desk.hear(record("a1", 1))
    desk.hear(opening("a2"))
    desk.hear(closing("a2", 2))
    desk.clock.advance(11.0)
    desk.recorder._look_around(desk.clock.mono_s())
    assert desk.asks() == [("laundry", "a1")]


def test_each_connection_asks_for_every_session_without_a_close(tmp_path: Path) -> None:
    """From the next seq, also for those that only the folder knows of."""
    (tmp_path / "kept" / "laundry").mkdir(parents=True)
    (tmp_path / "kept" / "laundry" / "a1.jsonl").write_bytes(journal("a1", 5, closed=False))
    (tmp_path / "kept" / "laundry" / "a2.jsonl").write_bytes(journal("a2", 5))
    desk = Desk(tmp_path / "kept")
    for _ in range(2):
        desk.recorder.link_up()
        assert desk.asks() == [("laundry", "a1")]
    desk.recorder.close()


def test_a_broker_that_was_lost_is_told_once_and_so_is_that_it_is_back(desk: Desk) -> None:
    """However often it is tried; the first connection is no return."""
    desk.recorder.link_up()
    assert desk.told == []
    for _ in range(3):
        desk.recorder.link_down("connection refused")
    desk.recorder.link_up()
    desk.recorder.link_up()
    assert desk.told == ["the broker is lost (connection refused); waiting for it", "the broker is back"]


def test_a_station_that_comes_online_is_asked(desk: Desk) -> None:
    """It forgot what was asked of it while it was away."""
    desk.hear(record("a1", 1))
    desk.recorder.link_message("evenbath/laundry/status", b"offline", False)
    assert desk.asks() == []
    desk.recorder.link_message("evenbath/laundry/status", b"online", False)
    assert desk.asks() == [("laundry", "a1")]


def test_a_listed_session_that_is_not_kept_is_asked_for(desk: Desk) -> None:
    """A whole session may have passed while the recorder was away."""
    for line in journal("a1", 5).splitlines():
        desk.hear(line)
    listing = {"sessions": [{"session": "a1", "records": 5, "closed": True}, {"session": "a2", "records": 9, "closed": True}]}
    desk.recorder.link_message("evenbath/laundry/sessions", json.dumps(listing).encode(), True)
    assert desk.asks() == [("laundry", "a2")]


def test_a_deleted_file_is_told_and_asked_for_from_the_beginning(desk: Desk) -> None:
    """Nobody is told that a session is complete whose file is gone."""
    lines = journal("a1", 9).splitlines(keepends=True)
    for line in lines[:5]:
        desk.hear(line)
    (desk.folder / "laundry" / "a1.jsonl").unlink()
    for line in lines[5:]:
        desk.hear(line)
    assert desk.heard.complete == 0
    assert desk.asks() == [("laundry", "a1")]
    assert len(desk.told) == 1
    assert "a1.jsonl: deleted or replaced" in desk.told[0]
    for line in lines:
        desk.hear(line)
    assert desk.file() == b"".join(lines)
    assert desk.told[1:] == ["laundry a1: complete, 9 records"]


def test_a_file_deleted_while_nothing_is_heard_is_told_within_seconds(desk: Desk) -> None:
    """Between two records, too."""
    desk.hear(opening("a1"))
    (desk.folder / "laundry" / "a1.jsonl").unlink()
    desk.clock.advance(2.0)
    desk.recorder._look_around(desk.clock.mono_s())
    assert len(desk.told) == 1
    assert desk.asks() == [("laundry", "a1")]


def test_a_file_that_is_not_ours_is_told_once_and_not_asked_for(desk: Desk) -> None:
    """However often its session is heard of."""
    path = desk.folder / "laundry" / "a1.jsonl"
    path.parent.mkdir()
    path.write_bytes(b'{"prompt":"x"}')
    for line in journal("a1", 9).splitlines(keepends=True):
        desk.hear(line)
    assert path.read_bytes() == b'{"prompt":"x"}'
    assert len(desk.told) == 1
    assert desk.asks() == []
    assert desk.heard.not_written == 9


def test_invented_sessions_are_bounded(desk: Desk) -> None:
    """A station may open so many a day; more are refused, once in words. The next day it may again, and those that are open go on."""
    for number in range(MOST_NEW_SESSIONS + 300):
        desk.hear(opening(f"s{number}"))
    desk.hear(record("s5", 2))
    desk.hear(opening("other"), station="barn")
    assert len(list((desk.folder / "laundry").iterdir())) == MOST_NEW_SESSIONS
    assert len([line for line in desk.told if "laundry" in line]) == 1
    assert "a day" in desk.told[0]
    assert desk.heard.refused == 300
    assert "refused 300" in desk.recorder.summary()
    assert desk.file("s5").count(b"\n") == 2
    assert desk.file("other", "barn")
    assert desk.asks() == []
    desk.clock.advance(86401.0)
    desk.hear(opening("tomorrow"))
    assert desk.file("tomorrow")


def test_invented_stations_are_bounded(desk: Desk) -> None:
    """Each would get a folder of its own."""
    for number in range(MOST_NEW_STATIONS + 50):
        desk.hear(opening("a1"), station=f"st{number}")
    assert len([path for path in desk.folder.iterdir() if path.is_dir()]) == MOST_NEW_STATIONS
    assert len(desk.told) == 1


def test_the_awaited_session_is_never_refused(tmp_path: Path) -> None:
    """Whatever else somebody opens."""
    desk = Desk(tmp_path / "kept", until_closed="a1")
    for number in range(MOST_NEW_SESSIONS + 1):
        desk.hear(opening(f"s{number}"))
    for line in journal("a1", 3).splitlines(keepends=True):
        desk.hear(line)
    assert desk.recorder.complete()
    desk.recorder.close()


def test_the_name_of_a_judgement_is_no_session(desk: Desk) -> None:
    """Its file would stand where `judge` writes."""
    desk.hear(opening("a1.judgement"))
    desk.hear(record("a2", 1, kind="reading", probe="jug"))
    assert desk.heard.malformed == 2
    assert [path.name for path in desk.folder.iterdir()] == [".lock"]


GARBAGE: list[bytes] = [
    b"", b"\0" * 200, b"{", b"[" * 100_000, b"null", b'"x"', b"[1]", b"{}", b'{"seq":2,"session":"a1"}',
    b'{"seq":"2","session":"a1","kind":"x"}',
    b'{"seq":2.0,"session":"a1","kind":"x"}', b'{"seq":true,"session":"a1","kind":"x"}', b'{"seq":0,"session":"a1","kind":"x"}',
    b'{"seq":-3,"session":"a1","kind":"x"}', b'{"seq":2,"session":"../../a1","kind":"x"}', b'{"seq":2,"session":"/a1","kind":"x"}',
    b'{"seq":2,"session":".lock","kind":"x"}', b'{"seq":2,"session":"","kind":"x"}', b'{"seq":2,"session":"a1\\n","kind":"x"}',
    b'{"seq":2,\n"session":"a1","kind":"x"}', b'{"seq":2,"session":"a1","kind":"\xff"}',
    b'{"seq":2,"session":' + b'"a' * 70 + b'","kind":"x"}',
    b'{"seq":' + b"9" * 5000 + b',"session":"a1","kind":"x"}', b"x" * 1_100_000,
]  # fmt: skip


def test_garbage_is_counted_and_touches_nothing(desk: Desk) -> None:
    """No file but the true one, no request, the true file as it was."""
    desk.hear(opening("a1"))
    for payload in GARBAGE:
        desk.recorder.link_message(TOPIC, payload, False)
        desk.recorder.link_message("evenbath/laundry/sessions", payload, False)
        desk.recorder.link_message("evenbath/laundry/status", payload, False)
    assert desk.heard.malformed >= len(GARBAGE)
    assert desk.file() == opening("a1")
    assert sorted(path.name for path in desk.folder.rglob("*")) == [".lock", "a1.jsonl", "laundry"]
    assert desk.asks() == []


@pytest.mark.parametrize(
    "topic", ["evenbath/../journal", "evenbath/a/b/journal", "evenbath//journal", "evenbath/UP/journal", "x/laundry/journal"]
)
def test_a_topic_that_names_no_station_makes_no_folder(desk: Desk, topic: str) -> None:
    """Station names become folders, so they are checked first."""
    desk.recorder.link_message(topic, opening("a1")[:-1], False)
    assert [path.name for path in desk.folder.iterdir()] == [".lock"]


def test_only_the_awaited_session_ends_the_recording(tmp_path: Path) -> None:
    """Another one that closes meanwhile is told, and the waiting goes on."""
    desk = Desk(tmp_path / "kept", until_closed="a1")
    for session in ("b1", "a1"):
        assert not desk.recorder.complete()
        for line in journal(session, 3).splitlines(keepends=True):
            desk.hear(line)
    assert desk.recorder.complete()
    desk.recorder.close()


def test_what_contradicts_a_record_is_dropped_and_counted(desk: Desk) -> None:
    """A spoofed close for a seq that is kept, or a retained one, changes nothing; records after a close are dropped too."""
    lines = journal("a1", 5).splitlines(keepends=True)
    for line in lines[:3]:
        desk.hear(line)
    desk.hear(closing("a1", 2))
    desk.hear(closing("a1", 4), retained=True)
    assert desk.file() == b"".join(lines[:3])
    for line in lines[3:]:
        desk.hear(line)
    desk.hear(record("a1", 6))
    assert desk.file() == b"".join(lines)
    assert (desk.heard.contradictions, desk.heard.retained, desk.heard.after_close) == (1, 1, 1)
    assert desk.recorder.summary() == "5 records kept; dropped: contradictions 1, after close 1, retained 1"


def test_a_far_seq_that_somebody_made_up_does_not_stop_the_session(desk: Desk) -> None:
    """The true records go on being kept; the far one costs a request now and then."""
    desk.hear(opening("a1"))
    desk.hear(record("a1", 10**12))
    asked = len(desk.asks())
    for seq in range(2, 300):
        desk.clock.advance(1.0)
        desk.hear(record("a1", seq))
        desk.recorder._look_around(desk.clock.mono_s())
        asked += len(desk.asks())
    desk.hear(closing("a1", 300))
    assert desk.heard.complete == 1
    assert asked < 10


@pytest.mark.parametrize(("stations", "session"), [(("No Such",), None), (("a/b",), None), ((), "../x"), ((), "")])
def test_names_that_are_none_are_refused(tmp_path: Path, stations: tuple[str, ...], session: str | None) -> None:
    """Before anything is made."""
    with pytest.raises(InputWrong, match="allowed"):
        Recorder(MqttConfig("127.0.0.1"), "x", tmp_path, stations, RealClock(), print, session)


def test_a_stand_in_station_is_recorded_by_asking(broker: EmbeddedBroker, tmp_path: Path) -> None:
    """The request is to the letter of the contract, and whoever answers it is recorded."""
    lines = journal("a1", 30).splitlines()
    station = Listener(broker.port, "evenbath/laundry/again")
    with RunningRecorder(broker.port, tmp_path / "kept", ("laundry",), "a1", Patience(ask_s=0.2, quiet_s=0.5)) as running:
        station.say(TOPIC, lines[0])
        station.say(TOPIC, lines[20])
        until(lambda: b'{"session": "a1", "from_seq": 2}' in station.on("evenbath/laundry/again"), "the request")
        for line in lines[1:]:
            station.say(TOPIC, line)
        running.thread.join(20.0)
        assert not running.thread.is_alive()
        assert running.file("a1") == journal("a1", 30)
    station.close()
