"""What could be bought: changes of an oven that keep heat in, each as an oven of its own to be compared."""

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

from ..body import layers_of
from ..body.layers import INSULATES_W_PER_MK
from ..body.steady import Steady, SteadyOven
from ..output import IMPERIAL, METRIC
from ..settings.construction import Face, Layer, Wall
from ..settings.oven import Oven
from ..thermal.material_data import Material, library

#: One more piece of insulation by the units of the oven's file, m; on a bare skin twice as much.
MORE_M = {METRIC: 0.025, IMPERIAL: 0.0254}
#: A wall that resists less than this is a bare skin, m²·K/W (a centimetre of wool has twice as much).
BARE_BELOW = 0.1
#: What goes behind other insulation, the cheapest first; the first that bears the temperature is taken.
BEHIND = ("mineral wool 100", "calcium silicate board", "ceramic fibre blanket 128")
_WOOL, _BOARD = ("mineral wool", "glass wool"), ("calcium silicate", "vermiculite")
#: Kind of material → kinds that can take its place, in shape and strength. Refractory ceramic fibre, which causes
#: cancer when it is breathed in, takes the place of nothing else.
_ALIKE = {
    "insulating firebrick": ("insulating firebrick",),
    "ceramic fibre": ("ceramic fibre", *_WOOL),
    "mineral wool": _WOOL,
    "glass wool": _WOOL,
    "calcium silicate": _BOARD,
    "vermiculite": _BOARD,
}
#: A door seal that a careful maker reaches, m; the share of the watts from which a leak or a bridge is worth a word.
GOOD_SEAL_M, WORTH = 0.0002, 0.03
#: A service limit must be this far above a layer that is chosen here, K.
_MARGIN_K = 30.0


@dataclass(frozen=True)
class Change:
    """A change of an oven: `words` for people, the changed oven; what is bought for it: so many square metres of
    `material`, so thick (m² and m; "" where it is not sold by the square metre); `caution`: what to think of first."""

    words: str
    oven: Oven
    face: str = ""
    material: str = ""
    area_m2: float = 0.0
    thickness_m: float = 0.0
    caution: str = ""


@dataclass(frozen=True)
class Saving:
    """A change and what it saves in the steady state: watts, and their share of those that hold the temperature."""

    change: Change
    saved_w: float
    share: float


def savings_of(oven: Oven, chamber_c: float, base: Steady, thorough: bool = False) -> tuple[Saving, ...]:
    """The watts that each change saves with the chamber at chamber_c, °C, the best first; none where the fan alone
    holds it. Left out is what a layer does not bear. `base`: the steady state as it is now; `thorough`: also twice as
    much more of each insulation, and what wants a caution."""
    power = float(base.power_w)
    if power <= 0.0:
        return ()
    found = []
    for alternatives in _all_changes(oven, base, thorough):
        for change in alternatives:
            watts = _power_w(change, chamber_c)
            if watts is not None:
                found.append(Saving(change, power - watts, 1.0 - watts / power))
                break
    return tuple(sorted(found, key=lambda s: -s.saved_w))


def _all_changes(oven: Oven, base: Steady, thorough: bool) -> Iterator[tuple[Change, ...]]:
    """All changes; of several alternatives the first that its layers bear is meant."""
    pieces = (1, 2) if thorough else (1,)
    for key, face in walls_of(oven).items():
        yield from _wall_changes(oven, key, face, base, pieces)
    for change in (*_door_like_sides(oven, base), *_openings(oven, base)):
        if thorough or not change.caution:
            yield (change,)


def _power_w(change: Change, chamber_c: float) -> float | None:
    """The power that holds chamber_c after the change, W; None where a layer of the changed wall would be too hot, or
    where it cannot be computed."""
    steady = SteadyOven(change.oven, highest_c=chamber_c)
    try:
        solved = steady.at(chamber_c)
    except ValueError:
        return None
    for wall in steady.walls:
        if not change.face or wall_key(change.oven, wall.face) != change.face:
            continue
        # Behind the middle of a face it is hottest, as edges and corners cool the rest.
        middle = wall.middle(max(solved.walls[wall.face.name].hot_face_c, change.oven.site.ambient_c))
        for i, layer in enumerate(wall.layers):
            if layer.material.over_limit(float(middle.layer_c(i)[0])) is not None:
                return None
    return max(0.0, float(solved.power_w))


def walls_of(oven: Oven) -> dict[str, Face]:
    """Key of `walls` → the largest face that has this wall."""
    found: dict[str, Face] = {}
    for face in oven.faces:
        key = wall_key(oven, face)
        if key not in found or face.inner_area_m2 > found[key].inner_area_m2:
            found[key] = face
    return found


def wall_key(oven: Oven, face: Face) -> str:
    """Under which key of `walls` that face's wall stands: its own, or "sides" where the file has none for it."""
    return face.name if getattr(oven.walls, face.name, None) is not None else "sides"


def _with(oven: Oven, key: str, layers: tuple[Layer, ...]) -> Oven:
    wall = getattr(oven.walls, key)
    walls = dataclasses.replace(oven.walls, **{key: dataclasses.replace(wall, layers=layers)})
    return dataclasses.replace(oven, walls=walls)


def _area_m2(oven: Oven, key: str) -> float:
    """The outside of all faces with that wall, m²: what has to be bought, corners and waste included."""
    area_m2 = 0.0
    for face in oven.faces:
        if wall_key(oven, face) == key:
            deeper_m = 2.0 * sum(layer.thickness_m for layer in face.wall.layers)
            area_m2 += face.count * (face.width_m + deeper_m) * (face.height_m + deeper_m)
    return area_m2


def _wall_changes(
    oven: Oven, key: str, face: Face, base: Steady, pieces: tuple[int, ...]
) -> Iterator[tuple[Change, ...]]:
    """One wall: each insulation thicker by so many pieces, or of another material; one more layer; insulation on a bare
    skin."""
    wall, solution, area = face.wall, base.walls[face.name], _area_m2(oven, key)
    made, layers, more_m = layers_of(oven, wall), wall.layers, MORE_M[oven.units]

    def behind(at: int, thickness_m: float, words: str, *skin: Layer) -> tuple[Change, ...]:
        return tuple(
            Change(
                f"{key}: {1000 * thickness_m:g} mm {name} {words}",
                _with(oven, key, (*layers[:at], Layer(material=name, thickness_m=thickness_m), *skin, *layers[at:])),
                key,
                name,
                area,
                thickness_m,
            )
            for name in BEHIND
            if made[at - 1].material.name != name
        )

    if resistance(oven, wall, solution) < BARE_BELOW:
        skin = Layer(material=layers[-1].material, thickness_m=min(layers[-1].thickness_m, 0.001))
        yield behind(len(layers), 2.0 * more_m, "on the bare skin, under a sheet", skin)
        return
    insulates = [
        i
        for i, layer in enumerate(made)
        # Not a window: thicker panes keep no more heat in, and nobody puts wool behind what they look through.
        if layer.material.name not in ("air gap", "glass")
        and layer.material.conductivity(_mean_c(solution, i)) <= INSULATES_W_PER_MK
    ]
    for i in insulates:
        for thicker_m in (n * more_m for n in pieces):
            thicker = (*layers[:i], *_thicker(layers[i], thicker_m), *layers[i + 1 :])
            words = f"{key}: {1000 * thicker_m:g} mm more {layers[i].material}"
            yield (Change(words, _with(oven, key, thicker), key, layers[i].material, area, thicker_m),)
        if layers[i].printed_w_per_mk is None:
            yield tuple(
                Change(
                    f"{key}: {m.name} instead of {layers[i].material}",
                    _with(oven, key, (*layers[:i], dataclasses.replace(layers[i], material=m.name), *layers[i + 1 :])),
                    key,
                    m.name,
                    area,
                    layers[i].thickness_m,
                )
                for m in _better(made[i].material, *solution.layer_c(i))
            )
    if insulates:
        at = max(insulates) + 1
        yield behind(at, more_m, f"as one more layer behind {layers[at - 1].material}")


def _mean_c(solution, i: int) -> float:
    hot, cold = solution.layer_c(i)
    return 0.5 * float(hot + cold)


def resistance(oven: Oven, wall: Wall, solution) -> float:
    """Resistance of that wall's layers as warm as they are, m²·K/W."""
    made = layers_of(oven, wall)
    return sum(layer.thickness_m / layer.material.conductivity(_mean_c(solution, i)) for i, layer in enumerate(made))


def _better(now: Material, hot_c: float, cold_c: float) -> list[Material]:
    """The materials of the library that can take its place and conduct less there, the best first."""

    def conducts(m: Material) -> float:
        return m.mean_conductivity(float(cold_c), float(hot_c))

    alike = _ALIKE.get(now.kind, ())
    fits = [m for m in library().values() if m.kind in alike and m.limit_c >= hot_c + _MARGIN_K]
    return sorted((m for m in fits if conducts(m) < 0.97 * conducts(now)), key=conducts)


def _thicker(layer: Layer, more_m: float) -> tuple[Layer, Layer]:
    """The layer as it is, and a piece more_m thick behind it, with as much more resistance if that is what is given.

    As one layer its edges would count as if all of it were as wide as its middle, and a thicker wall would have more of
    its hottest part to heat: by pieces the hot part stays as it was, and the steady state is the same."""
    resistance = layer.insulance_m2k_per_w
    piece = dataclasses.replace(
        layer,
        thickness_m=more_m,
        insulance_m2k_per_w=None if resistance is None else resistance * more_m / layer.thickness_m,
    )
    return layer, piece


def _door_like_sides(oven: Oven, base: Steady) -> Iterator[Change]:
    """A door that is built like the sides, where that is better by a fifth."""
    walls = walls_of(oven)
    if "door" not in walls:
        return
    door, sides = walls["door"], walls["sides"]
    now = resistance(oven, door.wall, base.walls[door.name])
    if resistance(oven, sides.wall, base.walls[sides.name]) > 1.2 * now:
        yield Change("door: built like the sides", _with(oven, "door", sides.wall.layers), "door")


def _openings(oven: Oven, base: Steady) -> Iterator[Change]:
    """Vent (a proved one keeps vapour thin, and stays open), door seal, ports and bridges."""
    total = sum(base.ledger_w.values())
    if oven.vent is not None and oven.vent.flow_m3_per_s > 0.0 and not oven.vent.proved:
        caution = "only where nothing gives off vapour or water: never for paint, powder, solvents or wet loads"
        yield Change("vent: closed", dataclasses.replace(oven, vent=None), caution=caution)
    gap = oven.door.gap_m
    if base.ledger_w.get("door leak", 0.0) > WORTH * total:
        tight = GOOD_SEAL_M if gap > 1.2 * GOOD_SEAL_M else 0.5 * gap
        words = f"door: a seal with a mean gap of {1000 * tight:.2g} mm instead of {1000 * gap:.2g} mm"
        yield Change(words, dataclasses.replace(oven, door=dataclasses.replace(oven.door, gap_m=tight)), "door")
    for i, port in enumerate(oven.ports):
        if not port.closed:
            ports = (*oven.ports[:i], dataclasses.replace(port, closed=True), *oven.ports[i + 1 :])
            yield Change(f"{port.name}: with a plug", dataclasses.replace(oven, ports=ports))
    for i, bridge in enumerate(oven.bridges):
        if base.ledger_w.get(bridge.name, 0.0) <= WORTH * total:
            continue
        half = {
            name: None if value is None else 0.5 * value
            for name, value in (("conductance_w_per_k", bridge.conductance_w_per_k), ("area_m2", bridge.area_m2))
        }
        bridges = (*oven.bridges[:i], dataclasses.replace(bridge, **half), *oven.bridges[i + 1 :])
        yield Change(f"{bridge.name}: half as much metal through the wall", dataclasses.replace(oven, bridges=bridges))
