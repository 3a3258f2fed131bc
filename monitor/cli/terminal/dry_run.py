"""A dry run on a terminal: the session in plain lines, and after each press what it meant. With scrap film, in the light.

Decides the words for each meaning of a press, and what is said where no press came. Tests: tests/cli/terminal/test_dry_run.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from monitor.core.journal.summary import Summary
from monitor.core.journal.words import Meaning
from monitor.core.recipe.values import Recipe
from monitor.core.session.presses import TAUGHT
from monitor.core.text.degrees import in_unit_shown
from monitor.core.text.quantities import format_duration
from monitor.live.view.lines import PlainLines
from monitor.live.view.state import Watched
from monitor.live.view.text import clean

MEANT: dict[Meaning, str] = {
    "begin": "what waited begins, or a sheet is in, from the moment the foot came down",
    "lid on": "the loading is over; what comes next waits for a press of a second",
    "again": "the stage begins once more, from this press on",
    "poured": "the next stage begins at this press, or its begin moves to it",
    "on time": "the begin stands where it was assumed",
    "heard": "NOW falls silent; the next stage begins at the planned end",
    "appeared": "the print's first trace is there: NOW comes at that time multiplied by the factor",
    "mark": "written down; begins nothing, ends nothing",
    "question": "answered by a sound where there is an answer, else by the click alone; moves nothing",
}
NOT_TOLD = "no press told of this begin: a tap now says that it went in at the tap, a press of 0.7 s that it went in on time"
HEAD = """A dry run: scrap film and water, in the light. The sounds and the times are the real ones.
Its record is marked as a rehearsal and enters no ledger. Ctrl-C ends it. The foot:
"""


class DryRun:
    """Give it what the station sends to a follower; `write` gets the lines. `over` once the session has closed."""

    def __init__(self, recipe: Recipe, opening: Mapping[str, Any], write: Callable[[str], None]) -> None:
        self._lines = PlainLines(Watched(recipe, "dry run", opening))
        self._summary = Summary()
        self._write = write
        self.over = False

    def begin(self) -> None:
        """What this is, and what the foot can say."""
        self._write(HEAD + "".join(f"  {does}: {means}\n" for does, means in TAUGHT))

    def take(self, event: Mapping[str, Any]) -> None:
        """Something that the station has sent."""
        record = event.get("record")
        if record is not None:
            self._summary.add(record)
            for line in (*self._lines.record(record), *_told(record)):
                self._write(f"{clean(line)}\n")
        if event.get("event") == "closed":
            self.over = True
            self._write("".join(f"{clean(in_unit_shown(line))}\n" for line in self._summary.lines()))


def _told(record: Mapping[str, Any]) -> Iterator[str]:
    """What a press meant, and that none came."""
    at = f"{format_duration(float(record['t_s'])):>8}"
    if record["kind"] == "tap":
        yield f"{at}  FOOT: {record['meaning']}: {MEANT.get(record['meaning'], 'known to a newer program only')}"
    elif record["kind"] == "stage" and record.get("event") == "begin" and record.get("assumed"):
        yield f"{at}  {NOT_TOLD}"
