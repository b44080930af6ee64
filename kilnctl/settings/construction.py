"""What an oven is made of and what is put in: chamber, walls, door, elements, load."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from ..thermal.heating_wire import NOT_WOUND
from .fields import choice, flag, integer, many, numbers, one, points, positive, quantity, text

#: Least and most power of an oven's elements, W.
POWER_W = (20.0, 20000.0)
#: Thinnest and thickest wire or sheath, m.
WIRE_DIAMETER_M = (1e-4, 0.03)


@dataclass(frozen=True, kw_only=True)
class UserMaterial:
    """A material of the user's own, as its data sheet prints it."""

    name: str = text("the name that the layers use")
    conductivity: tuple = points(
        "temperature",
        "conductivity",
        "conductivity, or several against mean temperature",
        low=1e-4,
        high=500.0,
        default=(),
    )
    conductivity_polynomial_w_per_mk: tuple[float, ...] = numbers(
        "coefficients a0, a1, … of k = a0 + a1·T + … in W/(m·K) with T in °C", default=(), key="conductivity polynomial"
    )
    mean_c: float | None = quantity(
        "temperature",
        "mean temperature at which a single conductivity was measured; 24 °C (75 °F) if not given",
        default=None,
        low=-50.0,
        high=1500.0,
        key="mean temperature",
    )
    like: str | None = text(
        "a material of the library of the same kind: a single conductivity is carried along its curve", default=None
    )
    density_kg_per_m3: float = positive("density", "density", 20000.0)
    heat_capacity: tuple = points(
        "temperature",
        "heat capacity",
        "specific heat, or several against temperature",
        low=50.0,
        high=10000.0,
        default=((math.nan, 900.0),),
    )
    limit_c: float = quantity("temperature", "highest service temperature", high=2000.0)
    uncertainty: float = quantity(
        "fraction", "relative uncertainty of the conductivity", default=0.15, low=0.0, high=0.6
    )
    source: str = text("where the figures come from", default="the user's own figures")

    def problems(self) -> Iterator[tuple[str, str]]:
        if bool(self.conductivity) == bool(self.conductivity_polynomial_w_per_mk):
            yield "name", f"material '{self.name}' wants either 'conductivity' or 'conductivity polynomial'"
        if not self.has_one_value and (self.mean_c is not None or self.like is not None):
            yield (
                "name",
                f"material '{self.name}': 'mean temperature' and 'like' belong to a single conductivity only",
            )

    @property
    def has_one_value(self) -> bool:
        """It has one conductivity, at one mean temperature or at none that is known."""
        return len(self.conductivity) == 1


@dataclass(frozen=True, kw_only=True)
class Layer:
    """One layer of a wall. Layers are listed from the hot face outward."""

    material: str = text("a material of the library (`kilnctl materials`) or one of the file's own")
    thickness_m: float = quantity("length", "thickness", low=1e-5, high=2.0)
    insulance_m2k_per_w: float | None = quantity(
        "insulance",
        "thermal resistance of the whole layer, when the seller prints an R-value instead of a conductivity",
        default=None,
        low=1e-4,
        high=100.0,
        key="resistance",
    )
    conductivity_w_per_mk: float | None = quantity(
        "conductivity",
        "conductivity as the seller prints it, instead of the library's: carried along the material's own curve",
        default=None,
        low=1e-4,
        high=500.0,
    )
    mean_c: float | None = quantity(
        "temperature",
        "mean temperature at which that resistance or conductivity was measured; 24 °C (75 °F) if not given",
        default=None,
        low=-50.0,
        high=1500.0,
        key="mean temperature",
    )

    @property
    def printed_w_per_mk(self) -> float | None:
        """The conductivity that the seller's figure stands for, W/(m·K); None: as the material has it."""
        if self.insulance_m2k_per_w is not None:
            return self.thickness_m / self.insulance_m2k_per_w
        return self.conductivity_w_per_mk

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.insulance_m2k_per_w is not None and self.conductivity_w_per_mk is not None:
            yield "insulance_m2k_per_w", "a layer has either 'resistance' or 'conductivity'"
        if self.mean_c is not None and self.printed_w_per_mk is None:
            yield "mean_c", "'mean temperature' belongs to a 'resistance' or a 'conductivity' of this layer"


@dataclass(frozen=True, kw_only=True)
class Wall:
    layers: tuple[Layer, ...] = many(Layer, "layers from the hot face outward", fewest=1, most=12)
    outer_emissivity: float = quantity(
        "fraction",
        "emissivity of the outer face: the barer the metal, the hotter it gets",
        default=0.9,
        low=0.02,
        high=1.0,
        assume="paint of any colour, brick, rust; rolled steel has about 0.6, stainless 0.3, galvanised 0.25, "
        "aluminium 0.1",
    )
    contact_insulance_m2k_per_w: float = quantity(
        "insulance",
        "contact resistance at each joint between layers",
        default=0.0,
        low=0.0,
        high=1.0,
        key="contact resistance",
    )


@dataclass(frozen=True, kw_only=True)
class Walls:
    """`sides` stands in for every wall that is not given. `door` is the face that opens (the lid when the oven opens at
    the top)."""

    sides: Wall = one(Wall, "the side walls", bare="layers")
    roof: Wall | None = one(
        Wall, "the roof (an oven that opens at the top has a door there instead)", default=None, bare="layers"
    )
    floor: Wall | None = one(Wall, "the floor", default=None, bare="layers")
    door: Wall | None = one(Wall, "the door or lid", default=None, bare="layers")


@dataclass(frozen=True, kw_only=True)
class Chamber:
    GONE: ClassVar[dict[str, str]] = {"diameter": "if it is round, give both sides 0.89 of its diameter (same area)"}
    width_m: float = quantity("length", "inside width", low=0.02, high=5.0)
    depth_m: float = quantity("length", "inside depth, front to back", low=0.02, high=5.0)
    height_m: float = quantity("length", "inside height", low=0.02, high=5.0)
    opening: str = choice(
        ("front", "top"), "the face that opens", default="front", assume="most ovens have a front door"
    )
    emissivity: float = quantity(
        "fraction",
        "emissivity of the inside faces",
        default=0.85,
        low=0.05,
        high=1.0,
        assume="brick, fibre and oxidised steel lie between 0.7 and 0.95",
    )

    @property
    def inner_m2(self) -> float:
        """Surface of the inside, m²."""
        w, d, h = self.width_m, self.depth_m, self.height_m
        return 2.0 * (w * d + w * h + d * h)

    @property
    def most_contents_m2(self) -> float:
        """Surface of plates that fill the chamber 5 mm apart, m²: a load cannot have more surface that takes heat."""
        return 2.0 * self.width_m * self.depth_m * self.height_m / 0.005


@dataclass(frozen=True, kw_only=True)
class Face:
    """One kind of face of the box (derived; not in the file). `count` equal faces of width_m × height_m each."""

    name: str
    wall: Wall
    count: int
    width_m: float
    height_m: float
    orientation: str  # "vertical", "up" (a roof, heat leaves upward) or "down" (a floor)

    @property
    def inner_area_m2(self) -> float:
        return self.count * self.width_m * self.height_m


@dataclass(frozen=True, kw_only=True)
class Bridge:
    """A path for heat past the insulation: either its conductance, or a bar's material, area and length."""

    name: str = text("what it is: door frame, bolts, element terminals")
    conductance_w_per_k: float | None = quantity(
        "conductance", "heat flow per kelvin", default=None, low=0.0, high=50.0
    )
    material: str | None = text("the bar's material", default=None)
    area_m2: float | None = positive("area", "cross-section of one bar", 1.0, default=None)
    length_m: float | None = positive("length", "length of the bar from hot to cold", 5.0, default=None)
    count: int = integer("how many", low=1, high=1000, default=1)

    def problems(self) -> Iterator[tuple[str, str]]:
        bar = (self.material, self.area_m2, self.length_m)
        if (self.conductance_w_per_k is None) == (None in bar):
            yield "name", "a bridge wants either 'conductance', or 'material', 'area' and 'length' together"


@dataclass(frozen=True, kw_only=True)
class Door:
    """How well the opening closes, and whether a switch tells that it is open."""

    gap_m: float = quantity(
        "length",
        "mean width of the leak all round the door",
        default=0.0002,
        low=0.0,
        high=0.02,
        assume="a fair seal; 1 mm and more is a visible gap",
    )
    switch: bool = flag("a door switch is wired to the controller as well as into the contactor's coil", default=False)
    catch: str | None = choice(
        ("gives way", "holds"),
        "whether its catch gives way to a push from inside (magnet, spring), or holds (latch, bolt, clamp)",
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Port:
    """A viewing port or another opening that radiates to the room."""

    name: str = text("what it is", default="viewing port")
    diameter_m: float = quantity("length", "clear diameter", low=0.001, high=0.3)
    closed: bool = flag("it has a plug or a window in normal use", default=True)


@dataclass(frozen=True, kw_only=True)
class Fan:
    air_speed_m_per_s: float = quantity(
        "speed", "air speed over the load and the walls", low=0.05, high=20.0, key="air speed"
    )
    power_w: float = quantity(
        "power", "fan power that ends up as heat in the chamber", default=0.0, low=0.0, high=2000.0
    )
    watched_by: str | None = choice(
        ("airflow switch", "rotation switch"),
        "what opens the contactor's coil circuit when it stands; kilnctl does not watch it",
        default=None,
    )


@dataclass(frozen=True, kw_only=True)
class Vent:
    flow_m3_per_s: float = quantity(
        "volume flow", "air drawn through the chamber, at room conditions", low=0.0, high=0.5, key="flow"
    )
    proved: bool = flag("a flow or pressure switch proves the ventilation to the controller", default=False)
    proof: str | None = choice(
        ("flow switch", "differential pressure", "fan contact"),
        "what proves it; a contact of the fan's motor is no proof, as a fan turns before a shut damper too",
        default=None,
    )
    switch_opens_m3_per_s: float | None = quantity(
        "volume flow",
        "flow below which the switch takes the heat, at room conditions: 80 % of the flow is usual",
        default=None,
        low=1e-6,
        high=0.5,
    )

    @property
    def proved_m3_per_s(self) -> float:
        """The flow that is there while the switch is closed, m³/s: where it opens, or else the flow as described."""
        return self.flow_m3_per_s if self.switch_opens_m3_per_s is None else self.switch_opens_m3_per_s

    def problems(self) -> Iterator[tuple[str, str]]:
        if self.switch_opens_m3_per_s is not None and self.switch_opens_m3_per_s > self.flow_m3_per_s:
            yield "switch_opens_m3_per_s", "the switch would open at more air than there is"


@dataclass(frozen=True, kw_only=True)
class Elements:
    #: Where a file gives 'resistance' instead, `Oven` computes the power: after reading it is never None.
    power_w: float = quantity(
        "power",
        "power of all elements together, hot, at the supply's nominal voltage (or give 'resistance')",
        default=None,
        low=POWER_W[0],
        high=POWER_W[1],
    )
    resistance_ohm: float | None = quantity(
        "electrical resistance",
        "instead of 'power': resistance of all elements as they are connected, measured cold; "
        "hot alloy has a little more, which is taken into account",
        default=None,
        low=0.1,
        high=5000.0,
        example="17.6 ohm",
    )
    groups: int = integer("groups that can fail or be switched apart", low=1, high=6, default=1)
    #: Where a file says nothing, `Oven` takes what is usual at its temperature: after reading it is never None.
    alloy: str = choice(
        ("iron-chromium-aluminium", "nickel-chromium", "sheathed"),
        "what the element is made of; sheathed is usual up to 400 °C, bare iron-chromium-aluminium above",
        default=None,
        refused=NOT_WOUND,
    )
    wire_diameter_m: float | None = quantity(
        "length",
        "diameter of the wire, or of the sheath",
        default=None,
        low=WIRE_DIAMETER_M[0],
        high=WIRE_DIAMETER_M[1],
    )
    wire_length_m: float | None = quantity(
        "length", "total length of wire or sheath", default=None, low=0.05, high=500.0
    )
    mass_kg: float | None = positive("mass", "mass of the elements with what they are wound on", 100.0, default=None)
    surface_m2: float | None = positive("area", "radiating surface of all elements", 10.0, default=None)
    emissivity: float = quantity(
        "fraction",
        "emissivity of the element",
        default=0.8,
        low=0.05,
        high=1.0,
        assume="oxidised heating alloys lie between 0.7 and 0.9",
    )
    limit_c: float | None = quantity(
        "temperature", "highest temperature of the element", default=None, low=100.0, high=1800.0
    )

    terminals_at_c: float | None = quantity(
        "temperature", "where leads meet elements, after hours at the highest", default=None, low=0.0, high=800.0
    )
    leads_rated_c: float | None = quantity(
        "temperature", "what the insulation of these leads bears", default=None, low=60.0, high=800.0
    )

    @property
    def rated_w(self) -> float:
        """`power_w` of a description that was read (computed where the file gives the resistance). Raises ValueError
        before that."""
        if self.power_w is None:
            raise ValueError("the power of these elements has not been worked out yet")
        return self.power_w

    def problems(self) -> Iterator[tuple[str, str]]:
        if (self.power_w is None) == (self.resistance_ohm is None):
            yield (
                "resistance_ohm",
                (
                    "the elements want 'power' (for example 2.8 kW), or 'resistance' measured cold "
                    "(for example 17.6 ohm); not both"
                ),
            )


@dataclass(frozen=True, kw_only=True)
class Load:
    """What is put in. Mass, material or heat capacity, and the surface through which it takes heat."""

    name: str = text("what it is", default="load")
    mass_kg: float = quantity("mass", "mass", low=0.0, high=2000.0)
    material: str = text("a material of the library, for its heat capacity and conductivity", default="steel")
    area_m2: float = positive("area", "surface that sees the chamber", 50.0)
    emissivity: float = quantity("fraction", "emissivity of the surface", default=0.8, low=0.02, high=1.0)
    thickness_m: float | None = quantity(
        "length", "thickness of its thickest section", default=None, low=1e-4, high=1.0
    )
    moisture_kg: float = quantity("mass", "water to be dried out", default=0.0, low=0.0, high=200.0)
    known_within: float | None = quantity(
        "fraction",
        "how far off its mass, its surface and the one for the other can be, once weighed and measured; without this a "
        "third to three times what is written is taken as possible for the part, whose band is narrower with it; the "
        "energy limiter takes up to half as much again as possible, or as much as this says if that is more, and else "
        "ends the heat",
        default=None,
        low=0.02,
        high=2.0,
        key="known within",
    )

    def crowds(self, chamber: Chamber) -> str | None:
        """Why so large a surface does not fit into that chamber; None where it does."""
        if self.area_m2 <= chamber.most_contents_m2:
            return None
        return (
            f"'{self.name}' has a surface of {self.area_m2:g} m², and plates 5 mm apart that fill this chamber have "
            f"{chamber.most_contents_m2:.3g} m²; give the surface that sees the chamber"
        )
