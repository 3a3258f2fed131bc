"""The sounds as WAV files: one pitch, 16 bit, a channel. For a telephone, for a room without a station, for those who only listen.

Each pulse rises and falls within itself, so that it does not click and keeps its length. Tests: tests/prepare/lesson/test_wav.py.
"""

from __future__ import annotations

import io
import math
import struct
import wave
from collections.abc import Sequence

RATE_HZ = 22050
TONE_HZ = 1200.0
"""Inside 700-2500 Hz, where older ears hear well (practice of this project; MIL-STD-1472E 5.3.4 prefers 500-3000 Hz)."""
LOUD = 0.5
"""Of full scale."""
RAMP_S = 0.004
"""A cosine rise and fall, much shorter than the shortest pulse of 25 ms."""
SILENCE_S = 0.25
"""Before and after: a loudspeaker that wakes late swallows no onset."""


def wav_bytes(pattern: Sequence[float]) -> bytes:
    """The file's bytes. `pattern`: seconds on and off in turn, beginning with on."""
    samples = [0] * round(SILENCE_S * RATE_HZ)
    start, at_s = len(samples), 0.0
    for i, part_s in enumerate(pattern):
        begin, at_s = start + round(at_s * RATE_HZ), at_s + part_s
        count = start + round(at_s * RATE_HZ) - begin
        samples += [_sample(k, count) for k in range(count)] if i % 2 == 0 else [0] * count
    samples += [0] * round(SILENCE_S * RATE_HZ)
    file = io.BytesIO()
    with wave.open(file, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(RATE_HZ)
        sound.writeframes(struct.pack(f"<{len(samples)}h", *samples))
    return file.getvalue()


def _sample(k: int, count: int) -> int:
    """Sample `k` of a pulse of `count`."""
    edge = min(k, count - 1 - k) / (RAMP_S * RATE_HZ)
    rise = 0.5 - 0.5 * math.cos(math.pi * min(1.0, edge))
    return round(32767 * LOUD * rise * math.sin(2 * math.pi * TONE_HZ * k / RATE_HZ))
