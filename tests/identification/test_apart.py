"""What records show of the place of the control sensor, against a second one in the air."""

import dataclasses

import numpy as np
import pytest
from strange_plants import PLANTS

from kilnctl.identification.apart import excused_k, place_seen
from kilnctl.identification.records import as_log
from kilnctl.model.doubt import NEAR_ELEMENTS, NEAR_WALLS
from kilnctl.run.prepare import prepare
from kilnctl.run.rehearsal import simulate
from kilnctl.safety import policy_for
from kilnctl.safety.misplaced import Place
from kilnctl.settings.oven import oven_from
from kilnctl.settings.schedule import Schedule, Step
from tests.generated.ovens import numbered


def soaked(number, structure, soak_c):
    """(oven, record) of a soak of a drawn oven; one without a second sensor gets one like the first."""
    oven = oven_from(numbered(500, number), f"500/{number}")
    if oven.sensors.limit is None:
        oven = dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, limit=oven.sensors.control))
    schedule = Schedule(name="soak", steps=(Step(to_c=soak_c, hold_s=600.0, within_k=1e3),))
    run = simulate(prepare(oven, schedule), PLANTS[structure](oven, soak_c, 1), 1)
    assert run.outcome == "finished"
    return oven, run


@pytest.fixture(scope="module", params=[(7, "sensor near element", 144.0), (31, "sensor near wall", 187.6)])
def misplaced_run(request):
    return request.param[1], *soaked(*request.param)


@pytest.fixture(scope="module")
def sound():
    return soaked(7, "as described", 144.0)


def test_a_place_is_seen_by_its_side_and_within_what_a_description_allows(misplaced_run):
    structure, oven, run = misplaced_run
    place = place_seen(oven, [as_log(oven, run)])
    assert place is not None
    near, other = (place.near_elements, place.near_walls)[:: 1 if "element" in structure else -1]
    most = NEAR_ELEMENTS if "element" in structure else NEAR_WALLS
    assert other == 0.0 < 0.3 * most < near <= most


def test_what_a_place_excuses_is_what_the_rule_would_allow_besides(misplaced_run):
    """The run went by the rule with all that a description excuses; without that it would have ended."""
    _, oven, run = misplaced_run
    log = as_log(oven, run)
    assert log.limit_c is not None
    policy, apart = policy_for(oven), np.abs(log.reading_c - log.limit_c)
    allowed = np.maximum(policy.disagreement_k, policy.disagreement_share * log.reading_c)
    assert np.max(apart - allowed) > 0.0
    assert np.mean(apart > allowed + excused_k(oven, log)) < 0.01


def test_sound_sensors_show_no_place(sound):
    oven, run = sound
    assert place_seen(oven, [as_log(oven, run)]) == Place(0.0, 0.0)


def test_without_a_second_sensor_nothing_is_seen(sound):
    oven, run = sound
    log = as_log(oven, run)
    bare = dataclasses.replace(oven, sensors=dataclasses.replace(oven.sensors, limit=None))
    assert log.limit_c is not None
    blind = dataclasses.replace(log, limit_c=None)
    empty = dataclasses.replace(log, limit_c=np.full(len(log.time_s), np.nan))
    assert place_seen(bare, [log]) is place_seen(oven, [blind, empty]) is place_seen(oven, []) is None
    assert place_seen(oven, [blind, log]) == Place(0.0, 0.0)
    assert np.all(excused_k(oven, blind) == 0.0)


def test_of_several_records_the_widest_counts(misplaced_run):
    _, oven, run = misplaced_run
    log = as_log(oven, run)
    assert log.limit_c is not None
    agreeing = dataclasses.replace(log, limit_c=log.reading_c)
    assert place_seen(oven, [agreeing]) == Place(0.0, 0.0)
    assert place_seen(oven, [agreeing, log]) == place_seen(oven, [log, agreeing]) == place_seen(oven, [log])


@pytest.mark.parametrize("seconds, seen", [(20.0, False), (120.0, True)])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_what_passes_and_what_a_door_does_is_no_place(sound, seconds, seen, sign):
    """A second sensor that parts from the control sensor for a while by 30 K, in the soak."""
    oven, run = sound
    log = as_log(oven, run)
    assert log.limit_c is not None
    end_s = float(log.time_s[-1]) - 300.0
    parted = (log.time_s > end_s - seconds) & (log.time_s <= end_s)
    apart = dataclasses.replace(log, limit_c=log.limit_c - np.where(parted, 30.0 * sign, 0.0))
    place = place_seen(oven, [apart])
    assert place is not None
    assert (place.near_elements > 0.0, place.near_walls > 0.0) == (seen and sign > 0.0, seen and sign < 0.0)
    assert place_seen(oven, [dataclasses.replace(apart, doors=((end_s - seconds, end_s),))]) == Place(0.0, 0.0)


def test_a_sensor_that_slips_far_is_not_learnt_beyond_what_a_description_allows(sound):
    oven, run = sound
    log = as_log(oven, run)
    assert log.limit_c is not None
    room_c, share = oven.site.ambient_c, np.linspace(0.0, 0.9, len(log.time_s))
    slipped = dataclasses.replace(log, reading_c=log.limit_c - share * (log.limit_c - room_c))
    assert place_seen(oven, [slipped]) == Place(0.0, NEAR_WALLS)


def test_a_gap_in_a_record_begins_anew(misplaced_run):
    """What the elements do in it is not known: half an hour without samples is no half an hour of their heat."""
    _, oven, run = misplaced_run
    log = as_log(oven, run)
    whole = place_seen(oven, [log])
    later = dataclasses.replace(log, time_s=log.time_s + np.where(np.arange(len(log.time_s)) > 60, 1800.0, 0.0))
    found = place_seen(oven, [later])
    assert whole is not None and found is not None
    assert found.near_elements == pytest.approx(whole.near_elements, rel=0.5)
    assert found.near_walls == pytest.approx(whole.near_walls, rel=0.5)
