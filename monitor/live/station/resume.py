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

from monitor.core.journal.records import GapDoubt, reached_s
from monitor.core.recipe.values import Recipe
from monitor.live.clock import Clock, read_stamp, stamp

LATER_S = 3600.0
SURE = GapDoubt()
SURE_S = 2.0
"""Two readings of a wall clock that network time has set agree to within this (own measure)."""
UNSURE_S = 300.0
"""Where no clock can vouch for it, the power may have been gone for so long before the boot, unless a wall clock allows more (own measure:
as long as a person in the dark waits for the power to come back)."""

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
    """How to resume it. `t_s`: session time now; `zero_s`: the monotonic moment of t_s = 0 on this boot; `gap_s`: None where no clock can
    vouch for it; `doubt`: by how much what it was taken for may be wrong."""

    verdict: Verdict
    t_s: float
    zero_s: float
    gap_s: float | None
    doubt: GapDoubt = SURE


def plan(earlier: UnfinishedSession, clock: Clock) -> ResumePlan:
    """How to resume this session now, or that it is lost. What no clock can vouch for decides nothing: lost is only what must be over."""
    now_s = clock.mono_s()
    last_s = earlier.last_t_s
    zero_s = earlier.life.get("mono0_s")
    if earlier.recipe is None:
        return ResumePlan("lost", last_s, now_s - last_s, None)
    if _same_boot(earlier, clock) and isinstance(zero_s, (int, float)):
        t_s = max(now_s - zero_s, last_s)
        return ResumePlan("same boot", t_s, zero_s, t_s - last_s)
    gap = _gap(earlier, clock)
    most_of_all_s = earlier.recipe.total_s + LATER_S - last_s
    if gap.least_s > most_of_all_s:
        return ResumePlan("lost", last_s, now_s - last_s, gap.counted_s if gap.sure else None)
    most_s = max(gap.counted_s, min(gap.most_s, most_of_all_s))  # were it longer, the session would be over
    doubt = GapDoubt(most_s - gap.counted_s, gap.counted_s - gap.least_s)
    t_s = last_s + gap.counted_s
    return ResumePlan("other boot", t_s, now_s - t_s, gap.counted_s if gap.sure else None, doubt)


def _same_boot(earlier: UnfinishedSession, clock: Clock) -> bool:
    life = earlier.life
    zero_s = life.get("mono0_s")
    named = life.get("boot_id") == clock.boot_id() != "unknown"
    return named and isinstance(zero_s, (int, float)) and clock.mono_s() - zero_s >= earlier.last_t_s - 1.0


@dataclass(frozen=True, slots=True)
class _Gap:
    """How long nothing was recorded: what it is taken for, and between what bounds it lies. `sure`: by clocks that network time had set."""

    counted_s: float
    least_s: float
    most_s: float
    sure: bool


def _gap(earlier: UnfinishedSession, clock: Clock) -> _Gap:
    """On another boot. It is at least the time since that boot, and at most what the wall clocks allow.

    A wall clock that nobody has set runs behind the true time or shows it, never ahead: where only the first was unset the difference is
    too large, and where only the second was, too small. So it bounds the gap on the far side alone.
    """
    up_s = clock.mono_s()
    away_s = _away_s(earlier, clock.wall())
    if away_s is not None and _went_on(earlier, up_s, away_s):
        return _Gap(away_s, max(0.0, min(away_s - UNSURE_S, up_s)), away_s + UNSURE_S, False)
    if away_s is not None and clock.wall_set() and _wall_was_set(earlier) and away_s >= up_s - SURE_S:
        return _Gap(away_s, max(min(up_s, away_s), away_s - SURE_S), away_s + SURE_S, True)
    far_s = up_s + UNSURE_S
    if away_s is None or away_s < up_s:
        return _Gap(up_s, up_s, far_s, False)
    return _Gap(away_s if away_s <= far_s else up_s, up_s, max(far_s, away_s + SURE_S), False)


def _wall_was_set(earlier: UnfinishedSession) -> bool:
    """Whether the wall times at the end of the last life can be believed: network time has set the clock, before it or in it, and nobody
    has moved it since."""
    life = earlier.life
    believed = life.get("wall_set") is True
    for record in earlier.records[earlier.records.index(life) :]:
        if record["kind"] == "clock":
            believed = record.get("event") == "set"  # it comes behind the step that setting it makes
    return believed


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
