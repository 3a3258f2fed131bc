"""`evenbath mix`: how much stock and water, and with which graduate. Decides nothing itself: monitor.prepare.water.mixing does.

Tests: tests/cli/test_mix.py.
"""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING, Any

from monitor.cli.arguments.common import add_json

if TYPE_CHECKING:
    from fractions import Fraction

    from monitor.prepare.water.mixing import Graduate, Mixture


def configure(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("--dilution", metavar="1+N", help='"1+31", "stock", or several parts with water last, "1+1+100"')
    what.add_argument("--to", metavar="PERCENT", help='the strength wanted, "2 %%", with --from or --powder')
    parser.add_argument("--from", dest="stock_percent", metavar="PERCENT", help='the strength of the stock by volume, "28 %%"')
    parser.add_argument("--powder", action="store_true", help="the stock is a powder: grams in 100 ml of finished solution")
    amount = parser.add_mutually_exclusive_group(required=True)
    amount.add_argument("--total", metavar="VOLUME", help='how much working solution, "500 ml", "16 fl oz"')
    amount.add_argument("--stock", metavar="VOLUME", help="how much stock there is, instead of --total")
    parser.add_argument("--tank-minimum", metavar="VOLUME", help="less than this is refused")
    parser.add_argument("--area", metavar="UNITS", help="film in units of 80 sq in (a roll, four 4x5 in sheets), with --stock-per-unit")
    parser.add_argument("--stock-per-unit", metavar="VOLUME", help="the minimum of stock for one unit, from your own sheet")
    parser.add_argument("--graduates", metavar="LIST", help='yours: "25 ml, 100 ml, 600 ml"; each may give its error: "100 ml +/- 0.5 ml"')
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Print the amounts. Raises `InputWrong` for amounts that make no sense or are too small."""
    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import read_volume
    from monitor.prepare.water.mixing import check_enough, mix, parts_from_percent, read_graduates, read_parts, read_percent

    graduates = read_graduates(args.graduates) if args.graduates is not None else ()
    if args.to is None and (args.stock_percent is not None or args.powder):
        raise InputWrong("--from and --powder belong to --to; allowed: --dilution alone, or --to with one of them")
    if args.to is not None and (args.stock_percent is None) == (not args.powder):
        raise InputWrong('--to needs the strength it is made from; allowed: --from "28 %", or --powder')
    if args.powder:
        return _powder(args)
    if args.to is not None:
        stocks: tuple[Fraction, ...] = (_one(),)
        water = parts_from_percent(read_percent(args.stock_percent), read_percent(args.to))
    else:
        stocks, water = read_parts(args.dilution)
    mixture = mix(
        stocks,
        water,
        total_ml=read_volume(args.total) if args.total is not None else None,
        stock_ml=read_volume(args.stock) if args.stock is not None else None,
    )
    check_enough(
        mixture,
        tank_minimum_ml=_volume(args.tank_minimum),
        area_units=_units(args.area),
        stock_per_unit_ml=_volume(args.stock_per_unit),
    )
    if args.json:
        import json

        sys.stdout.write(json.dumps(_data(mixture, graduates), ensure_ascii=False) + "\n")
    else:
        ounces = "fl" in (args.total or args.stock)
        sys.stdout.write("".join(f"{line}\n" for line in _lines(mixture, graduates, ounces)))
    return 0


def _one() -> Fraction:
    from fractions import Fraction

    return Fraction(1)


def _volume(text: str | None) -> float | None:
    from monitor.core.text.quantities import read_volume

    return None if text is None else read_volume(text)


def _units(text: str | None) -> float | None:
    from monitor.core.errors import InputWrong

    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        raise InputWrong(f'--area "{text}" is not a number of units; allowed: such as 1.5, one unit being 80 sq in') from None


def _powder(args: argparse.Namespace) -> int:
    import json

    from monitor.core.errors import InputWrong
    from monitor.core.text.quantities import format_number, format_volume, read_volume
    from monitor.prepare.water.mixing import powder_g, read_percent

    if args.total is None:
        raise InputWrong("--powder needs --total; allowed: the finished solution's volume")
    total = read_volume(args.total)
    if total <= 0:
        raise InputWrong(f"a volume of {total:g} ml; allowed: above zero")
    grams = powder_g(total, read_percent(args.to))
    if args.json:
        sys.stdout.write(json.dumps({"powder_g": grams, "total_ml": total}) + "\n")
    else:
        sys.stdout.write(f"{format_number(grams, 2)} g of powder, made up with water to {format_volume(total)}\n")
        sys.stdout.write("three quarters of the water first, then the powder, then water to the mark; window open, mask on, no food near\n")
    return 0


def _data(mixture: Mixture, graduates: tuple[Graduate, ...]) -> dict[str, Any]:
    from monitor.prepare.water.mixing import best_graduate, rounded

    data: dict[str, Any] = {
        "stock_ml": float(mixture.stock_ml),
        "water_ml": float(mixture.water_ml),
        "total_ml": float(mixture.total_ml),
        "stocks_ml": [float(s) for s in mixture.stocks_ml],
    }
    best = best_graduate(float(mixture.stocks_ml[0]), graduates)
    near = rounded(mixture, best.graduate if best is not None else None)
    data["rounded"] = {"stock_ml": float(near.stock_ml), "water_ml": float(near.water_ml), "total_ml": float(near.total_ml)}
    if graduates:
        data["graduates"] = [_measured(float(v), graduates) for v in (*mixture.stocks_ml, mixture.water_ml)]
    return data


def _measured(amount_ml: float, graduates: tuple[Graduate, ...]) -> dict[str, Any] | None:
    from monitor.prepare.water.mixing import best_graduate

    best = best_graduate(amount_ml, graduates)
    if best is None:
        return None
    return {"amount_ml": amount_ml, "graduate_ml": best.graduate.holds_ml, "fills": best.fills, "error_percent": best.error_percent}


def _lines(mixture: Mixture, graduates: tuple[Graduate, ...], ounces: bool) -> list[str]:
    from monitor.core.text.quantities import format_volume
    from monitor.prepare.water.mixing import best_graduate, rounded

    several = len(mixture.stocks_ml) > 1
    parts = [(f"stock {chr(65 + i)}" if several else "stock", s) for i, s in enumerate(mixture.stocks_ml)] + [("water", mixture.water_ml)]
    lines = [" + ".join(f"{_exact(float(v))} {name}" for name, v in parts if v > 0) + f" = {format_volume(float(mixture.total_ml))}"]
    if ounces:
        lines.append(" + ".join(f"{float(v) / _ounce():.2f} fl oz {name}" for name, v in parts if v > 0))
    for name, amount in parts:
        best = best_graduate(float(amount), graduates)
        if best is not None:
            lines.append(_graduate_line(name, best.graduate.holds_ml, best.fills, best.error_percent))
    best = best_graduate(float(mixture.stocks_ml[0]), graduates)
    near = rounded(mixture, best.graduate if best is not None else None)
    if near.stocks_ml != mixture.stocks_ml:
        lines.append(
            f"or, in readable amounts and the same ratio: {_exact(float(near.stock_ml))} stock + "
            f"{_exact(float(near.water_ml))} water "
            f"= {_exact(float(near.total_ml))}"
        )
    return lines


def _graduate_line(name: str, holds_ml: float, fills: int, error_percent: float) -> str:
    from monitor.core.text.quantities import format_volume
    from monitor.prepare.water.mixing import WARN_PERCENT

    times = "" if fills == 1 else f", filled {fills} times"
    warning = "; use a smaller one, or a syringe" if error_percent > WARN_PERCENT else ""
    return f"{name}: in the {format_volume(holds_ml)} graduate{times}, +/- {error_percent:.{0 if error_percent >= 10 else 1}f} %{warning}"


def _exact(volume_ml: float) -> str:
    """To a tenth of a ml, whatever the amount: small amounts of stock matter."""
    from monitor.core.text.quantities import format_number

    return f"{format_number(volume_ml, 1)} ml"


def _ounce() -> float:
    from monitor.core.text.quantities import ML_PER_US_FL_OZ

    return ML_PER_US_FL_OZ
