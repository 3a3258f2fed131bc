"""An ear that has learned the sounds from the card: a band around the tone, its envelope, pulses and gaps, the nearest signal.

Written without the pattern table: the patterns stand here once more, as milliseconds, and the rule of the answers in words
of its own. It knows neither how a sound is made nor the room; it finds the pitch and the smear for itself.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from tests.benchmarks.bathroom import Samples

SMOOTH_S = 0.010
"""The envelope's Gaussian window: lets 28 Hz of the noise through, and still shows a gap of 90 ms."""
SWINGS_DB = (3.0, 4.5, 6.0, 8.0)
"""A pulse begins that much above the valley before it, and ends that much below its top; an ear in an unknown room tries several."""
SHORTEST_GAPS_MS = (0.0, 25.0, 40.0)
"""Shorter gaps are taken for an echo that beats against the tone."""
EQUAL_DB = 8.0
"""All pulses are equally loud: what stays this far below the loudest is an echo or water."""
SLOWEST_DB_A_SECOND, FADE_DB = 100.0, 6.0
"""No small room holds a sound longer: a gap that stays louder than this, and louder than the water, is the tone beating with its echo."""
SMEAR_MS, SMEAR_SD_MS = 25.0, 25.0
"""How much longer than it was a pulse appears in a room, one value for a whole signal."""
OVERLOOKED = 2.0
"""What a coarser view costs, times the share of parts that it does not see."""
STEP_MS = 1.0
UNHEARD = "?"


def _minutes(number: int) -> list[float]:
    if number == 0:
        return [40, 90, 40, 90, 40]
    pairs, rest = divmod(number, 10) if number > 19 else (0, number)
    told = [[500.0, 100.0, 500.0]] * pairs + [[500.0]] * (rest // 5) + [[150.0]] * (rest % 5)
    return [part for group in told for part in [350, *group]][1:]


KNOWN: dict[str, list[list[float]]] = {
    "tick": [[40, *([960, 40] * more)] for more in (1, 2, 3, 4)],
    "double-tick": [[40, 90, 40]],
    "ready": [[900]],
    "now": [[*([90, 90] * 5), 700]],
    "sheet": [[*([90, 90] * 4), 90]],
    "fault": [[90, 90, 320, 300, 90, 90, 320]],
    "yes": [[40, 200, 40]],
    "over": [[3000]],
    "click": [[25]],
    **{f"minutes {number}": [_minutes(number)] for number in range(121)},
}
"""On and off in turn, milliseconds; ticks are heard as a few in a row."""
FORMS: dict[int, list[tuple[str, list[float]]]] = {}
for _name, _forms in KNOWN.items():
    for _form in _forms:
        FORMS.setdefault(len(_form), []).append((_name, _form))
WORST = 4.0
"""Mean square of differences beyond which it is like nothing that the ear knows."""


@dataclass(frozen=True, slots=True)
class Heard:
    """What the ear takes it for: the name, `?` if like nothing it knows; pulses and gaps as they appeared, ms."""

    name: str
    on_off_ms: tuple[float, ...]


def listen(sound: Samples, rate_hz: int) -> Heard:
    """Name what was played."""
    level_db = _envelope_db(sound, rate_hz)
    views = [_joined(_pulses_ms(level_db, swing_db), shortest_ms) for swing_db in SWINGS_DB for shortest_ms in SHORTEST_GAPS_MS]
    most = max(len(view) for view in views)
    best, found = WORST, Heard(UNHEARD, ())
    for view in views:
        for known, form in FORMS.get(len(view), ()):
            if (far := _distance(view, form) + OVERLOOKED * (most - len(view)) / most) < best:
                best, found = far, Heard(known, tuple(view))
    return found


def _envelope_db(sound: Samples, rate_hz: int) -> Samples:
    from scipy.ndimage import gaussian_filter1d  # where it is needed: every worker of the tests collects this module, one listens

    count = sound.shape[1]
    hz = np.fft.rfftfreq(count, 1 / rate_hz)
    spectrum = gaussian_filter1d(np.sum(np.abs(np.fft.rfft(sound)) ** 2, axis=0), 2.0 / hz[1])
    inside = (hz > 600) & (hz < 2600)
    tone_hz = hz[inside][np.argmax(spectrum[inside])]
    turned = sound * np.exp(-2j * math.pi * tone_hz * np.arange(count) / rate_hz)
    width = SMOOTH_S * rate_hz
    power = np.sum(gaussian_filter1d(turned.real, width) ** 2 + gaussian_filter1d(turned.imag, width) ** 2, axis=0)
    return np.asarray(10 * np.log10(power[:: round(STEP_MS * rate_hz / 1000)] + 1e-12))


def _pulses_ms(level_db: Samples, swing_db: float) -> list[float]:
    """From valley to top to valley, each swing at least `swing_db`; then the edges at `swing_db` below each top."""
    water_db = float(np.percentile(level_db, 20))
    floor_db = max(float(np.max(level_db)) - EQUAL_DB, water_db + swing_db)
    tops: list[int] = []
    valley, top, rising = math.inf, -math.inf, False
    at = 0
    for i, now_db in enumerate(level_db.tolist()):
        if rising:
            if now_db > top:
                top, at = now_db, i
            elif now_db < top - swing_db:
                tops.append(at)
                rising, valley = False, now_db
        else:
            valley = min(valley, now_db)
            if now_db > valley + swing_db and now_db > floor_db - swing_db:
                rising, top, at = True, now_db, i
    if rising:
        tops.append(at)
    edges: list[tuple[int, int]] = []
    for at in tops:
        if level_db[at] < floor_db:
            continue
        low = np.flatnonzero(level_db < level_db[at] - swing_db)
        before, after = low[low < at], low[low > at]
        on, off = int(before[-1]) if before.size else 0, int(after[0]) if after.size else level_db.size
        if edges and on < edges[-1][1]:
            continue
        if edges:
            gap_db, gap_s = float(np.median(level_db[edges[-1][1] : on + 1])), STEP_MS * (on - edges[-1][1]) / 1000
            if gap_db > max(water_db, level_db[at] - SLOWEST_DB_A_SECOND * gap_s / 2) + FADE_DB:
                edges[-1] = (edges[-1][0], off)
                continue
        edges.append((on, off))
    flat = [at for edge in edges for at in edge]
    return [STEP_MS * (b - a) for a, b in itertools.pairwise(flat)]


def _joined(on_off_ms: list[float], shortest_ms: float) -> list[float]:
    joined = on_off_ms[:1]
    for gap_ms, on_ms in zip(on_off_ms[1::2], on_off_ms[2::2], strict=True):
        if gap_ms < shortest_ms:
            joined[-1] += gap_ms + on_ms
        else:
            joined += [gap_ms, on_ms]
    return joined


def _distance(seen_ms: list[float], known_ms: list[float]) -> float:
    """Mean square of the differences, each against what a pulse of its length may vary, and of the common smear against the usual one."""
    seen, known = np.array(seen_ms), np.array(known_ms)
    sign = np.where(np.arange(seen.size) % 2 == 0, 1.0, -1.0)
    weight = np.maximum(20.0, 0.12 * known) ** -2
    usual = SMEAR_SD_MS**-2
    smear = (np.sum(weight * sign * (seen - known)) + usual * SMEAR_MS) / (np.sum(weight) + usual)
    squares = np.sum(weight * (seen - known - sign * smear) ** 2) + usual * (smear - SMEAR_MS) ** 2
    return float(squares) / seen.size
