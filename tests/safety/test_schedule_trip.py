"""Where the heat is cut while a schedule runs: its own limit and a margin, in numbers and words."""

import dataclasses

import pytest

from kilnctl.safety import policy_for, schedule_trip_c, schedule_trip_words


@pytest.mark.parametrize(
    "top_c, start_c, trip_c",
    [
        (820.0, None, 870.0),
        (820.0, 20.0, 870.0),
        (820.0, 819.0, 870.0),
        (200.0, None, 250.0),
        (999.0, None, 1049.0),
        (1001.0, None, 1051.05),
        # A chamber that starts hotter than the schedule's top has to cool down, and is not out of control.
        (600.0, 900.0, 950.0),
        (200.0, 210.0, 260.0),
        # Never above the oven's own.
        (1090.0, None, 1125.0),
        (600.0, 1110.0, 1125.0),
    ],
)
def test_a_schedule_without_a_highest_gets_a_limit_from_its_hottest_step_or_start(
    oven, schedule, top_c, start_c, trip_c
):
    kiln, plan = oven("brick-kiln"), schedule("anneal")
    plan = dataclasses.replace(
        plan,
        steps=(dataclasses.replace(plan.steps[0], to_c=0.5 * top_c), dataclasses.replace(plan.steps[0], to_c=top_c)),
    )
    assert (
        schedule_trip_c(kiln, plan, start_c)
        == pytest.approx(trip_c)
        == policy_for(kiln, plan, start_c=start_c).schedule_trip_c
    )
    # A schedule with `highest` keeps that limit for any start.
    assert schedule_trip_c(kiln, dataclasses.replace(plan, highest_c=400.0), start_c) == 410.0
    hot = dataclasses.replace(plan, highest_c=1000.0)
    assert schedule_trip_c(kiln, hot, start_c) == 1020.0, "two per cent, where that is more than 10 K"
    # The part lags: the control may heat the chamber up to the oven's highest, which is also the control's own limit.
    follows = dataclasses.replace(plan, follows="part")
    assert (
        schedule_trip_c(kiln, follows, start_c) == 1125.0 == kiln.limits.trip_at_c
        and schedule_trip_c(kiln, dataclasses.replace(follows, highest_c=400.0)) == 410.0
    )


@pytest.mark.parametrize("name", ["anneal", "temper", "tile-firing", "lab-steps", "dry", "part-cure", "powder-cure"])
def test_no_schedule_of_the_workshop_is_without_a_limit_of_its_own_nor_within_the_controls_reach(oven, schedule, name):
    """Above the control's own limit of the chamber by 5 K at least, and never left to the oven's trip alone where the
    chamber is followed."""
    kiln, plan = oven("brick-kiln"), schedule(name)
    trip_c, part = schedule_trip_c(kiln, plan), plan.follows == "part"
    assert (
        trip_c
        >= (plan.top_c if plan.highest_c is None and not part else (plan.highest_c or kiln.limits.highest_c) - 2.0)
        + 5.0
    )
    assert trip_c < kiln.limits.trip_at_c


def test_the_schedules_limit_in_words(schedule):
    anneal = schedule("anneal")
    for plan, why in (
        (anneal, "it names no `highest`: 50 K or 5 % above the hottest that is planned, never above the oven's own"),
        (dataclasses.replace(anneal, highest_c=850.0), "its `highest` of 850 °C and a margin"),
        (dataclasses.replace(anneal, follows="part"), "the oven's own: it follows the part and names no `highest`"),
    ):
        assert schedule_trip_words(plan, 861.2) == f"in this schedule the heat is cut above 861 °C ({why})"
