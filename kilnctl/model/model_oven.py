"""The energy balance itself as a plant: an oven exactly like the model, for studies of the uncertainty of a fitted
model."""

import math
from collections import deque
from collections.abc import Sequence

import numpy as np

from ..plants.conditions import Conditions
from ..reading import Reading
from ..settings.oven import Oven
from .energy import CHAMBER, CONTENTS, LINING, SENSOR, EnergyModel

#: Conditions under which the oven is as described.
AS_DESCRIBED = Conditions()


class ModelOven:
    """Advances `model` under the duty that reaches it. Sensors: the model's own lag and dead time, the description's
    noise, the offsets of `conditions`; the limit sensor is next to the control sensor. `chamber_c`, `part_c`,
    `energy_j` and `time_s` are the truth; `supply_share` may be set at any time. Same arguments and calls, same
    readings bit for bit; can be pickled."""

    def __init__(self, oven: Oven, model: EnergyModel, seed: int = 0, conditions: Conditions = AS_DESCRIBED):
        self.oven, self.model, self.conditions = oven, model, conditions
        self.ambient_c = oven.site.ambient_c if conditions.ambient_c is None else conditions.ambient_c
        self.supply_share = conditions.supply_share
        self.x = model.rest(self.ambient_c)
        self.time_s = self.energy_j = 0.0
        self.has_contents = model.contents_j_per_k > 0.0
        self.chamber_c, self.part_c = self.x[CHAMBER], self.x[CONTENTS] if self.has_contents else None
        self._shown: deque[tuple[float, float]] = deque([(0.0, self.x[SENSOR])])
        self._generator = np.random.default_rng(seed)
        self._sample = 0

    def start_at(self, chamber_c: float) -> None:
        """Everything inside at that temperature, the lining's temperature falling linearly with depth: an oven that was
        used recently."""
        warm = chamber_c - self.ambient_c
        x = list(self.model.rest(chamber_c))
        for depth, share in enumerate((0.8, 0.6, 0.4)):
            x[LINING + 1 + depth] = self.ambient_c + share * warm
        self.x = tuple(x)
        self.chamber_c, self.part_c = self.x[CHAMBER], self.x[CONTENTS] if self.has_contents else None
        self._shown = deque([(self.time_s, self.x[SENSOR])])

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        """See `kilnctl.plants.plant.Plant`. The model has one element: groups that are fired apart count by their
        mean."""
        if isinstance(duty, Sequence):
            duty = sum(duty) / len(duty)
        if not (dt_s > 0.0 and 0.0 <= duty <= 1.0):
            raise ValueError(f"dt_s = {dt_s!r} must be above 0 and duty = {duty!r} in 0..1")
        fired = duty if contactor_closed else 0.0
        share = self.supply_share
        self.x = self.model.step(self.x, fired * share * share * self.model.power_w, dt_s, self.ambient_c)
        self.time_s += dt_s
        self.energy_j += fired * share * share * self.model.power_w * dt_s
        self.chamber_c = self.x[CHAMBER]
        self._shown.append((self.time_s, self.x[SENSOR]))
        then = self.time_s - self.model.dead_s
        while len(self._shown) > 1 and self._shown[1][0] <= then + 1e-9:
            self._shown.popleft()
        seen = self._shown[0][1]
        sensors, c, noise = self.oven.sensors, self.conditions, self._generator.standard_normal(3).tolist()
        limit = part = None
        if sensors.limit is not None:
            limit = seen + c.limit.offset_k + sensors.limit.noise_k * noise[1]
        if self.has_contents:
            self.part_c = self.x[CONTENTS]
            if sensors.part is not None:
                part = self.part_c + c.part.offset_k + sensors.part.noise_k * noise[2]
        self._sample += max(1, math.ceil(dt_s / 0.1))
        meters = self.oven.meters
        return Reading(
            chamber_c=seen + c.control.offset_k + sensors.control.noise_k * noise[0],
            limit_c=limit,
            part_c=part,
            cold_junction_c=self.ambient_c + 3.0,
            fired=fired if meters.current else None,
            supply_v=share * self.model.voltage_v if meters.supply else None,
            contactor_closed=bool(contactor_closed) if meters.contactor else None,
            sample=self._sample,
            door_open=False if self.oven.door.switch else None,
            airflow_proved=True if self.oven.vent is not None and self.oven.vent.proved else None,
        )
