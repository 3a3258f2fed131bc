"""`evenbath lag`: learn the lag of a probe (a dip) or of a vessel (a run with water), adopt what a session has told of one, and check
vessel or witness by what was poured off.

Decides nothing itself: monitor.prepare.probes.lags does. Tests: tests/cli/test_lag.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.text.doubt import two_sd

if TYPE_CHECKING:
    from monitor.core.probes.learned import Learned, ProbeLag, VesselLag
    from monitor.prepare.probes.lags import LagFound, PouredOff
    from monitor.prepare.probes.readings import ProbeReadings, ReadingSource

VESSEL_PROBES = ("witness", "developer")


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.cli.arguments.bath_source import add_source

    add_source(parser)
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--probe", metavar="NAME", help="a probe that was dipped from air or another cup into stirred water")
    what.add_argument("--vessel", metavar="NAME", help="a vessel with a probe inside; its name, or that probe's")
    parser.add_argument("--at", type=float, metavar="SECONDS", help="with --probe: roughly when it was dipped; default: the greatest jump")
    parser.add_argument("--inside", metavar="PROBE", help="with --vessel: the probe inside; default: the witness, else the developer's")
    parser.add_argument("--coupled-to", choices=("bath", "room"), help="with --vessel: what it follows; default: the better fit")
    parser.add_argument("--volume", metavar="VOLUME", help="with --vessel: how much water was in it, for the record")
    parser.add_argument("--agitation", metavar="WORDS", help="with --vessel: how it was agitated, for the record")
    parser.add_argument("--save", action="store_true", help="store it for the estimator")
    parser.add_argument(
        "--adopt", action="store_true", help="store what a session has told at its close: JOURNAL's, or the newest one that is offered"
    )
    parser.add_argument(
        "--poured-off", metavar="TEMPERATURE", help="the developer poured off the film, within 60 s: checks a --vessel or a witness --probe"
    )
    parser.add_argument(
        "--estimated", metavar="TEMPERATURE", help="with --poured-off: what was estimated; default: the journal's last progress"
    )


def run(args: argparse.Namespace) -> int:
    """Print the lag. Raises `InputWrong` if the readings do not determine it."""
    from monitor.cli.arguments.bath_source import journal_named, learned_in, open_source
    from monitor.cli.arguments.common import state_of
    from monitor.core.errors import InputWrong

    state = state_of(args)
    if args.journal is not None:
        args.journal = str(journal_named(args))
    if args.adopt:
        return _adopt(args, state)
    if args.probe is not None:
        if args.inside is not None or args.coupled_to is not None:
            raise InputWrong("--inside and --coupled-to belong to --vessel; allowed: --probe with --at, or with --poured-off")
        if args.poured_off is not None:
            return _check_witness(args, state)
        return _probe(args, open_source(args).probe(args.probe), state)
    if args.poured_off is not None:
        return _check(args, state)
    return _vessel(args, open_source(args), state, learned_in(state))


def _probe(args: argparse.Namespace, series: ProbeReadings, state: Path) -> int:
    from monitor.cli.arguments.common import today
    from monitor.core.probes.learned import ProbeLag
    from monitor.core.text.degrees import difference
    from monitor.prepare.probes.lags import learn_probe_lag
    from monitor.prepare.probes.learned_store import save_probe_lag
    from monitor.prepare.state.folder import station_probe_id

    found = learn_probe_lag(series, args.at)
    if args.save:
        number = station_probe_id(args.file, series.probe) if args.file is not None else None
        save_probe_lag(state, ProbeLag(series.probe, number, found.lag_s, found.sd_s, today().isoformat()))
    lines = [
        f"{series.probe} lags {found.lag_s:.1f} +/- {two_sd(found.sd_s):.1f} s (2 sd) in stirred water, "
        f"from a jump of {difference(found.change_c, '.1f')}",
        "it is longer in still water; learn it again if you change the sleeve",
    ]
    return _print(args, _data(found), lines)


def _adopt(args: argparse.Namespace, state: Path) -> int:
    """From now on what a session told counts as if it had been measured."""
    from dataclasses import replace

    from monitor.cli.arguments.bath_source import learned_in
    from monitor.cli.arguments.common import today
    from monitor.core.errors import InputWrong
    from monitor.prepare.probes.learned_store import save_lag
    from monitor.prepare.state.folder import station_probe_id

    if args.save or args.poured_off is not None or args.inside is not None or args.coupled_to is not None or args.at is not None:
        raise InputWrong("--adopt measures nothing; allowed beside it: --probe or --vessel, a JOURNAL, --file, --state, --json")
    name = args.probe if args.probe is not None else args.vessel
    lag: ProbeLag | VesselLag | None
    if args.journal is not None:
        lag = _told_in(args)
    elif args.probe is not None:
        number = station_probe_id(args.file, name) if args.file is not None else None
        lag = learned_in(state).found_probe_lags.get(number or name)
    else:
        lag = learned_in(state).offered_vessel_lag(name)
    if lag is None:
        where = args.journal or state
        raise InputWrong(f"{where}: no session has told a lag of {name} that could be adopted; allowed: one that did so at its close")
    save_lag(state, replace(lag, adopted=True, date=today().isoformat()))
    data = {"lag_s": lag.lag_s, "sd_s": lag.sd_s, "session": lag.session}
    args.save = True
    line = f"{name}: a lag of {lag.lag_s:.1f} +/- {two_sd(lag.sd_s):.1f} s (2 sd), as session {lag.session} told it, counts from now on"
    return _print(args, data, [line])


def _told_in(args: argparse.Namespace) -> ProbeLag | VesselLag | None:
    """What the session of this journal told of the probe or vessel; None if nothing. Raises `InputWrong` for a rehearsal's."""
    from monitor.cli.arguments.common import today
    from monitor.core.errors import InputWrong
    from monitor.core.journal.records import LagFound, parse
    from monitor.core.probes.learned import ProbeLag
    from monitor.live.station.lags import found_lag
    from monitor.prepare.state.journal_lines import read_records

    opening: dict[str, Any] = {}
    found: list[ProbeLag | VesselLag] = []

    def take(record: Mapping[str, Any]) -> None:
        if record.get("kind") == "session" and record.get("event") == "open":
            opening.update(record)
            if record.get("mode") != "live":
                raise InputWrong(f"{args.journal}: a rehearsal, after which nothing is kept; allowed: the journal of a session")
        elif record.get("kind") == LagFound.kind:
            try:
                told = parse(record)
                lag = found_lag(told, opening, today()) if isinstance(told, LagFound) else None
            except (TypeError, KeyError, AttributeError) as wrong:
                raise ValueError(str(wrong)) from None
            if lag is not None and (lag.probe if isinstance(lag, ProbeLag) else lag.vessel) == (args.probe or args.vessel):
                found.append(lag)

    read_records(Path(args.journal), lambda line: b'"open"' in line or b'"learned"' in line, take)
    return found[-1] if found else None


def _vessel(args: argparse.Namespace, source: ReadingSource, state: Path, learned: Learned) -> int:
    from monitor.cli.arguments.common import today
    from monitor.core.probes.learned import DEFAULT_LAG_S, VesselLag
    from monitor.core.text.degrees import difference
    from monitor.core.text.quantities import read_volume
    from monitor.prepare.probes.lags import BOTH_COMPARED_SD_C, BOTH_NOT_COMPARED_SD_C, WHEN_AGAIN, learn_vessel_lag
    from monitor.prepare.probes.learned_store import save_vessel_lag

    inside = _inside(args, source)
    drives = _drives(source, inside, args.coupled_to)
    own = learned.probe_lag(inside.probe)
    own_s = own.lag_s if own is not None else DEFAULT_LAG_S
    names = [inside.probe, *(d.series.probe for d in drives)]
    compared = all(learned.comparison(name) is not None for name in names)
    offset_sd = BOTH_COMPARED_SD_C if compared else BOTH_NOT_COMPARED_SD_C
    found = learn_vessel_lag(inside, drives, own_s, offset_sd)
    assert found.coupled_to is not None
    if args.save:
        volume = read_volume(args.volume) if args.volume is not None else None
        day = today().isoformat()
        save_vessel_lag(state, VesselLag(args.vessel, found.lag_s, found.sd_s, found.coupled_to, day, volume, args.agitation))
    known = f"{inside.probe}'s own lag was taken to be {own_s:.1f} s" + (
        "" if own is not None else " (not learned: if it is a second more, this one is a second less)"
    )
    lines = [
        f"{args.vessel} follows the {found.coupled_to} with a lag of {_minutes(found.lag_s)} +/- {two_sd(found.sd_s):.0f} s (2 sd)",
        f"greatest difference {difference(found.change_c, '.1f')}; {known}",
    ]
    if found.against_log is not None and found.against_log < 5.0:
        lines.append("bath and room fit almost equally well: choose with --coupled-to, or use a bath far from the room's temperature")
    if found.misfit > 3.0:
        lines.append("the readings do not follow one lag closely (agitation, lid, hand?): the uncertainty is larger; better repeat the run")
    return _print(args, {**_data(found), "probe_lag_s": own_s, "probe_lag_learned": own is not None}, [*lines, WHEN_AGAIN])


def _inside(args: argparse.Namespace, source: ReadingSource) -> ProbeReadings:
    if args.inside is not None:
        return source.probe(args.inside)
    named = [s for s in source.series if s.probe == args.vessel and s.role not in ("bath", "room")]
    return named[0] if named else source.needed(*VESSEL_PROBES)


def _drives(source: ReadingSource, inside: ProbeReadings, only: str | None) -> list[Any]:
    from monitor.core.errors import InputWrong
    from monitor.prepare.probes.lags import Drive

    bath, room = source.role("bath"), source.role("room")
    drives = []
    if bath is not None and bath.probe != inside.probe and only != "room":
        drives.append(Drive(bath, "bath"))
    if room is not None and room.probe != inside.probe and only != "bath":
        drives.append(Drive(room, "room"))
    if not drives:
        wanted = only or "bath or room"
        raise InputWrong(
            f"{source.name}: no good reading of a {wanted} probe; allowed: one probe inside the vessel and one in the {wanted}"
        )
    return drives


def _check(args: argparse.Namespace, state: Path) -> int:
    from monitor.core.errors import InputWrong
    from monitor.prepare.probes.learned_store import mark_learn_again

    check, source = _poured_off(args)
    if source == "witness":
        raise InputWrong("the temperature at the end came from the witness, not from the vessel's lag; allowed: --probe with its name")
    if check.learn_again and args.save:
        mark_learn_again(state, args.vessel, check.text)
    return _print(args, _check_data(check), [f"{args.vessel}: {check.text}"], storable=check.learn_again)


def _check_witness(args: argparse.Namespace, state: Path) -> int:
    from monitor.cli.arguments.common import today
    from monitor.core.errors import InputWrong
    from monitor.core.probes.learned import WitnessCheck
    from monitor.prepare.probes.learned_store import save_witness_check
    from monitor.prepare.probes.readings import read_journal
    from monitor.prepare.state.folder import station_probe_id

    check, source = _poured_off(args)
    if args.journal is not None:
        role = read_journal(args.journal).probe(args.probe).role
        if role != "witness":
            raise InputWrong(f"{args.probe} is a {role} probe; allowed: the witness, or --vessel to check a lag")
    if source not in (None, "witness"):
        raise InputWrong(f"the temperature at the end is {source}, not the witness's; allowed: --estimated with what the witness said")
    number = station_probe_id(args.file, args.probe) if args.file is not None else None
    found = WitnessCheck(args.probe, number, check.difference_c, today().isoformat())
    if args.save:
        save_witness_check(state, found)
    return _print(args, {**_check_data(check), "shown": found.shown}, [f"{args.probe}: {check.witness_text}"])


def _poured_off(args: argparse.Namespace) -> tuple[PouredOff, str | None]:
    """Measured against estimated, and what the estimate came from: None where the person told it, or the journal does not."""
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_temperature
    from monitor.prepare.probes.lags import PouredOff
    from monitor.prepare.probes.readings import read_journal

    measured = read_temperature(args.poured_off)
    if args.estimated is not None:
        return PouredOff(read_temperature(args.estimated), measured), None
    if args.journal is None:
        raise InputWrong("the estimate is missing; allowed: the session's JOURNAL, or --estimated TEMPERATURE")
    progress = read_journal(args.journal).last_progress
    if progress is None or not isinstance(progress.get("developer_c"), (int, float)):
        raise InputWrong(
            f"{args.journal}: no progress with a temperature of the developer; allowed: a session's journal, or --estimated"
        )
    source = progress.get("source")
    return PouredOff(float(progress["developer_c"]), measured), source if isinstance(source, str) else None


def _check_data(check: PouredOff) -> dict[str, Any]:
    return {
        "estimated_c": check.estimated_c,
        "measured_c": check.measured_c,
        "difference_c": check.difference_c,
        "learn_again": check.learn_again,
    }


def _data(found: LagFound) -> dict[str, Any]:
    data: dict[str, Any] = {
        "lag_s": found.lag_s,
        "sd_s": found.sd_s,
        "change_c": found.change_c,
        "noise_c": found.sigma_c,
        "misfit": found.misfit,
    }
    if found.coupled_to is not None:
        data["coupled_to"] = found.coupled_to
    return data


def _minutes(seconds: float) -> str:
    from monitor.core.text.quantities import format_duration

    return format_duration(seconds)


def _print(args: argparse.Namespace, data: dict[str, Any], lines: list[str], *, storable: bool = True) -> int:
    """`storable`: there is something for --save to store."""
    from monitor.cli.arguments.bath_source import NOT_STORED

    stored = bool(args.save) and storable
    if args.json:
        import json

        sys.stdout.write(json.dumps({**data, "stored": stored}, ensure_ascii=False) + "\n")
        return 0
    if storable:
        lines = [*lines, "stored" if stored else NOT_STORED]
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    return 0
