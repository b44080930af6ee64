"""From a converter's raw words to trusted °C."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl.errors import KilnctlError
from kilnctl.plants.probes import LINEAR_MV_PER_K
from kilnctl.rig import converters
from kilnctl.rig.simulated_board import registers_31856, word_31855
from kilnctl.settings.equipment import CalibrationPoint, Sensor
from kilnctl.thermal.thermocouples import emf_mv

STRAIGHT = Sensor(front_end="max31855")


def raw_31855(true_c, cold_c=25.0, kind="K"):
    high, low = word_31855(kind, true_c, cold_c)
    return bytes((high >> 8, high & 255, low >> 8, low & 255, 0, 0))


@pytest.mark.parametrize("cold_c", [5.0, 25.0, 45.0])
def test_the_31855_is_corrected_within_0_15_k_against_its90(cold_c):
    """Type K from 0 to 1300 °C (issue's bound; the chip's step alone is ±0.125 K)."""
    worst = max(
        abs(converters.linear_31855_c("K", (emf_mv("K", t) - emf_mv("K", cold_c)) / 0.041276 + cold_c, cold_c) - t)
        for t in range(0, 1301, 5)
    )
    assert worst < 0.06
    for t in range(0, 1301, 25):
        seen = converters.take_conversion(STRAIGHT, converters.ConverterState(), raw_31855(float(t), cold_c), 1)
        # Half a step of the chip (0.125 K), scaled where the thermocouple is less sensitive than the straight line.
        assert abs(seen.value_c - t) < 0.15, t


def test_the_uncorrected_chip_reads_low_where_it_matters():
    """Common practice: 16 K low at 1200 °C, 7 K high at 800 °C."""

    def shown(t):
        return (emf_mv("K", t) - emf_mv("K", 25.0)) / 0.041276 + 25.0

    assert shown(1200.0) == pytest.approx(1184.0, abs=0.15) and shown(800.0) == pytest.approx(807.0, abs=0.15)


def test_the_virtual_ovens_converters_have_the_same_straight_lines():
    assert {kind: pytest.approx(1000.0 * slope) for kind, slope in LINEAR_MV_PER_K.items()} == converters.LINE_UV_PER_K


def test_one_wild_word_never_gets_through_and_a_step_does():
    state = converters.ConverterState()
    for k in range(5):
        state = converters.take_conversion(STRAIGHT, state, raw_31855(200.0), k)
    wild = converters.take_conversion(STRAIGHT, state, raw_31855(-2.5), 5)
    assert wild.value_c == pytest.approx(200.0, abs=0.2)
    assert converters.take_conversion(STRAIGHT, wild, raw_31855(-2.5), 6).value_c == pytest.approx(-2.5, abs=0.2)


QUIET = Sensor(noise_k=0.15)


def after(values, sensor=QUIET):
    state = converters.ConverterState()
    for i, value in enumerate(values):
        state = converters.take_conversion(
            sensor, state, registers_31856(value, 25.0) if value is not None else bytes((25, 0, 0, 0, 0, 1)), i
        )
    return state


@pytest.mark.parametrize(
    ("values", "wild"),
    [
        ((800.0, 50.0, 800.0), 1),
        ((800.0, 850.0, 800.0), 1),
        ((800.0, 50.0, 800.0, 50.0, 800.0), 3),
        ((800.0, 50.0, 800.0, 800.0, 50.0, 800.0), 2),
        ((800.0, 50.0), 0),
        ((800.0, 50.0, 50.0), 0),
        ((800.0, 700.0, 600.0, 500.0), 0),
        ((100.0, 150.0, 200.0, 250.0), 0),
        ((800.0, None, 800.0), 0),
        ((800.0, 50.0, None, 800.0), 0),
        ((800.0, 805.0, 800.0), 0),
        ((800.0, 805.1, 800.0), 1),
        ((800.0, 794.9, 800.0), 1),
        ((800.0, 850.0, 845.1), 0),
        ((845.1, 850.0, 800.0), 0),
        ((800.0, 50.0, 800.0, None), 1),
    ],
)
def test_a_wild_word_that_the_median_hides_is_counted(values, wild):
    assert after(values).rejects == wild


def test_how_wild_is_wild_goes_by_the_sensors_noise():
    assert (
        after((800.0, 809.9, 800.0), Sensor(noise_k=1.0)).rejects == 0
        and after((800.0, 810.1, 800.0), Sensor(noise_k=1.0)).rejects == 1
    )


def test_the_answers_bits_are_kept_as_they_came():
    assert after((800.0, 50.0, 800.0, 600.0)).bits == registers_31856(600.0, 25.0)
    assert after((800.0, None)).bits == bytes((25, 0, 0, 0, 0, 1))


def test_a_conversion_seen_before_does_not_count_again():
    state = converters.take_conversion(STRAIGHT, converters.ConverterState(), raw_31855(200.0), 7)
    assert (
        converters.take_conversion(STRAIGHT, state, raw_31855(210.0), 7) is state
        and converters.take_conversion(STRAIGHT, state, raw_31855(210.0), 8).count == 2
    )


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (bytes(6), "no-chip"),
        (bytes([255] * 6), "no-chip"),
        (bytes((1, 0x91, 0x19, 1, 0, 0)), "open"),
        (bytes((1, 0x91, 0x19, 2, 0, 0)), "short-ground"),
        (bytes((1, 0x91, 0x19, 4, 0, 0)), "short-supply"),
        (bytes((1, 0x92, 0x19, 0, 0, 0)), "bus-error"),
        (raw_31855(100.0, 120.0), "cold-junction"),
        (raw_31855(100.0, -40.0), "cold-junction"),
    ],
)
def test_faults_become_words_and_no_number(raw, word):
    seen = converters.take_conversion(STRAIGHT, converters.ConverterState(), raw, 1)
    assert seen.faults == (word,) and math.isnan(seen.value_c)


def test_the_31856_speaks_for_itself():
    sensor = Sensor(front_end="max31856")
    assert converters.take_conversion(
        sensor, converters.ConverterState(), registers_31856(871.5, 31.0), 1
    ).value_c == pytest.approx(871.5, abs=0.005)


CALIBRATED = Sensor(
    calibration=tuple(
        CalibrationPoint(reads_c=r, true_c=t) for r, t in ((100.0, 101.0), (200.0, 203.0), (300.0, 302.0))
    )
)


@pytest.mark.parametrize(
    ("reads", "true"),
    [(100.0, 101.0), (150.0, 152.0), (200.0, 203.0), (250.0, 252.5), (300.0, 302.0), (50.0, 51.0), (400.0, 402.0)],
)
def test_calibration_is_straight_between_points_and_the_nearest_offset_outside(reads, true):
    assert CALIBRATED.corrected_c(reads) == pytest.approx(true)


def test_a_calibration_that_ends_far_below_the_oven_is_told():
    assert (
        "ends at 300 °C" in converters.beyond_calibration(CALIBRATED, 1100.0)
        and converters.beyond_calibration(CALIBRATED, 400.0) == ""
    )
    assert converters.beyond_calibration(STRAIGHT, 1100.0) == ""


def test_a_type_that_the_chip_does_not_come_in_is_refused():
    with pytest.raises(KilnctlError, match="no MAX31855 for type B"):
        converters.check(Sensor(type="B", front_end="max31855"), "oven.yaml")


@given(st.binary(min_size=6, max_size=6), st.sampled_from(["max31855", "max31856"]))
def test_any_bytes_are_a_number_in_range_or_a_fault(raw, chip):
    seen = converters.take_conversion(Sensor(front_end=chip), converters.ConverterState(), raw, 1)
    assert bool(seen.faults) == math.isnan(seen.value_c)
    assert seen.faults or -271.0 <= seen.value_c <= 1821.0
