"""`evenbath archive add | note | table | exposure | find | sleeve | undo`: the negatives, what was done with each, and notes on exposure.

Passes the arguments to monitor.prepare.archive and prints the outcome. Writes STATE/archive/negatives.jsonl alone; of a session its
journal is only read. Tests: tests/cli/test_archive.py.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_action, state_of, today

if TYPE_CHECKING:
    from monitor.prepare.archive.exposure import Exposure, ReciprocityTable
    from monitor.prepare.archive.negatives import Archive, Entry
    from monitor.review.numbers import SessionMeasures


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the sub-commands and their arguments."""
    actions = parser.add_subparsers(dest="action", metavar="add | note | table | exposure | find | sleeve | undo", required=True)
    add = add_action(actions, "add", "give a film or a print its number, with what its session knows")
    add.add_argument("session", nargs="?", metavar="SESSION|JOURNAL", help="the session that developed it; may be left out")
    add.add_argument("--film", required=True, metavar="WORDS", help="which film or paper it is, in your words")
    add.add_argument("--number", metavar="NUMBER", help="as it stands on the sleeve; default: the next of its year, such as 2026-014")
    add.add_argument("--day", metavar="DAY", help="when it was developed, such as 2026-11-26; default: the session's day, else today")
    add.add_argument("--developer", metavar="WORDS", help="default: the session's")
    add.add_argument("--index", metavar="INDEX", help="the film speed that it was exposed at, such as 200")
    add.add_argument("--words", metavar="WORDS", help="what is on it")
    note = add_action(actions, "note", "write down how a frame or a sheet was exposed")
    note.add_argument("number", metavar="NUMBER", help="of the negative")
    note.add_argument("frame", nargs="?", metavar="FRAME", help="the frame or the sheet; left out: the whole film")
    note.add_argument("--index", metavar="INDEX", help="the film speed that the meter was set to")
    note.add_argument("--aperture", metavar="WORDS", help='such as "f/11"')
    note.add_argument("--filter-name", metavar="WORDS", help="which filter")
    note.add_argument("--words", metavar="WORDS", help="what is on it")
    _configure_exposure(note, required=False)
    table = add_action(actions, "table", "keep your own reciprocity table for a film, or show it")
    table.add_argument("film", metavar="FILM", help="which film, in the words that --reciprocity will use")
    table.add_argument("pairs", nargs="*", metavar="METERED=NEEDED", help='such as "1 s=1 s" "10 s=20 s" "60 s=3:20"; none: show it')
    _configure_exposure(add_action(actions, "exposure", "work out a time: filter, bellows, reciprocity"), required=True)
    finding = add_action(actions, "find", "find negatives and prints by film or paper, developer, date, or words in their notes")
    finding.add_argument("words", nargs="*", metavar="WORDS", help="words that stand anywhere in it")
    finding.add_argument("--film", default="", metavar="WORDS", help="words in the film's name")
    finding.add_argument("--developer", default="", metavar="WORDS", help="words in the developer's name")
    finding.add_argument("--date", metavar="DATE", help='"2026", "2026-11" or "2026-11-26"')
    sleeve = add_action(actions, "sleeve", "the strip for its sleeve and the words for its contact sheet")
    sleeve.add_argument("number", metavar="NUMBER")
    sleeve.add_argument("--html", metavar="FILE.html", help="also write them as a page to print")
    add_action(actions, "undo", "take back the last entry; it stays in the file")


def _configure_exposure(parser: argparse.ArgumentParser, required: bool) -> None:
    parser.add_argument("--metered", metavar="TIME", required=required, help='what the meter says, such as "1/4 s", "8 s" or "2:30"')
    parser.add_argument("--filter", metavar="FACTOR", help='such as "4x" or "2 stops"')
    parser.add_argument("--focal", metavar="LENGTH", help='focal length of the lens, such as "150 mm"; with --extension')
    parser.add_argument("--extension", metavar="LENGTH", help="from lens board to film")
    parser.add_argument("--reciprocity", metavar="FILM", help="by your own table for this film (evenbath archive table)")


def run(args: argparse.Namespace) -> int:
    """Run one action. Raises `InputWrong`, `FileWrong`."""
    from monitor.prepare.archive.negatives import read_archive

    state = state_of(args)
    reading = {"find": _find, "sleeve": _sleeve, "exposure": _exposure}
    if args.action in reading or (args.action == "table" and not args.pairs):
        archive = read_archive(state)
        if archive.damaged is not None:
            sys.stderr.write(f"{archive.damaged}\n")
        return reading.get(args.action, _show_table)(args, archive)
    return _write(args, state)


def _find(args: argparse.Namespace, archive: Archive) -> int:
    from dataclasses import asdict

    from monitor.prepare.archive.negatives import contact_lines, find, read_date, sleeve_lines

    date = "" if args.date is None else read_date(args.date)
    found = find(archive, args.words, args.film, args.developer, date)
    if args.json:
        return _json({"negatives": [asdict(negative) for negative in found]})
    if not found:
        none = "nothing found" if archive.negatives else "the archive is empty: evenbath archive add --film WORDS begins it"
        sys.stdout.write(f"{none}\n")
    for negative in found:
        lines = sleeve_lines(negative)
        wanted = [n for n in contact_lines(negative) if any(word.casefold() in n.casefold() for word in args.words)]
        sys.stdout.write("".join(f"{line}\n" for line in [", ".join(lines[:2]), *(f"  {line}" for line in wanted)]))
    return 0


def _sleeve(args: argparse.Namespace, archive: Archive) -> int:
    from monitor.prepare.paper.sleeve import sleeve_html, sleeve_text

    negative = archive.negative(args.number)
    if args.html is not None:
        from monitor.cli.arguments.page_file import write_page

        write_page("--html", args.html, sleeve_html(negative))
    lines = sleeve_text(negative)
    if args.json:
        return _json({"number": negative.number, "lines": lines, "html": args.html})
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    return 0


def _exposure(args: argparse.Namespace, archive: Archive) -> int:
    from dataclasses import asdict

    from monitor.prepare.archive.exposure import exposure_lines

    worked = _worked(args, archive)
    assert worked is not None  # --metered is required here
    if args.json:
        return _json({**asdict(worked), "stops": worked.stops})
    sys.stdout.write("".join(f"{line}\n" for line in exposure_lines(worked)))
    return 0


def _worked(args: argparse.Namespace, archive: Archive) -> Exposure | None:
    """The time by filter, bellows and table; None where nothing was metered."""
    from monitor.core.errors import InputWrong
    from monitor.prepare.archive.exposure import bellows_factor, expose, read_exposure_s, read_filter, read_length_mm

    if (args.focal is None) != (args.extension is None):
        raise InputWrong("focal length and extension belong together; allowed: --focal LENGTH --extension LENGTH, or neither")
    if args.metered is None:
        if args.filter is not None or args.focal is not None or args.reciprocity is not None:
            raise InputWrong("a filter, a bellows or a table without a time; allowed: --metered TIME too")
        return None
    bellows = 1.0 if args.focal is None else bellows_factor(read_length_mm(args.focal), read_length_mm(args.extension))
    table = None if args.reciprocity is None else archive.table(args.reciprocity)
    return expose(read_exposure_s(args.metered), 1.0 if args.filter is None else read_filter(args.filter), bellows, table)


def _show_table(args: argparse.Namespace, archive: Archive) -> int:
    table = archive.table(args.film)
    if args.json:
        return _json({"film": args.film, "points": [{"metered_s": m, "needed_s": n} for m, n in table.points]})
    sys.stdout.write("".join(f"{line}\n" for line in _table_lines(args.film, table)))
    return 0


def _table_lines(film: str, table: ReciprocityTable) -> list[str]:
    from monitor.prepare.archive.exposure import exposure_words

    return [f"{film}: {', '.join(f'{exposure_words(m)} needs {exposure_words(n)}' for m, n in table.points)}"]


def _write(args: argparse.Namespace, state: Path) -> int:
    from monitor.core.recipe.kinds import names_paper
    from monitor.live.clock import RealClock
    from monitor.prepare.archive.exposure import exposure_lines, read_table
    from monitor.prepare.archive.negatives import plain_words, sleeve_lines, undo_entry, write_entry

    facts = _facts(args, state) if args.action == "add" else {}
    worked: list[Exposure | None] = []

    def make(archive: Archive) -> Entry:
        if archive.damaged is not None:
            sys.stderr.write(f"{archive.damaged}\n")
        if args.action == "undo":
            return undo_entry(archive)
        if args.action == "table":
            points = read_table(args.pairs).points
            return {"entry": "table", "film": plain_words(args.film, "film"), "points": [list(point) for point in points]}
        if args.action == "note":
            worked.append(_worked(args, archive))
            return _note_entry(args, archive, worked[0])
        return _negative_entry(args, archive, facts)

    after, entry = write_entry(state, RealClock().wall(), make)
    if args.json:
        return _json({"entry": entry})
    if entry["entry"] == "negative":
        lines = [f"added: {line}" if i == 0 else f"  {line}" for i, line in enumerate(sleeve_lines(after.negatives[entry["number"]]))]
    elif entry["entry"] == "note":
        noted = after.negatives[entry["number"]]
        lines = [f"noted on {entry['number']}: {noted.notes[-1].line()}"]
        lines += [] if worked[0] is None else exposure_lines(worked[0], names_paper(f"{noted.film} {noted.developer or ''}"))
    elif entry["entry"] == "table":
        lines = [f"kept: {line}" for line in _table_lines(args.film, after.table(args.film))]
    else:
        lines = [f"entry {entry['undoes']} is taken back; it stays in the file"]
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    return 0


def _negative_entry(args: argparse.Namespace, archive: Archive, facts: dict[str, Any]) -> Entry:
    from monitor.core.errors import InputWrong
    from monitor.prepare.archive.negatives import plain_words, read_index, read_number
    from monitor.prepare.days import read_day

    day = read_day(args.day) if args.day is not None else read_day(facts.get("day", today().isoformat()))
    if day > today():
        raise InputWrong(f"--day {day.isoformat()} is still to come; allowed: today or earlier")
    return {
        "entry": "negative",
        "number": archive.next_number(day.year) if args.number is None else read_number(args.number),
        "day": day.isoformat(),
        "film": plain_words(args.film, "--film"),
        "developer": facts.get("developer") if args.developer is None else plain_words(args.developer, "--developer"),
        "developed": facts.get("developed"),
        "session": facts.get("session"),
        "index": None if args.index is None else read_index(args.index),
        "words": None if args.words is None else plain_words(args.words, "--words"),
    }


def _note_entry(args: argparse.Namespace, archive: Archive, worked: Exposure | None) -> Entry:
    from monitor.core.errors import InputWrong
    from monitor.prepare.archive.negatives import plain_words, read_frame, read_index

    def words(option: str, text: str | None) -> str | None:
        return None if text is None else plain_words(text, option)

    said = {
        "index": None if args.index is None else read_index(args.index),
        "aperture": words("--aperture", args.aperture),
        "filter": words("--filter-name", args.filter_name),
        "filter_factor": worked.filter_factor if worked is not None and args.filter is not None else None,
        "bellows_factor": worked.bellows_factor if worked is not None and args.focal is not None else None,
        "metered_s": None if worked is None else worked.metered_s,
        "exposed_s": None if worked is None else worked.needed_s,
        "words": words("--words", args.words),
    }
    if all(value is None for value in said.values()):
        raise InputWrong("nothing to write down; allowed: --words, --index, --aperture, --filter-name or --metered")
    number = archive.negative(args.number).number
    return {"entry": "note", "number": number, "frame": None if args.frame is None else read_frame(args.frame), **said}


def _facts(args: argparse.Namespace, state: Path) -> dict[str, Any]:
    """What the session's journal knows of the film: its day, its developer, how it was developed. The journal is only read."""
    if args.session is None:
        return {}
    from monitor.cli.arguments.session_names import find_journal
    from monitor.core.errors import InputWrong
    from monitor.prepare.archive.negatives import copied_words
    from monitor.prepare.state.journal_lines import JOURNALS
    from monitor.review.days import local
    from monitor.review.load import load
    from monitor.review.measures import measure

    path = find_journal(args.session, state / JOURNALS)
    journal = load(path)
    if not journal.session:
        raise InputWrong(*journal.findings.lines())
    if journal.mode != "live":
        raise InputWrong(f"{path}: a rehearsal, no film was in it; allowed: the journal of a live session, or none")
    numbers = measure(journal).numbers
    day = local(numbers.opened_wall, numbers.zone)
    stages = [] if journal.recipe is None else [s for s in journal.recipe.stages if s.role == "develop"]
    named = [f"{s.solution}{'' if s.dilution is None else f' {s.dilution}'}" for s in stages if s.solution]
    facts = {
        "session": numbers.session,
        "developer": copied_words(" then ".join(dict.fromkeys(named))),
        "developed": copied_words(_developed(numbers)),
    }
    return facts if day is None else {**facts, "day": day.date().isoformat()}


def _developed(numbers: SessionMeasures) -> str | None:
    """How long it was in the developer, and what that came to; None where nothing was developed."""
    from monitor.core.text.quantities import format_duration
    from monitor.review.answers import answers
    from monitor.review.summary import main_stages

    stages = main_stages(numbers)
    if not stages:
        return None
    told = answers(numbers)
    times = " + ".join(format_duration(s.actual_s) for s in stages if s.sheet in (None, 1))
    done = " ".join(word for word in (told.result, told.doubt) if word)
    counted = any(s.rate_law is not None for s in stages)
    return f"{times}, {done} of the wanted development" if counted else f"{times} by the clock"


def _json(data: dict[str, Any]) -> int:
    sys.stdout.write(json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n")
    return 0
