"""Brokers for tests, on loopback: the real mosquitto program, an embedded one in a child process, and a proxy that loses bytes.

`python -m tests.live.telemetry.brokers PORT` is the child. It is a process of its own so that it can be killed, and because its
library's warnings are not ours.
"""

from __future__ import annotations

import contextlib
import os
import selectors
import shutil
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from monitor.live.clock import RealClock

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
NO_MOSQUITTO = "the mosquitto program is not installed: apt-get install mosquitto"
_ROOT = Path(__file__).parents[3]


def until(condition: Callable[[], object], what: str, within_s: float = 30.0) -> None:
    """Wait for a condition that another thread or process will make true; AssertionError if it does not."""
    clock, pause = RealClock(), threading.Event()
    end_s = clock.mono_s() + within_s
    while not condition():
        assert clock.mono_s() < end_s, f"not within {within_s} s: {what}"
        pause.wait(0.005)


def free_port() -> int:
    """A port of loopback that nobody listens on just now."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port: int = server.getsockname()[1]
        return port


def answers(port: int) -> bool:
    """Whether somebody accepts connections there."""
    try:
        socket.create_connection(("127.0.0.1", port), 1.0).close()
    except OSError:
        return False
    return True


class Broker(Protocol):
    """What a test may do to a broker."""

    port: int

    def start(self) -> None:
        """Run, and be ready."""
        ...

    def stop(self) -> None:
        """End in an orderly way."""
        ...

    def kill(self) -> None:
        """End as if by a loss of power; nothing was kept."""
        ...


class _Process:
    """A broker that is a child process."""

    def __init__(self, command: list[str], port: int, log: Path | None) -> None:
        self._command, self.port, self._log = command, port, log
        self._child: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Run, and be ready."""
        if self._child is None:
            with contextlib.ExitStack() as stack:
                output = subprocess.DEVNULL if self._log is None else stack.enter_context(self._log.open("ab"))
                self._child = subprocess.Popen(self._command, cwd=_ROOT, stdout=output, stderr=output)
            child = self._child
            until(lambda: answers(self.port) or child.poll() is not None, "the broker answers")
            assert child.poll() is None, f"the broker ended with {child.returncode}: {self._command}"

    def stop(self) -> None:
        """End in an orderly way."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End at once."""
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        child, self._child = self._child, None
        if child is not None:
            child.send_signal(how)
            try:
                child.wait(10.0)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()

    @property
    def pid(self) -> int:
        """The child's process id."""
        assert self._child is not None
        return self._child.pid


class Mosquitto(_Process):
    """The real program, without persistence. `more`: further lines of configuration; `log`: a file for what it says."""

    def __init__(self, folder: Path, more: str = "allow_anonymous true\n", listener: str = "", log: Path | None = None) -> None:
        port = free_port()
        file = folder / "mosquitto.conf"
        file.write_text(f"listener {port} 127.0.0.1\n{listener}persistence false\n{more}", encoding="utf-8")
        super().__init__([MOSQUITTO or "mosquitto", "-c", str(file)], port, log)


class EmbeddedBroker(_Process):
    """A broker of Python, from the registries: the default test run needs nothing else."""

    def __init__(self, log: Path | None = None) -> None:
        port = free_port()
        super().__init__([sys.executable, "-m", "tests.live.telemetry.brokers", str(port)], port, log)


class _Pair:
    """One connection through the proxy. `lost`: bytes were thrown away, so nothing may follow them."""

    def __init__(self, client: socket.socket, server: socket.socket) -> None:
        self.client, self.server, self.lost = client, server, False

    def other(self, sock: socket.socket) -> socket.socket:
        return self.server if sock is self.client else self.client

    def close(self) -> None:
        self.client.close()
        self.server.close()


class SwallowingProxy:
    """Stands between a client and a broker. `swallow`: bytes vanish, connections stay; `cut`: connections end in the middle of a packet."""

    def __init__(self, target_port: int) -> None:
        self._target = target_port
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._server.getsockname()[1]
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._server, selectors.EVENT_READ)
        self._wake_r, self._wake_w = socket.socketpair()
        self._selector.register(self._wake_r, selectors.EVENT_READ)
        self._pairs: dict[socket.socket, _Pair] = {}
        self._swallowing = self._cutting = self._forget = self._ending = False
        self._thread = threading.Thread(target=self._run, name="proxy")
        self._thread.start()

    def swallow(self) -> None:
        """From now on bytes vanish, in both directions."""
        self._swallowing = True

    def heal(self, forget: bool = True) -> None:
        """New connections work. Those that lost bytes are closed, or (`forget` False) stay silent until a side gives up."""
        self._swallowing = self._cutting = False
        self._forget = forget
        self._wake_w.send(b"\0")

    def cut(self) -> None:
        """The next bytes of each connection pass by half, then it ends."""
        self._cutting = True

    def close(self) -> None:
        """End everything."""
        self._ending = True
        self._wake_w.send(b"\0")
        self._thread.join()

    def _run(self) -> None:
        while not self._ending:
            for key, _ in self._selector.select():
                sock = key.fileobj
                assert isinstance(sock, socket.socket)
                if sock is self._server:
                    self._accept()
                elif sock is self._wake_r:
                    sock.recv(64)
                    self._drop_lost()
                elif sock in self._pairs:
                    self._pass_on(self._pairs[sock], sock)
        for pair in set(self._pairs.values()):
            self._drop(pair)
        for sock in (self._server, self._wake_r, self._wake_w):
            sock.close()
        self._selector.close()

    def _accept(self) -> None:
        client, _ = self._server.accept()
        try:
            server = socket.create_connection(("127.0.0.1", self._target), 2.0)
        except OSError:
            client.close()
            return
        pair = _Pair(client, server)
        for sock in (client, server):
            self._pairs[sock] = pair
            self._selector.register(sock, selectors.EVENT_READ)

    def _pass_on(self, pair: _Pair, sock: socket.socket) -> None:
        try:
            data = sock.recv(1 << 14)
            if not data:
                self._drop(pair)
            elif self._swallowing or pair.lost:
                pair.lost = True
            elif self._cutting:
                pair.other(sock).sendall(data[: len(data) // 2])
                self._drop(pair)
            else:
                pair.other(sock).sendall(data)
        except OSError:
            self._drop(pair)

    def _drop_lost(self) -> None:
        if self._forget:
            for pair in {pair for pair in self._pairs.values() if pair.lost}:
                self._drop(pair)

    def _drop(self, pair: _Pair) -> None:
        for sock in (pair.client, pair.server):
            self._selector.unregister(sock)
            del self._pairs[sock]
        pair.close()


def _serve(port: int) -> None:
    import asyncio
    import logging

    from amqtt.broker import Broker as Embedded

    logging.disable(logging.CRITICAL)
    settings = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }

    async def serve() -> None:
        broker = Embedded(settings)
        await broker.start()
        stop = asyncio.Event()
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, stop.set)
        await stop.wait()
        with contextlib.suppress(Exception):
            await asyncio.wait_for(broker.shutdown(), 0.5)
        os._exit(0)  # its tasks do not always end

    asyncio.run(serve())


if __name__ == "__main__":
    _serve(int(sys.argv[1]))
