"""Pairing under attack: codes wrong, late, used or tried too often, files that are not ours, and what a reader of the file gets."""

from __future__ import annotations

import hmac
import json
import os
import stat
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from monitor.core.errors import InputWrong
from monitor.page import pairing as module
from monitor.page.pairing import CODE_S, CODE_TRIES, DEVICE_DAYS, MOST_DEVICES, Pairing, plain_code, shown_code
from tests.fake_clock import FakeClock


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """The slow hash in one round."""
    monkeypatch.setattr(module, "ROUNDS", 1)


@pytest.fixture
def clock() -> FakeClock:
    """It jumps."""
    return FakeClock()


@pytest.fixture
def pairing(tmp_path: Path, clock: FakeClock) -> Pairing:
    """In an empty state folder."""
    return Pairing(tmp_path, clock)


def wrong(code: str) -> str:
    """A code that is none, and looks like one."""
    return "".join("3" if sign != "3" else "4" for sign in code)


def paired(pairing: Pairing, name: str = "") -> str:
    """A token."""
    token = pairing.trade(pairing.new_code(name))
    assert token is not None
    return token


def file_of(folder: Path) -> Path:
    """Where it is kept."""
    return folder / "page" / "paired.json"


def test_a_code_is_traded_once_for_a_token_that_opens(pairing: Pairing) -> None:
    """Written small, with hyphen and look-alikes, as people do; the second time it is nothing."""
    code = pairing.new_code("Anna's")
    assert plain_code(shown_code(code).lower()) == code
    token = pairing.trade(shown_code(code).lower().replace("0", "o").replace("1", "l"))
    device = pairing.device(token)
    assert device is not None
    assert device.name == "Anna's"
    assert pairing.trade(code) is None
    assert [one.id for one in pairing.devices()] == [device.id]


def test_the_first_use_of_a_token_is_written_down_and_no_other(tmp_path: Path, pairing: Pairing) -> None:
    """So a phone that left before its cookie came can be told; what cannot be written shuts nobody out."""
    ghost, token = pairing.trade(pairing.new_code("ghost")), pairing.trade(pairing.new_code("phone"))
    assert ghost is not None
    assert [one.used for one in pairing.devices()] == [False, False]
    assert pairing.device("A" * 43) is None
    assert pairing.device(token) is not None
    assert [one.used for one in pairing.devices()] == [False, True]
    before = file_of(tmp_path).stat()
    assert pairing.device(token) is not None
    assert file_of(tmp_path).stat() == before
    lock = file_of(tmp_path).with_name(".paired.json.lock")
    lock.unlink()
    lock.symlink_to(tmp_path / "none")
    assert pairing.device(ghost) is not None


def test_codes_and_tokens_are_never_the_same(pairing: Pairing) -> None:
    """Each is drawn anew, and long enough."""
    codes = {pairing.new_code() for _ in range(50)}
    assert len(codes) == 50
    assert all(len(code) == 8 for code in codes)
    tokens = {paired(pairing) for _ in range(5)}
    assert len(tokens) == 5
    assert all(len(token) == 43 for token in tokens)


def test_after_five_minutes_it_counts_no_longer(pairing: Pairing, clock: FakeClock) -> None:
    """To the second, by the clock that nobody sets."""
    code = pairing.new_code()
    clock.advance(CODE_S - 1.0)
    clock._wall -= timedelta(days=1)
    assert pairing.trade(wrong(code)) is None
    clock.advance(1.0)
    assert pairing.trade(code) is None


def test_after_another_boot_it_counts_no_longer(tmp_path: Path, pairing: Pairing) -> None:
    """Its monotonic clock began anew."""
    code = pairing.new_code()
    assert Pairing(tmp_path, FakeClock(mono_s=1000.0, boot="boot-2")).trade(code) is None
    assert Pairing(tmp_path, FakeClock(mono_s=10.0)).trade(code) is None, "nor on a clock that stands before it was made"


def test_the_sixth_try_is_refused_though_it_is_right_and_a_restart_gives_none_back(tmp_path: Path, clock: FakeClock) -> None:
    """Each try is counted on the disk before it is looked at."""
    code = Pairing(tmp_path, clock).new_code()
    for _ in range(CODE_TRIES):
        assert Pairing(tmp_path, clock).trade(wrong(code)) is None
    assert Pairing(tmp_path, clock).trade(code) is None


def test_the_fifth_try_still_counts(pairing: Pairing) -> None:
    """Four wrong ones before it."""
    code = pairing.new_code()
    for text in (wrong(code), "", "what?", wrong(code)):
        assert pairing.trade(text) is None
    assert pairing.trade(code) is not None


def test_a_try_that_cannot_be_counted_is_none(pairing: Pairing, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the disk takes nothing, nobody is paired, right code or not."""
    code = pairing.new_code()

    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, "write_all", full)
    with pytest.raises(InputWrong, match="No space left"):
        pairing.trade(code)
    monkeypatch.undo()
    assert pairing.devices() == ()


def test_a_new_code_ends_the_one_before(pairing: Pairing) -> None:
    """There is one at a time."""
    first = pairing.new_code()
    second = pairing.new_code()
    assert pairing.trade(first) is None
    assert pairing.trade(second) is not None


def test_without_a_code_nothing_is_traded(pairing: Pairing) -> None:
    """Not even the empty one."""
    for text in ("", "00000000", "K7QF-29MX"):
        assert pairing.trade(text) is None
    assert pairing.devices() == ()


def test_a_revoked_phone_is_out_at_once_and_the_others_stay(tmp_path: Path, clock: FakeClock, pairing: Pairing) -> None:
    """By another process; `None` is all of them, an open code too."""
    one, other = paired(pairing, "one"), paired(pairing, "other")
    shell = Pairing(tmp_path, clock)
    device = pairing.device(one)
    assert device is not None
    assert [gone.name for gone in shell.revoke(device.id)] == ["one"]
    assert pairing.device(one) is None
    assert pairing.device(other) is not None
    code = shell.new_code()
    shell.revoke(None)
    assert pairing.device(other) is None
    assert pairing.trade(code) is None
    with pytest.raises(InputWrong, match="allowed: none"):
        shell.revoke("abcd")


def test_it_outlives_a_restart(tmp_path: Path, clock: FakeClock, pairing: Pairing) -> None:
    """On the disk when `trade` returns."""
    token = paired(pairing)
    assert Pairing(tmp_path, clock).device(token) is not None
    assert Pairing(tmp_path, FakeClock(boot="boot-9")).device(token) is not None


def test_half_a_year_later_it_is_paired_anew(pairing: Pairing, clock: FakeClock) -> None:
    """A lost phone does not write for ever."""
    token = paired(pairing)
    clock.advance(DEVICE_DAYS * 86400.0)
    assert pairing.device(token) is not None
    clock.advance(1.0)
    assert pairing.device(token) is None


def test_who_reads_the_file_gets_neither_code_nor_token(tmp_path: Path, pairing: Pairing) -> None:
    """Hashes, for their owner alone; nothing in it is a key by itself."""
    token = paired(pairing)
    code = pairing.new_code()
    text = file_of(tmp_path).read_text()
    assert token not in text
    assert code not in text
    assert stat.S_IMODE(file_of(tmp_path).stat().st_mode) == 0o600
    assert stat.S_IMODE(file_of(tmp_path).parent.stat().st_mode) == 0o700
    hashes = [json.loads(text)["devices"][0]["hash"], json.loads(text)["code"]["hash"]]
    assert [pairing.device(told) for told in hashes] == [None, None]
    assert [pairing.trade(told[:8]) for told in hashes] == [None, None]


def test_the_umask_does_not_matter(tmp_path: Path, clock: FakeClock) -> None:
    """0600 all the same."""
    before = os.umask(0)
    try:
        Pairing(tmp_path, clock).new_code()
    finally:
        os.umask(before)
    assert stat.S_IMODE(file_of(tmp_path).stat().st_mode) == 0o600


def _device(**more: Any) -> dict[str, Any]:
    return {"id": "abcd", "name": "x", "hash": module._hash("A" * 43), "paired": "2026-11-25T19:00:00+00:00", **more}


def _open_code(**more: Any) -> dict[str, Any]:
    salt = "00" * 16
    told = {"salt": salt, "hash": module._slow_hash("00000000", salt), "boot": "boot-1", "until_s": 1200.0, "left": 5, "name": ""}
    return {**told, **more}


def test_what_the_spoiled_files_below_spoil_would_open(tmp_path: Path, pairing: Pairing) -> None:
    """The control: unspoiled, the same file opens by token and by code."""
    _put(tmp_path, json.dumps({"schema": 1, "code": _open_code(), "devices": [_device()]}))
    assert pairing.device("A" * 43) is not None
    assert pairing.trade("00000000") is not None


@pytest.mark.parametrize(
    "text",
    [
        "", "{", "[]", "null", "[" * 5000, '{"schema": 1}',
        json.dumps({"schema": 2, "code": None, "devices": [_device()]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device()], "open": True}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(), _device()]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(hash=None)]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(hash="ab")]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(id="a/../b")]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(name="a\x1b[2J")]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(paired="2026-11-25")]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(admin="yes")]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device(used="no")]}),
        json.dumps({"schema": 1, "code": None, "devices": ["A" * 43]}),
        json.dumps({"schema": 1, "code": _open_code(left=10**9), "devices": [_device()]}),
        json.dumps({"schema": 1, "code": _open_code(left=True), "devices": [_device()]}),
        json.dumps({"schema": 1, "code": _open_code(until_s="x"), "devices": [_device()]}),
        json.dumps({"schema": 1, "code": _open_code(salt="zz"), "devices": [_device()]}),
        json.dumps({"schema": 1, "code": {**_open_code(), "more": 1}, "devices": [_device()]}),
        json.dumps({"schema": 1, "code": None, "devices": [_device()]}) + " " * 70000,
    ],
)  # fmt: skip
def test_a_spoiled_file_opens_nothing_and_is_told_in_a_line(tmp_path: Path, pairing: Pairing, text: str) -> None:
    """And it is left as it is."""
    _put(tmp_path, text)
    for question in (lambda: pairing.device("A" * 43), lambda: pairing.trade("00000000"), pairing.new_code, lambda: pairing.revoke(None)):
        with pytest.raises(InputWrong, match=r"paired\.json: damaged; nobody is paired; allowed: remove it") as told:
            question()
        assert len(told.value.lines) == 1
    assert file_of(tmp_path).read_text() == text


def _put(folder: Path, text: str) -> None:
    file_of(folder).parent.mkdir(mode=0o700)
    file_of(folder).write_text(text)
    file_of(folder).chmod(0o600)


def test_a_foreign_file_opens_nothing(tmp_path: Path, pairing: Pairing) -> None:
    """Readable by others, of another owner, a link, a second name, a FIFO, a folder."""
    token = paired(pairing)
    path, aside = file_of(tmp_path), tmp_path / "aside"

    def refused(match: str) -> None:
        for question in (lambda: pairing.device(token), lambda: pairing.trade("00000000")):
            with pytest.raises(InputWrong, match=match):
                question()

    path.chmod(0o640)
    refused("not this program's own")
    path.chmod(0o600)
    os.link(path, aside)
    refused("not this program's own")
    aside.unlink()
    path.rename(aside)
    path.symlink_to(aside)
    refused("cannot be opened")
    path.unlink()
    os.mkfifo(path, 0o600)
    refused("a FIFO")
    path.unlink()
    path.mkdir()
    refused("a folder|not a file")
    path.rmdir()
    aside.rename(path)
    path.parent.chmod(0o777)
    refused("others may write in it")
    path.parent.chmod(0o700)
    assert pairing.device(token) is not None
    path.parent.rename(aside)
    path.parent.symlink_to(aside)
    refused("cannot be opened")


def test_another_users_files_open_nothing(tmp_path: Path, pairing: Pairing, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor does anybody, root among them, write where the page could not read it."""
    token = paired(pairing)
    monkeypatch.setattr(os, "geteuid", lambda: 12345)
    with pytest.raises(InputWrong, match="another user"):
        pairing.device(token)
    with pytest.raises(InputWrong, match="as that user, such as sudo -u evenbath"):
        pairing.new_code()


def test_there_is_a_limit_to_phones(pairing: Pairing) -> None:
    """Then one is revoked first."""
    for _ in range(MOST_DEVICES):
        paired(pairing)
    with pytest.raises(InputWrong, match="allowed: evenbath page devices --revoke"):
        pairing.new_code()


@pytest.mark.parametrize("name", ["x" * 41, "a\nb", "a\x1b[2J"])
def test_a_name_is_short_and_printable(pairing: Pairing, name: str) -> None:
    """It is shown on a terminal."""
    with pytest.raises(InputWrong, match="--name"):
        pairing.new_code(name)


def test_what_is_compared_takes_the_same_time_wherever_it_differs(pairing: Pairing, monkeypatch: pytest.MonkeyPatch) -> None:
    """Tokens and codes by `compare_digest`, on hashes, and every paired phone is looked at."""
    tokens = [paired(pairing) for _ in range(3)]
    compared: list[tuple[str, str]] = []

    def digest(one: str, other: str) -> bool:
        compared.append((one, other))
        return one == other

    monkeypatch.setattr(hmac, "compare_digest", digest)
    assert pairing.device(tokens[0]) is not None
    assert len(compared) == 3
    assert not any(token in pair for pair in compared for token in tokens)
    code = pairing.new_code()
    assert pairing.trade(wrong(code)) is None
    assert len(compared) == 4
    assert pairing.trade("too short") is None
    assert len(compared) == 5, "what is no code takes as long"


def test_two_at_once_get_one_token(tmp_path: Path, clock: FakeClock) -> None:
    """The same code from two threads: the lock on the disk decides."""
    from concurrent.futures import ThreadPoolExecutor

    code = Pairing(tmp_path, clock).new_code()
    with ThreadPoolExecutor(4) as pool:
        tokens = list(pool.map(lambda _: Pairing(tmp_path, clock).trade(code), range(4)))
    assert sum(token is not None for token in tokens) == 1
