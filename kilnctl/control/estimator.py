"""The oven's hidden temperatures, and the heat that the model does not explain: an extended Kalman filter on the energy
balance with six added states. One is an unknown heat flow into the chamber, one its trend. Three are factors, 1 where
the model is right: of the elements' power, of the heat that the lining takes from the chamber, of the heat that the
contents take (called shares). A wrong model is mostly wrong by such a factor, and the factor stays the same while the
flows change: what was learnt on a ramp still holds when the soak begins, where an unknown heat flow alone would have to
be estimated again. The sixth is how late the readings come (`kilnctl.control.lateness`).

The thermocouple lags (a state of the model) and is late by the dead time. The filter's state is therefore that of one
dead time ago, and `now` is the model run forward from there through the powers fired since.
Source: A. Gelb (ed.), Applied Optimal Estimation (1974), table 6.1-1; the update is in Joseph-free scalar form."""

import math
from dataclasses import replace

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, SENSOR, EnergyModel, N
from ..safety.extremes import greater, lesser
from .estimate import HEAT, LATE, POWER, SIZE, TREND, Estimate, Tangent, start
from .lateness import by_lateness, doubted, more_s_of, within

#: Random walk of the unknown heat, share of full power per √s: CALM while the mean of the innovations over SURPRISE_S
#: (s) is near zero, which keeps their noise out of the power; up to QUICK when it is not. SURE and DOUBTFUL are values
#: of that mean's square over its variance: for white innovations χ² with one degree of freedom, which is above SURE in
#: 0.5 % and above DOUBTFUL in 0.002 % of cases. Beyond DOUBTFUL the walk goes on growing with that mean.
CALM, QUICK = 1.25e-5, 1.2e-3  # ±30 %: none
SURPRISE_S, SURE, DOUBTFUL = 20.0, 8.0, 18.0  # ±30 %: SURPRISE_S swing +0.02/0 K
#: Heat that has moved will move again, as that of a supply without a meter does: this share of what the walk was (root
#: mean square over RESTLESS_S, s) remains, so that the next change need not first stand out from the noise.
RESTLESS, RESTLESS_S = 0.7, 600.0  # ±30 %: overshoot +0.04 K, swing +0.03 K, error -0.8/-0.8 %
#: Random walk of the unknown heat's trend, share of full power per s and √s, and the time constant with which the trend
#: fades, s. Unexplained heat fades as the lining warms through; an estimate without a trend lags behind it for an hour.
#: The walk grows by TREND_WALK_MOVING times the difference of the mean powers over LATELY_S and BEFORE_S, as a share of
#: full power: quick at the start of a soak, and little noise in the power an hour later.
TREND_WALK, TREND_WALK_MOVING, TREND_S = 1e-7, 1.5e-5, 900.0  # ±30 %: none
#: Random walk of the shares while the readings disagree with the model, per √s.
SHARES_WALK = np.array([3e-3, 3e-3, 5e-3])  # ±30 %: error +0.7/-0.3 %
#: Bounds of the shares; of the unknown heat, times full power; of temperatures, °C: no real oven is outside them.
SHARES_LOW, SHARES_HIGH = (0.2, 0.6, 0.0), (1.5, 1.6, 5.0)  # ±30 %: SHARES_HIGH swing +0.04/0 K, error +4.7/0 %
LARGEST_UNEXPLAINED, LOWEST_C, HIGHEST_C = 10.0, -200.0, 3000.0  # ±30 %: none
#: Process noise, K per √s, of elements, chamber, lining (four), contents, sensor: 0.03 K to 0.13 K in an hour.
DRIFT_K = np.array([0.0022, 0.0009, 0.00045, 0.00045, 0.00045, 0.00045, 0.0009, 0.0])  # ±30 %: none; ×10: error +0.4 %
#: A reading this many standard deviations from its prediction is left out as wild: at most REJECTS in a row, at most
#: LEAVING_REJECTS where it shows that a sudden heat ends.
WILD_SIGMAS, REJECTS, LEAVING_REJECTS = 6.0, 3, 1  # ±30 %: none
#: Readings that stay wild and are SUDDEN_K (K) away show a sudden event (for example a door without a switch). For
#: SUDDEN_S (s) the unknown heat walks by SUDDEN (share of full power per √s) and the shares stay. ANSWER_AFTER: how
#: long the control waits before it answers, as a share of the elements' time constant. On the cabinet's model 0.5 saves
#: two thirds of the overshoot after 30 s of loss and a third after 60 s; for a loss that stays the error is 1.7 times
#: as large (with 1.0: 2.5 times).
SUDDEN_K, SUDDEN_S, SUDDEN, ANSWER_AFTER = 5.0, 90.0, 5e-3, 0.5  # ±30 %: SUDDEN_S error -0.2/+4.6 %
#: Share of what full power does to the chamber while readings are left out that may be the model's error.
OWN_SHARE = 0.5  # ±30 %: none
#: Time constants of means, s: CALM_S of the unknown heat in calm; LATELY_S of the power by which a wrong share is
#: multiplied (power of this second has not yet reached the chamber); BEFORE_S of the earlier power.
CALM_S, LATELY_S, BEFORE_S = 60.0, 60.0, 300.0  # ±30 %: BEFORE_S overshoot -0.04/+0.02 K
#: The tangent is computed again when elements or chamber have moved this far, K, or after this many steps: computing it
#: every step would cost time for no accuracy.
RENEW_ELEMENT_K, RENEW_CHAMBER_K, RENEW = 5.0, 1.0, 30  # ±30 %: none
#: The dead time is crossed in steps of at least this, s: a quick oven moves far in ten.
FORWARD_S = 5.0  # ±30 %: none
#: The same of all states, and its variance per s: only temperatures drift.
_DRIFTS = np.concatenate((DRIFT_K, np.zeros(SIZE - N)))
_DRIFTS_SQUARED = _DRIFTS**2


def update(
    model: EnergyModel,
    estimate: Estimate,
    reading_c: float,
    power_w: float,
    dt_s: float,
    ambient_c: float,
    noise_k: float,
    wander: float = 1.0,
    drift: float = 1.0,
    usable: bool = True,
    find_shares: bool = True,
) -> Estimate:
    """The estimate dt_s later: `power_w` reached the elements during it, and the sensor now shows `reading_c` (noise_k:
    its standard deviation). `wander` scales how fast the unknown heat may change, `drift` how far the temperatures may
    stray from the model (both 1 when nothing is known to go on). With an unusable reading only time passes. With
    `find_shares` False the shares do not change. (A thermocouple on the part is not used: shelf and load are one lump
    here, and fitting that lump to the part's surface made the chamber's estimate worse.)"""
    seen = usable and math.isfinite(reading_c)
    sudden = estimate.sudden_s > 0.0
    fixed = sudden or not find_shares
    doubt = doubt_of(estimate, dt_s) if seen else DOUBTFUL  # unseen, the unknown heat may be anything
    # How far the readings disagree with the model, from 0 (as noise would) to 1.
    news = lesser(1.0, greater(0.0, (doubt - SURE) / (DOUBTFUL - SURE)))
    process_noise = _adapt_noise(model, estimate, doubt, news, wander, drift, fixed)
    # `after` is new: the functions below change it, until it is handed out.
    after, late_s = _predict(model, estimate, power_w, dt_s, ambient_c, process_noise, fixed)
    after.sudden_s = greater(0.0, estimate.sudden_s - dt_s)
    # An event with its own end tells nothing of what comes after it.
    moved = news * news if seen and not sudden and drift == 1.0 else 0.0
    after.restless += (moved - after.restless) * lesser(1.0, dt_s / RESTLESS_S)
    # While a dead time that was found fills, no time passes for the filter: a reading is no news.
    if seen and (estimate.dead_s <= 0.0 or len(after.pending) <= len(estimate.pending)):
        _gate_innovation(model, after, reading_c, dt_s, noise_k, sudden, doubt)
    if _is_possible(after.x):
        if drift == 1.0 and not sudden:
            after.calm_w += (after.heat_w - after.calm_w) * lesser(1.0, dt_s / CALM_S)
        after.lately_w += (power_w - after.lately_w) * lesser(1.0, dt_s / LATELY_S)
        after.before_w += (power_w - after.before_w) * lesser(1.0, dt_s / BEFORE_S)
        _forward_to_now(model, after, late_s, ambient_c)
        if _is_possible(after.now):
            return after
    # The model is wrong or the readings jump: start again from the reading.
    return start(model, reading_c if seen else min(HIGHEST_C, max(ambient_c, 0.0)), ambient_c)


def _is_possible(x) -> bool:
    """Whether any oven can have these temperatures, °C."""
    for t in x:  # noqa: SIM110 - a tick asks twice, and a generator takes three times as long
        if not LOWEST_C < t < HIGHEST_C:
            return False
    return True


def _adapt_noise(
    model: EnergyModel, estimate: Estimate, doubt: float, news: float, wander: float, drift: float, fixed: bool
) -> np.ndarray:
    """Process noise of each state, variance per s, (SIZE,): it grows as the recent readings disagree with the model.
    `fixed`: the shares do not walk."""
    # The further from their prediction, the more has changed; else temperatures that no sensor measures explain it.
    alarm = math.sqrt(greater(1.0, doubt / DOUBTFUL))
    moves = greater(news * alarm, RESTLESS * math.sqrt(estimate.restless))
    heat_walk_w = wander * (CALM + (QUICK - CALM) * moves) * model.power_w
    if estimate.sudden_s > 0.0:
        heat_walk_w = max(heat_walk_w, SUDDEN * model.power_w)
    trend_walk_w = TREND_WALK * model.power_w + TREND_WALK_MOVING * abs(estimate.lately_w - estimate.before_w)
    trend_walk_w *= wander if drift == 1.0 else 1.0
    noise = _DRIFTS_SQUARED.copy() if drift == 1.0 else (drift * _DRIFTS) ** 2
    noise[HEAT], noise[TREND] = heat_walk_w * heat_walk_w, trend_walk_w * trend_walk_w
    if news > 0.0 and not fixed:
        shares_walk = SHARES_WALK * news
        noise[POWER:TREND] = shares_walk * shares_walk
    return noise


def _predict(
    model: EnergyModel,
    estimate: Estimate,
    power_w: float,
    dt_s: float,
    ambient_c: float,
    process_noise: np.ndarray,
    fixed: bool,
) -> tuple[Estimate, float]:
    """A new estimate, moved through the powers that are older than the dead time; and the time for which the powers
    still pending were fired, s. With `fixed`, uncertain shares do not make temperatures uncertain."""
    x, heat_w, trend_w_per_s, shares = estimate.x, estimate.heat_w, estimate.trend_w_per_s, estimate.shares
    covariance, tangent, age = estimate.covariance, estimate.tangent, estimate.age
    more_s = more_s_of(model, estimate.late)
    pending = [*estimate.pending, (power_w, dt_s)]
    late_s = 0.0
    for _, dt in pending:
        late_s += dt
    # To the nearest tick: rounded up, a dead time just above a whole number of ticks puts the filter a tick too early.
    while pending and late_s - 0.5 * pending[0][1] >= model.dead_s + estimate.dead_s - 1e-9:
        watts, dt = pending.pop(0)
        late_s -= dt
        if tangent is None or age >= RENEW or stale(tangent, x, dt):
            tangent, age = tangent_at(model, x, dt, ambient_c, shares, more_s), 0
        age += 1
        into_lining, into_contents = model.taken_w(x)
        transition = tangent.transition
        by_shares = transition[:N, POWER:TREND]
        shows_c = x[SENSOR]
        if fixed:
            by_shares[:] = 0.0
        else:
            np.multiply(tangent.by_watt, (watts, into_lining, into_contents), out=by_shares)
        before_c, x = x[CHAMBER], model.step(x, shares[0] * watts, dt, ambient_c, heat_w, *shares[1:], more_s)
        ahead_k = 0.0 if fixed else 0.5 * (before_c + x[CHAMBER]) - shows_c
        transition[SENSOR, LATE] = by_lateness(model, ahead_k, x[CHAMBER], dt, more_s, estimate.surprise)
        heat_w += trend_w_per_s * dt
        trend_w_per_s *= math.exp(-dt / TREND_S)
        covariance = transition.dot(covariance).dot(transition.T)
        diagonal = covariance.reshape(-1)[:: SIZE + 1]
        diagonal += process_noise * dt
    e = estimate  # by place: a tick makes one of these, and names cost more than the numbers
    after = Estimate(
        *(x, covariance, e.now, heat_w, trend_w_per_s, shares, e.unexplained_w, tuple(pending), tangent, age),
        *(e.rejected, e.surprise, e.calm_w, e.lately_w, e.before_w, e.sudden_s, e.late, e.dead_s, e.restless),
    )
    return after, late_s


def tangent_at(
    model: EnergyModel, x, dt_s: float, ambient_c: float, shares: tuple[float, float, float], late_s: float
) -> Tangent:
    """The model's tangent at `x` for steps of dt_s."""
    a, by_power, by_heat = model.linearise(x, dt_s, ambient_c, *shares[1:], late_s)
    transition = np.eye(SIZE)
    transition[:N, :N], transition[:N, HEAT] = a, by_heat
    transition[HEAT, TREND], transition[TREND, TREND] = dt_s, math.exp(-dt_s / TREND_S)
    by_watt = np.stack((by_power, -by_heat, -by_heat), axis=1)
    return Tangent(transition, x, dt_s, by_watt)


def stale(tangent: Tangent, x, dt_s: float) -> bool:
    """Whether x, or the step, is too far from the tangent's."""
    return (
        abs(x[ELEMENT] - tangent.x[ELEMENT]) > RENEW_ELEMENT_K
        or abs(x[CHAMBER] - tangent.x[CHAMBER]) > RENEW_CHAMBER_K
        or abs(dt_s - tangent.step_s) > 0.1 * tangent.step_s
    )


def _gate_innovation(
    model: EnergyModel, estimate: Estimate, reading_c: float, dt_s: float, noise_k: float, sudden: bool, doubt: float
) -> None:
    """Bring the reading into the estimate, unless it is wild. Readings that stay wild are believed; if they are far
    away, the estimate is first made uncertain, as after a sudden event. Not where the readings left the model that way
    before (`doubt`): that was coming, it is the model that is wrong, and shares and lateness go on explaining it."""
    # The filter works at the tick nearest to the dead time; the rest of the dead time is neglected.
    innovation = reading_c - estimate.x[SENSOR]
    variance = greater(0.0, float(estimate.covariance[SENSOR, SENSOR])) + noise_k * noise_k + 1e-6
    leaves = sudden and (estimate.heat_w - estimate.calm_w) * innovation < 0.0  # sudden heat ends suddenly
    rejects = LEAVING_REJECTS if leaves else REJECTS
    if innovation * innovation > WILD_SIGMAS**2 * variance and estimate.rejected < rejects:
        estimate.rejected += 1
        return
    came = doubt > DOUBTFUL and estimate.surprise * innovation > 0.0 and not sudden
    if estimate.rejected >= rejects and not came and abs(innovation) > _least_sudden_k(model, estimate.x, dt_s):
        _open_for_sudden_heat(model, estimate, innovation, leaves)
        variance += innovation * innovation
    _correct(model, estimate, innovation, variance, dt_s)


def _least_sudden_k(model: EnergyModel, x, dt_s: float) -> float:
    """How far away wild readings show a sudden event, K: further than a wrong model of a quick oven may be by its own
    power alone, while they were left out."""
    span_s = (REJECTS + 1) * dt_s
    with_full, without = (model.step(x, watts, span_s, model.ambient_c)[CHAMBER] for watts in (model.power_w, 0.0))
    return greater(SUDDEN_K, OWN_SHARE * (with_full - without))


def _open_for_sudden_heat(model: EnergyModel, estimate: Estimate, innovation: float, leaves: bool) -> None:
    """Make the estimate uncertain where a sudden heat flow (`leaves`: the end of one) changes it; the shares do not
    change."""
    covariance = estimate.covariance.copy()  # until the dead time has passed it is still the last estimate's
    covariance[POWER:, :POWER] = covariance[:POWER, POWER:] = 0.0
    covariance[TREND, :] = covariance[:, TREND] = 0.0  # with the variance alone gone a later one could be negative
    covariance[CHAMBER, CHAMBER] += innovation * innovation
    # The sensor shows that the chamber has changed: if its state stayed certain, the next readings would be wild again.
    covariance[SENSOR, SENSOR] += innovation * innovation
    if leaves:
        covariance[HEAT, :] = covariance[:, HEAT] = 0.0
        estimate.heat_w = estimate.calm_w
    else:
        # A light chamber settles within seconds, displaced by that heat over the conductance to its surroundings.
        covariance[HEAT, HEAT] += (innovation * model.around_w_per_k(estimate.x)) ** 2
    estimate.covariance, estimate.trend_w_per_s, estimate.sudden_s = covariance, 0.0, SUDDEN_S


def _correct(model: EnergyModel, estimate: Estimate, innovation: float, variance: float, dt_s: float) -> None:
    """The measurement update with an innovation of this variance (K, K²), the states kept within their bounds."""
    before = estimate.covariance
    gains = before[:, SENSOR] / variance
    covariance = before - gains[:, None].dot(before[SENSOR : SENSOR + 1])
    gain = gains.tolist()
    of_late = gain[LATE]
    if of_late != 0.0:
        believed = variance / (variance + doubted(model, estimate.x, estimate.late, estimate.heat_w, dt_s))
        # Its effect is anything but linear: no reading moves it further than its standard deviation.
        believed = lesser(believed, spread(estimate, LATE) / greater(1e-9, abs(of_late * innovation)))
        gain[LATE] = of_late * believed
        covariance[LATE, LATE] += variance * (of_late * (1.0 - believed)) ** 2
    states = (*estimate.x, estimate.heat_w, *estimate.shares, estimate.trend_w_per_s, estimate.late)
    corrected = [state + g * innovation for state, g in zip(states, gain)]
    most_w = LARGEST_UNEXPLAINED * model.power_w
    for k, (low, high) in enumerate(zip(SHARES_LOW, SHARES_HIGH), POWER):
        if not low < corrected[k] < high:
            # At its bound a share can explain no more: it counts as certain, and the other states explain the rest.
            corrected[k] = min(high, max(low, corrected[k]))
            covariance[k, :] = covariance[:, k] = 0.0
    standardised = innovation / math.sqrt(variance)
    estimate.x, estimate.covariance = tuple(corrected[:N]), covariance
    estimate.heat_w = lesser(most_w, greater(-most_w, corrected[HEAT]))
    estimate.trend_w_per_s, estimate.shares = (
        corrected[TREND],
        (corrected[POWER], corrected[POWER + 1], corrected[POWER + 2]),
    )
    estimate.late = within(model, corrected[LATE])
    if estimate.late != corrected[LATE]:
        # As with the shares; it does not walk, so its variance stays, and readings can take it from its bound.
        covariance[LATE, :LATE] = covariance[:LATE, LATE] = 0.0
    estimate.rejected = 0
    estimate.surprise += (standardised - estimate.surprise) * lesser(1.0, dt_s / SURPRISE_S)


def _forward_to_now(model: EnergyModel, estimate: Estimate, late_s: float, ambient_c: float) -> None:
    """Set `now`, and all that the model does not explain at that time."""
    now, heat_w, shares = estimate.x, estimate.heat_w, estimate.shares
    if estimate.pending:
        # In steps of some seconds at their mean power.
        more_s, joules, length_s = more_s_of(model, estimate.late), 0.0, 0.0
        for watts, dt in estimate.pending:
            joules, length_s, late_s = joules + watts * dt, length_s + dt, late_s - dt
            if length_s >= FORWARD_S or late_s < 0.5 * dt:
                watts = shares[0] * joules / length_s
                now = model.step(now, watts, length_s, ambient_c, heat_w, *shares[1:], more_s)
                joules = length_s = 0.0
    into_lining, into_contents = model.taken_w(now)
    estimate.now = now
    estimate.unexplained_w = (
        heat_w
        + (shares[0] - 1.0) * estimate.lately_w
        - (shares[1] - 1.0) * into_lining
        - (shares[2] - 1.0) * into_contents
    )


def doubt_of(estimate: Estimate, dt_s: float) -> float:
    """Normalised innovation of the recent readings together: square of their mean innovation over its variance."""
    return 2.0 * SURPRISE_S / dt_s * estimate.surprise**2


def lasting_w(model: EnergyModel, estimate: Estimate) -> float:
    """The unknown heat to plan with from now on, W. A sudden heat flow is expected to end as suddenly, until it has
    lasted for ANSWER_AFTER of the elements' time constant: power given sooner reaches the chamber after the event is
    over."""
    if estimate.sudden_s <= 0.0:
        return estimate.heat_w
    lag_s = model.element_j_per_k / model.flows(estimate.now, model.ambient_c)[0][2]
    recent = estimate.sudden_s > max(0.0, SUDDEN_S - ANSWER_AFTER * lag_s)
    return estimate.calm_w if recent else estimate.heat_w


def with_heat(estimate: Estimate, heat_w: float) -> Estimate:
    """The same estimate with the unknown heat set, uncorrelated with the other states."""
    covariance = estimate.covariance.copy()
    covariance[HEAT, :HEAT] = covariance[:HEAT, HEAT] = covariance[HEAT, POWER:] = covariance[POWER:, HEAT] = 0.0
    return replace(estimate, heat_w=heat_w, trend_w_per_s=0.0, covariance=covariance)


def spread(estimate: Estimate, state: int) -> float:
    """Standard deviation of one state, in its unit."""
    return math.sqrt(greater(0.0, float(estimate.covariance[state, state])))


__all__ = [
    "CHAMBER",
    "CONTENTS",
    "ELEMENT",
    "Estimate",
    "doubt_of",
    "lasting_w",
    "spread",
    "stale",
    "start",
    "tangent_at",
    "update",
    "with_heat",
]
