"""What can be done with a session that was left without a `close` (monitor.live.station.unfinished finds them).

Decides whether it is resumed, and at which time (contract, section 8): on the same boot it goes on; on another boot, while
the planned total and one hour have not passed, it goes on with a best guess of the time and how wrong that may be; otherwise it
is lost. Rebuilding the session from its records is left to the session itself. Tests: tests/live/station/test_resume.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from monitor.core.journal.records import reached_s
from monitor.core.recipe.values import Recipe
from monitor.live.clock import Clock, read_stamp, stamp

LATER_S = 3600.0
SURE_S = 2.0
"""Two readings of a wall clock that network time has set agree to within this (own measure)."""
UNSURE_S = 300.0
"""Where nobody has set the wall clock, the gap may be wrong by this much either way (own measure: as long as a person in the dark waits
for the power to come back)."""

Record = dict[str, Any]
Verdict = Literal["same boot", "other boot", "lost"]


@dataclass(frozen=True, slots=True)
class UnfinishedSession:
    """A session without a close. `records`: as they stand in the file, without damaged lines."""

    path: Path
    records: tuple[Record, ...]
    recipe: Recipe | None

    @property
    def session(self) -> str:
        """Its name."""
        return self.path.stem

    @property
    def opening(self) -> Record:
        """Its first record."""
        return self.records[0]

    @property
    def last(self) -> Record:
        """Its last record."""
        return self.records[-1]

    @property
    def last_t_s(self) -> float:
        """The latest session time that any record shows to have come."""
        return max(reached_s(r) for r in self.records)

    @property
    def life(self) -> Record:
        """The record that began the newest run of the station: the opening, or the last resume."""
        lives = [r for r in self.records if r["kind"] == "session" and r.get("event") in ("open", "resume") and "mono0_s" in r]
        return lives[-1] if lives else self.opening


@dataclass(frozen=True, slots=True)
class ResumePlan:
    """How to resume it. `t_s`: session time now; `zero_s`: the monotonic moment of t_s = 0 on this boot; `spread_s`: by how much the gap
    may be wrong."""

    verdict: Verdict
    t_s: float
    zero_s: float
    gap_s: float | None
    spread_s: float


def plan(earlier: UnfinishedSession, clock: Clock) -> ResumePlan:
    """How to resume this session now, or that it is lost."""
    now_s = clock.mono_s()
    last_s = earlier.last_t_s
    life = earlier.life
    zero_s = life.get("mono0_s")
    same = life.get("boot_id") == clock.boot_id() != "unknown" and isinstance(zero_s, (int, float)) and now_s - zero_s >= last_s - 1.0
    if earlier.recipe is None:
        return ResumePlan("lost", last_s, now_s - last_s, None, 0.0)
    if same and isinstance(zero_s, (int, float)):
        t_s = max(now_s - zero_s, last_s)
        return ResumePlan("same boot", t_s, zero_s, t_s - last_s, 0.0)
    away_s = _away_s(earlier, clock.wall())
    sure = clock.wall_set() and bool(life.get("wall_set")) and away_s is not None and away_s >= 0
    if away_s is not None and last_s + away_s > earlier.recipe.total_s + LATER_S:
        return ResumePlan("lost", last_s, now_s - last_s, away_s if sure else None, 0.0)
    if sure and away_s is not None:
        return ResumePlan("other boot", last_s + away_s, now_s - last_s - away_s, away_s, SURE_S)
    guess_s = max(now_s, away_s or 0.0)  # since the boot at least this long has passed
    if away_s is not None and _went_on(earlier, now_s, away_s):
        guess_s = away_s
    return ResumePlan("other boot", last_s + guess_s, now_s - last_s - guess_s, None, UNSURE_S)


def can_go_on(earlier: UnfinishedSession, clock: Clock) -> bool:
    """Whether there is something to resume: the session is not lost already."""
    try:
        return plan(earlier, clock).verdict != "lost"
    except (ArithmeticError, TypeError, ValueError):  # numbers in its records that no clock ever had
        return False


def _went_on(earlier: UnfinishedSession, now_s: float, away_s: float) -> bool:
    """Whether the monotonic clock kept running although the boot has another name, as on a machine that was migrated or restored from a
    snapshot: it is not behind the last record, and the wall clock agrees about the gap."""
    zero_s = earlier.life.get("mono0_s")
    if not isinstance(zero_s, (int, float)) or away_s < 0:
        return False
    since_s = now_s - zero_s - earlier.last_t_s
    return since_s >= -1.0 and abs(since_s - away_s) <= UNSURE_S


def _away_s(earlier: UnfinishedSession, wall: datetime) -> float | None:
    """Seconds since the last record by the wall clock; None where the record has no wall time."""
    then = read_stamp(str(earlier.last.get("wall", "")))
    return None if then is None else (wall - then).total_seconds()


def close_by_hand(earlier: UnfinishedSession, why: str, wall: datetime) -> Mapping[str, Any]:
    """The `close` record of a session that cannot be resumed."""
    return {
        "seq": int(earlier.last["seq"]) + 1, "session": earlier.session, "t_s": earlier.last_t_s, "wall": stamp(wall),
        "kind": "session", "event": "close", "why": why,
    }  # fmt: skip
