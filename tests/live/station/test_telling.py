"""The socket that only tells, over a real socket, step by step."""

from __future__ import annotations

import json
import os
import socket
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from monitor.live.station.telling import DEAF_S, LEASE_S, MOST_READERS, NAME, Telling
from tests.fake_clock import FakeClock


@pytest.fixture
def clock() -> FakeClock:
    """It jumps."""
    return FakeClock()


@pytest.fixture
def telling(tmp_path: Path, clock: FakeClock) -> Iterator[Telling]:
    """Open, without its thread."""
    made = Telling(tmp_path, clock=clock)
    made.open()
    yield made
    for descriptor in list(made._readers):
        made._drop(descriptor)
    made.stop()


ENDS: list[socket.socket] = []


@pytest.fixture(autouse=True)
def _hang_up() -> Iterator[None]:
    yield
    while ENDS:
        ENDS.pop().close()


class Reader:
    """The other end."""

    def __init__(self, folder: Path, telling: Telling) -> None:
        self.telling = telling
        self.end = socket.socket(socket.AF_UNIX)
        ENDS.append(self.end)
        self.end.settimeout(0.3)
        self.end.connect(str(folder / NAME))
        self.turn()

    def turn(self) -> None:
        """The server does what it can."""
        for _ in range(4):
            self.telling.turn(0.0)

    def word(self) -> Any:
        """The next whole object."""
        self.turn()
        got = b""
        while not got.endswith(b"\n"):
            got += self.end.recv(1 << 20)
            self.turn()
        return json.loads(got)

    def say(self, what: bytes) -> None:
        """Something comes in."""
        self.end.sendall(what)
        self.turn()

    @property
    def dropped(self) -> bool:
        """Whether the server has hung up."""
        self.turn()
        try:
            while self.end.recv(1 << 20):
                pass
        except TimeoutError:
            return False
        except OSError:
            return True
        return True


def test_a_reader_gets_the_newest_word_whole(tmp_path: Path, telling: Telling) -> None:
    """Of those that were told before it came only the last."""
    telling.tell({"n": 1})
    telling.tell({"n": 2})
    reader = Reader(tmp_path, telling)
    assert reader.word() == {"n": 2}
    telling.tell({"n": 3})
    assert reader.word() == {"n": 3}


def test_it_is_for_the_stations_user_and_group_alone(tmp_path: Path, telling: Telling) -> None:
    """Mode 0660; and a peer who is neither is turned away unread."""
    assert stat.S_IMODE(os.lstat(tmp_path / NAME).st_mode) == 0o660
    telling._allow = lambda peer: False
    assert Reader(tmp_path, telling).dropped
    assert not telling.listeners


def test_one_that_does_not_read_is_dropped_and_costs_the_others_nothing(tmp_path: Path, telling: Telling, clock: FakeClock) -> None:
    """What waits for it is one word, whatever is told meanwhile."""
    deaf, good = Reader(tmp_path, telling), Reader(tmp_path, telling)
    big = "x" * 400_000
    for n in range(50):
        telling.tell({"n": n, "big": big})
        assert good.word()["n"] == n
        clock.advance(0.5)
        assert sum(len(r.outgoing) for r in telling._readers.values()) < 2 * len(big)
    assert len(telling._readers) == 1
    assert deaf.dropped


def test_a_count_is_all_that_can_be_said(tmp_path: Path, telling: Telling, clock: FakeClock) -> None:
    """Digits and a newline; anything else ends the connection, and moves nothing."""
    reader = Reader(tmp_path, telling)
    assert telling.lit(clock.mono_s()) == 1, "who has not told counts as lit"
    reader.say(b"3\n")
    assert telling.lit(clock.mono_s()) == 3
    reader.say(b"1\n0\n")
    assert telling.lit(clock.mono_s()) == 0
    for attack in (b'{"verb":"abandon","why":"x"}\n', b"12345678901234567890", b"-1\n", b"\n", b"1 \n"):
        other = Reader(tmp_path, telling)
        other.say(attack)
        assert other.dropped, attack


def test_a_reader_that_is_gone_counts_as_lit_for_the_length_of_the_lease(tmp_path: Path, telling: Telling, clock: FakeClock) -> None:
    """A page that was killed leaves phones behind that still show its last word."""
    reader = Reader(tmp_path, telling)
    telling.tell({"light": True})
    reader.say(b"2\n")
    reader.end.close()
    reader.turn()
    assert telling.lit(clock.mono_s()) == 1
    clock.advance(LEASE_S - 1)
    assert telling.lit(clock.mono_s()) == 1
    clock.advance(2)
    assert telling.lit(clock.mono_s()) == 0


def test_more_readers_than_there_are_places_wait_before_the_door(tmp_path: Path, telling: Telling) -> None:
    """Nobody is thrown out for them."""
    readers = [Reader(tmp_path, telling) for _ in range(MOST_READERS + 2)]
    assert len(telling._readers) == MOST_READERS
    telling.tell({"n": 1})
    assert readers[0].word() == {"n": 1}
    readers[0].end.close()
    readers[1].turn()
    assert readers[MOST_READERS].word() == {"n": 1}


def test_what_a_dead_station_left_is_removed_and_what_is_none_of_ours_stays(tmp_path: Path) -> None:
    """A file of this name is somebody's."""
    first, second, third = Telling(tmp_path), Telling(tmp_path), Telling(tmp_path)
    first.open()
    second.open()
    (tmp_path / NAME).unlink()
    (tmp_path / NAME).write_text("mine")
    with pytest.raises(FileExistsError):
        third.open()
    third.stop()
    assert (tmp_path / NAME).read_text() == "mine"
    first.stop()
    second.stop()


def test_its_thread_tells_and_ends(tmp_path: Path) -> None:
    """With the real clock: a word arrives, and after `stop` the socket is gone."""
    made = Telling(tmp_path)
    made.open()
    made.start()
    end = socket.socket(socket.AF_UNIX)
    end.settimeout(5.0)
    end.connect(str(tmp_path / NAME))
    made.tell({"n": 1})
    assert json.loads(end.recv(4096)) == {"n": 1}
    made.stop()
    assert not (tmp_path / NAME).exists()
    end.close()


def test_what_a_reader_said_last_counts_where_the_station_ends_before_it_has_read_it(
    tmp_path: Path, telling: Telling, clock: FakeClock
) -> None:
    """Else a display that is dark would count as lit for the length of the lease."""
    telling.tell({"n": 1})
    reader = Reader(tmp_path, telling)
    assert reader.word() == {"n": 1}
    reader.end.send(b"0\n")
    reader.end.close()
    telling._ending = True
    telling._run()
    assert telling.lit(clock.mono_s()) == 0


def test_it_is_given_so_long_to_take_a_word() -> None:
    """Longer than a phone needs, far shorter than the lease."""
    assert DEAF_S < LEASE_S
