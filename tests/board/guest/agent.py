#!/usr/bin/python3
"""Runs on the board: lines of shell come as JSON over a virtio port, each in a thread of its own, and their answers go back as JSON."""

from __future__ import annotations

import json
import os
import subprocess
import threading
import time
from typing import Any

PORT = "/dev/virtio-ports/board"
_writing = threading.Lock()


def answer(port: int, what: dict[str, Any]) -> None:
    """One line back, whole."""
    data = json.dumps(what).encode() + b"\n"
    with _writing:
        while data:
            data = data[os.write(port, data) :]


def carry_out(port: int, ask: dict[str, Any]) -> None:
    """Run one line of shell and tell how it ended."""
    try:
        done = subprocess.run(
            ["/bin/bash", "-c", ask["sh"]],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=ask["timeout"],
            check=False,
        )
        status, out = done.returncode, done.stdout
    except subprocess.TimeoutExpired as late:
        status, out = 124, late.stdout or b""
    answer(port, {"id": ask["id"], "status": status, "out": out.decode("utf-8", "replace")})


def main() -> None:
    """For as long as the board runs; on a slow machine the port comes well after the program."""
    while not os.path.exists(PORT):  # noqa: PTH110
        time.sleep(0.2)
    port = os.open(PORT, os.O_RDWR)
    answer(port, {"up": True})
    rest = b""
    while True:
        more = os.read(port, 65536)
        if not more:
            threading.Event().wait(0.1)
        rest += more
        while b"\n" in rest:
            line, rest = rest.split(b"\n", 1)
            threading.Thread(target=carry_out, args=(port, json.loads(line)), daemon=True).start()


if __name__ == "__main__":
    main()
