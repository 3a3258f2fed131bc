"""Was the probe in the liquid? Two histories explain the same readings: a liquid that moves, or a probe in air. Their likelihoods tell.

Used when the rivals find air likely (`suspicion`) and when a probe that was away reads again (`probe_trust`).
Tests: tests/core/development/test_rivals.py, tests/core/development/test_estimator.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from monitor.core.development.filter import AIR
from monitor.core.development.lifting import Lifting
from monitor.core.development.moment import Moment
from monitor.core.development.rivals import ALL_KINDS, LIQUID_KINDS, Kind

AIR_PRIOR_LOG = math.log(1.0 / 2000.0)
"""Probability that a probe is lifted in a given second, beside 1/600 for each kind of step of the liquid (`CHANGES_PER_S` in `rivals`)."""
IN_AIR: dict[Kind, float] = {"calm": 0.01, "lively": 0.003, "jump": 0.003, "stir": 0.003, "fault": 0.001, "air": 0.98}
BACK: dict[Kind, float] = {"calm": 0.5, "lively": 0.1, "jump": 0.2, "stir": 0.0, "fault": 0.0, "air": 0.2}
"""Weights at the start of a history: the probe has just been lifted; it reads again after an absence."""
AIR_DRIES_SD_C = 0.5
"""The wet bulb drifts towards the room as the probe dries: standard deviation, C (this project's own choice)."""
MOST_FORKS = 16
HOPELESS_LOG = 12.0
"""At most so many possible beginnings of air are followed, and none whose likelihood is exp(12) times smaller than the best one's."""
OUT_LOG = 3.0
"""A probe that reads again has been in air if that is this much likelier (natural logarithm) than the liquid throughout."""


class Histories:
    """Explanations of the same readings, each a `Moment` of its own.

    `air`: the probe is in air from `since_t_s` and may come back. `liquid`: it was in the liquid throughout (None: not considered).
    `silent`: it gave no readings before `since_t_s` and has been in the liquid since (None: it had been seen to go into air).
    """

    __slots__ = ("air", "air_log", "liquid", "silent", "since_t_s")

    def __init__(self, air: Moment, air_log: float, liquid: Moment | None, since_t_s: float, silent: Moment | None = None) -> None:
        self.air = air
        self.air_log = air_log
        self.liquid = liquid
        self.since_t_s = since_t_s
        self.silent = silent

    def read(self, t: float, celsius: float) -> None:
        """All take one more reading."""
        if t > self.air.t:
            self.air.read(t, celsius, [])
        if self.liquid is not None and t > self.liquid.t:
            self.liquid.read(t, celsius, [])
        if self.silent is not None and t > self.silent.t:
            self.silent.read(t, celsius, [])

    def read_room(self, celsius: float) -> None:
        """All take a reading of the room."""
        for moment in (self.air, self.liquid, self.silent):
            if moment is not None:
                moment.read_room(celsius)

    @property
    def was_out(self) -> bool:
        """Whether the probe has probably been in air."""
        return self.silent is None or self.air.bank.log_evidence - self.silent.bank.log_evidence > OUT_LOG

    @property
    def liquid_ahead(self) -> float:
        """Natural logarithm of how many times likelier the liquid's history is than the air's."""
        if self.liquid is None:
            return -math.inf
        return self.liquid.bank.log_evidence - self.air.bank.log_evidence - self.air_log

    @property
    def in_air(self) -> float:
        """Probability of being in air now, if it has been at all."""
        return self.air.bank.weight("air")


def bare(moment: Moment) -> Moment:
    """A copy without integrals."""
    other = moment.copy()
    other.keep_only(set())
    return other


def weigh(start: Moment, readings: Sequence[tuple[float, float, bool]], odd_t: float, newest_onset_t: float) -> Histories | None:
    """The likeliest beginning of air among the readings since a little before `odd_t`, and the liquid's history beside it.

    `start` is a moment before it all, `readings` (t, C, whether the room's) since. None where no reading lies where air may begin.
    """
    liquid = bare(start)
    liquid.bank.open(LIQUID_KINDS)
    liquid.bank.log_evidence = 0.0
    forks: list[tuple[float, Moment]] = []
    for t, celsius, of_room in readings:
        if of_room:
            for moment in (liquid, *(fork for _, fork in forks)):
                moment.read_room(celsius)
            continue
        if t <= liquid.t:
            continue
        if odd_t <= t <= newest_onset_t:
            fork = bare(liquid)
            fork.bank.only("air")
            forks.append((t, fork))
        for _, fork in forks:
            fork.read(t, celsius, [])
        forks = _likely(forks)
        liquid.read(t, celsius, [])
    if not forks:
        return None
    onset, best = forks[0]
    best.bank.open(ALL_KINDS, IN_AIR)
    return Histories(best, AIR_PRIOR_LOG, liquid, onset)


def lifted(start: Moment, readings: Sequence[tuple[float, float, bool]], lifting: Lifting) -> Histories:
    """The history of a probe that has been lifted as `lifting` found. `start` is a moment before, `readings` as in `weigh`."""
    air = bare(start)
    for t, celsius, of_room in readings:
        if of_room:
            air.read_room(celsius)
        elif t > air.t:
            if t > lifting.since_t_s and air.bank.air_lag_s is None:
                air.bank.only("air")
                air.bank.air_lag_s = lifting.lag_s
                air.bank.tracks[0].replace(AIR, lifting.towards_c, lifting.towards_sd_c**2 + AIR_DRIES_SD_C**2)
            air.read(t, celsius, [])
    air.bank.open(ALL_KINDS, IN_AIR)
    return Histories(air, 0.0, None, lifting.since_t_s)


def _likely(forks: list[tuple[float, Moment]]) -> list[tuple[float, Moment]]:
    """The forks worth following, the likeliest first."""
    forks = sorted(forks, key=lambda f: -f[1].bank.log_evidence)
    return [f for f in forks[:MOST_FORKS] if f[1].bank.log_evidence > forks[0][1].bank.log_evidence - HOPELESS_LOG]


def returning(moment: Moment) -> Histories:
    """For a probe that reads again. `moment` has what is believed of the liquid and already follows the probe."""
    back = bare(moment)
    back.bank.open(ALL_KINDS, BACK)
    silent = bare(moment)
    silent.bank.open(LIQUID_KINDS, BACK)
    back.bank.log_evidence = silent.bank.log_evidence = 0.0
    return Histories(back, 0.0, None, back.t, silent)
