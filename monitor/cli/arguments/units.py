"""Which unit of temperature people see: the person's own choice, else the station's, else Celsius (contract, section 14).

Tests: tests/cli/test_units.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from monitor.core.errors import EvenbathError
from monitor.core.text.degrees import Unit, show_in, unit_from
from monitor.prepare.state.folder import station_units


@contextmanager
def chosen(own: str | None, station_file: str | None) -> Iterator[None]:
    """For one command: `own`, the text of EVENBATH_UNITS, where there is one; else what the station file says.

    Raises `InputWrong` for what is no unit. A station file that cannot be read is left to the command that needs it.
    """
    show_in(unit_from(own, "EVENBATH_UNITS") if own else _of(station_file))
    try:
        yield
    finally:
        show_in(None)


def _of(station_file: str | None) -> Unit | None:
    try:
        return None if station_file is None else station_units(station_file)
    except EvenbathError:
        return None
