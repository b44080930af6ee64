"""The sizing of one oven: figures with their ranges.

Ranges: each uncertain input is moved by its stated uncertainty, one at a time and both ways (conductivity,
emissivities, inside films ±20 %, door leak halved and doubled, supply voltage by its tolerance); the changes of the
figure up and down are added root-sum-square (the usual first-order propagation of independent uncertainties, JCGM 100
section 5.1).
"""

import dataclasses
import math
from dataclasses import dataclass
from functools import cached_property

from ..body import layers_of, load_material
from ..body.steady import BeyondPhysics, Factors, Steady, SteadyOven
from ..errors import KilnctlError
from ..model.day_zero import day_zero
from ..model.energy import CHAMBER, EnergyModel
from ..plants.conditions import Conditions
from ..plants.virtual_oven import VirtualOven
from ..settings.construction import Face, Layer, Load
from ..settings.document import Problem, SettingsError
from ..settings.oven import Oven
from ..terms import Finding, Mark
from ..thermal import elements as electric
from .notes import notes_of
from .protection import protection_findings
from .wiring import Wiring, wiring_of

#: Highest temperature that sizing looks at, °C; no oven of this kind gets hotter.
HIGHEST_C = 1500.0
FILM_UNCERTAINTY, LEAK_FACTOR = 0.2, 2.0


@dataclass(frozen=True)
class Range:
    """A figure and the interval in which it should lie."""

    value: float
    low: float
    high: float


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


@dataclass(frozen=True)
class Saving:
    """What 25 mm more of one layer would buy at the oven's highest temperature."""

    face: str
    material: str
    saved_w: float
    share: float


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

    def power_w(self, chamber_c: float) -> float:
        """Element power that holds chamber_c in the steady state, empty, W; 0 where the fan alone holds it or makes it
        hotter."""
        return max(0.0, float(self.at(chamber_c).power_w))

    def ledger_w(self, chamber_c: float) -> dict[str, float]:
        """Where the watts go at chamber_c: by wall, edges, bridge, leak, vent, port. Sums to power_w (and the
        fan's)."""
        return {name: float(w) for name, w in self.at(chamber_c).ledger_w.items()}

    def shell_c(self, chamber_c: float) -> float:
        """Temperature of the hottest outside face at chamber_c, °C."""
        return float(max(self.at(chamber_c).shells_c.values()))

    def shell_range_c(self, chamber_c: float) -> Range:
        """shell_c with its range, °C, in the room that is described."""

        def hottest(variant: SteadyOven) -> float:
            return float(max(variant.at(min(chamber_c, variant.valid_c)).shells_c.values()))

        return self._spread(self.shell_c(chamber_c), [(hottest(a), hottest(b)) for a, b in self._variants])

    @cached_property
    def max_chamber_c(self) -> float:
        """Highest steady chamber temperature at full power and nominal voltage, °C. HIGHEST_C, or `limited_c` where it
        is not None, stands for "at least that"."""
        return float(self.steady.highest(self.oven.elements.power_w))

    @property
    def limited_c(self) -> float | None:
        """Where the search for the highest temperature ended because elements or air would be hotter than the formulas
        allow; None where power or HIGHEST_C ended it."""
        valid = self.steady.valid_c
        return valid if valid < HIGHEST_C and self.max_chamber_c >= valid - 1e-6 else None

    @cached_property
    def max_at_low_supply_c(self) -> float:
        """The same with the voltage 10 % low: power falls with its square."""
        return float(self.steady.highest(0.81 * self.oven.elements.power_w))

    @cached_property
    def _variants(self) -> list[tuple[SteadyOven, SteadyOven]]:
        u = self.oven.uncertainty
        pairs = [
            (Factors(conductivity=1 - u.conductivity), Factors(conductivity=1 + u.conductivity)),
            (Factors(emissivity=1 - u.emissivity), Factors(emissivity=1 + u.emissivity)),
            (Factors(film=1 - FILM_UNCERTAINTY), Factors(film=1 + FILM_UNCERTAINTY)),
            (Factors(leakage=1 / LEAK_FACTOR), Factors(leakage=LEAK_FACTOR)),
        ]
        return [
            (
                SteadyOven(self.oven, factors=less, highest_c=HIGHEST_C),
                SteadyOven(self.oven, factors=more, highest_c=HIGHEST_C),
            )
            for less, more in pairs
        ]

    @staticmethod
    def _spread(value: float, changed: list[tuple[float, float]]) -> Range:
        up = math.sqrt(sum(max(0.0, max(a, b) - value) ** 2 for a, b in changed))
        down = math.sqrt(sum(max(0.0, value - min(a, b)) ** 2 for a, b in changed))
        return Range(float(value), float(value - down), float(value + up))

    def power_range_w(self, chamber_c: float) -> Range:
        """power_w with its range, W, never below 0."""

        def needed(variant: SteadyOven) -> float:
            return max(0.0, variant.at(min(chamber_c, variant.valid_c)).power_w)

        found = self._spread(self.power_w(chamber_c), [(needed(a), needed(b)) for a, b in self._variants])
        return dataclasses.replace(found, low=max(0.0, found.low))

    @cached_property
    def max_chamber_range_c(self) -> Range:
        """max_chamber_c with its range, °C, the supply's tolerance included."""
        full, t = self.oven.elements.power_w, self.oven.supply.tolerance
        changed = [(a.highest(full), b.highest(full)) for a, b in self._variants]
        changed.append((self.steady.highest(full * (1 - t) ** 2), self.steady.highest(full * (1 + t) ** 2)))
        return self._spread(self.max_chamber_c, changed)

    # ---- time and stored heat --------------------------------------------------------------------------------------

    def heat_up_s(self, from_c: float, to_c: float, load: Load | None = None) -> float:
        """Time at full power from one chamber temperature (everything at it) to another, with a load or empty, s;
        infinite where it is not reached within two days. Marched with the virtual oven, in steps of 5 s."""
        if to_c <= from_c:
            raise ValueError("to_c must be above from_c")
        if to_c >= self.max_chamber_c:
            return math.inf
        plant = VirtualOven(self.oven, load=load, conditions=Conditions(start_c=from_c, supply_drift=0.0))
        time_s, before = 0.0, from_c
        while time_s < 172800.0:
            plant.advance(5.0, 1.0, True)
            if plant.chamber_c >= to_c:
                return time_s + 5.0 * (to_c - before) / max(1e-9, plant.chamber_c - before)
            time_s, before = time_s + 5.0, plant.chamber_c
        return math.inf

    def heat_up_range_s(self, from_c: float, to_c: float, load: Load | None = None) -> Range:
        """heat_up_s with its range, s: the virtual oven's time, times what stated uncertainties of heat capacity,
        conductivity and supply do to the time of the low-order model (root-sum-square of one-at-a-time changes)."""
        value = self.heat_up_s(from_c, to_c, load)
        if not math.isfinite(value):
            return Range(value, value, value)
        u, tolerance = self.oven.uncertainty, self.oven.supply.tolerance
        model = day_zero(self.oven, load, to_c)

        def time_s(m: EnergyModel) -> float:
            x, t = m.rest(from_c), 0.0
            while x[CHAMBER] < to_c and t < 172800.0:
                x, t = m.step(x, m.power_w, 10.0, m.ambient_c), t + 10.0
            return t

        def scaled(names: tuple[str, ...], factor: float) -> EnergyModel:
            return model.but(**{n: _times(getattr(model, n), factor) for n in names})

        base = time_s(model)
        changes = [
            (("lining_j_per_k", "contents_j_per_k", "element_j_per_k"), 1 - u.heat_capacity, 1 + u.heat_capacity),
            (("lining_w_per_k",), 1 - u.conductivity, 1 + u.conductivity),
            (("power_w",), (1 + tolerance) ** 2, (1 - tolerance) ** 2),
        ]
        pairs = [
            (value * time_s(scaled(names, a)) / base, value * time_s(scaled(names, b)) / base)
            for names, a, b in changes
        ]
        return self._spread(value, pairs)

    def stored_j(self, chamber_c: float, load: Load | None = None) -> float:
        """Heat in walls, elements, shelf and load when all is steady at chamber_c, above everything at room
        temperature, J."""
        steady, room = self.at(chamber_c), self.oven.site.ambient_c
        total = 0.0
        for wall in self.steady.walls:
            solution = steady.walls[wall.face.name]
            for i, layer in enumerate(wall.layers):
                m = layer.material
                hot, cold = solution.layer_c(i)
                # Simpson's rule over the depth of one layer; its profile is nearly straight.
                middle = m.cold_face_c(hot, 0.5 * solution.flux_w_m2 * layer.thickness_m)
                mean = (m.enthalpy(hot) + 4.0 * m.enthalpy(middle) + m.enthalpy(cold)) / 6.0
                total += wall.geometry.conduction_m2 * layer.thickness_m * m.density_kg_m3 * (mean - m.enthalpy(room))
        e = self.steady.elements
        total += e.mass_kg * (e.material.enthalpy(steady.element_c) - e.material.enthalpy(room))
        for body in (self.oven.shelf, load):
            if body is not None:
                m = load_material(self.oven, body)
                total += body.mass_kg * (m.enthalpy(chamber_c) - m.enthalpy(room))
        return float(total)

    # ---- checks ----------------------------------------------------------------------------------------------------

    def layers(self, chamber_c: float) -> tuple[LayerReport, ...]:
        """Every layer's hot and cold face at chamber_c against its limits."""
        reports = []
        for wall in self.steady.walls:
            solution = self.at(chamber_c).walls[wall.face.name]
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
        if all(r.over is None for r in self.layers(high)):
            return high
        for _ in range(24):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if all(r.over is None for r in self.layers(middle)) else (low, middle)
        return low

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

    @property
    def wrong(self) -> tuple[Finding, ...]:
        """What comes before anything else, of wiring and protection."""
        return (*self.wiring.marked(Mark.WRONG), *(f for f in self.protection if f.mark is Mark.WRONG))

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What a maker should know besides the figures."""
        return notes_of(self)

    @cached_property
    def savings(self) -> tuple[Saving, ...]:
        """25 mm more of each insulating layer, the best first: watts saved at the oven's highest temperature."""
        t = min(self.top_c, self.max_chamber_c)
        base = self.power_w(t)
        if base <= 0.0:
            return ()  # the fan alone holds it: there are no watts to save
        found = []
        for key, wall in {_wall_key(self.oven, f): f.wall for f in self.oven.faces}.items():
            for i, layer in enumerate(wall.layers):
                if layers_of(self.oven, wall)[i].material.conductivity(t / 2) > 2.0 or layer.material == "air gap":
                    continue
                thicker = dataclasses.replace(
                    wall, layers=(*wall.layers[:i], _thicker(layer, 0.025), *wall.layers[i + 1 :])
                )
                walls = dataclasses.replace(self.oven.walls, **{key: thicker})
                changed = SteadyOven(dataclasses.replace(self.oven, walls=walls), highest_c=HIGHEST_C)
                saved = base - changed.at(t).power_w
                found.append(Saving(key, layer.material, float(saved), float(saved / base)))
        return tuple(sorted(found, key=lambda s: -s.saved_w))


def _wall_key(oven: Oven, face: Face) -> str:
    """Under which key of `walls` that face's wall stands: its own, or "sides" where the file has none for it."""
    return face.name if getattr(oven.walls, face.name, None) is not None else "sides"


def _thicker(layer: Layer, more_m: float) -> Layer:
    """The same layer more_m thicker; a layer given by its resistance gets a larger resistance."""
    resistance = layer.insulance_m2k_per_w
    return dataclasses.replace(
        layer,
        thickness_m=layer.thickness_m + more_m,
        insulance_m2k_per_w=None if resistance is None else resistance * (1 + more_m / layer.thickness_m),
    )


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
        key = _wall_key(oven, next(f for f in oven.faces if f.name == report.face))
        path = f"walls.{key}.layers[{report.number}]"
        line, column = oven.places.get(path, (0, 0))
        problem = Problem(
            oven.file or oven.name,
            line,
            column,
            f"{path}: with the chamber at {oven.limits.highest_c:.0f} °C {report.over}; "
            "choose another material, put insulation before it, or lower limits: highest",
        )
        if not any(p.line == line and p.message.split(":")[0] == path for p in problems):
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
