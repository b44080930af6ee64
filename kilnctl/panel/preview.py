"""The preview of a schedule: a rehearsal on the model itself, which also gives the next milestones of a run."""

from dataclasses import dataclass, field, replace
from math import hypot
from pathlib import Path

from .. import safety
from ..control import Decision
from ..errors import KilnctlError
from ..model.ledger import ledger_w
from ..model.model_oven import ModelOven
from ..model.uncertainty import uncertainty_of
from ..plants.conditions import Conditions
from ..record.columns import INDEX
from ..run.chain import Chain
from ..run.prepare import PreparedRun, prepare
from ..run.rehearsal import follow
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import Phase
from .reach import region, walks
from .service_client import picture

PICTURE_ROWS = 400
#: The longest tick that the rules allow, s: half the work, and the same result within 0.1 %.
SLOWEST_TICK_S = 2.0
#: A schedule that takes longer than this is refused, s: two weeks.
LONGEST_S = 14 * 86400.0
#: What a milestone says, by phase.
WORDS = {
    Phase.HEAT_UP: "arrives at",
    Phase.RAMP: "ramp ends",
    Phase.SOAK: "soak ends",
    Phase.COOLING: "has cooled",
}


@dataclass(frozen=True)
class PreviewStretch:
    """From when to when the run is in one step and phase, s; `to_c` is its target."""

    step: int
    phase: Phase
    name: str
    to_c: float
    begin_s: float
    end_s: float


@dataclass(frozen=True)
class RunPreview:
    """The preview of a run. `columns`: time_s, reference_c, chamber_c, part_c, duty, thinned for a picture;
    `chamber`: every tick of `tick_s`; `spread`: by which share heating up may take longer or shorter; `ledger_j`: where
    the energy goes, J; `full_w`: of the elements; `region`: what this oven can follow (`kilnctl.panel.reach`)."""

    outcome: str
    words: tuple[str, ...]
    duration_s: float
    energy_kwh: float
    highest_c: float
    stretches: tuple[PreviewStretch, ...]
    columns: dict[str, list]
    chamber: tuple[float, ...]
    tick_s: float
    spread: float = 0.0
    ledger_j: dict[str, float] = field(default_factory=dict)
    region: dict[str, list[float]] = field(default_factory=dict)
    full_w: float = 0.0

    def milestones(self, status: dict, ahead: dict) -> list[dict]:
        """What comes next for a run in that state: {in_s, words}, the end last. Empty when the run's step or phase does
        not occur in the preview (for example, held)."""
        step, phase, chamber = status.get("step"), status.get("state"), status.get("chamber_c")
        if phase == Phase.START_TEST and self.stretches:
            return self._all_after(max(0.0, self.stretches[0].begin_s - float(status.get("run_s") or 0.0)), 0)
        here = [k for k, s in enumerate(self.stretches) if s.step == step and s.phase == phase]
        if not here or chamber is None:
            return []
        now = self.stretches[here[0]]
        left = self._left_s(now, chamber, ahead)
        out = [{"in_s": left, "words": f"{WORDS[now.phase]} {now.to_c:.0f} °C", "to_c": now.to_c, "phase": now.phase}]
        return out + self._all_after(left, here[0] + 1)

    def _all_after(self, left_s: float, first: int) -> list[dict]:
        """The milestones from the stretch `first` on, which begins in `left_s`."""
        out = []
        for later in self.stretches[first:]:
            left_s += later.end_s - later.begin_s
            words = f"{WORDS[later.phase]} {later.to_c:.0f} °C"
            out.append({"in_s": left_s, "words": words, "to_c": later.to_c, "phase": later.phase})
        return out

    def outlook(self, status: dict, milestones: list[dict]) -> dict | None:
        """Where the run is in this plan: {plan_s: time in the plan, shift_s: how much later the run is than the plan,
        spread: by which share heating up may take longer or shorter}; None where the plan does not say."""
        if not milestones or not self.stretches:
            return None
        plan_s = max(0.0, self.stretches[-1].end_s - milestones[-1]["in_s"])
        run_s = float(status.get("run_s") or 0.0)
        return {"plan_s": plan_s, "shift_s": run_s - plan_s, "spread": self.spread}

    def _left_s(self, now: PreviewStretch, chamber: float, ahead: dict) -> float:
        times = (ahead.get("reference") or {}).get("in_s") or []
        if now.phase in (Phase.RAMP, Phase.SOAK) and len(times) > 1:
            return max(0.0, times[1])
        if now.phase == Phase.SOAK and ahead.get("soak_left_s") is not None:
            # It waits for its band: first the oven has to be back there.
            return self._climb_s(now, chamber) + ahead["soak_left_s"]
        return self._along_s(now, chamber, now.phase == Phase.HEAT_UP)

    def _climb_s(self, soak: PreviewStretch, chamber: float) -> float:
        """How long the plan takes from that chamber temperature to the soak."""
        ways = [s for s in self.stretches if s.step == soak.step and s.phase in (Phase.HEAT_UP, Phase.RAMP)]
        return self._along_s(ways[-1], chamber, rising=ways[-1].to_c > chamber) if ways else 0.0

    def _along_s(self, now: PreviewStretch, chamber: float, rising: bool) -> float:
        """The time from where the plan has that chamber temperature to the end of the stretch, s."""
        a, b = int(now.begin_s / self.tick_s), int(now.end_s / self.tick_s)
        for i in range(a, min(b, len(self.chamber))):
            if (self.chamber[i] >= chamber) if rising else (self.chamber[i] <= chamber):
                return max(0.0, now.end_s - i * self.tick_s)
        return 0.0


def preview_of(
    oven: Oven, schedule: Schedule, start_c: float | None = None, model_file: str | Path | None = None
) -> RunPreview:
    """Rehearse the schedule on the model that would control it; chamber and contents start at start_c.

    Raises KilnctlError for a schedule that this oven may not or cannot do. Seconds of work for a long schedule.
    """
    oven = replace(oven, control=replace(oven.control, tick_s=max(oven.control.tick_s, SLOWEST_TICK_S)))
    run = prepare(oven, schedule, model_file, start_c)
    plant = ModelOven(oven, run.model, 1, Conditions(ambient_c=None))
    if start_c is not None and start_c > plant.ambient_c:
        plant.start_at(start_c)
    chain = Chain(run)
    rows: list[tuple] = []
    moments: list[tuple[float, int, Phase]] = []

    shares: dict[str, float] = {}

    def note(time_s: float, decision: Decision) -> bool:
        moments.append((time_s, decision.step, decision.phase))
        _share_out(shares, chain, decision, oven.control.tick_s)
        if time_s > LONGEST_S:
            raise KilnctlError(f"{schedule.name}: it would take more than two weeks")
        return False

    outcome = follow(plant, chain, rows, enough=note)
    table = {
        "time_s": "time_s",
        "reference_c": "reference_c",
        "chamber_c": "true_chamber_c",
        "part_c": "true_part_c",
        "duty": "duty",
    }
    columns = {name: [_none(row[INDEX[of]]) for row in rows] for name, of in table.items()}
    keep = picture(columns, PICTURE_ROWS)
    stretches = _stretches(schedule, moments)
    return RunPreview(
        outcome,
        (*_said(run), *(str(t) for t in chain.safety.trips.values())),
        moments[-1][0] if moments else 0.0,
        chain.energy_j / 3.6e6,
        max((c for c in columns["chamber_c"] if c is not None), default=0.0),
        stretches,
        {name: [_short(values[i]) for i in keep] for name, values in columns.items()},
        tuple(c or 0.0 for c in columns["chamber_c"]),
        oven.control.tick_s,
        _spread(run),
        {name: round(j) for name, j in shares.items()},
        _region(run, stretches, columns["chamber_c"], oven.control.tick_s),
        oven.elements.power_w,
    )


def _share_out(shares: dict[str, float], chain: Chain, decision: Decision, dt_s: float) -> None:
    """Add where a tick's energy goes, J, by the model."""
    state, last = chain.control, chain.last
    if state is None or state.estimate is None or last is None:
        return
    programme, power_w = chain.programme, last.fired * decision.full_w
    where = ledger_w(programme.model, state.estimate.now, power_w, decision.unexplained_w, programme.ambient_c)
    for name, watts in where.items():
        shares[name] = shares.get(name, 0.0) + watts * dt_s


def _region(run: PreparedRun, stretches: tuple[PreviewStretch, ...], chamber: list, tick_s: float) -> dict:
    """See `RunPreview.region`."""
    if not stretches:
        return {}
    at = [chamber[min(len(chamber) - 1, int(s.begin_s / tick_s))] or 0.0 for s in stretches]
    top, ambient = run.oven.limits.highest_c, run.oven.site.ambient_c
    rising, falling = walks(run.model, min(at[0], top - 1.0), top, ambient)
    return region(rising, falling, [(s.begin_s, s.end_s, c) for s, c in zip(stretches, at, strict=True)])


def _spread(run: PreparedRun) -> float:
    """By which share heating up may take longer or shorter: what is not known of power and capacity. A trained model
    has seen this oven; what remains for it is load and supply, a twentieth (an estimate)."""
    if run.model_file:
        return 0.05
    known = uncertainty_of(run.oven, run.load)
    return min(0.5, hypot(known.power, known.capacity))


def _said(run: PreparedRun) -> list[str]:
    """What a person should know before the start."""
    return [
        f"the control's model: {run.model_words}",
        safety.schedule_trip_words(run.schedule, run.policy.schedule_trip_c),
        *(s.note for s in run.programme.shortfalls),
    ]


def _stretches(schedule: Schedule, moments: list[tuple[float, int, Phase]]) -> tuple[PreviewStretch, ...]:
    """The run's steps and phases from (time since the start, step from 0, phase) of each tick."""
    targets_c, last_c = [], 0.0
    for s in schedule.steps:
        last_c = s.to_c if s.to_c is not None else last_c
        targets_c.append(last_c)
    found: list[PreviewStretch] = []
    for time_s, step, phase in moments:
        if phase not in WORDS:
            continue
        if found and (found[-1].step, found[-1].phase) == (step + 1, phase):
            found[-1] = replace(found[-1], end_s=time_s)
        else:
            name = schedule.steps[step].name or f"step {step + 1}"
            found.append(PreviewStretch(step + 1, phase, name, targets_c[step], time_s, time_s))
    return tuple(found)


def _none(value: float) -> float | None:
    return None if value != value else value


def _short(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
