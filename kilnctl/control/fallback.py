"""When the model is given up for a plain PI, what the PI does, and when the model is tried again."""

from ..safety.extremes import greater
from . import estimator, swinging
from .control_state import EnergyBalanceState, Wanted
from .feasibility import Programme
from .simc import simc_pi

#: The model is given up for a plain PI when this share of full power stays unexplained for this long, s, or when the
#: oven swings although the control is as cautious as it can be. Less is within what the estimator carries as unknown
#: heat; an open door or a cold load explains more for some minutes, not for a quarter of an hour. It is tried again
#: after TRY_AGAIN_S (s) of calm with less than CALM_SHARE times that share: a lining takes about an hour to warm
#: through, and the gap between the two shares keeps it from changing to and fro.
GIVE_UP_SHARE, GIVE_UP_S, TRY_AGAIN_S, CALM_SHARE = 0.6, 900.0, 3600.0, 0.5  # ±30 %: none
#: The plain PI is made slower by this factor each time it is found swinging, up to this slowness in all.
PLAIN_STEP, PLAIN_SLOWEST = 2.0, 48.0  # ±30 %: none


def give_up(s: EnergyBalanceState, estimate: estimator.Estimate, full: float, dt: float) -> None:
    unexplained = abs(estimate.heat_w)
    s.disagreeing_s = greater(0.0, s.disagreeing_s + (dt if unexplained > GIVE_UP_SHARE * full else -dt))
    if not s.given_up:
        if s.disagreeing_s > GIVE_UP_S or s.watch.refuted:
            # The power of the last minutes is the best forecast of what the oven needs next.
            s.given_up, s.integral_w = True, max(0.0, min(full, estimate.before_w))
            s.plain_s, s.watch = 0.0, swinging.restarted(s.watch, s.time_s)
        return
    calm = s.watch.swing is None and unexplained < CALM_SHARE * GIVE_UP_SHARE * full
    s.plain_s = s.plain_s + dt if calm else 0.0
    if s.plain_s > TRY_AGAIN_S:
        # The model is tried again with the most caution.
        s.given_up, s.disagreeing_s, s.plan = False, 0.0, None
        s.watch = swinging.restarted(s.watch, s.time_s)._replace(care=swinging.MOST)


def plain(s: EnergyBalanceState, programme: Programme, value: float, dt: float) -> Wanted:
    """A PI on the reading. It is tuned on the rejected model, so the tuning is slower: it stays stable if the real oven
    is three times as quick as the model. It becomes slower still while it swings."""
    target, full = s.position.reference_c, s.full_w
    if s.watch.swing is not None and s.plain_slower < PLAIN_SLOWEST:
        s.plain_slower *= PLAIN_STEP
        s.watch = swinging.restarted(s.watch, s.time_s)
    pi = simc_pi(programme.model, target, programme.ambient_c, slower=s.plain_slower)
    error = target - value
    proportional = pi.gain_w_per_k * error
    unlimited = proportional + s.integral_w
    demand = min(full, max(0.0, unlimited))
    if 0.0 < unlimited < full or (unlimited >= full) == (error < 0.0):
        s.integral_w += pi.gain_w_per_k * error * dt / pi.integral_s
    return Wanted(demand, 0.0, demand, "plain PI: the model and the oven disagree too much")
