"""The calls for the skin: long enough for a motor, and told apart as those of the sounder are."""

from __future__ import annotations

import pytest

from monitor.core.session import sounds
from monitor.core.session.fixed_times import NOW_REPEAT_S
from monitor.core.session.sounds import SIGNALS, Sound
from monitor.core.session.vibration import GAP_LEAST_S, PULSE_LEAST_S, Vibration, stretched


@pytest.mark.parametrize("signal", SIGNALS, ids=lambda s: s.name)
def test_every_pulse_lasts_120_ms_and_every_gap_180_ms(signal: sounds.Signal) -> None:
    """Pulses and gaps that are longer stay as they are."""
    felt = stretched(signal.pattern)
    assert len(felt) == len(signal.pattern)
    assert all(part >= (GAP_LEAST_S if k % 2 else PULSE_LEAST_S) for k, part in enumerate(felt))
    assert all(b == a for a, b in zip(signal.pattern, felt, strict=True) if a >= GAP_LEAST_S)


def test_a_stretched_now_ends_before_its_next_repeat() -> None:
    """With the shortest gap between them that a motor can show."""
    assert sounds.length_s(stretched(sounds.NOW)) + GAP_LEAST_S <= NOW_REPEAT_S + 1e-9


def test_unasked_calls_are_still_told_apart_in_their_first_pulses() -> None:
    """Steady, even and limping: the first two pulses or the first half second differ for each pair."""
    first = {name: stretched(pattern)[:3] for name, pattern in (("ready", sounds.READY), ("now", sounds.NOW), ("fault", sounds.FAULT))}
    assert first["ready"][0] > 0.6
    assert first["now"][0] == first["now"][2]
    assert first["fault"][2] > 2 * first["fault"][0]


def test_ticks_are_felt_every_five_seconds_at_most() -> None:
    """Movement is told by one in five; other calls are felt each time."""
    felt = Vibration()
    for k in range(12):
        felt.add(Sound(k, "tick", float(k), sounds.TICK), 0.0)
    felt.add(Sound(99, "click", 11.5, sounds.CLICK), 0.0)
    began = []
    for at in range(130):
        began += [(s.cue, s.onset_s) for s in felt.step(at / 10).began]
    assert began == [("tick", 0.0), ("tick", 5.0), ("tick", 10.0), ("click", 11.5)]
