"""How fast a model of an oven can rise and fall: the bounds of rises and falls that the rules believe."""

from typing import Any, Protocol


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
    cut off on the way up: hot elements over a cold lining fall fastest. The margins (2.5 times and 1 K/s; 3 times, 1.5
    times when cut off, and 0.5 K/s) cover a model that was never fitted to its oven: a virtual cabinet with fan rose
    1.7 times and fell 5 times as fast as its day-zero model says, and an opened door makes 10 K/s and more.
    """
    ambient_c = model.ambient_c
    rise, _ = fastest_in(model, model.rest(ambient_c), 1.21 * model.power_w, 300)
    _, fall = fastest_in(model, model.steady(highest_c)[0], 0.0, 120)
    cut, x = 0.0, model.rest(ambient_c)
    for second in range(3600):
        x = model.step(x, model.power_w, 1.0, ambient_c)
        if x[-1] > highest_c:
            break
        if second % 20 == 0:
            cut = max(cut, fastest_in(model, x, 0.0, 40)[1])
    return max(1.0, 2.5 * rise), 0.5 + 3.0 * max(fall, 0.5 * cut)


def fastest_in(model: ThermalModel, x: Any, power_w: float, seconds: int) -> tuple[float, float]:
    """Fastest rise and fall of the chamber, K/s, 0 or more, in that many seconds from state x at this power."""
    rise = fall = 0.0
    for _ in range(seconds):
        new = model.step(x, power_w, 1.0, model.ambient_c)
        rise, fall, x = max(rise, new[-1] - x[-1]), max(fall, x[-1] - new[-1]), new
    return rise, fall
