"""Pages that cost time: each is made by a child process of the same program, one at a time, last in line for the processor, and kept.

While a session is armed or runs none is made, and one that is being made then is ended. What was made is given out again as long as the
file that it was made from has not changed. Tests: tests/page/test_made.py.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from pathlib import Path

from monitor.page import sentences

LONGEST_S = 60.0
PATIENCE_S = 4.0
"""So long a request waits for its turn before it is told to come again."""
LOOK_S = 0.1
MOST_KEPT = 24
MOST_BYTES = 2 << 20
LAST_IN_LINE = 19
"""The child's niceness, and with 1000 it is the first that the kernel ends where memory is short: the page goes on."""


@dataclass(frozen=True, slots=True)
class Made:
    """`well` False: `text` says why there is none. `later`: it may be asked for again."""

    well: bool
    text: str
    later: bool = False


class Maker:
    """`busy`: whether a session is armed or runs. `command`: what begins a command of this program."""

    def __init__(self, busy: Callable[[], bool], command: Sequence[str] = (sys.executable, "-m", "monitor.cli.main")) -> None:
        self._busy = busy
        self._command = tuple(command)
        self._turn = threading.Lock()
        self._kept: OrderedDict[Hashable, str] = OrderedDict()
        self._folder = tempfile.TemporaryDirectory(prefix="evenbath-page-")

    def close(self) -> None:
        """Remove what was made."""
        self._folder.cleanup()

    def make(self, key: Hashable, words: Sequence[str], writes: str | None = None, columns: int | None = None) -> Made:
        """What the command `words` prints, folded to `columns`, or with `writes` (an option such as --report) the page that it writes.

        `key` names it and the state of what it is made from.
        """
        if key in self._kept:
            with contextlib.suppress(KeyError):
                self._kept.move_to_end(key)
                return Made(True, self._kept[key])
        if self._busy():
            return Made(False, sentences.STILL_RUNS, later=True)
        if not self._turn.acquire(timeout=PATIENCE_S):
            return Made(False, sentences.BOARD_BUSY, later=True)
        try:
            if key in self._kept:
                return Made(True, self._kept[key])
            made = self._run(words, writes, columns)
        finally:
            self._turn.release()
        if made.well:
            self._kept[key] = made.text
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return made

    def _run(self, words: Sequence[str], writes: str | None, columns: int | None) -> Made:
        out, page = Path(self._folder.name) / "out", Path(self._folder.name) / "page.html"
        page.unlink(missing_ok=True)
        more = () if writes is None else (writes, str(page))
        around = {name: value for name, value in os.environ.items() if name != "COLUMNS"}
        if columns is not None:
            around["COLUMNS"] = str(columns)
        with out.open("wb") as printed:
            child = subprocess.Popen(
                [*self._command, *words, *more], stdin=subprocess.DEVNULL, stdout=printed, stderr=subprocess.STDOUT, start_new_session=True,
                env=around,
            )  # fmt: skip
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, child.pid, LAST_IN_LINE)
            Path(f"/proc/{child.pid}/oom_score_adj").write_text("1000", encoding="ascii")
        waited_s = 0.0
        while True:
            try:
                status = child.wait(LOOK_S)
                break
            except subprocess.TimeoutExpired:
                waited_s += LOOK_S
                if (runs := self._busy()) or waited_s > LONGEST_S:
                    with contextlib.suppress(ProcessLookupError):
                        os.killpg(child.pid, signal.SIGKILL)
                    child.wait()
                    return Made(False, sentences.STILL_RUNS if runs else sentences.BOARD_BUSY, later=True)
        told = page if writes is not None and status == 0 and page.exists() else out
        text = told.read_bytes()[:MOST_BYTES].decode("utf-8", "replace")
        if status != 0:
            last = text.strip().splitlines()[-1:] or [f"status {status}"]
            return Made(False, sentences.NOT_MADE.format(why=last[0][:300]))
        return Made(True, text)
