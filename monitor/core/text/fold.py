"""Lines folded to a width, hanging under their own beginning: below a number or a dash, else two columns in. Pure.

Tests: tests/core/text/test_fold.py.
"""

from __future__ import annotations

import re
from textwrap import wrap

NARROWEST = 40
"""Below this nothing is folded any narrower: a choice."""
_BEGINNING = re.compile(r"(\s*)((?:\d+\.\s+|(?:\d+|-)\s{2,}|-\s)?)")


def fold(line: str, width: int) -> list[str]:
    """The line as lines of at most `width` columns (at least `NARROWEST`); a word that is longer stays whole."""
    width = max(NARROWEST, width)
    if len(line) <= width:
        return [line]
    found = _BEGINNING.match(line)
    indent, mark = ("", "") if found is None else found.groups()
    hanging = " " * (len(indent) + (len(mark) or 2))
    return wrap(line, width, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)
