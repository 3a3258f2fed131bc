"""What the parts of one session share: what was asked for, the estimator, the sounds, the gate, the moment, and what goes out.

Decides nothing. The parts (`passage`, `presses`, `folding`, `session`) are given the desk and nothing of each other but what
they call.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from monitor.core.development.beliefs import Beliefs
from monitor.core.development.estimator import Estimator
from monitor.core.journal import records
from monitor.core.journal.records import GapDoubt
from monitor.core.journal.trusted import Trusted
from monitor.core.recipe.values import Recipe
from monitor.core.session.calls import Calls
from monitor.core.session.effects import Effect, Write
from monitor.core.session.sounds import Vessel
from monitor.core.session.watch import GateWatch


@dataclass(frozen=True, slots=True)
class Options:
    """How this session runs. `has_switch` False: begins are assumed, without repeats. `override_gate`: the person's reason. `vessel`:
    which of two the film is in."""

    mode: Literal["live", "rehearsal"]
    has_switch: bool = True
    lamp: bool = False
    override_gate: str | None = None
    vessel: Vessel = 1


class Desk:
    """Shared by the parts of one session. `t_s`: the moment that the session has reached."""

    def __init__(self, recipe: Recipe, beliefs: Beliefs, options: Options) -> None:
        self.recipe = recipe
        self.options = options
        self.t_s = 0.0
        self.seq = 0
        self.closed = False
        self.estimator = Estimator(beliefs)
        self.effects: list[Effect] = []
        self.calls = Calls(self.effects.append, options.vessel)
        self.gate = GateWatch()
        self.trusted = Trusted()
        self._gaps: list[tuple[float, GapDoubt]] = []
        self._probes = beliefs.probes

    @property
    def lost(self) -> dict[str, str]:
        """Probes that are not believed, and why."""
        return {probe: why for probe, (why, _) in self.trusted.lost.items()}

    @property
    def compared(self) -> bool:
        """Whether every probe that the developer's temperature may come from has been compared."""
        role = self.trusted.role_of({p.name: p.role for p in self._probes})
        direct = [p for p in self._probes if role[p.name] in ("developer", "witness")] or self._probes
        return bool(direct) and all(p.was_compared for p in direct)

    def doubt_gap(self, back_s: float, doubt: GapDoubt) -> None:
        """A gap that ended at `back_s` may have been longer or shorter than it was counted."""
        self._gaps.append((back_s, doubt))

    def doubt_since(self, begin_s: float) -> GapDoubt:
        """In what began then. A begin after a gap makes the time sure again; a restart on the same boot does not."""
        return sum((doubt for back_s, doubt in self._gaps if back_s > begin_s), GapDoubt())

    def write(self, record: records.Record) -> int:
        """One record on its way to the journal; its seq."""
        self.effects.append(Write(records.line(self.seq + 1, record)))
        self.seq += 1  # taken once there is a line to carry it
        return self.seq

    @contextmanager
    def written_first(self) -> Iterator[Callable[[records.Record], None]]:
        """Gives a function whose one record stands before all that is written meanwhile."""
        place = len(self.effects)
        self.seq += 1
        seq = self.seq
        yield lambda record: self.effects.insert(place, Write(records.line(seq, record)))

    def take_effects(self) -> list[Effect]:
        """What has gathered, in order."""
        effects = self.effects[:]
        self.effects.clear()
        return effects

    def next_gated_stage(self, after: int) -> int | None:
        """The next stage (0-based, later than `after`) that has a gate, None if there is none."""
        return next((i for i, s in enumerate(self.recipe.stages) if i > after and s.gate is not None), None)

    def arm_gate(self, index: int, t_s: float) -> None:
        """The stage at `index` (0-based) comes next."""
        stage = self.recipe.stages[index] if index < len(self.recipe.stages) else None
        self.gate.arm(stage, index, t_s, self.options.override_gate, self.write)
