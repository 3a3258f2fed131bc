"""`evenbath temper`: how much hot or cold water or ice, and what a vessel is worth in water.

Decides nothing itself: monitor.prepare.water.tempering does. With --file the last third is calculated from the
station's own probe. Tests: tests/cli/test_temper.py.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING

from monitor.cli.arguments.common import add_json
from monitor.core.text.doubt import two_sd

if TYPE_CHECKING:
    from monitor.prepare.water.tempering import Ice, Warmth


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--volume", required=True, metavar="VOLUME", help='how much water there is, "8 l"')
    parser.add_argument("--now", metavar="TEMPERATURE", help='its temperature, "18.2 C"; with --file the bath probe is read')
    parser.add_argument("--want", metavar="TEMPERATURE", help='the temperature wanted, "20.3 C"')
    second = parser.add_mutually_exclusive_group(required=True)
    second.add_argument("--with", dest="second", metavar="TEMPERATURE", help='the other water, "55 C"')
    second.add_argument("--ice", action="store_true", help="melting ice instead of water")
    second.add_argument("--bath", metavar="TEMPERATURE", help="no other water: how long a bottle takes in a bath at this temperature")
    second.add_argument("--vessel", metavar="TEMPERATURE", help="no other water: what a vessel at this temperature is worth, with --then")
    parser.add_argument("--then", metavar="TEMPERATURE", help="with --vessel: the water's temperature once it was poured into it")
    parser.add_argument("--lag", metavar="m:ss", help='of the bottle, with --bath; default "25:00" (a litre, still, common practice)')
    parser.add_argument("--container", metavar="VOLUME", help="what the container holds")
    parser.add_argument("--vessel-water", metavar="VOLUME", help="the vessel's own heat, as water; 0 ml if left out; see --vessel")
    parser.add_argument("--file", metavar="STATION.toml", help="take --now from the running station's bath probe")
    parser.add_argument("--state", metavar="FOLDER", help="the station's state folder, if not as its file says")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the amounts. Raises `InputWrong` for a target out of reach."""
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_temperature, read_volume
    from monitor.prepare.water.tempering import ice, temper

    if (args.now is None) == (args.file is None):
        raise InputWrong('the water\'s temperature comes from one place; allowed: --now "18.2 C", or --file STATION.toml')
    volume = read_volume(args.volume)
    now = read_temperature(args.now) if args.now is not None else _bath_now(args)
    if (args.vessel is None) != (args.then is None):
        raise InputWrong('--vessel and --then belong together; allowed: both, such as --vessel "8 C" --then "19.3 C"')
    if args.vessel is not None:
        return _vessel(args, volume, now)
    if args.want is None:
        raise InputWrong('the temperature wanted is missing; allowed: --want "20.3 C"')
    want = read_temperature(args.want)
    vessel = read_volume(args.vessel_water) if args.vessel_water is not None else 0.0
    container = read_volume(args.container) if args.container is not None else None
    if args.lag is not None and args.bath is None:
        raise InputWrong('--lag belongs to --bath; allowed: both, such as --bath "39 C" --lag "25:00"')
    if args.bath is not None:
        return _bottle(args, now, want)
    if args.ice:
        chill = ice(volume, now, want, vessel_water_ml=vessel, container_ml=container)
        if not chill.fits:
            raise InputWrong(f"with {chill.ice_kg:.2f} kg of ice the container overflows; allowed: take water out first")
        return _print(args.json, {**asdict(chill), "now_c": now}, _ice_lines(chill, want))
    second = read_temperature(args.second)
    warmth = temper(volume, now, want, second, vessel_water_ml=vessel, container_ml=container)
    if warmth.fits == "neither":
        raise InputWrong(
            f"neither adding {warmth.add_ml:.0f} ml nor swapping {warmth.swap_ml:.0f} ml fits the container; "
            f"allowed: a larger one, or another water"
        )
    return _print(args.json, {**asdict(warmth), "now_c": now}, _water_lines(warmth, volume, want, second))


def _bath_now(args: argparse.Namespace) -> float:
    from statistics import median

    from monitor.cli.arguments.bath_source import live_source
    from monitor.cli.arguments.common import state_of

    source = live_source(args.file, state_of(args))
    bath = source.needed("bath")
    return median(bath.celsius[-5:])


def _vessel(args: argparse.Namespace, volume_ml: float, poured_c: float) -> int:
    from monitor.core.text.quantities import read_temperature
    from monitor.prepare.water.tempering import vessel_water

    found = vessel_water(volume_ml, poured_c, read_temperature(args.vessel), read_temperature(args.then))
    text = f"the vessel takes as much heat as {found.ml:.0f} +/- {two_sd(found.sd_ml):.0f} ml of water (2 sd)"
    data = {"vessel_water_ml": found.ml, "sd_ml": found.sd_ml}
    return _print(args.json, data, [f'{text}: --vessel-water "{found.ml:.0f} ml" takes it into account'])


def _bottle(args: argparse.Namespace, now_c: float, want_c: float) -> int:
    from monitor.core.text.degrees import degrees
    from monitor.core.text.quantities import format_duration, read_duration, read_temperature
    from monitor.prepare.water.tempering import BOTTLE_LAG_S, warm_up_s

    bath = read_temperature(args.bath)
    lag = read_duration(args.lag) if args.lag is not None else BOTTLE_LAG_S
    seconds = warm_up_s(now_c, bath, want_c, lag)
    text = (
        f"the bottle goes from {degrees(now_c)} to {degrees(want_c)} in about {format_duration(seconds)} "
        f"in a bath of {degrees(bath)} (lag {format_duration(lag)}); shake it now and then, then measure in the bottle"
    )
    return _print(args.json, {"warm_up_s": seconds, "lag_s": lag}, [text])


def _water_lines(w: Warmth, volume_ml: float, want_c: float, second_c: float) -> list[str]:
    from monitor.core.text.degrees import degrees, difference
    from monitor.core.text.quantities import format_volume
    from monitor.prepare.water.tempering import HOT_WATER_CAUTION, SCALDS_C

    if w.add_ml == 0:
        return [f"the water is at {degrees(want_c)} already: nothing to add"]
    first = w.first_add_ml if w.fits == "add" else w.first_swap_ml
    ways = [f"add {format_volume(w.add_ml)}"] if w.fits == "add" else []
    if w.swap_ml <= volume_ml:
        ways.append(f"swap {format_volume(w.swap_ml)} (take out as much first)")
    runs_over = "" if w.fits == "add" else "adding would overflow: "
    lines = [
        f"{runs_over}{' or '.join(ways)} of water at {degrees(second_c)}",
        f"two thirds first: {format_volume(first)}; stir, wait 60 s, measure, and calculate again from the probe's reading",
        f"expected result {degrees(want_c)} +/- {difference(two_sd(w.outcome_sd_c), '.1f')} "
        "(2 sd: jug and formula, not the vessel's own heat), "
        f"{format_volume(w.after_add_ml)} in all if added",
    ]
    if second_c >= SCALDS_C:
        lines.append(f"caution: {HOT_WATER_CAUTION}")
    return lines


def _ice_lines(chill: Ice, want_c: float) -> list[str]:
    from monitor.core.text.degrees import degrees, difference
    from monitor.core.text.quantities import format_volume

    return [
        f"{chill.ice_kg:.2f} kg of melting ice; {chill.first_kg:.2f} kg first, stir until it is gone, measure, and calculate again",
        f"expected result {degrees(want_c)} +/- {difference(two_sd(chill.outcome_sd_c), '.1f')} (2 sd; freezer ice cools a tenth more), "
        f"{format_volume(chill.after_ml)} in all",
    ]


def _print(as_json: bool, data: Mapping[str, object], lines: list[str]) -> int:
    if as_json:
        import json

        sys.stdout.write(json.dumps(dict(data)) + "\n")
    else:
        sys.stdout.write("".join(f"{line}\n" for line in lines))
    return 0
