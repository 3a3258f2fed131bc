"""Prints what comes of the estimator where the world is not its model: development given, in per cent of what was due, beside other ways.

`python -m tests.benchmarks.bench_doubt [ROW ...] [--liquids 100] [--seed 11] [--jobs 1] [--worst 0] [--old] [--review] [--bare]`

A ROW is a name of `troubles.ROWS` or of `liquids.FAMILIES`, or a part of one; without one, all of `ROWS`, with `--old` all of both.
Each case's generator is seeded with "SEED ROW NUMBER". Wall clock: the recipe's time, whatever the temperature. Chart at the start: the
time that belongs to what a good thermometer says at the begin. Chart at the mean: that of the true mean over the stage, known afterwards.
Trapezoid: the developer's readings as they come. Ours: a whole session, whose READY fixes the end; `--bare`: the estimator alone, its end
frozen 45 s ahead. Inside: how often the error of the development that live believed in at the end is within two of its standard deviations.
Told: how often a probe lost trust, wholly or in part, within 90 s of the moment from which it was wrong, where a row has such a moment.
`--review` sets that error beside the review's, made from the session's journal: of the same stage, to the same end.
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import random
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from monitor.core.development.beliefs import TrustChange
from monitor.core.development.estimator import Estimator
from monitor.core.development.rate import Coefficient
from tests.benchmarks import liquids, sessions
from tests.benchmarks.physics import STEP_S, Array, pace
from tests.benchmarks.troubles import FROZEN_S, GOALS, ROWS, Case, Goal, done_course, times, true_end

TOLD_S = 90.0
"""A probe that is wrong is to be told of within this time, where physics lets it be."""
STAYS = {
    "clean": 0.026,
    "settling": 0.022,
    "warm": 0.017,
    "step": 0.024,
    "stand": 0.007,
    "brief faults": 0.10,
    "probe in air": 0.10,
    "lost, bath known": 0.06,
    "bath with lag": 0.12,
}
"""Where the families that were there before have their rms, and are to keep it, on 200 liquids."""
OLD = {name: Goal(*budget, None, f"{STAYS[name]:g}" if name in STAYS else "") for name, budget in liquids.BUDGETS.items()}
"""Those families with the project's budgets."""


@dataclass(frozen=True)
class Change:
    """One change of trust: when it was told, since when it holds."""

    told_s: float
    since_s: float
    probe: str
    believed: bool
    why: str

    def __str__(self) -> str:
        return f"{self.told_s:.0f} ({self.since_s:.0f}) {self.probe} {'+' if self.believed else '-'} {self.why}"


@dataclass
class Outcome:
    """What came of one case, errors in per cent of the development that was due. None where a way has nothing to go by."""

    number: int
    clock: float
    chart_start: float | None
    chart_mean: float
    trapezoid: float | None
    ours: float
    counted: float
    sd: float
    end_s: float
    took_s: float
    changes: list[Change] = field(default_factory=list)
    parts: dict[str, object] = field(default_factory=dict)
    reviewed: tuple[float, float] | None = None
    """The review's error and its standard deviation."""

    @property
    def inside(self) -> bool:
        """Whether two standard deviations held."""
        return abs(self.counted) <= 2.0 * self.sd

    @property
    def told(self) -> bool | None:
        """Whether the probe lost trust, or a part of it, within `TOLD_S` of the moment from which it was wrong. None without such a moment
        in the stage."""
        from_s = self.parts.get("wrong_s")
        if not isinstance(from_s, float) or from_s > self.end_s - TOLD_S:
            return None
        return any((not c.believed or c.why.startswith("in part")) and from_s < c.told_s <= from_s + TOLD_S for c in self.changes)


def drive(case: Case) -> tuple[float, float, float, list[Change]]:
    """(planned end, development it believes in then, its sd, changes of trust): the estimator alone, asked once a second."""
    estimator = Estimator(case.beliefs)
    changes: list[Change] = []
    begun = frozen = False
    end, last = math.inf, (len(case.film_c) - 1) * STEP_S
    position, now = 0, 0.0
    while now < min(end, last):
        while position < len(case.heard) and case.heard[position][0] <= now:
            changes += told(now, estimator.read(case.heard[position][1]))
            position += 1
        changes += told(now, estimator.advance(now))
        if not begun and now >= case.begin_s:
            estimator.begin(1, case.begin_s, case.law, case.law.reference_c, case.handling)
            begun = True
        if begun:
            estimator.temperature(now)
            estimator.done(1, now)
            if not frozen:
                end = estimator.end(1, case.target_ref_s, now).end_t_s
                frozen = end - FROZEN_S <= now + 0.5
        now += 1.0
    end = min(end, last)
    done = estimator.done(1, max(end, now - 1.0))
    return end, done.done_ref_s, done.sd_ref_s, changes


def told(now_s: float, changes: Sequence[TrustChange]) -> list[Change]:
    """What the estimator told at this moment."""
    return [Change(now_s, c.since_t_s, c.probe, c.believed, c.why) for c in changes]


def trapezoid(case: Case) -> float | None:
    """End by the developer's readings alone: straight between two of them, before the first like the first; frozen at the last rate."""
    done, before, end = 0.0, None, None
    for arrives, reading in case.heard:
        if reading.role not in ("developer", "witness") or reading.celsius is None or reading.t_s < case.begin_s:
            continue
        if end is not None and end - FROZEN_S <= arrives - 0.5:
            break  # it was fixed while nothing was heard
        now = pace(reading.celsius, case.law.per_10_c, case.law.reference_c)
        if before is None:
            done = now * (reading.t_s - case.begin_s)
        else:
            done += 0.5 * (now + before[1]) * (reading.t_s - before[0])
        before = reading.t_s, now
        end = reading.t_s + (case.target_ref_s - done) / now
        if end - FROZEN_S <= arrives + 0.5:
            break
    return end


def steady(law: Coefficient, target_ref_s: float, celsius: float) -> float:
    """What the chart says, seconds."""
    return target_ref_s / pace(celsius, law.per_10_c, law.reference_c)


def outcome(row: str, number: int, seed: int, bare: bool = False, review: bool = False) -> Outcome:
    """Play one case."""
    if row in liquids.FAMILIES:
        return _old(row, number)
    case = ROWS[row](random.Random(f"{seed} {row} {number}"))
    course, t = done_course(case.film_c, case.law, case.begin_s), times(case.film_c)

    def error(end_s: float) -> float:
        return 100.0 * (float(np.interp(end_s, t, course)) / case.target_ref_s - 1.0)

    due = true_end(case.film_c, case.law, case.begin_s, case.target_ref_s)
    mean = float(_between(case.film_c, case.begin_s, due).mean())
    raw = trapezoid(case)
    began = time.perf_counter()
    reviewed = None
    if bare:
        end, believed, sd, changes = drive(case)
    else:
        played = sessions.play(case)
        end, believed, sd = played.end_s, played.done_ref_s, played.sd_ref_s
        trusts = [r for r in played.records if r["kind"] == "trust"]
        changes = [Change(r["t_s"], r["since_t_s"], r["probe"], r["believed"], r["why"]) for r in trusts]
    took = time.perf_counter() - began
    truth = float(np.interp(end, t, course))
    counted = 100.0 * (believed - truth) / case.target_ref_s
    if review and not bare:
        with tempfile.TemporaryDirectory() as folder:
            says = sessions.review(played, Path(folder))
        reviewed = 100.0 * (says.done_ref_s - truth) / case.target_ref_s, 100.0 * says.sd_ref_s / case.target_ref_s
    return Outcome(
        number,
        error(case.begin_s + case.target_ref_s),
        error(case.begin_s + steady(case.law, case.target_ref_s, case.jug_c)),
        error(case.begin_s + steady(case.law, case.target_ref_s, mean)),
        None if raw is None else error(raw),
        error(end),
        counted,
        100.0 * sd / case.target_ref_s,
        end,
        took,
        changes,
        case.parts,
        reviewed,
    )


def _between(film_c: Array, begin_s: float, end_s: float) -> Array:
    return film_c[round(begin_s / STEP_S) : round(end_s / STEP_S) + 1]


def _old(row: str, number: int) -> Outcome:
    """One of the families that were there before, by its own driver and seeds."""
    liquid = liquids.FAMILIES[row](random.Random(f"{row} {number}"))
    began = time.perf_counter()
    came = liquids.develop(liquid, random.Random(number))
    took = time.perf_counter() - began
    last = len(liquid.temps_c) - 2.0

    def error(end_s: float) -> float:
        return 100.0 * (liquid.true_done(min(end_s, last)) / liquid.target_ref_s - 1.0)

    due = liquid.true_end()
    mean = math.fsum(liquid.temps_c[: int(due) + 1]) / (int(due) + 1)
    return Outcome(
        number,
        error(liquid.target_ref_s),
        error(liquids.steady(liquid, liquid.temps_c[0])),
        error(liquids.steady(liquid, mean)),
        error(liquids.naive(liquid, random.Random(number), 0.0)) if liquid.probe else None,
        came.delivered_percent,
        came.counted_percent,
        100.0 * came.done_sd_ref_s / liquid.target_ref_s,
        came.end_s,
        took,
        told(math.nan, came.changes),
    )


# The table


def rms(values: Sequence[float]) -> float:
    """Root mean square."""
    return math.sqrt(math.fsum(v * v for v in values) / len(values))


def pair(values: Sequence[float | None]) -> str:
    """rms/worst, or a dash."""
    known = [v for v in values if v is not None]
    return f"{rms(known):5.2f}/{max(map(abs, known)):5.1f}" if known else "     -     "


def judged(goal: Goal | None, came: Sequence[Outcome]) -> str:
    """The goal, and what of it was not reached."""
    if goal is None or (goal.rms, goal.worst, goal.inside) == (None, None, None):
        return "no goal"
    ours = [o.ours for o in came]
    inside = 100.0 * sum(o.inside for o in came) / len(came)
    wants = "/".join("-" if v is None else f"{v:g}" for v in (goal.rms, goal.worst)) + ("" if goal.inside is None else f" {goal.inside:g}")
    missed = []
    if goal.rms is not None and rms(ours) > goal.rms:
        missed.append("rms")
    if goal.worst is not None and max(map(abs, ours)) > goal.worst:
        missed.append("worst")
    if goal.inside is not None and inside < goal.inside:
        missed.append("inside")
    simpler: dict[str, list[float | None]] = {
        "clock": [o.clock for o in came],
        "chart": [o.chart_start for o in came],
        "trapezoid": [o.trapezoid for o in came],
    }
    beaten = [n for n, v in simpler.items() if (k := [e for e in v if e is not None]) and rms(k) < rms(ours)]
    said = "reached" if not missed else "not reached: " + ", ".join(missed)
    return f"{wants:12s} {said}" + (f"; beaten by {', '.join(beaten)}" if beaten else "")


HEAD = (
    f"{'row':19s}  {'wall clock':>11s}  {'chart start':>11s}  {'chart mean':>11s}  {'trapezoid':>11s}  {'ours':>11s}  inside  sd   err/sd  "
    f"trust  told  {'issue before':12s}  goal"
)


def line(row: str, came: Sequence[Outcome]) -> str:
    """One line of the table."""
    columns = (
        pair([o.clock for o in came]),
        pair([o.chart_start for o in came]),
        pair([o.chart_mean for o in came]),
        pair([o.trapezoid for o in came]),
        pair([o.ours for o in came]),
    )
    inside = 100.0 * sum(o.inside for o in came) / len(came)
    sd = rms([o.sd for o in came])
    scores = rms([o.counted / o.sd for o in came])
    goal = GOALS.get(row) or OLD.get(row)
    before = goal.before if goal else ""
    trust = sum(len(o.changes) for o in came) / len(came)
    found = [o.told for o in came if o.told is not None]
    known = f"{100.0 * sum(found) / len(found):4.0f}" if found else "   -"
    figures = f"{inside:5.0f}  {sd:5.2f}  {scores:5.1f}  {trust:5.1f}  {known}"
    return f"{row:19s}  {'  '.join(columns)}  {figures}  {before:12s}  {judged(goal, came)}"


def review_line(came: Sequence[Outcome]) -> str:
    """Live and review side by side: the goal is 0.9 of live's rms or less where that exceeds 0.7 %, and two sd hold in 90 % (wet 80 %)."""
    said = [(o.counted, *o.reviewed) for o in came if o.reviewed is not None]
    if not said:
        return "    review: -"
    live, after = rms([c for c, _, _ in said]), rms([r for _, r, _ in said])
    worst = max(abs(r) for _, r, _ in said)
    inside = 100.0 * sum(abs(r) <= 2.0 * sd for _, r, sd in said) / len(said)
    verdict = "no goal" if live <= 0.7 else "reached" if after <= 0.9 * live else "not reached"
    return (
        f"    review: live {live:.2f}, review {after:.2f}/{worst:.1f}, ratio {after / live:.2f} ({verdict}), "
        f"sd {rms([sd for _, _, sd in said]):.2f}, inside {inside:.0f}"
    )


def worst_lines(came: Sequence[Outcome], count: int) -> str:
    """The worst cases of a row, to be looked at."""
    out = []
    for o in sorted(came, key=lambda o: -abs(o.ours))[:count]:
        parts = " ".join(f"{k}={v:.3g}" if isinstance(v, float) else f"{k}={v}" for k, v in o.parts.items())
        trusts = "; ".join(map(str, o.changes))
        out.append(f"    #{o.number}: {o.ours:+.2f} % counted {o.counted:+.2f} sd {o.sd:.2f} end {o.end_s:.0f} {parts} | {trusts}")
    return "\n".join(out)


def chosen(words: Sequence[str], old: bool) -> list[str]:
    """The rows whose name contains one of the words, the exact one where there is one."""
    every = [*ROWS, *(n for n in liquids.FAMILIES if n not in ROWS)]
    if not words:
        return every if old else list(ROWS)
    rows: list[str] = []
    for word in words:
        found = [n for n in every if n == word] or [n for n in every if word in n]
        if not found:
            sys.exit(f"no row {word!r}; there are: {', '.join(every)}")
        rows += [n for n in found if n not in rows]
    return rows


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("row", nargs="*")
    parser.add_argument("--liquids", type=int, default=100)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--worst", type=int, default=0)
    parser.add_argument("--old", action="store_true")
    parser.add_argument("--review", action="store_true")
    parser.add_argument("--bare", action="store_true")
    args = parser.parse_args()
    say = sys.stdout.write
    say(f"development given, per cent of what was due: rms/worst of {args.liquids} liquids a row, seed {args.seed}\n{HEAD}\n")
    pool = multiprocessing.Pool(args.jobs) if args.jobs > 1 else None
    for row in chosen(args.row, args.old):
        work = [(row, n, args.seed, args.bare, args.review) for n in range(args.liquids)]
        came = pool.starmap(outcome, work, chunksize=5) if pool else [outcome(*w) for w in work]
        say(line(row, came) + "\n")
        if args.review:
            say(review_line(came) + "\n")
        if args.worst:
            say(worst_lines(came, args.worst) + "\n")
        sys.stdout.flush()
    if pool:
        pool.close()


if __name__ == "__main__":
    main()
