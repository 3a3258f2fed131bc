"""tests/board/run: the verdict of the virtual board.

Exit status 0: all held. 1: something did not. 77: the board cannot be made here, and a sentence says what is missing. The last line is a
figure. What was made stays in a cache, so a second run begins with the first case.
"""

from __future__ import annotations

import argparse
import shutil
import time
import traceback
from collections.abc import Sequence

from tests.board.cases import CASES
from tests.board.making import CannotBeMade, cache, make, say

HELD, FAILED, SKIPPED = 0, 1, 77


def main(words: Sequence[str]) -> int:
    """Make it, try all, tidy."""
    parser = argparse.ArgumentParser(prog="tests/board/run", description=(__doc__ or "").split("\n\n")[1])
    names = ", ".join(case.__name__ for case in CASES)
    parser.add_argument("cases", nargs="*", metavar="CASE", help=f"only these, by a part of their name: {names}")
    parser.add_argument("--suite", choices=("bookworm", "trixie"), default="bookworm", help="release of Debian on the board")
    parser.add_argument("--bench", type=int, nargs="?", const=100, metavar="CUTS", help="instead: so many power cuts (100) aimed at writes")
    parser.add_argument("--keep", action="store_true", help="keep consoles and logs of the runs")
    args = parser.parse_args(words)
    wanted = [case for case in CASES if not args.cases or any(part in case.__name__ for part in args.cases)]
    if not wanted:
        parser.error(f"no such case: {', '.join(args.cases)}")
    began_s = time.monotonic()
    try:
        made = make(args.suite)
    except CannotBeMade as missing:
        print(f"skipped: {missing}")
        return SKIPPED
    say(f"the board is made, after {time.monotonic() - began_s:.0f} s")
    if args.bench:
        from tests.board.cuts import bench

        return HELD if bench(made, args.bench) else FAILED
    failed = []
    for number, case in enumerate(wanted, 1):
        case_s = time.monotonic()
        name = case.__name__.replace("_", " ")
        try:
            told = f"held: {case(made)}"
        except Exception as wrong:
            failed.append(name)
            told = f"NOT HELD: {wrong}" if isinstance(wrong, AssertionError) else "NOT HELD:\n" + traceback.format_exc()
        say(f"{number}/{len(wanted)} {name}, {time.monotonic() - case_s:.0f} s: {told}")
    if not args.keep and not failed:
        shutil.rmtree(cache() / "runs", ignore_errors=True)
    for name in failed:
        print(f"not held: {name}")
    print(f"{len(wanted) - len(failed)} of {len(wanted)} cases held, {time.monotonic() - began_s:.0f} s")
    return FAILED if failed else HELD
