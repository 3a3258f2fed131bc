"""tests/board/run --bench: a hundred power cuts aimed at the writes of a running session.

One session is played on a card that writes down every write and every flush (`card`). Then, for a hundred places between two flushes, the
card is made as a cut there can leave it: all that was flushed, and of the rest any part. On each the file system replays its own journal
(e2fsck), and the program's own finder of unfinished sessions looks at what there is. What was told safe must be there; a torn last line is
allowed. Some of the cards are booted, and the real station must take the session up.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from tests.board.card import Gap, gaps, kept, put, tell
from tests.board.machine import JOURNALS, Board
from tests.board.making import PROJECT, Made, cache, run, say

PLAYED_S = 90.0
BOOTED = 3
"""So many of the cards are booted."""


@dataclass
class Cut:
    """What one cut did. `lost`: records that had been told safe and are gone; `resumed`: whether the session is found and can go on."""

    sectors: int
    sectors_lost: int
    lost: int
    resumed: bool
    wrong: str = ""


def play(made: Made) -> tuple[Path, str]:
    """A session on the card that writes down: (the log, the session's name)."""
    with Board(made, "written-down") as board:
        log, path = board.folder / "log", board.folder / "card.sock"
        words = [sys.executable, "-m", "tests.board.card", str(board.card), str(path), str(log)]
        server = subprocess.Popen(words, cwd=PROJECT)
        try:
            while not path.exists():
                time.sleep(0.05)
            board.drive = f"driver=nbd,server.type=unix,server.path={path},cache.direct=off"
            board.power_on()
            session = board.arm("long.toml")
            board.begin(session)
            end_s = time.monotonic() + PLAYED_S
            while time.monotonic() < end_s:
                in_the_file = int(board.sh(f"wc -l < {JOURNALS}/{session}.jsonl"))
                tell(log, in_the_file - int(board.status()["unsafe_records"]))  # asked later, so no less than these are safe
                time.sleep(0.5)
        finally:
            board.power_cut()
            server.kill()
            server.wait()
    return log, session


def look(image: Path, gap: Gap, session: str) -> tuple[int, bool, str]:
    """What stands on a card after a cut: (records told safe that are gone, whether the session is found, what is wrong)."""
    out, undo = image.parent / "left", image.parent / "undo"
    shutil.rmtree(out, ignore_errors=True)
    undo.unlink(missing_ok=True)
    out.mkdir()
    replayed = subprocess.run(["e2fsck", "-fy", "-z", undo, image], capture_output=True, check=False, text=True)
    try:
        if replayed.returncode > 1:
            return 0, False, f"e2fsck ended with {replayed.returncode}: {replayed.stdout[-300:]}"
        run("debugfs", "-R", f"rdump {JOURNALS} {out}", image)
    finally:
        if undo.exists():
            run("e2undo", undo, image)
    journals = out / Path(JOURNALS).name
    file = journals / f"{session}.jsonl"
    if not file.exists():
        return gap.told, False, "no journal" if gap.told else ""
    whole = file.read_bytes()
    lines = whole[: whole.rfind(b"\n") + 1].splitlines()
    try:
        seqs = [json.loads(line)["seq"] for line in lines]
    except ValueError as wrong:
        return 0, False, f"a whole line is no record: {wrong}"
    if seqs != list(range(1, len(seqs) + 1)):
        return 0, False, "seq has a gap"
    from monitor.live.station.unfinished import unfinished_sessions

    told: list[str] = []
    found = unfinished_sessions(journals, told.append)
    return max(0, gap.told - len(seqs)), [one.session for one in found] == [session], "; ".join(told)


def replay(made: Made, log: Path, session: str, count: int, seed: int) -> tuple[list[Cut], list[Path]]:
    """Make the cards and look at each; the last few are kept, to be booted."""
    chance = random.Random(seed)
    image = log.parent / "replayed.img"
    subprocess.run(["cp", "--sparse=always", made.card, image], check=True)
    places = [number for number, gap in enumerate(gaps(log)) if gap.told and gap.writes]
    chosen = set(chance.sample(places, min(count, len(places))))
    booted = set(sorted(chosen)[:: max(1, len(chosen) // BOOTED)][:BOOTED])
    cuts, cards = [], []
    opened = os.open(image, os.O_RDWR)
    for number, gap in enumerate(gaps(log)):
        sectors = gap.sectors()
        if number in chosen:
            stays = kept(sectors, chance)
            before = put(opened, stays)
            os.fsync(opened)
            if number in booted:
                card = log.parent / f"cut-{number}.img"
                subprocess.run(["cp", "--sparse=always", image, card], check=True)
                cards.append(card)
            lost, resumed, wrong = look(image, gap, session)
            put(opened, before)
            cuts.append(Cut(len(sectors), len(sectors) - len(stays), lost, resumed, wrong))
        put(opened, sectors)
    os.close(opened)
    image.unlink()
    return cuts, cards


def boot(made: Made, card: Path, session: str) -> str:
    """Boot a card that a cut left: the station must take the session up. Says how it went."""
    with Board(made, f"booted-{card.stem}") as board:
        shutil.move(card, board.card)
        board.power_on()
        board.until(f"cat {JOURNALS}/{session}.jsonl", '"event":"resume"', 120.0)
        board.until(f"cat {JOURNALS}/{session}.jsonl", '"cue":"fault"', 60.0)
    return "resumed, FAULT sounded"


def bench(made: Made, count: int = 100, seed: int = 7) -> bool:
    """Play, cut, look; print the table. Whether nothing was lost and nothing refused."""
    log, session = play(made)
    flushes = sum(1 for _ in gaps(log)) - 1
    say(f"{session}: {flushes} flushes, {log.stat().st_size / 1e6:.1f} MB written")
    cuts, cards = replay(made, log, session, count, seed)
    for cut in cuts:
        if cut.wrong and (cut.lost or not cut.resumed):
            say(f"  {cut.wrong}")
    for card in cards:
        say(f"booting {card.stem}: {boot(made, card, session)}")
    print(f"cuts {len(cuts)}; between flushes {flushes}")
    print(f"sectors not flushed at the cut: {sum(cut.sectors for cut in cuts)}, lost {sum(cut.sectors_lost for cut in cuts)}")
    print(f"records told safe and lost: {sum(cut.lost for cut in cuts)}; resumes refused: {sum(not cut.resumed for cut in cuts)}")
    print(f"booted: {len(cards)}, FAULT after each resume")
    shutil.rmtree(cache() / "runs" / "written-down", ignore_errors=True)
    return not any(cut.lost or not cut.resumed for cut in cuts)
