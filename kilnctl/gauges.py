"""What the trade sells by a number instead of a unit: wire and sheet by gauge, insulation by R-value. `units.parse`
asks here first.

Wire: ASTM B258 (American wire gauge), d = 0.127 mm · 92^((36 − n)/39). Sheet: the gauge's weight in ounces to the
square foot (15 U.S.C. 206) over the weight of a sheet one inch thick: 41.82 lb/ft² for steel (Manufacturers' Standard
Gauge), 40 lb/ft² for stainless sheet, which kept the law's own thicknesses; galvanised sheet is steel and 0.0037 in of
zinc; aluminium goes by the wire gauge (common practice, from memory).
"""

import math
import re

_INCH = 0.0254
#: Gauge → ounces to the square foot, 15 U.S.C. 206.
_OUNCES = {
    **{gauge: 160 - 10 * (gauge - 3) for gauge in range(3, 15)},
    15: 45,
    16: 40,
    17: 36,
    18: 32,
    19: 28,
    20: 24,
    21: 22,
    22: 20,
    23: 18,
    24: 16,
    25: 14,
    26: 12,
    27: 11,
    28: 10,
    29: 9,
    30: 8,
}
_AWG = re.compile(r"(?:(?P<aught>[1-4])/0|(?P<zeros>0{1,4})|(?P<number>[1-9]\d?))\s*AWG", re.IGNORECASE)
_GAUGE = re.compile(r"(?P<number>\d{1,2})[\s-]*(?:gauge|ga)\b\.?\s*(?P<what>.*)", re.IGNORECASE)
_R_VALUE = re.compile(r"(?P<si>RSI|R)[-\s]?(?P<value>\d+\.?\d*|\.\d+)")
_SHEETS = {
    "steel": "steel",
    "sheet": "steel",
    "sheet steel": "steel",
    "steel sheet": "steel",
    "carbon steel": "steel",
    "mild steel": "steel",
    "stainless": "stainless",
    "stainless steel": "stainless",
    "stainless sheet": "stainless",
    "galvanized": "galvanized",
    "galvanised": "galvanized",
    "galvanized steel": "galvanized",
    "galvanised steel": "galvanized",
    "aluminum": "aluminium",
    "aluminium": "aluminium",
    "aluminum sheet": "aluminium",
    "aluminium sheet": "aluminium",
}
_SPELLINGS = (
    "'{n} gauge steel', '{n} gauge stainless', '{n} gauge galvanized', '{n} gauge aluminum', '{n} AWG' for wire, "
    "or the thickness itself"
)


class GaugeError(ValueError):
    """A gauge number that can mean several things; the message says what to write."""


def wire_diameter_m(gauge: int) -> float:
    """Diameter of American wire gauge `gauge`, m; 1/0 to 4/0 are 0 to −3 (ASTM B258). Raises ValueError outside 4/0 to
    56."""
    if not -3 <= gauge <= 56:
        raise ValueError(f"gauge = {gauge}: AWG goes from 4/0 to 56")
    return 0.127e-3 * 92.0 ** ((36 - gauge) / 39.0)


def nearest_awg(area_m2: float) -> str:
    """The American wire gauge whose section is nearest to area_m2, m², such as "14 AWG" or "2/0 AWG"; inverse of ASTM
    B258's formula."""
    n = max(-3, min(56, round(36.0 - 39.0 * math.log(math.sqrt(4.0 * area_m2 / math.pi) / 0.127e-3, 92.0))))
    return f"{n} AWG" if n > 0 else f"{1 - n}/0 AWG"


def sheet_thickness_m(gauge: int, what: str) -> float:
    """Thickness of sheet of that gauge, m; `what` is "steel", "stainless", "galvanized" or "aluminium". Raises
    GaugeError for a gauge that is not made."""
    if what == "aluminium" and 1 <= gauge <= 40:
        return wire_diameter_m(gauge)
    # 15 U.S.C. 206 for steel from gauge 3, galvanised sheet from 8 to 30; aluminium by the wire gauge, 1 to 40.
    low = 8 if what == "galvanized" else 3
    if what == "aluminium" or not low <= gauge <= 30:
        raise GaugeError(
            f"{what} sheet is sold in gauges {1 if what == 'aluminium' else low} to "
            f"{40 if what == 'aluminium' else 30}, not {gauge}; write its thickness, such as 1.5 mm or 1/16 in"
        )
    pounds_per_inch = 40.0 if what == "stainless" else 41.82
    return _INCH * (_OUNCES[gauge] / 16.0 / pounds_per_inch + (0.0037 if what == "galvanized" else 0.0))


def _awg_number(match: re.Match[str]) -> int:
    """The gauge of a match of _AWG: 2/0 and 00 are −1."""
    if match["aught"]:
        return 1 - int(match["aught"])
    return 1 - len(match["zeros"]) if match["zeros"] else int(match["number"])


def by_number(text: str, dimension: str) -> float | None:
    """SI value of a gauge or R-value, or None where `text` is none. `20 AWG` is a section where an area is wanted, a
    diameter where a length is. Raises GaugeError for a gauge that can mean several things."""
    if dimension == "insulance" and (match := _R_VALUE.fullmatch(text)):
        # 1 h·ft²·°F/BTU in m²·K/W (NIST SP 811); RSI is SI already.
        return float(match["value"]) * (1.0 if match["si"] == "RSI" else 0.3048**2 * 3600.0 / 1.8 / 1055.05585262)
    if dimension not in ("area", "length"):
        return None
    if match := _AWG.fullmatch(text):
        number = _awg_number(match)
        if number > 56:
            raise GaugeError(f"'{text}': AWG goes from 4/0 to 56")
        diameter = wire_diameter_m(number)
        return diameter if dimension == "length" else math.pi / 4.0 * diameter**2
    if not (match := _GAUGE.fullmatch(text)):
        return None
    what, spellings = " ".join(match["what"].lower().split()), _SPELLINGS.format(n=match["number"])
    if dimension == "area":
        raise GaugeError(f"'{text}' is no area; wire is written '{match['number']} AWG'")
    if what not in _SHEETS:
        raise GaugeError(f"'{text}' is not one thickness: gauges of sheet metals and of wire differ. Write {spellings}")
    return sheet_thickness_m(int(match["number"]), _SHEETS[what])
