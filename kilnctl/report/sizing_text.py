"""The sizing as people read it, in their units, and as programs do."""

import dataclasses
import math

from ..body.bursts import bursts_note, pattern_for
from ..body.layers import is_constant, mean_c_of, measured_c
from ..firing import flicker
from ..output import METRIC_UNITS, Units, about, typed
from ..settings.oven import Oven
from ..sizing.buying import Saving
from ..sizing.circuit import THREE_PHASE
from ..sizing.load_heating import NEARLY, load_heating
from ..sizing.protection import quieter
from ..sizing.ranges import Range
from ..sizing.sizing import HIGHEST_C, Sizing
from ..sizing.touch import touch_words
from ..thermal.heating_wire import WIRE_ALLOYS
from .findings_text import findings_lines

#: What stands under every sizing.
CLOSING = (
    (
        "Ranges: what about 95 of 100 such ovens would do: conductivity, thickness, edges, emissivities, films, leaks, "
        "supply, elements as wound, a room 3 K (5 °F) colder or warmer."
    ),
    "Hints on wiring replace neither the local code nor a licensed electrician; see SAFETY.md.",
)


def temperature_range(r: Range, u: Units) -> str:
    if min(r.value, r.high) >= HIGHEST_C:
        return f"more than {u.temperature(HIGHEST_C)}"
    high = "or more" if r.high >= HIGHEST_C else f"to {u.temperature(r.high)}"
    return f"{u.temperature(r.value)} ({u.temperature(r.low)} {high})"


def heat_range(r: Range, u: Units) -> str:
    return f"{u.heat_flow(r.value)} ({u.heat_flow(r.low)} to {u.heat_flow(r.high)})"


def holding(r: Range, u: Units) -> str:
    """A power that holds a temperature; at 0 W the fan alone holds it."""
    return heat_range(r, u) if r.value > 0.0 else "the fan alone holds it"


def time_range(r: Range) -> str:
    """A time and its range; what takes longer than two days was not waited for."""
    if not math.isfinite(r.value):
        return "not within two days"
    return f"{about(r.value)} ({time_span(r)})"


def time_span(r: Range) -> str:
    """The range of a time that is finite itself."""
    return f"{about(r.low)} to {about(r.high)}" if math.isfinite(r.high) else f"{about(r.low)}, or never"


def levels(sizing: Sizing, units: Units = METRIC_UNITS) -> list[float]:
    """A few chamber temperatures up to the highest, °C, round on the reader's scale."""
    top, room = units.degrees(sizing.top_c), units.degrees(sizing.oven.site.ambient_c)
    steps = (
        ((100.0, 600.0), (200.0, 1200.0), (400.0, math.inf))
        if units.imperial
        else ((50.0, 300.0), (100.0, 600.0), (200.0, math.inf))
    )
    step = next(s for s, highest in steps if top <= highest)
    below = [
        step * i
        for i in range(1, int(top / step) + 1)
        if step * i <= top - 0.3 * step and step * i > room + units.kelvins(20.0)
    ]
    return [*(units.celsius(t) for t in below[-4:]), sizing.top_c]


def printed_notes(sizing: Sizing) -> tuple[str, ...]:
    """What sellers' figures of layers become at the temperatures of this oven, each at the hottest of its means."""
    reach, oven = sizing.reached_c, sizing.oven
    hottest: dict[str, tuple[float, str]] = {}
    for wall in sizing.walls:
        solution = sizing.at(reach).walls[wall.face.name]
        for i, (said, layer) in enumerate(zip(wall.face.wall.layers, wall.layers, strict=True)):
            mean, k = sum(solution.layer_c(i)) / 2.0, said.printed_w_per_mk
            own = next((m for m in oven.materials if m.name == said.material), None)
            if is_constant(oven, said.material):
                key = said.material
                words = (
                    f"has one conductivity for all temperatures, and its hottest mean here is {mean:.0f} °C; "
                    "insulation conducts more when it is hot, half as much again and more: name a material of its kind "
                    "(materials: like), or give its conductivity at several temperatures"
                )
            elif k is not None or (own is not None and own.like is not None):
                at_c, curve = mean_c_of(said), said.material
                if k is None and own is not None:
                    at_c, curve, k = measured_c(own), own.like, own.conductivity[0][1]
                assert k is not None
                here = layer.material.conductivity(mean)
                key = f"{said.material}: the seller's {k:.3g} W/(m·K) at a mean of {at_c:.0f} °C"
                words = (
                    f"is {here:.3g} W/(m·K) at {mean:.0f} °C, its hottest mean here "
                    f"({100.0 * (here / k - 1.0):+.0f} %), along the curve of {curve}"
                )
            else:
                continue
            hottest[key] = max(hottest.get(key, (mean, words)), (mean, words))
    return tuple(f"{key} {words}" for key, (_, words) in hottest.items())


def sizing_text(sizing: Sizing, units: Units) -> str:
    """The whole report for a terminal."""
    u, o = units, sizing.oven
    reach = sizing.reached_c
    wrong = findings_lines(sizing.wrong, u)
    out = [*(["DANGER, before anything else:", *wrong, ""] if wrong else []), *_reach(sizing, reach, u)]
    out += ["", *_levels(sizing, u), "", *_ledger(sizing, reach, u)]
    out += ["", *_layers(sizing, reach, u), "", *_outside(sizing, reach, u)]
    out += ["", *_wiring(sizing, u), *_wire(sizing, u), *_protection(sizing, u), *_savings(sizing, u)]
    out += ["", "to note:", *(f"  {u.words(n)}" for n in notes_of_sizing(sizing))]
    if o.assumptions:
        out += ["", "assumed, because the file does not say:", *(f"  {u.words(a)}" for a in o.assumptions)]
    return "\n".join(
        [
            *out,
            "",
            *CLOSING,
        ]
    )


def _reach(sizing: Sizing, reach: float, u: Units) -> list[str]:
    """How hot, how fast, and what it stores."""
    o, weak_c = sizing.oven, sizing.max_at_low_supply_c
    weak = u.temperature(weak_c) if weak_c < HIGHEST_C else f"more than {u.temperature(HIGHEST_C)}"
    nearly = 0.98 * reach
    empty = time_range(sizing.heat_up_range_s(o.site.ambient_c, nearly))
    stored = u.energy(sizing.stored_j(reach, o.usual_load))
    top = u.temperature(sizing.top_c)
    rated = f"{o.elements.rated_w / 1000:.2f} kW" + (f" ({u.heat_flow(o.elements.rated_w)})" if u.imperial else "")
    out = [
        f"{o.name}: {rated}, schedules up to {top}: {_enough(sizing)}",
        "",
        f"highest by power       {temperature_range(sizing.max_chamber_range_c, u)}",
        f"  at 10 % less voltage {weak}",
        f"highest for the lining {u.temperature(sizing.lining_limit_c)}",
        f"heat-up, empty         {empty}, to {u.temperature(nearly)}",
    ]
    if o.usual_load is not None:
        loaded = sizing.heat_up_range_s(o.site.ambient_c, nearly, o.usual_load)
        out.append(f"heat-up, loaded        {time_range(loaded)}, with {o.usual_load.name}")
        # A chamber that does not arrive has no moment at which the load could be behind it.
        out += _lag(sizing, nearly, u) if math.isfinite(loaded.value) else []
    return [*out, f"stored heat            {stored} when all is warmed through at {u.temperature(reach)}"]


def _enough(sizing: Sizing) -> str:
    """Whether the power is enough for the schedules that the file allows, with what may be different from it."""
    if sizing.max_chamber_range_c.low >= sizing.top_c:
        return "its power is enough"
    return "its power may not be enough" if sizing.max_chamber_c >= sizing.top_c else "its power is NOT ENOUGH"


def _lag(sizing: Sizing, nearly_c: float, u: Units) -> list[str]:
    """How far the load is behind when the chamber arrives, and how long it takes to follow."""
    o = sizing.oven
    lag = load_heating(o, o.usual_load, nearly_c) if o.usual_load is not None else None
    if lag is None:
        return []
    behind, later = lag.behind_k, lag.later_s
    colder = f"{u.difference(behind.value, 0)} ({u.difference(behind.low, 0)} to {u.difference(behind.high, 0)})"
    when = f"{time_range(later)} later" if later.high >= 1.0 else "at once"
    return [
        f"  the load is then     {colder} colder; within {100 * NEARLY:.0f} % of the rise {when}",
        "                       (the range: how load and walls see each other, alone or shading one another,",
        "                       its emissivity, the air's film, its heat capacity)",
    ]


def _levels(sizing: Sizing, u: Units) -> list[str]:
    """Power, shell and elements at a few temperatures."""
    out = [f"{'chamber':>10} {'power to hold it, and its range':>42} {'outside':>10} {'element':>10}"]
    for t in levels(sizing, u):
        power = holding(sizing.power_range_w(t), u)
        shell, element = u.temperature(sizing.shell_c(t)), u.temperature(sizing.at(t).element_c)
        out.append(f"{u.temperature(t):>10} {power:>42} {shell:>10} {element:>10}")
    return out


def _ledger(sizing: Sizing, reach: float, u: Units) -> list[str]:
    ledger = sizing.ledger_w(reach)
    total = sum(ledger.values())
    fan = sizing.oven.fan.power_w if sizing.oven.fan else 0.0
    parts = sorted(ledger.items(), key=lambda item: -item[1])
    return [
        f"where the watts go at {u.temperature(reach)}:",
        *(f"  {name:<24} {u.heat_flow(w):>12}  {100 * w / total:4.0f} %" for name, w in parts),
        f"  {'sum':<24} {u.heat_flow(total):>12}" + (f"  (of it {u.heat_flow(fan)} from the fan)" if fan else ""),
    ]


def _layers(sizing: Sizing, reach: float, u: Units) -> list[str]:
    out = [f"{'layer at ' + u.temperature(reach):<42} {'thickness':>10} {'hot face':>9} {'cold face':>9} {'limit':>9}"]
    for r in sizing.layers(reach):
        hot, cold, limit = (u.temperature(c) for c in (r.hot_c, r.cold_c, r.limit_c))
        out.append(f"  {r.face + ': ' + r.material:<40} {u.length(r.thickness_m):>10} {hot:>9} {cold:>9} {limit:>9}")
    return out


def _outside(sizing: Sizing, reach: float, u: Units) -> list[str]:
    """The middle of each outside with its range and what it does to a hand."""
    emissivity = {f.name: f.wall.outer_emissivity for f in sizing.oven.faces}
    metal = {w.face.name: w.layers[-1].material.kind == "metal" for w in sizing.walls}
    out = [f"{'middle of the outside at ' + u.temperature(reach):<42} {'emissivity':>10}  a hand may stay"]
    for name, range_c in sorted(sizing.outside_c(reach).items(), key=lambda item: -item[1].value):
        shown = temperature_range(range_c, u)
        out.append(f"  {name:<10} {shown:<29} {emissivity[name]:>10g}  {touch_words(range_c.high, metal[name])}")
    return out


def _wiring(sizing: Sizing, u: Units) -> list[str]:
    """Current and the verdicts of the country's rules."""
    w = sizing.wiring
    surface_load = f"{u.surface_load(sizing.element_load_w_m2)} at {sizing.oven.elements.power_w / 1000:.2f} kW"
    drop = "not described"
    if w.voltage_drop is not None:
        drop = f"{100 * w.voltage_drop:.1f} %, which leaves the elements {sizing.full_w / 1000:.2f} kW"
    sink = f"a heat sink of {w.sink_k_per_w:.2g} K/W or less in air of {u.temperature(w.cabinet_c)}"
    dip = f"supply dips {100 * w.step:.1f} % when the elements switch on"
    each = " in each line" if w.connection in THREE_PHASE else ""
    return [
        f"current {w.current_a:.1f} A{each}, {w.connection}; cable drop {drop}; {dip}",
        f"relay loss {w.relay_loss_w:.0f} W: {sink}; element surface load {surface_load}",
        "",
        f"supply, by {w.rules} (from memory; the local code and a licensed electrician decide):",
        *findings_lines(w.findings, u),
    ]


def _wire(sizing: Sizing, u: Units) -> list[str]:
    """The elements' own wire, or how to find one."""
    alloy, file = sizing.oven.elements.alloy, typed(sizing.oven.file or "OVEN")
    if sizing.wire:
        about = f"elements' wire (kilnctl wind {file} has its coil, and the gauges next to it):"
        return ["", about, *findings_lines(sizing.wire, u)]
    return ["", f"elements' wire: not described; kilnctl wind {file} finds one"] if alloy in WIRE_ALLOYS else []


def _savings(sizing: Sizing, u: Units) -> list[str]:
    best = [s for s in sizing.savings if s.share > 0.005][:6]
    if not best:
        return []
    lines = ["", f"what would save at {u.temperature(sizing.reached_c)}, the best first "]
    lines[-1] += f"(kilnctl size {typed(sizing.oven.file or 'OVEN')} --buy says more):"
    told = [u.words(s.change.words) for s in best]
    width = max(len(words) for words in told)
    for s, words in zip(best, told, strict=True):
        caution = f" ({s.change.caution})" if s.change.caution else ""
        lines.append(f"  {words:<{width}} {u.heat_flow(s.saved_w):>10} {100 * s.share:>3.0f} %{caution}")
    if (vent := sizing.ledger_w(sizing.reached_c).get("vent", 0.0)) > max(s.saved_w for s in best):
        lines.append(
            f"  the vent takes {u.heat_flow(vent)}, more than any of these saves; --buy says when it may be closed"
        )
    return lines


def notes_of_sizing(sizing: Sizing) -> list[str]:
    """All notes, metric: of the sizing, of R-values, of the bursts."""
    said = bursts_note(sizing.oven)
    return [*sizing.notes, *printed_notes(sizing), *([said] if said else [])]


def _protection(sizing: Sizing, u: Units) -> list[str]:
    """The limiter, the fan, and what the switching does to lamps on the same line."""
    return [
        "",
        "limiter, circulation fan, and lamps on the same line:",
        *findings_lines(sizing.protection, u),
        *_flicker(sizing.oven),
    ]


def _flicker(o: Oven) -> list[str]:
    """The switching's runs, and what the quiet pattern would be for lamps on the same line."""
    if flicker.supply_of(o) is None:
        return [f"  flicker: {flicker.NOT_JUDGED}"]
    pattern = pattern_for(o)
    out = [
        (
            f"  flicker: for runs of {pattern.shortest_run / pattern.frequency_hz:.2g} s or more; limits for "
            f"one appliance: Pst {flicker.PST_LIMIT:g} over ten minutes, {flicker.PLT_LIMIT:g} over two hours"
        )
    ]
    pst = _pst(o)
    if pst is not None and pst > flicker.PLT_LIMIT and (quiet := quieter(o)) is not None:
        out.append(f'  with the pattern "quiet lights" Pst {quiet:.2f}, at the price of slower steps of power')
    return out


def _pst(o: Oven) -> float | None:
    """Pst at the worst duty; None where it is not judged."""
    supply = flicker.supply_of(o)
    return None if supply is None else flicker.worst(pattern_for(o), o.elements.rated_w, supply)[1]


def sizing_json(sizing: Sizing) -> dict:
    """The same for programs; SI units in the names."""
    o, reach = sizing.oven, sizing.reached_c

    def span(r: Range) -> dict:
        return {"value": _finite(r.value), "low": _finite(r.low), "high": _finite(r.high)}

    return {
        "oven": o.name,
        "file": o.file,
        "highest_c": sizing.top_c,
        "max_chamber_c": span(sizing.max_chamber_range_c),
        "max_chamber_searched_to_c": HIGHEST_C,
        "max_at_low_supply_c": sizing.max_at_low_supply_c,
        "lining_limit_c": sizing.lining_limit_c,
        "heat_up_s": span(sizing.heat_up_range_s(o.site.ambient_c, 0.98 * reach)),
        "heat_up_loaded_s": None
        if o.usual_load is None
        else span(sizing.heat_up_range_s(o.site.ambient_c, 0.98 * reach, o.usual_load)),
        "heat_up_to_c": 0.98 * reach,
        "stored_j": sizing.stored_j(reach, o.usual_load),
        "levels": [
            {
                "chamber_c": t,
                "power_w": span(sizing.power_range_w(t)),
                "shell_c": sizing.shell_c(t),
                "outside_c": {name: span(r) for name, r in sizing.outside_c(t).items()},
                "element_c": float(sizing.at(t).element_c),
                "ledger_w": sizing.ledger_w(t),
            }
            for t in levels(sizing)
        ],
        "layers": [vars(r) | {"flags": list(r.flags)} for r in sizing.layers(reach)],
        "flicker_pst": _pst(o),
        "protection": [dataclasses.asdict(f) for f in sizing.protection],
        "wiring": {**vars(sizing.wiring), "findings": [dataclasses.asdict(f) for f in sizing.wiring.findings]},
        "wire": [dataclasses.asdict(f) for f in sizing.wire],
        "savings": [saving_json(s) for s in sizing.savings],
        "notes": notes_of_sizing(sizing),
        "assumptions": list(o.assumptions),
    }


def saving_json(saving: Saving) -> dict:
    """A change and what it saves."""
    c = saving.change
    facts = {"change": c.words, "face": c.face, "material": c.material, "caution": c.caution}
    return facts | {
        "area_m2": c.area_m2,
        "thickness_m": c.thickness_m,
        "saved_w": saving.saved_w,
        "share": saving.share,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
