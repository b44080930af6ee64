"""The virtual oven as a rig: for trying everything without hardware. Simulated time passes when it is read."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..firing import Burst
from ..plants.plant import Plant
from ..reading import Reading
from ..safety import LEASE_S, Permit
from ..settings.construction import Load
from ..settings.oven import Oven
from .contract import RigFacts, check_heat

if TYPE_CHECKING:
    from ..plants.injection import PlantFault


class VirtualRig:
    """Any plant behind the rig protocol. Each `read` advances it by `dt_s` simulated seconds with the last command; the
    service reads once a tick, so at speed 1 simulated time is real time."""

    def __init__(
        self,
        oven: Oven,
        *,
        plant: Plant | None = None,
        load: Load | None = None,
        seed: int = 0,
        faults: "Sequence[PlantFault]" = (),
    ):
        if plant is None:
            from ..run.virtual_plant import virtual_oven  # noqa: PLC0415 - simulation: real hardware needs none

            plant = virtual_oven(oven, load if load is not None else oven.usual_load, seed, faults)
        self.plant: Plant = plant
        self.dt_s = oven.control.tick_s
        self.facts = RigFacts("virtual", f"virtual {oven.name}", LEASE_S, unattended=True)
        self._fired, self._closed, self._open = 0.0, False, True

    def read(self) -> Reading:
        return self.plant.advance(self.dt_s, self._fired if self._closed else 0.0, self._closed)

    def heat(self, duty: float, burst: Burst, permit: Permit | None) -> None:
        check_heat(duty, burst, permit)
        self._fired = burst.fired if self._open else 0.0

    def contactor(self, closed: bool) -> None:
        self._closed = bool(closed) and self._open

    def clear(self) -> None:
        """A virtual oven has no latch of its own."""

    def close(self) -> None:
        self._fired, self._closed, self._open = 0.0, False, False
