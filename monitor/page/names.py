"""What a phone is told of files: their names, never the folders of the station's machine. Tests: tests/page/test_desk.py."""

from __future__ import annotations

import re
from pathlib import Path


def names_only(text: str, *folders: Path) -> str:
    """The text with each file in these folders called by its name alone, and the folders themselves by theirs."""
    for folder in sorted({path for one in folders for path in (str(one), str(one.absolute()), str(one.resolve()))}, key=len, reverse=True):
        if folder.startswith("/") and folder != "/":
            text = re.sub(rf"{re.escape(folder)}/(?:[\w.+-]+/)*", "", text).replace(folder, Path(folder).name)
    return text
