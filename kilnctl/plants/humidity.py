"""The water vapour of the chamber: what evaporates comes in, what vent, leaks and an open door exchange goes out.

The air inside is well mixed and at the room's pressure, so vapour that comes in drives as much mixture out:
N dx/dt = vapour · (1 − x) − air · (x − room), with x the share of vapour by volume, N the moles inside, and `vapour`
and `air` the moles per second that evaporate and that come in. Vapour that streams out of the leak round the door keeps
air from coming in there: half as much as it is itself (the neutral level falls), until none comes in. Dew on colder
walls is left out.
"""

from collections.abc import Callable
from dataclasses import dataclass

from ..thermal.constants import GAS_CONSTANT
from ..thermal.psychrometrics import AIR_J_PER_MOLK, MOST_SHARE, PRESSURE_PA


@dataclass
class Humidity:
    """`volume_m3` of the chamber, `room_share` of vapour in the room's air; `share` in the chamber."""

    volume_m3: float
    room_share: float
    share: float
    #: Air that vent and door draw in, and air through the leak without vapour, mol/s; moles inside.
    drawn: float = 0.0
    leak: float = 0.0
    inside: float = 1.0

    def set(self, drawn_w_per_k: float, leak_w_per_k: float, air_k: float) -> None:
        """Take over the flows of the heat balance (capacity flows, W/K) and the chamber's air."""
        self.drawn, self.leak = drawn_w_per_k / AIR_J_PER_MOLK, leak_w_per_k / AIR_J_PER_MOLK
        self.inside = PRESSURE_PA * self.volume_m3 / (GAS_CONSTANT * air_k)

    def air(self, vapour: float) -> float:
        """Air that comes in, mol/s, while `vapour` mol/s evaporate."""
        return self.drawn + max(0.0, self.leak - 0.5 * max(0.0, vapour))

    def after(self, seconds: float, vapour: float) -> float:
        """The share after that time with `vapour` mol/s (an implicit step: right for any length)."""
        air = self.air(vapour)
        gained = self.inside * self.share + seconds * (vapour + air * self.room_share)
        whole = self.inside + seconds * (vapour + air)
        return min(max(gained / whole, 0.0), 1.0) if whole > 0.0 else self.share

    def ahead(self, seconds: float, evaporates: Callable[[float], float]) -> float:
        """The share after that time where `evaporates(share)` mol/s fall with the share: the one that agrees with its
        own evaporation, so that a small chamber does not swing."""
        low, high = 0.0, MOST_SHARE
        for _ in range(30):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.after(seconds, evaporates(middle)) > middle else (low, middle)
        return 0.5 * (low + high)
