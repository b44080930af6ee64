"""Stacks of layers for generated ovens: sensible ones for the temperature, and some odd ones; with a rough estimate
of what they lose and store."""

import itertools
from dataclasses import dataclass

from kilnctl.thermal.material_data import find
from tests.generated.spelling import Chance, Spelling

#: Hot faces by how hot they bear it with margin, °C, and what may lie behind them.
LINERS = (("steel", 450.0), ("stainless steel", 800.0), ("aluminium", 220.0))
HOT_FACES = (
    ("insulating firebrick 23", 1180.0),
    ("ceramic fibre board 300", 1180.0),
    ("insulating firebrick 26", 1320.0),
    ("ceramic fibre blanket 128", 1180.0),
    ("insulating firebrick 20", 1030.0),
    ("ceramic fibre blanket 160", 1180.0),
    ("vermiculite board", 1030.0),
    ("insulating firebrick 28", 1320.0),
    ("castable refractory", 1320.0),
    ("dense firebrick", 1320.0),
    ("ceramic fibre blanket 96", 1180.0),
)
FILLS = (
    ("mineral wool 100", 560.0),
    ("mineral wool 60", 330.0),
    ("mineral wool 150", 600.0),
    ("glass wool 24", 190.0),
    ("ceramic fibre blanket 128", 1150.0),
    ("calcium silicate board", 920.0),
    ("ceramic fibre blanket 96", 1150.0),
    ("perlite, loose", 720.0),
    ("vermiculite board", 1000.0),
    ("gypsum board", 65.0),
    ("wood", 110.0),
)
SPELLINGS = {
    "ceramic fibre blanket 128": ("ceramic fiber blanket 128", "ceramic fibre blanket"),
    "mineral wool 100": ("rock wool", "stone wool", "mineral wool"),
    "steel": ("mild steel", "carbon steel"),
    "calcium silicate board": ("calcium silicate",),
    "perlite, loose": ("perlite",),
}
BOARDS = ("insulating", "dense", "castable", "vermiculite", "calcium", "gypsum", "wood")


@dataclass
class Piece:
    """One layer as drawn. `k` where it is not the library's; `insulance` where the file gives an R-value."""

    material: str
    thickness_m: float
    k: float | None = None  # at 20 °C, and what it grows by per kelvin
    growth: float = 0.0
    rho_c: float | None = None
    insulance: float | None = None
    limit_c: float = 3000.0

    def conductivity(self, t_c: float) -> float:
        if self.material == "air gap":
            return self.thickness_m / 0.17
        if self.insulance is not None:
            return self.thickness_m / self.insulance
        return (
            self.k * (1.0 + self.growth * (t_c - 20.0)) if self.k is not None else find(self.material).conductivity(t_c)
        )

    def heat_j_per_m3k(self, t_c: float) -> float:
        if self.material == "air gap":
            return 1.0
        if self.rho_c is not None:
            return self.rho_c
        material = find(self.material)
        return material.density_kg_m3 * material.heat_capacity(t_c)


def estimate(pieces: list[Piece], hot_c: float, room_c: float) -> tuple[float, float, list[float]]:
    """(flux W/m², stored J/m², hot face of each layer °C) of a plane wall, conductivities at the layers' mean
    temperatures, outer film 11 W/(m²·K)."""
    means = [0.5 * (hot_c + room_c)] * len(pieces)
    flux, faces = 0.0, [hot_c]
    for _ in range(12):
        resistances = [p.thickness_m / p.conductivity(t) for p, t in zip(pieces, means, strict=True)]
        flux = (hot_c - room_c) / (sum(resistances) + 1.0 / 11.0)
        faces = [hot_c]
        for r in resistances:
            faces.append(faces[-1] - flux * r)
        means = [0.5 * (a + b) for a, b in itertools.pairwise(faces)]
    stored = sum(p.heat_j_per_m3k(t) * p.thickness_m * (t - room_c) for p, t in zip(pieces, means, strict=True))
    return flux, stored, faces


class Materials:
    """The file's own materials, and layers of them."""

    def __init__(self, chance: Chance, spell: Spelling):
        self.chance, self.spell, self.made = chance, spell, []

    def own(self, kind: str, hot_c: float, thickness_m: float) -> Piece:
        """A made-up board or slab that bears `hot_c`, with its figures spelled in one of the ways that the file
        allows."""
        chance, spell = self.chance, self.spell
        k0 = chance.log(0.04, 0.4) if kind == "fill" else chance.log(0.1, 1.2)
        density, heat = chance.log(60.0, 400.0) if k0 < 0.1 else chance.log(300.0, 1800.0), chance.among(800.0, 1100.0)
        entry: dict = {"name": f"own {kind} {len(self.made) + 1}"}
        shape = chance.one("constant", "points", "polynomial")
        if shape == "constant":
            entry["conductivity"] = spell.conductivity(k0)
        elif shape == "points":
            entry["conductivity"] = {
                spell.temperature(t): spell.conductivity(k0 * (1.0 + 0.0012 * (t - 20.0)))
                for t in (50.0, 0.5 * hot_c + 70.0, hot_c + 110.0)
            }
        else:
            entry["conductivity polynomial"] = [round(0.976 * k0, 4), round(k0 * 1.2e-3, 7)]
        entry["density"] = spell.density(density)
        if chance.yes(0.6):
            entry["heat capacity"] = spell.heat_capacity(heat)
        limit_c = min(1900.0, hot_c + chance.among(60.0, 300.0))
        entry["limit"] = spell.temperature(limit_c)
        if chance.yes(0.2):
            entry["uncertainty"] = chance.one("10 %", 0.25)
        self.made.append(entry)
        return Piece(
            entry["name"], thickness_m, k0, 0.0 if shape == "constant" else 0.0012, density * heat, limit_c=limit_c
        )

    def thickness(self, material: str, hot_c: float) -> float:
        """As it is sold, about: thicker for hotter ovens."""
        board = material.startswith(BOARDS)
        low, high = (0.012, 0.05) if material in ("gypsum board", "wood") else (0.025, 0.125) if board else (0.025, 0.1)
        return self.chance.log(low, high) * (1.0 if hot_c < 700.0 else 1.25)


def _bearing(table, hot_c: float):
    fit = [name for name, limit in table if limit >= hot_c]
    return fit or [max(table, key=lambda row: row[1])[0]]


def _drawn(chance: Chance, materials: Materials, table, behind: bool, hot_c: float, face_c: float, odd: bool) -> Piece:
    """One layer, the hot face's own or one `behind` others."""
    if chance.yes(0.15):
        return materials.own("fill" if behind else "face", face_c, materials.thickness("own", hot_c))
    if behind and odd and chance.yes(0.3):
        return Piece("air gap", chance.among(0.005, 0.04))
    name = chance.one(*_bearing(table, face_c))
    new = Piece(name, materials.thickness(name, hot_c) * (chance.log(0.15, 3.0) if odd else 1.0))
    if hot_c < 200.0 and chance.yes(0.1):
        new.insulance = new.thickness_m / 0.04 * chance.among(0.8, 1.2)
    return new


def stack(chance: Chance, materials: Materials, hot_c: float, room_c: float, odd: bool) -> list[Piece]:
    """A wall from the hot face outward for a chamber of `hot_c`. What lies behind is drawn again until it bears the
    heat there, unless that takes too long."""
    pieces: list[Piece] = []
    if odd and hot_c < 300.0 and chance.yes(0.4):
        return [Piece(chance.one("steel", "stainless steel"), chance.among(0.0008, 0.003))]  # a single skin
    if hot_c < 420.0 or (hot_c < 750.0 and chance.yes(0.4)):
        pieces.append(Piece(chance.one(*_bearing(LINERS, hot_c)), chance.among(0.0008, 0.002)))
    face_c = hot_c
    for _ in range(chance.whole(1, 3) if not odd else chance.whole(1, 5)):
        table = FILLS if pieces or hot_c < 420.0 else HOT_FACES
        new = _drawn(chance, materials, table, bool(pieces), hot_c, face_c, odd)
        for _ in range(7):
            faces = estimate([*pieces, new], hot_c, room_c)[2]
            if all(f < _limit(p) for p, f in zip([*pieces, new], faces, strict=False)):
                break
            new = _drawn(chance, materials, table, bool(pieces), hot_c, face_c, odd)
        pieces.append(new)
        face_c = estimate(pieces, hot_c, room_c)[2][-1]
    if chance.yes(0.75):
        shell = chance.one("steel", "stainless steel", "aluminium") if face_c < 350.0 else "stainless steel"
        pieces.append(Piece(shell, chance.among(0.0006, 0.003)))
    return pieces


def _limit(piece: Piece) -> float:
    return piece.limit_c if piece.k is not None or piece.material == "air gap" else find(piece.material).limit_c - 15.0


def spelled(pieces: list[Piece], chance: Chance, spell: Spelling):
    """The wall as YAML: a bare list of layers, or a mapping with what else can be said."""
    layers = []
    for p in pieces:
        names = (p.material, *SPELLINGS.get(p.material, ()))
        layer = {
            "material": chance.one(*names) if chance.yes(0.3) else p.material,
            "thickness": spell.length(p.thickness_m),
        }
        if p.insulance is not None:
            layer["resistance"] = spell.insulance(p.insulance)
        layers.append(layer)
    more = {}
    if chance.yes(0.2):
        more["outer emissivity"] = chance.one(0.9, 0.3, "25 %", 0.6, 0.1)
    if len(pieces) > 1 and chance.yes(0.1):
        more["contact resistance"] = spell.insulance(chance.log(0.002, 0.05))
    return {"layers": layers, **more} if more else layers
