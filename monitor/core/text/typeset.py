"""How a page writes what a terminal writes in ASCII: degrees, minus and plus-minus signs. Tests: tests/review/pages/test_session.py."""

from __future__ import annotations

import re

_DEGREES = re.compile(r"(?<=\d) ([CF])(?![\w'])")
_MINUS = re.compile(r"(?<![\w.:])-(?=\d)")
_UNITS = re.compile(r"(?<=\d) (?=(?:s|%|min|h|ml)(?!\w))")
_PLUS_MINUS = re.compile(r"\+/- ?")


def typeset(text: str) -> str:
    """Our own sentences with °C, ± and −. Names that people gave are not to go through here."""
    return _UNITS.sub("\u00a0", _MINUS.sub("−", _DEGREES.sub("\u00a0°\\1", _PLUS_MINUS.sub("±", text))))
