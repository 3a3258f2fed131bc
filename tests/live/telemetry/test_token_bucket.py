"""The bound on a rate."""

from monitor.live.telemetry.token_bucket import TokenBucket


def spent(bucket: TokenBucket) -> int:
    """How many tokens could be taken now."""
    count = 0
    while not bucket.empty:
        bucket.take()
        count += 1
    return count


def test_what_was_saved_up_is_spent_at_once_and_then_it_goes_at_the_rate() -> None:
    """Full at the start, wherever the clock stands; a long rest saves up no more than the bound."""
    bucket = TokenBucket(per_s=10.0, most=4.0)
    bucket.refill(1e6)
    assert spent(bucket) == 4
    bucket.refill(1e6 + 0.25)
    assert spent(bucket) == 2
    bucket.refill(1e6 + 3600.0)
    assert spent(bucket) == 4


def test_one_dear_thing_is_paid_for_before_the_next() -> None:
    """A cost above what is left leaves a debt."""
    bucket = TokenBucket(per_s=10.0, most=1.0)
    bucket.refill(0.0)
    bucket.take(21.0)
    bucket.refill(2.0)
    assert bucket.empty
    bucket.refill(2.2)
    assert not bucket.empty
