"""One control step: reference → estimator → energy-balance feedforward + trim → demand in watts. Pure; numpy at most.

feedforward  what the energy balance says is needed to follow the reference from the estimated state
trim         the answer to heat that the model does not explain: minus the estimated unexplained watts, renewed every
             tick
demand       their sum, within 0 and what the elements can give
"""

import math

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, SENSOR, EnergyModel
from ..reading import Reading
from ..safety.extremes import greater, lesser
from ..terms import Request, RequestKind
from . import estimator, fallback, reference, swinging
from . import onset as onsets
from . import part as parts
from . import predictive as planning
from .control_state import EnergyBalanceState, Wanted
from .decision import Decision, StepInput, duty_of
from .feasibility import Programme
from .lateness import hotter_k, more_s_of, unseen_k
from .ripple import EVEN, TOLD_K, ripple_of, widest_k, wild_k

#: When a new plan is made: after PLAN_EVERY_S (s), or PLAN_STEPS prediction steps if that is shorter; when the followed
#: temperature has moved by PLAN_MOVED_K (K) and by PLAN_MOVED of its way; and when something changed: on request, or at
#: a corner of the reference.
PLAN_EVERY_S, PLAN_STEPS, PLAN_MOVED_K, PLAN_MOVED = 20.0, 5.0, 0.5, 0.1  # ±30 %: none
#: Sooner, after one prediction step (or at once, with `estimator.doubt_of` above PLAN_AT_DOUBT), where the oven is not
#: where the plan expected it: off by PLAN_OFF_K (K) and by PLAN_OFF of its way; where the heat to plan with has changed
#: by PLAN_OFF_HEAT, or full power by PLAN_OFF_POWER, as shares of full power. Less is noise of the estimate, and the
#: trim acts between plans.
PLAN_AT_DOUBT, PLAN_OFF_K, PLAN_OFF, PLAN_OFF_HEAT, PLAN_OFF_POWER = 6.0, 0.03, 0.01, 0.005, 0.01  # ±30 %: none
#: Without a voltmeter the current shows the state of the supply. Within this share of the expected current the cause is
#: taken to be the voltage (P ∝ I²); beyond it, the elements (one of several broken, or aged: P ∝ I). Below these shares
#: of full power fired, the current is not used.
SUPPLY_SHARE, CURRENT_TELLS = 0.12, 0.02  # ±30 %: none
#: The demand that keeps what a firing pattern of long runs owes, as a share of full power: it must only be above zero.
OWED = 1e-4  # ±30 %: none
#: While a door is open any amount of heat may be lost: the unknown heat may change this many times faster, and the
#: hidden temperatures may stray this many times further. For SETTLING_S (s) after it closes, the loss from before it
#: opened is trusted, and what the draught took out of lining, load and elements is estimated again. A minute is some
#: time constants of air and elements. A tenth of these or ten times as much changes ∫|error| of a soak with an open
#: door by less than 1 %: they must only be large.
DOOR_WANDER, DOOR_DRIFT = 80.0, 20.0  # ±30 %: none
SETTLING_S, SETTLING_WANDER, SETTLING_DRIFT = 60.0, 2.0, 20.0  # ±30 %: none


class EnergyBalanceControl:
    """The controller of a schedule, from the oven's energy balance. It holds no state itself."""

    def start(self, programme: Programme, reading: Reading, time_s: float = 0.0) -> EnergyBalanceState:
        """From the first reading. An impossible reading starts from room temperature."""
        value = (
            reading.chamber_c if estimator.LOWEST_C < reading.chamber_c < estimator.HIGHEST_C else programme.ambient_c
        )
        estimate = estimator.start(programme.model, value, min(programme.ambient_c, value), programme.late)
        position = reference.begin(programme.legs, value)
        part = parts.begin(programme.part, value, programme.ambient_c) if programme.part is not None else None
        onset = onsets.begun(estimate, value, programme.ambient_c, programme.late)
        return EnergyBalanceState(time_s, position, estimate, full_w=programme.model.power_w, part=part, onset=onset)

    def step(
        self, programme: Programme, state: EnergyBalanceState, given: StepInput
    ) -> tuple[EnergyBalanceState, Decision]:
        """Decide for the coming tick; see `decision.Controller`."""
        s, reading, dt_s = state.copied(), given.reading, given.dt_s
        s.time_s += dt_s
        share = reading.fired_or(given.fired or 0.0)
        s.full_w = _full_w(s, programme.model, reading, share)
        _estimate(s, programme, reading, dt_s, share * s.full_w, given.usable, given.uneven)
        if programme.part is not None and s.part is not None:
            chamber_c, room_c, lag_s = s.estimate.now[CHAMBER], programme.ambient_c, programme.part_lag_s
            heat_w = greater(0.0, programme.model.elements_give_w(s.estimate.now))
            s.part = parts.moved(programme.part, s.part, chamber_c, room_c, heat_w, dt_s, _part_shows_c(reading), lag_s)
        value = _followed_c(s, programme, reading)
        changed = _move(s, programme, value, dt_s, given.requests)
        _watch(s, state.position, programme, reading, dt_s, given.usable)
        fallback.give_up(s, s.estimate, s.full_w, dt_s)
        if s.position.done or math.isnan(s.position.reference_c):
            wanted = _no_heat(s, programme)
        elif s.given_up:
            wanted = fallback.plain(s, programme, reading.chamber_c if given.usable else s.estimate.now[CHAMBER], dt_s)
        else:
            wanted = _planned(s, programme, value, dt_s, changed, share)
        if reading.door_open:
            wanted = wanted._replace(reason="the door is open; " + wanted.reason)
        if s.watch.swing is not None:
            wanted = wanted._replace(reason=wanted.reason + "; " + _swings(s.watch.swing))
        if s.bursts_k > TOLD_K:
            wanted = wanted._replace(reason=f"{wanted.reason}; its bursts swing the chamber by {s.bursts_k:.0f} K")
        return s, _decision(s, programme, wanted)


def _estimate(
    s: EnergyBalanceState,
    programme: Programme,
    reading: Reading,
    dt_s: float,
    heat_w: float,
    usable: bool,
    uneven: float | None,
) -> None:
    """The estimate of the oven now, after `heat_w` (W) for dt_s, of which `uneven` (see `StepInput`) is more than was
    asked for."""
    door = bool(reading.door_open)
    before = s.estimate
    _door(s, door, s.time_s)
    wander, drift = 1.0, 1.0
    if door:
        wander, drift = DOOR_WANDER, DOOR_DRIFT
    elif s.time_s < s.settling_until_s:
        wander, drift = SETTLING_WANDER, SETTLING_DRIFT
    wander *= programme.wander
    noise_k = math.hypot(programme.noise_k, wild_k(s.watch.ripple_k, programme.noise_k))
    model, late = programme.model, programme.late
    passed = (reading.chamber_c, heat_w, dt_s, programme.ambient_c, noise_k, wander, drift)
    if s.onset is not None and s.onset.since_s > 0.0 and (door or not usable):
        s.estimate, s.onset = s.onset.fed, None
    if s.onset is None:
        s.estimate = estimator.update(model, s.estimate, *passed, usable)
    else:
        fed, share = estimator.update(model, s.onset.fed, *passed, usable), heat_w / s.full_w
        # Before the first heat, in a purge for example, the control's estimate is the one that is fed.
        free = fed if s.onset.waits(share) else estimator.update(model, s.estimate, *passed, False)
        s.onset, s.estimate = onsets.watched(s.onset, model, free, fed, reading.chamber_c, share, noise_k, dt_s, late)
    if uneven is None:
        s.ripple_k = EVEN  # no burst takes it back: that is where the oven is
    else:
        s.ripple_k = ripple_of(model, before, s.ripple_k, uneven * s.full_w, dt_s, programme.ambient_c)
    s.bursts_k = widest_k(s.bursts_k, s.ripple_k)


def _followed_c(s: EnergyBalanceState, programme: Programme, reading: Reading) -> float:
    """The temperature that follows the reference: the chamber's, or the part's, by its thermocouple if there is one,
    °C."""
    if programme.follows != CONTENTS:
        return s.estimate.now[CHAMBER]
    shows_c = _part_shows_c(reading)
    return s.estimate.now[CONTENTS] if shows_c is None else shows_c


def _part_shows_c(reading: Reading) -> float | None:
    """The thermocouple on the part, °C; None without one, with a fault of it, or with what no oven has."""
    shows_c = reading.part_c
    if shows_c is None or not estimator.LOWEST_C < shows_c < estimator.HIGHEST_C:
        return None
    return None if any(word.startswith("part-") for word in reading.faults) else shows_c


def _move(
    s: EnergyBalanceState, programme: Programme, value: float, dt_s: float, requests: tuple[Request, ...]
) -> bool:
    """Move along the reference; also returns whether a new plan is needed."""
    changed = _requests(s, programme, value, requests)
    before, legs = s.position, programme.legs
    counts_c = value
    if programme.follows == CONTENTS and s.part is not None and not before.done and legs[before.leg].kind == "hold":
        # A soak of the part counts only what is certain.
        counts_c = s.part.slowest_c
    elif programme.follows == CHAMBER and not before.done and legs[before.leg].kind != "ramp":
        # Control acts on what it infers; arrival and soak count what the readings show.
        counts_c -= unseen_k(programme.model, s.estimate.now, s.estimate.late)
    s.position = reference.advance(legs, before, counts_c, dt_s, programme.count_always)
    return changed or s.position.leg != before.leg or s.position.waiting != before.waiting


def _no_heat(s: EnergyBalanceState, programme: Programme) -> Wanted:
    s.plan = None
    if s.position.done:
        return Wanted(0.0, 0.0, 0.0, "finished: heat off")
    target_c = programme.legs[s.position.leg].target_c
    return Wanted(0.0, 0.0, 0.0, f"heat off until it has fallen to {target_c:.0f} °C")


def _planned(
    s: EnergyBalanceState, programme: Programme, value: float, dt_s: float, changed: bool, share: float
) -> Wanted:
    """The planned power, from a new plan when one is due, corrected by what the oven does that the model does not
    explain. `share` of full power came in the last tick."""
    estimate, full, now = s.estimate, s.full_w, s.time_s
    followed_c = estimate.now[programme.follows] - s.ripple_k[programme.follows]
    if changed or _plan_is_due(s, programme.model, followed_c, dt_s, share):
        smooth = tuple(t - r for t, r in zip(estimate.now, s.ripple_k, strict=True))
        offset_k = estimate.now[CONTENTS] - value if programme.follows == CONTENTS else 0.0
        s.plan = _plan(programme, s, estimate, smooth, full, now, offset_k)
    assert s.plan is not None  # without a plan one is due
    # Between plans correct only for the change of the unknown heat; the planned powers already answer the rest.
    planned = s.plan.power_at(now)
    trim = -estimate.unexplained_w
    news_w = s.plan.heat_w - estimator.lasting_w(programme.model, estimate)
    demand = lesser(full, greater(0.0, planned + news_w / estimate.shares[0]))
    # At a limit the plan wanted more than there is: a change of a few watts does not leave the limit, only the next
    # plan may.
    if planned >= 0.999 * s.plan.full_w:
        demand = full
    elif planned <= 0.001 * full:
        # With no demand the firing pattern forgets what it owes. Where one run is more than what is wanted, nothing
        # would ever be fired: each time the heat that is owed already seems to be enough.
        demand = OWED * full if s.bursts_k > TOLD_K and s.ripple_k[ELEMENT] < 0.0 else 0.0
    reason = _reason(s, programme, programme.legs[s.position.leg], demand, full, value)
    return Wanted(demand, demand - trim, trim, reason)


def _plan_is_due(s: EnergyBalanceState, model: EnergyModel, followed_c: float, dt_s: float, share: float) -> bool:
    plan = s.plan
    if plan is None:
        return True
    age_s, way_k = s.time_s - plan.time_s, abs(s.position.reference_c - plan.from_c)
    if abs(followed_c - plan.from_c) > greater(PLAN_MOVED_K, PLAN_MOVED * way_k):
        return True
    if age_s >= lesser(PLAN_EVERY_S, PLAN_STEPS * plan.step_s) - 1e-9:
        # Where full power is wanted and none comes, as in a purge, a new plan would be the same.
        return share > 0.0 or plan.power_at(s.time_s) < 0.999 * plan.full_w
    if age_s < lesser(PLAN_EVERY_S, plan.step_s) - 1e-9 and estimator.doubt_of(s.estimate, dt_s) <= PLAN_AT_DOUBT:
        return False
    off_k, planned_w = followed_c - plan.expected_c(s.time_s), plan.power_at(s.time_s)
    if (off_k < 0.0 and planned_w >= 0.999 * plan.full_w) or (off_k > 0.0 and planned_w <= 0.001 * plan.full_w):
        off_k = 0.0  # no plan can give more than there is, nor less than nothing
    return (
        abs(off_k) > greater(PLAN_OFF_K, PLAN_OFF * way_k)
        or abs(estimator.lasting_w(model, s.estimate) - plan.heat_w) > PLAN_OFF_HEAT * s.full_w
        or abs(s.full_w - plan.full_w) > PLAN_OFF_POWER * s.full_w
    )


def _decision(s: EnergyBalanceState, programme: Programme, wanted: Wanted) -> Decision:
    estimate, full, legs = s.estimate, s.full_w, programme.legs
    return Decision(
        duty=duty_of(wanted.demand_w, full),
        demand_w=wanted.demand_w,
        feedforward_w=wanted.feedforward_w,
        trim_w=wanted.trim_w,
        reference_c=math.nan if s.position.done else s.position.reference_c,
        expected_c=estimate.now[CHAMBER],
        chamber_c=estimate.now[CHAMBER],
        part_c=s.part.middle_c if s.part is not None else None,
        part_sd_k=s.part.sd_k if s.part is not None else None,
        element_c=estimate.now[ELEMENT],
        unexplained_w=estimate.unexplained_w,
        full_w=full,
        step=legs[lesser(s.position.leg, len(legs) - 1)].step,
        phase=reference.phase_of(legs, s.position),
        left_s=reference.seconds_left(legs, s.position),
        done=s.position.done,
        wants_heat=not (s.position.done or math.isnan(s.position.reference_c)),
        reason=wanted.reason,
        holding_w=programme.model.keeping_w(estimate.now, programme.ambient_c),
        swing=s.watch.swing,
        care=s.watch.care,
        bursts_k=s.bursts_k if s.bursts_k > TOLD_K else 0.0,
    )


def _swings(swing: swinging.Swing) -> str:
    return f"it swings by {swing.peak_to_peak_k:.1f} K every {swing.period_s:.0f} s, so the control has slowed down"


def _door(s: EnergyBalanceState, door: bool, now: float) -> None:
    """A door's disturbance ends as suddenly as it began: when the door closes, the unexplained heat from before it
    opened is used again. Otherwise the filter would take minutes to unlearn the loss."""
    if door and s.door_since_s is None:
        s.door_since_s, s.door_calm_w = now, s.estimate.calm_w
    elif not door and s.door_since_s is not None:
        s.door_since_s = None
        s.settling_until_s = now + SETTLING_S
        s.estimate = estimator.with_heat(s.estimate, s.door_calm_w)
        s.plan = None


def _full_w(s: EnergyBalanceState, model: EnergyModel, reading: Reading, share: float) -> float:
    """What the elements give now at full duty, W (as rated, like the model's)."""
    if model.believes(reading.supply_v):
        return model.full_power_w(reading.supply_v)
    if reading.current_a and share > CURRENT_TELLS:
        hot = 1.0 + model.resistance_rise_per_k * (s.estimate.now[ELEMENT] - model.rated_c)
        ratio = reading.current_a * hot * model.voltage_v / model.power_w
        if 0.3 < ratio < 1.5:
            s.by_current = ratio * ratio if abs(ratio - 1.0) < SUPPLY_SHARE else ratio
    return s.by_current * model.power_w


def _requests(s: EnergyBalanceState, programme: Programme, value: float, requests: tuple[Request, ...]) -> bool:
    for request in requests:
        p = s.position
        kind = programme.legs[p.leg].kind if not p.done else ""
        if request.kind is RequestKind.HOLD and not p.done:
            # In a heating at full power or a cooling without heat there is no reference: hold the oven where it is now.
            here = (kind in ("jump", "cool") and not p.held) or math.isnan(p.reference_c)
            s.position = p._replace(held=True, reference_c=value if here else p.reference_c)
        elif request.kind is RequestKind.PROCEED and p.held:
            on = programme.legs[p.leg].target_c if kind == "jump" else math.nan if kind == "cool" else p.reference_c
            s.position = p._replace(held=False, reference_c=on)
        elif request.kind is RequestKind.SKIP:
            s.position = reference.skip(programme.legs, p, value)
        elif request.kind is RequestKind.SOAK and not p.done:
            s.position = p._replace(added_s=p.added_s + request.seconds)
    return bool(requests)


def _watch(
    s: EnergyBalanceState,
    before: reference.Position,
    programme: Programme,
    reading: Reading,
    dt_s: float,
    usable: bool,
) -> None:
    """Whether the measured chamber swings about the reference. The ripple of the bursts is taken out, because the loop
    does not cause it."""
    p = s.position
    if p.leg != before.leg or p.done or math.isnan(p.reference_c) or s.door_since_s is not None or not usable:
        s.watch = swinging.restarted(s.watch, s.time_s)
        return
    ripple_k = s.ripple_k[SENSOR]
    error_k = reading.chamber_c - ripple_k - p.reference_c
    late_s = (
        programme.model.dead_s
        + s.estimate.dead_s
        + programme.model.lag_at_s(s.estimate.now[CHAMBER], more_s_of(programme.model, s.estimate.late))
    )
    s.watch = swinging.watched(s.watch, s.time_s, error_k, programme.noise_k, dt_s, late_s, ripple_k)


def _plan(
    programme: Programme,
    s: EnergyBalanceState,
    estimate: estimator.Estimate,
    smooth: tuple[float, ...],
    full: float,
    now: float,
    offset_k: float,
) -> planning.Plan:
    """`smooth`: the estimated temperatures without the ripple of the bursts, which the next bursts take out;
    `offset_k`: how much hotter the model has the part than its own thermocouple says; the plan aims that much
    higher."""
    step_s = programme.plan_step_s
    times, values = reference.preview(programme.legs, s.position, planning.STEPS * step_s)
    goal = np.interp(planning.ENDS * step_s, times, values) + offset_k
    if programme.follows == CHAMBER:
        # The landing is on the careful side of how late the readings come: while the chamber may be hotter than they
        # show, the plan ends so much lower. That goes to zero as the chamber comes to rest.
        late_sd = estimator.spread(estimate, estimator.LATE)
        goal = np.minimum(goal, goal.max() - hotter_k(programme.model, estimate.now, estimate.late, late_sd))
    return planning.make(
        programme.model,
        smooth,
        estimator.lasting_w(programme.model, estimate),
        goal,
        s.plan,
        now,
        full,
        programme.ambient_c,
        step_s,
        programme.follows,
        programme.chamber_limit_c,
        estimate.shares,
        s.watch.care,
    )


def _reason(
    s: EnergyBalanceState, programme: Programme, leg: reference.Leg, demand: float, full: float, value: float
) -> str:
    what = "part" if programme.follows == CONTENTS else "chamber"
    if s.position.held:
        return f"held at {s.position.reference_c:.0f} °C on request"
    if demand >= 0.999 * full:
        return f"full power: the {what} is on its way to {leg.target_c:.0f} °C"
    if leg.kind == "hold":
        if s.position.reference_c != leg.target_c:
            return f"on the way to soak '{leg.name}' at {leg.target_c:.0f} °C, as fast as its ramp would have been"
        if s.position.waiting:
            if what == "part" and s.part is not None and not s.part.measured:
                what = "slowest part that it may be"
            return f"soak '{leg.name}': waiting, the {what} is outside its band"
        return f"soak '{leg.name}': balancing losses at {leg.target_c:.0f} °C"
    if leg.kind == "ramp":
        if s.position.waiting:
            return f"ramp '{leg.name}': the reference waits for the {what}"
        return f"ramp '{leg.name}': following {abs(s.position.rate_k_per_s) * 3600.0:.0f} K/h"
    if demand <= 0.001 * full:
        return f"heat off: stored heat carries the {what} to {leg.target_c:.0f} °C"
    return f"landing on {leg.target_c:.0f} °C with the heat that is stored"
