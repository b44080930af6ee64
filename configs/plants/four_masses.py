"""A plant of one's own in sixty lines: element, chamber, contents and lining as four masses. A pattern for a
better simulation.

    kilnctl rehearse OVEN SCHEDULE --plant configs/plants/four_masses.py:FourMasses

(with the curing cabinet and its powder cure, which it resembles).
kilnctl runs the code of such a file as it is: use only files that you trust.
"""

import random

from kilnctl.reading import Reading


class FourMasses:
    """The curing cabinet, roughly. Power, room and sensors are the description's own; the rest stands here."""

    element_j_per_k = 1_600.0
    chamber_j_per_k = 9_500.0  # air and steel liner
    contents_j_per_k = 4_600.0  # rack and load
    lining_j_per_k = 9_000.0  # the warm part of the insulation
    element_w_per_k = 26.0
    contents_w_per_k = 14.0
    lining_w_per_k = 9.0
    chamber_loss_w_per_k = 2.7  # vent, leak, door frame
    lining_loss_w_per_k = 1.5
    lag_s = 10.0

    def __init__(self, oven):
        self.oven = oven
        self.room_c = oven.site.ambient_c
        self.element_c = self.chamber_c = self.contents_c = self.lining_c = self.sensor_c = self.room_c
        self.random = random.Random(0)

    def advance(self, dt_s, duty, contactor_closed):
        share = duty if isinstance(duty, (int, float)) else sum(duty) / len(duty)
        given_w = self.oven.elements.power_w * share if contactor_closed else 0.0
        steps = max(1, round(dt_s / 0.5))
        h = dt_s / steps
        for _ in range(steps):
            from_element_w = self.element_w_per_k * (self.element_c - self.chamber_c)
            to_contents_w = self.contents_w_per_k * (self.chamber_c - self.contents_c)
            to_lining_w = self.lining_w_per_k * (self.chamber_c - self.lining_c)
            lost_w = self.chamber_loss_w_per_k * (self.chamber_c - self.room_c)
            through_w = self.lining_loss_w_per_k * (self.lining_c - self.room_c)
            self.element_c += h * (given_w - from_element_w) / self.element_j_per_k
            self.chamber_c += h * (from_element_w - to_contents_w - to_lining_w - lost_w) / self.chamber_j_per_k
            self.contents_c += h * to_contents_w / self.contents_j_per_k
            self.lining_c += h * (to_lining_w - through_w) / self.lining_j_per_k
            self.sensor_c += h * (self.chamber_c - self.sensor_c) / self.lag_s
        # A rig shows what its description says that it has; a sensor that is described and gives nothing is a fault.
        sensors, noise = self.oven.sensors, lambda: self.random.gauss(0.0, 0.1)
        return Reading(
            chamber_c=self.sensor_c + noise(),
            limit_c=self.sensor_c + 1.0 + noise() if sensors.limit else None,
            part_c=self.contents_c + noise() if sensors.part else None,
            cold_junction_c=self.room_c + 3.0,
            contactor_closed=contactor_closed,
            door_open=False,
            airflow_proved=True,
        )
