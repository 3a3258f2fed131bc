"""From a host's name to a connection that a protocol can use: looked up, connected, and the TLS handshake done, in bounded time.

Decides how long each step may take and which words tell what went wrong; knows nothing of MQTT. A name server that does not answer
cannot be interrupted, so names are looked up in a thread of their own, at most one at a time; everything else waits on sockets that
do not block. Tests: tests/live/telemetry/test_dial.py.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import socket
import ssl
import stat
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from monitor.live.broker import MqttConfig
from monitor.live.clock import Clock

LONGEST_SECRET = 4096
"""Bytes of a password file that are read."""
KERNEL_BYTES = 1 << 16
"""What the kernel may hold for us on either way. By itself it holds some megabytes, a flood of which would be read for minutes."""
_NOT_TLS = {"WRONG_VERSION_NUMBER", "RECORD_LAYER_FAILURE", "HTTP_REQUEST", "UNKNOWN_PROTOCOL", "PACKET_LENGTH_TOO_LONG"}
_DATES = {9, 10}
_NAMES = {62, 64}
_AUTHORITY = {18, 19, 20, 21}
"""X509_V_ERR_ of OpenSSL's x509_vfy.h: not yet valid, expired; another host or address; self-signed, issuer unknown, not verifiable."""

_IN_PROGRESS = errno.EINPROGRESS
Address = tuple[int, Any]
"""A family and what `connect` takes."""


class Waker:
    """Ends a wait on sockets. `ring` may be called from any thread; it never blocks and never fails."""

    def __init__(self) -> None:
        self.ear, self._bell = socket.socketpair()
        self.ear.setblocking(False)
        self._bell.setblocking(False)

    def ring(self) -> None:
        """End the wait of now, or else the next one."""
        with contextlib.suppress(OSError):
            self._bell.send(b"\0")

    def hush(self) -> None:
        """It was heard."""
        with contextlib.suppress(OSError):
            while len(self.ear.recv(4096)) == 4096:
                pass

    def sleep(self, timeout_s: float) -> None:
        """Wait until it rings, or the time is over."""
        if select.select([self.ear], [], [], timeout_s)[0]:
            self.hush()

    def close(self) -> None:
        """Afterwards `ring` does nothing."""
        self.ear.close()
        self._bell.close()


class BrokerRefused(Exception):
    """No connection: `why` in plain words. `by_input`: a file or the user name is wrong, and waiting will not help."""

    def __init__(self, why: str, by_input: bool = False) -> None:
        self.why, self.by_input = why, by_input
        super().__init__(why)


class _Lookup:
    """One question to the name server, in a thread. `waker` is rung at its end."""

    def __init__(self, host: str, port: int, resolve: Callable[..., list[Any]], waker: Waker) -> None:
        self._host, self._port, self._resolve, self._waker = host, port, resolve, waker
        self.found: list[Address] | None = None
        self.wrong: OSError | UnicodeError | None = None
        self.thread = threading.Thread(target=self._run, name="lookup", daemon=True)
        self.thread.start()

    def _run(self) -> None:
        try:
            rows = self._resolve(self._host, self._port, type=socket.SOCK_STREAM)
            self.found = [(row[0], row[4]) for row in rows]
        except (OSError, UnicodeError) as wrong:
            self.wrong = wrong
        self._waker.ring()


class Dial:
    """Connects to one host, again and again. `stopping`: whether to give up at once, asked whenever `waker` rings.

    `resolve` has the signature of `socket.getaddrinfo`.
    """

    def __init__(
        self,
        config: MqttConfig,
        clock: Clock,
        waker: Waker,
        stopping: Callable[[], bool],
        resolve: Callable[..., list[Any]] = socket.getaddrinfo,
    ) -> None:
        self._config, self._clock, self._waker, self._stopping, self._resolve = config, clock, waker, stopping, resolve
        self._lookup: _Lookup | None = None

    def connect(self, within_s: float) -> socket.socket:
        """A connection that does not block, encrypted where the configuration says so. Raises `BrokerRefused` after `within_s` at most,
        and OSError where this process may open no further file.
        """
        context = tls_context(self._config)
        by_s = self._clock.mono_s() + within_s
        addresses = self._addresses(by_s)
        why = BrokerRefused("no address")
        for number, (family, where) in enumerate(addresses):
            now_s = self._clock.mono_s()
            share_s = (by_s - now_s) / (len(addresses) - number)
            try:
                sock = self._reach(family, where, now_s + share_s)
            except OSError as wrong:
                why = _refusal(wrong)
                continue
            return sock if context is None else self._encrypt(sock, context, by_s)
        raise why

    def _addresses(self, by_s: float) -> list[Address]:
        host, port = self._config.host, self._config.port
        try:
            rows = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_NUMERICHOST)
            return [(row[0], row[4]) for row in rows]
        except (OSError, UnicodeError):
            pass  # a name, not an address
        if self._lookup is None:
            self._lookup = _Lookup(host, port, self._resolve, self._waker)
        while self._lookup.thread.is_alive() and self._lookup.found is None and self._lookup.wrong is None:
            if not self._wait(None, 0, by_s):
                raise BrokerRefused("its name is not answered by the name server")  # the question stays open, and is not asked twice
        done, self._lookup = self._lookup, None
        if done.found is None:
            raise _refusal(done.wrong) from None
        return done.found

    def _reach(self, family: int, where: Any, by_s: float) -> socket.socket:
        sock = socket.socket(family, socket.SOCK_STREAM)
        try:
            sock.setblocking(False)
            for side in (socket.SO_SNDBUF, socket.SO_RCVBUF):
                sock.setsockopt(socket.SOL_SOCKET, side, KERNEL_BYTES)
            error = sock.connect_ex(where)
            if error == _IN_PROGRESS:
                if not self._wait(sock, select.POLLOUT, by_s):
                    raise TimeoutError("timed out")
                error = sock.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
            if error:
                raise OSError(error, os.strerror(error))
        except BaseException:
            sock.close()
            raise
        return sock

    def _encrypt(self, plain: socket.socket, context: ssl.SSLContext, by_s: float) -> socket.socket:
        sock = plain
        try:
            sock = context.wrap_socket(plain, server_hostname=self._config.host, do_handshake_on_connect=False)
            while True:
                try:
                    sock.do_handshake()
                    return sock
                except ssl.SSLWantReadError:
                    event = select.POLLIN
                except ssl.SSLWantWriteError:
                    event = select.POLLOUT
                if not self._wait(sock, event, by_s):
                    raise BrokerRefused("it did not finish the TLS handshake in time")
        except BaseException as wrong:
            sock.close()
            if isinstance(wrong, OSError | ValueError):
                raise BrokerRefused(_tls_words(wrong, self._config.host)) from None
            raise

    def _wait(self, sock: socket.socket | None, event: int, by_s: float) -> bool:
        """Until the socket is ready or (without one) the bell rings. False when the time is over."""
        while True:
            left_s = by_s - self._clock.mono_s()
            if left_s <= 0.0:
                return False
            poll = select.poll()
            poll.register(self._waker.ear, select.POLLIN)
            if sock is not None:
                poll.register(sock, event)
            ready = dict(poll.poll(left_s * 1000.0))
            if not ready:
                return False
            if self._waker.ear.fileno() in ready:
                self._waker.hush()
                if self._stopping():
                    raise BrokerRefused("this program is ending")
            if sock is None or sock.fileno() in ready:
                return True


def _refusal(wrong: OSError | UnicodeError | None) -> BrokerRefused:
    """In the system's own words. Raises the error itself where this process may open no further file: no broker is at fault then."""
    if isinstance(wrong, OSError):
        if wrong.errno in (errno.EMFILE, errno.ENFILE):
            raise wrong
        return BrokerRefused(wrong.strerror or str(wrong) or type(wrong).__name__)
    return BrokerRefused("its name is not known" if wrong is None else "it is no name of a host")


def _tls_words(wrong: Exception, host: str) -> str:
    if isinstance(wrong, ssl.SSLCertVerificationError):
        code, words = wrong.verify_code, wrong.verify_message
        if code in _DATES:
            return f"its certificate is not trusted ({words}); a wrong clock on this machine can be the reason"
        if code in _NAMES:
            return f'its certificate is not for "{host}" ({words}); allowed: a name or an address that the certificate has'
        if code in _AUTHORITY:
            return f"its certificate is not trusted ({words}); allowed: one signed by the authority in ca_file"
        return f"its certificate is not trusted ({words})"
    if isinstance(wrong, ssl.SSLError) and wrong.reason in _NOT_TLS:
        return "what answers at that port does not speak TLS"
    if isinstance(wrong, ssl.SSLError) and wrong.reason and "EOF" not in wrong.reason:
        return f"no TLS connection ({wrong.reason.replace('_', ' ').lower()})"
    return "it ended the TLS handshake"


def tls_context(config: MqttConfig) -> ssl.SSLContext | None:
    """How to encrypt, None for a plain connection. Raises `BrokerRefused` for files that cannot be used."""
    if not config.tls:
        return None
    for file in (config.ca_file, config.cert_file, config.key_file):
        if file is not None:
            os.close(_open_plain(file))
    what = "ca_file, cert_file or key_file"
    try:
        context = ssl.create_default_context(cafile=config.ca_file)
        if config.cert_file is not None:  # without `password` a key that has one would be asked for on the terminal
            context.load_cert_chain(config.cert_file, config.key_file, password="")
    except (ssl.SSLError, ValueError) as wrong:
        reason = getattr(wrong, "reason", None) or "a key with a passphrase"
        raise BrokerRefused(f"{what}: no certificate or key that can be used ({reason})", by_input=True) from None
    return context


def password_of(file: str) -> str:
    """The first line of a password file. Raises `BrokerRefused` where it cannot be read."""
    fd = _open_plain(file)
    try:
        lines = os.read(fd, LONGEST_SECRET).decode("utf-8", "replace").splitlines()
    finally:
        os.close(fd)
    return lines[0] if lines else ""


def open_to_others(config: MqttConfig) -> list[str]:
    """A line for each file with a secret that every user of this machine may read or change."""
    told = []
    for file in (config.password_file, config.key_file or config.cert_file):
        try:
            mode = None if file is None else Path(file).stat().st_mode
        except OSError:
            continue
        if mode is not None and mode & (stat.S_IROTH | stat.S_IWOTH):
            what = "changed" if mode & stat.S_IWOTH else "read"
            told.append(f"{file}: can be {what} by every user of this machine (mode {mode & 0o777:04o}); chmod o= keeps it secret")
    return told


def _open_plain(file: str) -> int:
    """A descriptor of a file that is a file: a pipe or a device could keep this program waiting for ever."""
    try:
        fd = os.open(file, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError as wrong:
        raise BrokerRefused(f"{file}: cannot be read ({wrong.strerror})", by_input=True) from None
    if not stat.S_ISREG(os.fstat(fd).st_mode):
        os.close(fd)
        raise BrokerRefused(f"{file}: cannot be read (it is no ordinary file)", by_input=True)
    return fd
