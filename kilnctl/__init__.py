"""kilnctl: size, rehearse, commission, run and prove a small electric oven.

The names below load on first use, so that a process which only runs the control imports nothing it does not need.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .body import load_oven as load_oven
    from .commissioning.learning_run import learn as learn
    from .errors import KilnctlError as KilnctlError
    from .identification.fitting import fit as fit
    from .model.energy import EnergyModel as EnergyModel
    from .model.fit_result import Fit as Fit
    from .model.trained_file import TrainedModel as TrainedModel
    from .model.trained_file import load_model as load_model
    from .model.trained_file import save_model as save_model
    from .plants.plant import Plant as Plant
    from .plants.virtual_oven import VirtualOven as VirtualOven
    from .reading import Reading as Reading
    from .run.prepare import PreparedRun as PreparedRun
    from .run.prepare import prepare as prepare
    from .run.rehearsal import rehearse as rehearse
    from .run.result import Run as Run
    from .run.summary import Summary as Summary
    from .run.summary import summarise as summarise
    from .settings import Oven as Oven
    from .settings import Schedule as Schedule
    from .settings import SettingsError as SettingsError
    from .settings import load_schedule as load_schedule
    from .sizing import Sizing as Sizing
    from .sizing import size as size
    from .studies import Study as Study
    from .studies import study as study
    from .terms import Outcome as Outcome
    from .terms import Phase as Phase

#: The one place of the version; pyproject.toml reads it here.
__version__ = "0.1.0"

_PUBLIC = {
    "EnergyModel": "model.energy",
    "Fit": "model.fit_result",
    "KilnctlError": "errors",
    "Outcome": "terms",
    "Oven": "settings",
    "Phase": "terms",
    "Plant": "plants.plant",
    "PreparedRun": "run.prepare",
    "Reading": "reading",
    "Run": "run.result",
    "Schedule": "settings",
    "SettingsError": "settings",
    "Sizing": "sizing",
    "Study": "studies",
    "Summary": "run.summary",
    "TrainedModel": "model.trained_file",
    "VirtualOven": "plants.virtual_oven",
    "fit": "identification.fitting",
    "learn": "commissioning.learning_run",
    "load_model": "model.trained_file",
    "load_oven": "body",
    "load_schedule": "settings",
    "prepare": "run.prepare",
    "rehearse": "run.rehearsal",
    "save_model": "model.trained_file",
    "size": "sizing",
    "study": "studies",
    "summarise": "run.summary",
}


def __getattr__(name: str) -> Any:
    if name not in _PUBLIC:
        raise AttributeError(f"module 'kilnctl' has no attribute '{name}'")
    return getattr(import_module(f".{_PUBLIC[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted(["__version__", *_PUBLIC])
