"""A thermocouple with its sheath, its wires and its front end: from the temperature around it to the number in the
record.

Sheath: first-order lag whose time constant shortens as the film and the radiation on the sheath grow. Dead time: a
delay line. Wires and chip: measured in millivolts, as in hardware, so that reversed or shorted wires and a wrong cold
junction read as they do in reality.
"""

import bisect
import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from ..safety.extremes import greater, lesser
from ..settings.equipment import Sensor
from ..thermal.thermocouples import emf_mv, range_c
from .injection import PlantFault

#: Step of the converter's result in °C, and its slope of a linear chip in mV/K (None: the chip linearises by itself).
#: Chip data sheets as in the project's hardware notes; slopes per type from memory of the data sheet of the linear
#: chip.
RESOLUTION_C = {"max31855": 0.25, "max31856": 2.0**-7}
LINEAR_MV_PER_K = {
    "K": 0.041276,
    "N": 0.036256,
    "J": 0.057953,
    "T": 0.052180,
    "E": 0.076373,
    "S": 0.009587,
    "R": 0.010506,
}
#: Time from one conversion of the front end to the next, s.
CONVERSION_S = 0.1
#: A thermocouple with extra noise of more than NOISY times its own, plus NOISY_K, shows wild single samples too: in
#: this share of its ticks, with this many times the noise (estimates, from memory of loose terminals).
NOISY, NOISY_K, WILD_SHARE, WILD_TIMES = 2.0, 1.0, 0.02, 30.0
#: Fault words of the front ends for a broken circuit.
_WORDS = {"thermocouple open": "open", "thermocouple short to ground": "short-ground", "front end dead": "no-chip"}


#: Prefix of the fault kinds with the wrong wires; the type's letter follows.
WRONG_TYPE = "thermocouple of type "
#: Time that a creeping sensor takes, s.
CREEPS_S = 3600.0


class Emf:
    """Thermocouple voltage against temperature as a table of 1 K steps, both ways; floats only. Extended in a straight
    line beyond its ends."""

    def __init__(self, low_c: int, values_mv: Sequence[float]):
        self.low_c, self.mv = low_c, list(values_mv)
        if any(b <= a for a, b in pairwise(self.mv)):
            raise ValueError("values_mv must rise")

    def at(self, t_c: float) -> float:
        """mV at t_c °C, other junction at 0 °C."""
        position, values = t_c - self.low_c, self.mv
        k = lesser(greater(int(position), 0), len(values) - 2)
        below = values[k]
        return below + (position - k) * (values[k + 1] - below)

    def inverse(self, mv: float) -> float:
        """°C at mv."""
        values = self.mv
        k = lesser(greater(bisect.bisect_right(values, mv) - 1, 0), len(values) - 2)
        below = values[k]
        return self.low_c + k + (mv - below) / (values[k + 1] - below)


@dataclass(frozen=True)
class SensorErrors:
    """What is wrong with a thermocouple besides its noise: a constant offset, a gain error about 0 °C, a drift, and the
    error of the measured cold junction."""

    offset_k: float = 0.0
    gain: float = 0.0
    drift_k_per_h: float = 0.0
    cold_junction_k: float = 0.0


NO_ERRORS = SensorErrors()


@dataclass
class _Acting:
    """The effect of the present faults on one measurement."""

    noise_k: float
    cold_error_k: float
    words: tuple[str, ...] = ()
    sign: float = 1.0
    shorted: bool = False
    frozen: bool = False
    repeating: bool = False
    shown: float = 1.0
    moved_k: float = 0.0
    wires: Emf | None = None

    def add(self, fault: PlantFault) -> None:
        match fault.kind:
            case "thermocouple open" | "thermocouple short to ground" | "front end dead":
                self.words = (_WORDS[fault.kind],)
            case "thermocouple shorted":
                self.shorted = True
            case "thermocouple reversed":
                self.sign = -1.0
            case "thermocouple reads low":
                self.shown *= 1.0 - fault.extent
            case "calibration wrong":
                self.moved_k += fault.extent
            case kind if kind.startswith(WRONG_TYPE):
                self.wires = emf_table(kind[-1])
            case "thermocouple frozen":
                self.frozen = True
            case "converter repeating":
                self.repeating = True
            case "thermocouple noisy":
                self.noise_k = math.hypot(self.noise_k, fault.extent)
            case "cold junction wrong":
                self.cold_error_k += fault.extent


class Probe:
    """One thermocouple. `advance` takes what is around the sheath and returns (reading °C, fault words, cold junction
    °C)."""

    def __init__(
        self,
        settings: Sensor,
        emf: Emf,
        start_c: float,
        generator: np.random.Generator,
        errors: SensorErrors = NO_ERRORS,
    ):
        self.settings, self.emf, self.errors = settings, emf, errors
        self.generator = generator
        self.junction_c = start_c
        self.sample = 0
        self._around_c = start_c
        self._time_s = 0.0
        self._line: deque[tuple[float, float]] = deque([(0.0, start_c)])
        self._noise: list[float] = []
        self._held = (start_c, start_c)
        self._step_c = RESOLUTION_C[settings.front_end]
        self._linear = LINEAR_MV_PER_K.get(settings.type) if settings.front_end == "max31855" else None
        self._drifted_k = 0.0
        self._usual = _Acting(settings.noise_k, errors.cold_junction_k)  # without a fault; never changed
        self._box: tuple[Emf, float, float] | None = None
        self._box_mv = (0.0, 0.0)

    def settle(self, around_c: float) -> None:
        """Set everything to this temperature, as after a long time there."""
        self.junction_c = self._around_c = around_c
        self._line = deque([(self._time_s, around_c)])
        self._held = (around_c, self._held[1])

    def _gauss(self) -> float:
        if not self._noise:
            self._noise = self.generator.standard_normal(256).tolist()
        return self._noise.pop()

    def advance(
        self,
        dt_s: float,
        around_c: float,
        lag_share: float,
        terminals_c: float,
        room_c: float,
        faults: Sequence[PlantFault] = (),
    ) -> tuple[float, tuple[str, ...], float]:
        """`around_c` is the final temperature of the sheath in its surroundings; `lag_share` its time constant over
        that in still air; `faults` only this sensor's faults that act now."""
        acting = _Acting(self.settings.noise_k, self.errors.cold_junction_k) if faults else self._usual
        for fault in faults:
            if fault.kind == "thermocouple pulled out":
                around_c, lag_share = room_c, 1.0
            elif fault.kind == "thermocouple drifting":
                self._drifted_k += fault.extent * dt_s
            elif fault.kind in ("thermocouple half out", "thermocouple creeping out"):
                creeps = fault.kind == "thermocouple creeping out"
                way = min(1.0, (self._time_s - fault.start_s) / CREEPS_S) if creeps else 1.0
                around_c += way * fault.extent * (room_c - around_c)
            else:
                acting.add(fault)
        self._follow(dt_s, around_c, self.settings.lag_s * lag_share)
        true_c = self._delayed()
        if acting.frozen:
            return self._held[0], acting.words, self._held[1]
        self.sample += round(dt_s / CONVERSION_S) or 1
        if acting.repeating:
            return self._held[0], acting.words, self._held[1]
        cold_c = terminals_c + acting.cold_error_k
        seen_c = room_c + acting.shown * (self._with_errors(true_c, acting.noise_k) - room_c)
        if acting is self._usual and cold_c == terminals_c and not self._linear:
            # What the wires' own table makes of the temperature, the chip's takes back.
            step = self._step_c
            reading = step * round(seen_c / step)
            self._held = (reading, cold_c)
            return reading, (), cold_c
        wires = acting.wires or self.emf
        last = self._box  # terminals warm slowly: their voltages hold for many ticks
        if last is None or last[1] != terminals_c or last[2] != cold_c or last[0] is not wires:
            self._box, self._box_mv = (wires, terminals_c, cold_c), (wires.at(terminals_c), self.emf.at(cold_c))
        at_terminals_mv, at_cold_mv = self._box_mv
        mv = 0.0 if acting.shorted else acting.sign * (wires.at(seen_c) - at_terminals_mv)
        reading = self._converted(mv, cold_c, at_cold_mv) + acting.moved_k
        if acting.words:
            reading = math.nan
        else:
            self._held = (reading, cold_c)
        return reading, acting.words, cold_c

    def _follow(self, dt_s: float, around_c: float, lag_s: float) -> None:
        """The sheath: exact answer of a first-order lag to a straight line from the last surroundings to these."""
        if lag_s > 1e-9:
            x = dt_s / lag_s
            decay = math.exp(-x)
            ramp = (1.0 - decay) / x
            self.junction_c = decay * self.junction_c + (ramp - decay) * self._around_c + (1.0 - ramp) * around_c
        else:
            self.junction_c = around_c
        self._around_c = around_c
        self._time_s += dt_s

    def _with_errors(self, true_c: float, noise_k: float) -> float:
        """The junction's temperature as its wires give it: with systematic errors, certificate and noise."""
        settings, errors, seen_c = self.settings, self.errors, true_c
        seen_c += (
            errors.offset_k + errors.gain * seen_c + errors.drift_k_per_h * self._time_s / 3600.0 + self._drifted_k
        )
        if settings.calibration:
            seen_c = _shown(settings.calibration, seen_c)
        seen_c += noise_k * self._gauss()
        if noise_k > NOISY * settings.noise_k + NOISY_K and self.generator.random() < WILD_SHARE:
            seen_c += WILD_TIMES * noise_k * self._gauss()  # a wild single sample without any fault bit
        return seen_c

    def _converted(self, mv: float, cold_c: float, cold_mv: float) -> float:
        """The front end's result for a voltage and its cold junction (°C, mV), rounded to its resolution, °C."""
        step, emf = self._step_c, self.emf
        if self._linear:
            # The linear chip's own value, rounded; then the correction that its data sheet requires of the reader.
            raw = step * round((cold_c + mv / self._linear) / step)
            return emf.inverse((raw - cold_c) * self._linear + cold_mv)
        return step * round(emf.inverse(mv + cold_mv) / step)

    def _delayed(self) -> float:
        """The junction a dead time ago."""
        line, wanted = self._line, self._time_s - self.settings.dead_time_s
        newest = (self._time_s, self.junction_c)
        line.append(newest)
        while line[0] is not newest and line[1][0] <= wanted:
            line.popleft()
        (t0, a), (t1, b) = line[0], newest if line[0] is newest else line[1]
        if wanted <= t0 or t1 <= t0:
            return a
        return a + (b - a) * (wanted - t0) / (t1 - t0)


def _shown(calibration, true_c: float) -> float:
    """What a sensor with that certificate shows at a true temperature; beyond the ends the end corrections apply."""
    first, last = calibration[0], calibration[-1]
    if true_c <= first.true_c:
        return true_c + first.reads_c - first.true_c
    if true_c >= last.true_c:
        return true_c + last.reads_c - last.true_c
    for a, b in pairwise(calibration):
        if true_c <= b.true_c:
            return a.reads_c + (true_c - a.true_c) * (b.reads_c - a.reads_c) / (b.true_c - a.true_c)
    raise AssertionError("calibration points do not rise")


@lru_cache(maxsize=16)
def emf_table(letter: str) -> Emf:
    """Table of a thermocouple type from `thermal.thermocouples` (ITS-90), from where it rises steadily."""
    low, high = range_c(letter)
    first = {"B": 50, "R": -50, "S": -50}.get(letter, max(-200, math.ceil(low)))
    return Emf(first, [emf_mv(letter, float(t)) for t in range(first, math.floor(high) + 1)])
