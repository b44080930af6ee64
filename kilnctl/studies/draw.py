"""One draw: an oven from the uncertainties, rehearsed with the real control and safety code, and its result."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..control import Decision
from ..model.energy import EnergyModel
from ..model.model_oven import ModelOven
from ..model.parameters import PARAMETERS, scaled
from ..plants.virtual_oven import VirtualOven
from ..run.chain import Chain
from ..run.prepare import PreparedRun, prepare
from ..run.rehearsal import follow
from ..run.result import Run, as_run
from ..run.summary import judged, summarise
from ..run.virtual_plant import conditions_of, drawn_oven
from ..settings.construction import Load
from ..settings.differences import Virtual
from ..settings.oven import Oven
from ..settings.schedule import Schedule
from ..terms import Phase
from .inputs import INPUTS, Vary, deviates, outside_only, plant_seed, virtual_of

#: A run is followed for so long into its last cooling, s: a part lags, and its temperature there still counts.
AFTER_S = 300.0
#: Soaks are judged from so long after arrival, s: the landing is judged as overshoot.
LANDED_S = 300.0
#: The sag of tuning studies: a kettle or a saw on the same line lowers the voltage by a tenth for four minutes.
SAG_SHARE, SAG_S = 0.9, 240.0


@dataclass(frozen=True)
class Measure:
    """`worst`: +1 when high is bad, −1 when low is."""

    name: str
    words: str
    unit: str
    worst: int
    decimals: int


MEASURES = (
    Measure("highest_c", "highest chamber", "°C", +1, 1),
    Measure("overshoot_k", "overshoot", "K", +1, 2),
    Measure("soak_deviation_k", "worst deviation in the soaks", "K", +1, 2),
    Measure("soak_reached_s", "time to the first soak", "min", +1, 1),
    Measure("duration_s", "time to the end of the last soak", "min", +1, 1),
    Measure("part_highest_c", "highest part", "°C", +1, 1),
    Measure("part_error_k", "model's error about the part", "K", +1, 2),
    Measure("cure_share", "share of the reference cure", "", -1, 3),
    Measure("energy_kwh", "energy", "kWh", +1, 2),
    Measure("duty_activity", "duty's restlessness", "1/min", +1, 3),
)


@dataclass(frozen=True)
class Fitted:
    """Draws of a fitted model: ln(parameter) is normal with this covariance (n × n) about the model's."""

    names: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class Case:
    """Everything that the draws of a study have in common. Pickled to the process that computes. `model` is what the
    control believes; `fitted` None: ovens from the description; `whole`: follow the last cooling to its end; `sag`: the
    supply sags for SAG_S in the first soak, to see how the trim answers it."""

    oven: Oven
    schedule: Schedule
    vary: Vary
    seed: int
    model: EnergyModel
    load: Load | None
    fitted: Fitted | None = None
    whole: bool = False
    sag: bool = False


@lru_cache(maxsize=4)
def _prepared(oven: Oven, schedule: Schedule, model: EnergyModel, load: Load | None) -> PreparedRun:
    """What does not change from draw to draw; made once in each process. (Keyed by value, so that a pickled copy
    finds it.)"""
    return prepare(oven, schedule, model, load=load)


def oven_of(case: Case, draw: int) -> tuple[Virtual, EnergyModel | None, list[float]]:
    """The virtual oven of a draw, the model that is its truth (None: the detailed oven), and the deviates."""
    count = len(case.fitted.names) if case.fitted else 0
    z = deviates(case.seed, draw, count)
    virtual = virtual_of(case.vary, case.oven, z, plant_seed(case.seed, draw))
    if case.fitted is None:
        return virtual, None, z
    by_name = {p.name: p for p in PARAMETERS}
    # A square root of the covariance by its eigenvectors, since it may be singular.
    values, vectors = np.linalg.eigh(np.array(case.fitted.covariance))
    logarithms = (vectors * np.sqrt(np.maximum(values, 0.0))) @ np.array(z[len(INPUTS) :])
    return outside_only(virtual), scaled(case.model, [by_name[n] for n in case.fitted.names], logarithms.tolist()), z


def plant_of(case: Case, virtual: Virtual, truth: EnergyModel | None) -> VirtualOven | ModelOven:
    if truth is None:
        return drawn_oven(case.oven, virtual, case.load)
    return ModelOven(case.oven, truth, virtual.seed, conditions_of(virtual))


def rehearse_draw(case: Case, draw: int) -> dict:
    """One line of a study: {"draw", "z", "outcome", "trips", "measures"}; floats are exact in JSON. Anything that goes
    wrong is noted in "failed" and ends only this draw."""
    z: list[float] = []
    try:
        virtual, truth, z = oven_of(case, draw)
        run = rehearsed(case, plant_of(case, virtual, truth), virtual.seed)
        return {
            "draw": draw,
            "z": z,
            "outcome": run.outcome,
            "trips": [[t.fault, t.time_s] for t in run.trips],
            "measures": measures_of(run),
        }
    except Exception as error:
        return {"draw": draw, "z": z, "failed": f"{type(error).__name__}: {error}"}


def rehearsed(case: Case, plant: VirtualOven | ModelOven, seed: int) -> Run:
    """The run of one plant; ends AFTER_S into the last cooling, unless the whole is wanted."""
    run = _prepared(case.oven, case.schedule, case.model, case.load)
    chain = Chain(run)
    rows: list[tuple] = []
    last_s = soak_s = None
    usual = plant.supply_share

    def enough(time_s: float, decision: Decision) -> bool:
        nonlocal last_s, soak_s
        if case.sag:
            soak_s = time_s if soak_s is None and decision.phase == Phase.SOAK else soak_s
            sags = soak_s is not None and LANDED_S <= time_s - soak_s < LANDED_S + SAG_S
            plant.supply_share = usual * (SAG_SHARE if sags else 1.0)
        cooling = decision.phase == Phase.COOLING and decision.step == len(case.schedule.steps) - 1
        last_s = (time_s if last_s is None else last_s) if cooling else None
        return not case.whole and last_s is not None and time_s - last_s >= AFTER_S

    outcome = follow(plant, chain, rows, enough=enough)
    trips = tuple(chain.safety.trips.values())
    return as_run(run, rows, outcome=outcome, trips=trips, seed=seed, energy_j=chain.energy_j)


def measures_of(run: Run) -> dict[str, float | None]:
    """{measure: value}; None where the run has none (a soak that was never reached, no part, no cure)."""
    summary = summarise(run)
    soaks = [s for s in summary.soaks if math.isfinite(s.arrived_s)]
    wanted = [s for s in run.schedule.steps if s.hold_s > 0.0]
    time, (judged_c, _) = run.time_s, judged(run)
    in_soak, away, missed = np.zeros(len(time), dtype=bool), [], []
    for s in soaks:
        here = (time >= s.arrived_s + LANDED_S) & (time <= s.end_s)
        in_soak |= here
        away.append(float(np.abs(judged_c[here] - s.target_c).max()) if here.any() else math.nan)
        end = int(np.searchsorted(time, s.end_s))
        missed.append(abs(float(run.data["part_estimate_c"][end] - run.data["true_part_c"][end])))
    # Mean movement of the duty in soaks: it wears relays and elements, and makes lamps flicker.
    moves = np.abs(np.diff(run.data["duty"]))[in_soak[1:]] if len(time) > 1 else np.zeros(0)
    assert isinstance(run.oven, Oven), "a run that was just made knows its oven"
    dt = run.oven.control.tick_s
    values = {
        "highest_c": summary.highest_chamber_c,
        "overshoot_k": summary.overshoot_k,
        "soak_deviation_k": max(away) if away and len(soaks) == len(wanted) else None,
        "soak_reached_s": soaks[0].arrived_s if soaks else None,
        "duration_s": soaks[-1].end_s if soaks and len(soaks) == len(wanted) else None,
        "part_highest_c": summary.highest_part_c,
        "part_error_k": max(missed) if missed else None,
        "cure_share": summary.cure_share,
        "energy_kwh": summary.energy_kwh,
        "duty_activity": float(moves.mean() * 60.0 / dt) if len(moves) else None,
    }
    return {n: None if v is None or not math.isfinite(v) else float(v) for n, v in values.items()}
