"""How a temperature is said to a person: in degrees Celsius, or in Fahrenheit where that is the person's own choice (contract, section 14).

Files, records, JSON and CSV hold Celsius and never pass through here. The choice is made once, when a program starts (`show_in`); a
temperature, a difference of two and a rate of change then come out in it, and a bare number typed at a prompt is read in it.
Where nobody has chosen a bare number is asked again: 68 may be meant in either.
1 C is 1.8 F, and 0 C is 32 F, exactly (the definition). Tests: tests/core/text/test_degrees.py.
"""

from __future__ import annotations

import re
from typing import Literal, get_args

from monitor.core.errors import InputWrong
from monitor.core.text.quantities import format_number, read_temperature, read_temperature_difference, shown

Unit = Literal["C", "F"]
UNITS: tuple[Unit, ...] = get_args(Unit)
PER_C, FREEZING_F = 1.8, 32.0


class _Choice:
    """The one choice of this process."""

    unit: Unit = "C"
    made = False


def show_in(unit: Unit | None) -> None:
    """From now on people see and type this unit; None: nobody has chosen, so they see Celsius, and what they type needs its unit."""
    _Choice.unit, _Choice.made = unit or "C", unit is not None


def unit_from(text: str, where: str) -> Unit:
    """ "C" or "F" as somebody wrote it; `where` for the message. Raises `InputWrong`."""
    for unit in UNITS:
        if text.strip().upper() == unit:
            return unit
    raise InputWrong(f"{where}: {shown(text)} is no unit of temperature; allowed: {' or '.join(UNITS)}")


def unit() -> Unit:
    """The unit that people see."""
    return _Choice.unit


def figure(celsius: float) -> float:
    """A temperature as a bare number in the unit shown, for an axis or a column whose heading names it."""
    return celsius if _Choice.unit == "C" else celsius * PER_C + FREEZING_F


def span(difference_c: float) -> float:
    """A difference of temperatures, or a change in a time, as a bare number in the unit shown."""
    return difference_c if _Choice.unit == "C" else difference_c * PER_C


def celsius_of(number: float) -> float:
    """The temperature in C that stands at this number of an axis in the unit shown."""
    return number if _Choice.unit == "C" else (number - FREEZING_F) / PER_C


def degrees(celsius: float, form: str = ".1f") -> str:
    """A temperature with its unit: "20.5 C", "68.9 F". `form` is a format of Python for the number."""
    return f"{figure(celsius):{form}} {_Choice.unit}"


def difference(difference_c: float, form: str = ".1f") -> str:
    """A difference with its unit: "0.5 C", "0.9 F"; with "+.1f" its sign. A rate is this and "a minute"."""
    return f"{span(difference_c):{form}} {_Choice.unit}"


def plain(celsius: float, places: int = 3) -> str:
    """A temperature without needless zeros: "20 C", "20.5 C", "68 F"."""
    return f"{format_number(figure(celsius), places)} {_Choice.unit}"


def plain_difference(difference_c: float, places: int = 3) -> str:
    """A difference without needless zeros: "0.5 C", "0.9 F"."""
    return f"{format_number(span(difference_c), places)} {_Choice.unit}"


def example(text: str) -> str:
    """An example that a person may type, given in C such as "20.1 C", in the unit shown, to its own number of places."""
    number = text.removesuffix(" C")
    places = len(number.partition(".")[2])
    return f"{figure(float(number)):.{places}f} {_Choice.unit}"


def typed_temperature(text: str) -> float:
    """Degrees Celsius typed at a prompt: "20.1 C", "68 F", or a bare number in the unit that was chosen. Raises `InputWrong`."""
    return read_temperature(_with_unit(text))


def typed_difference(text: str) -> float:
    """A difference in C typed at a prompt, such as "0.2 C", "0.4 F", or bare in the unit that was chosen. Raises `InputWrong`."""
    return read_temperature_difference(_with_unit(text))


def _with_unit(text: str) -> str:
    bare = _Choice.made and re.fullmatch(r"\s*[-+]?\d+(\.\d+)?\s*", text, re.ASCII)
    return f"{text.strip()} {_Choice.unit}" if bare else text


_BEFORE = "within |moved |up to |scatter |scatters by |off by |[+]/- |by |steps of "
_AFTER = " a minute| from the estimate| an hour| off| apart| away| above| below| too| worse| wrong"
_IN_TEXT = re.compile(
    rf"(?P<wanted>wanted )(?P<reference>\d+(?:\.\d+)?)(?= within)"
    rf"|(?P<before>{_BEFORE})?(?P<number>(?P<sign>[-+])?\d+(?:\.(?P<places>\d+))?) C\b(?P<after>{_AFTER})?"
)


def in_unit_shown(text: str) -> str:
    """A sentence of a record, which is in Celsius, in the unit shown. What is "within", "off", "a minute" or has a "+" is a difference."""
    return text if _Choice.unit == "C" else _IN_TEXT.sub(_converted, text)


def _converted(found: re.Match[str]) -> str:
    if found["wanted"]:
        return f"wanted {format_number(figure(float(found['reference'])), 1)}"
    before, after, number = found["before"] or "", found["after"] or "", float(found["number"])
    apart = bool(before or after or found["sign"] == "+")
    places = len(found["places"] or "") or int(apart and number != 0.0)
    sign = "+" if found["sign"] == "+" else ""
    return f"{before}{span(number) if apart else figure(number):{sign}.{places}f} {_Choice.unit}{after}"
