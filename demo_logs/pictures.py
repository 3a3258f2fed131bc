"""Draws the picture of each demo journal: that of its report, made to stand alone. `make.py` calls it; so can you.

`python demo_logs/pictures.py` writes NAME.svg beside NAME.jsonl. The report itself has more: `evenbath review NAME.jsonl --report`.
A test (tests/test_demo_logs.py) says when a picture is not that of its journal any more.
"""

from __future__ import annotations

import hashlib
import shutil
import struct
import subprocess
import sys
import tempfile
import zlib
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import make  # beside this file
import still  # beside this file

from monitor.cli.arguments.recipe_file import open_evening
from monitor.cli.main import main as evenbath
from monitor.core.drawing.strips import alone
from monitor.live.view.layout import render
from monitor.live.view.state import Watched
from monitor.prepare.evening.clashes import clashes
from monitor.prepare.evening.hands import moments
from monitor.prepare.evening.picture import picture_alone
from monitor.prepare.evening.planned import planned
from monitor.prepare.evening.timeline import StageTime
from monitor.prepare.paper.card import card_html
from monitor.review.load import load
from monitor.review.measures import measure
from monitor.review.pages.session import pictures_of

HERE = Path(__file__).parent
LIVE = HERE / "live-two-tanks"
"""Played on a rig, not made: tests/benchmarks/live_evening.py."""
ONE_EVENING = "02-probe-knocked-out"
"""The evening whose picture and live view stand in the README."""
STILL_AT_S, COLUMNS, ROWS = 510.0, 100, 26
"""Eight and a half minutes into its development: the probe is not believed, and the time goes on."""

CARD_PX, CARD_SCALE = (794, 1060), 0.8
"""The width of A4 in CSS px, and as much of its height as the card fills."""
DIGEST, PNG_HEAD = "page-sha256", 8 + 25
"""A PNG begins with its signature and its IHDR chunk."""


def drawn_of(path: Path) -> str:
    """The picture of this journal as it stands in its report, for a desk."""
    journal = load(path)
    drawn = pictures_of(journal, measure(journal))
    if not drawn:
        raise SystemExit(f"{path}: no picture in its report")
    return drawn[0][0]


def picture(path: Path) -> str:
    """The picture of this journal as a file of its own, in the colours that its reader prefers."""
    return alone(drawn_of(path), None)


def for_readme() -> dict[str, str]:
    """The pictures of the README by their names in this folder."""
    drawn = drawn_of(HERE / f"{ONE_EVENING}.jsonl")
    return {"evening-light.svg": alone(drawn, False), "evening-dark.svg": alone(drawn, True), "live-view.svg": live_view()}


def one_evening() -> make.Evening:
    """That of the README."""
    return next(e for e in make.EVENINGS if e.name == ONE_EVENING)


def card() -> str:
    """The page of the wall card of that evening."""
    return card_html(make.recipe_of(one_evening()))


def card_png() -> bytes | None:
    """The wall card as a small picture, with the digest of its page inside; None where there is no browser to draw it."""
    browser = shutil.which("chromium")
    if browser is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        page, drawn = Path(folder) / "card.html", Path(folder) / "card.png"
        page.write_text(card(), encoding="utf-8")
        size = (f"--window-size={CARD_PX[0]},{CARD_PX[1]}", f"--force-device-scale-factor={CARD_SCALE}")
        quiet = ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars")
        subprocess.run([browser, *quiet, *size, f"--screenshot={drawn}", page.as_uri()], check=True, capture_output=True, timeout=60)
        return with_text(drawn.read_bytes(), DIGEST, digest(card()))


def digest(page: str) -> str:
    """What a picture of this page carries, so that a test can tell whether it is still that of the page."""
    return hashlib.sha256(page.encode()).hexdigest()


def with_text(png: bytes, key: str, text: str) -> bytes:
    """A PNG with a chunk of text after its head (PNG specification, W3C, third edition, 11.3.3.2)."""
    body = b"tEXt" + key.encode("latin-1") + b"\0" + text.encode("latin-1")
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return png[:PNG_HEAD] + chunk + png[PNG_HEAD:]


def two_tanks() -> str:
    """The timeline of the evening with two tanks."""
    return picture_alone(planned(open_evening(str(HERE / "two-tanks.toml")), {}, date(2026, 2, 14)))


def both_tanks() -> str:
    """The timeline of the evening with both tanks as it went."""
    return as_it_went(HERE / f"{make.TWO}.toml", reports()[HERE / f"{make.TWO}.html"])


def live_tanks() -> str:
    """The same of the evening on the rig."""
    return as_it_went(LIVE / "evening.toml", live_journals())


def reports() -> dict[Path, list[Path]]:
    """The reports of whole evenings, each with its journals."""
    both = [HERE / f"{make.TWO}-{number}.jsonl" for number in make.TWO_SESSIONS]
    return {HERE / f"{make.TWO}.html": both, LIVE / "report.html": live_journals()}


def live_journals() -> list[Path]:
    """Those of the evening on the rig, film by film."""
    return sorted(LIVE.glob("*.jsonl"), key=lambda path: int(load(path).opening["evening"]["film"]))


def as_it_went(file: Path, journals: list[Path]) -> str:
    """The timeline of an evening: the moments and the clashes are those of its journals, not of its plan. Live journals count from their
    arming; `mono0_s` puts them on one clock, which begins with the first film."""
    plan = planned(open_evening(str(file)), {}, date(2026, 11, 27))
    films = []
    zero_s = None
    for film, path in zip(plan.films, journals, strict=True):
        journal = load(path)
        armed_s = journal.opening.get("mono0_s", 0.0)
        begun = {r["stage"]: armed_s + r["t_s"] for r in reversed(journal.of("stage")) if r["event"] == "begin"}
        begun |= {r["stage"]: armed_s + r["begin_t_s"] for r in journal.of("correction")}
        zero_s = begun[1] if zero_s is None and "mono0_s" in journal.opening else zero_s or 0.0
        begins = [begun[number] - zero_s for number in sorted(begun)]
        ends = [*begins[1:], armed_s + journal.of("session")[-1]["t_s"] - zero_s]
        stages = tuple(StageTime(at.stage, b, e, {}, {}) for at, b, e in zip(film.stages, begins, ends, strict=True))
        films.append(replace(film, start_s=begins[0], stages=stages))
    hands = moments(films)
    return picture_alone(replace(plan, films=tuple(films), moments=hands, clashes=clashes(hands)))


def live_view() -> str:
    """The live view of that evening, as a terminal of 100 columns shows it."""
    written: list[dict[str, Any]] = []
    play = make.opened(one_evening(), written.append)
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
    for path in sorted((*HERE.glob("*.jsonl"), *LIVE.glob("*.jsonl"))):
        path.with_suffix(".svg").write_text(picture(path), encoding="utf-8")
        sys.stdout.write(f"{path.stem}.svg\n")
    drawn = card_png()
    if drawn is None:
        sys.stderr.write("no chromium here: wall-card.png is left as it is\n")
    else:
        (HERE / "wall-card.png").write_bytes(drawn)
    for name, text in {**for_readme(), "two-tanks.svg": two_tanks(), f"{make.TWO}.svg": both_tanks()}.items():
        (HERE / name).write_text(text, encoding="utf-8")
        sys.stdout.write(f"{name}\n")
    (LIVE / "evening.svg").write_text(live_tanks(), encoding="utf-8")
    return max(evenbath(["review", *map(str, journals), "--report", str(report)]) for report, journals in reports().items())


if __name__ == "__main__":
    sys.exit(main())
