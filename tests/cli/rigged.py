"""A real station in a process of its own on a rig, for tests of the commands: real w1thermsensor, real gpiozero, mock pins.

Waits are for files, sockets and lines, never for a time alone.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from hardware.ports import Sample
from hardware.simulated.w1_tree import W1Tree
from monitor.cli.main import main
from monitor.live.clock import RealClock

IDS = {"jug": "28-000000000a01", "bowl": "28-000000000a02"}
PATIENCE_S = 40.0
ASKING = ("develop", "status", "abandon")

QUICK = """schema = 1
name = "quick"
film = "panchromatic"
vessel = "lidded tank"
[[stage]]
name = "develop"
role = "develop"
time = "0:06"
reference = "20 C"
rate = { law = "coefficient", per_10_c = 2.5 }
drain = "0:01"
agitation = [{ from = "0:00", for = "0:04" }]
[[stage]]
name = "stop"
role = "stop"
time = "0:02"
drain = "0:01"
[[stage]]
name = "fix"
role = "fix"
time = "0:01"
"""
AS_IT_WAS = "Nothing was begun: all is as it was. Keep the lid on until it is fixed.\n"
"""What `abandon` says of a film that is in its tank and dry."""
LONG = QUICK.replace("0:06", "10:00")
DARK = LONG.replace("lidded tank", "open tray")


class Rigged:
    """A station file, a rig's folder and the processes that use them."""

    def __init__(self, folder: Path, *, switch: bool = True, lamp: bool = True, mqtt: str = "") -> None:
        self.folder = folder
        self.rig = folder / "rig"
        self.state = folder / "state"
        self.file = folder / "station.toml"
        self.clock = RealClock()
        self.tree = W1Tree(self.rig / "w1")
        self.show("jug", 20.25)
        self.show("bowl", 20.0)
        probes = "".join(f'[probes.{n}]\nid = "{i}"\nrole = "{"developer" if n == "jug" else "bath"}"\n' for n, i in IDS.items())
        pins = 'sounder = "GPIO18"\n' + ('lamp = "GPIO23"\n' if lamp else "") + ('switch = "GPIO24"\n' if switch else "")
        head = f'schema = 1\nname = "laundry"\nstate = "{self.state}"\n'
        self.file.write_text(f'{head}{probes}[panel]\nfactory = "lgpio"\n{pins}{mqtt}')
        self.process: subprocess.Popen[str] | None = None

    def show(self, name: str, celsius: float | None) -> None:
        """What a probe reads from now on; None: it is unplugged."""
        self.tree.show(IDS[name], Sample(IDS[name], 0.0, celsius, None if celsius is not None else "missing"))

    def command(self, *words: str) -> list[str]:
        """A command line."""
        return [sys.executable, "-m", "monitor.cli.main", *words]

    def start(self, *more: str) -> subprocess.Popen[str]:
        """Start the station and wait for its first line."""
        words = self.command("station", "--file", str(self.file), "--rig", str(self.rig), *more)
        with (self.folder / "stderr").open("a") as errors:
            self.process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=errors, text=True)
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line == "station laundry: ready\n", (line, (self.folder / "stderr").read_text())
        return self.process

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        """One command to its end, without a terminal: in this process where it only asks the station, else in one of its own."""
        if words[0] not in ASKING:
            return subprocess.run(
                self.command(*words), capture_output=True, text=True, timeout=PATIENCE_S, stdin=subprocess.DEVNULL, check=False
            )
        out, err = io.StringIO(), io.StringIO()
        with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            patch.setattr(sys, "stdin", io.StringIO())
            status = main(list(words))
        return subprocess.CompletedProcess(list(words), status, out.getvalue(), err.getvalue())

    def recipe(self, text: str = QUICK) -> str:
        """A recipe's file."""
        path = self.folder / "recipe.toml"
        path.write_text(text)
        return str(path)

    def develop(self, text: str = QUICK, *more: str) -> subprocess.CompletedProcess[str]:
        """Arm a session without asking anybody."""
        return self.run("develop", self.recipe(text), "--file", str(self.file), "--detach", "--waive", "a test", *more)

    def arm(self, text: str = QUICK, *more: str) -> str:
        """Arm one and return its name."""
        done = self.develop(text, *more)
        assert done.returncode == 0, done.stderr
        assert done.stdout.startswith("armed: ")
        return done.stdout.removeprefix("armed: ").strip()

    def foot(self, word: str) -> None:
        """`down` or `up`."""
        pipe = os.open(self.rig / "switch", os.O_WRONLY)
        os.write(pipe, f"{word}\n".encode())
        os.close(pipe)

    def hold(self, name: str) -> None:
        """Begin: down for more than a second, long enough for a busy machine; it takes effect at the release."""
        self.press(1.3)
        self.wait(lambda: bool(self.records(name, kind="stage", event="begin")))

    def tap(self) -> None:
        """Down and up at once, past the bounce."""
        self.press(0.1)

    def press(self, seconds: float) -> None:
        """Down for so long."""
        self.foot("down")
        self.pause(seconds)
        self.foot("up")

    def pause(self, seconds: float) -> None:
        """For what only real time can bring."""
        import threading

        threading.Event().wait(seconds)

    def wait(self, what: Callable[[], bool]) -> None:
        """Until something is so."""
        until_s = self.clock.mono_s() + PATIENCE_S
        while not what():
            assert self.clock.mono_s() < until_s, "it never came"
            self.pause(0.02)

    def journal(self, name: str) -> Path:
        """The journal's file."""
        return self.state / "journals" / f"{name}.jsonl"

    def records(self, name: str, **fields: Any) -> list[dict[str, Any]]:
        """Whole records on the disk with these fields."""
        text = self.journal(name).read_text(encoding="utf-8")
        read = [json.loads(line) for line in text[: text.rfind("\n") + 1].splitlines()]
        return [r for r in read if all(r.get(k) == v for k, v in fields.items())]

    def edges(self) -> list[dict[str, Any]]:
        """What the panel did."""
        return [json.loads(line) for line in (self.rig / "panel.jsonl").read_text().splitlines()]

    def kill(self) -> None:
        """As a crash does."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.process = None

    def stop(self) -> int:
        """SIGTERM, and its exit status."""
        assert self.process is not None
        process, self.process = self.process, None
        process.send_signal(signal.SIGTERM)
        status = process.wait(timeout=PATIENCE_S)
        assert process.stdout is not None
        process.stdout.close()
        return status
