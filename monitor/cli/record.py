"""`evenbath record --broker HOST --into FOLDER`: keep the journals of stations that publish on a broker.

Decides nothing itself: monitor.live.telemetry.recorder does. Prints a line when recording begins, when a session is complete,
when the broker is lost and when it is back, and at the end. Ends with 0 at Ctrl-C or SIGTERM.
Tests: tests/live/telemetry/test_recorder_cli.py.
"""

from __future__ import annotations

import argparse
import sys


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--broker", required=True, metavar="HOST[:PORT]", help="the broker; port 1883 if left out, 8883 with TLS")
    parser.add_argument("--into", required=True, metavar="FOLDER", help="journals are kept as FOLDER/STATION/SESSION.jsonl")
    parser.add_argument("--station", action="append", default=[], metavar="NAME", help="only this station; may be repeated; default: all")
    parser.add_argument("--until-closed", metavar="SESSION", help="end with status 0 once this session is complete")
    parser.add_argument("--user", metavar="NAME", help="the broker's user")
    parser.add_argument("--password-file", metavar="FILE", help="its first line is the password")
    parser.add_argument("--ca-file", metavar="FILE", help="use TLS, and check the broker's certificate against this one")
    parser.add_argument("--cert-file", metavar="FILE", help="a certificate for this client")
    parser.add_argument("--key-file", metavar="FILE", help="the key that belongs to --cert-file")
    parser.add_argument("--client-id", metavar="TEXT", help="the id of this client; a random one if left out")


def run(args: argparse.Namespace) -> int:
    """Record. Raises `InputWrong` for arguments and folder, and `NotThere` if there is no broker at the start."""
    import secrets
    import signal
    from pathlib import Path

    from monitor.live.broker import MqttConfig
    from monitor.live.clock import RealClock
    from monitor.live.telemetry.recorder import Recorder

    host, port = _address(args.broker, tls=args.ca_file is not None or args.cert_file is not None)
    config = MqttConfig(
        host=host,
        port=port,
        user=args.user,
        password_file=args.password_file,
        ca_file=args.ca_file,
        cert_file=args.cert_file,
        key_file=args.key_file,
    )
    client_id = args.client_id or f"evenbath-{secrets.token_hex(6)}"
    recorder = Recorder(config, client_id, Path(args.into), args.station, RealClock(), _say, args.until_closed)
    before = {number: signal.signal(number, lambda *_: recorder.stop()) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        if recorder.complete():
            _say(f"{args.until_closed}: complete already")
            return 0
        if not recorder.connect():
            return 0
        _say(f"recording {', '.join(args.station) or 'every station'} from {host}:{port} into {args.into}")
        recorder.run()
        _say(recorder.summary())
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        recorder.close()
    return 0


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _address(text: str, tls: bool) -> tuple[str, int]:
    """HOST, HOST:PORT, or [ADDRESS]:PORT for an address with colons."""
    import re

    from monitor.core.errors import InputWrong
    from monitor.live.broker import HOST, usual_port

    found = re.fullmatch(rf"(?:\[(?P<six>[0-9A-Fa-f:.]+)\]|(?P<host>{HOST.pattern}))(?::(?P<port>[0-9]{{1,5}}))?", text)
    if found is None or (found["port"] and not 0 < int(found["port"]) < 65536):
        raise InputWrong(f'--broker "{text}"; allowed: HOST or HOST:PORT, such as broker.lan, 192.0.2.4:1883 or [2001:db8::4]:1883')
    return found["six"] or found["host"], int(found["port"] or usual_port(tls))
