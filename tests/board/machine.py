"""The board as seen from outside: power, foot, probes, the levels of its pins, and lines of shell inside it.

    with Board(made, "try") as board:
        board.power_on()
        board.sh("systemctl status evenbath")
        board.power_cut()

The power cut is a SIGKILL of the emulator: what the guest had handed over to its card by then is there, nothing else.
"""

from __future__ import annotations

import json
import re
import shutil
import signal
import socket
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.board.making import Made, cache

SOUNDER, LAMP, SWITCH = 18, 23, 24
PROBE, BATH = "28-0316a2795f3c", "28-0416c1a2b3d4"
PULL = "/sys/devices/platform/gpio-simulator/gpiochip0/sim_gpio{}/pull"
BUS = "/sys/devices/platform/onewire/ctl"
TRACE = "/sys/kernel/tracing/trace"
WATCHED = "trace_event=gpio:gpio_value,gpio:gpio_direction trace_clock=mono trace_buf_size=4M"
"""On the kernel's command line, so that the first edge after power-on is seen."""
FILE = "--file /etc/evenbath/station.toml"
JOURNALS = "/var/lib/evenbath/journals"
CPUS, MEMORY_MB = 2, 1024
"""With one processor this machine delivers no interrupt between processors, and no edge of the switch would ever arrive."""


class Off(Exception):
    """The board is not there any more, or not yet."""


@dataclass(frozen=True)
class Edge:
    """A level that the kernel set on an output: seconds since the board's start."""

    mono_s: float
    pin: int
    high: bool


class Board:
    """One board with a card of its own, named after the folder in which everything of it stands."""

    def __init__(self, made: Made, name: str, clock: str = "base=utc") -> None:
        self.folder = cache() / "runs" / name
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        self.card = self.folder / "card.img"
        subprocess.run(["cp", "--sparse=always", made.card, self.card], check=True)
        self.clock = clock
        self.drive: str | None = None
        self.lives = 0
        self._made = made
        self._process: subprocess.Popen[bytes] | None = None
        self._port: socket.socket | None = None
        self._rest = b""
        self._asked = 0
        self._on_s = 0.0

    def __enter__(self) -> Board:
        return self

    def __exit__(self, *_: object) -> None:
        self.power_cut()
        self.card.unlink(missing_ok=True)

    # -- power ------------------------------------------------------------------------------------------------------

    def power_on(self, station_within_s: float | None = 400.0) -> float:
        """Switch on, and wait until the station says that it is ready (unless None). Returns how many seconds that took."""
        self.lives += 1
        port = self.folder / "agent.sock"
        port.unlink(missing_ok=True)
        drive = self.drive or f"file={self.card},format=raw,cache=writeback"
        words = [
            *("nice", "-n", "3", "qemu-system-aarch64", "-M", "virt,gic-version=2", "-cpu", "cortex-a72"),
            *("-accel", "tcg,thread=multi,tb-size=256", "-smp", str(CPUS), "-m", str(MEMORY_MB)),
            *("-dtb", str(self._made.device_tree), "-kernel", str(self._made.kernel), "-initrd", str(self._made.early_disk)),
            *("-append", f"console=ttyAMA0 root=/dev/vda ro panic=-1 loglevel=4 {WATCHED}"),
            *("-drive", f"if=none,id=card,{drive}", "-device", "virtio-blk-device,drive=card", "-device", "virtio-serial-device"),
            *("-chardev", f"socket,id=agent,path={port},server=on,wait=off", "-device", "virtserialport,chardev=agent,name=board"),
            *("-rtc", self.clock, "-display", "none", "-nic", "none", "-monitor", "none", "-no-reboot"),
            *("-serial", f"file:{self.folder}/console-{self.lives}.log"),
        ]
        self._on_s = time.monotonic()
        with (self.folder / "emulator.log").open("ab") as log:
            self._process = subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=log, stderr=log)
        while not port.exists():
            if self._process.poll() is not None:
                raise Off((self.folder / "emulator.log").read_text()[-1000:])
            time.sleep(0.05)
        self._port = socket.socket(socket.AF_UNIX)
        self._port.connect(str(port))
        self._rest = b""
        while not self._line(300.0).get("up"):
            pass
        if station_within_s is not None:
            self.until("systemctl is-active evenbath", "active", station_within_s)
        return time.monotonic() - self._on_s

    def power_cut(self) -> None:
        """Take the power away, whatever it does."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
        self._process = None
        if self._port is not None:
            self._port.close()
            self._port = None

    # -- inside -----------------------------------------------------------------------------------------------------

    def _line(self, within_s: float) -> dict[str, Any]:
        if self._port is None:
            raise Off("no power")
        end_s = time.monotonic() + within_s
        while b"\n" not in self._rest:
            self._port.settimeout(max(0.05, end_s - time.monotonic()))
            try:
                more = self._port.recv(65536)
            except TimeoutError:
                raise Off(f"no word from the board for {within_s:.0f} s") from None
            if not more:
                raise Off("the emulator has ended")
            self._rest += more
        line, self._rest = self._rest.split(b"\n", 1)
        told: dict[str, Any] = json.loads(line)
        return told

    def ask(self, words: str, timeout_s: float = 120.0) -> tuple[int, str]:
        """Run a line of shell as root: (status, what it printed)."""
        assert self._port is not None
        self._asked += 1
        self._port.sendall(json.dumps({"id": self._asked, "sh": words, "timeout": timeout_s}).encode() + b"\n")
        while True:
            told = self._line(timeout_s + 60.0)
            if told.get("id") == self._asked:
                return told["status"], told["out"]

    def sh(self, words: str, timeout_s: float = 120.0) -> str:
        """Run a line of shell as root that must end with 0."""
        status, out = self.ask(words, timeout_s)
        assert status == 0, f"{words[:200]}: {status}: {out[-1500:]}"
        return out

    def as_person(self, words: str, who: str = "ann", timeout_s: float = 120.0) -> tuple[int, str]:
        """Run `evenbath WORDS` as an ordinary user, in the station's group (ann) or not (bob)."""
        return self.ask(f"cd /home/ann; runuser -u {who} -- /opt/evenbath/bin/evenbath {words}", timeout_s)

    def until(self, words: str, wanted: str, within_s: float) -> str:
        """Ask again until the answer contains what is wanted (a regular expression)."""
        end_s, out = time.monotonic() + within_s, ""
        while time.monotonic() < end_s:
            out = self.ask(words)[1]
            if re.search(wanted, out, re.MULTILINE):
                return out
            time.sleep(0.3)
        raise AssertionError(f"{words}: no {wanted!r} within {within_s:.0f} s, but {out[-1500:]!r}")

    def mono_s(self) -> float:
        """The board's clock since its start, CLOCK_MONOTONIC."""
        return float(self.sh("cut -d' ' -f1 /proc/uptime"))

    # -- what hands and water do ------------------------------------------------------------------------------------

    def foot(self, seconds: float) -> None:
        """Press the switch for so long."""
        pull = PULL.format(SWITCH)
        self.sh(f"echo pull-down > {pull}; sleep {seconds}; echo pull-up > {pull}")

    def bus(self, order: str) -> None:
        """An order to the bus of the probes: temp ID MILLIC, pull ID, plug ID, crc ID N, por ID, dead ID 0|1, short 0|1, add ID."""
        self.sh(f"echo '{order}' > {BUS}")

    def edges(self, *pins: int) -> list[Edge]:
        """What the kernel set these outputs to since power-on, or since `forget_edges`."""
        version = tuple(int(word) for word in self.sh("uname -r").split(".")[:2])
        base = 512 if version >= (6, 2) else 512 - 54  # how the kernel numbers the first chip's lines: upwards from 512, before 6.2 down
        told = self.sh(f"cat {TRACE}")
        found = []
        for second, line, level in re.findall(r" (\d+\.\d+): gpio_value: (\d+) set (\d)", told):
            pin = int(line) - base
            if not pins or pin in pins:
                found.append(Edge(float(second), pin, level == "1"))
        return found

    def forget_edges(self) -> None:
        """Begin the list anew."""
        self.sh(f"echo > {TRACE}")

    # -- what the program says --------------------------------------------------------------------------------------

    def status(self) -> dict[str, Any]:
        """`evenbath status --json`, as a person asks for it."""
        code, out = self.as_person(f"status {FILE} --json")
        assert code == 0, out
        told: dict[str, Any] = json.loads(out)
        return told

    def arm(self, recipe: str = "short.toml", *words: str) -> str:
        """Hand a recipe to the station as a person does; the session's name."""
        code, out = self.as_person(f"develop {recipe} {FILE} --waive 'virtual board' --detach {' '.join(words)}", timeout_s=300.0)
        found = re.search(r"^armed: (\S+)", out, re.MULTILINE)
        assert code == 0, out
        assert found is not None, out
        return found[1]

    def begin(self, session: str) -> None:
        """Press until the stage has begun: a press can be lost on an emulated machine that is out of breath."""
        for _ in range(5):
            self.foot(1.6)
            try:
                self.until(f'grep -c \'"event":"begin"\' {JOURNALS}/{session}.jsonl', "^[1-9]", 10.0)
            except AssertionError:
                continue
            return
        raise AssertionError(f"five presses of 1.6 s began nothing: {self.sh(f'tail -5 {JOURNALS}/{session}.jsonl')}")

    def journal(self, session: str) -> str:
        """The file as it stands."""
        return self.sh(f"cat {JOURNALS}/{session}.jsonl")

    def records(self, session: str, **wanted: object) -> list[dict[str, Any]]:
        """Its records that have these fields. A last line that is being written while the file is read does not count yet: the kernel
        shows a growing file page by page."""
        text = self.journal(session)
        every = [json.loads(line) for line in text[: text.rfind("\n") + 1].splitlines()]
        return [r for r in every if all(r.get(name) == value for name, value in wanted.items())]

    def log(self) -> str:
        """What the station wrote to the system's log in this life of the board."""
        return self.sh("journalctl -b -u evenbath --no-pager -o short-monotonic")

    def console(self) -> str:
        """What the last life of the board wrote to its console."""
        path: Path = self.folder / f"console-{self.lives}.log"
        return path.read_text(errors="replace") if path.exists() else ""
