"""`evenbath compare`: compare a probe with a thermometer that you trust or with melting ice, from a journal or guided at the sink.

Decides nothing itself: monitor.prepare.probes.comparing does. What is accepted can be stored for the estimator. offset_c is probe
minus thermometer. Tests: tests/cli/test_compare.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from monitor.core.text.doubt import two_sd

if TYPE_CHECKING:
    from pathlib import Path

    from monitor.core.probes.learned import Comparison, ComparisonPoint, Learned
    from monitor.prepare.probes.comparing import PointFound
    from monitor.prepare.probes.readings import ProbeReadings

SETTLE_S = 10.0
"""How often the guided form checks again."""
LONGEST_WAIT_S = 1800.0
SAME_DAY = 1
"""Points within this many days of each other belong to one comparison; a later one starts a new one."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.cli.arguments.bath_source import add_source
    from monitor.core.probes.learned import GLASS_SD_C
    from monitor.prepare.probes.comparing import ICE_SD_C, THERMOMETER

    add_source(parser)
    parser.add_argument("--probe", metavar="NAME", help="which probe")
    parser.add_argument("--against", metavar="TEMPERATURE", help='what the thermometer showed, "20.1 C"')
    parser.add_argument("--ice", action="store_true", help="in place of a thermometer: the probe stands in melting ice, 0.0 C")
    parser.add_argument("--at", type=float, metavar="SECONDS", help="when it was read, in seconds of the journal's time")
    parser.add_argument(
        "--reference-sd-c", type=float, metavar="DEGREES",
        help=f"the thermometer's own standard uncertainty; default {GLASS_SD_C}, a glass one (ice: {ICE_SD_C}); the guided form asks",
    )  # fmt: skip
    parser.add_argument("--reference", default=THERMOMETER, metavar="NAME", help="which thermometer, for the record")
    parser.add_argument("--save", action="store_true", help="store an accepted point, with those of the same day and reference, and ice")
    parser.add_argument("--anew", action="store_true", help="with --save: ignore earlier points")
    parser.add_argument("--who", default="", metavar="NAME", help="with --save: who compared")
    parser.add_argument("--working", metavar="TEMPERATURE", help='the working temperature, "38 C": is there a point near it?')
    parser.add_argument("--ice-point", action="store_true", help="say how to make an ice point, and what it does not show")


def run(args: argparse.Namespace) -> int:
    """Print the point. Returns 2 if it was refused; with --json only if it was to be stored."""
    from monitor.cli.arguments.bath_source import learned_in, open_source
    from monitor.cli.arguments.common import state_of
    from monitor.core.errors import InputWrong
    from monitor.core.probes.learned import GLASS_SD_C
    from monitor.core.text.quantities import read_temperature

    if args.ice_point:
        from monitor.prepare.probes.comparing import ICE_HOW, ICE_LIMITS

        sys.stdout.write("".join(f"{line}\n" for line in (*ICE_HOW, *ICE_LIMITS)))
        return 0
    if args.probe is None:
        raise InputWrong("no probe named; allowed: --probe NAME")
    if args.reference_sd_c is not None and not 0.0 <= args.reference_sd_c <= 5.0:
        raise InputWrong(f"--reference-sd-c {args.reference_sd_c:g}; allowed: 0 to 5 C")
    if args.ice and args.against is not None:
        raise InputWrong("--ice and --against are two references; allowed: one of them, the other one in a second call")
    if args.ice:
        _ice_is_the_reference(args)
    state = state_of(args)
    learned = learned_in(state)
    if args.file is not None and args.against is None:
        import time

        return guided(args, state, learned, ask=input, wait=time.sleep)
    if args.against is None and not args.ice:
        raise InputWrong('no reading of the thermometer; allowed: --against "20.1 C", or --ice')
    nobody_told = args.reference_sd_c is None
    if nobody_told:
        args.reference_sd_c = GLASS_SD_C
    reference_c = 0.0 if args.ice else read_temperature(args.against)
    series = open_source(args).probe(args.probe)
    if args.file is None and args.at is None:
        raise InputWrong("the time of the reading is missing; allowed: --at SECONDS of the journal's time")
    found = _compare(args, series, reference_c, series.t_s[-1] if args.at is None else args.at, learned)
    if nobody_told and not args.json:
        sys.stdout.write(f"{_as_glass(args.reference)}\n")
    return _answer(args, found, state, learned, args.save)


def _as_glass(reference: str) -> str:
    """What is taken where nobody told how good the thermometer is."""
    from monitor.core.probes.learned import GLASS_SD_C
    from monitor.core.text.degrees import difference
    from monitor.prepare.probes.comparing import named

    taken = f"{named(reference)} is taken to be good to +/- {difference(two_sd(GLASS_SD_C), '.2f')}, like any glass one"
    return f"{taken}; if you know its own +/-, give half of it, in C, with --reference-sd-c"


def _ice_is_the_reference(args: argparse.Namespace) -> None:
    from monitor.prepare.probes.comparing import ICE, ICE_SD_C

    args.reference = ICE
    if args.reference_sd_c is None:
        args.reference_sd_c = ICE_SD_C


def _compare(args: argparse.Namespace, series: ProbeReadings, reference_c: float, at_s: float, learned: Learned) -> PointFound:
    from monitor.prepare.probes.comparing import compare_at

    lag = learned.probe_lag(series.probe)
    if lag is None:
        return compare_at(series, reference_c, at_s, args.reference_sd_c, reference=args.reference)
    return compare_at(series, reference_c, at_s, args.reference_sd_c, lag.lag_s, lag.sd_s, args.reference)


def _answer(args: argparse.Namespace, found: PointFound, state: Path, learned: Learned, save: bool) -> int:
    from monitor.cli.arguments.bath_source import NOT_STORED
    from monitor.core.text.quantities import read_temperature
    from monitor.prepare.probes.comparing import comparison_lines
    from monitor.prepare.probes.learned_store import save_comparison

    stored = _combined(args, found, learned) if save and found.accepted else None
    if stored is not None:
        save_comparison(state, stored)
    data: dict[str, Any] = {
        "probe": found.probe,
        "reference_c": found.reference_c,
        "offset_c": found.offset_c,
        "sd_c": found.sd_c,
        "scatter_sd_c": found.scatter_sd_c,
        "slope_c_per_min": found.slope_c_per_min,
        "accepted": found.accepted,
        "why": found.why,
        "readings": found.readings,
        "stored": stored is not None,
    }
    if stored is not None:
        data |= {
            "points": len(stored.points),
            "line": {"at_c": stored.at_c, "offset_c": stored.offset_c, "slope_per_c": stored.slope_per_c},
        }
    if args.json:
        import json

        sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")
    else:
        for line in _point_lines(found, args.reference):
            sys.stdout.write(f"{line}\n")
        if stored is not None:
            working = read_temperature(args.working) if args.working is not None else None
            sys.stdout.write("".join(f"{line}\n" for line in comparison_lines(stored, working)))
        elif found.accepted:
            sys.stdout.write(f"{NOT_STORED}\n")
    if save and stored is None:
        sys.stderr.write(f"not stored: {found.why}\n")
    return 0 if found.accepted or (args.json and not save) else 2  # with --json the verdict is in the object


def _point_lines(found: PointFound, reference: str) -> list[str]:
    from monitor.core.text.degrees import degrees, difference, plain_difference
    from monitor.prepare.probes.comparing import DATA_SHEET_C, named, read_off

    verdict = "accepted" if found.accepted else "refused"
    lines = [
        f"{found.probe} read {read_off(found.offset_c)} at {degrees(found.reference_c, '.1f')} "
        f"(probe minus {reference} {difference(found.offset_c, '+.3f')}), "
        f"+/- {difference(two_sd(found.sd_c), '.2f')} (2 sd, with the doubt of {named(reference)})",
        f"{verdict}: {found.why}",
    ]
    if found.accepted and abs(found.offset_c) - two_sd(found.sd_c) > DATA_SHEET_C:
        lines.append(
            f"more than the {plain_difference(DATA_SHEET_C)} of a usual probe's data sheet: is {named(reference)} "
            f"right, and the probe whole?"
        )
    return lines


def _combined(args: argparse.Namespace, found: PointFound, learned: Learned) -> Comparison:
    """The new point together with those of the same day and thermometer, and of the same day's ice."""
    from dataclasses import replace

    from monitor.cli.arguments.common import today
    from monitor.prepare.probes.comparing import combine
    from monitor.prepare.state.folder import station_probe_id

    day = today()
    before = learned.comparison(found.probe)
    point = found.point(args.reference, args.reference_sd_c)
    points = [point]
    number = station_probe_id(args.file, found.probe) if args.file is not None else None
    if before is not None:
        number = number or before.id
        if before.age_days(day) <= SAME_DAY and not args.anew:
            told = [
                replace(p, reference=p.reference or before.reference, reference_sd_c=_first(p.reference_sd_c, before.reference_sd_c))
                for p in before.points
            ]
            points = [p for p in told if _belong_together(p, point)] + [point]
    return combine(
        points,
        probe=found.probe,
        number=number,
        reference=args.reference,
        reference_sd_c=args.reference_sd_c,
        who=args.who or "somebody",
        day=day.isoformat(),
    )


def _first(own: float | None, else_: float) -> float:
    return else_ if own is None else own


def _belong_together(before: ComparisonPoint, new: ComparisonPoint) -> bool:
    """Of one reference, or one of the two of ice. Two thermometers do not: nobody knows which of them is right."""
    from monitor.prepare.probes.comparing import ICE

    if before.reference == new.reference:
        return before.reference_sd_c == new.reference_sd_c
    return ICE in (before.reference, new.reference)


def guided(args: argparse.Namespace, state: Path, learned: Learned, ask: Callable[[str], str], wait: Callable[[float], None]) -> int:
    """Guide through one point after another with live readings. `ask` asks a question, `wait` waits for seconds."""
    from monitor.cli.arguments.bath_source import learned_in, live_source
    from monitor.core.errors import InputWrong
    from monitor.core.text.degrees import example, typed_temperature
    from monitor.prepare.probes.comparing import ICE_HOW, ICE_LIMITS

    say = sys.stdout.write
    if args.ice:
        say("".join(f"{line}\n" for line in ICE_HOW))
    else:
        say(
            "Probe and thermometer within 2 cm of each other in one stirred vessel, both deep. "
            "Three points: cold, hot, and the working temperature.\n"
        )
        if args.reference_sd_c is None:
            args.reference_sd_c = _own_sd_c(ask, say)
    status = 0
    while True:
        say("Waiting until the probe has been steady for two minutes ...\n" if args.ice
            else "Stir. Waiting until the water has been steady for two minutes ...\n")  # fmt: skip
        waited_s = 0.0
        while not _steady(live_source(args.file, state).probe(args.probe)):
            wait(SETTLE_S)
            waited_s += SETTLE_S
            if waited_s >= LONGEST_WAIT_S:
                raise InputWrong(f'probe "{args.probe}" did not become steady within half an hour; allowed: covered, stirred water')
        if args.ice:
            series = live_source(args.file, state).probe(args.probe)
            found = _compare(args, series, 0.0, series.t_s[-1], learned)
            status = _answer(args, found, state, learned_in(state), True)
            say("".join(f"{line}\n" for line in ICE_LIMITS))
            if status == 0:
                say(f"Now beside your own thermometer: evenbath compare --file {args.file} --probe {args.probe}\n")
            return status
        try:
            shows = example("20.1 C")
            words = ask(f'Steady. What does the thermometer show, such as "{shows}"? (nothing: end) ').strip()
        except EOFError:
            words = ""
        if not words:
            return status
        try:
            reference_c = typed_temperature(words)
        except InputWrong as wrong:
            say(f"{wrong.lines[0]}\n")
            continue
        series = live_source(args.file, state).probe(args.probe)
        found = _compare(args, series, reference_c, series.t_s[-1], learned)
        status = _answer(args, found, state, learned_in(state), True)


def _own_sd_c(ask: Callable[[str], str], say: Callable[[str], object]) -> float:
    """The thermometer's own standard uncertainty, C: half of the +/- that a person knows it by."""
    from monitor.core.errors import InputWrong
    from monitor.core.probes.learned import GLASS_SD_C
    from monitor.core.text.degrees import difference, plain_difference, typed_difference

    while True:
        try:
            own = f"(nothing: {difference(2 * GLASS_SD_C, 'g')}, a glass one)"
            words = ask(f'How far may your thermometer itself be off, such as "{plain_difference(0.2, 1)}"? {own} ').strip()
            if not words:
                return GLASS_SD_C
            off_c = typed_difference(words)
            if 0.0 <= off_c <= 10.0:
                return off_c / 2
            say(f"{difference(off_c, 'g')}; allowed: 0 to {plain_difference(10.0)}\n")
        except InputWrong as wrong:
            say(f"{wrong.lines[0]}\n")
        except EOFError:
            return GLASS_SD_C


def _steady(series: ProbeReadings) -> bool:
    """Two minutes of readings that move by less than 0.05 C a minute."""
    from monitor.prepare.probes.comparing import BEFORE_S, STEADY_C_PER_MIN, compare_at

    if series.t_s[-1] - series.t_s[0] < BEFORE_S:
        return False
    found = compare_at(series, series.raw_c[-1], series.t_s[-1], 0.0)
    return abs(found.slope_c_per_min) < STEADY_C_PER_MIN
