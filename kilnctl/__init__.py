"""kilnctl: size, rehearse, commission, run and prove a small electric oven.

The names below load on first use, so that a process which only runs the control imports nothing it does not need.
"""

from importlib import import_module

__version__ = "0.1.0"

_PUBLIC = {
    "KilnctlError": "errors",
    "Reading": "reading",
    "SettingsError": "settings",
    "load_oven": "settings",
    "load_schedule": "settings",
    "size": "sizing",
    "rehearse": "run.rehearsal",
    "Run": "run.result",
    "Plant": "plants.plant",
    "VirtualOven": "plants.virtual_oven",
    "study": "studies",
    "learn": "commissioning.learning_run",
    "fit": "identification.fit",
}

__all__ = ["__version__", *_PUBLIC]


def __getattr__(name: str):
    if name not in _PUBLIC:
        raise AttributeError(f"module 'kilnctl' has no attribute '{name}'")
    return getattr(import_module(f".{_PUBLIC[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted(__all__)
