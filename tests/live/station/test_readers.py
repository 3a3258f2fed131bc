"""Readers: one attempt a second, whatever comes of it."""

from hardware.ports import Sample
from monitor.core.probes.classify import Classifier
from monitor.core.probes.learned import Comparison, ComparisonPoint
from monitor.live.clock import RealClock
from monitor.live.inbox import Inbox, Sampled
from monitor.live.station.readers import Reader, to_reading
from tests.fake_clock import FakeClock
from tests.live.simulated import JUG, FakeBus


def reader(clock: FakeClock, bus: FakeBus, inbox: Inbox) -> Reader:
    """A reader of the jug."""
    return Reader(clock, bus, "jug", JUG, inbox.put)


def test_a_reading_and_a_fault_are_both_posted() -> None:
    """With the moment of arrival."""
    clock, inbox = FakeClock(50.0), Inbox()
    bus = FakeBus(clock, {JUG: lambda t: 20.03})
    one = reader(clock, bus, inbox)
    one.step()
    bus.faults[JUG] = "crc"
    one.step()
    first, second = inbox.get(0), inbox.get(0)
    assert isinstance(first, Sampled)
    assert isinstance(second, Sampled)
    assert (first.sample.raw_c, first.arrived_s) == (20.0, 50.0)
    assert (second.sample.raw_c, second.sample.fault) == (None, "crc")


def test_a_bus_that_raises_gives_a_sample_without_a_value() -> None:
    """A reader never dies."""
    clock, inbox = FakeClock(), Inbox()
    bus = FakeBus(clock, {JUG: lambda t: 20.0})
    bus.raises[JUG] = IndexError("list index out of range")
    reader(clock, bus, inbox).step()
    message = inbox.get(0)
    assert isinstance(message, Sampled)
    assert message.sample.fault == "missing"
    assert "IndexError" in message.sample.detail


def test_a_slow_read_keeps_the_phase_and_makes_no_queue() -> None:
    """The next read begins on the next whole second of the phase, at once if that is over."""
    clock, inbox = FakeClock(100.0), Inbox()
    one = reader(clock, FakeBus(clock, {}), inbox)
    one.beat_s = 100.8
    assert one.next_s(100.0) == 101.0
    one.beat_s = 101.9
    assert one.next_s(100.0) == 102.0
    one.beat_s = 107.3
    assert one.next_s(100.0) == 108.0


def test_the_thread_reads_until_it_is_stopped() -> None:
    """Real threads, real clock, two readings."""
    inbox = Inbox()

    class Bus:
        def ids(self) -> tuple[str, ...]:
            return (JUG,)

        def read(self, probe_id: str) -> Sample:
            return Sample(probe_id, 0.0, 20.0)

    one = Reader(RealClock(), Bus(), "jug", JUG, inbox.put)
    one.start()
    assert isinstance(inbox.get(5.0), Sampled)
    one.stop()


def test_a_comparison_is_taken_off_a_good_reading_only() -> None:
    """Probe minus reference is the offset; a bad reading has no number."""
    comparison = Comparison("jug", JUG, 20.0, 0.3, 0.0, 0.02, 0.0, "glass", 0.05, "me", "2026-11-01", (ComparisonPoint(20.0, 0.3, 0.02),))
    judge = Classifier({"jug": "developer"})
    good = to_reading(Sample(JUG, 105.0, 20.3), "jug", "developer", comparison, judge, 100.0, 105.4)
    assert good.t_s == 5.0
    assert good.celsius is not None
    assert abs(good.celsius - 20.0) < 1e-9
    assert good.raw_c == 20.3
    bad = to_reading(Sample(JUG, 106.0, 85.0, "reset"), "jug", "developer", comparison, judge, 100.0, 106.4)
    assert (bad.celsius, bad.raw_c, bad.quality) == (None, 85.0, "reset")


def test_a_comparison_with_a_slope_corrects_each_reading_at_its_own_temperature() -> None:
    """0.30 C high at 0 C and 0.50 C at 20 C: what the probe says at 38 C is taken off by 0.68 C."""
    points = (ComparisonPoint(0.0, 0.3, 0.01), ComparisonPoint(20.0, 0.5, 0.01))
    comparison = Comparison("jug", JUG, 0.0, 0.3, 0.01, 0.02, 0.001, "ice and glass", 0.0, "me", "2026-11-01", points)
    judge = Classifier({"jug": "developer"})
    for at, (raw_c, true_c) in enumerate(((0.3, 0.0), (20.5, 20.0), (38.68, 38.0))):
        reading = to_reading(Sample(JUG, 105.0 + at, raw_c), "jug", "developer", comparison, judge, 100.0, 105.4 + at)
        assert reading.celsius is not None
        assert abs(reading.celsius - true_c) < 1e-9
