"""Rival models of what goes on: a liquid that is calm, lively, jumps or is stirred, or a probe in air. Each is a `Track` of its own.

While something looks wrong a `Bank` runs them beside each other; a Markov chain mixes them (H. A. P. Blom and Y. Bar-Shalom, IEEE
Trans. Autom. Control 33 (1988) 780: from memory). It decides nothing about trust: that is `suspicion`.
Tests: tests/core/development/test_filter.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from operator import mul
from typing import Literal

from monitor.core.development.coarse import code
from monitor.core.development.filter import AIR, PROBE, QUIET, TRANSIENT, Count, Noise, Step, T, Track, air_step

Kind = Literal["calm", "lively", "jump", "stir", "fault", "air"]
NOISES: dict[Kind, Noise] = {
    "calm": Noise(slope=2e-8, transient=1e-8),
    "lively": Noise(slope=2e-8, transient=4e-5),
    "jump": Noise(slope=2e-8, transient=1e-5, jump=2.0),
    "stir": Noise(slope=2e-8, transient=1e-5, stir=0.06**2),
    "fault": Noise(slope=2e-8, transient=1e-8),
    "air": Noise(slope=2e-8, transient=0.0, air=0.002),
}
ALL_KINDS: tuple[Kind, ...] = ("calm", "lively", "jump", "stir", "fault", "air")
DRYING = Noise(slope=2e-8, transient=0.0, air=0.03)
"""Of a wet probe in air: what it tends to drifts as it dries (tuned on this project's own liquids)."""
FAULT_SD_C = 1.0
"""Standard deviation of a reading under an electrical fault: it says little, and the liquid stays calm (tuned on this project's own
liquids)."""


def _row(i: int, parts: Sequence[tuple[float, list[list[float]], list[float]]]) -> list[float]:
    """One row of a mixture's covariance. `parts`: each track's weight, covariance, and how far it lies from the mean."""
    m0 = m1 = m2 = m3 = m4 = 0.0
    for w, c, d in parts:
        (q0, q1, q2, q3, q4), (d0, d1, d2, d3, d4), wdi = c[i], d, w * d[i]
        m0 += w * q0 + wdi * d0
        m1 += w * q1 + wdi * d1
        m2 += w * q2 + wdi * d2
        m3 += w * q3 + wdi * d3
        m4 += w * q4 + wdi * d4
    return [m0, m1, m2, m3, m4]


def merged(tracks: list[Track], weights: list[float]) -> Track:
    """One track with the mean and the covariance of a weighted mixture."""
    used = [(t, w) for t, w in zip(tracks, weights, strict=True) if w > 1e-7]
    if len(used) == 1:
        return used[0][0].copy()
    whole = math.fsum(w for _, w in used)
    used = [(t, w / whole) for t, w in used]
    shares = [w for _, w in used]
    x = [math.fsum(map(mul, shares, here)) for here in zip(*(t.x for t, _ in used), strict=True)]
    apart = [[a - b for a, b in zip(t.x, x, strict=True)] for t, _ in used]
    parts = [(w, t.c, d) for (t, w), d in zip(used, apart, strict=True)]
    c = [_row(i, parts) for i in range(5)]
    first = used[0][0]
    counts = {k: Count(n.law, math.fsum(w * t.counts[k].done for t, w in used), lasted_s=n.lasted_s) for k, n in first.counts.items()}
    for k, n in counts.items():
        for (t, w), d in zip(used, apart, strict=True):
            other = t.counts[k]
            off = other.done - n.done
            n.var += w * (other.var + off * off)
            n.cov = [v + w * (o + off * e) for v, o, e in zip(n.cov, other.cov, d, strict=True)]
    return Track(x, c, counts)


CHANGES_PER_S: dict[tuple[Kind, Kind], float] = {
    ("calm", "lively"): 1 / 600,
    ("calm", "jump"): 1 / 600,
    ("calm", "stir"): 1 / 600,
    ("calm", "fault"): 1 / 600,
    ("calm", "air"): 1 / 3000,
    ("lively", "calm"): 1 / 30,
    ("lively", "jump"): 1 / 600,
    ("lively", "stir"): 1 / 600,
    ("lively", "air"): 1 / 3000,
    ("fault", "calm"): 1 / 5,
    ("air", "calm"): 1 / 90,
}
"""Rates of the Markov chain between models, per second (tuned on this project's own liquids)."""
AFTER_A_JUMP: dict[Kind, float] = {"calm": 0.3, "lively": 0.68, "jump": 0.01, "stir": 0.01, "fault": 0.0, "air": 0.0}
"""Weights after a model that is over at once (jump, stir)."""
OPENING: dict[Kind, float] = {"calm": 0.9875, "lively": 0.0025, "jump": 0.0025, "stir": 0.0025, "fault": 0.0025, "air": 0.0025}
"""Weights when the rivals start (tuned on this project's own liquids)."""
LIQUID_KINDS: tuple[Kind, ...] = ("calm", "lively", "jump", "stir", "fault")
NO_AIR_C = (0.4, 1.5)
"""Air this close to the liquid (room read, room not read) looks like the liquid; that model then loses weight."""
NEAR_AIR_LOG = 0.7
"""Natural logarithm of the weight that it loses at each reading (tuned on this project's own liquids)."""


@lru_cache(maxsize=64)
def _moves(h: float, kinds: tuple[Kind, ...]) -> tuple[tuple[float, ...], ...]:
    table = []
    for one in kinds:
        if one in ("jump", "stir"):
            row = [AFTER_A_JUMP[other] for other in kinds]
        else:
            row = [1.0 - math.exp(-h * CHANGES_PER_S.get((one, other), 0.0)) for other in kinds]
            row[kinds.index(one)] = 1.0 - math.fsum(row)
        whole = math.fsum(row)
        table.append(tuple(v / whole for v in row))
    return tuple(table)


def _taken(track: Track, value: float, variance: float, coarse_c: float | None) -> tuple[float, float, float]:
    """A track takes a reading of its probe. Returns the surprise, its variance, and the logarithm of the likelihood."""
    if coarse_c is None:
        surprise, total = track.update(PROBE, value, variance)
        return surprise, total, -0.5 * (surprise * surprise / total + math.log(2.0 * math.pi * total))
    said = code(track.x[PROBE], track.c[PROBE][PROBE], value, coarse_c, variance)
    track.update(PROBE, said.celsius, said.variance)
    return said.surprise, 1.0, said.log


class Bank:
    """One calm track, or rivals with their weights. `log_evidence`: natural logarithm of the readings' likelihood so far. `air_lag_s`: with
    this the probe follows the air, where its curve has told that; None: as a dry one does."""

    __slots__ = ("air_lag_s", "kinds", "log_evidence", "tracks", "weights")

    def __init__(self, tracks: list[Track], weights: list[float], kinds: tuple[Kind, ...] = ("calm",), log_evidence: float = 0.0) -> None:
        self.tracks = tracks
        self.weights = weights
        self.kinds = kinds
        self.log_evidence = log_evidence
        self.air_lag_s: float | None = None

    @property
    def mixing(self) -> bool:
        """Whether rivals run."""
        return len(self.tracks) > 1

    def copy(self) -> Bank:
        """An independent copy."""
        other = Bank([t.copy() for t in self.tracks], self.weights[:], self.kinds, self.log_evidence)
        other.air_lag_s = self.air_lag_s
        return other

    def open(self, kinds: tuple[Kind, ...] = ALL_KINDS, weights: Mapping[Kind, float] = OPENING) -> None:
        """Start the rivals, all from what is believed now."""
        self.close()
        whole = math.fsum(weights[k] for k in kinds)
        self.tracks = [self.tracks[0], *(self.tracks[0].copy() for _ in kinds[1:])]
        self.weights = [weights[k] / whole for k in kinds]
        self.kinds = kinds

    def only(self, kind: Kind) -> None:
        """Only one model runs, from what is believed altogether."""
        self.close()
        self.kinds = (kind,)

    def close(self) -> None:
        """End the rivalry: one track with the mixture's mean and covariance."""
        if self.mixing:
            self.tracks = [merged(self.tracks, self.weights)]
            self.weights = [1.0]
            self.kinds = ("calm",)

    def weight(self, kind: Kind) -> float:
        """Probability of a model."""
        return self.weights[self.kinds.index(kind)] if kind in self.kinds else 0.0

    def cap(self, kind: Kind, most: float) -> None:
        """A model is no likelier than this: something else has shown it. The others share what it loses."""
        here = self.weight(kind)
        if here > most:
            share = (1.0 - most) / max(1.0 - here, 1e-9)
            self.weights = [most if k == kind else w * share for k, w in zip(self.kinds, self.weights, strict=True)]

    def track(self, kind: Kind) -> Track:
        """One model's belief, the mixture's where that model does not run."""
        return self.tracks[self.kinds.index(kind)] if kind in self.kinds else self.mean()

    def mean(self) -> Track:
        """What is believed altogether. Not to be written to."""
        return merged(self.tracks, self.weights) if self.mixing else self.tracks[0]

    def mix(self, h: float) -> None:
        """Mix the tracks as the Markov chain moves in `h` seconds. Once before each reading."""
        if not self.mixing or h <= 0:
            return
        moves = _moves(h, self.kinds)
        tracks, weights = [], []
        for j, kind in enumerate(self.kinds):
            parts = [w * row[j] for w, row in zip(self.weights, moves, strict=True)]
            whole = math.fsum(parts)
            track = merged(self.tracks, [p / whole for p in parts]) if whole > 0 else self.tracks[j].copy()
            track.widen(T, NOISES[kind].jump)
            track.widen(TRANSIENT, NOISES[kind].stir)
            tracks.append(track)
            weights.append(whole)
        self.tracks, self.weights = tracks, weights

    def predict(self, step: Step) -> None:
        """Carry every model over one step with readings to come."""
        for track, kind in zip(self.tracks, self.kinds, strict=True):
            if kind != "air":
                track.predict(step, NOISES[kind])
            elif self.air_lag_s is None:
                track.predict(air_step(step.h), NOISES[kind])
            else:
                track.predict(air_step(step.h, self.air_lag_s), DRYING)

    def drift(self, step: Step, noise: Noise = QUIET) -> None:
        """Carry over one step without readings (held or vessel model)."""
        for track in self.tracks:
            track.predict(step, noise)

    def update(self, value: float, variance: float, room_known: bool, coarse_c: float | None = None) -> tuple[float, float]:
        """Every model takes the probe's reading; the likelier gain weight. Returns the first (calm) model's surprise and its variance.
        `coarse_c`: the step of a coarse register, whose code the reading is; `variance` is then the noise before the register."""
        surprise, total, log = _taken(self.tracks[0], value, variance, coarse_c)
        if not self.mixing:
            self.log_evidence += log
            return surprise, total
        logs = [math.log(max(self.weights[0], 1e-12)) + log]
        for track, kind, weight in zip(self.tracks[1:], self.kinds[1:], self.weights[1:], strict=True):
            log = _taken(track, value, variance + FAULT_SD_C**2 if kind == "fault" else variance, coarse_c)[2]
            log += math.log(max(weight, 1e-12))
            if kind == "air" and self.air_lag_s is None and abs(track.x[AIR] - track.x[T]) < NO_AIR_C[0 if room_known else 1]:
                log -= NEAR_AIR_LOG
            logs.append(log)
        top = max(logs)
        raw = [max(math.exp(v - top), 1e-9) for v in logs]
        whole = math.fsum(raw)
        self.weights = [v / whole for v in raw]
        self.log_evidence += top + math.log(whole)
        return surprise, total

    def keep_only(self, alive: set[int]) -> None:
        """Drop all other counts."""
        for track in self.tracks:
            for key in [k for k in track.counts if k not in alive]:
                del track.counts[key]
