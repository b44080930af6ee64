"""Heating elements: wire, resistance, surface load."""

import bisect
import math

#: Resistivity at 20 °C (ohm·m), its factor Ct against temperature (°C), highest element temperature (°C), density
#: (kg/m³). Makers' tables, from memory.
ALLOYS = {
    "iron-chromium-aluminium": (
        1.45e-6,
        ((20, 1.00), (400, 1.00), (600, 1.02), (800, 1.03), (1000, 1.04), (1200, 1.04)),
        1350.0,
        7150.0,
    ),
    "nickel-chromium": (
        1.09e-6,
        ((20, 1.00), (400, 1.05), (600, 1.06), (800, 1.04), (1000, 1.05), (1200, 1.07)),
        1150.0,
        8300.0,
    ),
    "sheathed": (1.09e-6, ((20, 1.00), (400, 1.05), (800, 1.05)), 750.0, 6500.0),
}
#: Recommended surface load of open iron-chromium-aluminium coils against furnace temperature, W/m² (from memory:
#: 5–6 W/cm² at 900 °C, 3–4 at 1100, 1.5–2 at 1300; the lower figure is taken, for life), and of sheathed elements in
#: moving air.
SURFACE_LOAD = {
    "iron-chromium-aluminium": ((20, 60000.0), (900, 50000.0), (1100, 30000.0), (1300, 15000.0)),
    "nickel-chromium": ((20, 45000.0), (700, 35000.0), (900, 20000.0), (1050, 10000.0)),
    "sheathed": ((20, 40000.0), (300, 25000.0), (500, 12000.0)),
}

#: Highest chamber temperature for which finned or tubular sheathed elements are usual, °C (common practice).
SHEATHED_TO_C = 400.0


def usual_alloy(highest_c: float) -> str:
    """What elements are usually made of for a chamber of that highest temperature: sheathed up to SHEATHED_TO_C, bare
    iron-chromium-aluminium above."""
    return "sheathed" if highest_c <= SHEATHED_TO_C else "iron-chromium-aluminium"


def along(points, x: float) -> float:
    """Linear between the points (x, y) and constant beyond them."""
    xs = [p[0] for p in points]
    if x <= xs[0]:
        return points[0][1]
    if x >= xs[-1]:
        return points[-1][1]
    i = bisect.bisect_right(xs, x) - 1
    (x0, y0), (x1, y1) = points[i], points[i + 1]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


def _alloy(alloy: str, table: dict):
    if alloy not in table:
        raise ValueError(f"alloy = {alloy!r}: one of {', '.join(table)}")
    return table[alloy]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0.0:
            raise ValueError(f"{name} = {value:g}: must be above zero")


def resistance_factor(alloy: str, t_c: float) -> float:
    """Ct: resistance at t_c °C over that at 20 °C, dimensionless; constant beyond the table. Raises ValueError for an
    unknown alloy."""
    return along(_alloy(alloy, ALLOYS)[1], t_c)


def wire_resistance_ohm(alloy: str, diameter_m: float, length_m: float, t_c: float = 20.0) -> float:
    """R = ρ·L/A·Ct in ohm of round wire (Pouillet's law). Raises ValueError for an unknown alloy, or a size not above
    zero."""
    _positive(diameter_m=diameter_m, length_m=length_m)
    resistivity = _alloy(alloy, ALLOYS)[0]
    return resistivity * length_m / (math.pi / 4.0 * diameter_m**2) * resistance_factor(alloy, t_c)


def surface_load_w_m2(power_w: float, diameter_m: float, length_m: float) -> float:
    """Power over the surface of a round wire or sheath, P/(π·d·L) in W/m². Raises ValueError for a figure not above
    zero."""
    _positive(power_w=power_w, diameter_m=diameter_m, length_m=length_m)
    return power_w / (math.pi * diameter_m * length_m)


def recommended_load_w_m2(alloy: str, chamber_c: float) -> float:
    """Highest surface load for long life at that chamber temperature, W/m². Above the table it falls on along the last
    two points, down to zero, where the chamber alone makes the element too hot. Raises ValueError for an unknown
    alloy."""
    table = _alloy(alloy, SURFACE_LOAD)
    (t0, load0), (t1, load1) = table[-2:]
    if chamber_c > t1:
        return max(0.0, load1 + (load1 - load0) / (t1 - t0) * (chamber_c - t1))
    return along(table, chamber_c)
