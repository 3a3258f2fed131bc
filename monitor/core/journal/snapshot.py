"""A session at one moment, for whoever shows it: status, followers, the view. Plain values, units in names.

The session makes it (`Session.snapshot`); it crosses the station's socket as JSON (`plain`, `read`); a view that has seen only
records makes the same of them. None where nothing is known. Pure; tests: tests/core/journal/test_history.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from typing import Any

from monitor.core.journal.words import Cue
from monitor.core.probes.readings import Source
from monitor.core.text.doubt import two_sd


@dataclass(frozen=True, slots=True, kw_only=True)
class LastCue:
    """The newest sound: what it was, and when it began."""

    cue: Cue
    t_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """Where a session stands at `t_s`. Each `sd` is one standard deviation.

    `waits_for`: the stage (from 1 on) that waits for a press, None while one runs. The stage that the film is in: `stage`, `name`, `role`,
    `until`, `steered`, `began_s`, `planned_s`. The film whose end comes next: `sheet` to `target_ref_s`. `lost`: probes that are not
    believed, and why. `doubts`: those of which something is to be known while the temperature is trusted: one counts in part, or one that
    is not needed now is not believed. `exchanged`: two that hang in each other's liquid and are taken for each other. `spread_s`: by how
    much the time of the stage itself may be wrong after an interruption, at most; then its end lies between `earliest_end_t_s` and
    `latest_end_t_s`. `unconfirmed`: a begin was assumed and a press may still answer for it. `outside_data`: how far the recipe's data go
    and what is known beyond, while they do not cover the developer's temperature. `awaits_appearance`: a print is in, and a tap is to say
    when its first trace is there.
    """

    t_s: float
    stages: int
    stage: int | None = None
    waits_for: int | None = None
    name: str | None = None
    role: str | None = None
    until: str | None = None
    steered: bool = False
    began_s: float | None = None
    planned_s: float | None = None
    developer_c: float | None = None
    developer_sd_c: float | None = None
    developer_age_s: float | None = None
    source: Source = "clock"
    compared: bool = False
    lost: Mapping[str, str] = field(default_factory=dict)
    outside_data: str | None = None
    doubts: Mapping[str, str] = field(default_factory=dict)
    exchanged: tuple[str, str] | None = None
    gate: str = "none"
    unconfirmed: bool = False
    spread_s: float = 0.0
    last_cue: LastCue | None = None
    closed: bool = False
    sheet: int | None = None
    ready_s: float | None = None
    now_s: float | None = None
    end_t_s: float | None = None
    end_sd_s: float | None = None
    earliest_end_t_s: float | None = None
    latest_end_t_s: float | None = None
    frozen: bool = False
    done_ref_s: float | None = None
    done_sd_ref_s: float | None = None
    target_ref_s: float | None = None
    awaits_appearance: bool = False

    @property
    def end_between_s(self) -> tuple[float, float] | None:
        """Earliest and latest end where an interruption left the time in doubt, two standard deviations of the forecast in them."""
        if self.earliest_end_t_s is None or self.latest_end_t_s is None:
            return None
        around_s = two_sd(self.end_sd_s or 0.0) if self.steered else 0.0
        return max(self.began_s or 0.0, self.earliest_end_t_s - around_s), self.latest_end_t_s + around_s

    def plain(self) -> dict[str, Any]:
        """As an object of JSON."""
        return asdict(self)

    @classmethod
    def read(cls, plain: Mapping[str, Any]) -> Snapshot:
        """From an object of JSON; fields of a later version are passed over. Raises TypeError where `t_s` or `stages` is missing."""
        known = {f.name: plain[f.name] for f in fields(cls) if f.name in plain}
        if known.get("last_cue") is not None:
            known["last_cue"] = LastCue(**known["last_cue"])
        if known.get("exchanged") is not None:
            known["exchanged"] = tuple(known["exchanged"])
        return cls(**known)
