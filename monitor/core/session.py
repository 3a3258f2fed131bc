"""One session as a function of (state, event at time) to (state, effects). No clock, no input or output, no threads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from monitor.core.cues import Sound
from monitor.core.effects import Effect
from monitor.core.estimator import Beliefs
from monitor.core.readings import Reading
from monitor.core.recipe import Recipe


@dataclass(frozen=True, slots=True)
class Options:
    """How this session runs. `has_switch` False: begins are assumed, without repeats. `override_gate`: the person's reason."""

    mode: Literal["live", "rehearsal"]
    has_switch: bool = True
    lamp: bool = False
    override_gate: str | None = None


@dataclass(frozen=True, slots=True)
class Awaits:
    """What the session waits for the hands to do, and when: for the simulated person and for the view."""

    what: Literal["begin", "sheet", "pour", "nothing"]
    at_s: float | None


class Session:
    """Skeleton of the interface, see the methods. Every method returns effects to carry out in order.

    Times are session seconds and never fall from call to call (a reading's own `t_s` may lie in the past).
    The driver calls `wake` whenever `next_wake_s` has come.
    """

    closed: bool = False

    def __init__(self, recipe: Recipe, beliefs: Beliefs, options: Options) -> None:
        raise NotImplementedError

    @property
    def next_wake_s(self) -> float | None:
        """When the session wants `wake` next, None if only an event can move it."""
        raise NotImplementedError

    @property
    def awaits(self) -> Awaits:
        """What the hands are expected to do next."""
        raise NotImplementedError

    @property
    def view(self) -> Mapping[str, Any]:
        """A snapshot for status, socket followers and views (stage, temperature, done, end, next thing for the hands ...)."""
        raise NotImplementedError

    def open(self, t_s: float, opening: Mapping[str, Any]) -> list[Effect]:
        """Arm. `opening` are fields of the `session` open record beyond recipe and mode (version, zone, probes, ...)."""
        raise NotImplementedError

    def take(self, reading: Reading, t_s: float) -> list[Effect]:
        """A reading has arrived at `t_s`."""
        raise NotImplementedError

    def press(self, t_s: float, down: bool) -> list[Effect]:
        """A clean (debounced) edge of the foot switch."""
        raise NotImplementedError

    def sounded(self, sound: Sound, onset_s: float, lateness_s: float | None) -> list[Effect]:
        """The player began a sound; `lateness_s` None in a rehearsal."""
        raise NotImplementedError

    def dropped(self, sound: Sound, t_s: float) -> list[Effect]:
        """The player could not sound it."""
        raise NotImplementedError

    def note(self, kind: str, fields: Mapping[str, Any], t_s: float) -> list[Effect]:
        """Something that belongs in the journal and moves nothing: a full disk, a dead thread, a step of the wall clock."""
        raise NotImplementedError

    def fault(self, why: str, t_s: float) -> list[Effect]:
        """The tool itself is not to be trusted in something the person must know by ear: one FAULT, and a `fault` record."""
        raise NotImplementedError

    def wake(self, t_s: float) -> list[Effect]:
        """The time asked for by `next_wake_s` has come."""
        raise NotImplementedError

    def abandon(self, t_s: float, why: str) -> list[Effect]:
        """End the session now: `close` with the reason."""
        raise NotImplementedError

    def fold(self, record: Mapping[str, Any]) -> None:
        """Take up one record of an earlier life of this session (resume): the state becomes what it was, no effects."""
        raise NotImplementedError

    def resume(self, t_s: float, gap_s: float | None, same_boot: bool, spread_s: float) -> list[Effect]:
        """Go on at `t_s` after folding. `spread_s`: how far the time of the gap is unknown (0 on the same boot)."""
        raise NotImplementedError
