"""What sessions tell of lags: the value that is stored of it, and what is said of it before the next film.

A lag that a person measured or adopted stands; what a session has told since is offered with the command that adopts it. Where nobody
has measured, a probe's lag of the newest session counts, with its doubt; a vessel's never does: it belongs to one volume, one bath and
one pair of hands. Stored by `keeper`, read back by `monitor.core.probes.learned`. Pure. Tests: tests/live/station/test_lags_kept.py.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from monitor.core.journal.records import LagFound
from monitor.core.probes.learned import Learned, ProbeLag, VesselLag
from monitor.core.text.doubt import plus_minus
from monitor.live.station.keeper import Lag
from monitor.live.station.station_file import StationConfig


def found_lag(told: LagFound, opening: Mapping[str, Any], day: date) -> Lag | None:
    """What is stored of a `learned` record. `opening`: the session's first record. None for a rehearsal's, and for a lag that the first
    record does not know of. Raises ValueError for numbers that are none of a lag."""
    log_sd = told.log_sd
    if opening.get("mode") != "live" or log_sd is None:
        return None
    if not (told.lag_s > 0.0 and log_sd > 0.0):
        raise ValueError("a lag and its doubt are above 0")
    session = str(opening["session"])
    if told.probe is None:
        vessel = opening.get("vessel")
        if not isinstance(vessel, Mapping) or vessel.get("coupled_to") not in ("bath", "room"):
            return None
        sd_s = told.lag_s * log_sd
        return VesselLag(str(vessel["vessel"]), told.lag_s, sd_s, vessel["coupled_to"], day.isoformat(), session=session)
    number = next((p.get("id") for p in opening.get("probes", ()) if p.get("probe") == told.probe), None)
    return ProbeLag(told.probe, number, told.lag_s, told.lag_s * log_sd, day.isoformat(), session)


@dataclass(frozen=True, slots=True)
class KnownLag:
    """A lag that counts for a probe or a vessel, and what a session has told since; one of the two may be None. `file`: the station's,
    `option`: how the command is told which (`--probe NAME`)."""

    name: str
    option: str
    file: str
    counts: Lag | None
    offered: Lag | None

    @property
    def said(self) -> str:
        """In words. The doubt is two standard deviations."""
        parts = [] if self.counts is None else [f"{_figure(self.counts)}, {_how(self.counts)}"]
        if self.offered is not None:
            adopt = f"evenbath lag --file {shlex.quote(self.file)} {self.option} --adopt"
            stands = "" if self.counts is None else "; that stands. "
            parts = ["".join(parts) + f"{stands}{_figure(self.offered)} {_found(self.offered)}; to adopt that: {adopt}"]
        return f"lag of {self.name}: {''.join(parts)}"

    @property
    def news(self) -> bool:
        """Whether it is said before a film: what a person has measured is what that person expects."""
        return self.offered is not None or (self.counts is not None and not self.counts.by_person)

    def as_json(self) -> dict[str, Any]:
        """For the socket. `sd_s` is one standard deviation; `session`: None where a person measured it."""
        return {"of": self.name, "counts": _fields(self.counts), "offered": _fields(self.offered), "said": self.said}


def known_lags(config: StationConfig, learned: Learned) -> tuple[KnownLag, ...]:
    """Those of the station's developer and witness probes, and of its vessels with an offer, in the order of the station file."""
    found = []
    for probe in config.probes:
        counts, offered = learned.probe_lag(probe.name, probe.id), learned.offered_probe_lag(probe.name, probe.id)
        if probe.role in ("developer", "witness") and counts is not None:
            found.append(KnownLag(probe.name, f"--probe {shlex.quote(probe.name)}", config.file, counts, offered))
    for name, lag in learned.found_vessel_lags.items():
        found.append(KnownLag(name, f"--vessel {shlex.quote(name)}", config.file, learned.vessel_lag(name), lag))
    return tuple(found)


def _figure(lag: Lag) -> str:
    places = 1 if isinstance(lag, ProbeLag) else 0
    return f"{lag.lag_s:.{places}f} {plus_minus(lag.sd_s, places)} s"


def _how(lag: Lag) -> str:
    if lag.session is None:
        return f"measured on {lag.date}"
    return f"{'adopted' if lag.adopted else 'learned'} on {lag.date} from session {lag.session}"


def _found(lag: Lag) -> str:
    verb = "fitted" if isinstance(lag, ProbeLag) else "would have fitted"
    return f"{verb} in session {lag.session} on {lag.date}"


def _fields(lag: Lag | None) -> dict[str, Any] | None:
    if lag is None:
        return None
    return {"lag_s": lag.lag_s, "sd_s": lag.sd_s, "date": lag.date, "session": lag.session, "adopted": lag.adopted}
