"""Names of sessions."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from monitor.live.disk.session_id import session_id

START = datetime(2026, 11, 25, 19, 4, 0, tzinfo=UTC)


def test_a_later_session_sorts_later_over_minutes_days_and_years() -> None:
    """As text, in steps that no two sessions on one board come closer than."""
    moments = [START + timedelta(seconds=0.06 * k) for k in range(2100)] + [START + timedelta(days=k) for k in range(1, 400)]
    names = [session_id(moment, lambda _: False) for moment in moments]
    assert names == sorted(names)
    assert len(set(names)) == len(names)


def test_it_is_short_enough_for_a_sleeve_and_has_no_signs_that_look_like_others() -> None:
    """Thirteen signs."""
    name = session_id(START + timedelta(seconds=24.5), lambda _: False)
    assert name == "261125-1904d2"
    assert not set(name) & set("ilou")


def test_a_name_that_is_taken_gets_one_sign_more() -> None:
    """And still sorts behind the one that was there."""
    first = session_id(START, lambda _: False)
    second = session_id(START, lambda name: name == first)
    assert second == first + "0"
