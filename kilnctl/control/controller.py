"""One control step: reference → estimator → energy-balance feedforward + trim → demand in watts. Pure; numpy at most.

feedforward  what the energy balance says is needed to follow the reference from the estimated state
trim         the answer to heat that nobody accounts for: minus the estimated unexplained watts, renewed every tick
demand       their sum, within 0 and what the elements can give
"""

import math
from dataclasses import dataclass, field, replace

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, EnergyModel, N
from ..reading import Reading
from . import estimator, reference
from . import predictive as planning
from .feasibility import Programme
from .pid import simc_pi

#: A new plan is made after this many seconds or one of its steps, whichever is less; when what it follows has moved so many kelvin and this part
#: of its way; and whenever something changed: on request, at a corner, or in the oven (`estimator.doubt_of`).
PLAN_EVERY_S, PLAN_MOVED_K, PLAN_MOVED, PLAN_AT_DOUBT = 10.0, 0.5, 0.1, 6.0
#: Without a voltmeter the current tells of the supply: this near to what the elements should draw it is taken for the voltage (P ∝ I²), further off
#: for the elements themselves (one of several broken, aged: P ∝ I). Shares of full power fired below which it tells nothing.
SUPPLY_SHARE, CURRENT_TELLS = 0.12, 0.02
#: While a door is open anything may be lost: the unknown heat may change so many times faster, and the hidden temperatures stray so many times
#: further. For SETTLING_S after it what was lost before is trusted, and what the draught took out of lining, load and elements is found anew.
DOOR_WANDER, DOOR_DRIFT = 80.0, 20.0
SETTLING_S, SETTLING_WANDER, SETTLING_DRIFT = 60.0, 2.0, 20.0
#: The model is given up for a plain PI when this share of full power stays unexplained this long.
GIVE_UP_SHARE, GIVE_UP_S = 0.6, 900.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What the step decided, all of it for the record. `duty` is what is asked of the gate; watts are of the elements.

    `holding_w`: full power's part, W, that only keeps the chamber where it is while lining and contents are as warm as they are now (0: not known).
    `wants_heat`: whether the schedule has heat in it now. False in a cooling and at the end, where the contactor opens; a moment of no demand in a
    ramp or a soak is no reason to open it. `phase` and `reason` are words for people: no rule reads them."""

    duty: float
    demand_w: float
    feedforward_w: float
    trim_w: float
    reference_c: float
    expected_c: float
    expected_sd_k: float
    chamber_c: float
    part_c: float | None
    part_sd_k: float | None
    element_c: float | None
    unexplained_w: float
    full_w: float
    step: int
    phase: str
    left_s: float
    done: bool
    wants_heat: bool
    reason: str
    holding_w: float = 0.0


@dataclass(slots=True)
class ControlState:
    """Carried from step to step; `step` returns a new one."""

    time_s: float
    position: reference.Position
    estimate: estimator.Estimate
    plan: planning.Plan | None = None
    door_since_s: float | None = None
    door_calm_w: float = 0.0
    by_current: float = 1.0
    settling_until_s: float = -1.0
    disagreeing_s: float = 0.0
    given_up: bool = False
    integral_w: float = 0.0
    full_w: float = 0.0
    ripple_k: tuple[float, ...] = (0.0,) * N
    requests: tuple[str, ...] = field(default_factory=tuple)


def start(programme: Programme, reading: Reading, time_s: float = 0.0) -> ControlState:
    """The state before the first step, from the first reading; what no oven can be starts from room temperature."""
    value = reading.chamber_c if estimator.LOWEST_C < reading.chamber_c < estimator.HIGHEST_C else programme.ambient_c
    estimate = estimator.start(programme.model, value, min(programme.ambient_c, value))
    return ControlState(time_s, reference.begin(programme.legs, value), estimate, full_w=programme.model.power_w)


def step(
    programme: Programme,
    state: ControlState,
    reading: Reading,
    dt_s: float,
    fired: float | None = None,
    requests: tuple[str, ...] = (),
    usable: bool = True,
    uneven: float = 0.0,
) -> tuple[ControlState, Decision]:
    """Decide for the coming tick. `fired`: share of full power since the last step (the reading's own is used when it has
    one); `uneven`: how much of it the firing pattern gave more than was asked of it, because it fires in bursts (below 0: less); `requests`: "hold", "go on", "skip", "soak N" (N more seconds); `usable` False when safety does not trust the reading."""
    model, legs, ambient = programme.model, programme.legs, programme.ambient_c
    s = ControlState(*(getattr(state, name) for name in ControlState.__slots__))
    s.time_s = now = state.time_s + dt_s
    share = reading.fired_or(fired or 0.0)
    s.full_w = full = _full_w(s, model, reading, share)
    door = bool(reading.door_open)
    _door(s, door, now)

    wander, drift = (
        (DOOR_WANDER, DOOR_DRIFT)
        if door
        else (SETTLING_WANDER, SETTLING_DRIFT)
        if now < s.settling_until_s
        else (1.0, 1.0)
    )
    wander *= programme.wander
    s.estimate = estimate = estimator.update(
        model, state.estimate, reading.chamber_c, share * full, dt_s, ambient, programme.noise_k, wander, drift, usable
    )
    s.ripple_k = estimator.ripple_of(model, state.estimate, state.ripple_k, share * full, uneven * full, dt_s, ambient)
    chamber = estimate.now[CHAMBER]
    follows_part = programme.follows == CONTENTS
    value = estimate.now[CONTENTS] if follows_part else chamber
    if follows_part and reading.part_c is not None and math.isfinite(reading.part_c):
        value = reading.part_c
    changed = _requests(s, programme, value, requests)
    before = s.position
    s.position = reference.advance(legs, s.position, value, dt_s, programme.count_always)
    changed |= (
        s.position.leg != before.leg
        or s.position.waiting != before.waiting
        or reference.ends_now(legs, s.position, dt_s)
    )
    _give_up(s, estimate, full, dt_s)

    target = s.position.reference_c
    cooling = s.position.done or math.isnan(target)
    if cooling:
        s.plan = None
        demand = feedforward = trim = 0.0
        reason = (
            "finished: heat off"
            if s.position.done
            else f"heat off until it has fallen to {legs[s.position.leg].target_c:.0f} °C"
        )
    elif s.given_up:
        demand, feedforward, trim = _plain(s, programme, target, reading.chamber_c if usable else chamber, full, dt_s)
        reason = "plain PI: the model and the oven disagree too much"
    else:
        doubt = estimator.doubt_of(estimate, dt_s)
        smooth = tuple(t - r for t, r in zip(estimate.now, s.ripple_k))
        if (
            s.plan is None
            or changed
            or doubt > PLAN_AT_DOUBT
            or now - s.plan.time_s >= min(PLAN_EVERY_S, s.plan.step_s) - 1e-9
            or abs(smooth[programme.follows] - s.plan.from_c)
            > max(PLAN_MOVED_K, PLAN_MOVED * abs(target - s.plan.from_c))
        ):
            s.plan = _plan(
                programme, s, estimate, smooth, full, now, estimate.now[CONTENTS] - value if follows_part else 0.0, dt_s
            )
        # Between plans only the unknown heat has news; the planned powers already answer what was known of it.
        planned = s.plan.power_at(now)
        trim = -estimate.unexplained_w
        demand = min(
            full, max(0.0, planned + (s.plan.heat_w - estimator.lasting_w(model, estimate)) / estimate.shares[0])
        )
        # At a limit the plan would have liked more than there is: news of a few watts does not lift it off, only the next plan may.
        if planned >= 0.999 * s.plan.full_w:
            demand = full
        elif planned <= 0.001 * full:
            demand = 0.0
        feedforward = demand - trim
        reason = _reason(s, programme, legs[s.position.leg], demand, full, value)
    if door:
        reason = "the door is open; " + reason
    duty = min(1.0, demand / full) if full > 0.0 else 0.0
    has_part = model.contents_j_per_k > 0.0
    leg = legs[min(s.position.leg, len(legs) - 1)]
    return s, Decision(
        duty=duty,
        demand_w=demand,
        feedforward_w=feedforward,
        trim_w=trim,
        reference_c=target if not cooling else math.nan,
        expected_c=estimate.now[CHAMBER],
        expected_sd_k=estimator.spread_k(estimate, CHAMBER),
        chamber_c=chamber,
        part_c=estimate.now[CONTENTS] if has_part else None,
        part_sd_k=_part_sd(estimate, programme) if has_part else None,
        element_c=estimate.now[ELEMENT],
        unexplained_w=estimate.unexplained_w,
        full_w=full,
        step=leg.step,
        phase=_phase(s, leg),
        left_s=reference.seconds_left(legs, s.position),
        done=s.position.done,
        wants_heat=not cooling,
        reason=reason,
        holding_w=model.keeping_w(estimate.now, ambient),
    )


def _door(s: ControlState, door: bool, now: float) -> None:
    """A door is the disturbance that leaves as suddenly as it came: what was unexplained before it opened is taken up
    again when it closes, instead of letting the filter unlearn the loss over minutes."""
    if door and s.door_since_s is None:
        s.door_since_s, s.door_calm_w = now, s.estimate.calm_w
    elif not door and s.door_since_s is not None:
        s.door_since_s = None
        s.settling_until_s = now + SETTLING_S
        s.estimate = estimator.with_heat(s.estimate, s.door_calm_w)
        s.plan = None


def _full_w(s: ControlState, model: EnergyModel, reading: Reading, share: float) -> float:
    """What the elements give now at full duty, W (as rated, like the model's)."""
    if model.believes(reading.supply_v):
        return model.full_power_w(reading.supply_v)
    if reading.current_a and share > CURRENT_TELLS:
        hot = 1.0 + model.resistance_rise_per_k * (s.estimate.now[ELEMENT] - model.rated_c)
        ratio = reading.current_a * hot * model.voltage_v / model.power_w
        if 0.3 < ratio < 1.5:
            s.by_current = ratio * ratio if abs(ratio - 1.0) < SUPPLY_SHARE else ratio
    return s.by_current * model.power_w


def _requests(s: ControlState, programme: Programme, value: float, requests: tuple[str, ...]) -> bool:
    for request in requests:
        p = s.position
        kind = programme.legs[p.leg].kind if not p.done else ""
        if request == "hold" and not p.done:
            # On its way as fast as it can, or cooling without heat, the oven is held where it is now.
            here = kind in ("jump", "cool") and not p.held or math.isnan(p.reference_c)
            s.position = replace(p, held=True, reference_c=value if here else p.reference_c)
        elif request == "go on" and p.held:
            on = programme.legs[p.leg].target_c if kind == "jump" else math.nan if kind == "cool" else p.reference_c
            s.position = replace(p, held=False, reference_c=on)
        elif request == "skip":
            s.position = reference.skip(programme.legs, p, value)
        elif request.startswith("soak ") and not p.done:
            s.position = replace(p, added_s=p.added_s + float(request[5:]))
    return bool(requests)


def _give_up(s: ControlState, estimate: estimator.Estimate, full: float, dt: float) -> None:
    badly = abs(estimate.heat_w) > GIVE_UP_SHARE * full
    s.disagreeing_s = max(0.0, s.disagreeing_s + (dt if badly else -dt))
    if s.disagreeing_s > GIVE_UP_S and not s.given_up:
        s.given_up, s.integral_w = True, max(0.0, min(full, -estimate.unexplained_w))


def _plain(
    s: ControlState, programme: Programme, target: float, value: float, full: float, dt: float
) -> tuple[float, float, float]:
    # The model that the rule is fed with is the one that was given up: the rule's slower choice bears an oven three times as quick as it says.
    pi = simc_pi(programme.model, target, programme.ambient_c, slower=3.0)
    error = target - value
    proportional = pi.gain_w_per_k * error
    demand = min(full, max(0.0, proportional + s.integral_w))
    unlimited = proportional + s.integral_w
    if 0.0 < unlimited < full or (unlimited >= full) == (error < 0.0):
        s.integral_w += pi.gain_w_per_k * error * dt / pi.integral_s
    return demand, 0.0, demand


def _plan(
    programme: Programme,
    s: ControlState,
    estimate: estimator.Estimate,
    smooth: tuple[float, ...],
    full: float,
    now: float,
    offset_k: float,
    dt_s: float,
) -> planning.Plan:
    """`smooth`: the estimated temperatures without the ripple of the bursts, which the next bursts take out; `offset_k`: how much hotter the model has the part than its own thermocouple says; the plan aims that much higher."""
    step_s = programme.plan_step_s
    times, values = reference.preview(programme.legs, s.position, planning.STEPS * step_s, dt_s)
    goal = np.interp(planning.ENDS * step_s, times, values) + offset_k
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
    )


def _part_sd(estimate: estimator.Estimate, programme: Programme) -> float:
    """Spread of the part's estimate: the filter's, and the description's uncertainty of the load in the lag behind the chamber."""
    lag = abs(estimate.now[CHAMBER] - estimate.now[CONTENTS])
    return math.hypot(estimator.spread_k(estimate, CONTENTS), programme.load_uncertainty * lag)


def _phase(s: ControlState, leg: reference.Leg) -> str:
    if s.position.done:
        return "finished"
    if s.position.held:
        return "held"
    return {"ramp": "ramp", "jump": "heat up", "cool": "cooling", "hold": "soak"}[leg.kind]


def _reason(s: ControlState, programme: Programme, leg: reference.Leg, demand: float, full: float, value: float) -> str:
    what = "part" if programme.follows == CONTENTS else "chamber"
    if s.position.held:
        return f"held at {s.position.reference_c:.0f} °C on request"
    if demand >= 0.999 * full:
        return f"full power: the {what} is on its way to {leg.target_c:.0f} °C"
    if leg.kind == "hold":
        if s.position.reference_c != leg.target_c:
            return f"on the way to soak '{leg.name}' at {leg.target_c:.0f} °C, as fast as its ramp would have been"
        if s.position.waiting:
            return f"soak '{leg.name}': waiting, the {what} is outside its band"
        return f"soak '{leg.name}': balancing losses at {leg.target_c:.0f} °C"
    if leg.kind == "ramp":
        if s.position.waiting:
            return f"ramp '{leg.name}': the reference waits for the {what}"
        return f"ramp '{leg.name}': following {abs(s.position.rate_k_per_s) * 3600.0:.0f} K/h"
    if demand <= 0.001 * full:
        return f"heat off: stored heat carries the {what} to {leg.target_c:.0f} °C"
    return f"landing on {leg.target_c:.0f} °C with the heat that is stored"
