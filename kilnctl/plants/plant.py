"""The plant protocol, and how a user's own simulation of an oven replaces ours."""

import importlib.util
import inspect
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, runtime_checkable

from ..errors import KilnctlError
from ..reading import Reading


@runtime_checkable
class Plant(Protocol):
    """Anything that can be heated in simulated time. Control, rehearsal and commissioning need nothing else of it.

    A plant may also say more: see `truth_of` and `computer_of`.
    """

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """Let `dt_s` seconds pass (above 0) with the relay on for the share `duty` of it (0..1; a sequence
        when element groups are fired apart) and the contactor's coil driven or not; then say what the sensors
        show."""
        ...


@dataclass(frozen=True, slots=True)
class Truth:
    """What a plant knows of itself that no sensor shows, °C: the chamber's and the part's temperature; None: not
    known."""

    chamber_c: float | None = None
    part_c: float | None = None


@dataclass(frozen=True, slots=True)
class ComputerFaults:
    """Faults of the computer that controls, as a plant simulates them: its loop stands still; its clock jumped by
    clock_jump_s, s."""

    loop_stalled: bool = False
    clock_jump_s: float = 0.0


def truth_of(plant: Plant | None) -> Truth:
    """The plant's own `chamber_c` and `part_c`, where it has them."""
    return Truth(getattr(plant, "chamber_c", None), getattr(plant, "part_c", None))


def computer_of(plant: Plant) -> ComputerFaults:
    """The plant's `loop_stalled` and `clock_jump_s`, where it has them."""
    return ComputerFaults(getattr(plant, "loop_stalled", False), getattr(plant, "clock_jump_s", 0.0))


def load_plant(where: str, oven: Any = None) -> Plant:
    """Load `FILE.py:NAME` **and run that file's code**: use only files that you trust as you trust a program.

    NAME is a plant, or a class or function that makes one; it is called with the oven when it takes an
    argument. Raises `KilnctlError` when there is no such file or name, when its code fails, or when the
    result is not a plant.
    """
    file, colon, name = where.rpartition(":")
    if not colon or not file or not name.isidentifier():
        raise KilnctlError(f"'{where}': a plant from outside is given as FILE.py:NAME, a Python file and a name in it")
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
    return plant


def _wants_argument(maker: Any) -> bool:
    kinds = (
        inspect.Parameter.POSITIONAL_ONLY,
        inspect.Parameter.POSITIONAL_OR_KEYWORD,
        inspect.Parameter.VAR_POSITIONAL,
    )
    return any(p.kind in kinds for p in inspect.signature(maker).parameters.values())


def check_command(dt_s: float, duty: Sequence[float]) -> None:
    """Raises ValueError for a command that no hardware can carry out."""
    if not (math.isfinite(dt_s) and dt_s > 0.0):
        raise ValueError(f"dt_s must be above zero and finite, not {dt_s!r}")
    for share in duty:
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"duty must lie from 0 to 1, not {share!r}")
