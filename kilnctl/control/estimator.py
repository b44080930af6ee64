"""What the oven's hidden temperatures are, and where the heat goes that the model does not explain: an extended Kalman
filter on the energy balance with five added states. One is a heat flow into the chamber of unknown origin, one its
trend. Three are shares of what the model has, 1 where it is right: of the elements' power, of the heat that the lining
takes from the chamber, of the heat that the contents take. A model that is wrong is mostly wrong by such a factor, and
a factor stays what it is while the flows change: what was learnt on the way up holds at the landing, where a plain heat
flow would have to be found anew.

The thermocouple tells of the past: it lags (a state of the model) and is late by the dead time. The filter therefore
lives at the time the reading speaks of, and `now` runs the model forward through the powers already fired since then.
Source of the filter: A. Gelb (ed.), Applied Optimal Estimation (1974), table 6.1-1; the update is in Joseph-free scalar
form."""

import math
from dataclasses import dataclass, replace

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, ELEMENT, LINING, SENSOR, EnergyModel, N

#: Places of the added states: the unknown heat flow, W; shares of the power, of the lining's heat, of the contents'
#: heat; the heat's trend, W/s.
HEAT, POWER, LINING_TAKES, CONTENTS_TAKE, TREND = N, N + 1, N + 2, N + 3, N + 4
SIZE = N + 5
#: What is believed of them at the start, standard deviations: of the heat as a share of full power. The shares' are a
#: fitted model's; how far a worse one is off, its readings tell (SHARES_WALK).
HEAT_SD, SHARES_SD = 0.05, np.array([0.03, 0.03, 0.1])
#: How far the lining, from its near to its far parts, has warmed through at the start, as shares of the chamber's
#: excess: an oven that is warm then has been hotter and cools, and without heat the chamber is where the near lining
#: is. And the standard deviations.
WARMED, WARMED_SD = (1.0, 0.9, 0.7), (0.15, 0.2, 0.2)
#: Random walk of the unknown heat: share of full power per √s. CALM while the readings fall evenly around their
#: prediction, which keeps their noise out of the power; up to QUICK once their mean over SURPRISE_S does not. SURE and
#: DOUBTFUL: of that mean's square over its variance (were they white, χ² of one degree of freedom: 0.5 % lie above
#: SURE, 0.002 % above DOUBTFUL). Beyond DOUBTFUL it grows on with that mean.
CALM, QUICK = 1.25e-5, 1.2e-3
SURPRISE_S, SURE, DOUBTFUL = 20.0, 8.0, 18.0
#: How fast the unknown heat goes up or down by itself: random walk of that, share of full power per s and √s, and how
#: long it lasts, s. What a model does not explain fades as the lining warms through; followed by a level alone it stays
#: behind by that much for an hour. And it is a share of what goes on: the walk grows with the share of full power by
#: which the mean power of LATELY_S is another than that of BEFORE_S. So it is wide awake when the oven has just landed,
#: and lets little noise into the power an hour later.
TREND_WALK, TREND_WALK_MOVING, TREND_S = 1e-7, 1.5e-5, 900.0
#: The random walk of the shares in doubt, per √s.
SHARES_WALK = np.array([3e-3, 3e-3, 5e-3])
#: The shares' bounds; no heat that nobody accounts for is larger than so many times full power; no temperature of an
#: oven lies beyond these, °C.
SHARES_LOW, SHARES_HIGH = (0.2, 0.6, 0.0), (1.5, 1.6, 5.0)
LARGEST_UNEXPLAINED, LOWEST_C, HIGHEST_C = 10.0, -200.0, 3000.0
#: Model error of each temperature, K per √s.
DRIFT_K = np.array([0.0022, 0.0009, 0.00045, 0.00045, 0.00045, 0.00045, 0.0009, 0.0])
#: A reading this many standard deviations away is left out, at most REJECTS in a row, and LEAVING_REJECTS where it
#: tells that a sudden heat ends.
WILD_SIGMAS, REJECTS, LEAVING_REJECTS = 6.0, 3, 1
#: Readings that stay wild and are so many kelvin away tell of something sudden (a door that no switch reports): for
#: SUDDEN_S it is the unknown heat that changes, so fast, and the shares stay what they were. ANSWER_AFTER, share of the
#: elements' time constant: on the cabinet's model half saves two thirds of the overshoot after 30 s of loss, and a
#: third of that after 60 s; a loss that stays costs 1.7 times the error (one: 2.5 times).
SUDDEN_K, SUDDEN_S, SUDDEN, ANSWER_AFTER = 5.0, 90.0, 5e-3, 0.5
#: What is unknown in calm is its mean over so long, s; and over so long the power is averaged that a wrong share of it
#: is counted with: what is switched on this second has not reached the chamber. What was before is the mean power over
#: so long, s.
CALM_S, LATELY_S, BEFORE_S = 60.0, 60.0, 300.0
#: What bursts have left of so little ripple is none, K.
RIPPLE_GONE_K = 1e-3
#: The tangent is renewed once elements or chamber have moved so far, K, and after so many steps.
RENEW_ELEMENT_K, RENEW_CHAMBER_K, RENEW = 5.0, 1.0, 30
_DIAGONAL = slice(None, None, SIZE + 1)


@dataclass(slots=True)
class Estimate:
    """Filter state; treated as immutable (each step makes a new one). `x`, `heat_w` (W into the chamber from nowhere
    known), its trend and `shares` (power, lining, contents) are of dead time ago. `unexplained_w`: all that the model
    as it is does not explain, as a heat flow into the chamber. `calm_w`: `heat_w` when last nothing sudden went on;
    `surprise`: the recent mean of reading minus prediction in its standard deviations."""

    x: tuple[float, ...]
    heat_w: float
    trend_w_per_s: float
    shares: tuple[float, float, float]
    unexplained_w: float
    covariance: np.ndarray  # (SIZE, SIZE)
    pending: tuple[tuple[float, float], ...]  # (power W, dt s) fired since then, oldest first
    tangent: (
        tuple[np.ndarray, tuple[float, ...], float, np.ndarray, np.ndarray] | None
    )  # matrix; where and for which step; its columns for power and heat
    age: int
    rejected: int
    surprise: float
    calm_w: float
    lately_w: float
    before_w: float
    sudden_s: float
    now: tuple[float, ...]


def start(model: EnergyModel, reading_c: float, ambient_c: float) -> Estimate:
    """Cold or warm: the chamber is what the sensor says; how far the lining has warmed through is unknown."""
    warm = max(0.0, reading_c - ambient_c)
    lining, near_k = _lining_at_start(model, reading_c, ambient_c)
    x = (reading_c, reading_c, *lining, reading_c, reading_c)
    shares = np.array([0.3, 0.3, 0.02, *WARMED_SD, 0.1, 0.0]) * warm
    shares[: CHAMBER + 1] = np.minimum(shares[: CHAMBER + 1], near_k)
    covariance = np.diag(
        np.concatenate((shares + np.array([0.5] * 7 + [0.3]), [HEAT_SD * model.power_w], SHARES_SD, [0.0])) ** 2
    )
    return Estimate(x, 0.0, 0.0, (1.0, 1.0, 1.0), 0.0, covariance, (), None, 0, 0, 0.0, 0.0, 0.0, 0.0, 0.0, x)


def _lining_at_start(model: EnergyModel, reading_c: float, ambient_c: float) -> tuple[tuple[float, ...], float]:
    """The lining's temperatures, °C, and by how much elements or chamber can differ from the reading, K: no more than
    full power drives through the way into the lining. A lining that lets little through is no colder than in an oven
    that has been so warm for ever."""
    warm = max(0.0, reading_c - ambient_c)
    for_ever = model.steady(reading_c, ambient_c)[0][LINING:CONTENTS] if warm > 1.0 else (reading_c,) * 4
    warmed = (reading_c, *(ambient_c + share * warm for share in WARMED))
    lining = (reading_c, *(max(t, s) for t, s in zip(warmed[1:], for_ever[1:])))
    into, out_of = model.flows((reading_c, reading_c, *lining, reading_c, reading_c), ambient_c)[:2]
    return lining, model.power_w * (1.0 / into[1] + 1.0 / out_of[1])


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
    """The estimate dt_s later: `power_w` reached the elements meanwhile, the sensor now shows `reading_c` (noise_k its
    standard deviation). `wander` scales how fast the unknown heat may change, `drift` how far the temperatures may
    stray from the model (both 1 when nothing is known to go on); an unusable reading only lets time pass; with
    `find_shares` False they stay what they are. (A thermocouple at the part is not asked: shelf and load are one lump
    here, and pulling that lump to what the part's surface shows cost the chamber more than it gave.)"""
    x, heat, trend, shares = estimate.x, estimate.heat_w, estimate.trend_w_per_s, estimate.shares
    p, tangent, age = estimate.covariance, estimate.tangent, estimate.age
    surprise, rejected, calm = estimate.surprise, estimate.rejected, estimate.calm_w
    seen = usable and math.isfinite(reading_c)
    # While nothing is seen, anything may be going on.
    doubt = doubt_of(estimate, dt_s) if seen else DOUBTFUL
    news = min(1.0, max(0.0, (doubt - SURE) / (DOUBTFUL - SURE)))
    sudden = estimate.sudden_s > 0.0
    sudden_s = max(0.0, estimate.sudden_s - dt_s)
    quiet = drift == 1.0 and not sudden
    # The further off the readings are, the more has changed: what is not given to the heat goes into temperatures that
    # nobody sees.
    alarm = math.sqrt(max(1.0, doubt / DOUBTFUL))
    walk_w = wander * (CALM + (QUICK - CALM) * news * alarm) * model.power_w
    fixed = sudden or not find_shares
    walk = SHARES_WALK * (0.0 if fixed else news)
    if sudden:
        walk_w = max(walk_w, SUDDEN * model.power_w)
    trend_walk_w = TREND_WALK * model.power_w + TREND_WALK_MOVING * abs(estimate.lately_w - estimate.before_w)
    trend_walk_w *= wander if drift == 1.0 else 1.0
    strayed = np.concatenate(((drift * DRIFT_K) ** 2, [walk_w * walk_w], walk * walk, [trend_walk_w * trend_walk_w]))
    pending = [*estimate.pending, (power_w, dt_s)]
    late = sum(dt for _, dt in pending)
    # To the nearest tick: rounded up, a dead time of a hair more than whole ticks makes the filter live a tick too
    # early.
    while pending and late - 0.5 * pending[0][1] >= model.dead_s - 1e-9:
        watts, dt = pending.pop(0)
        late -= dt
        if tangent is None or age >= RENEW or _stale(tangent, x, dt):
            a, by_power, by_heat = model.linearise(x, dt, ambient_c, *shares[1:])
            matrix = np.eye(SIZE)
            matrix[:N, :N], matrix[:N, HEAT] = a, by_heat
            matrix[HEAT, TREND], matrix[TREND, TREND] = dt, math.exp(-dt / TREND_S)
            tangent, age = (matrix, x, dt, by_power, by_heat), 0
        age += 1
        matrix, _, _, by_power, by_heat = tangent
        into_lining, into_contents = model.taken_w(x)
        matrix[:N, POWER] = 0.0 if fixed else by_power * watts
        matrix[:N, LINING_TAKES] = 0.0 if fixed else by_heat * -into_lining
        matrix[:N, CONTENTS_TAKE] = 0.0 if fixed else by_heat * -into_contents
        x = model.step(x, shares[0] * watts, dt, ambient_c, heat, *shares[1:])
        heat += trend * dt
        trend *= math.exp(-dt / TREND_S)
        p = matrix @ p @ matrix.T
        p.flat[_DIAGONAL] += strayed * dt
    if seen:
        s = p[SENSOR, SENSOR] + noise_k * noise_k + 1e-6
        # The filter stands at the tick that is nearest; what is left of the dead time is a straight line.
        innovation = reading_c - x[SENSOR]
        # What came suddenly is expected to leave as suddenly.
        leaves = sudden and (heat - calm) * innovation < 0.0
        rejects = LEAVING_REJECTS if leaves else REJECTS
        if innovation * innovation > WILD_SIGMAS**2 * s and rejected < rejects:
            rejected += 1
        else:
            if rejected >= rejects and abs(innovation) > SUDDEN_K:
                p = p.copy()  # until the dead time has passed it is still the last estimate's
                p[POWER:, :POWER] = p[:POWER, POWER:] = 0.0
                p[TREND, TREND] = trend = 0.0
                p[CHAMBER, CHAMBER] += innovation * innovation
                # The sensor is where it shows, the chamber is open: kept sure of, it makes the next readings wild
                # again.
                p[SENSOR, SENSOR] += innovation * innovation
                s += innovation * innovation
                if leaves:
                    heat = calm
                    p[HEAT, :] = p[:, HEAT] = 0.0
                else:
                    # A light chamber comes to rest within seconds, as far away as that heat lifts it over what is
                    # around it.
                    p[HEAT, HEAT] += (innovation * model.around_w_per_k(x)) ** 2
                sudden_s = SUDDEN_S
            rejected = 0
            surprise += (innovation / math.sqrt(s) - surprise) * min(1.0, dt_s / SURPRISE_S)
            gain = p[:, SENSOR] / s
            p = p - gain[:, None] * p[SENSOR]
            corrected = (np.array((*x, heat, *shares, trend)) + gain * innovation).tolist()
            x, heat, trend = tuple(corrected[:N]), corrected[HEAT], corrected[TREND]
            bound = LARGEST_UNEXPLAINED * model.power_w
            heat = min(bound, max(-bound, heat))
            for k, (low, high) in enumerate(zip(SHARES_LOW, SHARES_HIGH), POWER):
                if not low < corrected[k] < high:
                    # At its bound it can explain no more, and must not be taken for uncertain: what is left is for the
                    # others to explain.
                    corrected[k] = min(high, max(low, corrected[k]))
                    p[k, :] = p[:, k] = 0.0
            shares = tuple(corrected[POWER:TREND])
    if not all(LOWEST_C < t < HIGHEST_C for t in x):
        # No oven is like that: whatever led there (an oven wholly unlike the model, readings that jump), begin anew
        # from what is seen.
        return start(model, reading_c if seen else min(HIGHEST_C, max(ambient_c, 0.0)), ambient_c)
    if quiet:
        calm += (heat - calm) * min(1.0, dt_s / CALM_S)
    # The few seconds since then in one step, at their mean power.
    now = x
    if pending:
        watts = sum(watts * dt for watts, dt in pending) / late
        now = model.step(x, shares[0] * watts, late, ambient_c, heat, *shares[1:])
    lately = estimate.lately_w + (power_w - estimate.lately_w) * min(1.0, dt_s / LATELY_S)
    before = estimate.before_w + (power_w - estimate.before_w) * min(1.0, dt_s / BEFORE_S)
    into_lining, into_contents = model.taken_w(now)
    unexplained = (
        heat + (shares[0] - 1.0) * lately - (shares[1] - 1.0) * into_lining - (shares[2] - 1.0) * into_contents
    )
    return Estimate(
        x,
        heat,
        trend,
        shares,
        unexplained,
        p,
        tuple(pending),
        tangent,
        age,
        rejected,
        surprise,
        calm,
        lately,
        before,
        sudden_s,
        now,
    )


def doubt_of(estimate: Estimate, dt_s: float) -> float:
    """How far the recent readings were from their prediction as a whole: square of their mean over its variance."""
    return 2.0 * SURPRISE_S / dt_s * estimate.surprise**2


def lasting_w(model: EnergyModel, estimate: Estimate) -> float:
    """The unknown heat to be counted on from now on, W. What came suddenly is expected to leave as suddenly until it
    has lasted for ANSWER_AFTER of the elements' time constant: what they are given sooner reaches the chamber when it
    is over."""
    lag_s = model.element_j_per_k / model.flows(estimate.now, model.ambient_c)[0][2]
    recent = estimate.sudden_s > max(0.0, SUDDEN_S - ANSWER_AFTER * lag_s)
    return estimate.calm_w if recent else estimate.heat_w


def _stale(tangent: tuple, x, dt_s: float) -> bool:
    _, at, step_s, _, _ = tangent
    return (
        abs(x[ELEMENT] - at[ELEMENT]) > RENEW_ELEMENT_K
        or abs(x[CHAMBER] - at[CHAMBER]) > RENEW_CHAMBER_K
        or abs(dt_s - step_s) > 0.1 * step_s
    )


def ripple_of(
    model: EnergyModel,
    estimate: Estimate,
    ripple_k: tuple[float, ...],
    power_w: float,
    uneven_w: float,
    dt_s: float,
    ambient_c: float,
) -> tuple[float, ...]:
    """How far each temperature is from where even heating would have it, K, dt_s after `estimate`: of the `power_w`
    that went in meanwhile the firing pattern gave `uneven_w` beyond what was asked of it, W, and takes that back within
    its next bursts."""
    if uneven_w == 0.0 and max(map(abs, ripple_k)) < RIPPLE_GONE_K:
        return (0.0,) * N
    gain, lining, contents = estimate.shares
    after = model.step(estimate.now, gain * power_w, dt_s, ambient_c, estimate.heat_w, lining, contents)
    smooth = tuple(t - r for t, r in zip(estimate.now, ripple_k))
    even = model.step(smooth, gain * (power_w - uneven_w), dt_s, ambient_c, estimate.heat_w, lining, contents)
    return tuple(t - s for t, s in zip(after, even))


def with_heat(estimate: Estimate, heat_w: float) -> Estimate:
    """The same estimate with the unknown heat set, whatever the temperatures are."""
    covariance = estimate.covariance.copy()
    covariance[HEAT, :HEAT] = covariance[:HEAT, HEAT] = covariance[HEAT, POWER:] = covariance[POWER:, HEAT] = 0.0
    return replace(estimate, heat_w=heat_w, trend_w_per_s=0.0, covariance=covariance)


def spread_k(estimate: Estimate, state: int) -> float:
    """Standard deviation of one temperature, K."""
    return math.sqrt(max(0.0, float(estimate.covariance[state, state])))


__all__ = [
    "CHAMBER",
    "CONTENTS",
    "ELEMENT",
    "Estimate",
    "doubt_of",
    "lasting_w",
    "ripple_of",
    "spread_k",
    "start",
    "update",
    "with_heat",
]
