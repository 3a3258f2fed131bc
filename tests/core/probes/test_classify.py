"""A sample's quality: what the bus could not tell by itself."""

import pytest

from monitor.core.probes.classify import UNCHANGED_S, Classifier
from monitor.core.probes.readings import Role


def two() -> Classifier:
    """Probes in jug, bowl and air."""
    roles: dict[str, Role] = {"jug": "developer", "bowl": "bath", "wall": "room"}
    return Classifier(roles)


def test_a_plausible_number_in_time_is_good() -> None:
    """The usual case."""
    assert two().classify("jug", 10.0, 20.0625, None, 10.4) == "good"


@pytest.mark.parametrize("raw_c", [-2.0625, 60.0625, 127.9375, -55.0])
def test_a_number_that_no_bath_has_is_implausible(raw_c: float) -> None:
    """Outside -2 C to 60 C."""
    assert two().classify("jug", 10.0, raw_c, None, 10.4) == "implausible"


def test_what_the_bus_found_wrong_stays_so() -> None:
    """A fault of the bus is not overruled by a fine number."""
    assert two().classify("jug", 10.0, 85.0, "reset", 10.4) == "reset"
    assert two().classify("jug", 10.0, None, "missing", 10.4) == "missing"


def test_a_late_reading_is_stale() -> None:
    """It speaks of a moment that is over."""
    assert two().classify("jug", 10.0, 20.0, None, 15.0) == "good"
    assert two().classify("jug", 11.0, 20.0, None, 16.1) == "stale"


def standing(seconds: int, bath_moves_c: float, other: str = "bowl") -> str:
    """The quality of the jug's last reading after so long on one value while another probe moves."""
    classifier = two()
    quality = ""
    for second in range(seconds + 1):
        classifier.classify(other, second, 20.0 + bath_moves_c * second / seconds, None, second)
        quality = classifier.classify("jug", second, 20.0, None, second)
    return quality


def test_the_same_value_for_five_minutes_while_the_bath_moved_is_stuck() -> None:
    """No liquid beside a moving bath stands still to a sixteenth of a degree."""
    assert standing(int(UNCHANGED_S) + 5, 0.4) == "stuck"


def test_the_same_value_is_good_while_nothing_else_moves() -> None:
    """A calm bath is calm."""
    assert standing(3600, 0.29) == "good"


def test_it_takes_five_minutes() -> None:
    """Before that it may be chance."""
    assert standing(int(UNCHANGED_S) - 1, 2.0) == "good"


def test_a_room_that_moves_convicts_no_liquid() -> None:
    """The heating came on; the bath did not notice."""
    assert standing(3600, 5.0, other="wall") == "good"


def test_a_stuck_probe_that_moves_again_is_good_at_once() -> None:
    """The next value is another one."""
    classifier = two()
    for second in range(400):
        classifier.classify("bowl", second, 20.0 + second / 400, None, second)
        last = classifier.classify("jug", second, 20.0, None, second)
    assert last == "stuck"
    assert classifier.classify("jug", 401, 20.0625, None, 401) == "good"
    assert classifier.classify("jug", 402, 20.0625, None, 402) == "good"


def test_a_bath_that_moved_before_does_not_count() -> None:
    """Only what the other did since the value came counts."""
    classifier = two()
    for second in range(60):
        classifier.classify("bowl", second, 18.0 + second / 10, None, second)
    for second in range(60, 1000):
        classifier.classify("bowl", second, 24.0, None, second)
        last = classifier.classify("jug", second, 24.0, None, second)
    assert last == "good"


@pytest.mark.parametrize(("late_s", "quality"), [(5.0, "good"), (5.01, "stale")])
def test_five_seconds_are_not_yet_stale(late_s: float, quality: str) -> None:
    """From the middle of the conversion to the arrival."""
    assert two().classify("jug", 0.0, 20.0, None, late_s) == quality


@pytest.mark.parametrize("raw_c", [-2.0, 60.0])
def test_the_ends_of_what_is_plausible_are_plausible(raw_c: float) -> None:
    """-2 C and 60 C themselves."""
    assert two().classify("jug", 0.0, raw_c, None, 0.4) == "good"


@pytest.mark.parametrize(("after_s", "quality"), [(300.0, "good"), (300.5, "stuck")])
def test_stuck_is_longer_than_five_minutes(after_s: float, quality: str) -> None:
    """The same value at 0 s and then, while the bath has moved by 1 C."""
    classifier = two()
    classifier.classify("bowl", 0.0, 20.0, None, 0.4)
    classifier.classify("jug", 0.0, 20.0, None, 0.4)
    classifier.classify("bowl", 100.0, 21.0, None, 100.4)
    assert classifier.classify("jug", after_s, 20.0, None, after_s + 0.4) == quality


@pytest.mark.parametrize(("moved_c", "quality"), [(0.3125, "stuck"), (0.25, "good")])
def test_another_probe_must_have_moved_by_more_than_three_tenths(moved_c: float, quality: str) -> None:
    """Five steps of the register, not four."""
    classifier = two()
    classifier.classify("bowl", 0.0, 20.0, None, 0.4)
    classifier.classify("jug", 0.0, 20.0, None, 0.4)
    classifier.classify("bowl", 100.0, 20.0 + moved_c, None, 100.4)
    assert classifier.classify("jug", 301.0, 20.0, None, 301.4) == quality


@pytest.mark.parametrize(
    ("role", "quality"), [("developer", "stuck"), ("witness", "stuck"), ("bath", "stuck"), ("room", "good"), ("wash", "good")]
)
def test_probes_in_developer_witness_and_bath_are_compared_with_each_other(role: Role, quality: str) -> None:
    """A room or a wash that stands or moves says nothing of them, nor they of it."""
    pairs: tuple[tuple[Role, Role], ...] = ((role, "bath"), ("developer", role))
    for stands, moves in pairs:
        classifier = Classifier({"one": stands, "other": moves})
        classifier.classify("other", 0.0, 20.0, None, 0.4)
        classifier.classify("one", 0.0, 20.0, None, 0.4)
        classifier.classify("other", 100.0, 21.0, None, 100.4)
        assert classifier.classify("one", 301.0, 20.0, None, 301.4) == quality


def test_a_bus_that_says_good_is_believed_as_if_it_had_said_nothing() -> None:
    """The number is judged."""
    assert two().classify("jug", 0.0, 20.0, "good", 0.4) == "good"
    assert two().classify("jug", 1.0, 99.0, "good", 1.4) == "implausible"
