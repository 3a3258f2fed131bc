"""The films of an evening that are still to come: which is next in each vessel, kept on the disk for the next run of the station.

Decides nothing about when one is armed; `starting` does. A file that cannot be written or read is said, and costs nothing but the next
run's knowledge of it. Tests: tests/live/station/test_two_vessels.py.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.core.recipe.reader import recipe_from_data
from monitor.core.session.cues import Vessel
from monitor.live.clock import Clock
from monitor.live.station.running import FilmPlace, StartRequest

KEPT_FOR_S = 12 * 3600.0
"""An evening that was left for longer than this is not gone on with (own choice: a night)."""


class FilmsToCome:
    """In the order of the evening. `path`: where they are kept."""

    def __init__(self, path: Path, clock: Clock, say: Callable[[str], None]) -> None:
        self._path = path
        self._clock = clock
        self._say = say
        self._films: list[StartRequest] = []

    @property
    def films(self) -> tuple[StartRequest, ...]:
        """All of them."""
        return tuple(self._films)

    def next_in(self, vessel: Vessel) -> StartRequest | None:
        """The next one in this vessel."""
        return next((film for film in self._films if film.place is not None and film.place.number == vessel), None)

    def put(self, films: Sequence[StartRequest]) -> None:
        """These are to come, and nothing else."""
        self._films = list(films)
        self._keep()

    def taken(self, film: StartRequest) -> None:
        """It is armed."""
        self._films = [other for other in self._films if other is not film]
        self._keep()

    def load(self) -> None:
        """What an earlier run has left, if that was tonight."""
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            age_s = self._clock.wall().timestamp() - kept["wall_s"]
            if 0.0 <= age_s <= KEPT_FOR_S:
                self._films = [_read(film) for film in kept["films"]]
        except FileNotFoundError:
            return
        except Exception as wrong:  # whatever stands there, the station starts
            self._say(f"{self._path}: the films to come cannot be read ({type(wrong).__name__}); they have to be started anew")

    def _keep(self) -> None:
        try:
            if not self._films:
                self._path.unlink(missing_ok=True)
                return
            kept = {"wall_s": self._clock.wall().timestamp(), "films": [_told(film) for film in self._films]}
            fresh = self._path.with_suffix(".new")
            fresh.write_text(json.dumps(kept), encoding="utf-8")
            fresh.replace(self._path)
        except OSError as wrong:
            self._say(f"{self._path}: the films to come cannot be kept ({wrong.strerror}); after a restart they have to be started anew")


def _told(film: StartRequest) -> dict[str, Any]:
    place = None if film.place is None else film.place.fields()
    return {
        "recipe": dict(film.recipe.data), "evening": place, "lamp": film.lamp, "override_gate": film.override_gate,
        "vessel": film.vessel, "waived": film.waived, "solutions": [dict(row) for row in film.solutions], "rehearsal": film.rehearsal,
    }  # fmt: skip


def _read(told: Mapping[str, Any]) -> StartRequest:
    wanted = StartRequest(
        recipe_from_data(told["recipe"]), told["lamp"] is True, None, told["override_gate"], told["vessel"], told["waived"],
        tuple(told["solutions"]), told["rehearsal"] is True,
    )  # fmt: skip
    return replace(wanted, place=FilmPlace.read(told))
