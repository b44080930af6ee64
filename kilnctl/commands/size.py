"""`kilnctl size OVEN`: how hot, how fast, where the watts go; what to buy, and two ovens side by side."""

import argparse
import json
from pathlib import Path

from ..body import load_oven
from ..errors import KilnctlError
from ..output import Units, typed
from ..report.buying_text import buying_json, buying_text, comparison_rows, comparison_text
from ..report.sizing_page import sizing_page
from ..report.sizing_pictures import sizing_pictures
from ..report.sizing_text import sizing_json, sizing_text
from ..sizing import Sizing, size
from ..sizing.comparison import RunAsked, known_as, offers_of, run_asked
from ..terms import ExitStatus
from ..units import UnitError, parse, parse_unit
from ._options import chosen, number


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("oven", help="oven file (YAML)")
    parser.add_argument("--json", action="store_true", help="for programs; SI units in the names")
    parser.add_argument(
        "--out", metavar="DIR", help="also write pictures there: power against temperature, and through each wall (SVG)"
    )
    parser.add_argument(
        "--page", metavar="FILE", help="also write all of it there as one page for a browser, with the pictures"
    )
    parser.add_argument(
        "--buy", action="store_true", help="what changes of walls, door, vent and materials would bring; takes seconds"
    )
    parser.add_argument("--compare", metavar="OTHER", help="another oven file: both side by side")
    parser.add_argument("--hold", metavar="TIME", default="1 h", help="how long a run stays there (default: 1 h)")
    parser.add_argument("--kwh", metavar="PRICE", type=number, help="price of a kilowatt-hour, in your money")
    parser.add_argument(
        "--price",
        metavar="[MATERIAL: ]PRICE/AREA",
        action="append",
        default=[],
        help="of a piece of insulation 25 mm (1 in) thick: '22/m²', 'mineral wool 100: 1.10/ft²'; may be repeated",
    )


def run(args: argparse.Namespace) -> int:
    oven = load_oven(args.oven)
    units = chosen(args, oven)
    hold_s, prices = _hold_s(args.hold), dict(_price(p) for p in args.price)
    if args.kwh is not None and not 0.0 < args.kwh < 1e6:
        raise KilnctlError("--kwh: a price above zero")
    sizing = size(oven)
    other = size(load_oven(args.compare)) if args.compare else None
    asked = run_asked(sizing, hold_s, args.kwh)
    bought = (asked, *offers_of(sizing, asked, prices)) if args.buy or args.price else None
    # Two ovens are compared where both get to.
    common = RunAsked(min(asked.to_c, run_asked(other).to_c), hold_s, args.kwh) if other else asked
    if args.json:
        print(json.dumps(_json(sizing, bought, other, common, units), indent=2, ensure_ascii=False))
    else:
        parts = []
        if other is not None:
            parts.append(comparison_text(sizing, other, common, units))
        if bought is not None:
            parts.append(buying_text(sizing, *bought, units))
        print("\n\n".join(parts) if parts else sizing_text(sizing, units))
    wrote = _pictures(args.out, sizing, units) if args.out else []
    if args.page:
        page = sizing_page(sizing, units, bought, (other, common) if other else None)
        wrote.append(_write(Path(args.page), page))
    if wrote and not args.json:
        print("\n" + "\n".join(wrote))
    if not args.json:
        print(f"\nnext: kilnctl rehearse {typed(args.oven)} SCHEDULE")
    return ExitStatus.ANSWER_NO if sizing.wrong else ExitStatus.DONE


def _json(sizing: Sizing, bought, other: Sizing | None, common: RunAsked, units: Units) -> dict:
    found = sizing_json(sizing)
    if bought is not None:
        found["buying"] = buying_json(*bought)
    if other is not None:
        found["other"] = sizing_json(other)
        found["side_by_side"] = [list(row) for row in comparison_rows(sizing, other, common, units)]
    return found


def _hold_s(text: str) -> float:
    try:
        hold_s = parse(text, "time")
    except UnitError as error:
        raise KilnctlError(f"--hold: {error}") from None
    if not 0.0 <= hold_s <= 172800.0:
        raise KilnctlError("--hold: from 0 min to 48 h")
    return hold_s


def _price(text: str) -> tuple[str, float]:
    """Material ("" for any) and the price of a square metre. Raises KilnctlError."""
    name, _, price = text.rpartition(":")
    amount, _, area = price.partition("/")
    try:
        factor, exponents = parse_unit(area)
        value = float(amount)
    except (UnitError, ValueError):
        factor, exponents, value = 1.0, (), 0.0
    if exponents != (2, 0, 0, 0, 0, 0) or not 0.0 < value < 1e9:
        raise KilnctlError(f"--price: '{text}' is no price of an area; write '22/m²' or 'mineral wool 100: 1.10/ft²'")
    return known_as(name.strip()) if name.strip() else "", value / factor


def _pictures(where: str, sizing: Sizing, units: Units) -> list[str]:
    folder = Path(where)
    for name, text in sizing_pictures(sizing, units).items():
        _write(folder / name, text)
    return [f"pictures: {folder}/"]


def _write(path: Path, text: str) -> str:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise KilnctlError(f"{path}: cannot be written: {error.strerror}") from None
    return f"page: {path}"
