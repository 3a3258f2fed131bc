"""`evenbath forecast`: where a bath is going and whether it lasts. Decides nothing itself: monitor.prepare.water.forecast and outlook do.

Tests: tests/cli/test_forecast.py.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from monitor.prepare.probes.readings import ProbeReadings
    from monitor.prepare.water.forecast import FittedBath
    from monitor.prepare.water.outlook import Outlook

LONGEST_MINUTES = 24 * 60


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    from monitor.cli.arguments.bath_source import add_source

    add_source(parser)
    parser.add_argument("--minutes", type=float, default=15.0, metavar="N", help="how far ahead; 15 if left out")
    parser.add_argument("--probe", metavar="NAME", help="which probe; default: the bath's")
    parser.add_argument("--recipe", metavar="RECIPE.toml", help="whether the bath lasts for this recipe, and what to do if not")
    parser.add_argument("--starts-in", metavar="m:ss", help='when the session begins, with --recipe; "0:00" if left out')
    parser.add_argument("--vessel", metavar="NAME", help="a vessel with a learned lag: forecast the developer in it")
    parser.add_argument("--bath", metavar="VOLUME", help="how much water is in the bath, for amounts of hot water")
    parser.add_argument("--with", dest="second", metavar="TEMPERATURE", help="temperature of the hot or cold water at hand")


def run(args: argparse.Namespace) -> int:
    """Print the forecast. Raises `InputWrong` for too few readings, `NotThere` if no station answers."""
    from monitor.cli.arguments.bath_source import open_source
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_duration, read_temperature, read_volume
    from monitor.prepare.water.forecast import fit_bath, forecast_points
    from monitor.prepare.water.outlook import advice, outlook

    if not 0.0 < args.minutes <= LONGEST_MINUTES:
        raise InputWrong(f"--minutes {args.minutes:g}; allowed: above 0 and up to {LONGEST_MINUTES}")
    if args.recipe is None and (args.starts_in is not None or args.vessel is not None):
        raise InputWrong("--starts-in and --vessel belong to --recipe; allowed: both with a recipe")
    lag_s = _vessel_lag(args)
    source = open_source(args)
    bath = source.probe(args.probe) if args.probe is not None else source.needed("bath")
    cooling = fit_bath(bath, source.role("room"))
    points = forecast_points(cooling, args.minutes)
    data: dict[str, Any] = {
        "probe": bath.probe,
        "room_c": cooling.room_c,
        "room_sd_c": cooling.room_sd_c,
        "room_from": cooling.room_from,
        "tau_s": cooling.tau_s,
        "noise_c": cooling.noise_c,
        "used_s": cooling.used_s,
        "forecast": [{"t_s": p.t_s, "celsius": p.celsius, "sd_c": p.sd_c} for p in points],
    }
    view: Outlook | None = None
    to_do: list[str] = []
    if args.recipe is not None:
        from monitor.cli.arguments.recipe_file import open_recipe

        starts_in = read_duration(args.starts_in) if args.starts_in is not None else 0.0
        view = outlook(cooling, open_recipe(args.recipe), starts_in, lag_s)
        to_do = advice(
            cooling,
            view,
            read_volume(args.bath) if args.bath is not None else None,
            read_temperature(args.second) if args.second is not None else None,
        )
        data |= {
            "lasts": view.lasts,
            "leaves_s": view.leaves_s,
            "leaves_stage": view.bearing.stage if view.bearing is not None else None,
            "needed_tau_s": view.needed_tau_s,
            "advice": to_do,
        }
    if args.json:
        import json

        sys.stdout.write(json.dumps(data, ensure_ascii=False) + "\n")
    else:
        from monitor.core.text.doubt import said_once

        lines = _lines(args.minutes, bath, cooling, view, to_do, lag_s is not None)
        sys.stdout.write(said_once("".join(f"{line}\n" for line in lines)))
    return 0


def _vessel_lag(args: argparse.Namespace) -> float | None:
    """The learned lag of --vessel behind its bath; None without the option. Raises `InputWrong` if none was learned."""
    from monitor.cli.arguments.bath_source import learned_in
    from monitor.cli.arguments.common import state_of
    from monitor.core.errors import InputWrong

    if args.vessel is None:
        return None
    lag = learned_in(state_of(args)).vessel_lag(args.vessel)
    if lag is None:
        raise InputWrong(
            f'no lag was learned for a vessel "{args.vessel}" in {state_of(args)}; allowed: evenbath lag ... --vessel NAME --save first'
        )
    if lag.coupled_to != "bath":
        raise InputWrong(f'vessel "{args.vessel}" follows the {lag.coupled_to}, not a bath; allowed: a vessel in a bath')
    return lag.lag_s


def _lines(
    minutes: float, bath: ProbeReadings, cooling: FittedBath, view: Outlook | None, to_do: list[str], vessel_known: bool
) -> list[str]:
    from monitor.core.text.degrees import degrees, difference
    from monitor.core.text.doubt import two_sd
    from monitor.prepare.water.outlook import LEAST_TOLD_C, about, outlook_lines

    end = cooling.at(cooling.origin_s + 60.0 * minutes)
    now = cooling.at(cooling.origin_s)
    source = "the room's probe and the fit" if cooling.room_from == "probe" else "the fit alone"
    now_and_then = [
        f"{bath.probe} is at {degrees(now.celsius)} by its newest readings, which scatter by {difference(cooling.noise_c, '.2f')} "
        f"(whether the probe itself is right is not in that); in {minutes:g} min "
        f"{degrees(end.celsius)} +/- {difference(max(two_sd(end.sd_c), LEAST_TOLD_C), '.1f')} (forecast)",
        f"it drifts towards {degrees(cooling.room_c)} +/- {difference(two_sd(cooling.room_sd_c), '.0f')} by {source}, time constant about "
        f"{about(cooling.tau_s)}; fitted on the last {cooling.used_s / 60:.0f} min",
    ]
    if cooling.disturbed_s is not None:
        now_and_then.append(f"the water was disturbed about {cooling.disturbed_s / 60:.0f} min ago; only later readings were used")
    if view is None:
        return now_and_then
    expected, *answer = outlook_lines(view, vessel_known)
    return [*answer[:1], *to_do, expected, *now_and_then, *answer[1:]]
