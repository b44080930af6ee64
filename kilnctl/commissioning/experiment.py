"""The learning run: which power, in which order, and why. A pure state machine, asked once a tick.

What can be told apart, and by what:
  full power from cold     power against the heat capacity of elements, chamber and the lining's face
  coast after full power   elements against chamber (only their stored heat can still raise the reading),
                           and the sensor's lag
  levels above and below   steady losses, and the lining's depth: how each level bends over minutes to an hour
  a second temperature     what grows with temperature: radiation, the conductivity of the lining
  fall without heat        the lining's outer half and the leaks, which steady power cannot tell apart
Levels are not equal in length: a long one shows the slow lining, short ones the fast.

Nothing is heated above the ceiling: while heating, the rise that is still to come from the stored heat is
reckoned in."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from ..model.energy import CHAMBER, SENSOR, EnergyModel

#: The levels in their order: share of the power that holds the temperature at that moment, and share of the longest
#: level's time.
LEVELS = ((1.0, 0.3), (1.4, 0.4), (0.5, 0.4), (1.25, 0.2), (0.7, 0.2), (1.0, 1.0))
#: Kinds of stage that have heat in them; in all others the contactor is open.
HEATED = ("full", "level")
#: Distance that the top working temperature keeps from the ceiling: share of the rise, and at least so many
#: kelvin.
BELOW_SHARE, BELOW_K = 0.03, 6.0
#: The first coast's rise is taken as half as large again as the model says, until one has been seen.
DOUBT = 1.5
#: Working temperatures: the top one takes at most this share of full power to hold, and is lowered in steps to this
#: share of its rise until it does; the low one lies at this share of the top's rise; the top lies at least so many
#: kelvin above the room.
TOP_POWER, TOP_STEP, LOW_SHARE, LEAST_RISE_K = 0.75, 0.97, 0.45, 40.0
#: Time of the longest level: share of the oven's slowest time constant, least and most, s. A coast takes at most half
#: of it, and heating up at most FULL_S.
LEVEL_SHARE, LEVEL_LEAST_S, LEVEL_MOST_S, FULL_S = 0.12, 420.0, 1500.0, 4.0 * 3600.0
#: Band of a level: share of the rise, least, and most below the top, K. The long level has twice that. At the top it
#: keeps so many kelvin from the ceiling, as every stage with heat does.
BAND_SHARE, BAND_LEAST_K, BAND_MOST_K, CEILING_K = 0.06, 5.0, 40.0, 2.0
#: A level that leaves its band ends, but not before this share of its time.
BAND_AFTER = 0.15
#: Falls without heat: down to this share of the top's rise, and at most for this share of the slowest time constant,
#: least and most, s. Between them comes one level at this share of the rise, of so long, s, with so many times what
#: holds it.
FALL_TO, FALL_SHARE, FALL_LEAST_S, FALL_MOST_S = 0.55, 0.4, 1500.0, 5400.0
LAST_TO, LAST_SHARE, LAST_LEAST_S, LAST_MOST_S = 0.12, 1.2, 1800.0, 10.0 * 3600.0
BETWEEN_AT, BETWEEN_BAND, BETWEEN_S, BETWEEN_POWER = 0.5, 0.1, 600.0, 1.2
#: A coast is over when the reading has fallen by so many kelvin, or this share of the stage's band, below its peak, and
#: after so long at least, s.
COAST_FALL_K, COAST_FALL_SHARE, COAST_LEAST_S = 1.5, 0.25, 15.0
#: A coast is compared with the model when that expected so many kelvin at least; what it showed is taken with a margin,
#: within these factors.
COMPARED_K, COAST_MARGIN, COAST_LEAST, COAST_MOST = 0.5, 1.15, 0.75, 4.0
#: A level's power is never taken from less than this share of full power.
LEVEL_LEAST_POWER = 0.05
#: How far ahead the coast and the power that holds are simulated, s.
COAST_AHEAD_S, HOLDING_AHEAD_S = 240.0, 90.0


@dataclass(frozen=True, slots=True)
class Stage:
    """kind "rest", "full", "coast", "level" or "fall"; share of holding power; it ends by itself or after
    longest_s."""

    kind: str
    name: str
    target_c: float
    band_k: float
    longest_s: float
    share: float = 0.0


@dataclass(frozen=True)
class Experiment:
    """The stages, and for each how much time was left at its beginning when it was tried on the model."""

    stages: tuple[Stage, ...]
    temperatures_c: tuple[float, ...]
    ceiling_c: float
    model: EnergyModel
    left_s: tuple[float, ...] = ()
    #: After so long, s, no stage with heat goes on: the run ends with its last fall, before the limit of its length
    #: trips it.
    heat_until_s: float = math.inf

    @property
    def duration_s(self) -> float:
        return self.left_s[0] if self.left_s else math.nan

    def heated_s(self, begin: int = 0) -> float:
        """From the beginning of a stage to the last heat, s."""
        after = max((i for i, stage in enumerate(self.stages) if stage.kind in HEATED), default=-1) + 1
        return max(0.0, self.left_s[begin] - (self.left_s[after] if after < len(self.left_s) else 0.0))


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the run is. `since_s` in this stage; peak_c its highest reading; power_w of a level, fixed when
    it begins;
        begun_c and expected_k of a coast: where it began and the rise the model expected; `factor`:
    how much larger coasts were than the model
        said; `done`: the last stage is over; run_s: since the run began."""

    stage: int = 0
    since_s: float = 0.0
    peak_c: float = -math.inf
    power_w: float = 0.0
    begun_c: float = math.nan
    expected_k: float = math.nan
    factor: float = DOUBT
    done: bool = False
    run_s: float = 0.0


def plan(model: EnergyModel, ceiling_c: float, top_c: float | None = None) -> Experiment:
    """The stages for one oven. Raises ValueError when the ceiling leaves no room for two working
    temperatures."""
    ambient = model.ambient_c
    rise = ceiling_c - ambient
    top = ceiling_c - max(BELOW_K, BELOW_SHARE * rise) if top_c is None else top_c
    if not top <= ceiling_c - BELOW_K + 1e-9 or top - ambient < LEAST_RISE_K:
        raise ValueError(
            f"ceiling_c = {ceiling_c:g}: the top working temperature, {top:g} °C, must lie {BELOW_K:g} K "
            f"below it and {LEAST_RISE_K:g} K above the room"
        )
    # A working temperature needs power in reserve above what holds it.
    for _ in range(60):
        if model.holding_w(top) <= TOP_POWER * model.power_w:
            break
        top = ambient + TOP_STEP * (top - ambient)
    low = ambient + LOW_SHARE * (top - ambient)
    stages = [Stage("rest", "before any heat", ambient, 0.0, 60.0)]
    for at in (low, top):
        slow = min(LEVEL_MOST_S, max(LEVEL_LEAST_S, LEVEL_SHARE * slowest_s(model, at)))
        most = max(BAND_LEAST_K, ceiling_c - at - CEILING_K) if at == top else BAND_MOST_K
        band = min(max(BAND_LEAST_K, BAND_SHARE * (at - ambient)), most)
        stages.append(Stage("full", f"full power to {at:.0f} °C", at, 0.0, FULL_S))
        stages.append(Stage("coast", f"coast near {at:.0f} °C", at, band, 0.5 * slow))
        for share, part in LEVELS:
            # The long level may drift further: its curvature is what it is for.
            wide = band * (2.0 if part == 1.0 else 1.0)
            stages.append(
                Stage("level", f"{100 * share:.0f} % of what holds {at:.0f} °C", at, wide, part * slow, share)
            )
    stages.append(
        Stage(
            "fall",
            "fall without heat",
            ambient + FALL_TO * (top - ambient),
            0.0,
            min(FALL_MOST_S, max(FALL_LEAST_S, FALL_SHARE * slowest_s(model, top))),
        )
    )
    stages.append(
        Stage(
            "level",
            "one level on the way down",
            ambient + BETWEEN_AT * (top - ambient),
            BETWEEN_BAND * (top - ambient),
            BETWEEN_S,
            BETWEEN_POWER,
        )
    )
    last = min(LAST_MOST_S, max(LAST_LEAST_S, LAST_SHARE * slowest_s(model, top)))
    stages.append(Stage("fall", "last fall without heat", ambient + LAST_TO * (top - ambient), 0.0, last))
    made = Experiment(tuple(stages), (low, top), ceiling_c, model)
    return replace(made, left_s=_durations(made))


def slowest_s(model: EnergyModel, at_c: float) -> float:
    """About the time constant of the whole oven at a temperature: heat stored above the room over the power
    that leaves, s."""
    x, power = model.steady(at_c)
    capacity = (model.element_j_per_k, model.chamber_j_per_k, *model.lining_j_per_k, model.contents_j_per_k)
    rises = (0.0, 0.0, *model.capacity_rise_per_k, 0.0)
    stored = sum(c * (1.0 + 0.5 * s * t) * (t - model.ambient_c) for c, s, t in zip(capacity, rises, x, strict=False))
    return stored / max(power, 1.0)


def coast_rise_k(
    model: EnergyModel, x, ambient_c: float, unexplained_w: float = 0.0, horizon_s: float = COAST_AHEAD_S
) -> float:
    """How far chamber or sensor would still rise above the sensor's reading if the heat were cut now, K."""
    highest, now, dt = max(x[CHAMBER], x[SENSOR]), x[SENSOR], 4.0
    for _ in range(int(horizon_s / dt)):
        x = model.step(x, 0.0, dt, ambient_c, unexplained_w)
        if x[CHAMBER] < highest and x[CHAMBER] < x[SENSOR] + 0.05:
            break
        highest = max(highest, x[CHAMBER])
    return highest - now


def holding_now_w(
    model: EnergyModel, x, ambient_c: float, unexplained_w: float = 0.0, horizon_s: float = HOLDING_AHEAD_S
) -> float:
    """Constant power that brings the chamber back to where it is after horizon_s: what holds it while the
    lining still soaks, W."""
    ends = []
    for watts in (0.0, model.power_w):
        y = x
        for _ in range(int(horizon_s / 5.0)):
            y = model.step(y, watts, 5.0, ambient_c, unexplained_w)
        ends.append(y[CHAMBER])
    return min(model.power_w, max(0.0, model.power_w * (x[CHAMBER] - ends[0]) / (ends[1] - ends[0])))


@dataclass(frozen=True, slots=True)
class Seen:
    """What one tick knows: the reading (NaN: none), how far it would still rise without heat and the power that holds
    it now (both computed only when they matter, since they cost a simulation), and full power."""

    reading_c: float
    coast_k: Callable[[], float]
    holding_w: Callable[[], float]
    full_w: float


def seen_by(
    model: EnergyModel, x, ambient_c: float, reading_c: float, full_w: float, unexplained_w: float = 0.0
) -> Seen:
    """What a tick knows when the model stands at x."""
    return Seen(
        reading_c,
        lambda: coast_rise_k(model, x, ambient_c, unexplained_w),
        lambda: holding_now_w(model, x, ambient_c, unexplained_w),
        full_w,
    )


def advance(experiment: Experiment, progress: Progress, dt_s: float, seen: Seen) -> tuple[Progress, float, str]:
    """One tick: (progress, power wanted in W, why). Without a reading it asks for no heat and lets no stage
    end."""
    if progress.done:
        return progress, 0.0, "finished: heat off"
    p = replace(progress, since_s=progress.since_s + dt_s, run_s=progress.run_s + dt_s)
    reading_c = seen.reading_c
    if not math.isfinite(reading_c):
        return p, 0.0, "no reading: heat off until it is back"
    p = replace(p, peak_c=max(p.peak_c, reading_c))
    stage = experiment.stages[p.stage]
    if p.run_s >= experiment.heat_until_s and p.stage + 1 < len(experiment.stages):
        p = replace(p, stage=len(experiment.stages) - 2)
        p = _next(experiment, p, seen)
        stage = experiment.stages[p.stage]
    elif _over(stage, p, seen):
        p = _next(experiment, p, seen)
        if p.done:
            return p, 0.0, "finished: heat off"
        stage = experiment.stages[p.stage]
    if stage.kind in HEATED and reading_c + p.factor * seen.coast_k() > experiment.ceiling_c - CEILING_K:
        return p, 0.0, f"{stage.name}: heat off, stored heat would carry it to the ceiling"
    if stage.kind == "full":
        return p, seen.full_w, stage.name
    if stage.kind == "level":
        if p.power_w <= 0.0:
            p = replace(p, power_w=stage.share * max(LEVEL_LEAST_POWER * seen.full_w, seen.holding_w()))
        return p, min(seen.full_w, p.power_w), stage.name
    return p, 0.0, stage.name


def _over(stage: Stage, p: Progress, seen: Seen) -> bool:
    if p.since_s >= stage.longest_s:
        return True
    if stage.kind == "full":
        return seen.reading_c + p.factor * seen.coast_k() >= stage.target_c
    if stage.kind == "coast":
        # The coast is over once the reading has turned and fallen visibly.
        return (
            seen.reading_c < p.peak_c - max(COAST_FALL_K, COAST_FALL_SHARE * stage.band_k) and p.since_s > COAST_LEAST_S
        )
    if stage.kind == "level":
        return abs(seen.reading_c - stage.target_c) > stage.band_k and p.since_s > BAND_AFTER * stage.longest_s
    if stage.kind == "fall":
        return seen.reading_c <= stage.target_c
    return False


def _next(experiment: Experiment, p: Progress, seen: Seen) -> Progress:
    stage = experiment.stages[p.stage]
    factor, begun, expected = p.factor, math.nan, math.nan
    if stage.kind == "full":
        begun, expected = seen.reading_c, seen.coast_k()
    elif stage.kind == "coast" and p.expected_k > COMPARED_K:
        # What the coast really did, with a margin, replaces the first guess; never below three quarters of what the
        # model says.
        factor = min(COAST_MOST, max(COAST_LEAST, COAST_MARGIN * (p.peak_c - p.begun_c) / p.expected_k))
    last = p.stage + 1 >= len(experiment.stages)
    return Progress(p.stage + (0 if last else 1), 0.0, seen.reading_c, 0.0, begun, expected, factor, last, p.run_s)


def resumed(progress: Progress, experiment: Experiment) -> Progress:
    """Where to go on after an interruption: at the last full-power stage begun, since the oven has cooled
    meanwhile."""
    stage = progress.stage
    while stage > 0 and experiment.stages[stage].kind != "full":
        stage -= 1
    return Progress(stage, factor=progress.factor)


def seconds_left(experiment: Experiment, progress: Progress) -> float:
    """Time left by the model's estimate, s."""
    if progress.done or not experiment.left_s:
        return 0.0
    after = experiment.left_s[progress.stage + 1] if progress.stage + 1 < len(experiment.left_s) else 0.0
    return after + max(0.0, experiment.left_s[progress.stage] - after - progress.since_s)


def rehearsed(experiment: Experiment, dt_s: float = 5.0) -> tuple[list[float], list[float], list[int]]:
    """Run the stages on the experiment's own model: (power W, reading °C, stage) at each step."""
    model = experiment.model
    x, progress = model.rest(model.ambient_c), Progress()
    power, reading, stages = [], [], []
    while not progress.done and len(power) < 200_000:
        seen = seen_by(model, x, model.ambient_c, x[SENSOR], model.power_w)
        progress, watts, _ = advance(experiment, progress, dt_s, seen)
        x = model.step(x, watts, dt_s, model.ambient_c)
        power.append(watts)
        reading.append(x[SENSOR])
        stages.append(progress.stage)
    return power, reading, stages


def _durations(experiment: Experiment) -> tuple[float, ...]:
    dt = 5.0
    _, _, stages = rehearsed(experiment, dt)
    return tuple(dt * sum(1 for s in stages if s >= number) for number in range(len(experiment.stages)))
