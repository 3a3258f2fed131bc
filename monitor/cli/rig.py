"""`evenbath rig DIR --trace TRACE.csv`: a virtual probe bus that plays a trace, for `evenbath station --rig DIR`.

Joins hardware.rig to the clock and to the signals that end it; decides nothing else. Tests: tests/hardware/test_rig_command.py.
"""

from __future__ import annotations

import argparse
import signal
import sys
import threading
from contextlib import closing

from monitor.cli.arguments.probe_options import add_probe_options

HANDS = """foot, hand and ears, in another shell:
  (echo down; sleep 0.2; echo up) > DIR/switch   a tap; with sleep 1.2 the press that begins what waits
  echo lift developer > DIR/hand                 takes the probe out of its liquid; also bath
  echo dip developer > DIR/hand                  puts it back
  tail -f DIR/panel.jsonl                        every edge of sounder and lamp: sounds are counted here
A lifted probe goes towards the trace's room_c, as slowly as a wet probe in still air (two minutes; where the
trace has no room: towards 5 C below its liquid). The station makes DIR/switch, the rig makes DIR/hand."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.epilog = HANDS
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("directory", metavar="DIR", help="the rig's folder; made if it is not there, used again if it is")
    parser.add_argument("--trace", metavar="TRACE.csv", required=True, help="what the liquids really do")
    parser.add_argument("--speed", metavar="TIMES", default="1", help="times real time (default 1)")
    add_probe_options(parser)


def run(args: argparse.Namespace) -> int:
    """Play until the trace ends or a signal stops it; both are 0. Raises `InputWrong` and `FileWrong`."""
    from pathlib import Path

    from hardware.errors import HardwareConfig
    from hardware.rig import PROBE_IDS, RigPlayer
    from monitor.cli.arguments.probe_options import open_trace, options_from, read_number
    from monitor.core.errors import InputWrong
    from monitor.live.clock import RealClock

    trace = open_trace(args.trace)
    options = options_from(args)
    speed = read_number("--speed", args.speed)
    if not 0.01 <= speed <= 10_000:
        raise InputWrong(f"--speed {args.speed} is out of range; allowed: 0.01 to 10000")
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    try:
        player = RigPlayer(Path(args.directory), trace, options, _say)
        probes = ", ".join(f"{name} {PROBE_IDS[name]}" for name in PROBE_IDS if name != "room" or trace.has_room)
        _say(f"rig {args.directory}: {trace.end_s:g} s of trace at {speed:g} times real time; {probes}")
        with closing(player):
            ended = player.play(speed, RealClock().mono_s, stop.wait)
    except HardwareConfig as wrong:
        raise InputWrong(str(wrong)) from None
    except (OSError, ValueError) as wrong:
        why = wrong.strerror if isinstance(wrong, OSError) and wrong.strerror else str(wrong)
        raise InputWrong(f"{args.directory}: cannot be used as the rig's folder ({why}); allowed: a writable folder") from None
    _say(f"rig {args.directory}: {'the trace has ended' if ended else 'stopped'}; the probes stay at their last values")
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()
