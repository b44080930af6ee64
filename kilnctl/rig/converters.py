"""From a converter's raw words to trusted °C: linearised, median of three, corrected by the sensor's own calibration.

Pure: one small state for each sensor, carried from reading to reading.
"""

import math
from dataclasses import dataclass

from ..errors import KilnctlError
from ..firmware import chips
from ..settings.equipment import Sensor
from ..thermal.thermocouples import emf_mv, temperature_c

#: Slope of the MAX31855's straight line for each type, µV/°C (data sheet 19-5793, table 1; K as in its text, the others
#: from memory). The virtual oven's converters have the same slopes in mV/°C; a test holds the two tables together.
LINE_UV_PER_K = {"K": 41.276, "J": 57.953, "N": 36.256, "S": 9.587, "T": 52.18, "E": 76.373, "R": 10.506}
#: Fault bit → word of `kilnctl.reading`.
WORDS = {
    chips.OPEN: "open",
    chips.SHORT_GROUND: "short-ground",
    chips.SHORT_SUPPLY: "short-supply",
    chips.NO_CHIP: "no-chip",
    chips.BUS_ERROR: "bus-error",
    chips.COLD_RANGE: "cold-junction",
}
#: Faults with which the terminals' temperature is still good: they concern the thermocouple alone.
COLD_STILL_GOOD = chips.OPEN | chips.SHORT_GROUND | chips.SHORT_SUPPLY
#: Range of believable terminal temperatures, °C: the chips' own range is -55 to 125, and a box of electronics stays
#: well inside it.
COLD_LOW_C, COLD_HIGH_C = -30.0, 110.0
#: Outside the calibration points the nearest point's correction is kept; from this far above the last point, K, a
#: message says so.
BEYOND_K = 200.0
#: A conversion is an outlier when it differs from the one before and the one after it, to the same side, by this: the
#: greater of WILD_K, in K, and WILD_NOISE times the sensor's noise. No oven goes up and down so fast; a ramp, a step
#: and an opened door go one way.
WILD_K, WILD_NOISE = 5.0, 10.0


@dataclass(frozen=True, slots=True)
class ConverterState:
    """One sensor's converter now.

    value_c    the believed reading; NaN with a fault
    cold_c     its terminals; None where the chip cannot tell
    faults     words of `kilnctl.reading`
    count      conversions so far
    raw_count  the chip's own counter at the newest one
    recent     the last believed ones, three at most
    bits       the newest answer as it came
    rejects    how many outliers the median has hidden so far
    """

    value_c: float = math.nan
    cold_c: float | None = None
    faults: tuple[str, ...] = ("no-chip",)
    count: int = 0
    raw_count: int = -1
    recent: tuple[float, ...] = ()
    bits: bytes = b""
    rejects: int = 0


def linear_31855_c(kind: str, shown_c: float, cold_c: float) -> float:
    """True temperature behind a MAX31855's reading: its straight line is replaced by the reference functions of ITS-90.

    Range: the range of the type's functions (K: to 1372 °C); outside NaN. Accuracy 0.15 °C for type K from 0 to 1300
    °C.
    """
    try:
        return temperature_c(kind, (shown_c - cold_c) * LINE_UV_PER_K[kind] * 1e-3 + emf_mv(kind, cold_c))
    except ValueError:
        return math.nan


def beyond_calibration(sensor: Sensor, highest_c: float) -> str:
    """A warning when the oven goes far above the highest calibrated point; else empty."""
    points = sensor.calibration
    if not points or highest_c <= points[-1].reads_c + BEYOND_K:
        return ""
    last = points[-1]
    return (
        f"the calibration ends at {last.reads_c:.0f} °C and the oven goes to {highest_c:.0f} °C: above it the last "
        f"point's offset of {last.true_c - last.reads_c:+.1f} K is carried on"
    )


def check(sensor: Sensor, where: str) -> None:
    """Raises KilnctlError for a type that its converter cannot read."""
    if sensor.front_end == "max31855" and sensor.type not in LINE_UV_PER_K:
        raise KilnctlError(f"{where}: there is no MAX31855 for type {sensor.type} thermocouples; use a max31856")


def take_conversion(sensor: Sensor, last: ConverterState, raw: bytes, raw_count: int) -> ConverterState:
    """The next state from a converter's six raw bytes (a MAX31855's word in the first four) and its conversions
    counter.

    A conversion is counted once: if it was seen before, nothing changes.
    """
    if raw_count == last.raw_count:
        return last
    if sensor.front_end == "max31855":
        hot, cold, bits = chips.decode_31855((raw[0] << 8) | raw[1], (raw[2] << 8) | raw[3])
    else:
        hot, cold, bits = chips.decode_31856(*raw)
    count = last.count + 1
    value_c, cold_c = hot / 128.0, cold / 128.0
    faults = tuple(word for bit, word in WORDS.items() if bits & bit)
    if not faults and not COLD_LOW_C <= cold_c <= COLD_HIGH_C:
        faults = ("cold-junction",)
    if not faults and sensor.front_end == "max31855":
        value_c = linear_31855_c(sensor.type, value_c, cold_c)
        if not math.isfinite(value_c):
            faults = ("bus-error",)
    terminals_c = cold_c if bits & ~COLD_STILL_GOOD == 0 else None
    if faults:
        return ConverterState(math.nan, terminals_c, faults, count, raw_count, (), raw, last.rejects)
    recent = (*last.recent, value_c)[-3:]
    # The median of three: a single outlier never passes, and a step passes with its second conversion.
    middle_c = sorted(recent)[len(recent) // 2] if len(recent) == 3 else recent[-1]
    rejects = last.rejects + _wild(sensor, recent)
    return ConverterState(sensor.corrected_c(middle_c), terminals_c, (), count, raw_count, recent, raw, rejects)


def _wild(sensor: Sensor, recent: tuple[float, ...]) -> bool:
    """Whether the middle one of three in time is an outlier: what the median hides must be counted."""
    if len(recent) < 3:
        return False
    before, after = recent[1] - recent[0], recent[1] - recent[2]
    return before * after > 0.0 and min(abs(before), abs(after)) > max(WILD_K, WILD_NOISE * sensor.noise_k)
