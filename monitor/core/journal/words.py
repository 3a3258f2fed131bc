"""The words of the journal: kinds of records, and what may stand in their fields. The one place where they are listed.

The contract (section 5) fixes them; `check` refuses others, `records` has a type for each kind, `session` writes them.
Words of readings (roles, qualities, sources) belong to `monitor.core.probes.readings`.
"""

from __future__ import annotations

from typing import Literal, get_args

SessionEvent = Literal["open", "resume", "close"]
StageEvent = Literal["begin", "ready", "now", "minimum", "end"]

Cue = Literal["tick", "ready", "now", "fault", "answer", "yes", "over", "click"]
"""What can be heard. The sheet's call counts as `now`, the double tick as `tick`."""

Meaning = Literal["begin", "lid on", "again", "poured", "on time", "heard", "appeared", "mark", "question"]
"""What a press meant. `mark` moves nothing; `question` is answered by a sound and moves nothing either."""

GateState = Literal["withheld", "open", "overridden"]

SESSION_EVENTS: tuple[SessionEvent, ...] = get_args(SessionEvent)
STAGE_EVENTS: tuple[StageEvent, ...] = get_args(StageEvent)
CUES: tuple[Cue, ...] = get_args(Cue)
MEANINGS: tuple[Meaning, ...] = get_args(Meaning)
GATE_STATES: tuple[GateState, ...] = get_args(GateState)

BEGUN_CLOSED = "begun although its gate was not open"
"""What is said of a stage whose gate was withheld when it began."""
FINISHED = "finished"
"""The `why` of a close that came by itself, after the last stage."""

OUTSIDE_DATA = "outside data"
"""How a `trust` record begins its `why` where the rate law runs outside the recipe's data: no probe was lost."""
INSIDE_DATA = "inside data again"
"""And where it is back inside them."""
