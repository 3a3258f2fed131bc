"""The films of an evening that are still to come: which is next in each vessel and when its turn comes, kept on the disk for the next run
of the station.

Arms nothing; `in_turn` does. A file that cannot be written or read is said, and costs nothing but the next run's knowledge of it.
Tests: tests/live/station/test_two_vessels.py, tests/live/station/test_armed_in_turn.py.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.core.evening.turns import Turn, Turns
from monitor.core.recipe.reader import recipe_from_data
from monitor.core.session.sounds import Vessel
from monitor.live.clock import Clock
from monitor.live.station.running import FilmPlace, Running, StartRequest

KEPT_FOR_S = 12 * 3600.0
"""An evening that was left for longer than this is not gone on with (own choice: a night)."""


class FilmsToCome:
    """In the order of the evening. `path`: where they are kept."""

    def __init__(self, path: Path, clock: Clock, say: Callable[[str], None]) -> None:
        self._path = path
        self._clock = clock
        self._say = say
        self._films: list[StartRequest] = []
        self._turns = Turns(0.0, ())

    @property
    def films(self) -> tuple[StartRequest, ...]:
        """All of them."""
        return tuple(self._films)

    def next_in(self, vessel: Vessel) -> StartRequest | None:
        """The next one in this vessel."""
        return next((film for film in self._films if film.place is not None and film.place.number == vessel), None)

    def arms_itself(self, film: StartRequest) -> bool:
        """Whether it is the first one in its vessel, which stands loaded since before the evening began; any other one is armed by foot,
        when it is loaded."""
        return film.place is not None and self._turns.before(film.place.film) is None

    def arm_s(self, film: StartRequest) -> float | None:
        """The monotonic moment at which its turn to be armed comes, -inf for at once; None while that is not known."""
        return None if film.place is None else self._turns.arm_s(film.place.film)

    def begin_s(self, place: FilmPlace | None, running: Sequence[Running] = ()) -> float | None:
        """The monotonic moment at which this film is planned to begin, by what the films that run forecast; None where nothing says."""
        if place is None or place.film > len(self._turns.films):
            return None
        ends = {film.place.film: film.over_s for film in running if film.place is not None}
        begin_s = self._turns.start_s(place.film, {number: over_s for number, over_s in ends.items() if over_s is not None})
        return None if begin_s is None or math.isinf(begin_s) else begin_s

    def put(self, evening: Sequence[StartRequest]) -> None:
        """These are an evening's films, of which the first one is armed; none: nothing is to come any more."""
        self._films = list(evening[1:])
        turns = [Turn(1 if film.place is None else film.place.number, film.start_s) for film in evening]
        self._turns = Turns(evening[0].between_s if evening else 0.0, turns)
        self._keep()

    def taken(self, film: StartRequest) -> None:
        """It is armed."""
        self._films = [other for other in self._films if other is not film]
        self._keep()

    def follow(self, running: Sequence[Running], now_s: float) -> None:
        """What has begun, and what is over: what neither runs nor is to come."""
        before = self._turns.told
        begun_s, over_s = before
        here = {film.place.film: film for film in running if film.place is not None}
        to_come = {film.place.film for film in self._films if film.place is not None}
        for number in range(1, len(self._turns.films) + 1):
            began_s = here[number].began_s if number in here else None
            if began_s is not None and began_s != begun_s.get(number):
                self._turns.began(number, began_s)
            elif number not in here and number not in to_come and number not in over_s:
                self._turns.ended(number, now_s)
        if self._films and self._turns.told != before:
            self._keep()

    def load(self) -> None:
        """What an earlier run has left, if that was tonight. A board without a battery clock wakes with an earlier time than it had."""
        try:
            kept = json.loads(self._path.read_text(encoding="utf-8"))
            age_s = self._clock.wall().timestamp() - kept["wall_s"]
            if abs(age_s) > KEPT_FOR_S:
                self._say(f"{self._path}: the films to come are {abs(age_s) / 3600.0:.0f} hours old; they have to be started anew")
                return
            films = [_read(film) for film in kept["films"]]
            self._turns = self._turns_of(kept["turns"], max(0.0, age_s))
            self._films = films
        except FileNotFoundError:
            return
        except Exception as wrong:  # whatever stands there, the station starts
            self._say(f"{self._path}: the films to come cannot be read ({type(wrong).__name__}); they have to be started anew")

    def _turns_of(self, kept: Mapping[str, Any], age_s: float) -> Turns:
        """After another boot what was on the old boot's clock is put on the new one's by the wall clock, which is a label: a plan moves by
        what that is wrong, no film does."""
        turns = Turns(kept["between_s"], [Turn(film["vessel"], film["start_s"]) for film in kept["films"]])
        moved_s = 0.0 if kept["boot_id"] == self._clock.boot_id() else self._clock.mono_s() - age_s - kept["mono_s"]
        for number, t_s in kept["begun_s"].items():
            turns.began(int(number), t_s + moved_s)
        for number, t_s in kept["over_s"].items():
            turns.ended(int(number), t_s + moved_s)
        return turns

    def _keep(self) -> None:
        try:
            if not self._films:
                self._path.unlink(missing_ok=True)
                return
            begun_s, over_s = self._turns.told
            turns = {
                "between_s": self._turns.between_s, "boot_id": self._clock.boot_id(), "mono_s": self._clock.mono_s(),
                "films": [{"vessel": turn.vessel, "start_s": turn.start_s} for turn in self._turns.films],
                "begun_s": dict(begun_s), "over_s": dict(over_s),
            }  # fmt: skip
            kept = {"wall_s": self._clock.wall().timestamp(), "films": [_told(film) for film in self._films], "turns": turns}
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
