"""A whole session on simulated liquids: the same session and the same mixer as live, on a clock that jumps.

Decides only what comes next: a reading, a press by the simulated person, a wake-up that the session asked for, or the onset of
a sound. Of things due at the same moment readings come first, then sounds, then the person, then the session, so that the same
input always gives the same answer. The person begins stage 1 at t_s = 0, pours at each planned end, and leaves an at-least
stage at its minimum; or, with a list of presses, does those and nothing else. Tests: tests/live/test_rehearsal.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from hardware.ports import Sample
from monitor.core.probes.classify import Classifier
from monitor.core.probes.readings import Reading, Role
from monitor.core.session.effects import Effect, Hush, Play, Write
from monitor.core.session.fixed_times import BEGIN_HOLD_S
from monitor.core.session.session import GapDoubt, Session
from monitor.core.session.sounds import Mixer

READING_EVERY_S = 1.0
TAP_LENGTH_S = 0.2
GATE_PATIENCE_S = 3600.0
"""After the end of the trace the liquids no longer change: a gate (at most 30 minutes) that has not opened by then never will."""
FOOT_PATIENCE_S = 600.0
"""With a list of presses the rehearsal ends this long after the last thing that could happen."""
GIVE_UP_AFTER_S = 86400.0
"""A rehearsal that is not over after a day is given up."""


class Probes(Protocol):
    """Simulated probes: asked by name with rising times."""

    @property
    def names(self) -> Sequence[str]:
        """Names of the probes."""
        ...

    def sample(self, name: str, t_s: float) -> Sample:
        """One reading."""
        ...


Writer = Callable[[dict[str, Any]], None]


class Rehearsal:
    """One rehearsal, step by step. `write` takes each record; `roles` gives the role of each probe by its name.

    `foot`: all presses of this session as (down, up) in seconds; None for a person who does what the recipe wants.
    """

    def __init__(
        self, session: Session, probes: Probes, roles: dict[str, Role], write: Writer, give_up_s: float,
        foot: Sequence[tuple[float, float]] | None = None,
    ) -> None:  # fmt: skip
        self._session = session
        self._probes = probes
        self._write = write
        self._names = [(name, roles[name]) for name in probes.names if name in roles]
        self._classifier = Classifier(dict(self._names))
        self._mixer = Mixer()
        self._reading_s = 0.0
        self._down_at_s: float | None = None
        self._up_at_s: float | None = None
        self._foot = None if foot is None else list(reversed(foot))
        self._happened_s = 0.0
        self._give_up_s = max(give_up_s, 0.0) + GATE_PATIENCE_S
        self.t_s = 0.0

    def open(self, opening: dict[str, Any], t_s: float = 0.0) -> None:
        """Arm the session at `t_s`."""
        self.t_s = t_s
        self._reading_s = math.ceil(t_s / READING_EVERY_S) * READING_EVERY_S
        self._carry_out(self._session.open(t_s, opening))

    def resume(self, t_s: float, gap_s: float | None, same_boot: bool, doubt: GapDoubt) -> None:
        """Go on at `t_s` with a session that was rebuilt from its records, as after a crash or a power cut."""
        self.t_s = t_s
        self._reading_s = math.ceil(t_s / READING_EVERY_S) * READING_EVERY_S
        self._carry_out(self._session.resume(t_s, gap_s, same_boot, doubt))

    def step(self) -> bool:
        """Advance to the next thing that happens. False once the session is closed."""
        session = self._session
        if session.closed:
            return False
        self._person()
        wake_s = session.next_wake_s
        sound_s = self._mixer.next_onset_s
        at_s = min(x for x in (self._reading_s, self._down_at_s, self._up_at_s, wake_s, sound_s) if x is not None)
        self.t_s = at_s = max(at_s, self.t_s)
        if self._reading_s <= at_s:
            self._read(at_s)
        elif sound_s is not None and sound_s <= at_s:
            self._sound(at_s)
        elif self._up_at_s is not None and self._up_at_s <= at_s and (wake_s is None or wake_s > at_s):
            self._up_at_s = None  # what is due at the same moment comes first, so a press of just a second is one
            self._carry_out(session.press(at_s, False))
        elif self._down_at_s is not None and self._down_at_s <= at_s:
            self._down_at_s = None
            if self._foot is not None:
                _, self._up_at_s = self._foot.pop()
            else:
                self._up_at_s = at_s + (BEGIN_HOLD_S if session.awaits.what in ("begin", "lid on") else TAP_LENGTH_S)
            self._carry_out(session.press(at_s, True))
        else:
            self._carry_out(session.wake(at_s))
        if at_s > self._give_up_s and session.waits_for_gate:
            self.abandon("the gate stayed closed to the end of the trace")
        elif self._foot is not None and self._nothing_can_happen(at_s):
            self.abandon("the presses are over, and nothing more could happen")
        elif at_s > GIVE_UP_AFTER_S:
            self.abandon("not over after a day")
        return not session.closed

    def _nothing_can_happen(self, at_s: float) -> bool:
        """No press is left and no moment comes by itself, and it has been so for a while."""
        if self._foot or self._up_at_s is not None or self._session.next_moment_s is not None:
            self._happened_s = at_s
        return at_s - self._happened_s > FOOT_PATIENCE_S

    def abandon(self, why: str) -> None:
        """End it now."""
        self._carry_out(self._session.abandon(self.t_s, why))

    def _person(self) -> None:
        """When the simulated foot comes down next."""
        if self._up_at_s is not None:
            return
        if self._foot is not None:
            self._down_at_s = self._foot[-1][0] if self._foot else None
            return
        awaits = self._session.awaits
        self._down_at_s = None
        if awaits.what != "nothing" and awaits.at_s is not None:
            self._down_at_s = max(awaits.at_s, self.t_s)

    def _read(self, at_s: float) -> None:
        self._reading_s = math.floor(at_s / READING_EVERY_S + 1e-9) * READING_EVERY_S + READING_EVERY_S
        for name, role in self._names:
            sample = self._probes.sample(name, at_s)
            quality = self._classifier.classify(name, sample.t_s, sample.raw_c, sample.fault, at_s)
            celsius = sample.raw_c if quality == "good" else None
            self._carry_out(self._session.take(Reading(sample.t_s, name, role, sample.raw_c, celsius, quality), at_s))

    def _sound(self, at_s: float) -> None:
        step = self._mixer.step(at_s)
        for sound in step.began:
            self._carry_out(self._session.sounded(sound, at_s, None))
        for sound in step.dropped:
            self._carry_out(self._session.dropped(sound, at_s))

    def _carry_out(self, effects: list[Effect]) -> None:
        for effect in effects:
            if isinstance(effect, Write):
                self._write(effect.record)
            elif isinstance(effect, Play):
                self._mixer.add(effect.sound, self.t_s)
            elif isinstance(effect, Hush):
                self._mixer.hush(effect.cues, self.t_s)
