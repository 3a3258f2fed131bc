"""When the hands move."""

from __future__ import annotations

from monitor.core.recipe.values import Burst
from monitor.core.session.agitation import Pace

FIRST_30_THEN_10_A_MINUTE = Pace((Burst(0.0, None, 30.0), Burst(None, 60.0, 10.0)))


def ticks(pace: Pace, now_after_s: float | None, upto_s: float = 1e9, least: int = 500) -> list[float]:
    """All ticks of a pace."""
    found: list[float] = []
    at_s = -0.001
    while len(found) < least:
        tick = pace.next_tick(at_s, now_after_s)
        if tick is None or tick.after_begin_s > upto_s:
            break
        at_s = tick.after_begin_s
        found.append(at_s)
    return found


def test_thirty_seconds_at_first_then_ten_at_each_minute() -> None:
    """Sound is movement: one tick a second while it lasts, on whole seconds after the begin."""
    assert ticks(FIRST_30_THEN_10_A_MINUTE, 647.0, 130) == [*range(30), *range(60, 70), *range(120, 130)]


def test_an_agitation_that_would_run_into_the_last_half_minute_before_now_is_dropped_whole() -> None:
    """NOW at 10:47: the last movement is at 10:00, and with NOW at 10:35 already the one at 10:00 collides."""
    assert max(ticks(FIRST_30_THEN_10_A_MINUTE, 647.0)) == 609
    assert max(ticks(FIRST_30_THEN_10_A_MINUTE, 635.0)) == 549


def test_the_movement_that_begins_a_short_stage_goes_on_until_now() -> None:
    """A stop bath of half a minute is moved although NOW is near."""
    assert ticks(Pace((Burst(0.0, None, 30.0),)), 20.0) == [*range(20)]


def test_continuous_movement_ticks_each_second_until_now() -> None:
    """No tick at NOW itself."""
    assert ticks(Pace(step_s=1.0), 5.0) == [0, 1, 2, 3, 4]


def test_sheets_are_shuffled_every_five_seconds_and_the_first_of_a_round_has_a_double_tick() -> None:
    """Each of six sheets is turned every half minute, and nobody has to count."""
    pace = Pace(step_s=5.0, round_of=6, shift_s=55.0)
    first = [pace.next_tick(t, None) for t in (0.0, 55.0, 60.0, 80.0)]
    assert [(t.after_begin_s, t.double) for t in first if t is not None] == [(55.0, True), (60.0, False), (65.0, False), (85.0, True)]
