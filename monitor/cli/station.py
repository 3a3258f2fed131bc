"""`evenbath station`: the daemon in the foreground, on real pins and probes or on a rig."""

from __future__ import annotations

import argparse
import errno
import gc
import os
import signal
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.errors import EvenbathError, FileWrong, InputWrong, NotThere, Problem

if TYPE_CHECKING:
    from hardware.ports import ProbeBus, Sample
    from monitor.live.clock import Clock
    from monitor.live.station.log_lines import LogLines
    from monitor.live.station.station_file import StationConfig
    from monitor.live.station.telling import Telling
    from monitor.live.telemetry.mqtt import Publisher

SWITCH_INTERVAL_S = 0.001
"""By default Python hands its lock on after 5 ms; a cue should not wait that long for a busy thread of ours."""
URGENT_NICE = -10
"""The same as in the unit of the service."""
ENDING = (signal.SIGTERM, signal.SIGINT)
OF_THE_TERMINAL = (signal.SIGHUP, signal.SIGTTOU, signal.SIGTTIN)
"""A terminal that hangs up, or that belongs to another process group now, neither ends the station nor stops it."""
INTERRUPTED = 130
"""The exit status after Ctrl-C. A service manager takes 0 for success, so 0 is for SIGTERM alone."""
LOOK_AGAIN_S = 2.0
"""The kernel looks for probes every ten seconds, so one that has just been plugged in deserves a second look."""
BOOTING_S, BOOT_PATIENCE_S = 120.0, 25.0
"""So long after the boot the tree of the probes, the pins and the right to them may still be coming, and are waited for. Four of twenty
loaded boots were faster than their 1-Wire tree (own measurement)."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the contract, section 8."""
    parser.add_argument("--file", metavar="STATION.toml", required=True, help="the station file")
    parser.add_argument("--rig", metavar="DIR", help="probes from DIR/w1 and a panel of files in DIR, in place of a Pi")
    parser.add_argument("--lease-s", type=float, help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Run until a signal ends it."""
    from monitor.live.clock import RealClock
    from monitor.live.station.log_lines import LogLines, keep_standard_descriptors
    from monitor.live.station.station_file import lock_state
    from monitor.live.station.telling import LEASE_S

    if args.lease_s is not None and (args.rig is None or not 0.0 < args.lease_s <= LEASE_S):
        raise InputWrong(f"--lease-s {args.lease_s:g}: how long displays may go on shining; allowed: on a rig, up to {LEASE_S:g}")
    keep_standard_descriptors()
    config = open_station(args.file)
    lock = lock_state(config)
    log = LogLines()
    try:
        return _serve(config, RealClock(), None if args.rig is None else Path(args.rig), log, args.lease_s or LEASE_S)
    except (OSError, RuntimeError) as wrong:  # no pipe and no full disk makes a success, or an input error, of a station that died
        if isinstance(wrong, OSError) and wrong.errno in (errno.EMFILE, errno.ENFILE):
            log.say(f"evenbath station: no more files may be opened ({wrong.strerror}); allowed: a higher limit, such as ulimit -n 256")
        else:
            log.say(f"evenbath station: an error in the program itself:\n{traceback.format_exc()}")
        return 1
    finally:
        log.close()
        lock.close()


def open_station(name: str) -> StationConfig:
    """The station in this file. Raises `InputWrong` where it cannot be read, and `FileWrong` with everything that is wrong in it."""
    from monitor.cli.arguments.recipe_file import read_file
    from monitor.live.station.station_file import load_station
    from monitor.prepare.state.folder import state_folder

    return load_station(read_file(name, "station file"), name, state_folder(station_file=name))


def _serve(config: StationConfig, clock: Clock, rig: Path | None, log: LogLines, lease_s: float) -> int:
    from hardware.silence import stand_by
    from monitor.core.probes.learned import Learned
    from monitor.live.inbox import Inbox, Stop
    from monitor.live.station.control import Control
    from monitor.live.station.daemon import Station
    from monitor.live.station.keeper import Keeper
    from monitor.live.station.log_lines import OUT
    from monitor.live.station.parts import Parts
    from monitor.live.station.player import Player
    from monitor.live.station.readers import Reader
    from monitor.live.station.resume import can_go_on
    from monitor.live.station.sdnotify import Notifier
    from monitor.live.station.telling import Telling
    from monitor.live.station.unfinished import unfinished_sessions
    from monitor.prepare.probes.learned_store import load_learned, save_lag

    urgent = be_urgent()
    inbox = Inbox()
    signal.signal(signal.SIGTERM, lambda *_: inbox.put(Stop()))
    signal.signal(signal.SIGINT, lambda *_: inbox.put(Stop("keyboard")))
    for number in OF_THE_TERMINAL:
        signal.signal(number, signal.SIG_IGN)
    # Every thread that is started from here on inherits this: a signal must not cut short the kernel's wait for a conversion,
    # and only the main thread, which listens again below, is woken by one.
    signal.pthread_sigmask(signal.SIG_BLOCK, ENDING)
    unfinished = unfinished_sessions(config.journals, log.say)
    waiting = any(can_go_on(earlier, clock) for earlier in unfinished)
    try:
        learned = load_learned(config.state)
    except EvenbathError as wrong:
        if not waiting:
            raise
        learned = Learned()  # a session that waits goes on with probes that count as not compared
        log.say(f"{wrong}; the session goes on without what was learned")
    bus = open_bus(config, clock, rig, must_be_there=not waiting)
    panel = open_panel(config, clock, rig)
    beside = None if rig is not None else stand_by(config.file)
    control = Control(config.state, inbox.put, clock=clock)
    telling = Telling(config.state, clock=clock, lease_s=lease_s)
    player = Player(clock, panel.sounder, inbox.put, vibrator=panel.vibrator, sounder_2=panel.sounder_2)
    notifier = Notifier()
    publisher = open_publisher(config, clock)
    readers = [Reader(clock, bus, probe.name, probe.id, inbox.put) for probe in config.probes]
    first = [learned]
    learn: Callable[[], Learned] = lambda: first.pop() if first else load_learned(config.state)  # noqa: E731
    keeper = Keeper(clock, config.state, inbox.put, lambda: load_learned(config.state), lambda lag: save_lag(config.state, lag))
    parts = Parts(
        config, clock, inbox, panel, player, readers, learn, control.send, log.say, publisher, notifier, telling=telling, keep=keeper.keep
    )
    station = Station(parts)
    try:
        control.open()
        _open_telling(telling, log.say)
        player.start()
        log.say(priority_told(urgent, player.realtime))
        station.sessions.take_up(unfinished)
        if panel.switch is not None:
            panel.switch.listen(station.on_edge)
        if panel.switch_2 is not None:
            panel.switch_2.listen(station.on_edge_2)
        for reader in readers:
            reader.start()
        keeper.start()
        control.start()
        telling.start()
        if publisher is not None:
            publisher.start()
        gc.collect()
        gc.freeze()
        sys.setswitchinterval(SWITCH_INTERVAL_S)
        log.say(f"station {config.name}: ready", OUT)
        notifier.ready(f"station {config.name}")
        signal.pthread_sigmask(signal.SIG_UNBLOCK, ENDING)
        ended_by = station.run()
        notifier.stopping()
    finally:
        for reader in readers:
            reader.stop()
        player.stop()
        panel.close()
        if beside is not None and beside.stdin is not None:
            beside.stdin.close()  # it lets go of the pins once more, and ends
        keeper.stop()
        station.sessions.stop()
        control.stop()
        telling.stop()
        if publisher is not None:
            publisher.stop()
        notifier.close()
    return INTERRUPTED if ended_by == "keyboard" else 0


def _open_telling(telling: Telling, say: Callable[[str], None]) -> None:
    """The socket for pages. That it cannot be made stops no station: it is said, and no page shows anything."""
    try:
        telling.open()
    except OSError as wrong:
        say(f"the socket for pages cannot be made ({wrong}); the station runs without")


def be_urgent() -> bool:
    """Raise the priority of the process. Called before the threads start, which inherit it. False where this user may not."""
    try:
        os.setpriority(os.PRIO_PROCESS, 0, min(URGENT_NICE, os.getpriority(os.PRIO_PROCESS, 0)))
    except OSError:
        return False
    return True


def priority_told(urgent: bool, realtime: bool) -> str:
    """Which priorities were permitted, for the log."""
    if realtime:
        return "cues: real-time priority" + ("" if urgent else "; this user may not raise that of the other threads")
    return "cues: ordinary priority, no real-time one is permitted to this user; they can be late while the machine is busy"


class LateBus:
    """A bus whose tree is not there yet: a session goes on without it, and each read looks for it."""

    def __init__(self, make: Callable[[], ProbeBus], clock: Clock) -> None:
        self._make = make
        self._clock = clock
        self._bus: ProbeBus | None = None

    def ids(self) -> Sequence[str]:
        """No ids until the tree is there."""
        return () if self._bus is None else self._bus.ids()

    def read(self, probe_id: str) -> Sample:
        """Fault `missing` until the tree is there."""
        from hardware.errors import HardwareError
        from hardware.ports import Sample

        if self._bus is None:
            try:
                self._bus = self._make()
            except HardwareError as wrong:
                return Sample(probe_id, self._clock.mono_s(), None, "missing", str(wrong))
        return self._bus.read(probe_id)


def open_bus(config: StationConfig, clock: Clock, rig: Path | None, *, must_be_there: bool) -> ProbeBus:
    """The probes' bus. Raises `NotThere` for a missing bus or probe, unless a session waits to be resumed."""
    import threading

    from hardware.errors import HardwareAbsent
    from hardware.one_wire import OneWireBus

    base = None if rig is None else rig / "w1"
    until_s = clock.mono_s() + patience_s(clock, rig)
    pause = threading.Condition()
    while True:
        missing: list[str] = []
        bus: ProbeBus | None = None
        try:
            bus = OneWireBus(clock.mono_s, base)
            present = set(bus.ids())
            missing = [_missing(config, p.name, present) for p in config.probes if p.id not in present]
        except HardwareAbsent as wrong:
            missing = [str(wrong)]
        if bus is not None and (not missing or not must_be_there):
            return bus
        if not must_be_there:
            return LateBus(lambda: OneWireBus(clock.mono_s, base), clock)
        if clock.mono_s() >= until_s:
            raise NotThere(*missing)
        with pause:
            clock.wait(pause, clock.mono_s() + 0.25)


def patience_s(clock: Clock, rig: Path | None) -> float:
    """How long hardware that is not there is waited for: on a board that has just booted longer than on any other."""
    return BOOT_PATIENCE_S if rig is None and clock.mono_s() < BOOTING_S else LOOK_AGAIN_S


def _missing(config: StationConfig, name: str, present: set[str]) -> str:
    probe = config.probe(name)
    there = ", ".join(sorted(present)) or "none at all"
    return f"{config.file}:{probe.line}: probe {name}: {probe.id} is not on the bus; there now: {there}"


def open_panel(config: StationConfig, clock: Clock, rig: Path | None) -> Any:
    """Sounder, switch and, later and by permission only, the lamp. Raises `NotThere` and `InputWrong`."""
    from hardware.errors import HardwareAbsent, HardwareConfig

    try:
        if rig is not None:
            from hardware.rig import RigPanel

            return RigPanel(rig, config.panel, clock.mono_s)
        return _wait_for_pins(config, clock)
    except HardwareAbsent as wrong:
        raise NotThere(str(wrong)) from None
    except HardwareConfig as wrong:
        raise FileWrong([Problem(config.file, 1, str(wrong), "see [panel]")]) from None
    except OSError as wrong:
        raise InputWrong(f"{rig}: cannot be used as a rig ({wrong.strerror}); allowed: a folder that the station may write") from None


def _wait_for_pins(config: StationConfig, clock: Clock) -> Any:
    """The real panel, as soon as its pins can be had; raises what the last try raised."""
    import threading

    from hardware.errors import HardwareAbsent
    from hardware.panel import Panel

    until_s, pause = clock.mono_s() + patience_s(clock, None), threading.Condition()
    while True:
        try:
            return Panel(config.panel, clock.mono_s)
        except HardwareAbsent:
            if clock.mono_s() >= until_s:
                raise
        with pause:
            clock.wait(pause, clock.mono_s() + 0.25)


def open_publisher(config: StationConfig, clock: Clock) -> Publisher | None:
    """The publisher, where the station file names a broker; its library is loaded only then."""
    if config.mqtt is None:
        return None
    from monitor.live.telemetry.mqtt import Publisher

    return Publisher(config.mqtt, config.name, config.journals, config.state, clock)
