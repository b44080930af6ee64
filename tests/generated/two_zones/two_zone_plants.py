"""Ovens of two zones of air above each other, elements in the lower, the sensor in the upper: walls that store a third
more than the file says, a power of 0.93, no meter, and (but for `without_hearth`) a hearth that the file does not name.
Their energy limiter and "rise-no-heat" ended sound runs at 26, 117 and 172 °C."""

import random

from kilnctl.reading import Reading


def heavy_zones(oven):
    return TwoZones(oven, 22.0, (3500.0, 4000.0), True)


def light_zones(oven):
    return TwoZones(oven, 60.0, (500.0, 600.0), True)


def without_hearth(oven):
    return TwoZones(oven, 60.0, (500.0, 600.0), False)


class TwoZones:
    """`mixing`: W/K between the zones; `zones`: their capacities, J/K."""

    def __init__(self, oven, mixing, zones, hearth):
        self.room, self.power_w = oven.site.ambient_c, 0.93 * oven.elements.power_w
        self.mixing, self.zones, self.hearth = mixing, zones, hearth
        #: elements, lower and upper zone, inner and outer wall, hearth, thermocouple
        self.t = [self.room] * 7
        self.random = random.Random(3)

    @property
    def chamber_c(self):
        return self.t[2]

    def advance(self, dt_s, duty, contactor_closed):
        share = duty if isinstance(duty, (int, float)) else sum(duty) / len(duty)
        watts = self.power_w * share if contactor_closed else 0.0
        parts = max(1, round(dt_s))
        for _ in range(parts):
            self._step(watts, dt_s / parts)
        return Reading(
            chamber_c=self.t[6] + self.random.gauss(0.0, 0.4),
            cold_junction_c=self.room + 3.0,
            contactor_closed=contactor_closed,
            door_open=False,
            airflow_proved=True,
        )

    def _step(self, watts, h):
        e, lower, upper, inner, outer, hearth, wire = self.t
        to_lower = link(e, lower, 2.0, 0.05)
        to_wall = link(e, inner, 0.0, 0.04)
        up = self.mixing * (lower - upper)
        low_wall, up_wall = link(lower, inner, 6.0, 0.2), link(upper, inner, 5.0, 0.2)
        to_hearth = link(lower, hearth, 1.5, 0.03) if self.hearth else 0.0
        through, out = 4.5 * (inner - outer), 1.9 * (outer - self.room)
        self.t = [
            e + h * (watts - to_lower - to_wall) / 1500.0,
            lower + h * (to_lower - up - low_wall - to_hearth) / self.zones[0],
            upper + h * (up - up_wall - 0.25 * (upper - self.room)) / self.zones[1],
            inner + h * (low_wall + up_wall + to_wall - through) / 14000.0,
            outer + h * (through - out) / 22000.0,
            hearth + h * to_hearth / 9000.0,
            wire + h * (upper - wire) / 9.0,
        ]


def link(hot_c, cold_c, w_per_k, m2):
    """Convection and radiation, W."""
    return w_per_k * (hot_c - cold_c) + 5.67e-8 * m2 * ((hot_c + 273.15) ** 4 - (cold_c + 273.15) ** 4)
