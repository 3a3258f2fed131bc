"""Temperatures, durations, volumes and dilutions as text with units: the one place that reads and writes them.

A bare number is refused everywhere. Every refusal is a `QuantityWrong`, an `InputWrong` whose text is "what was read; what is allowed".
Inside the program a quantity is a float in the unit that its name carries (`_c`, `_s`, `_ml`).
Tests: tests/core/text/test_quantities.py.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from monitor.core.errors import InputWrong

ML_PER_US_FL_OZ = 29.5735295625
"""Exact: a US gallon is 231 cubic inches of 2.54 cm, a fluid ounce is its 128th part (NIST Handbook 44, appendix C)."""

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_TEMPERATURE = re.compile(rf"({_NUMBER})\s*(?:°\s*)?([CF])", re.ASCII)
_VOLUME = re.compile(rf"({_NUMBER})\s*(ml|l|fl\s+oz)", re.ASCII)
_DURATION = re.compile(r"(?:(\d+):)?(\d+):(\d\d)(\.\d+)?", re.ASCII)
_DILUTION = re.compile(r"1\s*\+\s*(\d+(?:\.\d+)?)", re.ASCII)
_RATIO = re.compile(r"(\d+(?:\.\d+)?)\s*:\s*(\d+(?:\.\d+)?)", re.ASCII)
_LONGEST = 40
"""No quantity needs more characters than this; longer numbers would only overflow."""

TEMPERATURE_ALLOWED = 'allowed: a number and its unit, such as "20 C", "20.5 C" or "68 F"'
DIFFERENCE_ALLOWED = 'allowed: a number and its unit, such as "0.5 C" or "1 F"'
DURATION_ALLOWED = 'allowed: "m:ss", "m:ss.s" or "h:mm:ss" with seconds 00-59, such as "10:00" or "1:02:30"'
VOLUME_ALLOWED = 'allowed: a number and its unit, such as "500 ml", "1 l" or "16 fl oz" (US)'
DILUTION_ALLOWED = 'allowed: "1+N", such as "1+31", or "stock"'


class QuantityWrong(InputWrong):
    """Text that is not the expected quantity: `what` was read and what is `allowed`, separately, for callers that add file and line."""

    def __init__(self, what: str, allowed: str) -> None:
        self.what = what
        self.allowed = allowed
        super().__init__(f"{what}; {allowed}")


def shown(value: object) -> str:
    """A value as an error message shows it, always on one line: text in quotes, long text shortened, a list or table by its kind alone."""
    if isinstance(value, str):
        text = "".join(c if c.isprintable() else "\ufffd" for c in value[:61])
        return f'"{text}"' if len(text) <= 60 else f'"{text[:57]}..."'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, int) and abs(value) > 10**30:
        return "a number of more than 30 digits"
    return str(value)[:60]


def _refuse(kind: str, text: object, allowed: str) -> QuantityWrong:
    return QuantityWrong(f"{shown(text)} is not a {kind}", allowed)


def _match(pattern: re.Pattern[str], text: object) -> re.Match[str] | None:
    """Match the whole text, ignoring spaces around it."""
    return pattern.fullmatch(text.strip()) if isinstance(text, str) and len(text) <= _LONGEST else None


def read_temperature(text: object) -> float:
    """Degrees Celsius from text such as "20.5 C" or "68 F". Raises `InputWrong`, also below absolute zero."""
    match = _match(_TEMPERATURE, text)
    if match is None:
        raise _refuse("temperature", text, TEMPERATURE_ALLOWED)
    number = float(match[1])
    celsius = number if match[2] == "C" else (number - 32.0) / 1.8
    if not -273.15 <= celsius <= 1000.0:
        raise _refuse("temperature", text, "allowed: from -273.15 C to 1000 C")
    return celsius


def read_temperature_difference(text: object) -> float:
    """A temperature difference (a band, an offset) in C from text such as "0.5 C" or "1 F", which is 5/9 C. Raises `InputWrong`."""
    match = _match(_TEMPERATURE, text)
    if match is None:
        raise _refuse("temperature difference", text, DIFFERENCE_ALLOWED)
    number = float(match[1])
    difference_c = number if match[2] == "C" else number / 1.8
    if abs(difference_c) > 1000.0:
        raise _refuse("temperature difference", text, "allowed: up to 1000 C")
    return difference_c


def read_duration(text: object) -> float:
    """Seconds from text such as "10:00", "0:15.5" or "1:02:30". Raises `InputWrong`."""
    match = _match(_DURATION, text)
    if match is None:
        raise _refuse("duration", text, DURATION_ALLOWED)
    hours, minutes, seconds = int(match[1] or 0), int(match[2]), int(match[3])
    if seconds > 59 or (match[1] is not None and (minutes > 59 or len(match[2]) != 2)):
        raise _refuse("duration", text, DURATION_ALLOWED)
    return hours * 3600 + minutes * 60 + seconds + float(match[4] or 0.0)


def read_volume(text: object) -> float:
    """Millilitres from text such as "500 ml", "1 l" or "16 fl oz" (US). Raises `InputWrong`; negative is refused."""
    match = _match(_VOLUME, text)
    if match is None:
        raise _refuse("volume", text, VOLUME_ALLOWED)
    number = float(match[1])
    if number < 0:
        raise _refuse("volume", text, "allowed: not below zero")
    return number * {"ml": 1.0, "l": 1000.0}.get(match[2], ML_PER_US_FL_OZ)


@dataclass(frozen=True, slots=True)
class Dilution:
    """One part of stock to `parts_water` parts of water; 0 means undiluted stock. Exact."""

    parts_water: Fraction

    @property
    def stock_fraction(self) -> Fraction:
        """Fraction of stock in the whole; above 0, at most 1."""
        return 1 / (1 + self.parts_water)

    def __str__(self) -> str:
        return "stock" if self.parts_water == 0 else f"1+{format_number(float(self.parts_water))}"


def read_dilution(text: object) -> Dilution:
    """A `Dilution` from "1+31" or "stock". "1:31" is refused, naming the two things it could mean."""
    if isinstance(text, str):
        if text.strip().lower() == "stock":
            return Dilution(Fraction(0))
        match = _match(_DILUTION, text)
        if match is not None:
            return Dilution(Fraction(match[1]))
        ratio = _match(_RATIO, text)
        if ratio is not None and float(ratio[1]) == 1:
            whole = Fraction(ratio[2])
            second = f'or "1+{format_number(float(whole - 1))}" (1 part in {ratio[2]} altogether)' if whole > 1 else 'or "stock"'
            first = f'"1+{ratio[2]}" (1 part and {ratio[2]} parts of water)'
            raise QuantityWrong(f"{shown(text)} can mean two things", f"allowed: {first} {second}")
    raise _refuse("dilution", text, DILUTION_ALLOWED)


def format_number(value: float, places: int = 3) -> str:
    """A plain decimal number without trailing zeros, to at most `places` decimal places."""
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def format_temperature(celsius: float, places: int = 1) -> str:
    """Such as "20.5 C"."""
    return f"{celsius:.{places}f} C"


def format_duration(seconds: float, places: int = 0) -> str:
    """Such as "10:00", "0:15.5" (places 1) or "1:02:30"; hours are shown from one hour on. Rounded only once, so "0:60" cannot occur."""
    if not math.isfinite(seconds):
        return "never"
    scale = 10**places
    units = round(abs(seconds) * scale)
    sign = "-" if seconds < 0 and units else ""
    whole, fraction = divmod(units, scale)
    minutes, second = divmod(whole, 60)
    tail = f".{fraction:0{places}d}" if places else ""
    if minutes >= 60:
        return f"{sign}{minutes // 60}:{minutes % 60:02d}:{second:02d}{tail}"
    return f"{sign}{minutes}:{second:02d}{tail}"


def format_volume(volume_ml: float) -> str:
    """Such as "484 ml" or "1.5 l"; one decimal below 100 ml."""
    if volume_ml >= 1000:
        return f"{format_number(volume_ml / 1000, 2)} l"
    return f"{format_number(volume_ml, 1 if volume_ml < 100 else 0)} ml"
