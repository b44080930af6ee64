"""What is to be expected of a schedule: a rehearsal on the model itself, and from it the next milestones of a run."""

from dataclasses import dataclass, replace
from pathlib import Path

from .. import control, safety
from ..body import bursts
from ..errors import KilnctlError
from ..model.model_oven import ModelOven
from ..model.trained_file import model_for
from ..plants.conditions import Conditions
from ..record.columns import INDEX
from ..run.chain import Chain
from ..run.rehearsal import follow, holding_table
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from .service_client import picture

PICTURE_ROWS = 400
#: The slowest tick that the rules bear, s: half the work, and the same result to a thousandth.
SLOWEST_TICK_S = 2.0
#: A schedule that takes longer than this is refused, s.
LONGEST_S = 14 * 86400.0
#: What a milestone says, by phase.
WORDS = {"heat up": "arrives at", "ramp": "ramp ends", "soak": "soak ends", "cooling": "has cooled"}


@dataclass(frozen=True)
class PreviewStretch:
    """From when to when the run is in one step and phase, s; `to_c` is where it goes."""

    step: int
    phase: str
    name: str
    to_c: float
    begin_s: float
    end_s: float


@dataclass(frozen=True)
class RunPreview:
    """What is to be expected of a run. `columns`: time_s, reference_c, chamber_c, part_c, duty, thinned for a picture;
    `chamber`: every tick of `tick_s`."""

    outcome: str
    words: tuple[str, ...]
    duration_s: float
    energy_kwh: float
    highest_c: float
    stretches: tuple[PreviewStretch, ...]
    columns: dict[str, list]
    chamber: tuple[float, ...]
    tick_s: float

    def milestones(self, status: dict, ahead: dict) -> list[dict]:
        """What comes next for a run in that state: {in_s, words}, the end last. Empty when the run is where the preview
        never is (held, another step)."""
        step, phase, chamber = status.get("step"), status.get("state"), status.get("chamber_c")
        here = [k for k, s in enumerate(self.stretches) if s.step == step and s.phase == phase]
        if not here or chamber is None:
            return []
        now = self.stretches[here[0]]
        left = self._left_s(now, chamber, ahead)
        out = [{"in_s": left, "words": f"{WORDS[now.phase]} {now.to_c:.0f} °C", "to_c": now.to_c, "phase": now.phase}]
        for later in self.stretches[here[0] + 1 :]:
            left += later.end_s - later.begin_s
            out.append(
                {
                    "in_s": left,
                    "words": f"{WORDS[later.phase]} {later.to_c:.0f} °C",
                    "to_c": later.to_c,
                    "phase": later.phase,
                }
            )
        return out

    def _left_s(self, now: PreviewStretch, chamber: float, ahead: dict) -> float:
        times = (ahead.get("reference") or {}).get("in_s") or []
        if now.phase in ("ramp", "soak") and len(times) > 1:
            return max(0.0, times[1])
        a, b = int(now.begin_s / self.tick_s), int(now.end_s / self.tick_s)
        rising = now.phase == "heat up"
        for i in range(a, min(b, len(self.chamber))):
            if (self.chamber[i] >= chamber) if rising else (self.chamber[i] <= chamber):
                return max(0.0, now.end_s - i * self.tick_s)
        return 0.0


def prepared(
    oven: Oven, schedule: Schedule, start_c: float | None = None, model_file: str | Path | None = None
) -> tuple:
    """(model, where it is from, programme, policy) of a run. Raises KilnctlError for a schedule that this oven may not
    do."""
    load = schedule.load if schedule.load is not None else oven.usual_load
    model, words = model_for(oven, load, schedule.top_c, model_file)
    return (
        model,
        words,
        control.prepare(oven, schedule, model, start_c),
        safety.policy_for(oven, schedule, model, start_c=start_c),
    )


def preview_of(
    oven: Oven, schedule: Schedule, start_c: float | None = None, model_file: str | Path | None = None
) -> RunPreview:
    """Rehearse the schedule on the model that would control it, from a chamber (and everything in it) at start_c.

    Raises KilnctlError for a schedule that this oven may not or cannot do. Seconds of work for a long schedule.
    """
    oven = replace(oven, control=replace(oven.control, tick_s=max(oven.control.tick_s, SLOWEST_TICK_S)))
    model, words, programme, policy = prepared(oven, schedule, start_c, model_file)
    plant = ModelOven(oven, model, 1, Conditions(ambient_c=None))
    if start_c is not None and start_c > plant.ambient_c:
        plant.start_at(start_c)
    chain = Chain(control, programme, policy, bursts.pattern_for(oven), holding_table(model, oven))
    rows: list[tuple] = []
    keys: list[tuple[float, int, str]] = []

    def note(time_s: float, decision) -> bool:
        keys.append((time_s, decision.step + 1, decision.phase))
        if time_s > LONGEST_S:
            raise KilnctlError(f"{schedule.name}: it would take more than two weeks")
        return False

    outcome = follow(oven, plant, chain, rows, enough=note)
    table = {
        "time_s": "time_s",
        "reference_c": "reference_c",
        "chamber_c": "true_chamber_c",
        "part_c": "true_part_c",
        "duty": "duty",
    }
    columns = {name: [_none(row[INDEX[of]]) for row in rows] for name, of in table.items()}
    keep = picture(columns, PICTURE_ROWS)
    said = [
        f"the control's model: {words}",
        safety.schedule_trip_words(schedule, policy.schedule_trip_c),
        *(s.note for s in programme.shortfalls),
    ]
    said += [str(t) for t in chain.safety.trips.values()]
    return RunPreview(
        outcome,
        tuple(said),
        keys[-1][0] if keys else 0.0,
        chain.energy_j / 3.6e6,
        max((c for c in columns["chamber_c"] if c is not None), default=0.0),
        _stretches(schedule, keys),
        {name: [_short(values[i]) for i in keep] for name, values in columns.items()},
        tuple(c or 0.0 for c in columns["chamber_c"]),
        oven.control.tick_s,
    )


def _stretches(schedule: Schedule, keys: list[tuple[float, int, str]]) -> tuple[PreviewStretch, ...]:
    """The stretches of the run from (time, step, phase) of every tick. A step without a target keeps the one before."""
    targets, target = [], 0.0
    for step in schedule.steps:
        target = step.to_c if step.to_c is not None else target
        targets.append(target)
    spans: list[tuple[int, str, float, float]] = []
    for time_s, step, phase in keys:
        if phase not in WORDS:
            continue
        if spans and spans[-1][:2] == (step, phase):
            spans[-1] = (step, phase, spans[-1][2], time_s)
        else:
            spans.append((step, phase, time_s, time_s))
    return tuple(
        PreviewStretch(step, phase, schedule.steps[step - 1].name or f"step {step}", targets[step - 1], begin_s, end_s)
        for step, phase, begin_s, end_s in spans
    )


def _none(value: float) -> float | None:
    return None if value != value else value


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
