"""`evenbath rehearse`: a whole evening on simulated liquids, in real time, N times as fast, or as fast as the machine can."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.ledger_times import add_ledger
from monitor.cli.arguments.probe_options import add_probe_options, open_trace, options_from, read_number
from monitor.core.errors import InputWrong
from monitor.core.probes.readings import Role

if TYPE_CHECKING:
    from monitor.cli.arguments.ledger_times import LedgerTimes
    from monitor.core.development.beliefs import Beliefs
    from monitor.core.evening.values import Evening
    from monitor.core.session.session import Session
    from monitor.live.disk.journal_file import JournalFile
    from monitor.live.rehearsal import Rehearsal

ROLES: dict[str, Role] = {"developer": "developer", "bath": "bath", "room": "room"}
VESSEL_LAG_SD = 0.05
"""A lag learned from one run with water is good to about 5 % (simulated runs of this project, tests/prepare)."""
DEMO_COMPARISON_SD_C = 0.09
"""The probes of the invented evenings were compared in melting ice: 0.02 C of the ice, 0.01 C of scatter and 0.004 C for each of 20 C
that a usual probe's slope may be off (`monitor.prepare.probes.comparing`), in quadrature and rounded up."""
DEMO = Path(__file__).parent / "demo"


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the contract, section 4."""
    parser.add_argument("recipe", nargs="?", help="the recipe, or an evening's file; without one a built-in evening is played")
    parser.add_argument("--trace", metavar="TRACE.csv", help="what the liquids really do")
    parser.add_argument("--journal", metavar="OUT.jsonl", help="where the journal goes (default: rehearsal-SESSION.jsonl here)")
    parser.add_argument("--journal-dir", metavar="DIR", help="where the journals of an evening go, one a film")
    parser.add_argument("--speed", default=None, help="1 is real time, N is N times as fast, max as fast as the machine can (default max)")
    parser.add_argument("--overwrite", action="store_true", help="replace the journal if it is there")
    add_probe_options(parser)
    parser.add_argument("--vessel-lag-s", metavar="SECONDS", help="a learned lag of the vessel (default: none)")
    parser.add_argument("--vessel-in", choices=("bath", "room"), default="bath", help="what the vessel follows (default bath)")
    parser.add_argument("--pour-c", metavar='"20.3 C"', help="measured by the person at pour-in")
    parser.add_argument("--comparison-sd-c", metavar="DEGREES", help="uncertainty of the probe's comparison (default: not compared, 0.29)")
    parser.add_argument("--override-gate", metavar='"why"', help="begin although the gate is closed; the reason is written down")
    parser.add_argument("--foot", metavar="FOOT.csv", help="presses (columns down_s,up_s): then the person does these and nothing else")
    parser.add_argument("--state", metavar="FOLDER", help="say what the ledger in this state folder says of the film (default: nothing)")
    add_ledger(parser)
    parser.add_argument("--view", action="store_true", help="show the live view at any speed")


def run(args: argparse.Namespace) -> int:
    """Play it. Returns 0 when the session went to its end."""
    from monitor.core.text.degrees import in_unit_shown

    demo = args.recipe is None and args.trace is None
    if not demo and (args.recipe is None or args.trace is None):
        raise InputWrong("a recipe needs a trace and a trace needs a recipe; allowed: RECIPE.toml --trace TRACE.csv, or neither of them")
    speed = _speed(args.speed if args.speed is not None else ("60" if demo else "max"))

    from monitor.cli.arguments.recipe_file import open_evening
    from monitor.live.clock import RealClock

    evening = open_evening(str(DEMO / "evening.toml") if demo else args.recipe)
    told = _ledger(args, evening)
    evening = told.evening
    recipe = evening.films[0].recipe
    trace = open_trace(str(DEMO / "evening.csv") if demo else args.trace)
    options = options_from(args)
    beliefs = _beliefs(args, recipe, options.lag_s, trace.has_room, demo)
    why = args.override_gate
    if why is not None and not why.strip():
        raise InputWrong("--override-gate has no reason; allowed: a few words that will be written into the journal")

    from hardware.simulated.probes import SimulatedProbes
    from monitor.cli.arguments.foot_file import open_foot
    from monitor.core.session.session import Options, Session
    from monitor.live.disk.journal_file import JournalFile
    from monitor.live.disk.session_id import session_id
    from monitor.live.rehearsal import Rehearsal

    foot = None if args.foot is None else open_foot(args.foot)
    clock = RealClock()
    if not evening.from_recipe or args.journal_dir is not None:
        from monitor.cli.evening_play import EveningPlay, refuse_single_journal

        refuse_single_journal(args)
        believe = lambda recipe: _beliefs(args, recipe, options.lag_s, trace.has_room, demo=False)  # noqa: E731
        opening = lambda beliefs: _opening(args, beliefs, options.lag_s, clock.zone())  # noqa: E731
        play_all = EveningPlay(evening, Path(args.journal_dir or "."), args.overwrite, believe, opening, why, told.solutions)
        for sentence in told.said:
            sys.stdout.write(f"note: {sentence}\n")
        return play_all.run(trace, options, foot, speed)
    folder = Path(args.journal).parent if args.journal else Path()
    name = session_id(clock.wall(), lambda taken: (folder / f"rehearsal-{taken}.jsonl").exists())
    path = Path(args.journal) if args.journal else Path(f"rehearsal-{name}.jsonl")
    _keep_the_input(path, args)
    journal = JournalFile(path, args.overwrite)
    session = Session(recipe, beliefs, Options("rehearsal", override_gate=why))
    play = _Showing(session, journal, name, clock, speed)
    rehearsal = Rehearsal(session, SimulatedProbes(trace, options), ROLES, play.write, trace.end_s, foot)
    for sentence in (*recipe.warnings, *told.said):
        play.say(f"note: {in_unit_shown(sentence)}")
    watch = demo or args.view or speed is not None
    opening_fields = _opening(args, beliefs, options.lag_s, clock.zone())
    if told.solutions:
        opening_fields["solutions"] = list(told.solutions[0])
    return play.run(rehearsal, opening_fields, watch)


def _ledger(args: argparse.Namespace, evening: Evening) -> LedgerTimes:
    """What the ledger of `--state` says; without that option nothing. Raises `InputWrong`."""
    from monitor.cli.arguments.common import today
    from monitor.cli.arguments.ledger_times import LedgerTimes, ledger_times

    if args.state is None:
        if args.ledger is not None:
            raise InputWrong("--ledger without --state; allowed: both, the folder whose ledger it is")
        return LedgerTimes(evening, (), ())
    return ledger_times(Path(args.state), evening, today(), args.ledger)


def _keep_the_input(journal: Path, args: argparse.Namespace) -> None:
    """`--overwrite` must never reach the recipe or the trace. Raises `InputWrong`."""
    for name in (args.recipe, args.trace, args.foot):
        if name is not None and journal.exists() and journal.samefile(name):
            raise InputWrong(f"{journal}: is the file that is read; allowed: another name for the journal")


def _speed(text: str) -> float | None:
    if text == "max":
        return None
    try:
        speed = read_number("--speed", text)
    except InputWrong:
        speed = 0.0
    if not 0.01 <= speed <= 1e6:
        raise InputWrong(f'--speed "{text[:40]}"; allowed: 1 for real time, a number above 0, or max')
    return speed


def _beliefs(args: argparse.Namespace, recipe: Any, lag_s: float, has_room: bool, demo: bool) -> Beliefs:
    """What the core is told: the probe's lag and comparison, the vessel's learned lag, the temperature at pour-in."""
    from monitor.core.development.beliefs import Beliefs, ProbeModel, Vessel
    from monitor.core.probes.learned import NOT_COMPARED_SD_C
    from monitor.core.text.quantities import read_temperature

    sd_c = NOT_COMPARED_SD_C
    if args.comparison_sd_c is not None:
        sd_c = read_number("--comparison-sd-c", args.comparison_sd_c)
        if not 0.0 <= sd_c <= 5.0:
            raise InputWrong(f"--comparison-sd-c {sd_c:g}; allowed: 0 to 5")
    elif demo:
        sd_c = DEMO_COMPARISON_SD_C
    compared = demo or args.comparison_sd_c is not None
    vessel = None
    if args.vessel_lag_s is not None or demo:
        vessel_lag_s = 360.0 if args.vessel_lag_s is None else read_number("--vessel-lag-s", args.vessel_lag_s)
        if not 1.0 <= vessel_lag_s <= 86400.0:
            raise InputWrong(f"--vessel-lag-s {vessel_lag_s:g}; allowed: 1 to 86400")
        if args.vessel_in == "room" and not has_room:
            raise InputWrong("--vessel-in room, but the trace has no room_c; allowed: bath, or a trace with room_c")
        vessel = Vessel(vessel_lag_s, VESSEL_LAG_SD * vessel_lag_s, args.vessel_in)
    probes = [ProbeModel("developer", "developer", lag_s, sd_c, compared), ProbeModel("bath", "bath", 0.0, sd_c, compared)]
    if has_room:
        probes.append(ProbeModel("room", "room", 0.0, NOT_COMPARED_SD_C, False))
    steered = next((s for s in recipe.stages if s.role == "develop"), recipe.stages[0])
    pour_c = None if args.pour_c is None else read_temperature(args.pour_c)
    return Beliefs(steered.reference_c, tuple(probes), vessel, pour_c)


def _opening(args: argparse.Namespace, beliefs: Beliefs, lag_s: float, zone: str) -> dict[str, Any]:
    """Fields of the open record beyond recipe and mode: what every number that follows rests on."""
    from dataclasses import asdict

    from monitor import __version__

    return {
        "version": __version__,
        "zone": zone,
        "probes": [probe.opening for probe in beliefs.probes],
        "compared": beliefs.probes[0].was_compared,
        "vessel": None if beliefs.vessel is None else asdict(beliefs.vessel),
        "pour_c": beliefs.pour_c,
        "trace": "built-in" if args.trace is None else Path(args.trace).name,
    }


class _JournalFails(Exception):
    """The journal cannot be written any longer; any other trouble with a file or a pipe is not the journal's."""

    def __init__(self, wrong: OSError) -> None:
        super().__init__(str(wrong))
        self.wrong = wrong


class _Showing:
    """Goes through a rehearsal at its speed, writes the journal and shows what happens."""

    def __init__(self, session: Session, journal: JournalFile, name: str, clock: Any, speed: float | None) -> None:
        from monitor.core.journal.summary import Summary

        self._session = session
        self._journal = journal
        self._name = name
        self._clock = clock
        self._speed = speed
        self._summary = Summary()
        self._last: dict[str, Any] = {}
        self._watcher: Any = None

    def say(self, line: str) -> None:
        """One plain line to the person; where nobody listens any longer the journal is written all the same."""
        import contextlib

        with contextlib.suppress(OSError):
            sys.stdout.write(line + "\n")

    def write(self, record: dict[str, Any]) -> None:
        """One record of the session: to the journal, to the summary, to the view."""
        from monitor.live.clock import stamp

        full = {"seq": record["seq"], "session": self._name, "t_s": record["t_s"], "wall": stamp(self._clock.wall())}
        full.update(record)
        self._last = full
        try:
            self._journal.write(full)
        except OSError as wrong:
            raise _JournalFails(wrong) from None
        self._summary.add(full)
        if self._watcher is not None:
            self._watch(lambda watcher: watcher.record(full))

    def run(self, rehearsal: Rehearsal, opening: dict[str, Any], watch: bool) -> int:
        """To the end, or to Ctrl-C, or to a full disk; the journal is closed with its reason in each case."""
        from monitor.core.text.degrees import in_unit_shown

        if watch:
            from monitor.live.view.screen import open_view

            self._watcher = open_view(self._session, self._speed)
        status = 0
        try:
            rehearsal.open(opening)
            self._go(rehearsal)
        except KeyboardInterrupt:
            rehearsal.abandon("stopped by the keyboard")
            status = 130
        except _JournalFails as fails:
            self._close_view()
            return self._full_disk(fails.wrong)
        finally:
            self._close_view()
        try:
            self._journal.finish()
        except OSError as wrong:
            return self._full_disk(wrong)
        for line in self._summary.lines():
            self.say(in_unit_shown(line))
        for line in self._why_withheld(rehearsal.t_s):
            self.say(line)
        self.say(f"Journal: {self._journal.path}")
        return status

    def _why_withheld(self, t_s: float) -> Iterator[str]:
        """Where the gate never opened: what it wanted, what it saw, and how to begin all the same."""
        from monitor.core.text.degrees import degrees, plain, plain_difference
        from monitor.core.text.quantities import format_duration

        session = self._session
        gated = next((s for s in session.recipe.stages if s.gate is not None), None)
        if not session.waits_for_gate or gated is None or gated.gate is None:
            return
        seen_c = session.snapshot.developer_c
        saw = "nothing was known of it" if seen_c is None else f"it was at {degrees(seen_c, '.2f')}"
        band = f"{plain_difference(gated.gate.band_c)} of {plain(gated.reference_c)}"
        yield f"The developer must be within {band} for {format_duration(gated.gate.for_s)}; at the end {saw}."
        yield 'A trace that comes there opens it; --override-gate "why" begins all the same, and the reason is recorded.'

    def _watch(self, look: Callable[[Any], None]) -> None:
        """Nobody looks any longer (a closed pipe, a terminal that is gone): the session goes on to its end all the same."""
        try:
            look(self._watcher)
        except OSError:
            self._watcher = None

    def _close_view(self) -> None:
        if self._watcher is not None:
            self._watch(lambda watcher: watcher.close())
            self._watcher = None

    def _go(self, rehearsal: Rehearsal) -> None:
        import threading

        condition = threading.Condition()
        start_s = self._clock.mono_s()
        while rehearsal.step():
            if self._speed is None:
                continue
            ahead_s = rehearsal.t_s / self._speed
            with condition:
                while self._clock.mono_s() < start_s + ahead_s:
                    if self._watcher is not None:
                        self._watch(lambda watcher: watcher.show())
                    self._clock.wait(condition, min(start_s + ahead_s, self._clock.mono_s() + 0.25))

    def _full_disk(self, wrong: OSError) -> int:
        import sys

        closing: dict[str, Any] = {k: self._last[k] for k in ("seq", "session", "t_s", "wall")}
        closing |= {"kind": "session", "event": "close", "why": f"the journal could not be written: {wrong.strerror}"}
        done = self._journal.close_on_full_disk(closing)
        sys.stderr.write(f"{self._journal.path}: cannot be written any longer ({wrong.strerror}); {done}; allowed: a disk with room\n")
        return 2
