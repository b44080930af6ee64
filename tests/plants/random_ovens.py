"""Random descriptions over what `settings` accepts, far beyond real ovens; seeded, so that a number names an oven."""

import math
import random

from kilnctl.settings.construction import Bridge, Chamber, Door, Elements, Fan, Layer, Load, Port, Vent, Wall, Walls
from kilnctl.settings.equipment import Supply
from kilnctl.settings.oven import Limits, Oven, Site

HOT = (
    "insulating firebrick 23",
    "ceramic fibre blanket 128",
    "dense firebrick",
    "calcium silicate",
    "stainless steel",
    "air gap",
)


def _log(r: random.Random, low: float, high: float) -> float:
    return math.exp(r.uniform(math.log(low), math.log(high)))


def _wall(r: random.Random, materials) -> Wall:
    layers = []
    for _ in range(r.choice((1, 1, 2, 3, 5))):
        name = r.choice(materials)
        thickness = r.uniform(0.003, 0.05) if name == "air gap" else _log(r, 1e-5, 0.3 if r.random() < 0.9 else 2.0)
        layers.append(Layer(material=name, thickness_m=thickness))
    if layers[-1].material == "air gap":
        layers.append(Layer(material="stainless steel", thickness_m=_log(r, 1e-4, 3e-3)))
    return Wall(
        layers=tuple(layers),
        outer_emissivity=r.choice((0.9, 0.3, 0.05)),
        contact_insulance_m2k_per_w=r.choice((0.0, 0.0, 0.01, 0.5)),
    )


def _bridges(r: random.Random) -> tuple[Bridge, ...]:
    some = []
    if r.random() < 0.4:
        some.append(Bridge(name="frame", conductance_w_per_k=_log(r, 0.01, 50.0), count=r.choice((1, 1, 10, 1000))))
    if r.random() < 0.2:
        some.append(
            Bridge(
                name="bolts",
                material="stainless steel",
                area_m2=_log(r, 1e-6, 1e-2),
                length_m=_log(r, 0.01, 1.0),
                count=r.choice((1, 12, 1000)),
            )
        )
    return tuple(some)


def _elements(r: random.Random) -> Elements:
    power = _log(r, 20.0, 20000.0)
    alloy = r.choice(("iron-chromium-aluminium", "nickel-chromium", "sheathed"))
    given = {}
    if r.random() < 0.4:
        d = _log(r, 3e-4, 0.01)
        given.update(wire_diameter_m=d, wire_length_m=min(500.0, max(0.05, power / 3e4 / (math.pi * d))))
    if r.random() < 0.3:
        given.update(mass_kg=_log(r, 0.01, 20.0), surface_m2=_log(r, 1e-3, 1.0))
    return Elements(power_w=power, alloy=alloy, groups=r.choice((1, 1, 2, 6)), emissivity=r.choice((0.8, 0.3)), **given)


def random_load(r: random.Random, chamber: Chamber) -> Load | None:
    if r.random() < 0.5:
        return None
    volume = chamber.width_m * chamber.depth_m * chamber.height_m
    area = _log(r, 1e-4, 1.0) * volume ** (2 / 3)
    return Load(
        mass_kg=min(2000.0, _log(r, 1e-4, 3000.0 * volume + 2e-4)),
        area_m2=area,
        material=r.choice(("steel", "cordierite", "aluminium")),
        moisture_kg=r.choice((0.0, 0.0, 0.1)),
    )


def random_oven(seed: int) -> tuple[Oven, Load | None, random.Random]:
    """The oven and the load of that number, and its generator for what is done with them."""
    r = random.Random(seed)
    chamber = Chamber(
        width_m=_log(r, 0.02, 5.0),
        depth_m=_log(r, 0.02, 5.0),
        height_m=_log(r, 0.02, 5.0),
        opening=r.choice(("front", "top")),
        emissivity=r.choice((0.85, 0.05, 1.0)),
    )
    walls = Walls(sides=_wall(r, HOT), door=_wall(r, HOT) if r.random() < 0.5 else None)
    fan = (
        Fan(air_speed_m_per_s=_log(r, 0.05, 20.0), power_w=r.choice((0.0, 20.0, 200.0, 2000.0)))
        if r.random() < 0.4
        else None
    )
    oven = Oven(
        name=f"random {seed}",
        chamber=chamber,
        walls=walls,
        bridges=_bridges(r),
        door=Door(gap_m=r.choice((0.0, 2e-4, 2e-2))),
        fan=fan,
        elements=_elements(r),
        supply=Supply(voltage_v=230.0, frequency_hz=50.0),
        vent=Vent(flow_m3_per_s=r.choice((0.0, _log(r, 1e-5, 0.5), 0.5))) if r.random() < 0.4 else None,
        ports=(Port(diameter_m=_log(r, 0.001, 0.3), closed=False),) if r.random() < 0.3 else (),
        limits=Limits(highest_c=r.choice((60.0, 250.0, 600.0, 1000.0, 1300.0))),
        site=Site(ambient_c=r.choice((-30.0, 20.0, 50.0))),
    )
    return oven, random_load(r, chamber), r
