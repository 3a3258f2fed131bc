"""kill -9 at random moments of short rig sessions: what is lost, how long until it goes on, how long it is developed.

    python -m tests.benchmarks.bench_kill [KILLS] [AT_ONCE]

Each session develops for a minute at 20.25 C and is killed about every four seconds. Budgets: what stood in the file before a kill stands
there afterwards, byte for byte (a torn last line apart); every journal can be read and has no gap; every session ends with
the development within 1 % of the undisturbed one; it goes on within 3 s.
"""

from __future__ import annotations

import random
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from monitor.core.journal.check import Findings, read_records
from monitor.live.station.control import ask
from tests.cli.rigged import QUICK, Rigged

RECIPE = QUICK.replace('"0:06"', '"1:00"').replace('"0:04"', '"1:00"').replace('drain = "0:01"', 'drain = "0:05"\nready = "0:15"', 1)


@dataclass
class Outcome:
    """One session."""

    kills: int = 0
    lost: int = 0
    wrong: list[str] = field(default_factory=list)
    developed_s: float = 0.0
    now_late_s: float = 0.0
    done_ref_s: float = 0.0
    gaps_s: list[float] = field(default_factory=list)


def session(seed: int, most_kills: int) -> Outcome:
    """One session with up to so many kills."""
    dice = random.Random(seed)
    rigged = Rigged(Path(tempfile.mkdtemp(prefix="evenbath-kill-")), switch=False)
    outcome = Outcome()
    rigged.start()
    name = rigged.arm(RECIPE)
    ask(rigged.state, {"verb": "press", "kind": "hold"})
    next_s = rigged.clock.mono_s() + dice.uniform(0.5, 7.0)
    while not rigged.records(name, kind="session", event="close"):
        rigged.pause(0.02)
        if rigged.clock.mono_s() < next_s or outcome.kills >= most_kills:
            continue
        assert rigged.process is not None
        rigged.process.kill()
        rigged.process.wait()
        before = rigged.journal(name).read_bytes()
        begin_s = rigged.clock.mono_s()
        rigged.start()
        outcome.gaps_s.append(rigged.clock.mono_s() - begin_s)
        outcome.kills += 1
        whole = before[: before.rfind(b"\n") + 1]
        if not rigged.journal(name).read_bytes().startswith(whole):
            outcome.lost += 1
        next_s = rigged.clock.mono_s() + dice.uniform(0.0, 7.0)
    rigged.stop()
    check(rigged, name, outcome)
    return outcome


def check(rigged: Rigged, name: str, outcome: Outcome) -> None:
    """What the journal says in the end, and what the pins did at NOW: after it no tick sounds until the next stage."""
    path = rigged.journal(name)
    findings = Findings(path.name)
    with path.open("rb") as lines:
        records = [r for _, r in read_records(lines, findings)]
    outcome.wrong += findings.lines()
    if [r["seq"] for r in records] != list(range(1, len(records) + 1)):
        outcome.wrong.append("seq has gaps")
    begins = {r["stage"]: r["t_s"] for r in records if r["kind"] == "stage" and r["event"] == "begin"}
    outcome.developed_s = begins[2] - begins[1]
    said = [r["t_s"] for r in records if r["kind"] == "stage" and r["event"] == "now" and r["stage"] == 1]
    ons = [e["mono_s"] - records[0]["mono0_s"] for e in rigged.edges() if e["on"]]
    outcome.now_late_s = min((on - said[-1] for on in ons if on > said[-1] - 0.02), default=float("inf")) if said else float("inf")
    done = [r["done_ref_s"] for r in records if r["kind"] == "progress" and r["stage"] == 1]
    outcome.done_ref_s = done[-1]


def run(kills: int, at_once: int) -> None:
    """All of it, printed."""
    calm = session(0, 0)
    print(f"undisturbed: {calm.developed_s:.3f} s from begin to begin, {calm.done_ref_s:.3f} s done of 60")
    outcomes: list[Outcome] = []
    with ThreadPoolExecutor(at_once) as pool:
        seed = 1
        while sum(o.kills for o in outcomes) < kills:
            outcomes += pool.map(lambda s: session(s, kills), range(seed, seed + at_once))
            seed += at_once
    worst = max(abs(o.developed_s / calm.developed_s - 1) for o in outcomes)
    worst_done = max(abs(o.done_ref_s / calm.done_ref_s - 1) for o in outcomes)
    gaps = sorted(g for o in outcomes for g in o.gaps_s)
    late = sorted(o.now_late_s for o in outcomes)
    print(f"{sum(o.kills for o in outcomes)} kills in {len(outcomes)} sessions")
    print(f"files that lost something that stood in them: {sum(o.lost for o in outcomes)}")
    print(f"journals with something wrong: {sum(bool(o.wrong) for o in outcomes)} {[w for o in outcomes for w in o.wrong][:3]}")
    print(f"development against the undisturbed one: worst {100 * worst:.3f} % in time, {100 * worst_done:.3f} % done")
    print(f"until the station is back: median {gaps[len(gaps) // 2]:.2f} s, worst {gaps[-1]:.2f} s")
    print(f"NOW by the pins against its planned moment: median {late[len(late) // 2]:.4f} s, worst {late[-1]:.3f} s")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 200, int(sys.argv[2]) if len(sys.argv) > 2 else 4)
