"""What a session asks of the world. The driver (live or rehearsal) carries these out in their order and changes nothing.

`Write` becomes a line of the journal (the driver adds `session` and `wall`), `Play` and `Hush` go to the player, `Lamp`
says whether the lamp may mirror the sounder, `Close` ends the session after all that was written before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from monitor.core.journal.words import Cue
from monitor.core.session.sounds import Sound, Vessel


@dataclass(frozen=True, slots=True)
class Write:
    """One record: `seq`, `t_s`, `kind` and the kind's fields, in the order of the file."""

    record: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Play:
    """Let this sound begin at its onset; report it back by `Session.sounded` or `Session.dropped`."""

    sound: Sound


@dataclass(frozen=True, slots=True)
class Hush:
    """Silence these families at once, those of this vessel's film."""

    cues: frozenset[Cue]
    vessel: Vessel = 1


@dataclass(frozen=True, slots=True)
class Lamp:
    """Whether the lamp may mirror the sounder from now on. Never sent unless the person permitted it for this session."""

    allowed: bool


@dataclass(frozen=True, slots=True)
class Close:
    """The session is over; its `close` record has been written."""

    why: str


Effect = Write | Play | Hush | Lamp | Close
