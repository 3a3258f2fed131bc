"""What the tests of this room share: readings, an estimator that has followed a settled probe, moments set up by hand."""

from __future__ import annotations

from monitor.core.development.beliefs import Beliefs, ProbeModel, TrustChange, Vessel
from monitor.core.development.estimator import Estimator
from monitor.core.development.moment import Moment, Segment
from monitor.core.development.probe_trust import ProbeTrust
from monitor.core.development.rate import Coefficient
from monitor.core.development.replay import GoodReading, Replay
from monitor.core.probes.readings import Reading

LAW = Coefficient(20.0, 2.5, 0.1, (16.0, 24.0))
DEVELOPER = ProbeModel("jug", "developer")
WITNESS = ProbeModel("witness vessel", "witness")
BATH = ProbeModel("bowl", "bath", 0.0)
ROOM = ProbeModel("wall", "room", 0.0)


def good(t: float, celsius: float, probe: ProbeModel = DEVELOPER) -> Reading:
    """A reading that could be taken."""
    return Reading(t, probe.name, probe.role, celsius, celsius, "good")


class Watched:
    """An estimator, all the trust changes that it told, and what is inside."""

    def __init__(self, *probes: ProbeModel, vessel: Vessel | None = None, pour_c: float | None = None) -> None:
        self.estimator = Estimator(Beliefs(20.0, probes or (DEVELOPER,), vessel, pour_c))
        self.changes: list[TrustChange] = []

    @property
    def replay(self) -> Replay:
        """Its past."""
        return self.estimator._replay

    def trust(self, probe: ProbeModel = DEVELOPER) -> ProbeTrust:
        """What it thinks of a probe."""
        return self.estimator._trusts[probe.name]

    def hear(self, t: float, celsius: float, probe: ProbeModel = DEVELOPER) -> None:
        """A good reading."""
        self.changes += self.estimator.read(good(t, celsius, probe))

    def settled(self, since: int, until: int, celsius: float, *probes: ProbeModel) -> None:
        """A good reading a second of each probe, without noise."""
        for t in range(since, until):
            for probe in probes or (DEVELOPER,):
                self.hear(float(t), celsius, probe)


def at(t: float, celsius: float, probe: ProbeModel = DEVELOPER) -> GoodReading:
    """A good reading as the inner modules take it."""
    return GoodReading(t, probe.name, probe.role, celsius)


def followed(celsius: float, t: float = 0.0, lag_s: float = 8.0) -> Moment:
    """A moment that follows a probe in a liquid which is known exactly and does not drift."""
    moment = Moment(t, celsius, 0.0, "jug")
    moment.follow(Segment(t, "liquid", "jug", lag_s), 0.0)
    moment.attach = False
    (track,) = moment.bank.tracks
    track.c = [[0.0] * 5 for _ in range(5)]
    return moment
