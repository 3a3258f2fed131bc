"""One FAULT for two films."""

from __future__ import annotations

from monitor.core.session import sounds
from monitor.core.session.shared_fault import OneFault
from monitor.core.session.sounds import Sound, Vessel


def fault(number: int, vessel: Vessel, why: str) -> Sound:
    """A FAULT of one of the films."""
    return Sound(number, "fault", 0.0, sounds.FAULT, why=why, vessel=vessel)


def test_what_troubles_both_sounds_once_and_is_told_to_both() -> None:
    """The one that comes second is given back when the first one sounds, or at once where it has sounded already."""
    one = OneFault()
    assert one.heard(fault(1, 1, "bath: missing"), 10.0) == "sounds"
    assert one.heard(fault(2, 2, "bath: missing"), 10.0) == "said"
    assert one.begun_s is None
    assert [s.number for s in one.began(10.1)] == [2]
    assert one.heard(fault(3, 2, "bath: missing"), 50.0) == "said"
    assert one.begun_s == 10.1
    assert [s.number for s in one.began(10.1)] == [3]


def test_another_trouble_of_the_other_film_waits_for_its_minute() -> None:
    """FAULTs lie 60 s apart across films; within five seconds they are heard as one."""
    one = OneFault()
    assert one.heard(fault(1, 1, "jug: missing"), 10.0) == "sounds"
    assert one.heard(fault(2, 2, "bowl: air"), 14.0) == "said"
    assert one.heard(fault(3, 2, "bowl: air"), 30.0) == "waits"
    assert one.heard(fault(4, 2, "bowl: air"), 70.0) == "sounds"


def test_a_fault_that_will_not_sound_speaks_for_nobody() -> None:
    """What it was to speak for is tried again, and need not wait for it."""
    one = OneFault()
    one.heard(fault(1, 1, "a"), 10.0)
    one.heard(fault(2, 2, "a"), 10.0)
    assert [s.number for s in one.dropped()] == [2]
    assert one.heard(fault(3, 2, "a"), 12.0) == "sounds"


def test_a_film_s_own_faults_are_kept_apart_by_its_own_session() -> None:
    """Not here: after an interruption FAULT sounds first, whatever sounded before."""
    one = OneFault()
    assert one.heard(fault(1, 1, "a"), 10.0) == "sounds"
    assert one.heard(fault(2, 1, "b"), 12.0) == "sounds"
