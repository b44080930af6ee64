"""The sizing as people read it: SI or °F and BTU/h."""

import dataclasses
import math
from dataclasses import dataclass

from scipy import constants

from ..firing import flicker, pattern_for
from ..record.summary import clock
from .result import HIGHEST_C, Range, Sizing



@dataclass(frozen=True)
class Units:
    """How to show temperatures, powers and energies."""

    imperial: bool = False

    def t(self, celsius: float) -> str:
        return f"{celsius * 1.8 + 32:.0f} °F" if self.imperial else f"{celsius:.0f} °C"

    def p(self, watts: float) -> str:
        return f"{watts / constants.Btu * constants.hour:.0f} BTU/h" if self.imperial else f"{watts:.0f} W"

    def e(self, joules: float) -> str:
        return f"{joules / constants.Btu:.0f} BTU" if self.imperial else f"{joules / 3.6e6:.2f} kWh"

    def l(self, metres: float) -> str:  # noqa: E743
        return f"{metres / constants.inch:.2f} in" if self.imperial else f"{metres * 1000:.1f} mm"

    def t_range(self, r: Range) -> str:
        if r.low >= HIGHEST_C:
            return f"more than {self.t(HIGHEST_C)}"
        return f"{self.t(r.value)} ({self.t(r.low)} to {'more' if r.high >= HIGHEST_C else self.t(r.high)})"

    def p_range(self, r: Range) -> str:
        return f"{self.p(r.value)} ({self.p(r.low)} to {self.p(r.high)})"


def clock_range(r: Range) -> str:
    """A time and its range, h:min:s."""
    return f"{clock(r.value)} ({clock(r.low)} to {clock(r.high)})" if math.isfinite(r.value) else "never"


def levels(sizing: Sizing) -> list[float]:
    """A few round chamber temperatures up to the highest."""
    top = sizing.top_c
    step = 50.0 if top <= 300 else 100.0 if top <= 600 else 200.0
    below = [step * i for i in range(1, int(top / step) + 1) if step * i <= top - 0.3 * step and step * i > sizing.oven.site.ambient_c + 20]
    return [*below[-4:], top]


def as_text(sizing: Sizing, units: Units) -> str:
    """The whole report for a terminal."""
    u, o, top = units, sizing.oven, sizing.top_c
    reach = min(top, sizing.max_chamber_c)
    out = [f"{o.name}: {o.elements.power_w / 1000:.2f} kW, schedules up to {u.t(top)}", "",
           f"highest by power       {u.t_range(sizing.max_chamber_range_c)}",
           f"  at 10 % less voltage {u.t(sizing.max_at_low_supply_c) if sizing.max_at_low_supply_c < HIGHEST_C else 'more than ' + u.t(HIGHEST_C)}",
           f"highest for the lining {u.t(sizing.lining_limit_c)}",
           f"heat-up, empty         {clock_range(sizing.heat_up_range_s(o.site.ambient_c, 0.98 * reach))}, to {u.t(0.98 * reach)}"]  # fmt: skip
    if o.usual_load is not None:
        out.append(f"heat-up, loaded        {clock_range(sizing.heat_up_range_s(o.site.ambient_c, 0.98 * reach, o.usual_load))}, with {o.usual_load.name}")
    out += [f"stored heat            {u.e(sizing.stored_j(reach, o.usual_load))} when all is warmed through at {u.t(reach)}", "",
            f"{'chamber':>10} {'power to hold it, and its range':>42} {'outside':>10} {'element':>10}"]  # fmt: skip
    for t in levels(sizing):
        out.append(f"{u.t(t):>10} {u.p_range(sizing.power_range_w(t)):>42} {u.t(sizing.shell_c(t)):>10} {u.t(sizing.at(t).element_c):>10}")
    ledger = sizing.ledger_w(reach)
    total = sum(ledger.values())
    out += ["", f"where the watts go at {u.t(reach)}:"]
    out += [f"  {name:<24} {u.p(w):>12}  {100 * w / total:4.0f} %" for name, w in sorted(ledger.items(), key=lambda i: -i[1])]
    fan = o.fan.power_w if o.fan else 0.0
    out.append(f"  {'sum':<24} {u.p(total):>12}" + (f"  (of it {u.p(fan)} from the fan)" if fan else ""))
    out += ["", f"{'layer at ' + u.t(reach):<42} {'thickness':>10} {'hot face':>9} {'cold face':>9} {'limit':>9}"]
    for r in sizing.layers(reach):
        out.append(f"  {r.face + ': ' + r.material:<40} {u.l(r.thickness_m):>10} {u.t(r.hot_c):>9} {u.t(r.cold_c):>9} {u.t(r.limit_c):>9}")
    w = sizing.wiring
    out += ["", f"current {w.current_a:.1f} A; cable drop {100 * w.voltage_drop:.1f} %; supply dips {100 * w.step:.1f} % when the elements switch on",
            f"relay loss {w.relay_loss_w:.0f} W: heat sink of {w.sink_k_per_w:.1f} K/W or less; element surface load {sizing.element_load_w_m2 / 1e4:.1f} W/cm²"]  # fmt: skip
    out += _flicker(sizing)
    best = [s for s in sizing.savings if s.share > 0.005][:3]
    if best:
        out += ["", "25 mm more insulation would save, the best first:" if not u.imperial else "1 in more insulation would save, the best first:"]
        out += [f"  {s.face}: {s.material:<32} {u.p(s.saved_w):>10}  {100 * s.share:.0f} %" for s in best]
    out += ["", "to note:"] + [f"  {n}" for n in sizing.notes]
    if o.assumptions:
        out += ["", "assumed, because the file does not say:"] + [f"  {a}" for a in o.assumptions]
    out += ["", "Ranges: stated uncertainties of conductivity, emissivity, films, leaks and supply, one at a time, root-sum-square.",
            "Hints on wiring replace neither the local code nor a licensed electrician; see SAFETY.md."]  # fmt: skip
    return "\n".join(out)


def _flicker(sizing: Sizing) -> list[str]:
    """What the switching does to lamps on the same line, with the oven's own pattern and with the quiet one."""
    o = sizing.oven
    supply, watts = flicker.supply_of(o), o.elements.power_w
    pattern = pattern_for(o)
    duty, pst = flicker.worst(pattern, watts, supply)
    out = [f"flicker, Pst {pst:.2f} at the worst duty ({100 * duty:.0f} %), runs of {pattern.shortest_run / pattern.frequency_hz:.2g} s or more: {flicker.in_words(pst)}",
           f"  limits for one appliance: {flicker.PST_LIMIT:g} over ten minutes, {flicker.PLT_LIMIT:g} over two hours"]  # fmt: skip
    if pst > flicker.PLT_LIMIT and o.switching.pattern != "quiet lights":
        quiet = dataclasses.replace(o, switching=dataclasses.replace(o.switching, pattern="quiet lights", minimum_on_s=None))
        out.append(f"  with the pattern \"quiet lights\" Pst {flicker.worst(pattern_for(quiet), watts, supply)[1]:.2f}, at the price of slower steps of power")
    return out


def as_dict(sizing: Sizing) -> dict:
    """The same for programs; SI units in the names."""
    o, reach = sizing.oven, min(sizing.top_c, sizing.max_chamber_c)

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
        "heat_up_loaded_s": None if o.usual_load is None else span(sizing.heat_up_range_s(o.site.ambient_c, 0.98 * reach, o.usual_load)),
        "heat_up_to_c": 0.98 * reach,
        "stored_j": sizing.stored_j(reach, o.usual_load),
        "levels": [{"chamber_c": t, "power_w": span(sizing.power_range_w(t)), "shell_c": sizing.shell_c(t), "element_c": float(sizing.at(t).element_c),
                    "ledger_w": sizing.ledger_w(t)} for t in levels(sizing)],
        "layers": [vars(r) | {"flags": list(r.flags)} for r in sizing.layers(reach)],
        "flicker_pst": flicker.worst(pattern_for(o), o.elements.power_w, flicker.supply_of(o))[1],
        "wiring": {**vars(sizing.wiring), "notes": list(sizing.wiring.notes)},
        "savings": [vars(s) for s in sizing.savings],
        "notes": list(sizing.notes),
        "assumptions": list(o.assumptions),
    }  # fmt: skip


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def pictures(sizing: Sizing, units: Units) -> dict[str, str]:
    """File name → SVG: power against temperature, and the temperature through each wall."""
    from ..record.plot import Chart, Panel, Series, svg
    from ..thermal.walls import profile

    o, reach = sizing.oven, min(sizing.top_c, sizing.max_chamber_c)
    ambient = o.site.ambient_c

    def t(v: float) -> float:
        return v * 1.8 + 32.0 if units.imperial else v

    def p(v: float) -> float:
        return v / constants.Btu * constants.hour if units.imperial else v

    degree = "°F" if units.imperial else "°C"
    temperatures = [ambient + (sizing.top_c - ambient) * (0.05 + 0.95 * i / 24) for i in range(25)]
    ranges = [sizing.power_range_w(c) for c in temperatures]
    x = [t(c) for c in temperatures]
    full = p(o.elements.power_w)
    band = [p(0.5 * (r.high - r.low)) for r in ranges]
    power = Panel("power to hold, " + ("BTU/h" if units.imperial else "W"),
                  (Series(x, [p(r.value) for r in ranges], "to hold", "chamber", band), Series([x[0], x[-1]], [full, full], "full power", "reference"),
                   Series([x[0], x[-1]], [0.81 * full, 0.81 * full], "10 % low", "other")), low=0.0)  # fmt: skip
    made = {"power.svg": svg(Chart(f"{o.name}: power against temperature", (power,), f"chamber, {degree}", False, 420))}
    for wall in sizing._nominal.walls:
        name = wall.face.name
        solution = sizing.at(reach).walls[name]
        line = profile(wall.layers, solution)
        length = 1.0 / constants.inch if units.imperial else 1000.0
        depth, shades = 0.0, []
        for layer in wall.layers:
            if layer.thickness_m > 0.004:
                shades.append((depth * length, (depth + layer.thickness_m) * length, layer.material.name))
            depth += layer.thickness_m
        panel = Panel(f"temperature, {degree}", (Series([d * length for d, _ in line], [t(c) for _, c in line], name),), tuple(shades))
        made[f"wall-{name}.svg"] = svg(Chart(f"{o.name}: through the {name} at {units.t(reach)}", (panel,), "depth from the hot face, " +
                                             ("in" if units.imperial else "mm"), False, 380))  # fmt: skip
    return made
