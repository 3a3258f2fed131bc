"""Clocks: what passes, what jumps, what never goes back."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from monitor.live.clock import RealClock, read_stamp, stamp
from tests.fake_clock import FakeClock


def test_the_fake_clock_never_goes_back() -> None:
    """A negative step is a mistake of the test."""
    clock = FakeClock(10.0)
    clock.to(5.0)
    assert clock.mono_s() == 10.0
    with pytest.raises(ValueError, match="cannot go back"):
        clock.advance(-0.1)


def test_waiting_on_the_fake_clock_jumps_to_the_deadline() -> None:
    """And a wait that nobody could end is refused."""
    clock = FakeClock(10.0)
    condition = threading.Condition()
    with condition:
        clock.wait(condition, 12.5)
        assert clock.mono_s() == 12.5
        with pytest.raises(RuntimeError):
            clock.wait(condition, None)


def test_a_step_of_the_wall_clock_leaves_the_monotonic_one_alone() -> None:
    """Labels and durations are two things."""
    clock = FakeClock(10.0)
    before = clock.wall()
    clock.step_wall(-3600)
    clock.advance(1)
    assert clock.mono_s() == 11.0
    assert clock.wall() - before == timedelta(seconds=-3599)


def test_after_a_reboot_the_monotonic_clock_begins_anew() -> None:
    """With another boot's name."""
    clock = FakeClock(5000.0)
    clock.reboot(20.0, "boot-2")
    assert clock.mono_s() < 60
    assert clock.boot_id() == "boot-2"


def test_the_real_clock_wakes_by_notice_and_by_time() -> None:
    """A wait that is over returns at once."""
    clock = RealClock()
    condition = threading.Condition()
    with condition:
        begun_s = clock.mono_s()
        clock.wait(condition, begun_s - 1.0)
        clock.wait(condition, begun_s + 0.02)
        assert clock.mono_s() - begun_s >= 0.015


def test_the_real_clock_knows_boot_and_zone() -> None:
    """Words, never empty."""
    assert RealClock().boot_id()
    assert RealClock().zone()


def test_a_stamp_is_utc_with_milliseconds_and_can_be_read_back() -> None:
    """RFC 3339."""
    moment = datetime(2026, 11, 25, 19, 4, 5, 678901, tzinfo=UTC)
    assert stamp(moment) == "2026-11-25T19:04:05.678Z"
    read = read_stamp(stamp(moment))
    assert read is not None
    assert abs((read - moment).total_seconds()) < 0.001
    assert read_stamp("yesterday") is None
    assert read_stamp("2026-11-25T19:04:05") is None
