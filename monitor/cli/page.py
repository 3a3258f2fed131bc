"""`evenbath page`: the station on a phone; or with --class all the stations whose journals `record` keeps.

A process of its own beside the station, which neither knows nor waits for it. `page pair` and `page devices` say which phones may write
their notes with it (monitor.cli.page_pairing). Tests: tests/cli/test_page.py, tests/cli/test_page_pairing.py.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import socket
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from monitor.core.errors import InputWrong

if TYPE_CHECKING:
    from monitor.live.station.station_file import StationConfig
    from monitor.page.pulse import Source
    from monitor.page.server import PageServer

ACTIONS = ("serve", "pair", "devices")
PORT = 8410
LOOPBACK = "127.0.0.1"
NICE = 10
"""Behind everything that the station does; the same as in the unit."""
STALE_S, BLACK_S = 3.0, 15.0
"""Values are called old after the one, and a page is black after the other: sooner than the lease that the station waits for."""
ELSEWHERE = ("192.0.2.1", 9)
"""An address of no network (RFC 5737): asking which of ours leads there sends nothing."""


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the options of the contract, section 12."""
    parser.add_argument("action", choices=ACTIONS, nargs="?", default="serve", help="serve it, pair a phone, or list the paired ones")
    whose = parser.add_mutually_exclusive_group(required=True)
    whose.add_argument("--file", metavar="STATION.toml", help="the station's file; its recipes are those that stand beside it")
    whose.add_argument("--class", dest="folder", metavar="FOLDER", help="all stations whose journals `evenbath record` keeps in FOLDER")
    parser.add_argument("--port", type=int, default=PORT, help=f"default {PORT}")
    parser.add_argument("--lan", action="store_true", help="for phones in this network too; without it for this machine alone")
    parser.add_argument("--name", metavar="NAME", default="", help="pair: what the phone will be called in the list")
    parser.add_argument("--revoke", metavar="ID", help='devices: this one may write no longer; "all": none may')
    parser.add_argument("--stale-s", type=float, default=STALE_S, help=argparse.SUPPRESS)
    parser.add_argument("--black-s", type=float, default=BLACK_S, help=argparse.SUPPRESS)


def run(args: argparse.Namespace) -> int:
    """Serve until a signal ends it, or pair. Raises `InputWrong` for what is wrong on the command line or in a file."""
    _check(args)
    return _serve_page(args) if args.action == "serve" else _pairing(args)


def _pairing(args: argparse.Namespace) -> int:
    from monitor.cli.page_pairing import pair, told_devices
    from monitor.cli.station import open_station

    config = open_station(args.file)
    if args.action == "devices":
        sys.stdout.write("".join(f"{line}\n" for line in told_devices(config, args.revoke)))
        return 0
    try:
        hosts = [_own_name(), _lan_address()]
    except InputWrong:
        hosts = [LOOPBACK]
    pair(config, args.name, [f"{host}:{args.port}" for host in hosts])
    return 0


def _serve_page(args: argparse.Namespace) -> int:
    from monitor.live.clock import RealClock
    from monitor.page.desk import Desk
    from monitor.page.documents import Documents
    from monitor.page.lists import Lists
    from monitor.page.made import Maker
    from monitor.page.pairing import Pairing
    from monitor.page.pulse import Pulse
    from monitor.page.server import MOST_STREAMS, MOST_STREAMS_A_PEER
    from monitor.page.streams import Streams
    from monitor.page.writes import Writes

    clock, ending = RealClock(), threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ending.set())
    source, config = _source(args)
    pulse = Pulse(source, Streams(MOST_STREAMS, MOST_STREAMS_A_PEER), clock.mono_s)
    maker, lists, writes = None, None, None
    if config is not None:
        maker = Maker(lambda: pulse.busy)
        lists = Lists(Path(args.file).resolve(), config.state, maker, clock.wall)
        desk = Desk(config.state, lists, clock.wall, lambda: pulse.free, lambda: pulse.awake)
        writes = Writes(Pairing(config.state, clock), desk.kinds())
    documents = Documents(args.stale_s, args.black_s, "class.html" if args.folder else "page.html")
    made: list[PageServer] = []
    try:
        addresses = [LOOPBACK, *([_lan_address()] if args.lan else [])]
        for address in addresses:
            made.append(_serve(address, made[0].port if made else args.port, args.lan, pulse, documents, lists, writes))
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, 0, max(NICE, os.getpriority(os.PRIO_PROCESS, 0)))
        pulse.start()
        for server in made:
            threading.Thread(target=server.serve_forever, name="door", daemon=True).start()
        for line in _told(made, args.lan):
            sys.stdout.write(f"{line}\n")
        if args.lan and config is not None:
            _invite(config, made)
        sys.stdout.flush()
        ending.wait()
    finally:
        for server in made:
            server.shutdown()
            server.server_close()
        pulse.stop()
        if maker is not None:
            maker.close()
    return 0


def _invite(config: StationConfig, made: list[PageServer]) -> None:
    """A code for the first phone, where a person is looking: a service's log keeps no codes."""
    from monitor.cli.page_pairing import pair

    if not sys.stdout.isatty():
        sys.stdout.write("To write with a phone too: evenbath page pair\n")
        return
    try:
        pair(config, "", [f"{host}:{made[0].port}" for host in (_own_name(), made[-1].address)])
    except InputWrong as wrong:  # reading goes on without it
        sys.stdout.write(f"No phone can be paired: {wrong.lines[0]}\n")


def _check(args: argparse.Namespace) -> None:
    from monitor.live.station.telling import LEASE_S

    if args.action != "serve" and (args.folder is not None or args.lan):
        raise InputWrong(f"page {args.action} with --class or --lan; allowed: --file STATION.toml")
    if (args.name and args.action != "pair") or (args.revoke is not None and args.action != "devices"):
        raise InputWrong(f"page {args.action} with --name or --revoke; allowed: page pair --name, page devices --revoke")
    if not 0 <= args.port <= 65535:
        raise InputWrong(f"--port {args.port}: allowed: 1 to 65535")
    if not 0.0 < args.stale_s < args.black_s < LEASE_S:
        told = f"--stale-s {args.stale_s:g} --black-s {args.black_s:g}"
        raise InputWrong(f"{told}: allowed: the one below the other, and that below {LEASE_S:g}")


def _source(args: argparse.Namespace) -> tuple[Source, StationConfig | None]:
    """Where snapshots come from, and the one station's file."""
    from monitor.live.clock import RealClock
    from monitor.page.board import Board
    from monitor.page.class_board import ClassBoard
    from monitor.page.hearing import Hearing
    from monitor.page.station_source import StationSource

    clock = RealClock()
    if args.folder is not None:
        folder = Path(args.folder)
        if not folder.is_dir():
            raise InputWrong(f"--class {folder}: no folder; allowed: the one that evenbath record keeps journals in")
        return ClassBoard(folder, clock.wall), None
    from monitor.cli.station import open_station

    config = open_station(args.file)
    return StationSource(Hearing(config.state), Board(config.journals, args.black_s, clock.wall)), config


def _serve(address: str, port: int, lan: bool, pulse: Any, documents: Any, lists: Any, writes: Any) -> PageServer:
    from monitor.live.clock import RealClock
    from monitor.page.server import PageServer

    names = [_own_name()] if lan or address == LOOPBACK else []
    try:
        return PageServer((address, port), names, pulse, documents, lists, RealClock().mono_s, writes)
    except OSError as wrong:
        raise InputWrong(f"{address}:{port} cannot be served ({wrong.strerror}); allowed: a free --port") from None


def _own_name() -> str:
    """As the network's own name service calls this machine."""
    return f"{socket.gethostname().split('.')[0].lower()}.local"


def _lan_address() -> str:
    """The IPv4 address of this machine in its private network. Raises `InputWrong` where it has none."""
    from monitor.page.guards import private

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as end:
        try:
            end.connect(ELSEWHERE)
            address = str(end.getsockname()[0])
        except OSError:
            address = ""
    if not private(address) or address.startswith("127."):
        told = address or "none at all"
        raise InputWrong(f"--lan: this machine's address is {told}; allowed: one of a private network, such as 192.168.1.20")
    return address


def _told(made: list[PageServer], lan: bool) -> list[str]:
    """The addresses, one a line."""
    port = made[0].port
    lines = [f"page: http://{LOOPBACK}:{port}/"]
    if lan:
        lines.append(f"on a phone: http://{_own_name()}:{port}/ or, where that is not found, http://{made[-1].address}:{port}/")
        lines.append("Everybody in this network can read it; nobody can start, stop or light anything with it.")
    return lines
