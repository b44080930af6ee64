"""How far the firing pattern's bursts move the temperatures from those of even heating."""

from ..model.energy import N
from .estimator import Estimate

#: A burst ripple smaller than this counts as none, K: a sensor does not resolve it.
RIPPLE_GONE_K = 1e-3  # ±30 %: none
#: No ripple at all, of any temperature, K.
EVEN = (0.0,) * N


def ripple_of(estimate: Estimate, ripple_k: tuple[float, ...], uneven_w: float) -> tuple[float, ...]:
    """How far each temperature is from its value under even heating, K, a tick after `estimate`, in which the firing
    pattern gave `uneven_w` (W) more than was asked, and its next bursts take that back."""
    if uneven_w == 0.0 and max(map(abs, ripple_k)) < RIPPLE_GONE_K:
        return EVEN
    tangent = estimate.tangent
    if tangent is None:  # before the first reading has passed the dead time
        return EVEN
    # A ripple is some kelvin at most, in which the filter's own tangent hardly changes.
    heated = tangent.by_watt[:, 0] * (estimate.shares[0] * uneven_w)
    heated += tangent.transition[:N, :N].dot(ripple_k)
    return tuple(heated.tolist())
