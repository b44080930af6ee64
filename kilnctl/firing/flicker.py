"""How much lamps on the same supply flicker: Pst and Plt by the flickermeter of IEC 61000-4-15 (edition 2), for a
firing pattern.

Sizing, rehearsal and tools use this, never a tick. The supply is taken as a source behind an impedance;
a resistive heater that switches whole cycles gives a row of rms voltages, one a cycle. Block 1 (scaling) and block 2
(squaring demodulator) are then exact without a carrier: the demodulated voltage is the squared rms, and its relative
change is twice the relative change of the rms. Held at SAMPLES_PER_CYCLE, it goes through block 3 (0.05 Hz high pass,
35 or 42 Hz sixth-order low pass, the eye's weighting), block 4 (squaring, 300 ms low pass) and block 5 (classes of P
and percentiles).

Weighting constants of edition 2, table B.1, from memory (the points of Pst = 1 in the tests agree with them).
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from . import cycles as firing

if TYPE_CHECKING:
    from ..settings.oven import Oven

#: Reference impedance for appliances to 16 A, ohm: IEC 60725, 0.24 + j0.15 of the line and 0.16 + j0.10 of the neutral.
REFERENCE_OHM = complex(0.4, 0.25)
#: Limits for one appliance on that line, IEC 61000-3-3 (from memory); for an oven that holds for hours Plt is the
#: stricter.
PST_LIMIT, PLT_LIMIT = 1.0, 0.65
#: Limits and weighting are made for public low-voltage supplies with lamps. A lower voltage than this, V, comes from a
#: separate transformer or battery, where nothing is judged.
LOWEST_V = 50.0
NOT_JUDGED = f"not judged: its limits are of public supplies, not of a supply below {LOWEST_V:.0f} V"
#: Observation time of one Pst, s; a Plt is made of twelve.
PST_S = 600.0
#: Lamp-eye weighting by mains frequency as (k, λ, f1, f2, f3, f4), ωi = 2π fi, Hz: lamps of 60 W for 230 V and for 120
#: V.
_WEIGHTING = {
    50: (1.74802, 4.05981, 9.15494, 2.27979, 1.22535, 21.9),
    60: (1.6357, 4.167375, 9.077169, 2.939902, 1.394468, 17.31512),
}
#: Corner frequencies of block 3, Hz; the low pass goes with the mains frequency.
_HIGH_PASS_HZ, _LOW_PASS_HZ = 0.05, {50: 35.0, 60: 42.0}
#: Time constant of block 4's smoothing, s.
_SMOOTHING_S = 0.3
#: Relative voltage change, peak to peak, of a sine of 8.8 Hz that is just visible: the peak of its P is one unit of
#: perception.
_JUST_SEEN = {50: 0.250 / 100.0, 60: 0.321 / 100.0}
#: Samples of P and inside the filters.
SAMPLES_PER_CYCLE = 8
#: How long the filters take to settle, s.
_SETTLE_S = 60.0
#: Steady duties that are tried to find the worst.
DUTIES = (0.1, 0.35, 0.5, 0.65, 0.9)

Row = npt.NDArray[np.float64]


def _warped(frequency_hz: npt.ArrayLike, rate: float) -> Row:
    """The analogue angular frequency, rad/s, of which the bilinear transform makes that frequency, Hz."""
    return 2.0 * rate * np.tan(np.pi * np.asarray(frequency_hz) / rate)


@lru_cache(maxsize=8)
def _responses(hz: int, length: int) -> tuple[npt.NDArray[np.complexfloating], npt.NDArray[np.complexfloating]]:
    """Frequency responses of block 3 and of block 4's smoothing, digital by the bilinear transform, for a row of
    `length` samples."""
    rate = hz * SAMPLES_PER_CYCLE
    k, damping, f1, f2, f3, f4 = _WEIGHTING[hz]
    w1, w2, w3, w4 = (2.0 * math.pi * f for f in (f1, f2, f3, f4))
    s = 1j * _warped(np.fft.rfftfreq(length, 1.0 / rate), rate)
    high = s / (s + _warped(_HIGH_PASS_HZ, rate))
    # Butterworth: the poles of the sixth order lie evenly on the left half of the circle.
    low = np.ones_like(s)
    for pole in range(6):
        low /= s / _warped(_LOW_PASS_HZ[hz], rate) - np.exp(1j * math.pi * (2 * pole + 7) / 12.0)
    eye = k * w1 * s / (s * s + 4.0 * math.pi * damping * s + w1 * w1) * (1.0 + s / w2) / (1.0 + s / w3)
    smooth = 1.0 / (1.0 + s / _warped(1.0 / (2.0 * math.pi * _SMOOTHING_S), rate))
    return high * low * eye / (1.0 + s / w4), smooth


@lru_cache(maxsize=4)
def _gain(hz: int) -> float:
    """What makes the just visible sine one unit of perception. Eleven of its periods are 1.25 s."""
    rate = hz * SAMPLES_PER_CYCLE
    t = np.arange(round(1.25 * rate)) / rate
    seen = _round_filtered(hz, (1.0 + 0.5 * _JUST_SEEN[hz] * np.sin(2.0 * np.pi * 8.8 * t)) ** 2)
    return 1.0 / float(np.max(seen))


def _round_filtered(hz: int, squared: Row) -> Row:
    """Blocks 3 and 4 of a row of squared voltages that has been repeated without end."""
    eye, smooth = _responses(hz, len(squared))
    seen = np.fft.irfft(np.fft.rfft(squared) * eye, len(squared)) ** 2
    return np.fft.irfft(np.fft.rfft(seen) * smooth, len(squared))


def _filtered(hz: int, change: Row) -> Row:
    """Blocks 3 and 4 of a row of relative changes of the squared voltage, which were 0 before it. Piece by piece in the
    frequency domain, where numpy is enough: each piece has the minute before it with it, in which what the transform
    brings round from its end dies out (exp(-60 s / 3.2 s), 7e-9)."""
    before, most = (round(seconds * hz) * SAMPLES_PER_CYCLE for seconds in (_SETTLE_S, PST_S))
    row, found = np.concatenate([np.zeros(before), change]), np.empty(len(change))
    for start in range(0, len(change), most):
        piece = row[start : start + before + most]
        eye, smooth = _responses(hz, len(piece))
        seen = np.fft.irfft(np.fft.rfft(piece) * eye, len(piece)) ** 2
        found[start : start + most] = np.fft.irfft(np.fft.rfft(seen) * smooth, len(piece))[before:]
    return found


def perception(volts_rms: npt.ArrayLike, hz: int = 50, per_cycle: int = 1) -> Row:
    """Instantaneous flicker P(t) for a row of rms voltages, `per_cycle` of them (1, 2, 4 or 8) a mains cycle, in any
    unit: array of SAMPLES_PER_CYCLE a cycle. The filters take a minute to settle.

    Raises ValueError for a frequency other than 50 or 60 Hz (the standard defines lamps for these alone) and for
    voltages that are not finite and above 0.
    """
    if hz not in _WEIGHTING or per_cycle not in (1, 2, 4, 8):
        raise ValueError(
            f"hz = {hz!r}, per_cycle = {per_cycle!r}: the flickermeter is defined for 50 and 60 Hz, with 1, 2, 4 or 8 "
            "voltages a cycle"
        )
    volts = np.asarray(volts_rms, dtype=float)
    if volts.ndim != 1 or not len(volts) or not np.isfinite(volts).all() or volts.min() <= 0.0:
        raise ValueError("volts_rms must be a row of finite numbers above 0")
    # Block 1: relative to the mean, as the slow gain control makes it.
    squared = np.repeat((volts / volts.mean()) ** 2, SAMPLES_PER_CYCLE // per_cycle)
    return _gain(hz) * _filtered(hz, squared - squared[0])


#: Per cent of the time for which each level of a Pst is exceeded; those of a group are averaged.
_PERCENTS = ((30.0, 50.0, 80.0), (6.0, 8.0, 10.0, 13.0, 17.0), (2.2, 3.0, 4.0), (0.7, 1.0, 1.5), (0.1,))


def short_term(perceived: Row, times: npt.NDArray[np.int64] | None = None) -> float:
    """Pst of one observation of P: block 5, with the smoothed percentiles of IEC 61000-4-15, 5.7.2. `times`: how often
    each value of P counts (default: once)."""
    # Sorted once; numpy's percentile would also import a part of numpy that takes 20 ms.
    order = np.argsort(perceived) if times is not None else None
    levels = np.sort(perceived) if order is None else perceived[order]
    ends = np.arange(1, len(levels) + 1) if times is None else np.cumsum(times[order])
    places = (int(ends[-1]) - 1) * (1.0 - np.array([p for group in _PERCENTS for p in group]) / 100.0)
    below = np.floor(places).astype(np.int64)
    low, high = (levels[np.searchsorted(ends, np.minimum(i, ends[-1] - 1), "right")] for i in (below, below + 1))
    exceeded = low + (places - below) * (high - low)
    groups = np.split(exceeded, np.cumsum([len(group) for group in _PERCENTS])[:-1])
    p50s, p10s, p3s, p1s, p01 = (float(np.mean(group)) for group in groups)
    return math.sqrt(0.0314 * p01 + 0.0525 * p1s + 0.0657 * p3s + 0.28 * p10s + 0.08 * p50s)


def long_term(pst: Iterable[float]) -> float:
    """Plt: the cubic mean of (twelve) successive Pst."""
    observed = list(pst)
    if not observed:
        raise ValueError("at least one Pst is needed")
    return (sum(p**3 for p in observed) / len(observed)) ** (1.0 / 3.0)


@dataclass(frozen=True)
class SupplyLine:
    """`volts` between the terminals without load, `hz` of the mains, `impedance_ohm` of line and neutral together."""

    volts: float = 230.0
    hz: int = 50
    impedance_ohm: complex = REFERENCE_OHM

    def __post_init__(self):
        if not (
            LOWEST_V <= self.volts <= 500.0
            and 0.0 <= self.impedance_ohm.real <= 10.0
            and abs(self.impedance_ohm.imag) <= 10.0
        ):
            raise ValueError(f"volts from {LOWEST_V:.0f} to 500, impedance at most 10 ohm")

    def change(self, watts: float) -> float:
        """Relative change of the voltage when a resistive load of `watts` (at `volts`) is switched: d of IEC
        61000-3-3."""
        if not 0.0 <= watts <= 1e5:
            raise ValueError(f"watts = {watts!r} must lie from 0 to 100 000")
        if watts == 0.0:
            return 0.0
        load = self.volts**2 / watts
        return 1.0 - load / abs(load + self.impedance_ohm)


#: 230 V, 50 Hz, on the reference impedance.
REFERENCE_SUPPLY = SupplyLine()


def supply_of(oven: "Oven") -> SupplyLine | None:
    """The supply that an oven's description states; None where its voltage is too low for public mains."""
    if oven.supply.voltage_v < LOWEST_V:
        return None
    return SupplyLine(
        oven.supply.voltage_v,
        round(oven.supply.frequency_hz),
        complex(oven.supply.resistance_ohm, oven.supply.reactance_ohm),
    )


def voltages(
    pattern: firing.Pattern, duties: Sequence[float] | Row, tick_s: float, watts: float, supply: SupplyLine
) -> Row:
    """rms voltage of each mains cycle, V, array, while a heater of `watts` in `pattern.groups` equal parts is fired at
    the row of `duties` (0..1), each for `tick_s`."""
    state = firing.ready(pattern)
    lit: list[tuple[int, int]] = []  # groups that are on, and for how many cycles
    if pattern.groups == 1:
        for duty in duties:
            state, burst = firing.fire(pattern, state, float(duty), tick_s)
            lit += ((int(on), count) for on, count in burst.runs)
    else:
        # A burst gives the runs of the first group only: fired cycle by cycle, each group is seen.
        cycle_s, owed_s = 1.0 / pattern.frequency_hz, 0.0
        for duty in duties:
            owed_s += tick_s
            while owed_s > 0.5 * cycle_s:
                state, burst = firing.fire(pattern, state, float(duty), cycle_s)
                lit.append((sum(burst.on_cycles), 1))
                owed_s -= cycle_s
    drop = np.array([supply.change(watts * g / pattern.groups) for g in range(pattern.groups + 1)])
    groups, counts = np.array(lit).T
    return supply.volts * np.repeat(1.0 - drop[groups], counts)


def _check_frequency(pattern: firing.Pattern, supply: SupplyLine) -> None:
    if supply.hz not in _WEIGHTING or abs(pattern.frequency_hz - supply.hz) > 1.0:
        raise ValueError(
            f"the pattern's {pattern.frequency_hz:g} Hz and the supply's {supply.hz} Hz must agree, and be 50 or 60"
        )


def of_run(
    pattern: firing.Pattern, duties: Sequence[float] | Row, tick_s: float, watts: float, supply: SupplyLine
) -> list[float]:
    """Pst of each whole ten minutes of a run at the row of `duties`, one a tick; of the whole run where it is shorter.
    The filters settle in a minute of no heat before it.

    Raises ValueError for a run shorter than a minute, or where pattern and supply have different frequencies.
    """
    _check_frequency(pattern, supply)
    if len(duties) * tick_s < 60.0:
        raise ValueError("a Pst needs a minute at least")
    settling = round(_SETTLE_S * supply.hz)
    volts = np.concatenate([np.full(settling, supply.volts), voltages(pattern, duties, tick_s, watts, supply)])
    p = perception(volts, supply.hz)[settling * SAMPLES_PER_CYCLE :]
    whole = round(PST_S * supply.hz) * SAMPLES_PER_CYCLE
    return [short_term(p[i * whole : (i + 1) * whole]) for i in range(max(1, len(p) // whole))]


def worst_plt(pst: list[float]) -> float:
    """The worst Plt of any two hours of successive Pst; of a shorter run filled up with quiet to two hours."""
    quiet = [0.0] * max(0, 12 - len(pst))
    return max(long_term((pst[i : i + 12] + quiet)[:12]) for i in range(max(1, len(pst) - 11)))


@lru_cache(maxsize=512)
def predict(pattern: firing.Pattern, duty: float, watts: float, supply: SupplyLine = REFERENCE_SUPPLY) -> float:
    """Pst of ten minutes at a steady `duty` (0..1), after two minutes of it. Held for hours, Plt is the same."""
    if not 0.0 <= duty <= 1.0:
        raise ValueError(f"duty = {duty!r} must lie in 0..1")
    _check_frequency(pattern, supply)
    settle_s = 2.0 * _SETTLE_S
    settle = round(settle_s * supply.hz)
    if (found := _round_of(pattern, duty, settle)) is None:
        p = perception(voltages(pattern, [duty], settle_s + PST_S, watts, supply), supply.hz)
        return short_term(p[settle * SAMPLES_PER_CYCLE :])
    # The same cycles return again and again: one round of them is filtered, and counted as often as it is seen.
    before, lit = found
    drop = np.array([supply.change(watts * g / pattern.groups) for g in range(pattern.groups + 1)])
    cycles = int((settle_s + PST_S) * pattern.frequency_hz + 1e-9)
    mean = float(np.mean(1.0 - drop[_carried_on(before, lit, cycles)]))
    volts = np.repeat(1.0 - drop[lit[before:]], SAMPLES_PER_CYCLE)
    p = _gain(supply.hz) * _round_filtered(supply.hz, (volts / mean) ** 2)
    whole, rest = divmod(cycles - settle, len(lit) - before)
    times = np.full(len(lit) - before, whole)
    times[(settle - before + np.arange(rest)) % len(times)] += 1
    return short_term(p, np.repeat(times, SAMPLES_PER_CYCLE))


def _round_of(pattern: firing.Pattern, duty: float, most: int) -> tuple[int, npt.NDArray[np.int64]] | None:
    """A steady duty ends in a round of cycles that returns without end: (mains cycles before it, groups that are on in
    each cycle up to its end). None where that takes more than `most` cycles."""
    found = [_first_round(pattern, owed, duty, most) for owed in firing.ready(pattern).owed]
    rounds = [group for group in found if group is not None]
    if len(rounds) < len(found):
        return None
    before, length = max(start for start, _ in rounds), math.lcm(*(len(lit) - start for start, lit in rounds))
    if before + length > most:
        return None
    return before, np.sum([_carried_on(start, lit, before + length) for start, lit in rounds], axis=0)


def _carried_on(before: int, lit: npt.NDArray[np.int64], cycles: int) -> npt.NDArray[np.int64]:
    """So many cycles of what `_round_of` gives."""
    at = np.arange(cycles)
    return lit[np.where(at < len(lit), at, before + (at - before) % (len(lit) - before))]


def _first_round(
    pattern: firing.Pattern, owed: float, duty: float, most: int
) -> tuple[int, npt.NDArray[np.int64]] | None:
    """The same of one group that begins with `owed` cycles owed."""
    if duty in (0.0, 1.0):
        return 0, np.array([int(duty)])
    alone, seconds = firing.Pattern(pattern.frequency_hz, pattern.shortest_run), 2.0
    while seconds * pattern.frequency_hz < 4.0 * most:
        state = firing.FiringState(0.0, (owed,), (False,))
        runs = firing.fire(alone, state, duty, seconds)[1].runs
        now, at, seen = owed, 0, {}
        for on, count in runs:
            # What is owed when a run begins decides about all that follows.
            if on and (begun := seen.setdefault(round(now, 6), at)) < at <= most:
                lit = np.repeat([int(is_on) for is_on, _ in runs], [n for _, n in runs])
                return begun, lit[:at]
            now, at = now + count * (duty - 1.0 if on else duty), at + count
        seconds *= 4.0
    return None


def worst(
    pattern: firing.Pattern, watts: float, supply: SupplyLine = REFERENCE_SUPPLY, duties: Sequence[float] = DUTIES
) -> tuple[float, float]:
    """(duty, Pst) of the steady duty that flickers most."""
    return max(((d, predict(pattern, d, watts, supply)) for d in duties), key=lambda pair: pair[1])


def in_words(pst: float) -> str:
    """What the figure means for a person under the lamp."""
    if pst <= PLT_LIMIT:
        return "lamps on the same line are left in peace"
    return "to be seen on lamps of the same line over hours" if pst <= PST_LIMIT else "lamps on the same line flicker"
