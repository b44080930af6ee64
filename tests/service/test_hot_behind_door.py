"""With the door open the sensor sees the room's air; the notice of hot surfaces stays, for walls and part are hot."""

import math
import random
from collections.abc import Sequence

import pytest

from kilnctl import Reading
from kilnctl.rig import VirtualRig

from .at_work import at_work


class Aired:
    """A plant at `hot_c`, °C; its door opens after a minute, and the air falls to 40 °C."""

    def __init__(self, hot_c: float):
        self.hot_c, self.time_s, self.noise = hot_c, 0.0, random.Random(1)

    def advance(self, dt_s: float, duty: float | Sequence[float], contactor_closed: bool) -> Reading:
        self.time_s += dt_s
        open_s = max(0.0, self.time_s - 60.0)
        c = 40.0 + (self.hot_c - 40.0) * math.exp(-open_s / 40.0) if self.hot_c > 40.0 else self.hot_c
        c += self.noise.gauss(0.0, 0.1)
        return Reading(c, limit_c=c, part_c=c, cold_junction_c=25.0, door_open=open_s > 0.0, airflow_proved=True)


@pytest.mark.parametrize(("hot_c", "notice"), [(150.0, "HOT"), (21.0, "")])
def test_the_notice_of_hot_surfaces_stays_while_the_door_is_open(oven, tmp_path, hot_c, notice):
    cabinet = oven("curing-cabinet")
    with at_work(cabinet, tmp_path, rig=VirtualRig(cabinet, plant=Aired(hot_c))) as person:
        told = person.until(lambda a: a.get("door_open") and (a["chamber_c"] or 99.0) < 46.0)
        assert told["notice"][:3] == notice and not told["trips"]
