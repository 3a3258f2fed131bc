"""Draws the picture of each demo journal: the first figure of its report, made to stand alone. Run after make.py.

`python demo_logs/pictures.py` writes NAME.svg beside NAME.jsonl. The report itself has more: `evenbath review NAME.jsonl --report`.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.report import session_page

HERE = Path(__file__).parent
STYLE = (
    "<style>svg{--ground:#fdfdfb;--ink:#16181a;--dim:#565b60;--first:#0b4f8a;--second:#8a3a00;--third:#1d6b35;--shade:#e4e8ee;"
    "background:#fdfdfb}</style>"
)


def picture(path: Path) -> str:
    """The first figure of the report of this journal, with its colours inside."""
    journal = load(path)
    found = re.search(r"<svg.*?</svg>", session_page(journal, measure(journal)), re.S)
    if found is None:
        raise SystemExit(f"{path}: no picture in its report")
    svg = found[0]
    names = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
    return svg.replace(">", f" {names}>{STYLE}", 1)


def main() -> int:
    """All of them."""
    for path in sorted(HERE.glob("*.jsonl")):
        path.with_suffix(".svg").write_text(picture(path) + "\n", encoding="utf-8")
        sys.stdout.write(f"{path.stem}.svg\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
