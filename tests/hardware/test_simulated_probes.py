"""What simulated probes say of the liquids of a trace."""

from __future__ import annotations

import math
import statistics

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hardware.errors import HardwareConfig
from hardware.simulated.probes import AIR_BELOW_C, AIR_LAG_S, STEP_C, ProbeOptions, SimulatedProbes, quantised_c, relaxed_c
from hardware.simulated.trace import Trace, load_trace

STILL = ProbeOptions(noise_c=0.0)


def _trace(rows: str, columns: str = "t_s,developer_c,bath_c,room_c,developer_fault") -> Trace:
    return load_trace(f"{columns}\n{rows}\n".encode())


def _raw(probes: SimulatedProbes, name: str, t_s: float) -> float:
    raw_c = probes.sample(name, t_s).raw_c
    assert raw_c is not None
    return raw_c


DRIFT = "0,24,22,10,\n40,20,21,10,\n300,19,18,11,"


@pytest.mark.parametrize("lag_s", [0.5, 8.0, 20.0, 400.0])
def test_the_lag_is_the_convolution_with_its_exponential(lag_s: float) -> None:
    """Over a kinked liquid the probe agrees with the integral that defines a first-order lag, by scipy's quadrature."""
    from scipy.integrate import quad

    trace = _trace(DRIFT)
    for at_s in (3.0, 40.0, 77.0, 280.0):
        # P(t) = P0 e^(-t/lag) + integral of u(s) e^(-(t-s)/lag) / lag
        tail, _ = quad(lambda s, t=at_s: trace.developer_c(s) * math.exp((s - t) / lag_s) / lag_s, 0, at_s, points=[40.0], limit=400)
        expected_c = 24.0 * math.exp(-at_s / lag_s) + tail
        probe_c = 24.0
        for left, right in trace.segments(0.0, at_s):
            probe_c = relaxed_c(probe_c, trace.developer_c(left), trace.developer_c(right), right - left, lag_s)
        assert probe_c == pytest.approx(expected_c, abs=1e-7)
        probes = SimulatedProbes(trace, ProbeOptions(lag_s=lag_s, noise_c=0.0))
        assert _raw(probes, "developer", at_s) == pytest.approx(expected_c, abs=STEP_C / 2 + 1e-6)


@given(st.lists(st.floats(0.01, 50), min_size=1, max_size=30))
def test_steps_do_not_matter(steps_s: list[float]) -> None:
    """However often a probe was asked before, without noise it says the same at the same time."""
    trace = _trace(DRIFT)
    often, once = SimulatedProbes(trace, STILL), SimulatedProbes(trace, STILL)
    t_s = 0.0
    for step_s in steps_s:
        t_s += step_s
        last = often.sample("developer", t_s)
    assert last.raw_c == pytest.approx(_raw(once, "developer", t_s), abs=1e-12)


def test_a_settled_probe_starts_at_its_liquid_and_an_unsettled_one_where_it_was() -> None:
    """At t_s = 0 the probe has the liquid's temperature, or the start given; the offset is on top of either."""
    trace = _trace("0,20,22,10,\n600,20,22,10,")
    assert _raw(SimulatedProbes(trace, STILL), "developer", 0) == 20.0
    assert _raw(SimulatedProbes(trace, ProbeOptions(noise_c=0, start_c=24)), "developer", 0) == 24.0
    warm = SimulatedProbes(trace, ProbeOptions(noise_c=0, start_c=24, offset_c=0.5))
    assert _raw(warm, "developer", 0) == 24.5
    assert _raw(warm, "developer", 8) == quantised_c(20.5 + 4 / math.e)
    assert _raw(warm, "developer", 300) == 20.5
    assert _raw(warm, "bath", 0) == 22.0  # the offset is the developer's alone


def test_bath_and_room_have_no_lag() -> None:
    """A jump of bath or room is in the very next reading."""
    probes = SimulatedProbes(_trace("0,20,22,10,\n1,20,22,10,\n1.5,20,30,5,\n9,20,30,5,"), STILL)
    assert _raw(probes, "bath", 1) == 22.0
    assert (_raw(probes, "bath", 2), _raw(probes, "room", 2)) == (30.0, 5.0)
    assert probes.names == ("developer", "bath", "room")


def test_noise_is_of_the_size_asked_for_and_of_no_other_probe() -> None:
    """The spread is the noise and the quantisation together; the streams of two probes are not alike."""
    probes = SimulatedProbes(_trace("0,20,20,10,"), ProbeOptions(noise_c=0.2))
    developer = [_raw(probes, "developer", float(t)) for t in range(4000)]
    bath = [_raw(probes, "bath", float(t)) for t in range(4000)]
    expected_c = math.hypot(0.2, STEP_C / math.sqrt(12))
    assert statistics.stdev(developer) == pytest.approx(expected_c, rel=0.05)
    assert statistics.fmean(developer) == pytest.approx(20, abs=0.015)
    assert abs(statistics.correlation(developer, bath)) < 0.06


def test_the_same_seed_says_the_same_and_another_seed_does_not() -> None:
    """Readings are a function of trace, options and seed."""
    trace = _trace(DRIFT)

    def run(seed: int) -> list[float]:
        probes = SimulatedProbes(trace, ProbeOptions(noise_c=0.1, seed=seed))
        return [_raw(probes, name, float(t)) for t in range(50) for name in probes.names]

    assert run(7) == run(7)
    assert run(7) != run(8)


def test_faults_do_not_move_the_noise_of_other_readings() -> None:
    """With and without a fault in between, the sound readings are the same."""
    options = ProbeOptions(noise_c=0.1)
    sound = SimulatedProbes(_trace("0,20,22,10,\n100,20,22,10,"), options)
    faulty = SimulatedProbes(_trace("0,20,22,10,\n10,20,22,10,missing\n20,20,22,10,\n100,20,22,10,"), options)
    for t in range(60):
        one, other = sound.sample("developer", t), faulty.sample("developer", t)
        assert (other.fault == "missing") if 10 <= t < 20 else one == other


def test_each_fault_looks_as_it_does_on_the_bus() -> None:
    """Unplugged and unreadable say nothing, reset says 85, stuck goes on with the last sound value."""
    rows = "0,20,22,10,\n1,20,22,10,missing\n2,20,22,10,crc\n3,20,22,10,reset\n4,20,22,10,stuck\n50,10,22,10,\n99,10,22,10,"
    probes = SimulatedProbes(_trace(rows), ProbeOptions(lag_s=0, noise_c=0))
    said = [(s.raw_c, s.fault) for s in (probes.sample("developer", t) for t in (0, 1, 2, 3, 4, 30, 50))]
    assert said == [(20, None), (None, "missing"), (None, "crc"), (85, "reset"), (20, None), (20, None), (10, None)]


def test_a_probe_stuck_from_the_start_repeats_its_first_value() -> None:
    """With nothing sound before, the first value is the one that stays."""
    probes = SimulatedProbes(_trace("0,20,22,10,stuck\n60,25,22,10,stuck"), STILL)
    assert {_raw(probes, "developer", t) for t in range(60)} == {20.0}


def test_a_probe_in_air_goes_to_the_room_with_its_own_lag_and_comes_back() -> None:
    """In air 63 % of the way to the room takes 120 s; back in the liquid the probe's own lag holds."""
    probes = SimulatedProbes(_trace("0,20,22,10,\n100,20,22,10,air\n220,20,22,10,\n900,20,22,10,"), STILL)
    assert _raw(probes, "developer", 99.9) == 20.0
    assert _raw(probes, "developer", 220) == quantised_c(10 + 10 / math.e)
    assert _raw(probes, "developer", 228) == quantised_c(20 - 10 * (1 - 1 / math.e) / math.e)
    assert _raw(probes, "developer", 400) == 20.0


@given(st.floats(-60, 130))
def test_quantisation_goes_to_the_nearest_step(celsius: float) -> None:
    """The register holds a multiple of a sixteenth, no further than half a step away, inside its range."""
    register_c = quantised_c(celsius)
    assert (register_c * 16).is_integer()
    assert -55 <= register_c <= 125
    assert abs(register_c - min(max(celsius, -55), 125)) <= STEP_C / 2


@pytest.mark.parametrize("bad", [{"lag_s": -1}, {"noise_c": math.nan}, {"start_c": 300}, {"offset_c": math.inf}])
def test_options_out_of_range_are_refused(bad: dict[str, float]) -> None:
    """A number that no probe has is refused by its name."""
    with pytest.raises(HardwareConfig, match=next(iter(bad))):
        ProbeOptions(**bad)  # type: ignore[arg-type]


def test_an_unknown_probe_is_refused_by_name() -> None:
    """Asking for a probe that the trace does not drive names those that it does."""
    with pytest.raises(HardwareConfig, match="developer, bath"):
        SimulatedProbes(load_trace(b"t_s,developer_c,bath_c\n0,20,20\n")).sample("room", 0)


@pytest.mark.parametrize("columns", ["t_s,developer_c,bath_c,room_c", "t_s,developer_c,bath_c"])
def test_a_lifted_probe_goes_to_the_air_and_a_dipped_one_comes_back(columns: str) -> None:
    """From the moment of lifting, as an `air` of the trace would; the others stay; without a room the air is somewhat colder."""
    rows = "0,20,21,10\n900,20,21,10" if "room" in columns else "0,20,21\n900,20,21"
    probes = SimulatedProbes(_trace(rows, columns), STILL)
    air_c = 10.0 if "room" in columns else 20.0 - AIR_BELOW_C
    assert _raw(probes, "developer", 100.0) == 20.0
    probes.lift("developer")
    assert _raw(probes, "developer", 100.0 + AIR_LAG_S) == pytest.approx(air_c + (20.0 - air_c) / math.e, abs=STEP_C)
    assert _raw(probes, "bath", 100.0 + AIR_LAG_S) == 21.0
    probes.dip("developer")
    assert _raw(probes, "developer", 100.0 + AIR_LAG_S + 120.0) == 20.0
    probes.lift("bath")
    assert _raw(probes, "bath", 400.0) < 20.0


@pytest.mark.parametrize("name", ["room", "jug", ""])
def test_what_lies_in_no_liquid_is_not_lifted(name: str) -> None:
    """Nor dipped; the error says which can be."""
    probes = SimulatedProbes(_trace("0,20,20,10,\n9,20,20,10,"), STILL)
    for move in (probes.lift, probes.dip):
        with pytest.raises(HardwareConfig, match="allowed: developer, bath"):
            move(name)
