"""YAML files → frozen dataclasses, with every problem reported at its place."""

from .document import Problem, SettingsError
from .oven import Oven, load_oven
from .schedule import Schedule, load_schedule

__all__ = ["Oven", "Problem", "Schedule", "SettingsError", "load_oven", "load_schedule"]
