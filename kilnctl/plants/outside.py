"""A user's own simulation of an oven instead of the virtual oven: a Python class, or a co-simulation unit."""

import importlib.util
import inspect
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..errors import KilnctlError
from ..reading import Reading
from .fmi_unit import FmiUnit
from .plant import Plant


def load_plant(where: str, oven: Any = None) -> Plant:
    """Load `FILE.py:NAME`, or a co-simulation unit `UNIT.fmu`, **and run that file's code**: use only files that you
    trust as you trust a program.

    NAME is a plant, or a class or function that makes one; it is called with the oven when it takes an
    argument. Raises `KilnctlError` when there is no such file or name, when its code fails, or when the
    result is not a plant.
    """
    if where.lower().endswith(".fmu"):
        return FmiUnit(where)
    file, colon, name = where.rpartition(":")
    if not colon or not file or not name.isidentifier():
        raise KilnctlError(
            f"'{where}': a plant from outside is given as FILE.py:NAME, a Python file and a name in it, or as UNIT.fmu"
        )
    path = Path(file)
    if not path.is_file():
        raise KilnctlError(f"{file}: there is no such file")
    spec = importlib.util.spec_from_file_location(f"kilnctl_outside_plant_{path.stem}", path)
    if spec is None or spec.loader is None:
        raise KilnctlError(f"{file}: not a Python file (its name should end in .py)")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module  # so that its objects can be pickled within this process
    try:
        spec.loader.exec_module(module)
    except Exception as error:
        raise KilnctlError(f"{file}: its code failed: {type(error).__name__}: {error}") from error
    if not hasattr(module, name):
        raise KilnctlError(f"{file}: has no '{name}'")
    plant: Any = getattr(module, name)
    if isinstance(plant, type) or not hasattr(plant, "advance"):
        if not callable(plant):
            raise KilnctlError(
                f"{where}: has no 'advance(dt_s, duty, contactor_closed)' and cannot be called to make a plant"
            )
        try:
            plant = plant(oven) if _wants_argument(plant) else plant()
        except Exception as error:
            raise KilnctlError(f"{where}: could not be made: {type(error).__name__}: {error}") from error
    if not callable(getattr(plant, "advance", None)):
        raise KilnctlError(f"{where}: has no method 'advance(dt_s, duty, contactor_closed)', so it is not a plant")
    return _Outside(plant, where, file)


class _Outside:
    """A plant from a file. What fails in its code is told with its place there, not as a fault of ours."""

    def __init__(self, plant: Any, where: str, file: str):
        self.plant, self.where, self.file = plant, where, file

    def __getattr__(self, name: str) -> Any:
        return getattr(self.__dict__["plant"], name)

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """One step of the plant. Raises `KilnctlError` where its code fails, or gives no `Reading`."""
        try:
            reading = self.plant.advance(dt_s, duty, contactor_closed)
        except Exception as error:
            own = os.path.abspath(self.file)
            lines = [f.lineno for f in traceback.extract_tb(error.__traceback__) if os.path.abspath(f.filename) == own]
            place = f"{self.file}:{lines[-1]}" if lines else self.file
            raise KilnctlError(f"{place}: its code failed: {type(error).__name__}: {error}") from error
        if not isinstance(reading, Reading):
            raise KilnctlError(f"{self.where}: advance() gave a {type(reading).__name__}, not a kilnctl.Reading")
        return reading


def _wants_argument(maker: Any) -> bool:
    kinds = (
        inspect.Parameter.POSITIONAL_ONLY,
        inspect.Parameter.POSITIONAL_OR_KEYWORD,
        inspect.Parameter.VAR_POSITIONAL,
    )
    return any(p.kind in kinds for p in inspect.signature(maker).parameters.values())
