"""A plant of one's own in fifty lines: element and chamber as two masses. Use it as a pattern for a better simulation.

    kilnctl rehearse configs/ovens/curing-cabinet.yaml configs/schedules/powder-cure.yaml --plant configs/plants/two_masses.py:TwoMasses

kilnctl runs the code of such a file as it is: use only files that you trust.
"""

import random

from kilnctl.reading import Reading


class TwoMasses:
    """The element heats the chamber; chamber and first-order sensor follow. Made from the oven's own power and room."""

    element_j_per_k = 2_000.0
    chamber_j_per_k = 14_000.0  # air, liner, rack and the warm part of the lining
    exchange_w_per_k = 25.0
    loss_w_per_k = 3.0
    lag_s = 10.0

    def __init__(self, oven):
        self.oven = oven
        self.power_w = oven.elements.power_w
        self.room_c = oven.site.ambient_c
        self.element_c = self.chamber_c = self.sensor_c = self.room_c
        self.random = random.Random(0)
        self.closed = False

    def advance(self, dt_s, duty, contactor_closed):
        share = duty if isinstance(duty, (int, float)) else sum(duty) / len(duty)
        self.closed = contactor_closed
        given_w = self.power_w * share if contactor_closed else 0.0
        steps = max(1, round(dt_s / 0.5))
        h = dt_s / steps
        for _ in range(steps):
            passed_w = self.exchange_w_per_k * (self.element_c - self.chamber_c)
            self.element_c += h * (given_w - passed_w) / self.element_j_per_k
            self.chamber_c += (
                h * (passed_w - self.loss_w_per_k * (self.chamber_c - self.room_c)) / self.chamber_j_per_k
            )
            self.sensor_c += h * (self.chamber_c - self.sensor_c) / self.lag_s
        shown_c = self.sensor_c + self.random.gauss(0.0, 0.1)
        # A rig tells what it can: here no limit sensor and no meters, but the contactor, the door switch and the flow switch.
        return Reading(
            shown_c,
            cold_junction_c=self.room_c + 3.0,
            contactor_closed=self.closed,
            door_open=False,
            airflow_proved=True,
        )
