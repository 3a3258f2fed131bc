"""Which phones may write: a code made on the station, good once, for five minutes and five tries, traded for a token that is revocable.

Kept in STATE/page/paired.json, which the page and the command `evenbath page pair` both read at each question, so a restart changes
nothing and a revocation counts at once. In it are hashes alone. A file that is not ours to the letter (owner, mode, kind, content) lets
nobody in and is told in one line. The five minutes are of the monotonic clock and the same boot: nobody lengthens them by setting the
clock. Source: page.md, section 4, rule 5. Tests: tests/page/test_pairing.py.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import hmac
import json
import os
import re
import secrets
import stat
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from monitor.core.errors import InputWrong
from monitor.live.clock import Clock
from monitor.live.disk.own_files import kind_of, write_all

FOLDER, FILE = "page", "paired.json"
SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Thirty-two, without those that look like others (I L O U): eight of them are 40 bits."""
CODE_SIGNS, CODE_S, CODE_TRIES = 8, 300.0, 5
MOST_DEVICES = 16
DEVICE_DAYS = 180
"""A phone is paired anew twice a year (no source): one that was lost and forgotten does not write for ever."""
LONGEST_NAME = 40
ROUNDS = 100_000
"""Of PBKDF2, for the code: 40 bits are few for somebody who has the file. A token has 256 bits and needs none."""
LONGEST_FILE = 64 * 1024
_ALLOWED = "nobody is paired; allowed: remove it and pair each phone anew"
_TOKEN = re.compile(r"[A-Za-z0-9_-]{43}", re.ASCII)
_HEX = re.compile(r"[0-9a-f]{64}", re.ASCII)
_ID = re.compile(r"[a-z0-9]{4}", re.ASCII)


@dataclass(frozen=True, slots=True)
class Device:
    """A phone that may write. `hash`: of its token; `paired`: when, ISO; `used`: whether its cookie has ever come."""

    id: str
    name: str
    hash: str
    paired: str
    used: bool = False


@dataclass(frozen=True, slots=True)
class _Code:
    """`boot`, `until_s`: the boot and the moment of its monotonic clock that end it; `left`: tries."""

    salt: str
    hash: str
    boot: str
    until_s: float
    left: int
    name: str


@dataclass(frozen=True, slots=True)
class _Kept:
    code: _Code | None = None
    devices: tuple[Device, ...] = ()


def plain_code(text: str) -> str | None:
    """A code as it was made, from how it is written: small letters, hyphens and look-alikes do not matter. None for what is no code."""
    told = text.upper().replace("-", "").replace(" ", "").translate(str.maketrans("OIL", "011"))
    return told if len(told) == CODE_SIGNS and set(told) <= set(SIGNS) else None


def shown_code(code: str) -> str:
    """In two groups, for reading aloud."""
    return f"{code[:4]}-{code[4:]}"


class Pairing:
    """The store. `state`: the state folder. Every method raises `InputWrong` where the file is not ours or cannot be read or written."""

    def __init__(self, state: Path, clock: Clock) -> None:
        self._state = state
        self._path = state / FOLDER / FILE
        self._clock = clock

    def new_code(self, name: str = "") -> str:
        """A fresh code; an earlier one ends with it. `name`: what the phone will be called."""
        named = name.strip()
        if not named.isprintable() or len(named) > LONGEST_NAME:
            raise InputWrong(f"--name of {len(named)} characters; allowed: {LONGEST_NAME} printable ones at most")
        code = "".join(secrets.choice(SIGNS) for _ in range(CODE_SIGNS))
        salt = secrets.token_hex(16)
        until_s = self._clock.mono_s() + CODE_S
        fresh = _Code(salt, _slow_hash(code, salt), self._clock.boot_id(), until_s, CODE_TRIES, named)
        with self._locked() as folder:
            kept = self._read(folder)
            if len(kept.devices) >= MOST_DEVICES:
                raise InputWrong(f"{MOST_DEVICES} devices are paired already; allowed: evenbath page devices --revoke ID")
            self._write(folder, replace(kept, code=fresh))
        return code

    def trade(self, code: str) -> str | None:
        """The token of a phone that is paired by this code; None where the code does not count, whatever the reason."""
        told = plain_code(code)
        with self._locked() as folder:
            kept = self._read(folder)
            open_now = kept.code
            if open_now is None or not self._counts(open_now):
                return None
            left = open_now.left - 1
            kept = replace(kept, code=replace(open_now, left=left) if left > 0 else None)
            self._write(folder, kept)  # before the comparison: no crash gives a try back
            if not hmac.compare_digest(_slow_hash(told or "", open_now.salt), open_now.hash) or told is None:
                return None
            token = secrets.token_urlsafe(32)
            ids = {device.id for device in kept.devices}
            fresh = next(made for made in iter(lambda: secrets.token_hex(2), "") if made not in ids)
            device = Device(fresh, open_now.name or "phone", _hash(token), self._clock.wall().isoformat(timespec="seconds"))
            self._write(folder, _Kept(None, (*kept.devices, device)))
        return token

    def device(self, token: str | None) -> Device | None:
        """The phone with this token; None for any other. That its cookie came is written down the first time."""
        if token is None or _TOKEN.fullmatch(token) is None:
            return None
        told = _hash(token)
        found: Device | None = None
        for device in self.devices():  # all of them: the time tells nothing of which one it was
            if hmac.compare_digest(device.hash, told) and not self._too_old(device):
                found = device
        if found is not None and not found.used:
            with contextlib.suppress(InputWrong):  # a full disk shuts nobody out
                self._first_use(found)
        return found

    def _first_use(self, device: Device) -> None:
        with self._locked() as folder:
            kept = self._read(folder)
            self._write(folder, replace(kept, devices=tuple(replace(one, used=True) if one == device else one for one in kept.devices)))

    def devices(self) -> tuple[Device, ...]:
        """All that are paired, in the order in which they were."""
        try:
            folder = self._open_folder()
        except FileNotFoundError:
            return ()
        try:
            return self._read(folder).devices
        finally:
            os.close(folder)

    def revoke(self, device: str | None) -> tuple[Device, ...]:
        """The phones that may write no longer: the one with this id, or all of them and an open code too."""
        with self._locked() as folder:
            kept = self._read(folder)
            gone = tuple(one for one in kept.devices if device in (None, one.id))
            if device is not None and not gone:
                known = ", ".join(one.id for one in kept.devices)
                raise InputWrong(f"no device {device[:20]!r} is paired; allowed: {known or 'none, as none is paired'}")
            left = tuple(one for one in kept.devices if one not in gone)
            self._write(folder, _Kept(None if device is None else kept.code, left))
        return gone

    def _counts(self, code: _Code) -> bool:
        left_s = code.until_s - self._clock.mono_s()
        return code.boot == self._clock.boot_id() != "unknown" and 0.0 < left_s <= CODE_S and code.left > 0

    def _too_old(self, device: Device) -> bool:
        return self._clock.wall() - datetime.fromisoformat(device.paired) > timedelta(days=DEVICE_DAYS)

    # -- the file ---------------------------------------------------------------------------------------------------

    def _open_folder(self) -> int:
        """Raises FileNotFoundError where there is none, `InputWrong` where it is not ours."""
        path = self._path.parent
        try:
            folder = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
        except FileNotFoundError:
            raise
        except OSError as wrong:
            raise self._wrong(path, f"cannot be opened ({wrong.strerror})") from None
        found = os.fstat(folder)
        if found.st_uid != os.geteuid() or found.st_mode & 0o022:
            os.close(folder)
            raise self._wrong(path, "belongs to another user, or others may write in it")
        return folder

    @contextlib.contextmanager
    def _locked(self) -> Iterator[int]:
        """The folder, made where it is not there, as long as nobody else writes in it."""
        try:
            if self._state.stat().st_uid != os.geteuid():
                raise InputWrong(f"{self._state}: another user's; allowed: as that user, such as sudo -u evenbath evenbath page pair")
            with contextlib.suppress(FileExistsError):
                self._path.parent.mkdir(mode=0o700)
            folder = self._open_folder()
        except OSError as wrong:
            raise InputWrong(f"{self._path.parent}: cannot be made ({wrong.strerror}); allowed: a state folder of your own") from None
        try:
            flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
            lock = os.open(f".{FILE}.lock", flags, 0o600, dir_fd=folder)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX)
                yield folder
            finally:
                os.close(lock)
        except OSError as wrong:
            raise InputWrong(f"{self._path}: cannot be written ({wrong.strerror}); nothing changed; allowed: a disk with room") from None
        finally:
            os.close(folder)

    def _wrong(self, path: Path, what: str) -> InputWrong:
        return InputWrong(f"{path}: {what}; {_ALLOWED}")

    def _read(self, folder: int) -> _Kept:
        try:
            descriptor = os.open(FILE, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, dir_fd=folder)
        except FileNotFoundError:
            return _Kept()
        except OSError as wrong:
            raise self._wrong(self._path, f"cannot be opened ({wrong.strerror})") from None
        try:
            found = os.fstat(descriptor)
            if not stat.S_ISREG(found.st_mode):
                raise self._wrong(self._path, f"{kind_of(found.st_mode)}, not a file")
            if found.st_uid != os.geteuid() or found.st_mode & 0o077 or found.st_nlink != 1:
                raise self._wrong(self._path, "not this program's own: another owner, a mode other than 0600, or a second name")
            text = os.read(descriptor, LONGEST_FILE + 1)
        finally:
            os.close(descriptor)
        try:
            return _parsed(text)
        except (ValueError, KeyError, TypeError, RecursionError):
            raise self._wrong(self._path, "damaged") from None

    def _write(self, folder: int, kept: _Kept) -> None:
        told = {"schema": 1, "code": None if kept.code is None else asdict(kept.code), "devices": [asdict(one) for one in kept.devices]}
        fresh = f".{FILE}.new"
        with contextlib.suppress(FileNotFoundError):
            os.unlink(fresh, dir_fd=folder)
        descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600, dir_fd=folder)
        try:
            os.fchmod(descriptor, 0o600)
            write_all(descriptor, json.dumps(told, ensure_ascii=False, allow_nan=False).encode())
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        os.rename(fresh, FILE, src_dir_fd=folder, dst_dir_fd=folder)
        os.fsync(folder)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _slow_hash(code: str, salt: str) -> str:
    return hashlib.pbkdf2_hmac("sha256", code.encode(), bytes.fromhex(salt), ROUNDS).hex()


def _parsed(text: bytes) -> _Kept:
    """Strictly: what `_write` writes, and nothing else. Raises ValueError, KeyError, TypeError and RecursionError."""
    told = json.loads(text) if len(text) <= LONGEST_FILE else None
    if not isinstance(told, dict) or told.keys() != {"schema", "code", "devices"} or told["schema"] != 1:
        raise ValueError("not ours")
    code = None if told["code"] is None else _Code(**told["code"])
    if code is not None:
        _must(code.left, int, 0 < code.left <= CODE_TRIES)
        _must(code.until_s, float, True)
        _must(code.boot, str, True)
        _must(code.name, str, len(code.name) <= LONGEST_NAME)
        _must(code.hash, str, _HEX.fullmatch(code.hash) is not None)
        _must(code.salt, str, len(bytes.fromhex(code.salt)) == 16)
    devices = tuple(Device(**_device(one)) for one in told["devices"])
    for device in devices:
        paired = datetime.fromisoformat(device.paired)
        _must(device.id, str, _ID.fullmatch(device.id) is not None and paired.astimezone(UTC) == paired and paired.tzinfo is not None)
        _must(device.used, bool, True)
        _must(device.hash, str, _HEX.fullmatch(device.hash) is not None)
        _must(device.name, str, device.name.isprintable() and len(device.name) <= LONGEST_NAME)
    if len({device.id for device in devices}) != len(devices) or len(devices) > MOST_DEVICES:
        raise ValueError("twice the same, or too many")
    return _Kept(code, devices)


def _must(value: Any, kind: type, sound: bool) -> None:
    if type(value) is not kind or not sound:
        raise ValueError("not as it is written")


def _device(one: Any) -> dict[str, Any]:
    """Without `used`, as it was written before that was kept, a phone counts as one that was never used until its cookie comes."""
    if not isinstance(one, dict) or not all(isinstance(value, str) for name, value in one.items() if name != "used"):
        raise ValueError("not a device")
    return one
