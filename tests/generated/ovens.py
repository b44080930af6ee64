"""Descriptions of ovens drawn at random, as YAML text for `load_oven`.

`oven_text(source)` takes all its chance from `source.random()`: `random.Random("seed/number")` gives the ovens of
tools/zoo, hypothesis'
`st.randoms(use_true_random=False)` gives those that it can shrink. Power comes from a rough sum of losses and of heat
to be stored, so that most
ovens reach their top, with a spread; some do not.
"""

import math
import random

from tests.generated.spelling import Chance, Spelling, as_yaml
from tests.generated.stacks import Materials, Piece, estimate, spelled, stack

KINDS = ((60.0, 120.0), (120.0, 250.0), (250.0, 450.0), (450.0, 750.0), (750.0, 1050.0), (1050.0, 1280.0))
VOLTAGES = (
    (230.0, 50.0),
    (240.0, 60.0),
    (120.0, 60.0),
    (220.0, 50.0),
    (240.0, 50.0),
    (208.0, 60.0),
    (100.0, 50.0),
    (400.0, 50.0),
    (480.0, 60.0),
    (24.0, 50.0),
    (12.0, 60.0),
)
#: Usual loads of a surface, W/m² (common practice); a drawn element lies between half and one and a third of it.
LOADS = {"sheathed": 22000.0, "iron-chromium-aluminium": 32000.0, "nickel-chromium": 24000.0}
RESISTIVITY, DENSITY = (
    {"iron-chromium-aluminium": 1.45e-6, "nickel-chromium": 1.09e-6},
    {"iron-chromium-aluminium": 7150.0, "nickel-chromium": 8300.0, "sheathed": 6500.0},
)
LOAD_MATERIALS = (
    ("steel", 1100.0, 7850.0, 600.0),
    ("stainless steel", 1250.0, 7900.0, 580.0),
    ("aluminium", 450.0, 2700.0, 950.0),
    ("cordierite", 1250.0, 2000.0, 1000.0),
    ("clay ware", 1200.0, 1900.0, 1000.0),
    ("cast iron", 900.0, 7200.0, 600.0),
    ("glass", 600.0, 2500.0, 950.0),
    ("wood", 120.0, 600.0, 1700.0),
    ("brass", 600.0, 8500.0, 400.0),
    ("copper", 800.0, 8930.0, 400.0),
)


def numbered(seed: int, number: int) -> str:
    """Oven `number` of a seed, the same on every machine."""
    return oven_text(random.Random(f"{seed}/{number}"))


def oven_text(source) -> str:
    """One description. Every setting of an oven that bears on heat, wiring, sensors or rules may be drawn, or left
    out."""
    return as_yaml(Draw(source).tree())


class Draw:
    """One oven being drawn. Sizes in m, temperatures in °C, powers in W."""

    def __init__(self, source):
        self.chance = chance = Chance(source)
        self.spell = Spelling(chance, chance.one("metric", "imperial", "mixed"))
        self.materials = Materials(chance, self.spell)
        low, high = chance.one(*KINDS)
        self.top_c = round(chance.among(low, high) / 5.0) * 5.0
        self.room_c = chance.among(-5.0, 35.0) if chance.yes(0.3) else 20.0
        size = chance.log(0.1, 1.0) if self.top_c < 450.0 else chance.log(0.1, 0.6)
        self.size = [size * chance.log(0.7, 1.5) for _ in range(3)]
        self.opens_at_top = chance.yes(0.3)
        width, depth, height = self.size
        self.inside_m2 = 2.0 * (width * depth + width * height + depth * height)
        self.loss_w = self.stored_j = 0.0

    def tree(self) -> dict:
        chance, spell = self.chance, self.spell
        width, depth, height = self.size
        tree: dict = {
            "oven": "Drawn oven",
            "chamber": {"width": spell.length(width), "depth": spell.length(depth), "height": spell.length(height)},
        }
        if self.opens_at_top or chance.yes(0.5):
            tree["chamber"]["opening"] = "top" if self.opens_at_top else "front"
        if chance.yes(0.3):
            tree["chamber"]["emissivity"] = chance.one(0.85, 0.6, "90 %", 0.3, 0.75)
        tree["walls"] = self.walls()
        if self.materials.made:
            tree["materials"] = self.materials.made
        for name, part in (
            ("bridges", self.bridges()),
            ("door", self.door()),
            ("ports", self.ports()),
            ("fan", self.fan()),
            ("vent", self.vent()),
        ):
            if part:
                tree[name] = part
        for name, share in (("shelf", 0.4), ("usual load", 0.6)):
            if chance.yes(share):
                tree[name] = self.body(name)
        power, supply = self.power()
        tree["elements"], tree["supply"] = self.elements(power, supply[0]), self.supply(power, *supply)
        tree |= self.wiring(power, supply[0])
        tree["limits"] = self.limits()
        if self.room_c != 20.0:
            tree["site"] = {"ambient": spell.temperature(self.room_c)}
        if chance.yes(0.15):
            tree["uncertainty"] = {"conductivity": chance.one("10 %", 0.3, 0.05)}
        if chance.yes(0.4):
            tree["control"] = {"tick": chance.one("1 s", "2 s", "0.5 s", "1.5 s")}
            if chance.yes(0.3):
                tree["control"]["trim"] = chance.one(1, 0.5, 2)
        return tree

    # ---- body ------------------------------------------------------------------------------------------------------

    def walls(self) -> dict:
        chance = self.chance
        width, depth, height = self.size
        odd = chance.yes(0.12)
        sides = stack(chance, self.materials, self.top_c, self.room_c, odd)
        made = {"sides": spelled(sides, chance, self.spell)}
        areas = {
            "roof": width * depth,
            "floor": width * depth,
            "door": width * (depth if self.opens_at_top else height),
        }
        if self.opens_at_top:
            del areas["roof"]
        girth = 2.0 * (width + depth) if self.opens_at_top else width + 2.0 * depth
        faces: list[tuple[list[Piece], float]] = [(sides, girth * height)]
        for name, area in areas.items():
            pieces = sides
            if chance.yes(0.3):
                pieces = stack(chance, self.materials, self.top_c, self.room_c, chance.yes(0.15))
                made[name] = spelled(pieces, chance, self.spell)
            faces.append((pieces, area))
        for pieces, area in faces:
            thick = sum(p.thickness_m for p in pieces)
            middle = area + math.sqrt(area) * thick * 2.0  # edges and corners, about
            flux, stored, _ = estimate(pieces, self.top_c, self.room_c)
            self.loss_w += flux * middle
            self.stored_j += stored * middle
        return made

    def bridges(self) -> list[dict]:
        chance, made = self.chance, []
        for number in range(chance.one(0, 0, 1, 2, 3)):
            if chance.yes(0.4):
                count = chance.one(1, 1, 2, 6)
                each = chance.log(0.005, 0.4) * math.sqrt(max(self.size)) / count
                made.append(
                    {"name": f"frame {number + 1}", "conductance": self.spell.conductance(each)}
                    | ({"count": count} if count > 1 else {})
                )
                self.loss_w += each * count * (self.top_c - self.room_c)
            else:
                material, k = chance.one(("stainless steel", 20.0), ("steel", 45.0))
                count, area, length = chance.one(1, 2, 4, 8), chance.log(5e-6, 1e-4), chance.among(0.05, 0.25)
                made.append(
                    {
                        "name": f"bars {number + 1}",
                        "material": material,
                        "area": self.spell.area(area),
                        "length": self.spell.length(length),
                        "count": count,
                    }
                )
                self.loss_w += count * k * area / length * (self.top_c - self.room_c)
        return made

    def door(self) -> dict:
        made, chance = {}, self.chance
        if chance.yes(0.6):
            made["gap"] = self.spell.length(chance.log(0.0001, 0.0015)) if chance.yes(0.9) else "0 mm"
        if chance.yes(0.4):
            made["switch"] = chance.one(True, False)
        return made

    def ports(self) -> list[dict]:
        chance, made = self.chance, []
        for number in range(chance.one(0, 0, 0, 1, 2)):
            across, shut = chance.among(0.008, 0.04), not chance.yes(0.3)
            made.append({"name": f"port {number + 1}", "diameter": self.spell.length(across), "closed": shut})
            self.loss_w += (
                0.0
                if shut
                else math.pi / 4.0 * across**2 * 3e-8 * ((self.top_c + 273.0) ** 4 - (self.room_c + 273.0) ** 4)
            )
        return made

    def fan(self) -> dict:
        if not self.chance.yes(0.6 if self.top_c < 450.0 else 0.1):
            return {}
        watts = round(self.chance.log(5.0, 80.0) * min(1.0, max(self.size) / 0.4), 1)
        self.loss_w -= 0.5 * watts
        return {"air speed": self.spell.speed(self.chance.log(0.3, 6.0))} | (
            {"power": f"{watts} W"} if self.chance.yes(0.7) else {}
        )

    def vent(self) -> dict:
        if not self.chance.yes(0.35 if self.top_c < 450.0 else 0.15):
            return {}
        changes = self.chance.log(2.0, 60.0) / 3600.0
        flow = changes * math.prod(self.size)
        self.loss_w += flow * 1200.0 * (self.top_c - self.room_c)
        return {"flow": self.spell.flow(flow)} | (
            {"proved": self.chance.one(True, False)} if self.chance.yes(0.5) else {}
        )

    def body(self, name: str) -> dict:
        chance, spell, shelf = self.chance, self.spell, name == "shelf"
        material, _, density, heat = chance.one(
            *[row for row in LOAD_MATERIALS if row[1] >= self.top_c and (row[0] != "wood" or not shelf)]
            or [LOAD_MATERIALS[3]]
        )
        volume = math.prod(self.size)
        thick = chance.log(0.001, 0.02)
        # Plates, seen from both sides: not more of them than would leave the chamber mostly free.
        plates = chance.log(0.05, 1.0) * min(5.0 * volume, 0.4 * self.inside_m2)
        mass = plates * thick * density
        self.stored_j += mass * heat * (self.top_c - self.room_c)
        made = {"name": name, "mass": spell.mass(mass), "material": material, "area": spell.area(2.0 * plates)}
        if chance.yes(0.5):
            made["thickness"] = spell.length(thick)
        if chance.yes(0.4):
            made["emissivity"] = chance.one(0.8, 0.9, 0.3, "85 %")
        if not shelf and self.top_c < 300.0 and chance.yes(0.15):
            water = mass * chance.among(0.01, 0.1)
            self.stored_j += water * 2.5e6
            made["moisture"] = spell.mass(water)
        return made

    # ---- electric --------------------------------------------------------------------------------------------------

    def power(self) -> tuple[float, tuple[float, float]]:
        """Power that holds the top with a margin and gets there within 20 minutes to 4 hours; a supply that carries
        it."""
        chance, loss = self.chance, max(5.0, self.loss_w)
        wanted = max(loss * chance.among(1.15, 1.6), 0.7 * loss + 0.6 * self.stored_j / chance.log(1500.0, 14400.0))
        if chance.yes(0.06):
            wanted = loss * chance.among(0.6, 1.0)
        power = min(20000.0, max(20.0, wanted, 0.0), 20000.0 * self.inside_m2 + 1.2 * loss)
        fit = [s for s in VOLTAGES if 0.3 < power / s[0] < 63.0 and (s[0] > 48.0 or power < 400.0)]
        return power, chance.one(*fit or [(400.0, 50.0)])

    def elements(self, power: float, volts: float) -> dict:
        chance, spell = self.chance, self.spell
        cold = self.top_c < 420.0
        alloy = (
            chance.one("sheathed", "nickel-chromium")
            if cold
            else chance.one(*(["iron-chromium-aluminium"] * 2), *(["nickel-chromium"] if self.top_c < 950.0 else []))
        )
        made: dict = {"power": spell.power(power)}
        if chance.yes(0.4):
            made["groups"] = chance.whole(1, 4)
        if alloy != "sheathed" or chance.yes(0.6) or self.top_c > 390.0:
            made["alloy"] = alloy
        fade = 1.0 if self.top_c < 600.0 else 0.5 if self.top_c > 1100.0 else 0.75
        load = LOADS[alloy] * fade * chance.among(0.5, 1.3)
        told = chance.one("nothing", "wire", "mass and surface", "mass", "surface")
        if told == "wire" and alloy != "sheathed":
            across = (4.0 * RESISTIVITY[alloy] * power**2 / (math.pi**2 * volts**2 * load)) ** (1.0 / 3.0)
            across = min(0.006, max(0.0004, across))
            length = max(0.06, volts**2 / power * math.pi / 4.0 * across**2 / RESISTIVITY[alloy])  # the reader: 50 mm
        else:
            across = chance.among(0.006, 0.012) if alloy == "sheathed" else chance.among(0.0006, 0.003)
            length = power / (load * math.pi * across)
        if told != "wire":
            length = min(length, 0.35 * self.inside_m2 / (math.pi * across))
        surface = math.pi * across * length
        mass = math.pi / 4.0 * across**2 * length * DENSITY[alloy] * (chance.among(1.0, 3.0) if told != "wire" else 1.0)
        self.stored_j += mass * 600.0 * self.top_c
        if told == "wire":
            made |= {"wire diameter": spell.length(across), "wire length": f"{length:.2f} m"}
        if "mass" in told:
            made["mass"] = spell.mass(mass)
        if "surface" in told:
            made["surface"] = spell.area(surface)
        if chance.yes(0.15):
            made["emissivity"] = chance.one(0.8, 0.7, 0.9)
        if chance.yes(0.4):
            made["limit"] = spell.temperature(700.0 if cold else max(1100.0, self.top_c + 120.0))
        return made

    def supply(self, power: float, volts: float, hertz: float) -> dict:
        chance, amps = self.chance, power / volts
        made: dict = {"voltage": f"{volts:g} V", "frequency": f"{hertz:g} Hz"}
        if chance.yes(0.3):
            made["tolerance"] = chance.one("5 %", "10 %", 0.08)
        if chance.yes(0.5):
            made["breaker"] = f"{next((b for b in (6, 10, 16, 20, 25, 32, 40, 50, 63, 80) if b >= 1.2 * amps), 100)} A"
        if chance.yes(0.5):
            made["cable area"] = self.spell.cable(
                next((a for a in (1.5, 2.5, 4.0, 6.0, 10.0, 16.0) if 6.0 * a >= amps), 16.0) * 1e-6
            )
            made["cable length"] = self.spell.length(chance.among(2.0, 30.0))
        if chance.yes(0.4) or volts < 50.0:
            made["resistance"] = f"{0.02 * volts / max(amps, 2.0):.3f} ohm"
            made["reactance"] = f"{0.008 * volts / max(amps, 2.0):.3f} ohm"
        return made

    def wiring(self, power: float, volts: float) -> dict:
        chance, made = self.chance, {}
        if chance.yes(0.5):
            made["switching"] = {"pattern": chance.one("fine", "balanced", "quiet lights")}
            if chance.yes(0.3):
                made["switching"]["relays"] = chance.whole(1, 4)
            if chance.yes(0.4):
                made["switching"] |= {
                    "relay current": f"{max(10, math.ceil(2.2 * power / volts))} A",
                    "heat sink": f"{digits_of(30.0 * volts / power)} K/W",
                }
            if chance.yes(0.1):
                made["switching"]["minimum on"] = chance.one("0.5 s", "2 s", "5 s")
        sensors = {}
        if chance.yes(0.8):
            sensors["control"] = self.sensor()
        if chance.yes(0.5):
            sensors["limit"] = self.sensor()
        if chance.yes(0.25):
            sensors["part"] = self.sensor()
        if sensors:
            made["sensors"] = sensors
        if chance.yes(0.5):
            made["meters"] = {
                n: chance.one(True, False) for n in ("supply", "current", "contactor") if chance.yes(0.6)
            } or {"current": True}
        if chance.yes(0.06):
            made["safety"] = {chance.one("no rise", "bad reading", "purge", "sensors apart"): None}
            made["safety"] = {
                n: {
                    "no rise": "15 min",
                    "bad reading": "8 s",
                    "purge": "3 min",
                    "sensors apart": self.spell.difference(50.0),
                }[n]
                for n in made["safety"]
            }
        return made

    def sensor(self) -> dict:
        chance = self.chance
        types = (
            ["K"]
            + (["N"] if self.top_c < 1250.0 else [])
            + (["J", "E"] if self.top_c < 650.0 else [])
            + (["T"] if self.top_c < 300.0 else [])
            + (["S", "R"] if self.top_c > 600.0 else [])
        )
        made: dict = {"type": chance.one(*types)}
        if chance.yes(0.6):
            made["lag"] = self.spell.time(chance.log(2.0, 40.0))
        if chance.yes(0.5):
            made["dead time"] = self.spell.time(chance.log(0.5, 8.0))
        if chance.yes(0.5):
            made["noise"] = self.spell.difference(chance.log(0.03, 0.8))
        if chance.yes(0.4):
            made["front end"] = chance.one("max31856", "max31855")
        if chance.yes(0.1):
            off = chance.among(-3.0, 3.0)
            made["calibration"] = [
                {"reads": f"{t:.0f} °C", "is": f"{t + off:.1f} °C"} for t in (0.0, round(0.9 * self.top_c))
            ]
        return made

    def limits(self) -> dict:
        chance, spell = self.chance, self.spell
        made: dict = {"highest": spell.temperature(self.top_c)}
        trip = self.top_c + max(15.0, 0.02 * self.top_c)
        if chance.yes(0.3):
            trip = self.top_c + chance.among(8.0, 40.0)
            made["trip"] = f"{trip:.0f} °C"
        if chance.yes(0.6):
            made["limiter"] = spell.temperature(trip + chance.among(10.0, 35.0))
        if chance.yes(0.4):
            made["longest"] = chance.one("24 h", "48 h", "3 d")
        return made


def digits_of(value: float) -> str:
    return f"{min(45.0, max(0.05, value)):.2f}"
