"""A limit on a rate: tokens arrive at a fixed rate and can be saved up to a limit.

Tests: tests/live/telemetry/test_token_bucket.py.
"""

from __future__ import annotations


class TokenBucket:
    """Full at the start. `per_s`: tokens a second; `most`: how many can be saved up, at least 1."""

    def __init__(self, per_s: float, most: float) -> None:
        self._per_s, self._most = per_s, max(1.0, most)
        self._tokens = self._most
        self._at_s: float | None = None

    def refill(self, now_s: float) -> None:
        """Add what the time since the last call has brought; `now_s` is monotonic."""
        if self._at_s is not None:
            self._tokens = min(self._most, self._tokens + (now_s - self._at_s) * self._per_s)
        self._at_s = now_s

    def take(self, cost: float = 1.0) -> None:
        """Spend tokens. One cost may go below zero; the debt has to be earned back before the next."""
        self._tokens -= cost

    @property
    def empty(self) -> bool:
        """Whether less than a whole token is left."""
        return self._tokens < 1.0
