"""What an oven cannot follow, step by step, and how that is said."""

from dataclasses import dataclass

#: Some power is kept for trim: a ramp that needs more than this share of full power cannot be followed.
USABLE = 0.97  # ±30 %: none


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A step that the oven cannot follow; or, with `ahead_k`, one that it runs ahead of although the heat is off.

    at_c        where following first fails, °C; with ahead_k where the lead begins or, if no rate was asked for, where
                the oven stays
    feasible    the highest rate that it can follow all the way, with the sign of the asked one, K/s; not known with
                ahead_k
    reachable_c  the hottest that it gets to, °C, when the temperature is out of reach; for a falling ramp, the coldest
    itself      how fast it falls without heat at at_c, and at the end of the ramp, K/s (negative); falling ramps only
    doubt       by which share the oven may be stronger than its model, where that is enough; 0: the model is sure
    """

    step: int
    name: str
    at_c: float
    needed_w: float
    full_w: float
    asked_k_per_s: float | None
    feasible_k_per_s: float | None
    reachable_c: float
    ahead_k: float = 0.0
    to_c: float = 0.0
    itself_k_per_s: tuple[float, float] = (0.0, 0.0)
    doubt: float = 0.0

    @property
    def refused(self) -> bool:
        """Whether 'too fast: refuse' applies: running ahead without heat is not a lack of power."""
        return self.ahead_k == 0.0

    @property
    def impossible(self) -> bool:
        """Whether the temperature itself is out of reach, at any rate of heating."""
        return self.refused and self.feasible_k_per_s is None

    @property
    def keeps_up(self) -> bool:
        """Whether a falling rate can be followed although it is faster than how this oven falls, at the end, on its
        own: walls and load that had no time to follow keep it warm then."""
        return self.feasible_k_per_s is not None and self.feasible_k_per_s < self.itself_k_per_s[1] < 0.0

    @property
    def note(self) -> str:
        """In words, with what the run does about it."""
        if self.refused and self.doubt > 0.0:
            return (
                f"{self}; its model may be off by {100.0 * self.doubt:.0f} %, so the run is tried: it may fall behind"
            )
        return f"{self}; the ramp will take the time it needs" if self.refused else str(self)

    def __str__(self) -> str:
        where = f"step {self.step + 1}"
        where += "" if self.name == where else f" ('{self.name}')"
        if self.ahead_k > 0.0:
            if self.asked_k_per_s is None:
                return (
                    f"{where} goes to {self.to_c:.0f} °C; with the heat off, its fan or what is warm in this "
                    f"oven keeps it at about {self.at_c:.0f} °C for as long as was looked ahead"
                )
            return (
                f"{where} rises at {_k_per_h(self.asked_k_per_s)}; its fan or what is warm in this oven takes it up "
                f"faster than that, without any heat of the elements, from {self.at_c:.0f} °C on "
                f"and by up to {self.ahead_k:.0f} K"
            )
        if self.asked_k_per_s is None or self.feasible_k_per_s is None:
            return (
                f"{where} goes to {self.at_c:.0f} °C, which would need {self.needed_w / 1000:.2f} kW only to be held; "
                f"this oven has {self.full_w / 1000:.2f} kW and gets to about {self.reachable_c:.0f} °C"
            )
        if self.asked_k_per_s < 0.0:
            here, there = (_k_per_h(rate) for rate in self.itself_k_per_s)
            slow = (
                f", and comes to rest at about {self.reachable_c:.0f} °C"
                if self.reachable_c > self.to_c
                else f" and {there} near {self.to_c:.0f} °C. A rate of {_k_per_h(self.feasible_k_per_s)} can be "
                "followed all the way" + (", as walls and load then keep up" if self.keeps_up else "")
            )
            return (
                f"{where} falls at {_k_per_h(self.asked_k_per_s)}; by itself this oven then cools at about {here} near "
                f"{self.at_c:.0f} °C{slow}"
            )
        # What needs no more than there is fails at the share that is kept for trim, and has to say so.
        needs = (
            f"needs {self.needed_w / 1000:.2f} kW of"
            if self.needed_w > self.full_w
            else f"passes the {USABLE * self.full_w / 1000:.2f} kW that a ramp may take of"
        )
        return (
            f"{where} rises at {_k_per_h(self.asked_k_per_s)}; near {self.at_c:.0f} °C that {needs} this oven's "
            f"{self.full_w / 1000:.2f} kW. Up to about {_k_per_h(self.feasible_k_per_s)} is feasible"
        )


def _k_per_h(rate_k_per_s: float) -> str:
    """A rate without its sign, for people."""
    rate = abs(rate_k_per_s) * 3600.0
    return f"{rate:.0f} K/h" if rate >= 20.0 else f"{rate:.2g} K/h"
