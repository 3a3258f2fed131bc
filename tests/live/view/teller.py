"""Records and snapshots for a view, told one by one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from monitor.core.journal.snapshot import Snapshot
from monitor.core.recipe.values import Recipe
from monitor.live.view.layout import Look, render
from monitor.live.view.lines import PlainLines
from monitor.live.view.state import Watched
from monitor.live.view.text import plain
from tests.evening import FIX, STOP, develop, recipe

ROLL = recipe(develop("5:00"), STOP, FIX)
PRESOAKED = recipe('name = "presoak"\nrole = "presoak"\ntime = "1:00"', develop("5:00"), STOP, FIX)
TRAY = recipe(develop("5:00"), STOP, FIX, vessel="open tray", tail='[sheets]\ncount = 2\ninterval = "0:20"\n')
PRINT = recipe(
    'name = "develop"\nrole = "develop"\ntime = "5:00"\nreference = "20 C"\nappearance_factor = 6\n'
    'rate = { law = "coefficient", per_10_c = 2.5, sd = 0.1 }',
    STOP,
    FIX,
    film="paper",
    vessel="open tray",
)


class Teller:
    """A view of a session that is told by hand. `lines`: what the plain lines said."""

    def __init__(self, plan: Recipe = ROLL) -> None:
        self.watched = Watched(plan, "live")
        self.plan = plan
        self.lines: list[str] = []
        self._plain = PlainLines(self.watched)
        self._seq = 0

    def tell(self, kind: str, t_s: float, **fields: Any) -> int:
        """One record; returns its seq."""
        self._seq += 1
        told = self._plain.record({"seq": self._seq, "session": "s", "t_s": t_s, "wall": "w", "kind": kind, **fields})
        self.lines += [line.strip() for line in told]
        return self._seq

    def begin(self, stage: int, t_s: float, **more: Any) -> int:
        """A stage begins."""
        of = self.plan.stages[stage - 1]
        fields = {"stage": stage, "name": of.name, "event": "begin", "role": of.role, "target_ref_s": of.target_ref_s, "steered": of.steer}
        return self.tell("stage", t_s, **fields | more)

    def moment(self, stage: int, event: str, t_s: float, **more: Any) -> None:
        """READY, NOW, the minimum or the end."""
        self.tell("stage", t_s, stage=stage, name=self.plan.stages[stage - 1].name, event=event, **more)

    def progress(self, t_s: float, stage: int = 1, **more: Any) -> None:
        """At the reference, half done, 1 % and 4 s of standard deviation."""
        fields = {
            "developer_c": 20.0, "developer_sd_c": 0.1, "age_s": 1.0, "done_ref_s": 150.0, "target_ref_s": 300.0, "done_sd_ref_s": 3.0,
            "end_t_s": 300.0, "end_sd_s": 4.0, "source": "developer",
        }  # fmt: skip
        self.tell("progress", t_s, stage=stage, **fields | more)

    def reading(self, t_s: float, celsius: float | None, probe: str = "developer", role: str = "developer", quality: str = "good") -> None:
        """One reading."""
        self.tell("reading", t_s, probe=probe, role=role, raw_c=celsius, celsius=celsius, quality=quality)

    def see(self, t_s: float, **fields: Any) -> None:
        """A snapshot in the developer, half done, 1 % and 4 s of standard deviation."""
        seen = Snapshot(
            t_s=t_s, stages=3, stage=1, name="develop", role="develop", until="time", steered=True, began_s=0.0, planned_s=300.0,
            developer_c=20.0, developer_sd_c=0.1, developer_age_s=1.0, source="developer", compared=True, end_t_s=300.0, end_sd_s=4.0,
            done_ref_s=150.0, done_sd_ref_s=3.0, target_ref_s=300.0,
        )  # fmt: skip
        self.watched.snapshot(replace(seen, **fields))

    def screen(self) -> str:
        """As it stands on a wide screen."""
        return "\n".join(plain(line) for line in render(self.watched.state, self.watched.trace, 120, 50, Look(unicode=False)))

    def said(self, words: str) -> bool:
        """Whether the plain lines said this."""
        return any(words in line for line in self.lines)
