"""A schedule prepared for one oven: its legs, the model, and whether the oven can do it. Said before the start, not after."""

from dataclasses import dataclass

from ..errors import KilnctlError
from ..model.energy import CHAMBER, CONTENTS, EnergyModel
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .reference import Leg, begin, legs_of, seconds_left

_DT_S = 10.0
#: Power is judged over this long, so that the first seconds of a ramp (elements heating themselves) do not count, s.
_MEAN_S = 240.0
#: Some power is kept for trim: a ramp that needs more than this share of full cannot be held to.
USABLE = 0.97


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A step that the oven cannot follow."""

    step: int
    name: str
    at_c: float
    needed_w: float
    full_w: float
    asked_k_per_s: float | None
    feasible_k_per_s: float | None
    reachable_c: float

    def __str__(self) -> str:
        where = f"step {self.step + 1} ('{self.name}')"
        if self.asked_k_per_s is None or self.feasible_k_per_s is None:
            return (f"{where} goes to {self.at_c:.0f} °C, which would need {self.needed_w / 1000:.2f} kW only to be held; this oven has "
                    f"{self.full_w / 1000:.2f} kW and gets to about {self.reachable_c:.0f} °C")  # fmt: skip
        falling = self.asked_k_per_s < 0.0
        if falling:
            return (f"{where} falls at {-self.asked_k_per_s * 3600:.0f} K/h; near {self.at_c:.0f} °C this oven cools by itself at about "
                    f"{-self.feasible_k_per_s * 3600:.0f} K/h at most")  # fmt: skip
        return (f"{where} rises at {self.asked_k_per_s * 3600:.0f} K/h; near {self.at_c:.0f} °C that needs {self.needed_w / 1000:.2f} kW of "
                f"this oven's {self.full_w / 1000:.2f} kW. Up to about {self.feasible_k_per_s * 3600:.0f} K/h is feasible")  # fmt: skip


@dataclass(frozen=True)
class Programme:
    """Everything the control step needs that does not change during a run."""

    legs: tuple[Leg, ...]
    model: EnergyModel
    follows: int
    ambient_c: float
    noise_k: float
    wander: float
    plan_step_s: float
    chamber_limit_c: float
    working_c: float
    count_always: bool
    load_uncertainty: float
    shortfalls: tuple[Shortfall, ...]


def prepare(oven: Oven, schedule: Schedule, model: EnergyModel, start_c: float | None = None) -> Programme:
    """Check the schedule against limits and power, and make it ready. Raises KilnctlError when it asks for more than the
    oven may or can do and the schedule's policy is to refuse; with "stretch" the ramps wait for the oven instead."""
    from .plan import step_length_s

    ambient = oven.site.ambient_c
    where = schedule.file or schedule.name
    limit = min(oven.limits.highest_c, schedule.highest_c or oven.limits.highest_c)
    for i, step in enumerate(schedule.steps):
        if step.to_c is not None and step.to_c > oven.limits.highest_c:
            raise KilnctlError(f"{where}: step {i + 1} ('{step.name or 'unnamed'}') goes to {step.to_c:.0f} °C; {oven.name} may not go above "
                               f"{oven.limits.highest_c:.0f} °C (limits: highest in {oven.file or 'its description'})")  # fmt: skip
        highest_part_c = oven.limits.part_highest_c
        if step.to_c is not None and schedule.follows == "part" and highest_part_c is not None and step.to_c > highest_part_c:
            raise KilnctlError(f"{where}: step {i + 1} ('{step.name or 'unnamed'}') takes the part to {step.to_c:.0f} °C; in {oven.name} no part may "
                               f"go above {highest_part_c:.0f} °C (limits: part highest in {oven.file or 'its description'})")  # fmt: skip
        if step.to_c is not None and step.to_c < ambient + 3.0 and (step.let_cool or step.at_k_per_s or step.in_s):
            raise KilnctlError(f"{where}: step {i + 1} goes to {step.to_c:.0f} °C, and the room is at {ambient:.0f} °C: it would never get there")
    follows = CONTENTS if schedule.follows == "part" else CHAMBER
    if follows == CONTENTS and model.contents_j_per_k <= 0.0:
        raise KilnctlError(f"{where}: it follows the part, but neither it nor the oven says what the load is (give 'load')")
    legs = legs_of(schedule)
    begin = ambient if start_c is None else start_c
    # A part only lags: what its ramps need is judged by the chamber's, which is the harder question.
    shortfalls = tuple(_shortfalls(model, legs, begin, ambient))
    hard = [s for s in shortfalls if schedule.too_fast == "refuse" or s.feasible_k_per_s is None]
    if hard:
        advice = "" if any(s.feasible_k_per_s is None for s in hard) else \
            "; lower the rate, or write 'too fast: stretch' to let the ramp take the time it needs"  # fmt: skip
        raise KilnctlError("\n".join(f"{where}: {s}{advice}" for s in hard))
    return Programme(legs=legs, model=model, follows=follows, ambient_c=ambient, noise_k=max(0.05, oven.sensors.control.noise_k), wander=oven.control.trim,
                     plan_step_s=step_length_s(model), chamber_limit_c=limit - 2.0, working_c=schedule.top_c,
                     count_always=schedule.soak_counts == "from arrival", load_uncertainty=0.1, shortfalls=shortfalls)  # fmt: skip


def planned_s(programme: Programme) -> float:
    """Time that ramps and soaks take, s; what depends on the oven (heating up at full power, cooling) is not in it."""
    return seconds_left(programme.legs, begin(programme.legs, programme.ambient_c))


def _shortfalls(model: EnergyModel, legs: tuple[Leg, ...], start_c: float, ambient: float):
    """Walk the legs with the model, asking at each moment what power the reference needs."""
    x = model.rest(start_c)
    reference = start_c
    highest = None
    for leg in legs:
        if leg.kind in ("jump", "ramp") and leg.target_c > ambient:
            needed = model.steady(leg.target_c, ambient)[1]
            if needed > USABLE * model.power_w:
                highest = model.highest_c(ambient) if highest is None else highest
                yield Shortfall(leg.step, leg.name, leg.target_c, needed, model.power_w, None, None, highest)
                return
        if leg.kind == "ramp":
            span = leg.target_c - reference
            rate = span / leg.in_s if leg.in_s else (leg.rate_k_per_s if span > 0.0 else -leg.rate_k_per_s)
            if abs(span) > 1e-9:
                after, at_c, needed = _ramp(model, x, reference, leg.target_c, rate, ambient)
                if at_c is not None:
                    yield Shortfall(leg.step, leg.name, at_c, needed, model.power_w, rate,
                                    _feasible(model, x, reference, leg.target_c, rate, ambient), 0.0)  # fmt: skip
                x = after
        elif leg.kind == "hold":
            x = _hold(model, x, leg.target_c, leg.hold_s, ambient)
        elif leg.kind == "jump":
            x = _jump(model, x, leg.target_c, ambient)
        else:
            for _ in range(20000):
                if x[CHAMBER] <= leg.target_c:
                    break
                x = model.step(x, 0.0, _DT_S, ambient)
        reference = leg.target_c


def _inverse(model: EnergyModel, x, wanted_c: float, ambient: float, dt: float = _DT_S) -> float:
    """Power that puts the chamber at wanted_c after one step (exact for the step, which is linear in the power), W."""
    without = model.step(x, 0.0, dt, ambient)[CHAMBER]
    with_full = model.step(x, model.power_w, dt, ambient)[CHAMBER]
    return model.power_w * (wanted_c - without) / (with_full - without)


def _ramp(model: EnergyModel, x, from_c: float, to_c: float, rate: float, ambient: float):
    """(state after, temperature where power runs out or None, mean power asked there). The oven that cannot follow does what it can."""
    reference, mean, worst, at = from_c, None, 0.0, None
    duration = abs((to_c - from_c) / rate)
    dt = max(_DT_S, duration / 3000.0)
    share = min(1.0, dt / _MEAN_S)
    steps = max(1, round(duration / dt))
    for i in range(steps):
        reference += rate * dt
        wanted = _inverse(model, x, reference, ambient, dt)
        mean = wanted if mean is None else mean + share * (wanted - mean)
        if i * dt >= 2.0 * _MEAN_S or i == steps - 1:
            if mean > USABLE * model.power_w and mean > worst:
                worst, at = mean, reference
            elif mean < -0.02 * model.power_w and (at is None):
                worst, at = mean, reference
        x = model.step(x, min(model.power_w, max(0.0, wanted)), dt, ambient)
        if (reference - x[CHAMBER]) * rate > 0.0 and abs(reference - x[CHAMBER]) > 10.0:
            at = x[CHAMBER] if at is None else at
            worst = max(worst, mean) if rate > 0.0 else worst
            reference = x[CHAMBER] + (10.0 if rate > 0.0 else -10.0)
    return x, at, worst


def _feasible(model: EnergyModel, x, from_c: float, to_c: float, rate: float, ambient: float) -> float:
    """Highest rate (same sign) that the oven can follow all the way, found by halving, K/s."""
    low, high = 0.0, rate
    for _ in range(9):
        middle = 0.5 * (low + high)
        if _ramp(model, x, from_c, to_c, middle, ambient)[1] is None:
            low = middle
        else:
            high = middle
    return low if low != 0.0 else 0.5 * middle


def _hold(model: EnergyModel, x, target_c: float, hold_s: float, ambient: float):
    dt = max(_DT_S, hold_s / 1000.0)
    for _ in range(int(hold_s / dt)):
        x = model.step(x, min(model.power_w, max(0.0, _inverse(model, x, target_c, ambient, dt))), dt, ambient)
    return x


def _jump(model: EnergyModel, x, target_c: float, ambient: float):
    for _ in range(20000):
        if abs(x[CHAMBER] - target_c) < 0.5:
            break
        x = model.step(x, min(model.power_w, max(0.0, _inverse(model, x, target_c, ambient))), _DT_S, ambient)
    return x
