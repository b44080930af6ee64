"""`kilnctl materials`: the insulation library."""

import argparse

from ..errors import KilnctlError
from ..thermal.material_data import library
from ..units import UnitError, parse, parse_unit
from ._options import chosen


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--at",
        metavar="T, T, …",
        help="temperatures to show (default: 100 °C, 400 °C, 800 °C; imperial 200 °F, 800 °F, 1500 °F)",
    )
    parser.add_argument("--kind", help="only materials of a kind whose name holds this, e.g. 'fibre'")


def run(args: argparse.Namespace) -> int:

    u = chosen(args)
    at = args.at or ("200 °F, 800 °F, 1500 °F" if u.imperial else "100 °C, 400 °C, 800 °C")
    try:
        temperatures = [parse(t, "temperature") for t in at.split(",")]
    except UnitError as error:
        raise KilnctlError(f"--at: {error}") from None
    imperial = u.imperial
    unit = "BTU·in/(h·ft²·°F)" if imperial else "W/(m·K)"
    scale = 1.0 / parse_unit("BTU·in/(h·ft²·°F)")[0] if imperial else 1.0

    rows = [
        m
        for m in library().values()
        if not args.kind or args.kind.lower().replace("fiber", "fibre") in f"{m.kind} {m.name}".lower()
    ]
    if not rows:
        raise KilnctlError(
            f"--kind: no material of a kind like '{args.kind}'; "
            f"kinds: {', '.join(sorted({m.kind for m in library().values()}))}"
        )
    print(f"conductivity in {unit} at")
    print(
        f"{'material':<28}"
        + "".join(f"{u.temperature(t):>11}" for t in temperatures)
        + f"{'limit':>10}{'kg/m³' if not imperial else 'lb/ft³':>8}  source"
    )
    for m in rows:
        cells = []
        for t in temperatures:
            if m.over_limit(t):
                cells.append(f"{'over limit':>11}")
            else:
                mark = "*" if t > m.range_c[1] + 0.5 or t < min(m.range_c[0], 100.0) - 0.5 else " "
                cells.append(f"{m.conductivity(t) * scale:>10.3g}{mark}")
        density = m.density_kg_m3 * (0.062428 if imperial else 1.0)
        print(f"{m.name:<28}{''.join(cells)}{u.temperature(m.limit_c):>10}{density:>8.0f}  {m.source}")
    print(
        "\n* outside the range of the data, continued. 'air gap' is computed from its thickness. "
        "A seller's own sheet beats this list."
    )
    return 0
