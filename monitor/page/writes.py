"""What a paired phone may write, and when: nothing that a session is made of, and nothing while one is armed or runs, notes excepted.

Each write goes through the function that the command line uses, under the same lock, and what it refuses is told in its own line. Whether
a session runs is asked of the station's word, not older than three seconds, and of the journals; asked once more under the lock of the file
that is written. In the milliseconds between that and the append a session may still be armed: then a line stands in the ledger or in
the logbook that came with it, and the session, which reads neither, is what it would have been.
Tests: tests/page/test_posts.py, tests/page/test_desk.py.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from monitor.core.errors import EvenbathError
from monitor.page import sentences
from monitor.page.bodies import Kind, Text, fields
from monitor.page.guards import set_cookie
from monitor.page.pairing import Device, Pairing

PAIR = "/pair"
PATIENCE_S = 4.0
"""So long one write waits for another one, which may itself wait for a shell; then it is told to come again."""


@dataclass(frozen=True, slots=True)
class Answer:
    """`words`: one sentence. `cookie`: the value of a Set-Cookie header."""

    status: int
    words: str
    cookie: str | None = None


@dataclass(frozen=True, slots=True)
class Write:
    """One kind of write: the fields of its body, and what does it, which returns the sentence that says what was done."""

    declared: Mapping[str, Kind]
    do: Callable[[Mapping[str, Any]], str]


class Unusable(EvenbathError):
    """What would be written to cannot be used: damaged, or not ours. Its line is for a phone."""


class NotNow(Exception):
    """A session is armed or runs, or nobody can say that none does."""


class Writes:
    """All of them by path. `kinds`: beside pairing itself."""

    def __init__(self, pairing: Pairing, kinds: Mapping[str, Write]) -> None:
        self.pairing = pairing
        self._kinds = kinds
        self._turn = threading.Lock()

    @property
    def paths(self) -> frozenset[str]:
        """What may be posted to."""
        return frozenset((PAIR, *self._kinds))

    def device(self, token: str | None) -> Device | None:
        """The paired phone with this cookie. A file that is not as it should be lets nobody in."""
        try:
            return self.pairing.device(token)
        except EvenbathError:
            return None

    def take(self, path: str, token: str | None, body: bytes) -> Answer:
        """Do what was posted, if it may be done."""
        if not self._turn.acquire(timeout=PATIENCE_S):
            return Answer(503, sentences.BUSY)
        try:
            return self._pair(body) if path == PAIR else self._write(self._kinds[path], token, body)
        except NotNow:
            return Answer(409, sentences.NOT_NOW)
        except Unusable as wrong:
            return Answer(503, wrong.lines[0])
        except EvenbathError as wrong:
            return Answer(400, wrong.lines[0] if wrong.lines else sentences.BODY_NO_JSON)
        finally:
            self._turn.release()

    def _pair(self, body: bytes) -> Answer:
        told = fields(body, {"code": Text(40)})
        try:
            token = self.pairing.trade(told["code"])
        except EvenbathError:
            return Answer(503, sentences.PAIRING_BROKEN)
        if token is None:
            return Answer(403, sentences.CODE_REFUSED)
        return Answer(200, sentences.PAIRED, set_cookie(token))

    def _write(self, kind: Write, token: str | None, body: bytes) -> Answer:
        try:
            if self.pairing.device(token) is None:
                return Answer(401, sentences.NOT_PAIRED)
        except EvenbathError:
            return Answer(503, sentences.PAIRING_BROKEN)
        return Answer(200, kind.do(fields(body, kind.declared)))
