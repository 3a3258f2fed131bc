"""The sounds as WAV files, read back by other means than they were written with."""

from __future__ import annotations

import io
import wave

import numpy as np
import pytest

from monitor.core.session.sounds import SIGNALS, Signal
from monitor.prepare.lesson.wav import RAMP_S, RATE_HZ, SILENCE_S, TONE_HZ, wav_bytes


def samples(pattern: tuple[float, ...]) -> np.ndarray:
    """The file's samples as numbers from -1 to 1."""
    with wave.open(io.BytesIO(wav_bytes(pattern))) as sound:
        assert (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) == (1, 2, RATE_HZ)
        return np.frombuffer(sound.readframes(sound.getnframes()), dtype="<i2") / 32768


@pytest.mark.parametrize("signal", SIGNALS, ids=lambda signal: signal.name)
def test_pulses_and_gaps_last_as_the_table_says(signal: Signal) -> None:
    """Within a period of the tone, the silence before and after apart."""
    loud = np.flatnonzero(np.abs(samples(signal.pattern)) > 0)
    breaks = np.flatnonzero(np.diff(loud) > RATE_HZ * 0.02)
    ons = loud[np.concatenate(([0], breaks + 1))] / RATE_HZ
    offs = loud[np.concatenate((breaks, [loud.size - 1]))] / RATE_HZ
    seen_ms = [1000 * value for on, off, later in zip(ons, offs, [*ons[1:], None], strict=True)
               for value in (off - on, *(() if later is None else (later - off,)))]  # fmt: skip
    wanted_ms = signal.on_off_ms if len(signal.on_off_ms) % 2 else signal.on_off_ms[:-1]
    assert seen_ms == pytest.approx(wanted_ms, abs=1.5)
    assert ons[0] == pytest.approx(SILENCE_S, abs=0.002)


def test_it_has_one_pitch_and_no_clicks() -> None:
    """The spectrum has one peak, and beside it next to nothing: a tone that is cut off has a thousand times as much there."""
    tone = samples((0.9,))
    spectrum = np.abs(np.fft.rfft(tone)) ** 2
    hz = np.fft.rfftfreq(tone.size, 1 / RATE_HZ)
    assert hz[np.argmax(spectrum)] == pytest.approx(TONE_HZ, abs=2)
    assert spectrum[np.abs(hz - TONE_HZ) > 600].sum() < 1e-6 * spectrum.sum()
    start = round(SILENCE_S * RATE_HZ)
    assert np.max(np.abs(tone[start : start + round(RAMP_S * RATE_HZ / 4)])) < 0.1
    assert 0.45 < np.max(np.abs(tone)) <= 0.5
