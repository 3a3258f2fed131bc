"""Writes a page for every command that makes one. Tests: tests/cli/test_card.py, tests/cli/test_label.py."""

from __future__ import annotations

from pathlib import Path

from monitor.core.errors import InputWrong


def write_page(option: str, name: str, page: str) -> None:
    """Write the page. A name that does not end in .html is refused, so that no recipe is overwritten by mistake. Raises `InputWrong`."""
    if not name.endswith((".html", ".htm")):
        raise InputWrong(f"{option} {name}: not a page; allowed: a name that ends in .html")
    try:
        Path(name).write_text(page, encoding="utf-8")
    except (OSError, ValueError) as wrong:
        why = wrong.strerror if isinstance(wrong, OSError) else "not a valid path"
        raise InputWrong(f"{option} {name}: cannot be written ({why}); allowed: a file in a writable folder") from None
