"""Where the heat is cut while a schedule runs, as a number and in words."""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ..settings.oven import Oven
    from ..settings.schedule import Schedule

#: Without a `highest`, a schedule's trip stands this far above its hottest step, K, or by this share, whichever is
#: more. That is many times what the control overshoots with a wrong model, and more than a thermostat does: a light
#: muffle overshot by 35 K after its door, which has no switch, was open for a minute.
ABOVE_PLAN_K, ABOVE_PLAN = 50.0, 0.05  # ±30 %: none


def schedule_trip_c(oven: "Oven", schedule: "Schedule", start_c: float | None = None) -> float:
    """Where the heat is cut while that schedule runs, °C; never above the oven's own trip.

    A schedule without `highest` also gets its own limit: a chamber far above every temperature that was asked for is
    out of control, even if the oven can stand more. A chamber that starts hotter than the schedule's top, and has to
    cool down, is not. When the schedule follows the part, the control may heat the chamber up to the oven's highest:
    then only the oven's trip fits.
    """
    trip_c = oven.limits.trip_at_c
    if schedule.highest_c is not None:
        # As far above the schedule's own limit as the oven's trip usually stands above the oven's.
        return min(trip_c, schedule.highest_c + max(10.0, 0.02 * schedule.highest_c))
    if schedule.follows == "part":
        return trip_c
    top_c = schedule.top_c if start_c is None else max(schedule.top_c, start_c)
    return min(trip_c, top_c + max(ABOVE_PLAN_K, ABOVE_PLAN * top_c))


def schedule_trip_words(schedule: "Schedule", trip_c: float) -> str:
    """That limit, for people."""
    if schedule.highest_c is not None:
        why = f"its `highest` of {schedule.highest_c:.0f} °C and a margin"
    elif schedule.follows == "part":
        why = "the oven's own: it follows the part and names no `highest`"
    else:
        margin = f"{ABOVE_PLAN_K:.0f} K or {100.0 * ABOVE_PLAN:.0f} %"
        why = f"it names no `highest`: {margin} above the hottest that is planned, never above the oven's own"
    return f"in this schedule the heat is cut above {trip_c:.0f} °C ({why})"
