"""A pattern of the sounder as it reaches an ear in a small tiled room with the tap running. Not a measured room.

A tone of one pitch, gated by the pattern; the room answers with noise that dies away exponentially; water is wide-band
noise. Reverberation time 0.3 to 0.6 s to -60 dB (the issue's range). How strong the room is against the sounder itself
follows from the critical distance, 0.057 sqrt(V/T) metres (Sabine's theory, textbooks of room acoustics, from memory), in 15 m3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

RATE_HZ = 8000
VOLUME_M3 = 15.0
"""A bathroom of 6 m2, 2.5 m high."""
RAMP_S = 0.003
"""How long a small piezo takes to speak and to stop (order of magnitude, no source)."""

Samples = np.ndarray[Any, np.dtype[np.float64]]


@dataclass(frozen=True, slots=True)
class Place:
    """One evening's acoustics. `distance_m`: ear to sounder; `signal_to_noise_db`: the tone against all of the water's noise."""

    tone_hz: float
    decay_s: float
    distance_m: float
    signal_to_noise_db: float

    @property
    def direct_to_room_db(self) -> float:
        """The tone's own path against the room's answer to a long tone."""
        return 20.0 * math.log10(0.057 * math.sqrt(VOLUME_M3 / self.decay_s) / self.distance_m)


NEAR_M, FAR_M = (0.3, 0.5), (0.9, 1.0)
"""Ear to sounder: as the guidance on mounting asks where water runs, and the farthest that it allows at all."""


def somewhere(chance: np.random.Generator, signal_to_noise_db: float, distance_m: tuple[float, float] = NEAR_M) -> Place:
    """A place at random: pitch 700-2500 Hz, decay 0.3-0.6 s."""
    return Place(chance.uniform(700, 2500), chance.uniform(0.3, 0.6), chance.uniform(*distance_m), signal_to_noise_db)


def in_the_bathroom(pattern_s: tuple[float, ...], place: Place, chance: np.random.Generator) -> Samples:
    """What two ears get, a row each: some silence, the pattern, its decay, water over all; every phase at random."""
    from scipy.signal import fftconvolve

    lead_s, tail_s = chance.uniform(0.3, 1.5), chance.uniform(0.8, 1.5)
    edges = np.cumsum([lead_s, *pattern_s])
    t = np.arange(int((edges[-1] + tail_s) * RATE_HZ)) / RATE_HZ
    gate = np.zeros_like(t)
    for on_s, off_s in zip(edges[0::2], edges[1::2], strict=False):
        gate += np.clip((t - on_s) / RAMP_S, 0.0, 1.0) * np.clip((off_s + RAMP_S - t) / RAMP_S, 0.0, 1.0)
    tone = gate * np.sin(2 * math.pi * place.tone_hz * t + chance.uniform(0, 2 * math.pi))
    direct_power = float(np.sum(tone**2) / np.sum(gate))
    ring = np.arange(int(1.2 * place.decay_s * RATE_HZ)) / RATE_HZ
    fading = np.exp(-math.log(1000.0) * ring / place.decay_s)
    room = chance.standard_normal((2, ring.size)) * fading / math.sqrt(float(np.sum(fading**2)))
    # To noise the room's answer has power one. To one pitch it may be more or less, and another at each ear, as in a real room.
    echo = fftconvolve(tone[np.newaxis], room, axes=1)[:, : t.size] * 10 ** (-place.direct_to_room_db / 20)
    water = chance.standard_normal(echo.shape) * math.sqrt(direct_power * 10 ** (-place.signal_to_noise_db / 10))
    return np.asarray(tone + echo + water, dtype=np.float64)
