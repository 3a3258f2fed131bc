"""Draws the picture of each demo journal: that of its report, made to stand alone. `make.py` calls it; so can you.

`python demo_logs/pictures.py` writes NAME.svg beside NAME.jsonl. The report itself has more: `evenbath review NAME.jsonl --report`.
A test (tests/test_demo_logs.py) says when a picture is not that of its journal any more.
"""

from __future__ import annotations

import sys
from pathlib import Path

from monitor.core.drawing.strips import alone
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.pages.session import pictures_of

HERE = Path(__file__).parent


def picture(path: Path, dark: bool | None = None, wide: bool = True) -> str:
    """The picture of this journal as a file of its own. `dark`: with these colours, None: as its reader prefers; `wide`: for a desk."""
    journal = load(path)
    drawn = pictures_of(journal, measure(journal))
    if not drawn:
        raise SystemExit(f"{path}: no picture in its report")
    return alone(drawn[0][0 if wide else 1], dark)


def main() -> int:
    """All of them."""
    for path in sorted(HERE.glob("*.jsonl")):
        path.with_suffix(".svg").write_text(picture(path), encoding="utf-8")
        sys.stdout.write(f"{path.stem}.svg\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
