"""One session as the page knows it: its journal from the disk, its newest snapshot from the station, made into the contract's figures.

Decides how old a figure is once the station has fallen silent, and what counts as the result of a session that is over. Nothing here
reads a clock. Tests: tests/page/test_slots.py.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from monitor.core.errors import EvenbathError
from monitor.core.journal.snapshot import Snapshot
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.recipe.values import Recipe
from monitor.live.view.hands import hands
from monitor.live.view.state import Point, ViewState, Watched
from monitor.live.view.words import percent
from monitor.page import sentences
from monitor.page.journals import Growing
from monitor.page.pictures import development, trace
from monitor.page.slots import Developed, Slots, fault_told, kind, of_closed, of_session

Figures = dict[str, Any]

DRAWN_EVERY_S = 3.0
"""The picture of the temperatures costs ten times what the rest of a snapshot does."""


def no_figures(state: str = "waiting") -> Figures:
    """All keys of the contract, section 12, with nothing known."""
    return {
        "light": True, "state": state, "stage": None, "stage_of": None, "to_pour_s": None, "end_s": None, "end_sd_s": None,
        "done_percent": None, "done_sd_percent": None, "developer_c": None, "developer_sd_c": None, "source": None, "age_s": None,
        "station_age_s": None, "fault": None,
    }  # fmt: skip


def figures_of(state: ViewState, word_age_s: float) -> Figures:
    """The contract's figures of a session. `word_age_s`: how old the station's word is; the measurement is older by that.

    `end_s` is on the stage's own clock, `to_pour_s` the time until then that the hands are wanted: both as the word said them.
    """
    seen, told = state.seen, hands(state)
    here = seen.stage or seen.waits_for or 1
    figures = {**no_figures(kind(state)), "stage": here, "stage_of": len(state.stages), "fault": fault_told(state)}
    if seen.began_s is not None and seen.end_t_s is not None and state.closed is None:
        figures |= {"end_s": seen.end_t_s - seen.began_s, "end_sd_s": seen.end_sd_s}
        figures["to_pour_s"] = 0.0 if told.alarm else told.left_s
    if seen.done_ref_s is not None and seen.done_sd_ref_s is not None and seen.target_ref_s:
        figures["done_percent"] = percent(seen.done_ref_s, seen.target_ref_s)
        figures["done_sd_percent"] = percent(seen.done_sd_ref_s, seen.target_ref_s)
    figures |= {"developer_c": seen.developer_c, "developer_sd_c": seen.developer_sd_c, "source": seen.source}
    figures["age_s"] = None if seen.developer_age_s is None else seen.developer_age_s + word_age_s
    return figures


def whose(vessel: str | None, what: str | None) -> str:
    """A film by its vessel and its name, as far as there are any."""
    if vessel is None:
        return what or ""
    return sentences.WHOSE.format(vessel=vessel.upper(), what=what) if what else vessel.upper()


@dataclass(slots=True)
class _Development:
    """What the records of a develop stage add up to; of several films in it the last one that told counts."""

    stage: int
    name: str
    steered: bool
    begin_s: float
    planned_s: float
    last: Mapping[str, Any] | None = None
    end_s: float | None = None
    sum_cs: float = 0.0
    sum_s: float = 0.0
    at_s: float = field(default=0.0)


class Film:
    """A session by its journal at `path`; `folder` and `session` say which. `vessel`: whose it is, None for the only one; `what`: what its
    evening calls it."""

    def __init__(self, folder: Path, session: str, vessel: str | None = None, what: str | None = None) -> None:
        self.session = session
        self.what = what
        self.vessel = vessel
        self._grown = Growing(folder / f"{session}.jsonl")
        self._watched: Watched | None = None
        self._closed_wall = ""
        self._development: _Development | None = None
        self.mode = "live"
        self.recipe: Recipe | None = None
        self._drawn = ""
        self._drawn_about: object = None
        self._drawn_s = -math.inf

    def read(self) -> None:
        """Take what the journal has grown by."""
        for record in self._grown.more():
            self._take(record)

    def _take(self, record: Mapping[str, Any]) -> None:
        if self._watched is None:
            if record["kind"] != "session" or record.get("event") != "open":
                return
            try:
                recipe = recipe_from_data(record["recipe"])
            except (EvenbathError, KeyError):
                return
            self.mode = str(record.get("mode", "live"))
            self.recipe = recipe
            self._watched = Watched(recipe, self.mode)
        self._watched.record(record)
        self._develops(record, self._watched)
        if record["kind"] == "session" and record.get("event") == "close":
            self._closed_wall = str(record.get("wall", ""))

    def _develops(self, record: Mapping[str, Any], watched: Watched) -> None:
        """Note what the closing words will need."""
        t_s = float(record["t_s"])
        if record["kind"] == "stage" and record.get("event") == "begin":
            stage = watched.stages[record["stage"] - 1]
            before = self._development
            if before is not None and before.stage < stage.number and before.end_s is None:
                before.end_s = t_s
            if stage.role == "develop" and (before is None or before.stage < stage.number):
                self._development = _Development(stage.number, stage.name, stage.steer, t_s, stage.begin_to_end_s, at_s=t_s)
        made = self._development
        if record["kind"] == "progress" and made is not None and record["stage"] == made.stage:
            if record.get("developer_c") is not None and record["source"] != "clock":
                made.sum_cs += record["developer_c"] * max(0.0, t_s - made.at_s)
                made.sum_s += max(0.0, t_s - made.at_s)
            made.last, made.at_s = record, t_s

    def seen(self, view: Mapping[str, Any]) -> None:
        """The station's newest snapshot of it."""
        if self._watched is not None:
            self._watched.snapshot(Snapshot.read(view))

    @property
    def state(self) -> ViewState | None:
        """All that is known; None before the journal could be read."""
        return None if self._watched is None else self._watched.state

    @property
    def points(self) -> list[Point]:
        """For the picture."""
        return [] if self._watched is None else self._watched.trace

    @property
    def closed(self) -> bool:
        """Whether its journal has its close."""
        return bool(self._closed_wall)

    @property
    def closed_wall(self) -> str:
        """When, RFC 3339; empty while it runs."""
        return self._closed_wall

    @property
    def whose(self) -> str:
        """Vessel and film; empty where the station has one vessel."""
        if self.vessel is None:
            return ""
        return whose(self.vessel, self.what or ("" if self.state is None else self.state.name))

    def slots(self, closed_at: str = "") -> Slots | None:
        """The words. `closed_at`: the time of day of its close."""
        state = self.state
        if state is None:
            return None
        picture = self._picture(state)
        if not self.closed:
            slots = of_session(state, self.points, picture)
            said = f"{self.whose}. {slots.said}" if self.whose else slots.said
            return replace(slots, whose=self.whose, said=said)
        return replace(of_closed(state, self.session, self.developed, closed_at), trace=picture)

    def _picture(self, state: ViewState) -> str:
        """Of the temperatures; drawn anew every few seconds, and where the stage or the source is another one."""
        about = (state.seen.stage, state.seen.source, self.closed)
        if about != self._drawn_about or state.t_s - self._drawn_s >= DRAWN_EVERY_S:
            self._drawn_about, self._drawn_s = about, state.t_s
            self._drawn = self._development_drawn(state) if self.closed else trace(state, self.points)
        return self._drawn

    def _development_drawn(self, state: ViewState) -> str:
        """The whole development."""
        made = self._development
        if made is None:
            return ""
        return development(state.stages[made.stage - 1], self.points, made.begin_s, made.at_s if made.end_s is None else made.end_s)

    @property
    def developed(self) -> Developed | None:
        """What became of its development; None where it had none."""
        made = self._development
        if made is None or made.last is None:
            return None
        last, target = made.last, float(made.last.get("target_ref_s") or 0.0)
        end_s = made.at_s if made.end_s is None else made.end_s
        known = made.steered and target > 0 and last.get("done_ref_s") is not None
        return Developed(
            stage=made.name, steered=made.steered, took_s=end_s - made.begin_s, moved_s=end_s - made.begin_s - made.planned_s,
            percent=percent(last["done_ref_s"], target) if known else None,
            sd_percent=percent(last.get("done_sd_ref_s") or 0.0, target) if known else None,
            mean_c=made.sum_cs / made.sum_s if made.sum_s > 0 else None,
            last_c=last.get("developer_c"), last_sd_c=last.get("developer_sd_c"),
        )  # fmt: skip
