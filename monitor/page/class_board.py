"""A class: all the stations whose journals `evenbath record` keeps in one folder, a row each, ordered by whose hands are wanted next.

It reads files and knows no broker, hence no password. How old a station's word is, is told by when its journal last grew. Anything may be
lit only where no station's newest session may have film bare now. Time is an argument. Tests: tests/page/test_class_board.py.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from monitor.core.text.controls import one_line
from monitor.core.text.quantities import format_duration
from monitor.core.text.typeset import typeset
from monitor.live.broker import STATION
from monitor.live.station.ended import session_names
from monitor.page import sentences
from monitor.page.film import Film, figures_of
from monitor.page.light import may_be_lit_by
from monitor.page.slots import fault_told, of_closed, of_session

MOST_STATIONS = 64
LOOK_EVERY_S = 1.0
SILENT_S = 10.0
"""A running session writes readings each second, which the broker may hold back for a while."""
LOST_S = 6 * 3600.0
"""A session without an end that has not grown for so long is over for this page: its station is switched off."""


@dataclass(slots=True)
class _Row:
    """`grew_s`: when its journal last grew; `size`: by what that is told."""

    film: Film
    grew_s: float
    size: int = 0


class ClassBoard:
    """A source of snapshots (`monitor.page.pulse`). `folder`: FOLDER/STATION/SESSION.jsonl."""

    descriptor = None

    def __init__(self, folder: Path, wall: Callable[[], datetime]) -> None:
        self._folder = folder
        self._wall = wall
        self._rows: dict[str, _Row] = {}
        self._look_s = -math.inf
        self._numbers = 0

    busy = False

    def awake(self, now_s: float) -> bool:
        """Nothing is ever written from a class's page."""
        return False

    free = awake

    def count(self, lit: int) -> None:
        """Nobody is told: the stations know nothing of this page."""

    def turn(self, now_s: float) -> bool:
        """Look what has grown, once a second. True where something has."""
        if now_s < self._look_s:
            return False
        self._look_s = now_s + LOOK_EVERY_S
        grown = [station for station in self._stations() if self._look(station, now_s)]
        return bool(grown)

    def _stations(self) -> list[str]:
        try:
            found = sorted(entry.name for entry in os.scandir(self._folder) if entry.is_dir(follow_symlinks=False))
        except OSError:
            return []
        return [name for name in found if STATION.fullmatch(name)][:MOST_STATIONS]

    def _look(self, station: str, now_s: float) -> bool:
        folder = self._folder / station
        try:
            newest = session_names(folder)[:1]
            stat = (folder / f"{newest[0]}.jsonl").stat() if newest else None
        except OSError:
            return False
        if stat is None:
            return False
        row = self._rows.get(station)
        if row is None or row.film.session != newest[0]:
            ago_s = max(0.0, self._wall().timestamp() - stat.st_mtime)
            row = self._rows[station] = _Row(Film(folder, newest[0]), now_s - ago_s)
        elif row.size != stat.st_size:
            row.grew_s = now_s
        if row.size == stat.st_size:
            return False
        row.size = stat.st_size
        row.film.read()
        return True

    def light(self, now_s: float) -> bool:
        """All stations together decide, as far as their journals tell; one that is silent is not over."""
        return all(may_be_lit_by(row.film, now_s - row.grew_s) for row in self._rows.values() if now_s - row.grew_s < LOST_S)

    def snapshot(self, now_s: float) -> Mapping[str, Any]:
        """Every station, whole."""
        if not self.light(now_s):
            return {"light": False}
        self._numbers += 1
        rows = [self._told(station, row, now_s) for station, row in self._rows.items()]
        rows.sort(key=lambda told: (told["order"], told["station"]))
        return {"light": True, "id": f"class:{self._numbers}", "rows": rows}

    def _told(self, station: str, row: _Row, now_s: float) -> dict[str, Any]:
        state, age_s = row.film.state, max(0.0, now_s - row.grew_s)
        told: dict[str, Any] = {"station": station, "order": math.inf, "silent": False, "frame": "", "head": "", "hand": "", "fault": ""}
        told |= {"recipe": "", "developer": "", "word": sentences.CLASS_WORD.format(age=format_duration(float(int(age_s))))}
        if state is not None:
            over = row.film.closed
            slots = of_closed(state, row.film.session, row.film.developed, "") if over else of_session(state, row.film.points, "")
            figures = figures_of(state, age_s)
            silent = not over and age_s > SILENT_S
            left_s = figures["to_pour_s"]
            if left_s is not None and left_s > 0 and age_s < SILENT_S:
                left_s = max(0.0, left_s - age_s)
            told |= {
                "head": slots.head, "hand": f"{slots.figure} {slots.verb}".strip(), "frame": slots.frame, "developer": slots.temperature,
                "recipe": state.name, "fault": fault_told(state) or "", "silent": silent,
                "order": 1e9 if over else 1e6 if left_s is None else left_s,
            }  # fmt: skip
            if silent:
                told["word"] = sentences.CLASS_SILENT.format(age=format_duration(float(int(age_s))))
        words = ("head", "hand", "developer", "fault", "word")
        told |= {name: typeset(one_line(str(told[name]))) for name in words}
        return {**told, "recipe": one_line(told["recipe"]), "order": min(told["order"], 1e9)}
