"""The sizing of one oven: figures with their ranges (`kilnctl.sizing.ranges`)."""

import dataclasses
import math
from dataclasses import dataclass
from functools import cached_property

from ..body import load_material
from ..body.steady import BeyondPhysics, Steady, SteadyOven, root
from ..errors import KilnctlError
from ..model.day_zero import untrimmed
from ..model.energy import CHAMBER, EnergyModel
from ..plants.conditions import Conditions
from ..plants.virtual_oven import VirtualOven
from ..settings.construction import Load
from ..settings.document import Problem, SettingsError, problem_at
from ..settings.oven import Oven
from ..terms import Finding, Mark
from ..thermal import elements as electric
from ..thermal.material_data import STILL_WITHIN_K
from .buying import Saving, savings_of, wall_key
from .cabling import volts_share
from .circuit import circuit_of
from .notes import notes_of
from .protection import protection_findings
from .ranges import ROOM_K, WOUND, Range, heat_up_pairs, pairs_of, spread, spread_of_time
from .winding import described
from .winding_findings import wire_findings
from .wiring import Wiring, wiring_of

#: Highest temperature that sizing looks at, °C; no oven of this kind gets hotter.
HIGHEST_C = 1500.0
#: Steps of a heat-up, as a share of the time so far (±30 %: the times change by less than 0.1 %), and by what factor
#: they grow.
STEP_SHARE, GROW = 0.015, 1.5
#: How exactly the lining's highest chamber temperature is found, K.
LIMIT_K = 1e-3


@dataclass(frozen=True)
class LayerReport:
    """One layer at the oven's highest temperature. `flags` for use outside its data, `over` when above its service
    limit."""

    face: str
    number: int
    material: str
    thickness_m: float
    hot_c: float
    cold_c: float
    limit_c: float
    flags: tuple[str, ...]
    over: str | None


class Sizing:
    """See `size`. Temperatures in °C, powers in W, times in s, energies in J."""

    def __init__(self, oven: Oven):
        self.oven = oven
        self.top_c = oven.limits.highest_c
        #: The description solved as it is, without the uncertainties.
        self.steady = SteadyOven(oven, highest_c=HIGHEST_C)

    @property
    def walls(self):
        """The walls of the box as they are computed: each with its `face` and `layers`, from the hot face outward."""
        return self.steady.walls

    # ---- steady ----------------------------------------------------------------------------------------------------

    def at(self, chamber_c: float) -> Steady:
        """The whole steady state at a chamber temperature."""
        return self.steady.at(chamber_c)

    @property
    def reached_c(self) -> float:
        """The chamber temperature that is looked at in detail, °C: the oven's highest, or what its power reaches."""
        return min(self.top_c, self.max_chamber_c)

    def power_w(self, chamber_c: float) -> float:
        """Element power that holds chamber_c in the steady state, empty, W; 0 where the fan alone holds it or makes it
        hotter."""
        return max(0.0, float(self.steady.power_w(chamber_c)))

    def ledger_w(self, chamber_c: float) -> dict[str, float]:
        """Where the watts go at chamber_c: by wall, edges, bridge, leak, vent, port. Sums to power_w (and the
        fan's)."""
        return {name: float(w) for name, w in self.at(chamber_c).ledger_w.items()}

    def shell_c(self, chamber_c: float) -> float:
        """The hottest outside at chamber_c, °C: the middle of the hottest face, which a hand meets."""
        return float(max(self.steady.middles_c(chamber_c).values()))

    def shell_range_c(self, chamber_c: float) -> Range:
        """shell_c with its range, °C, in the room that is described."""
        return max(self.outside_c(chamber_c).values(), key=lambda r: r.value)

    def outside_c(self, chamber_c: float) -> dict[str, Range]:
        """The middle of each outside by face, °C, with its range, in the room that is described."""
        changed = [(a.middles_c(a.within_c(chamber_c)), b.middles_c(b.within_c(chamber_c))) for a, b in self._variants]
        colder, warmer = (self.steady.middles_c(t) for t in self._in_other_rooms(chamber_c))
        return {
            name: spread(
                value, [*((a[name], b[name]) for a, b in changed), (colder[name] - ROOM_K, warmer[name] + ROOM_K)]
            )
            for name, value in self.steady.middles_c(chamber_c).items()
        }

    def _in_other_rooms(self, chamber_c: float) -> tuple[float, float]:
        """Chamber temperatures that stand as high above the described room as chamber_c above one that is ROOM_K
        colder, and warmer: the oven then is in nearly the same state, all of it shifted."""
        return min(chamber_c + ROOM_K, self.steady.valid_c), max(chamber_c - ROOM_K, self.oven.site.ambient_c + 1.0)

    @cached_property
    def volts_share(self) -> float:
        """Voltage at the elements at full power over the nominal one: what the described cable leaves of it."""
        return volts_share(circuit_of(self.oven))

    @property
    def full_w(self) -> float:
        """Power at the elements when all of them are on, at nominal voltage, W."""
        return self.volts_share**2 * self.oven.elements.rated_w

    @cached_property
    def max_chamber_c(self) -> float:
        """Highest steady chamber temperature at full power and nominal voltage, °C. HIGHEST_C, or `limited_c` where it
        is not None, stands for "at least that"."""
        return float(self.steady.highest(self.full_w))

    @property
    def limited_c(self) -> float | None:
        """Where the search for the highest temperature ended because elements or air would be hotter than the formulas
        allow; None where power or HIGHEST_C ended it."""
        valid = self.steady.valid_c
        return valid if valid < HIGHEST_C and self.max_chamber_c >= valid - 1e-6 else None

    @cached_property
    def max_at_low_supply_c(self) -> float:
        """The same with the voltage 10 % low: power falls with its square."""
        return float(self.steady.highest(0.81 * self.full_w, self.max_chamber_c))

    @cached_property
    def _variants(self) -> list[tuple[SteadyOven, SteadyOven]]:
        return [
            (
                SteadyOven(self.oven, factors=less, highest_c=HIGHEST_C),
                SteadyOven(self.oven, factors=more, highest_c=HIGHEST_C),
            )
            for less, more in pairs_of(self.oven)
        ]

    def power_range_w(self, chamber_c: float) -> Range:
        """power_w with its range, W, never below 0."""

        def needed(variant: SteadyOven) -> float:
            return max(0.0, variant.power_w(variant.within_c(chamber_c)))

        changed = [(needed(a), needed(b)) for a, b in self._variants]
        colder, warmer = (self.power_w(t) for t in self._in_other_rooms(chamber_c))
        found = spread(self.power_w(chamber_c), [*changed, (warmer, colder)])
        return dataclasses.replace(found, low=max(0.0, found.low))

    @cached_property
    def max_chamber_range_c(self) -> Range:
        """max_chamber_c with its range, °C; the supply's tolerance and the elements as wound are included."""
        full, t = self.full_w, self.oven.supply.tolerance
        near = self.max_chamber_c
        changed = [(a.highest(full, near), b.highest(full, near)) for a, b in self._variants]
        for low, high in (((1 - t) ** 2, (1 + t) ** 2), (1 - WOUND, 1 + WOUND)):
            changed.append((self.steady.highest(full * low, near), self.steady.highest(full * high, near)))
        if near < self.steady.valid_c:
            changed.append((near - ROOM_K, near + ROOM_K))
        return spread(self.max_chamber_c, changed)

    # ---- time and stored heat --------------------------------------------------------------------------------------

    def heat_up_s(self, from_c: float, to_c: float, load: Load | None = None) -> float:
        """Time at full power from one chamber temperature (everything at it) to another, with a load or empty, s;
        infinite where it is not reached within two days. Marched with the virtual oven, in steps of 5 s; where
        nothing dries, from there on of STEP_SHARE of the time so far."""
        if to_c <= from_c:
            raise ValueError("to_c must be above from_c")
        if to_c >= self.max_chamber_c:
            return math.inf
        day = Conditions(start_c=from_c, supply_drift=0.0, supply_share=self.volts_share)
        plant = VirtualOven(self.oven, load=load, conditions=day)
        time_s, before, step_s = 0.0, from_c, plant.longest_step_s
        while time_s < 172800.0:
            plant.advance(step_s, 1.0, True)
            if plant.chamber_c >= to_c:
                return time_s + step_s * (to_c - before) / max(1e-9, plant.chamber_c - before)
            time_s, before = time_s + step_s, plant.chamber_c
            # Seldom longer, but then by more: each new length costs a new elimination.
            if plant.core.moisture is None and STEP_SHARE * time_s > GROW * step_s:
                plant.longest_step_s = step_s = GROW * step_s
        return math.inf

    def heat_up_range_s(self, from_c: float, to_c: float, load: Load | None = None) -> Range:
        """heat_up_s with its range, s: the virtual oven's time, times what stated uncertainties of heat capacity,
        conductivity, thickness, edges, leak, elements and supply do to the time of the low-order model. Its upper end
        is infinite where one of them keeps the oven below to_c."""
        value = self.heat_up_s(from_c, to_c, load)
        if not math.isfinite(value):
            return Range(value, value, value)
        model = untrimmed(self.oven, load, to_c)
        model = model.but(power_w=self.volts_share**2 * model.power_w)

        def time_s(m: EnergyModel) -> float:
            x, t = m.rest(from_c), 0.0
            while t < 172800.0:
                # Longer steps later: what counts is how one time compares with another, in the same steps.
                before, step_s = x[CHAMBER], max(10.0, 2.0 * STEP_SHARE * t)
                x, t = m.inside(x, m.power_w, step_s, m.ambient_c), t + step_s
                if x[CHAMBER] >= to_c:
                    return t - step_s * (x[CHAMBER] - to_c) / (x[CHAMBER] - before)
            return math.inf

        def scaled(factors: dict[str, float]) -> EnergyModel:
            return model.but(**{n: _times(getattr(model, n), f) for n, f in factors.items()})

        base = time_s(model)
        if not math.isfinite(base):
            return Range(value, value, math.inf)
        ends = heat_up_pairs(self.oven, self.edge_share, self.leak_share)
        return spread_of_time(value, [(time_s(scaled(a)) / base, time_s(scaled(b)) / base) for a, b in ends])

    @property
    def edge_share(self) -> float:
        """Share of the walls' conduction that edges and corners add."""
        ledger = self.at(self.reached_c).ledger_w
        walls = sum(ledger[w.face.name] for w in self.steady.walls)
        return ledger["edges and corners"] / (walls + ledger["edges and corners"])

    @property
    def leak_share(self) -> float:
        """Share of what bypasses the walls that leaks round the door; 0 where nothing does."""
        ledger = self.at(self.reached_c).ledger_w
        walls = {w.face.name for w in self.steady.walls} | {"edges and corners"}
        bypasses = sum(watts for name, watts in ledger.items() if name not in walls)
        return ledger.get("door leak", 0.0) / bypasses if bypasses > 0.0 else 0.0

    def stored_j(self, chamber_c: float, load: Load | None = None) -> float:
        """Heat in walls, elements, shelf and load when all is steady at chamber_c, above everything at room
        temperature, J."""
        steady, room = self.at(chamber_c), self.oven.site.ambient_c
        total = 0.0
        for wall in self.steady.walls:
            solution = steady.walls[wall.face.name]
            for i, layer in enumerate(wall.layers):
                m, (hot, cold) = layer.material, solution.layer_c(i)
                potential = wall.geometry.spreads[i] * m.conductivity_integral(cold, hot)
                here, volume = hot, wall.geometry.inner_m2 * layer.thickness_m
                for s in wall.geometry.slices[i]:
                    # Simpson's rule over the depth of one slice; its profile is nearly straight.
                    passed = potential * s.share / s.conducts
                    middle, there = m.cold_face_c(here, 0.5 * passed), m.cold_face_c(here, passed)
                    mean = (m.enthalpy(here) + 4.0 * m.enthalpy(middle) + m.enthalpy(there)) / 6.0
                    total += volume * s.share * s.holds * m.density_kg_m3 * (mean - m.enthalpy(room))
                    here = there
        e = self.steady.elements
        total += e.mass_kg * (e.material.enthalpy(steady.element_c) - e.material.enthalpy(room))
        for body in (self.oven.shelf, load):
            if body is not None:
                m = load_material(self.oven, body)
                total += body.mass_kg * (m.enthalpy(chamber_c) - m.enthalpy(room))
        return float(total)

    # ---- checks ----------------------------------------------------------------------------------------------------

    def layers(self, chamber_c: float) -> tuple[LayerReport, ...]:
        """Every layer's hot and cold face at chamber_c, behind the middle of its wall, against its limits."""
        reports = []
        for wall in self.steady.walls:
            hot_c = self.at(chamber_c).walls[wall.face.name].hot_face_c
            solution = wall.middle(max(hot_c, self.oven.site.ambient_c))
            for i, layer in enumerate(wall.layers):
                hot, cold = (float(t) for t in solution.layer_c(i))
                m = layer.material
                reports.append(
                    LayerReport(
                        wall.face.name,
                        i + 1,
                        m.name,
                        layer.thickness_m,
                        hot,
                        cold,
                        m.limit_c,
                        m.flags(cold, hot),
                        m.over_limit(hot),
                    )
                )
        return tuple(reports)

    @cached_property
    def lining_limit_c(self) -> float:
        """Highest steady chamber temperature at which every layer stays within its service limit."""
        low, high = self.oven.site.ambient_c + 1.0, self.steady.valid_c

        def beyond_k(chamber_c: float) -> float:
            return max(r.hot_c - r.limit_c for r in self.layers(chamber_c)) - STILL_WITHIN_K

        at_low, at_high = beyond_k(low), beyond_k(high)
        if at_high <= 0.0:
            return high
        # Found to LIMIT_K, and that much lower: there every layer is within its limit.
        return root(beyond_k, low, high, LIMIT_K, (at_low, at_high)) - LIMIT_K if at_low < 0.0 else low

    @cached_property
    def element_load_w_m2(self) -> float:
        """Surface load of the elements at full power: of the wire itself where it is described, not of what it is wound
        on."""
        e = self.oven.elements
        if e.wire_diameter_m and e.wire_length_m:
            return electric.surface_load_w_m2(e.power_w, e.wire_diameter_m, e.wire_length_m)
        return e.power_w / self.steady.elements.surface_m2

    @cached_property
    def wiring(self) -> Wiring:
        """Current, and verdicts on cable, breaker, plug, relay, contactor and lights."""
        return wiring_of(self.oven)

    @cached_property
    def protection(self) -> tuple[Finding, ...]:
        """Verdicts on the limiter's setting, the circulation fan and lamps on the same line."""
        return protection_findings(self)

    @cached_property
    def wire(self) -> tuple[Finding, ...]:
        """Verdicts on the wire of the elements, where the file describes it; else none."""
        found = described(self.oven)
        return tuple(wire_findings(*found)) if found else ()

    @property
    def wrong(self) -> tuple[Finding, ...]:
        """What comes before anything else, of wiring, protection and the elements' wire."""
        others = (*self.protection, *self.wire)
        return (*self.wiring.marked(Mark.WRONG), *(f for f in others if f.mark is Mark.WRONG))

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What a maker should know besides the figures."""
        return notes_of(self)

    @cached_property
    def savings(self) -> tuple[Saving, ...]:
        """What could be changed, the best first: watts saved at the oven's highest temperature."""
        return savings_of(self.oven, self.reached_c, self.at(self.reached_c))


def _times(value, factor: float):
    """A number, or a tuple of them, times a factor."""
    return tuple(v * factor for v in value) if isinstance(value, tuple) else value * factor


def layer_problems(oven: Oven, sizing: "Sizing | None" = None) -> list[Problem]:
    """A problem for each layer above its service limit at the oven's highest temperature, with its place in the
    file."""
    sizing = sizing or Sizing(oven)
    problems = []
    for report in sizing.layers(min(oven.limits.highest_c, HIGHEST_C)):
        if report.over is None:
            continue
        key = wall_key(oven, next(f for f in oven.faces if f.name == report.face))
        path = f"walls.{key}.layers[{report.number}]"
        problem = problem_at(
            oven,
            [path],
            f"{path}: with the chamber at {oven.limits.highest_c:.0f} °C {report.over}; "
            "choose another material, put insulation before it, or lower limits: highest",
        )
        if not any(p.line == problem.line and p.message.split(":")[0] == path for p in problems):
            problems.append(problem)
    return problems


def size(oven: Oven) -> Sizing:
    """The sizing of an oven. Raises SettingsError when a layer would be above its service limit at the oven's highest
    temperature, KilnctlError when the description is no closed oven."""
    try:
        sizing = Sizing(oven)
        problems = layer_problems(oven, sizing)
    except BeyondPhysics as error:
        raise KilnctlError(
            f"{oven.file or oven.name}: cannot be sized for its highest temperature: {error}; insulate better, or "
            f"lower limits: highest ({SteadyOven(oven, highest_c=HIGHEST_C).valid_c:.0f} °C can be looked at)"
        ) from error
    except ValueError as error:
        raise KilnctlError(f"{oven.file or oven.name}: cannot be sized: {error}") from error
    if problems:
        raise SettingsError(problems)
    return sizing
