"""The player: levels on absolute deadlines, and the truth about what was heard."""

import os
import threading

import pytest

from hardware.simulated.panel import RecordingOutput
from monitor.core.session.sounds import CLICK, NOW, READY, TICK, Sound
from monitor.live.clock import RealClock
from monitor.live.inbox import Inbox, Message, Sounded, Trouble, Unsounded
from monitor.live.station.player import Player, make_real_time
from tests.fake_clock import FakeClock


class Stage:
    """A player on a clock that jumps."""

    def __init__(self) -> None:
        self.clock = FakeClock(500.0)
        self.inbox = Inbox()
        self.sounder = RecordingOutput(self.clock.mono_s)
        self.player = Player(self.clock, self.sounder, self.inbox.put)
        self.player.restart(1, 500.0)

    def go(self, seconds: float) -> None:
        """Let time pass."""
        until_s = self.clock.mono_s() + seconds
        while True:
            next_s = self.player.step()
            if next_s is None or next_s > until_s:
                break
            self.clock.to(next_s)
        self.clock.to(until_s)
        self.player.step()

    def messages(self) -> list[Message]:
        """What has been told since."""
        found = []
        while (message := self.inbox.get(0)) is not None:
            found.append(message)
        return found


def test_a_pattern_is_driven_edge_by_edge_at_its_moments() -> None:
    """NOW: five short, one long, from its onset on."""
    stage = Stage()
    stage.player.add(Sound(1, "now", 2.0, NOW))
    stage.go(10.0)
    edges = [(round(at_s - 502.0, 6), on) for at_s, on in stage.sounder.edges]
    expected, at_s = [], 0.0
    for number, part in enumerate(NOW):
        expected.append((round(at_s, 6), number % 2 == 0))
        at_s += part
    expected.append((round(at_s, 6), False))
    assert edges == expected


def test_what_began_is_told_with_its_real_onset() -> None:
    """A player that wakes late says so."""
    stage = Stage()
    stage.player.add(Sound(1, "ready", 1.0, READY))
    stage.player.step()
    stage.clock.advance(1.05)
    stage.player.step()
    (message,) = stage.messages()
    assert isinstance(message, Sounded)
    assert abs(message.onset_s - 1.05) < 1e-6
    assert message.generation == 1


def test_a_sound_that_was_slept_through_is_not_said_to_have_sounded() -> None:
    """It comes back as unsounded."""
    stage = Stage()
    stage.player.add(Sound(1, "tick", 1.0, TICK))
    stage.clock.advance(3.0)
    stage.player.step()
    assert [type(m) for m in stage.messages()] == [Unsounded]


def test_a_tick_that_is_too_late_is_let_go_and_a_call_is_not() -> None:
    """A quarter of a second out of step is the end of a rhythm; a READY says what it says whenever it comes."""
    stage = Stage()
    stage.go(3.0)
    for number, onset_s in enumerate((1.0, 2.7, 2.8, 3.0)):
        stage.player.add(Sound(number, "tick", onset_s, TICK))
        stage.go(0.1 if number > 1 else 0.0)
    stage.player.add(Sound(9, "ready", 1.0, READY))
    stage.go(2.0)
    told = stage.messages()
    assert [m.sound.number for m in told if isinstance(m, Unsounded)] == [0, 1]
    assert [m.sound.number for m in told if isinstance(m, Sounded)] == [2, 3, 9]


def test_a_call_that_was_slept_through_is_not_said_to_have_sounded() -> None:
    """Nor one whose end is just over: nothing of it was heard."""
    for asleep_s in (10.0, 0.91):
        stage = Stage()
        stage.player.add(Sound(1, "ready", 1.0, READY))
        stage.clock.advance(1.0 + asleep_s)
        stage.player.step()
        assert [type(m) for m in stage.messages()] == [Unsounded]
        assert stage.sounder.edges == []


def test_a_tick_that_falls_into_the_silence_before_a_click_is_not_said_to_have_sounded() -> None:
    """Room is made for the answer to a press; a tick is as long as that silence."""
    stage = Stage()
    stage.player.add(Sound(1, "tick", 1.0, TICK))
    stage.player.add(Sound(2, "click", 1.02, CLICK))
    stage.go(2.0)
    told = stage.messages()
    assert [m.sound.number for m in told if isinstance(m, Unsounded)] == [1]
    assert [m.sound.number for m in told if isinstance(m, Sounded)] == [2]
    assert len(stage.sounder.edges) == 2


def test_a_sounder_that_fails_is_a_message_and_time_goes_on() -> None:
    """Once each way."""
    stage = Stage()
    stage.sounder.broken = True
    for number in range(3):
        stage.player.add(Sound(number, "tick", 1.0 + number, TICK))
    stage.go(4.0)
    told = stage.messages()
    assert [m.well for m in told if isinstance(m, Trouble)] == [False]
    assert not [m for m in told if isinstance(m, Sounded) and m.sound.number > 0]
    stage.sounder.broken = False
    stage.player.add(Sound(9, "tick", 5.0, TICK))
    stage.go(2.0)
    told = stage.messages()
    assert [m.well for m in told if isinstance(m, Trouble)] == [True]
    assert [m.sound.number for m in told if isinstance(m, Sounded)] == [9]


def test_hush_silences_at_once() -> None:
    """What plays and what waits."""
    stage = Stage()
    stage.player.add(Sound(1, "now", 1.0, NOW))
    stage.player.add(Sound(2, "now", 4.0, NOW))
    stage.go(1.05)
    assert stage.sounder.on
    stage.player.hush({"now"})
    stage.go(10.0)
    assert not stage.sounder.on
    assert len(stage.sounder.edges) == 2


def test_the_lamp_mirrors_the_sounder_only_while_it_is_handed_in() -> None:
    """And is dark when it is taken away, in the middle of a sound too."""
    stage = Stage()
    lamp = RecordingOutput(stage.clock.mono_s)
    stage.player.add(Sound(1, "ready", 1.0, READY))
    stage.go(1.2)
    stage.player.mirror(lamp)
    stage.go(0.1)
    assert lamp.on
    assert stage.player.mirror(None) is lamp
    assert not lamp.on
    stage.player.add(Sound(2, "ready", 3.0, READY))
    stage.go(5.0)
    assert [on for _, on in lamp.edges] == [True, False]


def test_a_new_tune_forgets_the_old_sounds() -> None:
    """Another session's sounds are none of this one's."""
    stage = Stage()
    stage.player.add(Sound(1, "now", 1.0, NOW))
    stage.go(1.05)
    stage.player.restart(2, stage.clock.mono_s())
    stage.go(5.0)
    assert len(stage.sounder.edges) == 2


@pytest.mark.parametrize("permitted", [True, False])
def test_its_thread_is_preferred_where_that_is_permitted_and_it_says_so(permitted: bool) -> None:
    """Asked for the right thread, once; a refusal costs nothing else."""
    asked: list[int] = []

    def prefer(thread: int) -> None:
        asked.append(thread)
        if not permitted:
            raise PermissionError(1, "Operation not permitted")

    clock, inbox = RealClock(), Inbox()
    player = Player(clock, RecordingOutput(clock.mono_s), inbox.put, prefer)
    assert not player.realtime
    player.start()
    assert asked == [t.native_id for t in threading.enumerate() if t.name == "player"]
    assert player.realtime is permitted
    player.restart(1, clock.mono_s())
    player.add(Sound(1, "click", 0.0, CLICK))
    assert isinstance(inbox.get(5.0), Sounded)
    player.stop()


def test_a_thread_is_really_put_into_the_real_time_class_or_the_error_is_told() -> None:
    """By its native id, from another thread."""
    done = threading.Event()
    thread = threading.Thread(target=done.wait)
    thread.start()
    assert thread.native_id is not None
    try:
        make_real_time(thread.native_id)
        assert os.sched_getscheduler(thread.native_id) == os.SCHED_RR
        assert os.sched_getscheduler(0) == os.SCHED_OTHER
    except PermissionError:
        assert os.sched_getscheduler(thread.native_id) == os.SCHED_OTHER
    finally:
        done.set()
        thread.join()


def test_a_thread_of_its_own_sounds_a_click_and_stops_dark() -> None:
    """Real clock; afterwards the sounder is off, even in the middle of a sound."""
    clock, inbox = RealClock(), Inbox()
    sounder = RecordingOutput(clock.mono_s)
    player = Player(clock, sounder, inbox.put)
    player.start()
    player.restart(1, clock.mono_s())
    player.add(Sound(1, "click", 0.0, CLICK))
    assert isinstance(inbox.get(5.0), Sounded)
    player.add(Sound(2, "over", 0.0, (30.0,)))
    assert isinstance(inbox.get(5.0), Sounded)
    player.stop()
    assert not sounder.on
    assert not [t for t in threading.enumerate() if t.name == "player"]


def test_a_vibrator_has_the_same_calls_with_pulses_that_a_motor_can_follow() -> None:
    """Beside the sounder, from the same onset; nothing of it is told."""
    stage = Stage()
    vibrator = RecordingOutput(stage.clock.mono_s)
    stage.player = Player(stage.clock, stage.sounder, stage.inbox.put, vibrator=vibrator)
    stage.player.restart(1, 500.0)
    stage.player.add(Sound(1, "click", 2.0, CLICK))
    stage.player.add(Sound(2, "tick", 3.0, TICK))
    stage.player.add(Sound(3, "tick", 4.0, TICK))
    stage.go(10.0)
    assert [(round(at_s - 500.0, 3), on) for at_s, on in vibrator.edges] == [(2.0, True), (2.12, False), (3.0, True), (3.12, False)]
    assert len(stage.sounder.edges) == 6
    assert [type(m) for m in stage.messages()] == [Sounded, Sounded, Sounded]


def test_a_vibrator_that_fails_is_a_message_and_the_sounder_goes_on() -> None:
    """By its own name."""
    stage = Stage()
    vibrator = RecordingOutput(stage.clock.mono_s)
    vibrator.broken = True
    stage.player = Player(stage.clock, stage.sounder, stage.inbox.put, vibrator=vibrator)
    stage.player.restart(1, 500.0)
    stage.player.add(Sound(1, "click", 2.0, CLICK))
    stage.go(10.0)
    assert len(stage.sounder.edges) == 2
    assert [m.part for m in stage.messages() if isinstance(m, Trouble)] == ["vibrator"]
