"""What is said at the terminal that follows a session, and when it must show nothing at all.

Decides the plain lines of a lidded session and the darkness of one with bare film: from the moment it goes dark nothing is
written, whatever happens, until the fixing minimum is over (or the session has ended) and a key has been pressed. It draws
nothing and reads no keyboard; `monitor.cli.develop` does. Pure. Tests: tests/live/test_follow.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from monitor.core.quantities import format_duration, format_temperature
from monitor.core.recipe import Recipe

PROGRESS_EVERY_S = 30.0
FIXING_ROLES = ("fix", "bleach-fix")
_GATES = {"withheld": "the start is withheld until the temperature stands", "open": "the start is free", "overridden": "overridden"}
_CUES = {"ready": "READY", "now": "NOW", "fault": "FAULT", "over": "the fixing minimum is over"}


class Curtain:
    """Down while film is bare. `down` means: write nothing."""

    def __init__(self, recipe: Recipe) -> None:
        fixing = [s.number for s in recipe.stages if s.role in FIXING_ROLES]
        self._last_fix = fixing[-1] if fixing else None
        self._may_rise = False
        self.down = bool(set(recipe.open_film) - {s.number for s in recipe.stages if s.role == "load"})

    def take(self, event: Mapping[str, Any]) -> None:
        """Something has happened."""
        record = event.get("record", {})
        minimum = record.get("kind") == "stage" and record.get("event") == "minimum" and record.get("stage") == self._last_fix
        if minimum or event.get("event") == "closed":
            self._may_rise = True

    def key(self) -> bool:
        """A key was pressed. True if the curtain rises by it."""
        if not self.down or not self._may_rise:
            return False
        self.down = False
        return True


class Lines:
    """Plain lines for records, one each, for those worth a line."""

    def __init__(self, recipe: Recipe) -> None:
        self._recipe = recipe
        self._told_s = -PROGRESS_EVERY_S
        self._compared = {"": False}

    def line(self, event: Mapping[str, Any]) -> str | None:
        """What to write, None for nothing."""
        record = event.get("record")
        if not isinstance(record, Mapping):
            return "the session is over" if event.get("event") == "closed" else None
        words = self._words(record)
        return None if words is None else f"{format_duration(float(record['t_s'])):>8}  {words}"

    def _words(self, record: Mapping[str, Any]) -> str | None:
        kind = record["kind"]
        if kind == "stage":
            return self._stage(record)
        if kind == "progress":
            return self._progress(record)
        if kind == "cue":
            return _CUES.get(record["cue"])
        if kind == "trust":
            believed = "believed" if record["believed"] else "not believed"
            return f"{record['probe']} {believed}: {record['why']}"
        if kind == "gate":
            return f"gate: {_GATES.get(record['state'], record['state'])}"
        if kind == "correction":
            return f"stage {record['stage']} began now, not as assumed"
        if kind == "trouble":
            return f"{record['part']}: {record['why']}"
        if kind == "session" and record.get("event") == "close":
            return f"closed: {record['why']}"
        return None

    def _stage(self, record: Mapping[str, Any]) -> str | None:
        name = f"{record['name']}" + (f", sheet {record['sheet']}" if "sheet" in record else "")
        assumed = " (assumed: no tap said so)" if record.get("assumed") else ""
        if record["event"] == "begin":
            return f"{name}: begins{assumed}{self._next(int(record['stage']))}"
        if record["event"] == "minimum":
            return f"{name}: the minimum is over"
        return None

    def _next(self, number: int) -> str:
        following = next((s for s in self._recipe.stages if s.number == number + 1), None)
        if following is None:
            return ""
        jug = "" if following.jug is None else f", jug {following.jug}"
        return f"; next: {following.name}{jug}"

    def _progress(self, record: Mapping[str, Any]) -> str | None:
        if float(record["t_s"]) - self._told_s < PROGRESS_EVERY_S:
            return None
        self._told_s = float(record["t_s"])
        share = 100.0 * record["done_ref_s"] / record["target_ref_s"]
        return f"{developer(record)}; done {share:.1f} %, end at {format_duration(record['end_t_s'])}"


_SOURCES = {
    "developer": "probe in the developer",
    "witness": "probe in the witness vessel",
    "vessel model": "estimated by the vessel's lag",
    "held": "held from the last believed reading",
    "clock": "never measured; the recipe's own temperature",
}


def developer(seen: Mapping[str, Any]) -> str:
    """The developer's temperature with where it is from, how old and +/-."""
    if seen.get("developer_c") is None:
        return "developer: not known"
    age_s = seen.get("age_s", seen.get("developer_age_s"))
    age = "never read" if age_s is None else f"{age_s:.0f} s ago"
    source = _SOURCES.get(str(seen.get("source")), str(seen.get("source")))
    return f"developer {format_temperature(seen['developer_c'], 2)} +/- {2 * seen['developer_sd_c']:.2f} C ({source}, {age})"
