"""Heating elements and what feeds them: wire, surface load, current, cable, relay, voltage step. Hints for the maker;
local wiring codes and a licensed electrician decide."""

import bisect
import math
from dataclasses import dataclass

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
#: Current-carrying capacity of copper cable in conduit or wall, A against mm² (common practice, rounded down; the local
#: code decides).
CABLE_A = ((1.0, 11.0), (1.5, 14.5), (2.5, 19.5), (4.0, 26.0), (6.0, 34.0), (10.0, 46.0), (16.0, 61.0))
COPPER_OHM_M = 1.9e-8  # at a warm 40 °C
RELAY_W_PER_A = 1.2  # on-state loss of a solid-state relay (from memory: 1.0 to 1.5 W/A)
RELAY_SINK_C = 65.0  # hottest heat sink: 45 K above a room of 20 °C, less in a warm cabinet (common practice)


def _along(points, x: float) -> float:
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
    return _along(_alloy(alloy, ALLOYS)[1], t_c)


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
    return _along(table, chamber_c)


@dataclass(frozen=True)
class Wiring:
    """current_a in A, voltage_drop (share), step (share the supply dips when the elements switch on), relay_loss_w in
    W, sink_k_per_w in K/W (largest heat sink resistance), notes in plain words."""

    current_a: float
    voltage_drop: float
    step: float
    relay_loss_w: float
    sink_k_per_w: float
    notes: tuple[str, ...]


def wiring(
    power_w: float,
    voltage_v: float,
    *,
    breaker_a: float | None = None,
    cable_m2: float | None = None,
    cable_m: float | None = None,
    resistance_ohm: float = 0.4,
    reactance_ohm: float = 0.25,
    relay_a: float | None = None,
    sink_k_per_w: float | None = None,
    ambient_c: float = 20.0,
) -> Wiring:
    """Current and what it means for breaker, cable, relay and lights. Hints, not a wiring design. Raises ValueError for
    a power or voltage that is not above zero, and for surroundings (ambient_c) as hot as a relay's heat sink may
    be."""
    _positive(power_w=power_w, voltage_v=voltage_v)
    if not ambient_c < RELAY_SINK_C:
        raise ValueError(f"ambient_c = {ambient_c:g} °C: a relay's heat sink should stay below {RELAY_SINK_C:.0f} °C")
    current = power_w / voltage_v
    drop = 2.0 * COPPER_OHM_M * cable_m / cable_m2 * current / voltage_v if cable_m2 and cable_m else 0.0
    # A resistive load behind R + jX is a voltage divider; X is in quadrature and counts for little.
    load = voltage_v**2 / power_w
    step = 1.0 - load / math.hypot(load + resistance_ohm, reactance_ohm)
    loss = RELAY_W_PER_A * current
    largest = (RELAY_SINK_C - ambient_c) / loss
    notes = []
    if breaker_a is not None and current > 0.8 * breaker_a:
        notes.append(
            f"{current:.1f} A for hours is more than 80 % of the {breaker_a:.0f} A breaker (common practice): "
            "ask an electrician"
        )
    if cable_m2 is not None:
        notes += _cable_notes(cable_m2 * 1e6, current)
        if drop > 0.03:
            notes.append(f"the cable drops {100 * drop:.1f} % of the voltage; 3 % is a usual limit (common practice)")
    if relay_a is not None and current > 0.5 * relay_a:
        notes.append(
            f"the relay carries {current:.1f} A of its {relay_a:.0f} A; "
            "half of the printed rating is prudent (from memory)"
        )
    if sink_k_per_w is not None and sink_k_per_w > largest:
        notes.append(
            f"the relay's heat sink ({sink_k_per_w:.1f} K/W) is too small for {loss:.0f} W; {largest:.1f} K/W or less"
        )
    if step > 0.033:
        notes.append(
            f"switching on dips the supply by {100 * step:.1f} %, above the 3.3 % of IEC 61000-3-3 (from memory)"
        )
    return Wiring(current, drop, step, loss, largest, tuple(notes))


def _cable_notes(area_mm2: float, current_a: float) -> list[str]:
    allowed, (thinnest, _), (thickest, _) = _along(CABLE_A, area_mm2), CABLE_A[0], CABLE_A[-1]
    if area_mm2 < thinnest - 1e-9:
        return [
            (
                f"a {area_mm2:.2f} mm² cable is too thin for fixed heating: {thinnest:.0f} mm² is the least listed "
                "(common practice)"
            )
        ]
    if area_mm2 > thickest + 1e-9:
        return [f"a {area_mm2:.0f} mm² cable is beyond the table, which ends at {thickest:.0f} mm²: ask an electrician"]
    if current_a > allowed:
        return [
            (
                f"{current_a:.1f} A is more than a {area_mm2:.1f} mm² cable usually carries "
                f"({allowed:.0f} A, common practice)"
            )
        ]
    return []
