"""How fast a model of an oven can rise and fall: the bounds of rises and falls that the rules believe."""

from typing import Any, Protocol

from .coolest import LumpedOven, held

#: Most of the rated power that a supply with 10 % too much voltage gives (P ∝ V²).
OVERVOLTAGE = 1.21  # ±30 %: none
#: Margins over the model's fastest rise (a factor and the least bound, K/s), over its fastest fall (a factor and an
#: addition, K/s), and the share of the fall after a cut-off that counts. They cover a model that was never fitted to
#: its oven: a virtual cabinet with fan rose 1.7 times and fell 5 times as fast as its day-zero model says, and an
#: opened door makes 10 K/s and more.
RISE_TIMES, RISE_LEAST_K_PER_S, FALL_TIMES, FALL_MORE_K_PER_S, CUT_SHARE = 2.5, 1.0, 3.0, 0.5, 0.5  # ±30 %: none
#: Times, s, in which the fastest rise from cold, fall from the top, and fall after a cut-off show themselves: elements
#: and air are through with their change by then. Heating up is looked at for an hour, with a cut-off every CUT_EVERY_S.
RISE_S, FALL_S, CUT_S, HEAT_UP_S, CUT_EVERY_S = 300, 120, 40, 3600, 20


#: Part of the rated power that a supply with 10 % too little voltage gives, and the least share of its model's rise
#: from cold that a sound oven shows.
UNDERVOLTAGE, RISES = 0.81, 0.5  # ±30 %: none


class ThermalModel(Protocol):
    """What this module needs of a model: its state is a sequence whose last item is the chamber, °C."""

    @property
    def ambient_c(self) -> float: ...
    @property
    def power_w(self) -> float: ...
    def rest(self, ambient_c: float, /) -> Any: ...
    def steady(self, chamber_c: float, /) -> tuple[Any, float]: ...
    def step(self, x: Any, power_w: float, dt: float, ambient_c: float, /) -> Any: ...


def fastest_k_per_s(model: ThermalModel, highest_c: float) -> tuple[float, float]:
    """Fastest rise that full power could give, and fastest fall of the closed oven, K/s, both with margin.

    The model is run from cold at full power with 10 % too much voltage, without power from its highest temperature, and
    cut off on the way up: hot elements over a cold lining fall fastest.
    """
    ambient_c = model.ambient_c
    rise, _ = fastest_in(model, model.rest(ambient_c), OVERVOLTAGE * model.power_w, RISE_S)
    _, fall = fastest_in(model, model.steady(highest_c)[0], 0.0, FALL_S)
    cut, x = 0.0, model.rest(ambient_c)
    for second in range(HEAT_UP_S):
        x = model.step(x, model.power_w, 1.0, ambient_c)
        if x[-1] > highest_c:
            break
        if second % CUT_EVERY_S == 0:
            cut = max(cut, fastest_in(model, x, 0.0, CUT_S)[1])
    return max(RISE_LEAST_K_PER_S, RISE_TIMES * rise), FALL_MORE_K_PER_S + FALL_TIMES * max(fall, CUT_SHARE * cut)


def least_rise_k(model: ThermalModel, lag_s: float, seconds: float) -> float:
    """What a sound oven's reading rises by at least, K, in that many seconds at full power from cold. Heavy elements in
    a small oven take their heat for minutes before they give it: one of 157 W, fitted, rose by 4 K in ten minutes."""
    x, shown_c = model.rest(model.ambient_c), model.ambient_c
    for _ in range(int(seconds)):
        x = model.step(x, UNDERVOLTAGE * model.power_w, 1.0, model.ambient_c)
        shown_c += (x[-1] - shown_c) / (1.0 + lag_s)
    return RISES * (shown_c - model.ambient_c)


def fastest_in(model: ThermalModel, x: Any, power_w: float, seconds: int) -> tuple[float, float]:
    """Fastest rise and fall of the chamber, K/s, 0 or more, in that many seconds from state x at this power."""
    rise = fall = 0.0
    for _ in range(seconds):
        new = model.step(x, power_w, 1.0, model.ambient_c)
        rise, fall, x = max(rise, new[-1] - x[-1]), max(fall, x[-1] - new[-1]), new
    return rise, fall


def near_elements_k_per_s(oven: LumpedOven, lag_s: float) -> float:
    """The fastest rise, K/s, that a sensor of that lag, s, shows by its place near the elements (`near_elements`), from
    cold at full power with 10 % too much voltage, besides the chamber's own."""
    cold_c, fastest, shown_k = oven.room_c, 0.0, 0.0
    x = oven.from_chamber(cold_c)
    for _ in range(RISE_S):
        x = held(oven, x, cold_c, OVERVOLTAGE * oven.full_w, 1.0)[0]
        before_k = shown_k
        shown_k += (oven.near_elements * (x[0] - cold_c) - shown_k) / (1.0 + lag_s)
        fastest = max(fastest, shown_k - before_k)
    return fastest
