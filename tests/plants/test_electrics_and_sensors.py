"""Supply, contactor and relays in a tick; the thermocouple from sheath to number."""

import dataclasses
import math

import numpy as np
import pytest
from scenarios import OVENS

from kilnctl.body import lag_share
from kilnctl.plants.electrics import Electrics
from kilnctl.plants.injection import PlantFault
from kilnctl.plants.probes import NO_ERRORS, Emf, Probe, SensorErrors, emf_table
from kilnctl.plants.virtual_oven import VirtualOven
from kilnctl.settings.equipment import CalibrationPoint, Sensor
from tests.plants.plant_cases import oven


def electrics(**more):
    made = Electrics(230.0, 3000.0, 3, contactor_delay_s=0.05, **more)
    made.closed = True
    return made


def test_power_follows_square_of_voltage_and_resistance():
    watts, fired, volts, amps = electrics().advance(1.0, [1.0, 0.5, 0.0], True, 0.9, [1.0, 1.0, 1.25])
    assert watts == pytest.approx([810.0, 405.0, 0.0])
    assert fired == pytest.approx(0.5) and volts == pytest.approx(207.0)
    assert amps == pytest.approx(2 * 810.0 / 207.0)


def test_hot_elements_draw_less():
    watts, *_ = electrics().advance(1.0, [1.0] * 3, True, 1.0, [1.04] * 3)
    assert sum(watts) == pytest.approx(3000.0 / 1.04)


def test_contactor_delay_over_several_short_ticks():
    made = Electrics(230.0, 3000.0, 1, contactor_delay_s=0.05)
    shares = [made.contactor_share(0.02, True) for _ in range(4)]
    assert shares == pytest.approx([0.0, 0.0, 0.5, 1.0])
    assert [made.contactor_share(0.02, False) for _ in range(4)] == pytest.approx([1.0, 1.0, 0.5, 0.0])


def test_a_flicker_of_the_coil_shorter_than_the_delay_does_nothing():
    made = electrics()
    assert made.contactor_share(0.02, False) == 1.0
    assert made.contactor_share(0.02, True) == 1.0
    assert made.contactor_share(0.04, False) == 1.0


def test_welded_contactor_heats_only_with_the_relay():
    made = electrics()
    watts, *_ = made.advance(1.0, [0.0] * 3, False, 1.0, [1.0] * 3, [PlantFault("contactor welded")])
    assert watts == [0.0] * 3 and made.closed
    watts, *_ = made.advance(
        1.0, [0.0] * 3, False, 1.0, [1.0] * 3, [PlantFault("contactor welded"), PlantFault("relay shorted")]
    )
    assert sum(watts) == pytest.approx(3000.0)


def test_low_supply_drops_the_contactor():
    made = electrics()
    watts, _, volts, _ = made.advance(1.0, [1.0] * 3, True, 1.0, [1.0] * 3, [PlantFault("supply sag", size=0.8)])
    assert sum(watts) < 0.05 * 3000.0 and made.closed is False and volts == pytest.approx(46.0)


# ---- sensors


def probe(errors=NO_ERRORS, seed=0, start_c=20.0, **settings):
    given = dict(lag_s=10.0, dead_time_s=3.0, noise_k=0.0)
    return Probe(
        Sensor(**{**given, **settings}),
        emf_table(settings.get("type", "K")),
        start_c,
        np.random.default_rng(seed),
        errors,
    )


def steady(p, around_c, seconds=200, terminals_c=25.0, faults=()):
    return [p.advance(1.0, around_c, 1.0, terminals_c, 20.0, faults) for _ in range(seconds)][-1]


def test_lag_is_exact_for_a_ramp():
    """A first-order lag behind a ramp of 2 K/s that lasts: behind by rate × lag, and by rate × dead time."""
    p = probe(dead_time_s=3.0, noise_k=0.0)
    value = [p.advance(1.0, 20.0 + 2.0 * (second + 1), 1.0, 20.0, 20.0)[0] for second in range(300)][-1]
    assert p.junction_c == pytest.approx(20.0 + 2.0 * 300 - 20.0, abs=1e-6)
    assert value == pytest.approx(20.0 + 2.0 * 300 - 20.0 - 6.0, abs=0.02)


def test_step_answer_of_lag_and_dead_time_whatever_the_tick():
    answers = []
    for dt in (0.25, 1.0):
        p = probe()
        p.advance(dt, 120.0, 1.0, 20.0, 20.0)
        answers.append([p.advance(dt, 120.0, 1.0, 20.0, 20.0)[0] for _ in range(round(20.0 / dt))][-1])
    exact = 120.0 - 100.0 * math.exp(-(20.0 - 3.0) / 10.0)
    assert answers == pytest.approx([exact, exact], abs=1.0)


def test_fan_and_radiation_shorten_the_lag():
    still = lag_share(15.0, 4.6, 19.6)
    assert still == pytest.approx(1.0)
    assert lag_share(60.0, 10.0, 19.6) < 0.55
    assert lag_share(15.0, 370.0, 19.6) == pytest.approx(0.3, abs=0.05)


@pytest.mark.parametrize("chip, step", [("max31855", 0.25), ("max31856", 2.0**-7)])
def test_resolution_of_the_chips(chip, step):
    p = probe(front_end=chip, noise_k=1.0)
    values = [p.advance(1.0, 300.0, 1.0, 25.0, 20.0)[0] for _ in range(400)][200:]
    differences = np.diff(np.unique(values))
    assert np.min(differences) == pytest.approx(step, rel=0.1)


def test_linear_chip_is_right_after_its_correction():
    p = probe(front_end="max31855")
    for around in (100.0, 300.0, 500.0, 800.0, 1000.0, 1200.0):
        assert steady(p, around)[0] == pytest.approx(around, abs=0.2)


def test_systematic_errors():
    assert steady(probe(SensorErrors(offset_k=2.0)), 200.0)[0] == pytest.approx(202.0, abs=0.02)
    assert steady(probe(SensorErrors(gain=0.01)), 200.0)[0] == pytest.approx(202.0, abs=0.02)
    assert steady(probe(SensorErrors(drift_k_per_h=3600.0)), 200.0, 100)[0] == pytest.approx(300.0, abs=0.1)
    value, _, cold = steady(probe(SensorErrors(cold_junction_k=5.0)), 200.0)
    assert cold == 30.0 and 204.0 < value < 206.5


def test_certificate_is_what_the_sensor_shows():
    points = (CalibrationPoint(reads_c=101.0, true_c=100.0), CalibrationPoint(reads_c=203.0, true_c=200.0))
    for true, shown in ((100.0, 101.0), (150.0, 152.0), (200.0, 203.0), (50.0, 51.0), (250.0, 253.0)):
        assert steady(probe(calibration=points), true)[0] == pytest.approx(shown, abs=0.02)


def test_noise_has_the_described_size():
    p = probe(noise_k=0.5, lag_s=0.0, dead_time_s=0.0)
    values = [p.advance(1.0, 200.0, 1.0, 25.0, 20.0)[0] for _ in range(3000)]
    assert np.std(values) == pytest.approx(0.5, rel=0.06)
    assert np.mean(values) == pytest.approx(200.0, abs=0.05)


def test_emf_tables_of_all_types_go_both_ways():
    for letter in "KNSRJTBE":
        emf = emf_table(letter)
        for t in (100.0, 250.5, 390.0):
            assert emf.inverse(emf.at(t)) == pytest.approx(t, abs=1e-6)


def test_a_table_that_does_not_rise_is_refused():
    with pytest.raises(ValueError, match="rise"):
        Emf(0, [0.0, 1.0, 0.5])


def test_every_demo_oven_has_its_front_end():
    for name in OVENS:
        assert oven(name).sensors.control.front_end in ("max31855", "max31856")


@pytest.mark.parametrize("corrected, off_k", [(True, 0.0), (False, 9.0)])
def test_a_rig_hands_on_what_the_certificate_corrects_and_a_converter_does_not(corrected, off_k):
    """An oven whose sensor reads 9 K too high above 100 °C was held 9 K too cold in rehearsals, not on the board."""
    cabinet = oven("curing-cabinet")
    points = (CalibrationPoint(reads_c=109.0, true_c=100.0), CalibrationPoint(reads_c=209.0, true_c=200.0))
    sensor = dataclasses.replace(cabinet.sensors.control, calibration=points, noise_k=0.0)
    cabinet = dataclasses.replace(cabinet, sensors=dataclasses.replace(cabinet.sensors, control=sensor))
    plant = VirtualOven(cabinet, corrected=corrected)
    true_c = plant.settle(900.0)
    reading = plant.advance(1.0, 900.0 / cabinet.elements.power_w, True)
    assert reading.chamber_c - true_c == pytest.approx(off_k, abs=0.5)
