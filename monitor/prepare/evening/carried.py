"""A factor that a clip has shown, carried into the file of an evening: the last film's, everything else as it stands. Pure.

Tests: tests/prepare/evening/test_carried.py.
"""

from __future__ import annotations

import re

from monitor.core.evening.values import Evening, Film

_TABLE = re.compile(r"^\s*\[\[\s*film\s*\]\]")
_FACTOR = re.compile(r"^(\s*factor\s*=\s*)[^#\s]+")
_OTHER = re.compile(r"^\s*\[")


def carried(text: str, evening: Evening, clip_factor: float) -> tuple[str, Film, float]:
    """The file's text with the last film's factor set, that film as it was, and the factor: so many times that of the film before, which
    was the clip. The evening must have two films at least."""
    clip, film = evening.films[-2:]
    factor = round(clip.factor * clip_factor, 3)
    lines = text.split("\n")
    begin = [i for i, line in enumerate(lines) if _TABLE.match(line)][-1]
    end = next((i for i in range(begin + 1, len(lines)) if _OTHER.match(lines[i])), len(lines))
    there = next((i for i in range(begin + 1, end) if _FACTOR.match(lines[i])), None)
    if there is None:
        last = max(i for i in range(begin, end) if lines[i].strip())
        lines.insert(last + 1, f"factor = {factor:g}")
    else:
        lines[there] = _FACTOR.sub(rf"\g<1>{factor:g}", lines[there])
    return "\n".join(lines), film, factor
