"""From the station's socket to the page's snapshot: the real ends of both, step by step."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from monitor.live.clock import RealClock
from monitor.live.station.telling import Telling
from monitor.page.board import Board
from monitor.page.hearing import Hearing, word_within
from monitor.page.station_source import StationSource
from tests.fake_clock import FakeClock
from tests.page.served import PROBES


class Line:
    """Station and page, joined by a socket."""

    def __init__(self, folder: Path) -> None:
        self.clock = FakeClock()
        self.folder = folder
        self.telling = Telling(folder, clock=self.clock)
        self.telling.open()
        self.hearing = Hearing(folder)
        self.source = StationSource(self.hearing, Board(folder / "journals", 15.0, lambda: datetime(2026, 11, 6, tzinfo=UTC)))

    def step(self, seconds: float = 0.0) -> bool:
        """Both do what they can; whether the page has something new."""
        self.clock.advance(seconds)
        new = False
        for _ in range(4):
            new = self.source.turn(self.clock.mono_s()) or new
            self.telling.turn(0.0)
        return new

    def word(self, age_s: float = 0.1, light: bool = True) -> None:
        """The station says something."""
        probes = [{**probe, "age_s": age_s, "good_age_s": age_s} for probe in PROBES]
        self.telling.tell({"station": "laundry", "light": True, "films": [], "probes": probes} if light else {"light": False})


@pytest.fixture
def line(tmp_path: Path) -> Iterator[Line]:
    """And it is hung up."""
    made = Line(tmp_path)
    yield made
    made.hearing.close()
    for descriptor in list(made.telling._readers):
        made.telling._drop(descriptor)
    made.telling.stop()


def test_a_word_becomes_a_snapshot(line: Line) -> None:
    """With the age of the word and of the measurement."""
    line.step()
    line.word()
    line.step(0.2)
    told = line.source.snapshot(line.clock.mono_s() + 0.3)
    assert told["station_age_s"] == pytest.approx(0.3)
    assert told["age_s"] == pytest.approx(0.4)
    assert told["station"] == "laundry"


def test_a_new_measurement_is_new_and_a_word_without_one_is_not(line: Line) -> None:
    """So that a snapshot goes out as soon as there is something to see, and not twice for it."""
    line.step()
    line.word(age_s=0.1)
    assert line.step(0.5)
    line.word(age_s=0.6)
    assert not line.step(0.5)
    line.word(age_s=0.1)
    assert line.step(0.5)
    line.word(light=False)
    assert line.step(0.5)


def test_the_station_hears_how_many_are_lit_and_nothing_else(line: Line) -> None:
    """Again after a new connection, where it has forgotten."""
    line.step()
    line.source.count(3)
    line.step()
    assert line.telling.lit(line.clock.mono_s()) == 3
    line.source.count(0)
    line.step()
    assert line.telling.lit(line.clock.mono_s()) == 0


def test_a_station_that_comes_back_is_found(line: Line) -> None:
    """Within a second; and a page that began before the station finds it too."""
    line.step()
    line.word()
    line.step(0.1)
    for descriptor in list(line.telling._readers):
        line.telling._drop(descriptor)
    line.telling.stop()
    line.source.turn(line.clock.mono_s())
    assert line.source.descriptor is None
    line.telling = Telling(line.folder, clock=line.clock)
    line.telling.open()
    line.step(0.6)
    line.word()
    assert line.step(0.1)


def test_nonsense_from_the_socket_is_passed_over(line: Line) -> None:
    """And what is no word lights nothing."""
    line.step()
    line.telling.tell({"light": "yes"})
    line.step(0.1)
    assert line.source.snapshot(line.clock.mono_s()) == {"light": False}


def test_who_listens_once_hears_the_word_and_counts_as_no_display(tmp_path: Path) -> None:
    """A start with bare film is not put off by a command that has asked. Where nobody says anything it is None."""
    assert word_within(tmp_path, 0.01) is None
    telling = Telling(tmp_path)
    telling.open()
    assert word_within(tmp_path, 0.01) is None
    telling.start()
    ending = threading.Event()

    def speak() -> None:
        while not ending.is_set():
            telling.tell({"station": "laundry", "light": True, "films": []})
            ending.wait(0.02)

    speaker = threading.Thread(target=speak)
    speaker.start()
    try:
        assert word_within(tmp_path, 5.0) == {"station": "laundry", "light": True, "films": []}
    finally:
        ending.set()
        speaker.join()
        telling.stop()
    assert telling.lit(RealClock().mono_s()) == 0


def test_what_a_reader_said_last_counts_though_it_is_gone(line: Line) -> None:
    """It said that nothing is lit and hung up; the next word finds it gone before that was read."""
    line.step()
    line.source.count(0)
    line.step()
    end = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    end.connect(str(line.folder / "telling.sock"))
    line.telling.turn(0.0)
    line.word()
    line.step()
    end.sendall(b"0\n")
    end.close()
    line.word()
    line.telling._hand_out()
    line.step()
    assert line.telling.lit(line.clock.mono_s()) == 0
