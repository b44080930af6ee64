"""Quantities: what the trade writes, checked against an independent units package and printed factors."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.units import DIMENSIONS, UNITS, UnitError, parse, parse_unit

WRITINGS_OF_THE_TRADE_CONDUCTIVITY = [
    "BTU·in/(h·ft²·°F)", "BTU-in/hr-ft2-F", "Btu in/(hr ft^2 F)", "BTU in/hr ft² °F", "BTU·in/h·ft²·°F", "btu-in/(hr-ft2-F)",
    "BTU*in/(h*ft^2*degF)", "BTU in per hour sq ft °F", "BTU·in·h⁻¹·ft⁻²·°F⁻¹", "BTU-in/(hr·sq ft·deg F)", "BTU-in/ft2-hr-°F",
]  # fmt: skip


@pytest.mark.parametrize("unit", WRITINGS_OF_THE_TRADE_CONDUCTIVITY)
def test_imperial_conductivity_against_the_printed_factor(unit):
    # 1 BTU·in/(h·ft²·°F) = 0.14422789 W/(m·K), International Table BTU (NIST SP 811, appendix B).
    assert parse(f"1 {unit}", "conductivity") == pytest.approx(0.14422789, abs=5e-9)


@pytest.mark.parametrize("unit", ["W/(m·K)", "W/m·K", "W/mK", "W/m K", "W/m-K", "W m^-1 K^-1", "W·m⁻¹·K⁻¹", "W/(m °C)", "W per m K"])
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
    # Pint's names for ours; its BTU is rounded (1.4e-7) and its calorie is the thermochemical one, so those are left to the tables above.
    names = {"in": "inch", "ft": "foot", "lb": "pound", "oz": "ounce", "h": "hour", "min": "minute", "K": "kelvin", "°F": "delta_degF",
             "°C": "delta_degC", "L": "litre", "hp": "hp", "Wh": "watt_hour", "kWh": "kilowatt_hour", "V": "volt", "mV": "millivolt",
             "A": "ampere", "ohm": "ohm", "Hz": "hertz", "bar": "bar", "mbar": "millibar", "W": "watt", "kW": "kilowatt", "J": "joule",
             "mm": "millimetre", "cm": "centimetre", "m": "metre", "kg": "kilogram", "g": "gram", "t": "tonne", "d": "day",
             "cfm": "foot**3/minute", "Pa": "pascal", "%": "percent", "mol": "mole", "MJ": "megajoule"}  # fmt: skip
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
    [("1 h 30 min", 5400), ("1h30min", 5400), ("90 min", 5400), ("2 hours", 7200), ("45 s", 45), ("1.5 h", 5400), ("1 d", 86400)],
)
def test_times_as_people_say_them(written, expected):
    assert parse(written, "time") == pytest.approx(expected)


@pytest.mark.parametrize(("written", "expected"), [("3 1/2 in", 0.0889), ("1/4 in", 0.00635), ("2 ft 6 in", 0.762), ('3"', 0.0762)])
def test_lengths_as_carpenters_write_them(written, expected):
    assert parse(written, "length") == pytest.approx(expected)


@pytest.mark.parametrize(
    ("written", "dimension", "part"),
    [
        ("76", "length", "no unit"), ("nan mm", "length", "not a number"), ("inf mm", "length", "not a number"),
        ("1e400 m", "length", "finite"), ("1,5 mm", "length", "decimal point"), ("5 kilo", "mass", "unknown unit"),
        ("5 kg", "length", "not a unit of length"), ("-300 °C", "temperature", "absolute zero"), ("", "power", "nothing"),
        ("3 4 mm", "power", "has no unit"), ("200", "temperature", "no unit"), ("5 W/(m", "conductivity", "cannot read"),
        ("5 W)", "power", "unbalanced"), ("1/0 in", "length", "zero below"), ("20 °C 30 °C", "temperature", "°C, °F or K"),
        ("2 W 3 W", "power", "more than one"), ("5 m999", "length", "not plausible"), ("1 mmm", "length", "did you mean 'mm'"),
        ("ten kW", "power", "not a number"), ("--5 mm", "length", "not a number"), ("0x10 mm", "length", "not plausible"),
    ],
)  # fmt: skip
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


def test_conversion_factors_against_scipy():
    """scipy.constants (NIST SP 811) on the factors that stand in the file as numbers."""
    from scipy import constants

    from kilnctl import units

    pairs = {"inch": units._INCH, "foot": units._FOOT, "pound": units._POUND, "oz": units._OUNCE, "Btu": units._BTU, "calorie_IT": units._CALORIE,
             "hp": units._HORSEPOWER, "degree_Fahrenheit": units._FAHRENHEIT, "zero_Celsius": units.ZERO_C, "hour": units._HOUR, "day": units._DAY,
             "minute": units._MINUTE}  # fmt: skip
    for name, value in pairs.items():
        assert value == pytest.approx(getattr(constants, name), rel=1e-14), name
