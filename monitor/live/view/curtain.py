"""When the terminal that follows a session must show nothing at all.

Decides the darkness of a session with bare film: from the moment it goes dark nothing is written, whatever happens, until
the fixing minimum is over (or the session has ended) and a key has been pressed; with a closed vessel whose film is loaded
in the session, until the stage after the loading has begun. What would have been told meanwhile is kept.
It draws nothing and reads no keyboard; `monitor.cli.terminal` does. Pure.
Tests: tests/live/view/test_curtain.py.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from typing import Any

from monitor.core.recipe.kinds import FIXING_ROLES
from monitor.core.recipe.values import Recipe

MOST_KEPT = 5000
"""Records kept for the view that comes with the light: an hour and more of everything but readings and ticks."""


class Curtain:
    """Down while film is bare. `down` means: write nothing. `kept`: the records that were not shown."""

    def __init__(self, recipe: Recipe) -> None:
        fixing = [s.number for s in recipe.stages if s.role in FIXING_ROLES]
        self._last_fix = fixing[-1] if fixing else None
        self._may_rise = False
        loading = [s.number for s in recipe.stages if s.role == "load"]
        self._open = bool(set(recipe.open_film) - set(loading))
        self._last_load = loading[-1] if loading else 0
        self.down = self._open or bool(loading)
        self.kept: deque[Mapping[str, Any]] = deque(maxlen=MOST_KEPT)

    def take(self, event: Mapping[str, Any]) -> None:
        """Something has happened."""
        record = event.get("record", {})
        if self.down and self.for_loading and self._loaded(event):
            self.down = False
        minimum = record.get("kind") == "stage" and record.get("event") == "minimum" and record.get("stage") == self._last_fix
        if minimum or event.get("event") == "closed" or (event.get("event") == "view" and self._past_fixing(event["view"])):
            self._may_rise = True
        if self.down and record and record["kind"] != "reading" and record.get("cue") != "tick":
            self.kept.append(record)

    @property
    def for_loading(self) -> bool:
        """Whether it is down for the loading alone: it rises by itself when the next stage begins."""
        return not self._open

    def _loaded(self, event: Mapping[str, Any]) -> bool:
        record = event.get("record", {})
        begun = record.get("stage") if record.get("kind") == "stage" and record.get("event") == "begin" else None
        seen = event["view"]["stage"] if event.get("event") == "view" else None
        return max(begun or 0, seen or 0) > self._last_load

    def _past_fixing(self, view: Mapping[str, Any]) -> bool:
        """Whether a snapshot shows that the fixing minimum is over: for one who comes when its record has long been written."""
        stage, end_s = view["stage"], view.get("end_t_s")
        if self._last_fix is None or stage is None or stage < self._last_fix:
            return False
        return bool(stage > self._last_fix or (view.get("until") == "at least" and end_s is not None and view["t_s"] >= end_s))

    def key(self) -> bool:
        """A key was pressed. True if the curtain rises by it."""
        if not self.down or not self._may_rise:
            return False
        self.down = False
        return True
