"""What the keeper finds on this machine, and what the station makes of a change."""

import os
from pathlib import Path

import pytest

from monitor.live.clock import RealClock
from monitor.live.inbox import Inbox, MachineHealth
from monitor.live.station.keeper import Keeper, look
from tests.live.simulated import MIB, World


def test_free_space_is_what_this_user_may_still_write(tmp_path: Path) -> None:
    """In bytes; what is reserved for root does not count."""
    disk = os.statvfs(tmp_path)
    found = look(tmp_path, tmp_path / "nothing").free_bytes
    assert found is not None
    assert found == pytest.approx(disk.f_bavail * disk.f_frsize, rel=0.05)


@pytest.mark.parametrize(("word", "throttled"), [("50005\n", 0x50005), ("0\n", 0), ("", None), ("well", None)])
def test_the_boards_word_is_hexadecimal(tmp_path: Path, word: str, throttled: int | None) -> None:
    """Anything else is no word."""
    (tmp_path / "get_throttled").write_text(word)
    assert look(tmp_path, tmp_path / "get_throttled").throttled == throttled


def test_a_board_without_a_word_and_a_disk_that_is_gone_are_unknown(tmp_path: Path) -> None:
    """Not zero: that would be good news, or bad."""
    assert look(tmp_path / "gone", tmp_path / "gone") == MachineHealth(None, None)


def test_the_thread_looks_at_once(tmp_path: Path) -> None:
    """A start does not wait ten seconds to know the disk."""
    inbox = Inbox()
    keeper = Keeper(RealClock(), tmp_path, inbox.put)
    keeper.start()
    assert isinstance(inbox.get(5.0), MachineHealth)
    keeper.stop()


def test_a_change_of_the_supply_is_noted_once_and_told_by_status(tmp_path: Path) -> None:
    """Under-voltage comes and goes; a board that says that all is well from the start is no news."""
    world = World(tmp_path)
    world.health = MachineHealth(1000 * MIB, 0)
    world.go(11)
    name = world.develop()
    for word in (0, 0x50005, 0x50005, 0):
        world.health = MachineHealth(900 * MIB, word)
        world.go(11)
        assert world.ask(verb="status")["throttled"] == word
    assert [r["throttled"] for r in world.records(name, "power")] == [0x50005, 0]
    assert world.ask(verb="status")["free_bytes"] == 900 * MIB
