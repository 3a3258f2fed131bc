"""Draws the picture of each demo journal: that of its report, made to stand alone. `make.py` calls it; so can you.

`python demo_logs/pictures.py` writes NAME.svg beside NAME.jsonl. The report itself has more: `evenbath review NAME.jsonl --report`.
A test (tests/test_demo_logs.py) says when a picture is not that of its journal any more.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import make  # beside this file
import still  # beside this file

from monitor.core.drawing.strips import alone
from monitor.live.view.layout import render
from monitor.live.view.state import Watched
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.pages.session import pictures_of

HERE = Path(__file__).parent
ONE_EVENING = "02-probe-knocked-out"
"""The evening whose picture and live view stand in the README."""
STILL_AT_S, COLUMNS, ROWS = 510.0, 100, 26
"""Eight and a half minutes into its development: the probe is not believed, and the time goes on."""


def picture(path: Path, dark: bool | None = None, wide: bool = True) -> str:
    """The picture of this journal as a file of its own. `dark`: with these colours, None: as its reader prefers; `wide`: for a desk."""
    journal = load(path)
    drawn = pictures_of(journal, measure(journal))
    if not drawn:
        raise SystemExit(f"{path}: no picture in its report")
    return alone(drawn[0][0 if wide else 1], dark)


def for_readme() -> dict[str, str]:
    """The pictures of the README by their names in this folder."""
    path = HERE / f"{ONE_EVENING}.jsonl"
    return {"evening-light.svg": picture(path, False), "evening-dark.svg": picture(path, True), "live-view.svg": live_view()}


def live_view() -> str:
    """The live view of that evening, as a terminal of 100 columns shows it."""
    evening = next(e for e in make.EVENINGS if e.name == ONE_EVENING)
    written: list[dict[str, Any]] = []
    play = make.opened(evening, written.append)
    watched = Watched(play.recipe, "live")
    while play.session.snapshot.began_s is None or play.rehearsal.t_s < play.session.snapshot.began_s + STILL_AT_S:
        play.rehearsal.step()
        while written:
            watched.record(written.pop(0))
        watched.snapshot(play.session.snapshot)
    lines = render(watched.state, watched.trace, COLUMNS, ROWS)
    return still.svg(lines, COLUMNS, "The live view while a probe is not believed: stage, time to pour off, rails, temperatures, trust")


def main() -> int:
    """All of them."""
    for path in sorted(HERE.glob("*.jsonl")):
        path.with_suffix(".svg").write_text(picture(path), encoding="utf-8")
        sys.stdout.write(f"{path.stem}.svg\n")
    for name, text in for_readme().items():
        (HERE / name).write_text(text, encoding="utf-8")
        sys.stdout.write(f"{name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
