"""When it is told that a probe counts in part, and when that this is over."""

from __future__ import annotations

from monitor.core.development.in_part import InPart


def told(*moved_c: tuple[float, float, float], probe: str = "jug") -> list[tuple[float, float, str]]:
    """What is told, a look a second, of stretches (from, to, by how much the liquid is taken for warmer): when, since when, what."""
    in_part, said = InPart(), []
    for from_s, to_s, by_c in moved_c:
        for t in range(int(from_s), int(to_s)):
            verdict = in_part.look(probe, float(t), by_c)
            if verdict is not None:
                assert verdict.believed
                said.append((float(t), verdict.since_t_s, verdict.why))
    return said


def test_it_is_told_once_with_its_size_and_its_end_a_minute_later() -> None:
    """Since when it has been whole stands in it."""
    above, whole = told((0, 100, 0.3), (100, 300, 0.0))
    assert above == (0.0, 0.0, "in part only: bath and vessel's lag put the developer 0.3 C above what this probe reads")
    assert whole == (160.0, 100.0, "whole again: the bath agrees")
    assert "0.4 C below" in told((0, 5, -0.4))[0][2]


def test_a_flutter_is_neither_an_end_nor_a_beginning() -> None:
    """Less than a minute of it; the minute begins anew each time."""
    assert len(told((0, 100, 0.3), (100, 155, 0.0), (155, 160, 0.3), (160, 215, 0.0))) == 1


def test_after_its_end_it_may_begin_again() -> None:
    """And is told again."""
    assert len(told((0, 10, 0.3), (10, 100, 0.0), (100, 110, 0.3))) == 3


def test_a_probe_that_always_counted_whole_is_not_told_to_be_whole_again() -> None:
    """Nor one whose loss, or exchange, has been told meanwhile."""
    assert told((0, 300, 0.0)) == []
    in_part = InPart()
    in_part.look("jug", 0.0, 0.3)
    in_part.forget("another")
    assert in_part.probe == "jug"
    in_part.forget("jug")
    assert [in_part.look("jug", float(t), 0.0) for t in range(200)] == [None] * 200
