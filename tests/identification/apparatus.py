"""Two pieces of apparatus with open records (DaISy, KU Leuven ESAT/SISTA), as thermal networks with
unknowns."""

import math

import numpy as np

from kilnctl.identification.network import Column, Network
from tests.identification.any_network import Built

#: Lamp and plate: logarithms of drive factor (W per J/K at 6 V), exponent of the voltage, second mass over
#: the first, coupling, convective and radiating loss of the plate, then the second mass' start (°C), its
#: loss, the thermocouple's lag (s). The plate's capacity is 1 J/K: only ratios show.
LAMP_MEAN = (
    0.0,
    math.log(1.8),
    0.0,
    math.log(0.008),
    math.log(0.003),
    math.log(3e-4),
    110.0,
    math.log(3e-4),
    math.log(2.0),
)
LAMP_SPREAD = (1.0, 0.3, 1.0, 1.0, 1.0, 1.0, 30.0, 1.5, 0.3)
ROOM_C = 22.0


def lamp_and_plate(drive_v: np.ndarray, start_c: float, dt_s: float = 2.0):
    """A lamp of drive voltage V heats a plate with c·Vⁿ; a second mass hangs on it; both lose heat, the plate
    also by radiation."""

    def build(u: np.ndarray) -> Built:
        c, n, second, g, loss, m = np.exp(u[:6])
        loss_2, lag = np.exp(u[7:9])
        volts, steps, small = drive_v[:-1] / 6.0, len(drive_v) - 1, 1e-6
        watts = c * volts**n
        heat = np.zeros((steps, 3))
        heat[:, 0] = watts
        network = Network(
            np.array([1.0, second, small * lag]),
            (0, 0, 1, 0),
            (1, 3, 3, 2),
            np.array([g, loss, loss_2, small]),
            np.zeros(4),
            np.array([0.0, m, 0.0, 0.0]),
        )
        columns = [
            Column(heat={0: watts}),
            Column(heat={0: watts * np.log(volts) * n}),
            Column(capacity={1: second}),
            Column(w_per_k={0: g}),
            Column(w_per_k={1: loss}),
            Column(m2={1: m}),
            Column(),
            Column(w_per_k={2: loss_2}),
            Column(capacity={2: small * lag}),
        ]
        start_by = np.zeros((3, 9))
        start_by[1, 6] = 1.0
        seen = np.array([0.0, 0.0, 1.0])
        return Built(
            network,
            columns,
            np.array([start_c, u[6], start_c]),
            start_by,
            heat,
            np.full((steps, 1), ROOM_C),
            np.full(steps, dt_s),
            lambda x: (x[:, 2], np.tile(seen, (len(x), 1)), None),
        )

    return build


#: Wall: logarithms of three conductances in a row, W/(m²·K), and of the two capacities between them,
#: J/(m²·K).
WALL_MEAN = (math.log(1.0), math.log(1.0), math.log(1.0), math.log(1e5), math.log(1e5))
WALL_SPREAD = (2.0, 2.0, 2.0, 2.0, 2.0)


def wall(first_c: np.ndarray, second_c: np.ndarray, dt_s: float = 3600.0):
    """A two-layer wall between two measured face temperatures; measured is the heat flux into it at the
    second face."""
    faces = np.column_stack((first_c, second_c))

    def build(u: np.ndarray) -> Built:
        g1, g2, g3, c1, c2 = np.exp(u)
        network = Network(np.array([c1, c2]), (0, 0, 1), (2, 1, 3), np.array([g1, g2, g3]), np.zeros(3), np.zeros(3))
        columns = [
            Column(w_per_k={0: g1}),
            Column(w_per_k={1: g2}),
            Column(w_per_k={2: g3}),
            Column(capacity={0: c1}),
            Column(capacity={1: c2}),
        ]
        steady = 1.0 / (1.0 / g1 + 1.0 / g2 + 1.0 / g3) * (second_c[0] - first_c[0])
        start = np.array([first_c[0] + steady / g1, second_c[0] - steady / g3])

        def output(x: np.ndarray):
            direct = np.zeros((len(x), 5))
            direct[:, 2] = g3 * (second_c - x[:, 1])
            return g3 * (second_c - x[:, 1]), np.tile([0.0, -g3], (len(x), 1)), direct

        # The first day is left out of the comparison, so how it starts hardly matters.
        return Built(
            network,
            columns,
            start,
            np.zeros((2, 5)),
            np.zeros((len(faces) - 1, 2)),
            faces[1:],
            np.full(len(faces) - 1, dt_s),
            output,
        )

    return build
