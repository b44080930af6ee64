"""Quantities: what the trade writes, checked against an independent units package and printed factors."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import constants

from kilnctl.gauges import nearest_awg
from kilnctl.units import DIMENSIONS, UNITS, UnitError, parse, parse_unit

WRITINGS_OF_THE_TRADE_CONDUCTIVITY = [
    "BTU·in/(h·ft²·°F)",
    "BTU-in/hr-ft2-F",
    "Btu in/(hr ft^2 F)",
    "BTU in/hr ft² °F",
    "BTU·in/h·ft²·°F",
    "btu-in/(hr-ft2-F)",
    "BTU*in/(h*ft^2*degF)",
    "BTU in per hour sq ft °F",
    "BTU·in·h⁻¹·ft⁻²·°F⁻¹",
    "BTU-in/(hr·sq ft·deg F)",
    "BTU-in/ft2-hr-°F",
]


@pytest.mark.parametrize("unit", WRITINGS_OF_THE_TRADE_CONDUCTIVITY)
def test_imperial_conductivity_against_the_printed_factor(unit):
    # 1 BTU·in/(h·ft²·°F) = 0.14422789 W/(m·K), International Table BTU (NIST SP 811, appendix B).
    assert parse(f"1 {unit}", "conductivity") == pytest.approx(0.14422789, abs=5e-9)


@pytest.mark.parametrize(
    "unit", ["W/(m·K)", "W/m·K", "W/mK", "W/m K", "W/m-K", "W m^-1 K^-1", "W·m⁻¹·K⁻¹", "W/(m °C)", "W per m K"]
)
def test_metric_conductivity_as_sheets_print_it(unit):
    assert parse(f"0.2 {unit}", "conductivity") == pytest.approx(0.2, rel=1e-12)


@pytest.mark.parametrize(
    ("written", "dimension", "expected", "source"),
    [
        ("1 BTU/(h·ft²·°F)", "film", 5.678263, "NIST SP 811"),
        ("R-1", "insulance", 0.17611018, "NIST SP 811: 1 h·ft²·°F/BTU"),
        ("R 13", "insulance", 13 * 0.17611018, "NIST SP 811"),
        ("1 BTU/(lb·°F)", "heat capacity", 4186.8, "exact by definition of the International Table BTU"),
        ("1 BTU/h", "power", 0.29307107, "NIST SP 811"),
        ("1 kcal/(m·h·°C)", "conductivity", 1.163, "International Table calorie, exact"),
        ("8 lb/ft³", "density", 128.14770, "NIST SP 811"),
        ("14 AWG", "area", 2.08091e-6, "ASTM B258: 2.08 mm²"),
        ("1 cfm", "volume flow", 4.719474e-4, "NIST SP 811"),
    ],
)
def test_factor_against_published_tables(written, dimension, expected, source):
    assert parse(written, dimension) == pytest.approx(expected, rel=2e-7 if "AWG" not in written else 2e-6), source


def test_every_unit_against_pint():
    pint = pytest.importorskip("pint", reason="Pint is an independent reference, in the test extra")
    registry = pint.UnitRegistry()
    # Pint's names for ours; its BTU is rounded (1.4e-7) and its calorie is the thermochemical one, so those are left to
    # the tables above.
    names = {
        "in": "inch",
        "ft": "foot",
        "lb": "pound",
        "oz": "ounce",
        "h": "hour",
        "min": "minute",
        "K": "kelvin",
        "°F": "delta_degF",
        "°C": "delta_degC",
        "L": "litre",
        "hp": "hp",
        "Wh": "watt_hour",
        "kWh": "kilowatt_hour",
        "V": "volt",
        "mV": "millivolt",
        "A": "ampere",
        "ohm": "ohm",
        "Hz": "hertz",
        "bar": "bar",
        "mbar": "millibar",
        "W": "watt",
        "kW": "kilowatt",
        "J": "joule",
        "mm": "millimetre",
        "cm": "centimetre",
        "m": "metre",
        "kg": "kilogram",
        "g": "gram",
        "t": "tonne",
        "d": "day",
        "cfm": "foot**3/minute",
        "Pa": "pascal",
        "%": "percent",
        "mol": "mole",
        "MJ": "megajoule",
    }
    for ours, theirs in names.items():
        reference = registry.Quantity(1.0, theirs).to_base_units().magnitude
        assert UNITS[ours][0] == pytest.approx(reference, rel=1e-9), ours


def test_temperature_scales():
    assert parse("350 °F", "temperature") == pytest.approx(176.6666667)
    assert parse("-40 F", "temperature") == pytest.approx(-40.0)
    assert parse("273.15 K", "temperature") == pytest.approx(0.0)
    assert parse("200 degrees C", "temperature") == 200.0


def test_a_temperature_and_a_difference_are_not_the_same():
    assert parse("9 °F", "difference") == pytest.approx(5.0)
    assert parse("9 °F", "temperature") == pytest.approx(-12.7777778)
    with pytest.raises(UnitError):
        parse("5 Δ°F", "temperature")
    with pytest.raises(UnitError):
        parse("5 K/s", "temperature")
    assert parse("300 °F/h", "rate") == pytest.approx(300 / 1.8 / 3600)


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("1 h 30 min", 5400),
        ("1h30min", 5400),
        ("90 min", 5400),
        ("2 hours", 7200),
        ("45 s", 45),
        ("1.5 h", 5400),
        ("1 d", 86400),
    ],
)
def test_times_as_people_say_them(written, expected):
    assert parse(written, "time") == pytest.approx(expected)


@pytest.mark.parametrize(
    ("written", "expected"), [("3 1/2 in", 0.0889), ("1/4 in", 0.00635), ("2 ft 6 in", 0.762), ('3"', 0.0762)]
)
def test_lengths_as_carpenters_write_them(written, expected):
    assert parse(written, "length") == pytest.approx(expected)


@pytest.mark.parametrize(
    ("written", "dimension", "part"),
    [
        ("76", "length", "no unit"),
        ("nan mm", "length", "not a number"),
        ("inf mm", "length", "not a number"),
        ("1e400 m", "length", "finite"),
        ("1,5 mm", "length", "decimal point"),
        ("5 kilo", "mass", "unknown unit 'kilo'; write for example .*kg"),
        ("5 kg", "length", "not a unit of length"),
        ("-300 °C", "temperature", "absolute zero"),
        ("", "power", "nothing"),
        ("3 4 mm", "power", "has no unit"),
        ("200", "temperature", "no unit"),
        ("5 W/(m", "conductivity", "cannot read"),
        ("5 W)", "power", "unbalanced"),
        ("1/0 in", "length", "zero below"),
        ("20 °C 30 °C", "temperature", "°C, °F or K"),
        ("2 W 3 W", "power", "more than one"),
        ("5 m999", "length", "not plausible"),
        ("1 mmm", "length", "did you mean 'mm'"),
        ("ten kW", "power", "not a number"),
        ("--5 mm", "length", "not a number"),
        ("0x10 mm", "length", "not plausible"),
    ],
)
def test_refused_with_a_reason(written, dimension, part):
    with pytest.raises(UnitError, match=part):
        parse(written, dimension)


@pytest.mark.parametrize("name", DIMENSIONS)
def test_every_example_in_a_message_can_be_read(name):
    for example in DIMENSIONS[name].example.split(" or "):
        assert math.isfinite(parse(example, name))
    if DIMENSIONS[name].unit != "1" and name != "temperature":
        factor, exponents = parse_unit(DIMENSIONS[name].unit)
        assert (factor, exponents) == (pytest.approx(1.0), DIMENSIONS[name].exponents)


@given(st.floats(1e-6, 1e6), st.sampled_from(["mm", "cm", "m", "in", "ft"]))
def test_value_survives_writing_and_reading(value, unit):
    assert parse(f"{value!r} {unit}", "length") == pytest.approx(value * UNITS[unit][0], rel=1e-12)


@given(st.text(max_size=40), st.sampled_from(sorted(DIMENSIONS)))
def test_any_text_is_read_or_refused(text, dimension):
    try:
        value = parse(text, dimension)
    except UnitError as error:
        assert str(error)
    else:
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("written", "dimension", "name"),
    [
        ("1 in", "length", "inch"),
        ("1 ft", "length", "foot"),
        ("1 lb", "mass", "pound"),
        ("1 oz", "mass", "oz"),
        ("1 BTU", "energy", "Btu"),
        ("1 cal", "energy", "calorie_IT"),
        ("1 hp", "power", "hp"),
        ("1 °F", "difference", "degree_Fahrenheit"),
        ("1 h", "time", "hour"),
        ("1 d", "time", "day"),
        ("1 min", "time", "minute"),
    ],
)
def test_conversion_factors_against_scipy(written, dimension, name):
    """scipy.constants (NIST SP 811) on the factors that stand in the file as numbers."""
    assert parse(written, dimension) == pytest.approx(getattr(constants, name), rel=1e-14)


def test_zero_of_the_celsius_scale_against_scipy():
    assert parse("0 K", "temperature") == -constants.zero_Celsius


# ---- what the trade writes without a unit, or with a mark ------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "dimension", "expected", "source"),
    [
        ("1-1/2 in", "length", 1.5 * 0.0254, "exact"),
        ("3-1/2 in", "length", 3.5 * 0.0254, "exact"),
        ("1½ in", "length", 1.5 * 0.0254, "exact"),
        ("6'", "length", 6 * 0.3048, "exact"),
        ("6' 2\"", "length", 74 * 0.0254, "exact"),
        ("6'2\"", "length", 74 * 0.0254, "exact"),
        ("2 ft 6 1/2 in", "length", 30.5 * 0.0254, "exact"),
        ("1 mil", "length", 25.4e-6, "exact"),
        ("3 in.", "length", 0.0762, "exact"),
        ("RSI-2.3", "insulance", 2.3, "RSI is m²·K/W"),
        ("RSI 2.3", "insulance", 2.3, "RSI is m²·K/W"),
        ("8 pcf", "density", 128.14770, "NIST SP 811: lb/ft³"),
        ("1 Btu.in/ft2.hr.°F", "conductivity", 0.14422789, "NIST SP 811"),
        ("0.2 W/m.K", "conductivity", 0.2, "exact"),
        ("1/0 AWG", "area", 53.5e-6, "ASTM B258 table, from memory: 53.5 mm²"),
        ("4/0 AWG", "area", 107.2e-6, "ASTM B258 table: 107 mm²"),
        ("00 AWG", "area", 67.4e-6, "ASTM B258 table: 2/0 is 67.4 mm²"),
        ("20 AWG", "length", 0.812e-3, "ASTM B258 table: 0.812 mm"),
        ("16 gauge steel", "length", 0.0598 * 0.0254, "Manufacturers' Standard Gauge table, from memory"),
        ("16 ga sheet", "length", 0.0598 * 0.0254, "as before"),
        ("20-gauge steel", "length", 0.0359 * 0.0254, "as before"),
        ("10 ga steel", "length", 0.1345 * 0.0254, "as before"),
        ("18 gauge stainless", "length", 0.0500 * 0.0254, "US standard gauge, from memory"),
        ("16 gauge stainless steel", "length", 0.0254 / 16, "as before: 1/16 in"),
        ("18 gauge galvanized", "length", 0.0516 * 0.0254, "galvanised sheet gauge, from memory"),
        ("16 gauge aluminum", "length", 0.0508 * 0.0254, "Brown and Sharpe, from memory"),
    ],
)
def test_what_shops_sell_is_read_as_printed(written, dimension, expected, source):
    assert parse(written, dimension) == pytest.approx(expected, rel=1.5e-3), source


@pytest.mark.parametrize(
    ("written", "dimension", "part"),
    [
        ("16 ga", "length", "16 gauge steel"),
        ("16 gauge", "length", "16 AWG"),
        ("16 ga copper", "length", "not one thickness"),
        ("14 ga", "area", "14 AWG"),
        ("99 AWG", "area", "4/0 to 56"),
        ("40 gauge steel", "length", "gauges 3 to 30"),
        ("1.000 °C", "temperature", "1000 °C"),
        ("1.832 °F", "temperature", "1832 °F"),
        ("1.500 K/h", "rate", "1500 K/h"),
        ("1.000 kg/m³", "density", "1000 kg/m³"),
        ("3.000 W", "power", "3000 W"),
        # Each of these was read as the number before the mark (one kilogram, two hours), as feet to the power of 0.
        ("1'000 kg", "mass", "in one piece"),
        ("2'000 kg/m³", "density", "in one piece"),
        ("2’000 h", "time", "in one piece"),
        ("3'000 m³/h", "volume flow", "in one piece"),
        ("1'200 mm", "length", "in one piece"),
        ("100'000 Wh", "energy", "in one piece"),
        ("3 000 W", "power", "in one piece"),
        ("3\u202f000 W", "power", "in one piece"),
        ("1 200 mm", "length", "in one piece"),
        ("3 m0 W", "power", "power 0"),
    ],
)
def test_what_can_be_read_in_two_ways_is_refused_with_both(written, dimension, part):
    with pytest.raises(UnitError, match=part):
        parse(written, dimension)


@pytest.mark.parametrize(
    ("written", "dimension", "expected"),
    [
        ("0.125 in", "length", 0.003175),
        ("2.500 in", "length", 0.0635),
        ("3.000 kW", "power", 3000.0),
        ("25.000 °C", "temperature", 25.0),
        ("0.150 K", "difference", 0.15),
        ("1.005 kJ/(kg·K)", "heat capacity", 1005.0),
    ],
)
def test_three_decimals_that_can_only_be_decimals_stay(written, dimension, expected):
    assert parse(written, dimension) == pytest.approx(expected)


@given(st.integers(-3, 40))
def test_nearest_gauge_is_the_inverse_of_the_gauge(number):
    written = f"{number} AWG" if number > 0 else f"{1 - number}/0 AWG"
    assert nearest_awg(parse(written, "area")) == written
