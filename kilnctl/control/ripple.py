"""How far the firing pattern's bursts move the temperatures from those of even heating.

Its heat adds up to nothing, and so does it, computed with the tangent at even heating. With the tangent where a burst
has just taken the oven it does not, and control held the chamber off its reference by the mean of it: 10 K with
elements that a burst moves by 190 K."""

from ..model.energy import CHAMBER, EnergyModel, N
from ..safety.extremes import greater
from .estimator import WILD_SIGMAS, Estimate, stale, tangent_at
from .lateness import more_s_of

#: A burst ripple smaller than this counts as none, K: a sensor does not resolve it.
RIPPLE_GONE_K = 1e-3  # ±30 %: none
#: By which share of itself the ripple of a reading may be wrong: elements may be half as heavy as described, or warm a
#: carrier first.
UNSURE_OF_BURSTS = 0.5  # ±30 %: none
#: A swing of the chamber by its bursts is told from here on, K peak to peak: what a soak may swing.
TOLD_K = 1.0  # no effect on control
#: The largest recent ripple is reduced by this factor each tick.
FADES = 0.99
#: No ripple at all, of any temperature, K.
EVEN = (0.0,) * N


def ripple_of(
    model: EnergyModel,
    estimate: Estimate,
    ripple_k: tuple[float, ...],
    uneven_w: float,
    dt_s: float,
    ambient_c: float,
) -> tuple[float, ...]:
    """How far each temperature is from its value under even heating, K, dt_s after `estimate`, in which the firing
    pattern gave `uneven_w` (W) more than was asked, and its next bursts take that back."""
    if uneven_w == 0.0 and max(map(abs, ripple_k)) < RIPPLE_GONE_K:
        return EVEN
    tangent = estimate.tangent
    if tangent is None:  # before the first reading has passed the dead time
        return EVEN
    even = [t - r for t, r in zip(estimate.now, ripple_k)]
    if stale(tangent, even, dt_s):
        tangent = tangent_at(model, even, dt_s, ambient_c, estimate.shares, more_s_of(model, estimate.late))
    heated = tangent.by_watt[:, 0] * (estimate.shares[0] * uneven_w)
    heated += tangent.transition[:N, :N].dot(ripple_k)
    return tuple(heated.tolist())


def widest_k(before_k: float, ripple_k: tuple[float, ...]) -> float:
    """Swing of the chamber by its bursts, peak to peak, K: twice the largest recent ripple."""
    return greater(2.0 * abs(ripple_k[CHAMBER]), FADES * before_k)


def wild_k(ripple_k: float, noise_k: float) -> float:
    """What the error of a reading's ripple adds to its noise, K: what would be wild. Without it a burst that moves the
    reading less than the model says is a sudden heat, and the next one its end."""
    return greater(0.0, UNSURE_OF_BURSTS * ripple_k - WILD_SIGMAS * noise_k)
