"""Electric power of a record's samples, by the meters there are."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kilnctl import rehearse
from kilnctl.identification.records import as_log
from kilnctl.record.folder import new_folder, plain
from kilnctl.record.power_columns import fired_share, power_w
from kilnctl.record.run_data import UnknownOven
from kilnctl.record.run_record import read_run
from kilnctl.report.finishing import finish, finish_record
from kilnctl.run.summary import summarise
from kilnctl.settings.equipment import Meters
from kilnctl.settings.schedule import Schedule, Step
from kilnctl.thermal.electric_power import electric_w
from tests.record.made_runs import OVEN, made

WARM = Schedule(name="warm", steps=(Step(name="warm", to_c=120.0, hold_s=900.0),))


BARE = dataclasses.replace(OVEN, meters=Meters(supply=False, current=False))


@pytest.mark.parametrize(
    ("meters", "watts"),
    [
        ({}, 1500.0),  # commanded: half of 3 kW
        ({"supply_v": 218.5}, 1353.75),  # 0.95² of it: V²/R
        ({"supply_v": 218.5, "current_a": 12.0, "mean_current_a": 6.0}, 1311.0),  # V·I, not what the elements are rated
        ({"supply_v": 218.5, "current_a": 12.0}, 1311.0),
        ({"supply_v": 230.0, "current_a": 6.5, "mean_current_a": 6.5}, 1495.0),  # one of two groups all the time
        ({"current_a": 3000.0 / 230.0 * 0.95}, 1353.75),  # near the rated current: the supply sags, I²·R
        ({"current_a": 3000.0 / 230.0 * 0.5}, 750.0),  # half of the elements is broken: V·I
        ({"supply_v": math.nan, "current_a": math.nan}, 1500.0),
        ({"supply_v": 0.0}, 0.0),
    ],
)
def test_power_by_hand(meters, watts):
    """Ohm's and Joule's laws; 3 kW at 230 V are 13.04 A."""
    assert electric_w(0.5, 3000.0, 230.0, **meters) == pytest.approx(watts)


@given(st.floats(0.0, 1.0), st.floats(50.0, 20000.0), st.floats(0.5, 1.2), st.floats(0.7, 1.3))
def test_both_meters_know_elements_of_any_resistance_in_any_supply(share, rated_w, sag, resistance):
    """True power is V²/R in the share of time; the meters show V and V/R."""
    volts, ohms = 230.0 * sag, 230.0**2 / rated_w * resistance
    assert electric_w(share, rated_w, 230.0, volts, volts / ohms, share * volts / ohms) == pytest.approx(
        share * volts**2 / ohms
    )


@pytest.mark.parametrize(
    "volts, amps, mean", [(1e300, None, None), (2000.0, 0.0, math.nan), (None, 1e300, 1e200), (-1.0, -1.0, None)]
)
def test_a_meter_that_says_what_cannot_be_is_as_one_that_says_nothing(volts, amps, mean):
    """A converter that fails at full scale, or bits gone wrong on the line: found by sequences of odd readings."""
    assert electric_w(0.4, 3000.0, 230.0, volts, amps, mean) == electric_w(0.4, 3000.0, 230.0) == 1200.0


@pytest.fixture(scope="module")
def bare():
    """A run of the cabinet without any meter, with a purge before it."""
    return rehearse(BARE, dataclasses.replace(WARM, load=OVEN.usual_load), seed=1)


def test_records_from_before_are_worked_out_the_same_way():
    run = made()
    assert power_w(run.data, run.oven, plain(run.model)) == pytest.approx(run.fired * 3000.0)
    run.data.update({"duty": np.append(run.fired[1:], 0.0), "fired": np.full(len(run.time_s), math.nan)})
    share, measured = fired_share(run.data)
    assert not measured and share[1:] == pytest.approx(made().fired[1:])
    unknown = UnknownOven("gone")
    assert (
        np.isnan(power_w(run.data, unknown, None)).all()
        and power_w(run.data, unknown, {"power_w": 1000.0, "voltage_v": 230.0}).max() == 1000.0
    )


def test_a_fit_takes_what_was_commanded_where_nothing_was_measured(bare):
    log = as_log(BARE, bare)
    assert log.power_w == pytest.approx(bare.commanded * 3000.0)


def test_a_record_of_a_run_is_summarised_the_same_when_read_back(bare, tmp_path):
    folder = new_folder(tmp_path, "a", "b")
    finish(folder, bare, summarise(bare))
    back = read_run(folder)
    assert (
        summarise(back).switchings_per_h == pytest.approx(summarise(bare).switchings_per_h)
        and summarise(back).power_by == summarise(bare).power_by
    )
    finish_record(folder)
