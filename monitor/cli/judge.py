"""`evenbath judge`: write down what the dry film looks like, and do arithmetic on the person's own series.

Without a session `--seen SIGHT` says what that may come from. Decides where a session's journal is looked for and what is printed.
Writes only beside journals. Tests: tests/cli/test_judge.py.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_json
from monitor.cli.arguments.session_names import add_state, find_journal, journals_folder
from monitor.cli.terminal.fit import fitted
from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.review.judgement import Judgement
    from monitor.review.measures import Review
    from monitor.review.numbers import SessionMeasures, StageMeasures


GIVEN = ("density", "measured_density", "base_fog", "evenness", "grade", "contrast", "notes")
"""What may be written down of a film, apart from sights."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Options of the command."""
    from monitor.review.judgement import DENSITIES, EVENNESS
    from monitor.review.sights import SIGHTS

    parser.add_argument("sessions", nargs="*", metavar="SESSION|JOURNAL", help="a journal's file, or a session's id (its end is enough)")
    add_state(parser)
    entry = parser.add_argument_group("one film, written down beside its journal")
    entry.add_argument("--density", choices=DENSITIES, help="by eye")
    entry.add_argument("--measured-density", type=_between(0.0, 5.0), metavar="D", help="of a grey card or a step, above base, 0 to 5")
    entry.add_argument("--base-fog", type=_between(0.0, 3.0), metavar="D", help="density of the clear film, 0 to 3")
    entry.add_argument("--evenness", choices=EVENNESS)
    entry.add_argument("--grade", type=_between(0.0, 5.0), metavar="G", help="paper grade that it prints at, 0 to 5")
    entry.add_argument("--contrast", type=_between(0.05, 5.0), metavar="NUMBER", help="average gradient, measured, 0.05 to 5")
    entry.add_argument(
        "--seen",
        action="append",
        default=[],
        choices=(*SIGHTS, "list"),
        metavar="SIGHT",
        help="what was seen, may be repeated; without a session: what it may come from; --seen list says which there are",
    )
    taken_back = "take a sight back that was written down"
    entry.add_argument("--not-seen", action="append", default=[], choices=tuple(SIGHTS), metavar="SIGHT", help=taken_back)
    entry.add_argument("--notes", metavar="TEXT", help="anything else")
    series = parser.add_argument_group("several sessions: arithmetic on your own data, three or more")
    which = series.add_mutually_exclusive_group()
    which.add_argument("--series", choices=("contrast", "grade"), help="how it moves with development, with a 95 %% interval")
    which.add_argument("--law", action="store_true", help="your own temperature law, from films of the same density")
    series.add_argument("--want", type=_between(0.0, 5.0), metavar="VALUE", help="with --series: the time for this value")
    add_json(parser)


def _between(low: float, high: float) -> Any:
    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            raise argparse.ArgumentTypeError(f'"{text}" is not a number; allowed: {low:g} to {high:g}') from None
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f"{text} is out of range; allowed: {low:g} to {high:g}")
        return value

    return read


def run(args: argparse.Namespace) -> int:
    """Returns the exit status."""
    from monitor.review.load import journal_files
    from monitor.review.sights import SIGHTS

    if "list" in args.seen:
        return _sights(args, list(SIGHTS) if args.json else None)
    if args.want is not None and args.series is None:
        raise InputWrong("--want belongs to --series; allowed: --series contrast --want 0.56")
    if not args.sessions and args.seen and not (args.not_seen or args.series or args.law or _gives_more(args)):
        return _sights(args, args.seen)
    if not args.sessions:
        raise InputWrong("no session named; allowed: evenbath judge SESSION|JOURNAL ..., or --seen SIGHT alone: what it may come from")
    named = [find_journal(name, journals_folder(args)) for name in args.sessions]
    journals = list(journal_files(named))
    if args.series is not None:
        return _series(args, journals)
    if args.law:
        return _law(args, journals)
    if len(journals) > 1 and not _gives(args):
        return _list(args, journals)
    if len(journals) > 1:
        raise InputWrong("several sessions at once can only be put side by side; allowed: one session, or --series or --law")
    return _judge(args, journals[0])


def _sights(args: argparse.Namespace, keys: list[str] | None) -> int:
    """What these sights may come from, without a session; None: their names. Nothing is written."""
    from monitor.review.judgement import Judgement, contradiction, sight_lines
    from monitor.review.sights import GROUPS, SIGHTS

    if keys is None:
        wide = max(map(len, SIGHTS)) + 2
        listed = [f"{name}\n" + "".join(f"  {key:<{wide}}{sight.seen}\n" for key, sight in group.items()) for name, group in GROUPS.items()]
        sys.stdout.write(fitted("\n".join(listed)))
        return 0
    chosen = [(key, sight) for key, sight in SIGHTS.items() if key in keys]
    if args.json:
        from dataclasses import asdict

        sys.stdout.write(json.dumps({"sights": [{"sight": key, **asdict(sight)} for key, sight in chosen]}, ensure_ascii=False) + "\n")
        return 0
    wrong = contradiction(Judgement("", "", seen=tuple(keys)))
    if wrong is not None:
        raise InputWrong(f"{wrong}; allowed: one of them")
    lines = [line for _, sight in chosen for line in sight_lines(sight)]
    lines.append("Common practice, no source. With a session named its record is asked too, and what was seen is written down beside it.")
    sys.stdout.write(fitted("".join(f"{line}\n" for line in lines)))
    return 0


def _review(journal: Path) -> Review:
    from monitor.review.load import load
    from monitor.review.measures import measure

    loaded = load(journal)
    if not loaded.session:
        raise InputWrong(*loaded.findings.lines())
    return measure(loaded)


def _develop(numbers: SessionMeasures) -> StageMeasures | None:
    from monitor.review.summary import main_stages

    return next(iter(main_stages(numbers)), None)


def _judge(args: argparse.Namespace, journal: Path) -> int:
    from dataclasses import asdict, replace

    from monitor.review.judgement import (
        Judgement,
        advice,
        append_judgement,
        contradiction,
        kinds_of,
        latest,
        not_of_this_kind,
        read_judgements,
    )
    from monitor.review.record_says import findings

    review = _review(journal)
    rehearsed = review.numbers.mode == "rehearsal"
    entries = read_judgements(journal)  # a damaged file is told before anything is added to it
    if _gives(args):
        given = {name: getattr(args, name) for name in GIVEN}
        entries.append(Judgement(_wall(), review.numbers.session, seen=tuple(args.seen), not_seen=tuple(args.not_seen), **given))
    folded, written = latest(entries), None
    if folded is not None and _gives(args):
        other_kind = not_of_this_kind(replace(entries[-1], seen=folded.seen), review.numbers)  # numbers cannot be taken back
        if other_kind is not None:
            raise InputWrong(f"{other_kind} (--not-seen takes back what was written down). Nothing was written")
        wrong = contradiction(folded)
        if wrong is not None:
            raise InputWrong(f"{wrong}; allowed: one of them (--not-seen takes back what was written down). Nothing was written")
        written = None if rehearsed else append_judgement(journal, entries[-1])
    if rehearsed:
        nothing = "nothing was developed, so nothing can be seen, and nothing is written down"
        sys.stderr.write(f"session {review.numbers.session} was a rehearsal: {nothing}\n")
    lines = [] if folded is None else advice(folded, _develop(review.numbers), findings(review.numbers), kinds_of(review.numbers))
    if args.json:
        shown = None if folded is None else asdict(folded)
        sys.stdout.write(json.dumps({"session": review.numbers.session, "judgement": shown, "says": lines}, ensure_ascii=False) + "\n")
        return 0
    if written is not None:
        sys.stdout.write(f"written to {written}\n")
    if folded is None:
        sys.stdout.write(f"session {review.numbers.session}: nothing is written down yet; --density, --grade, --seen and others do\n")
    else:
        sys.stdout.write(f"session {folded.session}: {_in_words(folded)}\n")
    sys.stdout.write(fitted("".join(f"{line}\n" for line in lines)))
    return 0


def _list(args: argparse.Namespace, journals: list[Path]) -> int:
    """What is written down of several films, a line each."""
    from dataclasses import asdict

    from monitor.review.judgement import latest, read_judgements

    for journal in journals:
        folded = latest(read_judgements(journal))
        if args.json:
            sys.stdout.write(json.dumps({"session": journal.stem, "judgement": None if folded is None else asdict(folded)}) + "\n")
            continue
        sys.stdout.write(f"{journal.stem}: {'nothing is written down yet' if folded is None else _in_words(folded)}\n")
    return 0


def _gives(args: argparse.Namespace) -> bool:
    """Whether there is something to write down."""
    return _gives_more(args) or bool(args.seen or args.not_seen)


def _gives_more(args: argparse.Namespace) -> bool:
    """Whether something else than a sight is told."""
    return any(getattr(args, name) is not None for name in GIVEN)


def _in_words(judged: Judgement) -> str:
    """What is written down of a film."""
    given = [f"{name.replace('_', ' ')} {getattr(judged, name)}" for name in GIVEN if getattr(judged, name) is not None]
    return "; ".join([*given, *(["seen: " + ", ".join(judged.seen)] if judged.seen else [])]) or "all was taken back"


def _wall() -> str:
    from monitor.live.clock import RealClock

    return RealClock().wall().isoformat(timespec="seconds").replace("+00:00", "Z")


def _series(args: argparse.Namespace, journals: list[Path]) -> int:
    from monitor.core.text.degrees import degrees
    from monitor.core.text.quantities import format_duration
    from monitor.review.judgement import latest, read_judgements
    from monitor.review.own_data import SeriesPoint, fit_series

    points: list[SeriesPoint] = []
    recipes = set()
    for journal in journals:
        review = _review(journal)
        stage, judged = _develop(review.numbers), latest(read_judgements(journal))
        value = None if judged is None else getattr(judged, args.series)
        if value is None or stage is None or stage.done_ref_s is None or stage.rate_law is None:
            why = f"no {args.series} written down" if value is None else "its development is not known"
            sys.stderr.write(f"{journal}: left out, {why}\n")
            continue
        recipes.add((stage.reference_c, stage.rate_law))
        points.append(SeriesPoint(review.numbers.session, stage.done_ref_s, float(value)))
    if len(recipes) > 1:
        raise InputWrong("these sessions count development at different references or by different laws; allowed: sessions of one recipe")
    fitted = fit_series(points, args.series)
    reference_c = next(iter(recipes))[0]
    low, high = fitted.range_ref_s
    result: dict[str, Any] = {
        "what": args.series,
        "sessions": len(points),
        "slope_per_ln": fitted.slope,
        "sd": fitted.sd,
        "reference_c": reference_c,
        "done_low_ref_s": low,
        "done_high_ref_s": high,
    }
    lines = [
        f"{len(points)} sessions, {args.series} against development done (arithmetic on your own data, straight in the logarithm of time)"
    ]
    at = "by the clock" if reference_c is None else f"at {degrees(reference_c, 'g')}"
    for point in fitted.points:
        line_value, half = fitted.at(point.done_ref_s)
        lines.append(
            f"  {point.session}: {format_duration(point.done_ref_s)} {at} gave {point.value:g}; "
            f"the line says {line_value:.2f} (95 %: {line_value - half:.2f} to {line_value + half:.2f})"
        )
    if args.want is not None:
        done, least, most = fitted.wanted(args.want)
        outside = not low <= done <= high
        result |= {"want": args.want, "time_ref_s": done, "time_low_ref_s": least, "time_high_ref_s": most, "outside_data": outside}
        lines.append(
            f"for {args.series} {args.want:g}: {format_duration(done)} {at} "
            f"(95 %: {format_duration(least)} to {format_duration(most)})"
            + (f"; outside your data ({format_duration(low)} to {format_duration(high)}), do not rest on it" if outside else "")
        )
    _show(args, result, lines)
    return 0


def _law(args: argparse.Namespace, journals: list[Path]) -> int:
    from monitor.core.text.degrees import degrees
    from monitor.core.text.quantities import format_duration
    from monitor.review.judgement import latest, read_judgements
    from monitor.review.own_data import own_law

    reviews = []
    reference_c = 20.0
    for journal in journals:
        review = _review(journal)
        judged = latest(read_judgements(journal))
        stage = _develop(review.numbers)
        if stage is not None and stage.reference_c is not None:
            reference_c = stage.reference_c
        reviews.append((review.numbers.session, review, None if judged is None else judged.measured_density))
    law = own_law(reviews, reference_c)
    energy, sd = law.fitted.activation_energy_kj_mol, law.sd_kj_mol
    result = {
        "activation_energy_kj_mol": energy, "sd_kj_mol": sd, "per_10_c": law.fitted.per_10_c, "reference_c": reference_c,
        "sessions": [{"session": n, "steady_c": c, "time_s": s} for n, c, s in law.rows],
    }  # fmt: skip
    known = sum(d is not None for _, _, d in reviews)
    lines = [
        f"{len(reviews)} films, taken to have the same density ({known} measured, the others on your word); arithmetic on your own data",
        *(f"  {n}: {format_duration(s)} at what a steady {degrees(c, '.2f')} would have done" for n, c, s in law.rows),
        f"energy {energy:.1f} kJ/mol, standard error {sd:.1f}: {law.fitted.per_10_c:.2f} per 10 C; "
        f"worst film {law.fitted.worst_percent:+.1f} %",
        f'for the recipe: rate = {{ law = "arrhenius", activation_energy_kj_mol = {energy:.1f}, sd = {max(sd, 0.1):.1f} }}',
    ]
    _show(args, result, lines)
    return 0


def _show(args: argparse.Namespace, result: dict[str, Any], lines: list[str]) -> None:
    sys.stdout.write(json.dumps(result, ensure_ascii=False) + "\n" if args.json else fitted("".join(f"{line}\n" for line in lines)))
