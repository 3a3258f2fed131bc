"""Text for a person at a terminal, folded to its width; what goes into a pipe stays as it is, a line for each fact.

Tests: tests/core/text/test_fold.py.
"""

from __future__ import annotations

import os
import shutil
import sys

from monitor.core.text.fold import fold


def fitted(text: str) -> str:
    """`text` as it is written to standard output: folded where that is a terminal, or where COLUMNS says how wide it is to be."""
    if not (sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdecimal()):
        return text
    width = shutil.get_terminal_size().columns
    return "".join(f"{part}\n" for line in text.splitlines() for part in fold(line, width)) if text else text
