"""A co-simulation unit (FMI 2.0 or 3.0) as a plant: `--plant UNIT.fmu`. Extra `fmi`.

Inputs by name: `duty` (0 to 1) or `duty[1]`, `duty[2]` … for element groups fired apart, and `contactor_closed`.
Outputs by name: the fields of `kilnctl.reading.Reading` that are numbers or booleans, of which `chamber_c` must be
there, and `true_chamber_c` and `true_part_c`, which only the unit knows. A temperature whose declared unit is K is
converted to °C.

The unit's own program is run: use only units that you trust as you trust a program.
"""

import re
import shutil
import tempfile
import weakref
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from ..errors import KilnctlError
from ..reading import Reading
from .plant import check_command

_NUMBERS = (
    "chamber_c", "limit_c", "part_c", "cold_junction_c", "fired", "supply_v", "current_a", "mean_current_a",
)  # fmt: skip
_BOOLEANS = ("contactor_closed", "door_open", "airflow_proved")
_TRUTH = ("true_chamber_c", "true_part_c")
_DUTY = re.compile(r"duty(?:[\[_](\d+)\]?)?$")
ZERO_C_K = 273.15


class FmiUnit:
    """The unit in that file, set up at time 0. Raises KilnctlError if the file is no unit, cannot be run here, or lacks
    what a plant must have."""

    def __init__(self, path: str | Path):
        try:
            import fmpy  # noqa: PLC0415 - of the extra, which need not be there
        except ImportError:
            raise KilnctlError("a unit needs the extra 'fmi': pip install 'kilnctl[fmi]'") from None
        self.path = Path(path)
        if not self.path.is_file():
            raise KilnctlError(f"{path}: there is no such file")
        try:
            self._about: Any = fmpy.read_model_description(str(path))
        except Exception as error:
            raise KilnctlError(f"{path}: is no unit that FMI allows: {error}") from None
        if self._about.coSimulation is None:
            raise KilnctlError(f"{path}: is a unit for model exchange; only co-simulation units advance by themselves")
        self._find_variables()
        folder = tempfile.mkdtemp(prefix="kilnctl-unit-")
        weakref.finalize(self, shutil.rmtree, folder, ignore_errors=True)
        try:
            fmpy.extract(str(path), unzipdir=folder)
            self._unit: Any = fmpy.instantiate_fmu(folder, self._about, "CoSimulation")
            self._start()
        except KilnctlError:
            raise
        except Exception as error:
            raise KilnctlError(f"{path}: cannot be run here: {type(error).__name__}: {error}") from None
        self.time_s = 0.0
        #: True temperatures that only the unit knows, °C.
        self.chamber_c: float | None = None
        self.part_c: float | None = None

    @property
    def _third(self) -> bool:
        return self._about.fmiVersion.startswith("3")

    def _find_variables(self) -> None:
        inputs = {v.name: v for v in self._about.modelVariables if v.causality == "input"}
        outputs = {v.name: v for v in self._about.modelVariables if v.causality == "output"}
        duties = sorted((int(m[1] or 1), v) for name, v in inputs.items() if (m := _DUTY.match(name)))
        if not duties:
            raise KilnctlError(f"{self.path}: has no input 'duty'")
        self._duties, self._contactor = [v.valueReference for _, v in duties], inputs.get("contactor_closed")
        if "chamber_c" not in outputs:
            raise KilnctlError(f"{self.path}: has no output 'chamber_c'")
        self._numbers = {n: outputs[n] for n in (*_NUMBERS, *_TRUTH) if n in outputs}
        self._booleans = {n: outputs[n] for n in _BOOLEANS if n in outputs}
        self._offset_k = {n: ZERO_C_K if v.unit == "K" else 0.0 for n, v in self._numbers.items()}

    def _start(self) -> None:
        if self._third:
            self._unit.instantiate()
            self._unit.enterInitializationMode(startTime=0.0)
        else:
            self._unit.instantiate()
            self._unit.setupExperiment(startTime=0.0)
            self._unit.enterInitializationMode()
        self._unit.exitInitializationMode()

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """See `kilnctl.plants.plant.Plant`. Raises KilnctlError when the unit fails or gives no number for the
        chamber."""
        shares = [float(duty)] if isinstance(duty, (int, float)) else [float(d) for d in duty]
        check_command(dt_s, shares)
        if len(shares) != len(self._duties):
            shares = [sum(shares) / len(shares)] * len(self._duties)
        try:
            self._command(shares, contactor_closed)
            self._unit.doStep(currentCommunicationPoint=self.time_s, communicationStepSize=dt_s)
            values = self._outputs()
        except Exception as error:
            words = f"{self.path}: the unit failed at {self.time_s:.1f} s: {type(error).__name__}: {error}"
            raise KilnctlError(words) from None
        self.time_s += dt_s
        self.chamber_c, self.part_c = (values.pop(n, None) for n in _TRUTH)
        return Reading(**values)

    def _command(self, shares: list[float], contactor_closed: bool) -> None:
        write = self._unit.setFloat64 if self._third else self._unit.setReal
        write(self._duties, shares)
        if self._contactor is not None:
            self._unit.setBoolean([self._contactor.valueReference], [bool(contactor_closed)])

    def _outputs(self) -> dict[str, Any]:
        read = self._unit.getFloat64 if self._third else self._unit.getReal
        numbers = read([v.valueReference for v in self._numbers.values()])
        values: dict[str, Any] = {n: float(x) - self._offset_k[n] for n, x in zip(self._numbers, numbers, strict=True)}
        if self._booleans:
            said = self._unit.getBoolean([v.valueReference for v in self._booleans.values()])
            values |= {n: bool(x) for n, x in zip(self._booleans, said, strict=True)}
        return values
