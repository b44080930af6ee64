"""Runs made by hand, for the tests of what is written and read of them."""

import math
from pathlib import Path

import numpy as np

from kilnctl import load_oven
from kilnctl.record.columns import COLUMNS
from kilnctl.record.events import Event
from kilnctl.record.folder import new_folder
from kilnctl.record.run_record import RunRecord
from kilnctl.report.finishing import finish
from kilnctl.run.summary import summarise
from kilnctl.safety import Trip
from kilnctl.settings.construction import Load
from kilnctl.settings.schedule import Cure, Schedule, Step

OVEN = load_oven(Path(__file__).parents[2] / "configs/ovens/curing-cabinet.yaml")
SCHEDULE = Schedule(
    name="Dry <lamps>",
    about="a & b",
    steps=(Step(name="warm", to_c=100.0, hold_s=1800.0),),
    cure=Cure(at_c=100.0, time_s=1500.0),
)
LOAD = Load(name="lamps", mass_kg=2.0, area_m2=0.3)


def made(hold_w=600.0, strength=1.0, trips=(), estimate=False, **more) -> RunRecord:
    """A run made by hand: full power to 100 °C in 480 s (at strength 1), then a half-hour soak at hold_w."""
    heat_s = 480.0 / strength
    time = np.arange(0.0, heat_s + 1800.0, 2.0)
    chamber = np.where(time < heat_s, 20.0 + 80.0 * time / heat_s, 100.0 + 0.2 * np.sin(time / 50.0))
    data = {c.name: np.full(len(time), math.nan) for c in COLUMNS if c.name != "reason"}
    data |= {
        "time_s": time,
        "chamber_c": chamber,
        "reference_c": np.full(len(time), 100.0),
        "step": np.ones(len(time)),
        "reason": np.array([""] * len(time), dtype=object),
        "fired": np.where(time < heat_s, 1.0, hold_w / OVEN.elements.power_w),
        "trim_w": np.zeros(len(time)),
        "feedforward_w": np.full(len(time), hold_w),
    }
    data["part_estimate_c" if estimate else "part_c"] = chamber - 3.0
    if estimate:
        data["part_sd_k"] = np.full(len(time), 2.0)
    energy = float(np.sum(data["fired"]) * 2.0 * OVEN.elements.power_w)
    facts = {
        "folder": Path(),
        "oven": OVEN,
        "schedule": SCHEDULE,
        "outcome": "finished",
        "trips": trips,
        "data": data,
        "seed": None,
        "controller": "ours",
        "events": (
            Event(0.0, "step", "heat up: warm"),
            Event(900.0, "request", "hold (panel)"),
        ),
        "energy_j": energy,
        "model": {"power_w": 3000.0, "lining_j_per_k": (1.0, 2.0)},
        "load": LOAD,
        "started": "2031-05-04 10:00",
        "rig": "board",
    }
    return RunRecord(**facts | more)


TRIP = Trip("over-temperature", 700.0, "Leave it shut.", "chamber at 290 °C", "Check the relay.")


def saved(place, **how) -> Path:
    run = made(**how)
    folder = new_folder(place, OVEN.name, SCHEDULE.name)
    finish(folder, run, summarise(run))
    return folder
