"""How far the firing pattern's bursts move the temperatures from those of even heating."""

from ..model.energy import EnergyModel, N
from .estimator import Estimate
from .lateness import more_s_of

#: A burst ripple smaller than this counts as none, K: a sensor does not resolve it.
RIPPLE_GONE_K = 1e-3  # ±30 %: none
#: No ripple at all, of any temperature, K.
EVEN = (0.0,) * N


def ripple_of(
    model: EnergyModel,
    estimate: Estimate,
    ripple_k: tuple[float, ...],
    power_w: float,
    uneven_w: float,
    dt_s: float,
    ambient_c: float,
) -> tuple[float, ...]:
    """How far each temperature is from its value under even heating, K, dt_s after `estimate`: of the `power_w` (W) in
    that time the firing pattern gave `uneven_w` (W) more than was asked, and its next bursts take that back."""
    if uneven_w == 0.0 and max(map(abs, ripple_k)) < RIPPLE_GONE_K:
        return EVEN
    gain, lining, contents = estimate.shares
    more_s = more_s_of(model, estimate.late)
    after = model.step(estimate.now, gain * power_w, dt_s, ambient_c, estimate.heat_w, lining, contents, more_s)
    smooth = tuple(t - r for t, r in zip(estimate.now, ripple_k))
    even = model.step(smooth, gain * (power_w - uneven_w), dt_s, ambient_c, estimate.heat_w, lining, contents, more_s)
    return tuple(t - s for t, s in zip(after, even))
