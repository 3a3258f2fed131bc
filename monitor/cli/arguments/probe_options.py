"""The options of simulated probes, shared by `rehearse` and `rig`, and the trace that both play.

Decides what is refused and how it is said; what the probes do is decided in hardware.simulated. Tests: tests/hardware/test_rig_command.py.
"""

from __future__ import annotations

import argparse
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.core.errors import FileWrong, InputWrong, Problem

if TYPE_CHECKING:
    from hardware.simulated.probes import ProbeOptions
    from hardware.simulated.trace import Trace

_OPTIONS = {"lag_s": "--probe-lag-s", "noise_c": "--probe-noise-c", "start_c": "--probe-start-c", "offset_c": "--offset-c"}


def add_probe_options(parser: argparse.ArgumentParser) -> None:
    """Declare `--probe-lag-s`, `--probe-noise-c`, `--probe-start-c`, `--offset-c` and `--seed`; `options_from` reads them."""
    parser.add_argument("--probe-lag-s", metavar="SECONDS", default="8", help="lag of the developer's probe (default 8)")
    parser.add_argument("--probe-noise-c", metavar="DEGREES", default="0.02", help="noise of each probe, standard deviation (default 0.02)")
    parser.add_argument("--probe-start-c", metavar="DEGREES", help="what the developer's probe reads at the start (default: settled)")
    parser.add_argument("--offset-c", metavar="DEGREES", default="0", help="an error of the developer's probe; positive: it reads high")
    parser.add_argument("--seed", metavar="NUMBER", default="7", help="seed of the noise: same seed, same readings (default 7)")


def options_from(args: argparse.Namespace) -> ProbeOptions:
    """The options as given. Raises `InputWrong` for text that is not a number and for numbers out of range."""
    from hardware.errors import HardwareConfig
    from hardware.simulated.probes import ProbeOptions

    try:
        return ProbeOptions(
            lag_s=read_number("--probe-lag-s", args.probe_lag_s),
            noise_c=read_number("--probe-noise-c", args.probe_noise_c),
            start_c=None if args.probe_start_c is None else read_number("--probe-start-c", args.probe_start_c),
            offset_c=read_number("--offset-c", args.offset_c),
            seed=_seed(args.seed),
        )
    except HardwareConfig as wrong:
        field = str(wrong).split()[0]
        raise InputWrong(str(wrong).replace(field, _OPTIONS[field], 1)) from None


def read_number(option: str, text: str) -> float:
    """A finite number given to an option. Raises `InputWrong`."""
    from monitor.cli.arguments.numbers import read_plain

    return read_plain(option, text, "a finite number, in the unit of the option's name")


def _seed(text: str) -> int:
    if not (text.removeprefix("-").isascii() and text.removeprefix("-").isdigit() and len(text) <= 20):
        raise InputWrong(f'--seed "{text[:40]}" is not a whole number; allowed: such as 7')
    return int(text)


def open_trace(name: str) -> Trace:
    """The trace in this file. Raises `InputWrong` if it cannot be read and `FileWrong` with everything that is wrong in it."""
    from hardware.errors import TraceWrong
    from hardware.simulated.trace import load_trace

    try:
        if not stat.S_ISREG(Path(name).stat().st_mode):
            raise InputWrong(f"{name}: not a file; allowed: the path of a trace in CSV")
        return load_trace(Path(name).read_bytes())
    except TraceWrong as wrong:
        raise FileWrong(Problem(name, line, what, allowed) for line, what, allowed in wrong.problems) from None
    except (OSError, ValueError) as wrong:
        if isinstance(wrong, InputWrong):
            raise
        why = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else "not a valid path"
        raise InputWrong(f"{name}: cannot be read ({why}); allowed: the path of a trace in CSV") from None
