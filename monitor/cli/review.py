"""`evenbath review`: what happened, what was measured and what was only estimated. Joins monitor.review with the terminal.

Decides only what is printed where and the exit status: 2 as soon as one file has a problem (what can be shown is shown all
the same), 0 for a journal whose last record was cut off. Heavy imports stand inside the functions.
Tests: tests/cli/test_review.py.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.cli.arguments.session_names import add_state, find_journal, journals_folder
from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.review.load import Journal
    from monitor.review.measures import Review


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    add_state(parser)
    told = "the id of a session or its end, a SESSION.jsonl, or a folder of them"
    parser.add_argument("journals", nargs="+", metavar="SESSION|JOURNAL", help=told)
    shown = parser.add_mutually_exclusive_group()
    shown.add_argument("--json", action="store_true", help="one JSON object a session, a line each")
    shown.add_argument("--check", action="store_true", help="recompute everything from the raw records and say what does not agree")
    shown.add_argument("--compare", action="store_true", help="a table of differences, aligned at the begin of development")
    shown.add_argument("--season", action="store_true", help="one line a session, by date")
    parser.add_argument("--long", action="store_true", help="below the five rows everything in sentences")
    parser.add_argument(
        "--report", type=Path, metavar="FILE.html", help="write one self-contained page; several journals make a comparison"
    )
    parser.add_argument(
        "--csv", type=Path, metavar="FILE.csv", help="write the table behind the %% (one journal) or one line a stage (several)"
    )
    parser.add_argument("--parquet", type=Path, metavar="FILE.parquet", help="the same table as Parquet (needs pyarrow)")


def run(args: argparse.Namespace) -> int:
    """Returns the exit status. Raises `InputWrong` for what cannot be opened."""
    from monitor.review.load import journal_files

    folder = journals_folder(args)
    files = list(journal_files(find_journal(name, folder) for name in args.journals))
    _refuse_overwriting(args, files)
    for out in (args.report, args.csv, args.parquet):
        if out is not None and not out.resolve().parent.is_dir():
            raise InputWrong(f"{out}: its folder does not exist; allowed: a file in a folder that exists")
    if args.parquet is not None:
        _need_pyarrow()
    if len(files) > 1 and (args.compare or args.season or args.report or args.csv or args.parquet):
        return _many(args, files)
    if args.season or args.compare:
        return _many(args, files)
    return _one_by_one(args, files)


def _refuse_overwriting(args: argparse.Namespace, files: list[Path]) -> None:
    inputs = {f.resolve() for f in files}
    for out in (args.report, args.csv, args.parquet):
        if out is not None and out.resolve() in inputs:
            raise InputWrong(f"{out}: is a journal that is being read; allowed: another file to write to")


def _need_pyarrow() -> None:
    import importlib.util

    if importlib.util.find_spec("pyarrow") is None:
        raise InputWrong("--parquet needs pyarrow, which is not installed; allowed: --csv, or: pip install pyarrow")


def _tell(problems: list[str]) -> int:
    for line in problems:
        sys.stderr.write(f"{line}\n")
    return 2 if problems else 0


def _one_by_one(args: argparse.Namespace, files: list[Path]) -> int:
    from monitor.review.load import load
    from monitor.review.measures import measure

    status, explained = 0, False
    for file in files:
        try:
            journal = load(file)
        except InputWrong as wrong:  # the other files of a folder are shown all the same
            status = max(status, _tell(list(wrong.lines)))
            continue
        review = measure(journal)
        numbers = review.numbers
        status = max(status, _tell(numbers.problems))
        if not numbers.session:  # nothing could be used
            continue
        if numbers.torn and args.json:
            sys.stderr.write(f"{numbers.torn}\n")
        if args.json:
            from monitor.review.export import as_json

            sys.stdout.write(json.dumps(as_json(numbers), ensure_ascii=False, allow_nan=False) + "\n")
        elif args.check:
            status = max(status, _check(journal, review))
        else:
            explained |= _say(journal, review, args.long, explained)
        _write_one(args, journal, review)
    return status


def _say(journal: Journal, review: Review, long: bool, explained: bool) -> bool:
    """What it came to and five rows; `long`: all of it in sentences below. What a per cent holds stands below the rows unless it is
    `explained` already; whether it was said is returned."""
    from monitor.core.text.doubt import PER_CENT_IS
    from monitor.review.answers import short_text, shows_per_cent
    from monitor.review.judgement import latest, read_judgements
    from monitor.review.summary import main_stages, sentences

    sys.stdout.write(short_text(review.numbers, latest(read_judgements(Path(journal.file)))) + "\n")
    explain = not explained and shows_per_cent(main_stages(review.numbers))
    if explain:
        sys.stdout.write(f"  {PER_CENT_IS}\n")
    if long:
        sys.stdout.write("".join(f"{sentence}\n" for sentence in sentences(review.numbers)))
    return explain


def _check(journal: Journal, review: Review) -> int:
    from monitor.review.check import check

    found = check(journal, review)
    for line in found.lines():
        sys.stdout.write(f"{line}\n")
    return 2 if found.disagree else 0


def _write_one(args: argparse.Namespace, journal: Journal, review: Review) -> None:
    if args.report is not None:
        from monitor.review.pages.session import write_report

        write_report(journal, review, args.report)
        sys.stderr.write(f"{args.report}: written\n")
    if args.csv is not None or args.parquet is not None:
        from monitor.review.export import write_csv, write_parquet
        from monitor.review.working import columns_of

        columns = columns_of(review)
        if args.csv is not None:
            write_csv(columns, args.csv)
        if args.parquet is not None:
            write_parquet(columns, args.parquet)


def _many(args: argparse.Namespace, files: list[Path]) -> int:
    from monitor.cli.terminal.progress import counted
    from monitor.review.compare import SessionComparison, compare_files, comparison_text, season_text

    comparison: SessionComparison = compare_files(
        files, args.report is not None, lambda found: counted(found, len(files), "journals read")
    )
    status = _tell(comparison.problems)
    if args.json:
        for row in comparison.rows:
            sys.stdout.write(json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n")
    elif args.season:
        sys.stdout.write(season_text(comparison))
    else:
        sys.stdout.write(comparison_text(comparison))
    if args.csv is not None or args.parquet is not None:
        from monitor.review.export import rows_as_columns, write_csv, write_parquet

        columns = rows_as_columns(comparison.rows)
        if args.csv is not None:
            write_csv(columns, args.csv)
        if args.parquet is not None:
            write_parquet(columns, args.parquet)
    if args.report is not None:
        from monitor.review.pages.several import write_comparison, write_season

        (write_season if args.season else write_comparison)(comparison, args.report)
        sys.stderr.write(f"{args.report}: written\n")
    return status
