"""Free run: what the model says the sensor should have shown, from the power alone, and its derivative to
every unknown."""

from dataclasses import dataclass, replace

import numpy as np

from ..model.energy import CHAMBER, CONTENTS, SENSOR, EnergyModel, N
from ..model.parameters import Parameter, value_of
from .network import Column, Network, recur, tangents

#: Links of the energy balance, in the order of `EnergyModel.flows` and then the leak.
_FIRST, _SECOND = (0, 1, 2, 3, 4, 5, 1, 1), (1, 2, 3, 4, 5, 7, 6, 7)
_ROOM = 7


@dataclass(frozen=True)
class Stretch:
    """A piece of a record on an even grid, as the model is run through it: power_w[i] acts from sample i to i
    + 1."""

    dt_s: float
    power_w: np.ndarray
    ambient_c: np.ndarray
    start_c: tuple[float, ...]
    disturbance_w: np.ndarray | None = None

    @property
    def steps(self) -> int:
        return len(self.power_w)


def network_of(model: EnergyModel) -> Network:
    """The network that `EnergyModel.step` solves by hand: seven nodes, the room as the only boundary; the
    sensor comes after."""
    g, r = model.lining_w_per_k, model.rise_per_k
    has_contents = model.contents_j_per_k > 0.0
    capacity = (
        model.element_j_per_k,
        model.chamber_j_per_k,
        *model.lining_j_per_k,
        model.contents_j_per_k if has_contents else 1.0,
    )
    conductance = (
        model.element_w_per_k,
        model.film_w_per_k,
        *g,
        model.contents_w_per_k if has_contents else 0.0,
        model.leak_w_per_k,
    )
    area = (
        model.element_m2,
        model.film_m2,
        0.0,
        0.0,
        0.0,
        0.0,
        model.contents_m2 if has_contents else 0.0,
        0.0,
    )
    warming = np.array((model.element_rise_per_k, 0.0, *model.capacity_rise_per_k, 0.0))
    return Network(
        np.array(capacity),
        _FIRST,
        _SECOND,
        np.array(conductance),
        np.array((0.0, 0.0, *r, 0.0, model.leak_rise_per_k)),
        np.array(area),
        warming,
    )


#: Where the logarithm of a parameter enters the network: the kind of entry, and its number (of the first lump where
#: each lump has one).
_ENTRY = {
    "element_j_per_k": ("capacity", 0),
    "chamber_j_per_k": ("capacity", 1),
    "lining_j_per_k": ("capacity", 2),
    "contents_j_per_k": ("capacity", 6),
    "element_w_per_k": ("w_per_k", 0),
    "film_w_per_k": ("w_per_k", 1),
    "lining_w_per_k": ("w_per_k", 2),
    "contents_w_per_k": ("w_per_k", 6),
    "leak_w_per_k": ("w_per_k", 7),
    "element_m2": ("m2", 0),
    "film_m2": ("m2", 1),
    "contents_m2": ("m2", 6),
}


def column_of(model: EnergyModel, p: Parameter) -> Column:
    """Where the logarithm of a parameter enters the network."""
    if p.field == "rise_per_k":
        return Column(rise_per_k={2 + i: v for i, v in enumerate(model.rise_per_k)})
    if p.field == "capacity_rise_per_k":
        return Column(capacity_rise={2 + i: v for i, v in enumerate(model.capacity_rise_per_k)})
    if p.field not in _ENTRY:
        return Column()  # of the sensor, or heat; handled in `sensitivities`
    kind, place = _ENTRY[p.field]
    entry = {place + (p.index or 0): value_of(model, p)}
    if kind == "capacity":
        return Column(capacity=entry)
    return Column(w_per_k=entry) if kind == "w_per_k" else Column(m2=entry)


def simulate(model: EnergyModel, stretch: Stretch) -> np.ndarray:
    """All eight temperatures at every sample, (steps + 1, 8); column SENSOR is before the dead time."""
    x, step, dt = tuple(float(v) for v in stretch.start_c), model.step, stretch.dt_s
    out = [x]
    extra = stretch.disturbance_w if stretch.disturbance_w is not None else np.zeros(stretch.steps)
    for power, ambient, more in zip(stretch.power_w.tolist(), stretch.ambient_c.tolist(), extra.tolist()):
        x = step(x, power, dt, ambient, more)
        out.append(x)
    return np.array(out)


def delayed(values: np.ndarray, dead_s: float, dt_s: float, slope: bool = False) -> np.ndarray:
    """Each column dead_s earlier; before the start, as at the start. Between samples a cubic through four of
    them (Catmull and Rom), so that the derivative to the dead time has no steps; `slope` gives the time
    derivative there instead."""
    place = np.arange(len(values)) - dead_s / dt_s
    low = np.floor(place).astype(int)
    u = place - low
    if slope:
        weights = (
            -1.5 * u**2 + 2.0 * u - 0.5,
            4.5 * u**2 - 5.0 * u,
            -4.5 * u**2 + 4.0 * u + 0.5,
            1.5 * u**2 - u,
        )
    else:
        weights = (
            ((-0.5 * u + 1.0) * u - 0.5) * u,
            (1.5 * u - 2.5) * u * u + 1.0,
            ((-1.5 * u + 2.0) * u + 0.5) * u,
            (0.5 * u - 0.5) * u * u,
        )
    out = np.zeros(values.shape)
    for k, w in enumerate(weights):
        out = out + values[np.clip(low - 1 + k, 0, len(values) - 1)] * (w if values.ndim == 1 else w[:, None])
    return out / dt_s if slope else out


def predict(model: EnergyModel, stretch: Stretch) -> np.ndarray:
    """What the sensor should show at every sample, °C."""
    return delayed(simulate(model, stretch)[:, SENSOR], model.dead_s, stretch.dt_s)


@dataclass(frozen=True)
class Extra:
    """Unknowns of one record besides the model's: kelvin on states at the start, on the room, watts into the chamber in
    a span.

    `states` {state: share of the unknown}, `room` share, `span` (first, last) step of a pulse of one watt.
    """

    states: dict[int, float] | None = None
    room: float = 0.0
    span: tuple[int, int] | None = None


def sensitivities(
    model: EnergyModel,
    stretch: Stretch,
    parameters: tuple[Parameter, ...],
    extras: tuple[Extra, ...] = (),
    every: int = 1,
    temperatures: np.ndarray | None = None,
):
    """(predicted sensor at every sample, its derivatives at each `every`-th sample (…, unknowns)) for the logarithms of
    `parameters`, then the `extras`. With `every` 1 the derivatives are exact; with more, they are taken with a step
    that many times longer along the same run: a few per cent off where things are fast, and as many times quicker.
    `temperatures`: what `simulate` gave, where it has been run already."""
    x = simulate(model, stretch) if temperatures is None else temperatures
    steps, dt_s = stretch.steps // every, stretch.dt_s * every
    along = x[: steps * every + 1 : every]
    nodes = along[:, :_ROOM].copy()
    if model.contents_j_per_k <= 0.0:
        nodes[:, CONTENTS] = nodes[0, CONTENTS]
    columns = []
    for p in parameters:
        if p.field == "extra_w":
            columns.append(Column(heat={CHAMBER: np.full(steps, model.extra_w)}))
        else:
            columns.append(column_of(model, p))
    for e in extras:
        heat: dict[int, np.ndarray] = {}
        if e.span is not None:
            watts = np.zeros(stretch.steps)
            watts[e.span[0] : e.span[1]] = 1.0
            heat = {CHAMBER: watts[: steps * every].reshape(steps, every).mean(axis=1)}
        columns.append(Column(heat=heat, boundary={0: e.room} if e.room else {}))
    power = stretch.power_w[: steps * every].reshape(steps, every).mean(axis=1)
    slope = (
        -model.resistance_rise_per_k
        * power
        / (1.0 + model.resistance_rise_per_k * (nodes[:-1, 0] - model.rated_c)) ** 2
    )
    room = stretch.ambient_c[: steps * every : every, None]
    a_nodes, b_nodes = tangents(network_of(model), nodes, room, np.full(steps, dt_s), columns, {0: slope})
    a = np.zeros((steps, N, N))
    b = np.zeros((steps, N, len(columns)))
    a[:, :_ROOM, :_ROOM], b[:, :_ROOM] = a_nodes, b_nodes
    _sensor_rows(model, along, dt_s, parameters, a, b)
    start = np.zeros((N, len(columns)))
    for i, e in enumerate(extras):
        for state, share in (e.states or {}).items():
            start[state, len(parameters) + i] = share
    s = recur(a, b, start, (SENSOR,))[:, 0]
    jacobian = delayed(s, model.dead_s, dt_s)
    for i, p in enumerate(parameters):
        if p.field == "dead_s":
            jacobian[:, i] = (
                -model.dead_s
                * delayed(x[:, SENSOR], model.dead_s, stretch.dt_s, slope=True)[: steps * every + 1 : every]
            )
    return delayed(x[:, SENSOR], model.dead_s, stretch.dt_s), jacobian


def _sensor_rows(model: EnergyModel, x: np.ndarray, dt: float, parameters, a: np.ndarray, b: np.ndarray) -> None:
    """The last row of each step, as `EnergyModel.sensor_shares` has it."""
    before, chamber, sensor = x[:-1, CHAMBER], x[1:, CHAMBER], x[:-1, SENSOR]
    if model.lag_s <= 0.0:
        a[:, SENSOR], b[:, SENSOR] = a[:, CHAMBER], b[:, CHAMBER]
        return

    def shares_of(m: EnergyModel, at_c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        lag = m.lag_at_s(at_c)
        share = -np.expm1(-dt / lag)
        by_end = 1.0 - share * lag / dt
        return share - by_end, by_end

    def moved(up: EnergyModel, down: EnergyModel, by_k: float = 0.0) -> np.ndarray:
        """How much further the sensor goes with one than with the other, K."""
        high, low = shares_of(up, chamber + by_k), shares_of(down, chamber - by_k)
        return (high[0] - low[0]) * (before - sensor) + (high[1] - low[1]) * (chamber - sensor)

    (by_start, by_end), small = shares_of(model, chamber), 1e-3
    to_chamber = by_end + moved(model, model, small) / (2.0 * small)
    a[:, SENSOR, :] = to_chamber[:, None] * a[:, CHAMBER, :]
    a[:, SENSOR, CHAMBER] += by_start
    a[:, SENSOR, SENSOR] = 1.0 - by_start - by_end
    b[:, SENSOR] = to_chamber[:, None] * b[:, CHAMBER]
    for i, p in enumerate(parameters):
        if p.field in ("lag_s", "sensor_wind"):
            value = getattr(model, p.field)
            up, down = (replace(model, **{p.field: value * (1.0 + s)}) for s in (1e-4, -1e-4))
            b[:, SENSOR, i] += moved(up, down) / 2e-4
