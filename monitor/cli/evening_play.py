"""Plays an evening of several films for `evenbath rehearse`: one session and one journal a film, all on the trace's t_s.

Tests: tests/cli/test_rehearse_evening.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from hardware.simulated.probes import ProbeOptions
    from hardware.simulated.trace import Trace
    from monitor.core.development.beliefs import Beliefs
    from monitor.core.evening.values import Evening, Film
    from monitor.core.journal.summary import Summary
    from monitor.core.probes.readings import Role
    from monitor.core.recipe.values import Recipe
    from monitor.core.session.sounds import Vessel
    from monitor.live.disk.journal_file import JournalFile
    from monitor.live.evening import Armed

DEVELOPERS: dict[int, str] = {1: "developer", 2: "developer_2"}
"""The developer's probe of each vessel, as the trace's columns call them."""


@dataclass(slots=True)
class _Kept:
    """One film's journal and what is said of it at the end."""

    film: Film
    journal: JournalFile
    summary: Summary
    last: Mapping[str, Any]


class EveningPlay:
    """Goes through an evening and writes its journals into `folder`. `believe` says what a film's session is told; `opening` gives the
    fields of its open record."""

    def __init__(
        self, evening: Evening, folder: Path, overwrite: bool, believe: Callable[[Recipe], Beliefs],
        opening: Callable[[Beliefs], dict[str, Any]], override_gate: str | None, solutions: Sequence[Sequence[Mapping[str, Any]]] = (),
    ) -> None:  # fmt: skip
        from monitor.live.clock import RealClock

        self._evening = evening
        self._folder = folder
        self._overwrite = overwrite
        self._believe = believe
        self._opening = opening
        self._override_gate = override_gate
        self._solutions = solutions
        self._clock = RealClock()
        self._kept: list[_Kept] = []

    def run(
        self, trace: Trace, options: ProbeOptions, foot: list[tuple[float, float]] | None, speed: float | None,
    ) -> int:  # fmt: skip
        """To the end of the last film, or to Ctrl-C. Returns the exit status."""
        from hardware.simulated.probes import SimulatedProbes
        from monitor.live.evening import EveningRehearsal

        vessels = self._evening.vessels
        if len(vessels) > 1 and not trace.has_second:
            raise InputWrong("the evening has two vessels and the trace no developer_2_c; allowed: a trace with the second vessel's column")
        both: tuple[Vessel, ...] = (1, 2)
        roles = {vessel: _roles(vessel, trace.has_room) for vessel in both[: len(vessels)]}
        _make(self._folder)
        for sentence in self._warnings():
            _say(f"note: {sentence}")
        play = EveningRehearsal(self._evening, SimulatedProbes(trace, options), roles, self._arm, trace.end_s, foot)
        status = 0
        try:
            self._go(play, speed)
        except KeyboardInterrupt:
            play.abandon("stopped by the keyboard")
            status = 130
        except OSError as wrong:
            sys.stderr.write(f"{self._folder}: cannot be written any longer ({wrong.strerror}); allowed: a disk with room\n")
            return 2
        for kept in self._kept:
            kept.journal.finish()
            self._tell(kept)
        return status

    def _warnings(self) -> list[str]:
        from monitor.core.text.degrees import in_unit_shown

        recipes = dict.fromkeys(sentence for film in self._evening.films for sentence in film.recipe.warnings)
        return [in_unit_shown(sentence) for sentence in (*self._evening.warnings, *recipes)]

    def _arm(self, film: Film, vessel: Vessel) -> Armed:
        from monitor.core.journal.summary import Summary
        from monitor.core.session.session import Options, Session
        from monitor.live.clock import stamp
        from monitor.live.disk.journal_file import JournalFile
        from monitor.live.disk.session_id import session_id
        from monitor.live.evening import Armed

        name = session_id(self._clock.wall(), lambda taken: (self._folder / f"{taken}.jsonl").exists())
        kept = _Kept(film, JournalFile(self._folder / f"{name}.jsonl", self._overwrite), Summary(), {})
        self._kept.append(kept)
        beliefs = _in_vessel(self._believe(film.recipe), vessel)
        evening = {
            "name": self._evening.name, "film": film.number, "of": len(self._evening.films), "what": film.what, "vessel": film.vessel,
            "vessel_number": vessel,
        }  # fmt: skip
        session = Session(film.recipe, beliefs, Options("rehearsal", override_gate=self._override_gate, vessel=vessel))

        def write(record: dict[str, Any]) -> None:
            full = {"seq": record["seq"], "session": name, "t_s": record["t_s"], "wall": stamp(self._clock.wall()), **record}
            kept.last = full
            kept.journal.write(full)
            kept.summary.add(full)

        opening = {**self._opening(beliefs), "evening": evening}
        if self._solutions:
            opening["solutions"] = list(self._solutions[film.number - 1])
        return Armed(session, write, opening)

    def _go(self, play: Any, speed: float | None) -> None:
        import threading

        condition, start_s = threading.Condition(), self._clock.mono_s()
        while play.step():
            if speed is not None:
                with condition:
                    while self._clock.mono_s() < start_s + play.t_s / speed:
                        self._clock.wait(condition, start_s + play.t_s / speed)

    def _tell(self, kept: _Kept) -> None:
        from monitor.core.text.degrees import in_unit_shown

        where = "" if kept.film.vessel is None else f", {kept.film.vessel}"
        _say(f"Film {kept.film.number} of {len(self._evening.films)}: {kept.film.what}{where}")
        for line in kept.summary.lines():
            _say(in_unit_shown(line))
        _say(f"Journal: {kept.journal.path}")


def _roles(vessel: Vessel, has_room: bool) -> dict[str, Role]:
    return {DEVELOPERS[vessel]: "developer", "bath": "bath", **({"room": "room"} if has_room else {})}


def _in_vessel(beliefs: Beliefs, vessel: int) -> Beliefs:
    """The same beliefs, of the developer's probe in this vessel."""
    probes = tuple(replace(p, name=DEVELOPERS[vessel]) if p.role == "developer" else p for p in beliefs.probes)
    return replace(beliefs, probes=probes)


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as wrong:
        raise InputWrong(f"{folder}: cannot be used ({wrong.strerror}); allowed: a folder that you may write") from None


def _say(line: str) -> None:
    """One plain line to the person; where nobody listens any longer the journals are written all the same."""
    with suppress(OSError):
        sys.stdout.write(line + "\n")


def refuse_single_journal(args: argparse.Namespace) -> None:
    """Raise `InputWrong` for options that are about one film."""
    if args.journal is not None:
        raise InputWrong("--journal names one file, and an evening writes one journal a film; allowed: --journal-dir DIR")
    if args.view:
        raise InputWrong("--view shows one film; allowed: a recipe, or no --view")
