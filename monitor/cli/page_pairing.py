"""`evenbath page pair` and `page devices`: a code for a phone, also as a QR code, and which phones may write.

The QR code is a bright patch: it is shown on a terminal alone, 35 columns wide or more, and never while a session is open or bare film is
armed or was left. Its library (segno, extra `page`) is imported here alone; without it a line says so.
Tests: tests/cli/test_page_pairing.py.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from monitor.live.station.station_file import StationConfig
    from monitor.page.pairing import Device

COLUMNS = 35
WORD_S = 1.5
"""So long the station is listened to: it tells twice a second."""
QUIET_MODULES = 2
"""Of light ground around the code: 29 modules and these are 33 columns (page.md, section 5)."""
BLOCKS = {(True, True): " ", (True, False): "▄", (False, True): "▀", (False, False): "█"}
"""Upper and lower module, dark or light: what is light is drawn, as terminals write light on dark. On one that does not the code is turned
round, which not every camera reads; no colour can be set, since nothing of this command's output is an escape sequence."""


def pair(config: StationConfig, name: str, hosts: Sequence[str]) -> None:
    """Make a code and print it with the addresses of the page, `hosts` with their port. Raises `InputWrong`."""
    from monitor.live.clock import RealClock
    from monitor.page.pairing import Pairing, shown_code

    code = shown_code(Pairing(config.state, RealClock()).new_code(name))
    urls = [f"http://{host}/pair#{code}" for host in hosts]
    print_all([*invitation(urls, code), *_qr(config, urls[-1])])


def invitation(urls: Sequence[str], code: str) -> list[str]:
    """Both addresses and the code, in words."""
    or_else = [f"or, where that is not found, {url}" for url in urls[1:]]
    return [f"pair a phone: {urls[0]}", *or_else, f"code: {code}, which counts once, for 5 minutes"]


def _qr(config: StationConfig, url: str) -> list[str]:
    if not sys.stdout.isatty() or shutil.get_terminal_size().columns < COLUMNS:
        return []
    from monitor.live.clock import RealClock
    from monitor.page.hearing import word_within
    from monitor.page.light import nothing_is_out

    if not nothing_is_out(config.journals, word_within(config.state, WORD_S), RealClock().wall()):
        return ["No QR code: it is bright, and a session is open, or film or paper may be bare."]
    return qr_lines(url)


def qr_lines(text: str) -> list[str]:
    """The text as a QR code of half blocks; a sentence where segno is not installed."""
    try:
        import segno
    except ImportError:
        return ['No QR code: segno is not installed; pip install "evenbath[page]" brings it.']
    rows = [list(map(bool, row)) for row in segno.make(text, error="m", micro=False).matrix_iter(border=QUIET_MODULES)]
    rows += [[False] * len(rows[0])] * (len(rows) % 2)
    return ["".join(BLOCKS[pair] for pair in zip(upper, lower, strict=True)) for upper, lower in zip(rows[::2], rows[1::2], strict=True)]


def told_devices(config: StationConfig, revoke: str | None) -> list[str]:
    """The phones that may write, a line each, after one or "all" were revoked. Raises `InputWrong`."""
    from monitor.live.clock import RealClock
    from monitor.page.pairing import Pairing

    pairing = Pairing(config.state, RealClock())
    gone = () if revoke is None else pairing.revoke(None if revoke == "all" else revoke)
    left = pairing.devices()
    lines = [f"revoked: {_line(device)}" for device in gone] + [_line(device) for device in left]
    return lines if left else [*lines, "No phone is paired. To pair one: evenbath page pair"]


def _line(device: Device) -> str:
    paired = datetime.fromisoformat(device.paired).astimezone()
    return f"{device.id}  {device.name}, paired {paired:%Y-%m-%d %H:%M}{'' if device.used else ', never used'}"


def print_all(lines: Sequence[str]) -> None:
    """To standard output, at once."""
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    sys.stdout.flush()
