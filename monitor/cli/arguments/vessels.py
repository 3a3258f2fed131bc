"""Whether the vessels that an evening names are those of a station.

Tests: tests/cli/test_plan_evening.py, tests/cli/test_develop_evening.py.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from monitor.core.errors import FileWrong, Problem

if TYPE_CHECKING:
    from monitor.core.evening.values import Evening
    from monitor.live.station.station_file import StationConfig


def check_vessels(evening: Evening, config: StationConfig, file: str) -> None:
    """Raise `FileWrong` for each film of the evening in `file` whose vessel the station has not."""
    from monitor.live.station.requests import vessel_wrong

    wrong = [(film, told) for film in evening.films if (told := vessel_wrong(film.vessel, config.vessels)) is not None]
    if wrong:
        raise FileWrong(Problem(file, film.line, what, f"allowed: {allowed}") for film, (what, allowed) in wrong)
