"""What plays a lesson: the bell's rhythm, and what is asked of a station."""

from __future__ import annotations

from typing import Any

import pytest

from monitor.cli.terminal.voices import AFTER_S, BELL, Bell, StationVoice
from monitor.core.errors import InputWrong
from monitor.core.session.sounds import FAULT, NOW, READY
from tests.fake_clock import FakeClock


def rung(pattern: tuple[float, ...]) -> tuple[list[float], float]:
    """When the bell rang, from the begin, and how long it took in all."""
    clock, rings = FakeClock(), list[float]()
    begun_s = clock.mono_s()

    def write(text: str) -> None:
        assert text == BELL
        rings.append(round(clock.mono_s() - begun_s, 6))

    Bell(clock, write).play(pattern)
    return rings, clock.mono_s() - begun_s


def test_the_bell_rings_at_each_onset_and_through_each_tone() -> None:
    """Five fast and a long one; a limp of short and long; one steady tone."""
    assert rung(NOW)[0] == pytest.approx([0.0, 0.18, 0.36, 0.54, 0.72, *(0.9 + 0.1 * k for k in range(7))])
    assert rung(FAULT)[0] == pytest.approx([0.0, 0.18, 0.28, 0.38, 0.8, 0.98, 1.08, 1.18])
    rings, lasts_s = rung(READY)
    assert rings == pytest.approx([0.1 * k for k in range(9)])
    assert lasts_s == pytest.approx(0.9 + AFTER_S)


def test_a_station_is_told_the_pattern_and_waited_for() -> None:
    """In whole milliseconds."""
    clock, sent = FakeClock(), list[Any]()
    begun_s = clock.mono_s()

    def ask(request: Any) -> Any:
        sent.append(request)
        return {"ok": True, "sounds_for_s": 1.8}

    StationVoice(clock, ask).play(NOW)
    assert sent == [{"verb": "sound", "on_off_ms": [90] * 10 + [700]}]
    assert clock.mono_s() - begun_s == pytest.approx(1.8 + AFTER_S)


def test_a_station_that_refuses_ends_the_lesson_in_its_own_words() -> None:
    """As it does where a session is armed."""
    refused = {"ok": False, "status": 2, "lines": ["session x is armed or running"]}
    with pytest.raises(InputWrong, match="armed or running"):
        StationVoice(FakeClock(), lambda _: refused).play(READY)
