"""The clockwork of the page: streams that are never waited for, a snapshot about once a second, the count of what is lit."""

from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from monitor.live.station.telling import LEASE_S
from monitor.page.pulse import STUCK_S, Pulse
from monitor.page.streams import DEAF_S, HEAD, Streams
from tests.fake_clock import FakeClock
from tests.page.served import Told

LIT = {"light": True, "id": "x:1", "slots": {}}


class Beat:
    """A pulse that is stepped, and the other ends of its streams."""

    def __init__(self, most: int = 8, most_a_peer: int = 2) -> None:
        self.clock = FakeClock()
        self.source = Told(LIT)
        self.pulse = Pulse(self.source, Streams(most, most_a_peer), self.clock.mono_s)
        self.ends: list[socket.socket] = []

    def open(self, peer: str = "192.168.1.5") -> socket.socket | None:
        """A stream more; None where there was no room."""
        ours, theirs = socket.socketpair()
        self.ends += [ours, theirs]
        theirs.setblocking(False)
        if not self.pulse.add(ours, peer):
            return None
        self.turn()
        return theirs

    def turn(self, seconds: float = 0.0) -> None:
        """Time goes on; one step."""
        self.clock.advance(seconds)
        self.pulse.turn(0.0)

    def read(self, end: socket.socket) -> bytes:
        """All that has come."""
        got = b""
        try:
            while piece := end.recv(1 << 20):
                got += piece
        except BlockingIOError:
            pass
        return got


@pytest.fixture
def beat() -> Iterator[Beat]:
    """And its sockets are closed."""
    made = Beat()
    yield made
    made.pulse.stop()
    for end in made.ends:
        end.close()


def test_a_stream_begins_with_the_newest_snapshot_and_gets_one_a_second(beat: Beat) -> None:
    """Even when nothing has changed; each a whole one with its id."""
    end = beat.open()
    assert end is not None
    assert beat.read(end) == HEAD + b'id: x:1\ndata: {"light":true,"id":"x:1","slots":{}}\n\n'
    for _ in range(40):
        beat.turn(0.25)
    assert beat.read(end).count(b"data: ") == 10


def test_what_is_new_is_told_at_once(beat: Beat) -> None:
    """Not at the next second."""
    end = beat.open()
    assert end is not None
    beat.read(end)
    beat.source.tell({"light": False})
    beat.turn(0.05)
    assert beat.read(end) == b'data: {"light":false}\n\n'


def test_one_that_does_not_read_gets_the_newest_when_it_reads_again_and_is_dropped_after_a_while(beat: Beat) -> None:
    """Nothing is queued for it, and the others are told as ever."""
    deaf, good = beat.open(), beat.open()
    assert deaf is not None
    assert good is not None
    beat.source.told = {**LIT, "pad": "x" * 300_000}
    told = 0
    for _ in range(int(DEAF_S) + 3):
        beat.turn(1.0)
        for _ in range(6):
            told += beat.read(good).count(b"data: ")
            beat.turn()
    assert told >= DEAF_S
    assert len(beat.pulse.streams) == 1


def test_there_is_room_for_so_many_and_fewer_from_one_address(beat: Beat) -> None:
    """This machine alone is not limited by its address."""
    assert beat.open("192.168.1.5") is not None
    assert beat.open("192.168.1.5") is not None
    assert beat.open("192.168.1.5") is None
    for _ in range(6):
        assert beat.open("127.0.0.1") is not None
    assert beat.open("192.168.1.6") is None


def test_a_stream_that_hangs_up_is_forgotten(beat: Beat) -> None:
    """And what it says is read by nobody."""
    end = beat.open()
    assert end is not None
    end.send(b'{"verb":"abandon"}')
    beat.turn(1.0)
    assert len(beat.pulse.streams) == 1
    end.close()
    beat.turn(1.0)
    assert len(beat.pulse.streams) == 0


def test_a_display_counts_as_lit_until_its_lease_is_over(beat: Beat) -> None:
    """Streams, and whoever asked for a snapshot without one."""
    beat.turn()
    assert beat.source.lit == 0
    end = beat.open()
    assert end is not None
    beat.turn(1.0)
    assert beat.source.lit == 1
    beat.source.tell({"light": False})
    end.close()
    beat.turn(1.0)
    assert beat.source.lit == 1
    beat.turn(LEASE_S - 1.5)
    assert beat.source.lit == 1
    beat.turn(1.0)
    assert beat.source.lit == 0
    beat.source.tell(LIT)
    beat.turn(1.0)
    assert b"true" in beat.pulse.newest()
    beat.turn()
    assert beat.source.lit == 1


def test_where_the_clockwork_stands_still_nothing_is_lit(beat: Beat) -> None:
    """What it told last may be wrong by now."""
    beat.turn()
    assert beat.pulse.lit
    beat.clock.advance(STUCK_S + 0.1)
    assert not beat.pulse.lit
    assert beat.pulse.newest() == b'{"light":false}'
