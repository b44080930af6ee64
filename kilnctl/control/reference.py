"""Schedule → reference: where the chamber (or the part) should be now, and where it will have to be.

A schedule becomes legs: go up or down (at a rate, or as fast as the oven can), let cool, hold. Only measured time moves
the position in them. A soak's time counts only inside its band; a ramp waits for an oven that falls behind."""

import math
from dataclasses import dataclass
from typing import NamedTuple

from ..settings.schedule import Schedule
from ..terms import Phase

#: A ramp's reference waits while the oven is further behind it than this, K (or twice the step's band, if that is
#: more): without the wait the oven would be asked to catch up at full power.
BEHIND_K = 8.0  # ±30 %: none
#: What a run is doing in each kind of leg.
PHASES = {"ramp": Phase.RAMP, "jump": Phase.HEAT_UP, "cool": Phase.COOLING, "hold": Phase.SOAK}


@dataclass(frozen=True, slots=True)
class Leg:
    """kind "ramp" (rate in K/s, signed when reached), "jump" (as fast as possible), "cool" (no heat) or "hold"
    (hold_s)."""

    kind: str
    step: int
    name: str
    target_c: float
    rate_k_per_s: float = 0.0
    in_s: float | None = None
    hold_s: float = 0.0
    band_k: float = 3.0


class Position(NamedTuple):
    """The position in the legs, and the reference there. `rate_k_per_s`: of a ramp, or on the way to a soak that was
    skipped to. `counted_s`: time of the hold that has counted. `held`: held by an operator. `added_s`: time added by
    request to this hold or the next one."""

    leg: int = 0
    counted_s: float = 0.0
    reference_c: float = math.nan
    rate_k_per_s: float = 0.0
    waiting: bool = False
    arrived: bool = False
    held: bool = False
    added_s: float = 0.0
    done: bool = False


def legs_of(schedule: Schedule) -> tuple[Leg, ...]:
    """The legs of a schedule, in order."""
    legs: list[Leg] = []
    last_c = math.nan
    for i, step in enumerate(schedule.steps):
        name = step.name or f"step {i + 1}"
        if step.to_c is not None:
            kind = "cool" if step.let_cool else "ramp" if (step.at_k_per_s or step.in_s) else "jump"
            legs.append(Leg(kind, i, name, step.to_c, step.at_k_per_s or 0.0, step.in_s, 0.0, step.within_k))
            last_c = step.to_c
        if step.hold_s > 0.0:
            legs.append(Leg("hold", i, name, last_c, 0.0, None, step.hold_s, step.within_k))
    return tuple(legs)


def phase_of(legs: tuple[Leg, ...], position: Position) -> Phase:
    """What a run at that position is doing."""
    if position.done:
        return Phase.FINISHED
    return Phase.HELD if position.held else PHASES[legs[position.leg].kind]


def begin(legs: tuple[Leg, ...], value_c: float) -> Position:
    """The start of the first leg, from the temperature of now."""
    return _enter(legs, 0, value_c, value_c)


def _enter(legs: tuple[Leg, ...], index: int, value_c: float, reference_c: float, added_s: float = 0.0) -> Position:
    if index >= len(legs):
        return Position(leg=len(legs), reference_c=reference_c, done=True)
    leg = legs[index]
    if leg.kind == "ramp":
        # After a cooling or a warm start, begin from the measured temperature, else from the reference, so that it has
        # no jump.
        start = value_c if math.isnan(reference_c) else reference_c
        span = leg.target_c - start
        rate = abs(span) / leg.in_s if leg.in_s else leg.rate_k_per_s
        return Position(leg=index, reference_c=start, rate_k_per_s=math.copysign(rate, span), added_s=added_s)
    if leg.kind == "cool":
        return Position(leg=index, reference_c=math.nan, added_s=added_s)
    return Position(leg=index, reference_c=leg.target_c, added_s=added_s)


def advance(
    legs: tuple[Leg, ...], position: Position, value_c: float, dt_s: float, count_always: bool = False
) -> Position:
    """The position dt_s later, given the followed temperature now. One tick may pass several short legs."""
    p = position
    if p.done or p.held:
        return p
    leg = legs[p.leg]
    if leg.kind == "ramp":
        behind = (p.reference_c - value_c) * math.copysign(1.0, p.rate_k_per_s)
        if behind > max(BEHIND_K, 2.0 * leg.band_k):
            return p._replace(waiting=True)
        reference = p.reference_c + p.rate_k_per_s * dt_s
        if (leg.target_c - reference) * p.rate_k_per_s > 0.0:
            # By place: `_replace` takes several times as long, and there is one each tick.
            return Position(p.leg, p.counted_s, reference, p.rate_k_per_s, False, p.arrived, p.held, p.added_s, p.done)
        return _enter(legs, p.leg + 1, value_c, leg.target_c, p.added_s)
    if leg.kind == "jump":
        return (
            _enter(legs, p.leg + 1, value_c, leg.target_c, p.added_s)
            if abs(value_c - leg.target_c) <= leg.band_k
            else p
        )
    if leg.kind == "cool":
        return _enter(legs, p.leg + 1, value_c, math.nan, p.added_s) if value_c <= leg.target_c else p
    if p.rate_k_per_s != 0.0 and p.reference_c != leg.target_c:
        return _towards(p, leg, value_c, dt_s)
    inside = abs(value_c - leg.target_c) <= leg.band_k
    # A soak that was skipped to as fast as the oven can waits until it is there, also if its time then always counts.
    counts = inside or (count_always and not p.waiting)
    counted = p.counted_s + (dt_s if counts else 0.0)
    if counted >= leg.hold_s + p.added_s - 1e-9:
        return _enter(legs, p.leg + 1, value_c, leg.target_c)
    arrived = p.arrived or inside
    return Position(p.leg, counted, p.reference_c, p.rate_k_per_s, not counts, arrived, p.held, p.added_s, p.done)


def _towards(p: Position, leg: Leg, value_c: float, dt_s: float) -> Position:
    """A soak that was skipped to from elsewhere: on the way to it its time does not count."""
    if (p.reference_c - value_c) * math.copysign(1.0, p.rate_k_per_s) > max(BEHIND_K, 2.0 * leg.band_k):
        return p._replace(waiting=True)
    reference = p.reference_c + p.rate_k_per_s * dt_s
    if (leg.target_c - reference) * p.rate_k_per_s > 0.0:
        return p._replace(reference_c=reference, waiting=False)
    return p._replace(reference_c=leg.target_c, rate_k_per_s=0.0, waiting=False)


def soak_left_s(legs: tuple[Leg, ...], position: Position) -> float | None:
    """How much time of the present soak has still to count, s; None where the run is in no soak."""
    p = position
    if p.done or legs[p.leg].kind != "hold":
        return None
    return max(0.0, legs[p.leg].hold_s + p.added_s - p.counted_s)


def skip(legs: tuple[Leg, ...], position: Position, value_c: float) -> Position:
    """Go to the next step of the schedule, by request, at that step's own rate and from where the oven is: the skipped
    part is not made up for by a faster rate. A step that only soaks is reached at the rate that would have led there.
    Time added to a skipped soak is lost with it."""
    if position.done:
        return position
    here = legs[position.leg].step
    index = next((i for i in range(position.leg, len(legs)) if legs[i].step > here), len(legs))
    p = _enter(legs, index, value_c, value_c)
    if p.done or legs[index].kind != "hold" or abs(value_c - legs[index].target_c) <= legs[index].band_k:
        return p
    before = next((leg for leg in reversed(legs[:index]) if leg.kind != "hold"), None)
    span = legs[index].target_c - value_c
    rate = 0.0 if before is None else abs(span) / before.in_s if before.in_s else before.rate_k_per_s
    if rate <= 0.0:
        return p._replace(waiting=True)
    return p._replace(reference_c=value_c, rate_k_per_s=math.copysign(rate, span))


def preview(legs: tuple[Leg, ...], position: Position, horizon_s: float) -> tuple[list[float], list[float]]:
    """Break points (s from now, °C) of the reference for the horizon; beyond them it stays at the last one. What cannot
    be foreseen (when a jump arrives, when a cooling ends) is not guessed: the reference stays where it is. A jump that
    comes later is not previewed: a quick oven would be far ahead of the schedule by then. After a soak it would
    leave the band within a tick, that would stop the soak's timer, and the jump might never start; for the same reason
    a soak that waits for its band previews nothing. A ramp that a jump follows goes on, so that nothing slows down for
    the corner."""
    times, values = [0.0], [position.reference_c]
    now, value, index = 0.0, position.reference_c, position.leg
    if position.held or position.done:
        return times, values
    first, added, slope = True, position.added_s, 0.0
    if position.waiting and legs[index].kind == "hold" and position.rate_k_per_s == 0.0:
        return times, values
    while now < horizon_s and index < len(legs):
        leg = legs[index]
        if leg.kind == "cool":
            break
        if leg.kind == "jump":
            if first:
                times.append(now + 1e-3)
                values.append(leg.target_c)
            elif (leg.target_c - value) * slope > 0.0:
                times.append(min(horizon_s, now + (leg.target_c - value) / slope))
                values.append(value + slope * (times[-1] - now))
            break
        if leg.kind == "ramp":
            span = leg.target_c - value
            rate = abs(position.rate_k_per_s) if first else (abs(span) / leg.in_s if leg.in_s else leg.rate_k_per_s)
            now += abs(span) / rate if rate > 0.0 else 0.0
            slope = position.rate_k_per_s if first else math.copysign(rate, span)
            value = leg.target_c
        else:
            slope = 0.0
            if first and position.rate_k_per_s != 0.0 and value != leg.target_c:
                now += (leg.target_c - value) / position.rate_k_per_s
                value = leg.target_c
                times.append(now)
                values.append(value)
            now += max(0.0, leg.hold_s + added - (position.counted_s if first else 0.0))
            added = 0.0
        times.append(now)
        values.append(value)
        index += 1
        first = False
    return times, values


def seconds_left(legs: tuple[Leg, ...], position: Position) -> float:
    """Planned time to the end as far as it can be known, s: jumps and coolings count as nothing."""
    if position.done:
        return 0.0
    total, value, added = 0.0, position.reference_c, position.added_s
    for i in range(position.leg, len(legs)):
        leg, current = legs[i], i == position.leg
        if leg.kind == "ramp" and not math.isnan(value):
            rate = (
                abs(position.rate_k_per_s)
                if current
                else (abs(leg.target_c - value) / leg.in_s if leg.in_s else leg.rate_k_per_s)
            )
            total += abs(leg.target_c - value) / rate if rate > 0.0 else 0.0
        elif leg.kind == "hold":
            if current and position.rate_k_per_s != 0.0 and value != leg.target_c:
                total += (leg.target_c - value) / position.rate_k_per_s
            total += leg.hold_s + added - (position.counted_s if current else 0.0)
            added = 0.0
        value = leg.target_c
    return total
