"""A schedule prepared for one oven: its legs, the model, and whether the oven can follow it, checked before the
start."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import KilnctlError
from ..model.doubt import SURE, Unsure
from ..model.energy import CHAMBER, CONTENTS, EnergyModel
from ..model.part_body import PartBody, part_of_lump
from ..settings.document import problem_at
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .predictive import step_length_s
from .reference import Leg, begin, legs_of, seconds_left
from .shortfall import USABLE, Shortfall

#: Step of a walk, s: several fit into the mean below, and a day of schedule is walked in less than a second.
_DT_S = 10.0  # ±30 %: none
#: Power is judged by its mean over this long, s, so that the first seconds of a ramp (elements heating themselves) do
#: not count: only after so many times of it, or at the ramp's end.
_MEAN_S, _SETTLED_MEANS = 240.0, 2.0  # ±30 %: none
#: A falling ramp is not followed where it takes less than no power by this share of full power: a little is rounding.
_BELOW_NONE = 0.02  # ±30 %: none
#: A jump has arrived this near to its target, K; a step down must end this much above the room, K (it takes hours).
_ARRIVED_K, _ABOVE_ROOM_K = 0.5, 3.0  # ±30 %: none
#: An oven further behind a ramp than this, K, does not follow it.
_BEHIND_K = 10.0  # ±30 %: none
#: The most steps of a walk beyond those of its ramp; and the rate, K/s (0.2 K/h), below which an oven counts as
#: standing still.
_MOST_STEPS, _STANDS_K_PER_S = 20000, 0.2 / 3600.0  # ±30 %: none


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
    shortfalls: tuple[Shortfall, ...]
    part: PartBody | None = None
    part_lag_s: float = 0.0
    late: float = 0.0


def programme_of(
    oven: Oven,
    schedule: Schedule,
    model: EnergyModel,
    start_c: float | None = None,
    part: PartBody | None = None,
    unsure: Unsure = SURE,
) -> Programme:
    """Check the schedule against limits and power, and make it ready. `part`: the load; None: the model's lump;
    `unsure`: how wrong the model may be. Raises KilnctlError when it asks for more than the oven may do, or can do with
    all that `unsure` allows, and its policy is to refuse; with "stretch" the ramps wait for the oven instead."""
    ambient = oven.site.ambient_c
    where = schedule.file or schedule.name
    limit = min(oven.limits.highest_c, schedule.highest_c or oven.limits.highest_c)
    _refuse_beyond_limits(oven, schedule)
    follows = CONTENTS if schedule.follows == "part" else CHAMBER
    if follows == CONTENTS and model.contents_j_per_k <= 0.0:
        raise KilnctlError(f"{where}: it follows the part, but nothing says what the load is (give 'load')")
    legs = legs_of(schedule)
    begin = ambient if start_c is None else start_c
    # A part only lags behind the chamber: judge its ramps as ramps of the chamber, which need more power.
    shortfalls = tuple(_shortfalls(model, legs, begin, ambient))
    hard = [s for s in shortfalls if s.impossible or (schedule.too_fast == "refuse" and s.refused)]
    if hard and unsure.power > 0.0:
        # The oven may do a little more than the model says, and may have done it yesterday: say so, and let it try.
        able = model.but(power_w=(1.0 + unsure.power) * model.power_w)
        beyond = {s.step for s in _shortfalls(able, legs, begin, ambient) if s.refused}
        shortfalls = tuple(s if s.step in beyond else replace(s, doubt=unsure.power) for s in shortfalls)
        hard = [s for s in hard if s.step in beyond]
    if hard:
        advice = "; lower the rate, or write 'too fast: stretch' to let the ramp take the time it needs"
        advice = "" if any(s.impossible for s in hard) else advice
        raise KilnctlError("\n".join(f"{_at_step(schedule, s.step, str(s) + advice)}" for s in hard))
    return Programme(
        legs=legs,
        model=model,
        follows=follows,
        ambient_c=ambient,
        noise_k=max(0.05, oven.sensors.control.noise_k),
        wander=oven.control.trim,
        plan_step_s=step_length_s(model),
        chamber_limit_c=limit - 2.0,
        working_c=schedule.top_c,
        count_always=schedule.soak_counts == "from arrival",
        shortfalls=shortfalls,
        part=part or part_of_lump(model),
        part_lag_s=oven.sensors.part.lag_s if oven.sensors.part is not None else 0.0,
        late=unsure.late,
    )


def _at_step(schedule: Schedule, step: int, message: str) -> str:
    """The message with the place of the step's temperature before it, as far as it is known."""
    return str(problem_at(schedule, (f"steps[{step + 1}].to", f"steps[{step + 1}]"), message))


def _refuse_beyond_limits(oven: Oven, schedule: Schedule) -> None:
    """Raises KilnctlError for a step outside the limits of the oven, the part in it or the room."""
    ambient, coldest_c = oven.site.ambient_c, oven.site.ambient_c + _ABOVE_ROOM_K
    part_c = oven.limits.part_highest_c if schedule.follows == "part" else None
    # Another person reads this in pages and reports: the file's name, not where it lies.
    described = Path(oven.file).name or "its description"
    for i, step in enumerate(schedule.steps):
        if step.to_c is None:
            continue
        at = _at_step(schedule, i, f"step {i + 1}")
        if step.to_c > oven.limits.highest_c:
            raise KilnctlError(
                f"{at} ('{step.name or 'unnamed'}') goes to {step.to_c:.0f} °C; {oven.name} may "
                f"not go above {oven.limits.highest_c:.0f} °C (limits: highest in {described})"
            )
        if part_c is not None and step.to_c > part_c:
            raise KilnctlError(
                f"{at} ('{step.name or 'unnamed'}') takes the part to {step.to_c:.0f} °C; in "
                f"{oven.name} no part may go above {part_c:.0f} °C (limits: part highest in {described})"
            )
        # A jump is held from where the oven is; below the room by more than its band it would be waited for for ever.
        sought = step.let_cool or step.at_k_per_s or step.in_s or step.to_c < ambient - step.within_k
        if step.to_c < coldest_c and sought:
            raise KilnctlError(
                f"{at} goes to {step.to_c:.0f} °C, and the room is at {ambient:.0f} °C: "
                "it would never get there (if the room is colder, say so: site: ambient)"
            )


def planned_s(programme: Programme) -> float:
    """Time that ramps and soaks take, s, without what depends on the oven (heating up at full power, cooling)."""
    return seconds_left(programme.legs, begin(programme.legs, programme.ambient_c))


def least_energy_j(programme: Programme) -> float:
    """What the soaks take by the model, and what is in the oven on its way to the hottest of them, J. A run takes more:
    the lining has to be warmed too."""
    model, soaks = programme.model, [leg for leg in programme.legs if leg.kind == "hold"]
    held_j = sum(leg.hold_s * model.holding_w(leg.target_c) for leg in soaks)
    hottest_c = max((leg.target_c for leg in soaks), default=programme.ambient_c)
    return held_j + model.contents_j_per_k * max(0.0, hottest_c - programme.ambient_c)


#: Temperatures of the model.
_State = tuple[float, ...]


def _shortfalls(model: EnergyModel, legs: tuple[Leg, ...], start_c: float, ambient: float) -> Iterator[Shortfall]:
    """Walk the legs with the model, asking at each moment what power the reference needs."""
    x, reference_c = model.rest(start_c), start_c
    for leg in legs:
        beyond = _beyond(model, leg, ambient)
        if beyond is not None:
            yield beyond
            return
        x, found = _walk(model, x, leg, reference_c, ambient)
        if found is not None:
            yield found
        reference_c = leg.target_c


def _beyond(model: EnergyModel, leg: Leg, ambient: float) -> Shortfall | None:
    """The shortfall of a leg to a temperature that full power cannot hold."""
    if leg.kind not in ("jump", "ramp") or leg.target_c <= ambient:
        return None
    needed = model.steady(leg.target_c, ambient)[1]
    if needed <= USABLE * model.power_w:
        return None
    highest = model.highest_c(ambient)
    return Shortfall(leg.step, leg.name, leg.target_c, needed, model.power_w, None, None, highest)


def _walk(
    model: EnergyModel, x: _State, leg: Leg, reference_c: float, ambient: float
) -> tuple[_State, Shortfall | None]:
    """The model's state after the leg, and what the oven falls short of in it."""
    if leg.kind == "ramp":
        return _walk_ramp(model, x, leg, reference_c, ambient)
    if leg.kind == "jump":
        return _jump(model, x, leg.target_c, ambient), None
    if leg.kind == "hold":
        x, ahead_k = _hold(model, x, leg.target_c, leg.hold_s, ambient)
        return x, _ahead(model, leg, x[CHAMBER], None, ahead_k) if ahead_k > leg.band_k else None
    x = _cool(model, x, leg.target_c, ambient)
    ahead_k = x[CHAMBER] - leg.target_c
    return x, _ahead(model, leg, x[CHAMBER], None, ahead_k) if ahead_k > 0.0 else None


def _walk_ramp(
    model: EnergyModel, x: _State, leg: Leg, reference_c: float, ambient: float
) -> tuple[_State, Shortfall | None]:
    span = leg.target_c - reference_c
    if abs(span) <= 1e-9:
        return x, None
    rate = span / leg.in_s if leg.in_s else (leg.rate_k_per_s if span > 0.0 else -leg.rate_k_per_s)
    walked = _ramp(model, x, reference_c, leg.target_c, rate, ambient)
    if walked.at_c is None:
        leads = rate > 0.0 and walked.ahead_k > leg.band_k
        return walked.after, _ahead(model, leg, walked.ahead_c, rate, walked.ahead_k) if leads else None
    down = rate < 0.0
    # Let it arrive: what it is behind at the end of this ramp is no fault of the next step.
    arrived = (_cool if down else _jump)(model, walked.after, leg.target_c, ambient)
    return arrived, Shortfall(
        leg.step,
        leg.name,
        walked.at_c,
        walked.needed_w,
        model.power_w,
        rate,
        _feasible(model, x, reference_c, leg.target_c, rate, ambient),
        _rest_c(model, ambient) if down else 0.0,
        to_c=leg.target_c,
        itself_k_per_s=(
            (walked.itself_k_per_s, _itself(model, walked.after, leg.target_c, ambient)) if down else (0.0, 0.0)
        ),
    )


def _ahead(model: EnergyModel, leg: Leg, at_c: float, rate: float | None, ahead_k: float) -> Shortfall:
    """The shortfall of a leg that the oven runs ahead of with the heat off."""
    return Shortfall(leg.step, leg.name, at_c, 0.0, model.power_w, rate, None, 0.0, ahead_k, leg.target_c)


def _cool(model: EnergyModel, x: _State, to_c: float, ambient: float) -> _State:
    """Without heat until the chamber is at to_c, or for as long as is looked ahead."""
    for _ in range(_MOST_STEPS):
        if x[CHAMBER] <= to_c:
            break
        x = model.step(x, 0.0, _DT_S, ambient)
    return x


def _inverse(model: EnergyModel, x, wanted_c: float, ambient: float, dt: float = _DT_S) -> float:
    """Power that puts the chamber at wanted_c after one step (exact for the step, which is linear in the power), W."""
    without = model.step(x, 0.0, dt, ambient)[CHAMBER]
    with_full = model.step(x, model.power_w, dt, ambient)[CHAMBER]
    return model.power_w * (wanted_c - without) / (with_full - without)


@dataclass(slots=True)
class _Walked:
    """How a ramp went on the model: the state after it; where power runs out (°C; None: nowhere), the mean power asked
    for there (W), and the oven's rate there without heat (K/s); how far it runs ahead with the heat off (K), and where
    that begins (°C)."""

    after: tuple[float, ...]
    at_c: float | None = None
    needed_w: float = 0.0
    itself_k_per_s: float = 0.0
    ahead_k: float = 0.0
    ahead_c: float = 0.0


def _ramp(
    model: EnergyModel, x, from_c: float, to_c: float, rate: float, ambient: float, whole: bool = True
) -> _Walked:
    """Walk a ramp. Where the oven cannot follow, the reference waits for it as in the run; without `whole` the walk
    ends there."""
    walked, reference, mean, up = _Walked(x), from_c, None, rate > 0.0
    duration = abs((to_c - from_c) / rate)
    dt = max(_DT_S, duration / 3000.0)
    share = min(1.0, dt / _MEAN_S)
    steps = max(1, round(duration / dt))
    for i in range(steps + _MOST_STEPS):
        reference += rate * dt
        wanted = _inverse(model, x, reference, ambient, dt)
        mean = wanted if mean is None else mean + share * (wanted - mean)
        before, x = x, model.step(x, min(model.power_w, max(0.0, wanted)), dt, ambient)
        last = (to_c - reference) * rate < 1e-9
        settled = i * dt >= _SETTLED_MEANS * _MEAN_S or last
        if up and walked.at_c is None and settled and mean > USABLE * model.power_w:
            walked.needed_w, walked.at_c = mean, min(reference, to_c)  # the last step may go past its end
        behind = (reference - x[CHAMBER]) * (1.0 if up else -1.0)
        # Power below 0: the oven is ahead of a rising ramp by itself, which is no shortfall; a falling one it cannot
        # follow.
        if walked.at_c is None and (behind > _BEHIND_K or (not up and settled and mean < -_BELOW_NONE * model.power_w)):
            walked.at_c, walked.needed_w = x[CHAMBER], mean
            walked.itself_k_per_s = (model.step(before, 0.0, dt, ambient)[CHAMBER] - before[CHAMBER]) / dt
        if up and -behind > walked.ahead_k:
            walked.ahead_c = walked.ahead_c or reference
            walked.ahead_k = -behind
        if behind > _BEHIND_K:
            reference = x[CHAMBER] + (_BEHIND_K if up else -_BEHIND_K)
        if (
            last
            or (walked.at_c is not None and not whole)
            or (behind > _BEHIND_K and abs(x[CHAMBER] - before[CHAMBER]) < _STANDS_K_PER_S * dt)
        ):
            break
    walked.after = x
    return walked


def _itself(model: EnergyModel, x, to_c: float, ambient: float) -> float:
    """How fast the chamber falls without heat as it reaches to_c, K/s; if it never does, the last rate."""
    rate = 0.0
    for _ in range(_MOST_STEPS):
        before, x = x, model.step(x, 0.0, _DT_S, ambient)
        rate = (x[CHAMBER] - before[CHAMBER]) / _DT_S
        if x[CHAMBER] <= to_c or rate > -_STANDS_K_PER_S:
            break
    return rate


def _feasible(model: EnergyModel, x, from_c: float, to_c: float, rate: float, ambient: float) -> float:
    """Highest rate (same sign) that the oven can follow all the way, by halving the ratio, K/s; a thousandth of the
    asked one at least."""
    low, high = 1e-3, 1.0
    for _ in range(8):
        middle = (low * high) ** 0.5
        if _ramp(model, x, from_c, to_c, middle * rate, ambient, whole=False).at_c is None:
            low = middle
        else:
            high = middle
    return low * rate


def _rest_c(model: EnergyModel, ambient: float) -> float:
    """Where the chamber stays without heat of the elements (a fan keeps it above the room), °C."""
    low, high = ambient, ambient + 500.0
    for _ in range(30):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if model.steady(middle, ambient)[1] < 0.0 else (low, middle)
    return low


def _hold(model: EnergyModel, x, target_c: float, hold_s: float, ambient: float) -> tuple[tuple[float, ...], float]:
    """(state after a soak, how far the chamber is above it then, K)."""
    dt = max(_DT_S, hold_s / 1000.0)
    for _ in range(int(hold_s / dt)):
        x = model.step(x, min(model.power_w, max(0.0, _inverse(model, x, target_c, ambient, dt))), dt, ambient)
    return x, x[CHAMBER] - target_c


def _jump(model: EnergyModel, x, target_c: float, ambient: float):
    for _ in range(_MOST_STEPS):
        if abs(x[CHAMBER] - target_c) < _ARRIVED_K:
            break
        x = model.step(x, min(model.power_w, max(0.0, _inverse(model, x, target_c, ambient))), _DT_S, ambient)
    return x
