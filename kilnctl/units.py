"""Quantities as people write them: `76 mm`, `3 1/2 in`, `1 h 30 min`, `0.27 BTU·in/(h·ft²·°F)`, `R-13`, `350 °F`.

`parse(text, dimension)` returns a float in the SI unit of that dimension (temperatures in °C). A bare number is refused
wherever a unit matters. Conversion factors are the exact ones of NIST SP 811 (2008), appendix B; BTU and calorie are
the International Table ones. They stand here as numbers, compared with scipy's by a test: the process that heats
imports no scipy.

Trade strings put everything behind the first slash below the line: `W/m·K` and `BTU-in/hr-ft2-F` are read as the
trade reads them, W/(m·K) and BTU·in/(h·ft²·°F). The result's dimension is checked, so a slip is noticed.
What is sold by a number instead of a unit (wire and sheet gauges, R-values) is in `gauges`.
"""

import difflib
import math
import re
from dataclasses import dataclass

from .gauges import GaugeError, by_number

_INCH, _FOOT, _POUND, _OUNCE = 0.0254, 0.3048, 0.45359237, 0.45359237 / 16.0
_MINUTE, _HOUR, _DAY = 60.0, 3600.0, 86400.0
_BTU, _CALORIE, _HORSEPOWER = 1055.05585262, 4.1868, 550.0 * 0.3048 * 0.45359237 * 9.80665
_FAHRENHEIT, ZERO_C = 5.0 / 9.0, 273.15

# Exponents of (metre, kilogram, second, kelvin, ampere, mole).
_NONE = (0, 0, 0, 0, 0, 0)
_M, _KG, _S, _K, _A, _MOL = (tuple(int(i == j) for j in range(6)) for i in range(6))
_JOULE, _WATT, _VOLT = (2, 1, -2, 0, 0, 0), (2, 1, -3, 0, 0, 0), (2, 1, -3, 0, -1, 0)
_OHM, _PASCAL, _HERTZ = (2, 1, -3, 0, -2, 0), (-1, 1, -2, 0, 0, 0), (0, 0, -1, 0, 0, 0)


@dataclass(frozen=True)
class Dimension:
    """One kind of quantity: its SI unit as printed, its exponents, and how a user might write one."""

    unit: str
    exponents: tuple[int, ...]
    example: str


DIMENSIONS = {
    "length": Dimension("m", _M, "76 mm or 3 in"),
    "area": Dimension("m²", (2, 0, 0, 0, 0, 0), "0.25 m² or 40 in²"),
    "volume flow": Dimension("m³/s", (3, 0, -1, 0, 0, 0), "2 m³/h or 5 cfm"),
    "speed": Dimension("m/s", (1, 0, -1, 0, 0, 0), "2 m/s or 400 ft/min"),
    "mass": Dimension("kg", _KG, "4 kg or 9 lb"),
    "density": Dimension("kg/m³", (-3, 1, 0, 0, 0, 0), "128 kg/m³ or 8 lb/ft³"),
    "time": Dimension("s", _S, "12 min or 1 h 30 min"),
    "temperature": Dimension("°C", _K, "200 °C or 392 °F"),
    "difference": Dimension("K", _K, "3 K or 5 °F"),
    "rate": Dimension("K/s", (0, 0, -1, 1, 0, 0), "150 °C/h or 5 °F/min"),
    "power": Dimension("W", _WATT, "2.8 kW"),
    "energy": Dimension("J", _JOULE, "5 kWh"),
    "conductivity": Dimension("W/(m·K)", (1, 1, -3, -1, 0, 0), "0.12 W/(m·K) or 0.83 BTU·in/(h·ft²·°F)"),
    "insulance": Dimension("m²·K/W", (0, -1, 3, 1, 0, 0), "2.3 m²·K/W or R-13 or RSI-2.3"),
    "film": Dimension("W/(m²·K)", (0, 1, -3, -1, 0, 0), "10 W/(m²·K)"),
    "conductance": Dimension("W/K", (2, 1, -3, -1, 0, 0), "0.4 W/K"),
    "thermal resistance": Dimension("K/W", (-2, -1, 3, 1, 0, 0), "1.5 K/W"),
    "heat capacity": Dimension("J/(kg·K)", (2, 0, -2, -1, 0, 0), "900 J/(kg·K) or 0.22 BTU/(lb·°F)"),
    "latent heat": Dimension("J/kg", (2, 0, -2, 0, 0, 0), "2260 kJ/kg"),
    "molar energy": Dimension("J/mol", (2, 1, -2, 0, 0, -1), "80 kJ/mol"),
    "surface load": Dimension("W/m²", (0, 1, -3, 0, 0, 0), "3 W/cm²"),
    "voltage": Dimension("V", _VOLT, "230 V or 240 V"),
    "current": Dimension("A", _A, "16 A"),
    "i2t": Dimension("A²·s", (0, 0, 1, 0, 2, 0), "1200 A²s"),
    "electrical resistance": Dimension("ohm", _OHM, "0.4 ohm"),
    "resistivity": Dimension("ohm·m", (3, 1, -3, 0, -2, 0), "1.45e-6 ohm·m"),
    "frequency": Dimension("Hz", _HERTZ, "50 Hz or 60 Hz"),
    "pressure": Dimension("Pa", _PASCAL, "101 kPa"),
    "fraction": Dimension("1", _NONE, "0.9 or 15 %"),
}


def _table() -> dict[str, tuple[float, tuple[int, ...]]]:
    units: dict[str, tuple[float, tuple[int, ...]]] = {}

    def put(factor: float, exponents: tuple[int, ...], *names: str) -> None:
        for name in names:
            units[name] = (factor, exponents)

    put(1.0, _M, "m", "metre", "metres", "meter", "meters")
    put(1e-2, _M, "cm")
    put(1e-3, _M, "mm")
    put(1e-6, _M, "µm", "um")
    put(_INCH, _M, "in", "inch", "inches", '"', "″")
    put(_FOOT, _M, "ft", "foot", "feet", "'", "′")
    put(1e-3 * _INCH, _M, "mil", "mils", "thou")
    put(1e-3, (3, 0, 0, 0, 0, 0), "l", "L", "litre", "litres", "liter", "liters")
    put(_FOOT**3 / 60.0, (3, 0, -1, 0, 0, 0), "cfm", "CFM")
    put(1.0, _KG, "kg")
    put(1e-3, _KG, "g")
    put(1e3, _KG, "t")
    put(_POUND, _KG, "lb", "lbs", "pound", "pounds")
    put(_POUND / _FOOT**3, (-3, 1, 0, 0, 0, 0), "pcf", "PCF")
    put(_OUNCE, _KG, "oz", "ounce", "ounces")
    put(1.0, _S, "s", "sec", "second", "seconds")
    put(1e-3, _S, "ms")
    put(_MINUTE, _S, "min", "mins", "minute", "minutes")
    put(_HOUR, _S, "h", "hr", "hrs", "hour", "hours")
    put(_DAY, _S, "d", "day", "days")
    put(1.0, _K, "K", "°C", "C", "degC", "℃", "ΔK", "Δ°C", "ΔC", "C°")
    put(_FAHRENHEIT, _K, "°F", "F", "degF", "℉", "Δ°F", "ΔF", "F°", "°R")
    put(1.0, _A, "A", "amp", "amps")
    put(1e-3, _A, "mA")
    put(1.0, _MOL, "mol")
    put(1.0, _JOULE, "J")
    put(1e3, _JOULE, "kJ")
    put(1e6, _JOULE, "MJ")
    put(_BTU, _JOULE, "BTU", "Btu", "btu")
    put(_CALORIE, _JOULE, "cal")
    put(1e3 * _CALORIE, _JOULE, "kcal")
    put(_HOUR, _JOULE, "Wh")
    put(1e3 * _HOUR, _JOULE, "kWh")
    put(1.0, _WATT, "W", "watt", "watts")
    put(1e3, _WATT, "kW")
    put(1e-3, _WATT, "mW")
    put(_HORSEPOWER, _WATT, "hp")
    put(1.0, _VOLT, "V", "volt", "volts")
    put(1e-3, _VOLT, "mV")
    put(1.0, _OHM, "ohm", "ohms", "Ω", "Ω")
    put(1e-3, _OHM, "mohm", "mΩ")
    put(1.0, _HERTZ, "Hz", "hertz")
    put(1.0, _PASCAL, "Pa")
    put(1e3, _PASCAL, "kPa")
    put(1e2, _PASCAL, "mbar", "hPa")
    put(1e5, _PASCAL, "bar")
    put(1.0, _NONE, "1")
    put(1e-2, _NONE, "%", "percent")
    return units


UNITS = _table()
_LOWER = {
    name.lower(): name
    for name in (
        "BTU",
        "kWh",
        "kW",
        "Hz",
        "mm",
        "cm",
        "ft",
        "in",
        "lb",
        "kg",
        "AWG",
        "min",
        "hr",
        "hours",
        "minutes",
        "seconds",
        "degC",
        "degF",
        "litre",
        "ohm",
        "Wh",
        "V",
        "W",
    )
}
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹⁻", "0123456789-")
_NUMBER = re.compile(r"[-+±−]?\s*(?:\d+(?:\s+|-)\d+/\d+|\d+/\d+|(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)")
_TOKEN = re.compile(
    r"\s*(?:(?P<unit>Δ?°?[A-Za-zµΩΩ℃℉%]+°?|[\"″'′])(?:\^|\*\*)?(?P<power>-?\d+)?|(?P<op>[·⋅*×/()\-.])|(?P<one>1))"
)
#: `3'000` and `3 000`: one number to its writer, and three feet, or a number without a unit, to a reader of units. Feet
#: and inches (6'2") never have three digits there.
_SPLIT_NUMBER = re.compile(r"\d(?:['’ʼ′]|\s)\d{3}(?!\d)")
#: Where the next number with a unit of its own begins: `2 ft 6 1/2 in`, `1 h 30 min`, `6' 2"`.
_NEXT = re.compile(r"\s+(?=(?:\d+(?:\s+|-)\d+/\d+|\d+/\d+|\d+\.?\d*)\s*[A-Za-z\"″'′])")
_FRACTIONS = {
    "¼": "1/4",
    "½": "1/2",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅓": "1/3",
    "⅔": "2/3",
}
#: A number with one comma or point before three digits: 1.000 is one in English and a thousand in German.
_DOT_THOUSAND = re.compile(r"[-+±−]?\s*[1-9]\d{0,2}\.\d{3}(?!\d)")
#: Dimensions in which both readings are plausible, each with the largest value that still is, in the unit as written.
_EITHER = {("temperature", ""): 3500.0, ("rate", ""): 5000.0, ("density", "kg/m³"): 20000.0, ("power", "W"): 20000.0}


class UnitError(ValueError):
    """The text is not a quantity of the wanted dimension; the message says what was expected."""


class UnknownUnitError(UnitError):
    """No unit has this name or one like it."""


def _unit(symbol: str) -> tuple[float, tuple[int, ...]]:
    found = UNITS.get(symbol) or UNITS.get(_LOWER.get(symbol.lower(), ""))
    if found:
        return found
    if symbol.lower() in ("deg", "degree", "degrees", "°"):
        raise UnknownUnitError(f"'{symbol}' says no scale")
    near = difflib.get_close_matches(symbol, [name for name in UNITS if len(name) > 1], 1, 0.6)
    if near:
        raise UnitError(f"unknown unit '{symbol}'; did you mean '{near[0]}'?")
    raise UnknownUnitError(f"unknown unit '{symbol}'")


def _scale_letters(text: str) -> str:
    """The scales of temperature that are written out, as their letters."""
    for written, letter in (("celsius", "C"), ("fahrenheit", "F"), ("kelvin", "K")):
        text = re.sub(rf"\b{written}\b", letter, text, flags=re.IGNORECASE)
    return text


def parse_unit(text: str) -> tuple[float, tuple[int, ...]]:
    """Factor to SI and dimension exponents of a unit expression; raises `UnitError`."""
    # A minus that belongs to an exponent (m⁻¹, m^-1) must not be taken for the hyphen of "BTU-in".
    text = re.sub(r"([⁰¹²³⁴⁵⁶⁷⁸⁹⁻]+)", lambda m: "^" + m[1].translate(_SUPERSCRIPTS), text.strip())
    text = re.sub(r"\bper\b", "/", text)
    text = re.sub(r"\b(?:sq\.?|square)\s*(ft|foot|feet|in|inch|inches|m)\b", r"\1^2", text)
    text = re.sub(r"\b(?:cu\.?|cubic)\s*(ft|foot|feet|in|inch|inches|m)\b", r"\1^3", text)
    text = re.sub(r"\bdeg(?:rees?)?\.?\s*([CF])\b", r"°\1", _scale_letters(text))
    # "J/kgK" and "BTU/lb°F" are how many data sheets print J/(kg·K) and BTU/(lb·°F).
    text = re.sub(r"\b(kg|g|lb)(K|°?[CF])\b", r"\1·\2", text)
    text = re.sub(r"(?<=[A-Za-z°])(\d)", r"^\1", text)
    factor, exponents, sign, position, seen, depth = 1.0, [0] * 6, 1, 0, False, 0
    while position < len(text):
        match = _TOKEN.match(text, position)
        if not match:
            raise UnknownUnitError(f"cannot read the unit '{text.strip()}'")
        position = match.end()
        if match["op"]:
            if match["op"] == "/":
                sign = -1
            depth += (match["op"] == "(") - (match["op"] == ")")
            if depth < 0:
                raise UnitError(f"unbalanced bracket in the unit '{text.strip()}'")
        elif match["unit"]:
            symbol = match["unit"]
            if symbol in ("mK",) and sign < 0:  # "W/mK" is how many data sheets print W/(m·K)
                parts = ["m", "K"]
            else:
                parts = [symbol]
            power = sign * int(match["power"] or 1)
            if power == 0 or not -6 <= power <= 6:
                raise UnitError(f"unit power {power} is not plausible in '{text.strip()}'")
            for part in parts:
                part_factor, part_exponents = _unit(part)
                factor *= part_factor**power
                exponents = [e + power * p for e, p in zip(exponents, part_exponents, strict=True)]
            seen = True
        elif match["one"]:
            seen = True
    if not seen or depth:
        raise UnitError(f"cannot read the unit '{text.strip()}'")
    return factor, tuple(exponents)


def _number(text: str) -> float:
    text = text.replace("−", "-").replace("±", "").strip()
    sign = -1.0 if text.startswith("-") else 1.0
    text = text.lstrip("+- ")
    if "/" in text:
        whole, _, fraction = text.replace("-", " ").rpartition(" ")
        top, bottom = fraction.split("/")
        if int(bottom) == 0:
            raise UnitError("a fraction has a zero below the line")
        return sign * (float(whole or 0) + int(top) / int(bottom))
    return sign * float(text)


def _kelvin_to_c(value: float) -> float:
    return value - ZERO_C


_TEMPERATURE_SCALES = {
    "°C": float,
    "C": float,
    "degC": float,
    "℃": float,
    "deg C": float,
    "°F": lambda v: (v - 32.0) * _FAHRENHEIT,
    "F": lambda v: (v - 32.0) * _FAHRENHEIT,
    "K": _kelvin_to_c,
}
_TEMPERATURE_SCALES["degF"] = _TEMPERATURE_SCALES["℉"] = _TEMPERATURE_SCALES["deg F"] = _TEMPERATURE_SCALES["F"]


def _temperature(value: float, unit: str) -> float:
    unit = re.sub(r"^degrees?\s*", "deg ", _scale_letters(unit.strip()))
    unit = re.sub(r"^(deg|°)\s+", r"\1 ", unit).replace("° ", "°")
    if unit not in _TEMPERATURE_SCALES:
        raise UnitError(f"a temperature wants °C, °F or K, not '{unit}'")
    celsius = _TEMPERATURE_SCALES[unit](value)
    if celsius < -ZERO_C:
        raise UnitError(f"{value:g} {unit} is below absolute zero")
    return celsius


def _spelt(text: str, dimension: str) -> str:
    """The text with the blanks and fractions written out that people leave away: `1h30min`, `6'2"`, `1½ in`."""
    for sign, written in _FRACTIONS.items():
        text = text[:1].replace(sign, written) + text[1:].replace(sign, f" {written}")
    if dimension == "time":
        text = re.sub(r"(?<=[A-Za-z])(?=\d)", " ", text)
    if dimension == "length":
        text = re.sub(r"(?<=['′])\s*-?\s*(?=\d)", " ", text)
    return text.removeprefix("Δ") if dimension == "difference" else text


def _refuse_thousand(number: str, unit: str, dimension: str) -> None:
    """Raises `UnitError` for `1.000 °C`, which is one degree to some readers and a thousand to others. `2.500 in` can
    be read in one way only."""
    highest = _EITHER.get((dimension, ""), _EITHER.get((dimension, unit)))
    if highest is None or not _DOT_THOUSAND.fullmatch(number.strip()) or 1000.0 * abs(_number(number)) > highest:
        return
    small = _number(number)
    raise UnitError(
        f"'{number.strip()} {unit}' can be read as {small:g} {unit} or as {1000.0 * small:g} {unit}; write the one "
        "that is meant, without three decimals and without a thousands separator"
    )


def parse(text: str, dimension: str) -> float:
    """Value of `text` in the SI unit of `dimension` (a key of `DIMENSIONS`); temperatures in °C.

    Raises `UnitError` for a missing, unknown or wrong unit, NaN and infinity.
    """
    wanted = DIMENSIONS[dimension]
    text = text.strip()
    try:
        sold = by_number(text, dimension)
    except GaugeError as error:
        raise UnitError(str(error)) from None
    if sold is not None:
        return sold
    if _SPLIT_NUMBER.search(text):
        raise UnitError(f"'{text}': write each number in one piece, without a thousands separator")
    text = _spelt(text, dimension)
    total, position, pieces = 0.0, 0, 0
    while position < len(text):
        match = _NUMBER.match(text, position)
        if not match:
            raise UnitError(f"'{text}' is not a number with a unit; write for example {wanted.example}")
        following = _NEXT.search(text, match.end())
        end = following.start() if following else len(text)
        unit = text[match.end() : end].strip()
        _refuse_thousand(match[0], unit, dimension)
        if unit.startswith(","):
            raise UnitError(f"'{text}': write a decimal point, and no thousands separator")
        if not unit and wanted.exponents != _NONE:
            raise UnitError(f"'{text}' has no unit; write for example {wanted.example}")
        try:
            total += _in_si(_number(match[0]), unit, dimension)
        except UnknownUnitError as error:
            raise UnitError(f"{error}; write for example {wanted.example}") from None
        pieces += 1
        position = end + (len(following[0]) if following else 0)
    if pieces == 0:
        raise UnitError(f"nothing is given; write for example {wanted.example}")
    if pieces > 1 and dimension not in ("time", "length", "mass"):
        raise UnitError(f"'{text}' holds more than one number; write for example {wanted.example}")
    if not math.isfinite(total):
        raise UnitError(f"'{text}' is not a finite number")
    return total


def _in_si(value: float, unit: str, dimension: str) -> float:
    """One number with its unit; without one it is a plain number."""
    if not unit:
        return value
    if dimension == "temperature":
        return _temperature(value, unit)
    wanted = DIMENSIONS[dimension]
    factor, exponents = parse_unit(unit)
    if exponents != wanted.exponents:
        raise UnitError(f"'{unit}' is not a unit of {dimension}; write for example {wanted.example}")
    return value * factor
