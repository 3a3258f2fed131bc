"""Days as a person says them."""

from __future__ import annotations

from monitor.review.days import day_in_words, short_day


def test_the_day_is_that_of_the_place() -> None:
    """Half past eleven in the evening in UTC is the next day in Helsinki."""
    assert day_in_words("2026-11-06T23:30:00.000Z", "Europe/Helsinki") == "Saturday 7 November 2026, 01:30"
    assert short_day("2026-11-06T23:30:00.000Z", "Europe/Helsinki") == "7 Nov 2026"


def test_a_place_that_is_not_known_leaves_the_time_as_the_record_has_it() -> None:
    """Without a zone it says that it is UTC; nonsense is repeated as it stands."""
    assert day_in_words("2026-11-06T19:10:00Z", None) == "Friday 6 November 2026, 19:10 UTC"
    assert day_in_words("2026-11-06T19:10:00Z", "Mars/Base") == "Friday 6 November 2026, 19:10"
    assert day_in_words("yesterday", "UTC") == "yesterday"
    assert day_in_words("", None) == "no date in the record"
    assert short_day("yesterday", None) == "no date"
