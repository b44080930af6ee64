"""The PID that a good engineer would set up from the description's model: SIMC tuning scheduled over the temperature,
holding power as feedforward, setpoint weight, derivative on the measurement, conditional integration (K. J. Åström and
T. Hägglund, Advanced PID Control, 2006, chapters 3 and 6)."""

from functools import lru_cache

from kilnctl.control import Plain
from kilnctl.control.pid import PlainState
from kilnctl.control.simc import simc_pi

#: Weight of the setpoint in the proportional part (dimensionless), and the spacing of the gain schedule, K.
WEIGHT, APART_K = 0.5, 50.0


class FairPid(Plain):
    """With the interface of the other controllers."""

    def __init__(self):
        super().__init__("pid")

    def _pid(self, s: PlainState, programme, target: float, value: float, full: float, dt: float) -> float:
        model, ambient = programme.model, programme.ambient_c
        at = max(ambient + 20.0, APART_K * round(target / APART_K))
        t = simc_pi(model, at, ambient, derivative=True)
        share = dt / (dt + max(1.0, 0.2 * t.derivative_s))
        filtered = s.filtered_c + share * (value - s.filtered_c)
        s.slope_k_per_s, s.filtered_c = (filtered - s.filtered_c) / dt, filtered
        ratio = 1.0 + t.derivative_s / t.integral_s
        gain, integral_s = t.gain_w_per_k * ratio, t.integral_s * ratio
        # Apply the smaller weight about the setpoint itself: at rest it then has no effect.
        error = target - filtered
        proportional = gain * (WEIGHT * error if error > 0.0 and s.integral_w == 0.0 else error)
        wanted = _holding_w(model, round(target), ambient) + proportional + s.integral_w
        wanted -= t.gain_w_per_k * t.derivative_s * s.slope_k_per_s
        demand = min(full, max(0.0, wanted))
        if 0.0 < wanted < full or (wanted >= full) == (error < 0.0):
            s.integral_w += dt * gain * error / integral_s
        return demand


@lru_cache(maxsize=256)
def _holding_w(model, target_c: float, ambient_c: float) -> float:
    return model.holding_w(target_c, ambient_c)
