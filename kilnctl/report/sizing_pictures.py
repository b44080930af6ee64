"""The pictures of a sizing: power against temperature; each wall's cross-section with the temperature through it and
what its layers bear."""

import math

from ..output import Units
from ..sizing.sizing import Sizing
from ..thermal.walls import WallLayer, WallSolution, profile
from .look import LAYERS, SOAK
from .svg import NARROW, WIDTH, Chart, Series, Subplot, svg

#: A layer thinner than this share of the wall is drawn without a name.
_SLIM = 0.02


def sizing_pictures(sizing: Sizing, units: Units) -> dict[str, str]:
    """File name → SVG: power against temperature, and the temperature through each wall."""
    made = {"power.svg": power_picture(sizing, units, WIDTH)}
    for wall in sizing.walls:
        made[f"wall-{wall.face.name}.svg"] = wall_picture(sizing, wall, units, WIDTH)
    return made


def power_picture(sizing: Sizing, units: Units, width: int) -> str:
    """Power that holds each chamber temperature, with its range, and the power that there is."""
    o, ambient = sizing.oven, sizing.oven.site.ambient_c
    temperatures = [ambient + (sizing.top_c - ambient) * (0.05 + 0.95 * i / 24) for i in range(25)]
    ranges = [sizing.power_range_w(c) for c in temperatures]
    x = [units.degrees(c) for c in temperatures]
    full = units.heat_value(o.elements.rated_w)
    band = [units.heat_value(0.5 * (r.high - r.low)) for r in ranges]
    power = Subplot(
        f"power to hold, {units.heat_unit}",
        (
            Series(x, [units.heat_value(r.value) for r in ranges], "to hold", "chamber", band),
            Series([x[0], x[-1]], [full, full], "full power", "reference"),
            Series([x[0], x[-1]], [0.81 * full, 0.81 * full], "10 % low", "other"),
        ),
        low=0.0,
    )
    title = f"{o.name}: power against temperature"
    return svg(Chart(title, (power,), f"chamber, {units.degree}", False, 420, width))


def wall_picture(sizing: Sizing, wall, units: Units, width: int) -> str:
    """One wall's cross-section: its layers by their numbers and names, the temperature through them, and the limit of
    each layer."""
    name, reach = wall.face.name, sizing.reached_c
    hot_c, per_m = sizing.at(reach).walls[name].hot_face_c, units.lengths_per_m
    # Behind the middle of the face, as the layers are judged.
    solution = wall.middle(max(hot_c, sizing.oven.site.ambient_c))
    whole = sum(layer.thickness_m for layer in wall.layers)
    # Letters that have room in the picture, by the width that the chart leaves for its lines.
    letters = (width - 214 if width > NARROW + 200 else width - 54) / 6.6
    shades, depth = [], 0.0
    for i, layer in enumerate(wall.layers, 1):
        share = layer.thickness_m / whole
        full = f"{i} {layer.material.name}"
        label = full if len(full) < share * letters else str(i) if share > _SLIM else ""
        shades.append((depth * per_m, (depth + layer.thickness_m) * per_m, label))
        depth += layer.thickness_m
    plot = Subplot(
        f"temperature, {units.degree}",
        (_profile(wall.layers, solution, units), _limits(wall.layers, units)),
        tuple(shades),
        low=min(0.0, units.degrees(sizing.oven.site.ambient_c)),
        tints=tuple(LAYERS.get(layer.material.kind, SOAK) for layer in wall.layers),
    )
    at = units.temperature(reach)
    title = f"{sizing.oven.name}: through the {name} at {at}" if width == WIDTH else f"through the {name} at {at}"
    return svg(Chart(title, (plot,), f"depth from the hot face, {units.length_unit}", False, 380, width))


def _profile(layers: tuple[WallLayer, ...], solution: WallSolution, units: Units) -> Series:
    """The temperature from the hot face outward."""
    line = profile(layers, solution)
    depths = [d * units.lengths_per_m for d, _ in line]
    return Series(depths, [units.degrees(c) for _, c in line], "temperature")


def _limits(layers: tuple[WallLayer, ...], units: Units) -> Series:
    """What each layer bears: a level piece for each, broken between them."""
    x: list[float] = []
    y: list[float] = []
    depth = 0.0
    for layer in layers:
        limit = units.degrees(layer.material.limit_c)
        x += [depth * units.lengths_per_m, (depth + layer.thickness_m) * units.lengths_per_m, math.nan]
        y += [limit, limit, math.nan]
        depth += layer.thickness_m
    return Series(x[:-1], y[:-1], "limit", "reference")
