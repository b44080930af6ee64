"""From a converter's words to °C that can be believed: linearised, the median of three, corrected by the sensor's own calibration.

Pure: one small state for each sensor, carried from reading to reading.
"""

import math
from dataclasses import dataclass

from ..errors import KilnctlError
from ..firmware import chips
from ..settings.equipment import Sensor
from ..thermal.thermocouples import emf_mv, temperature_c

#: The MAX31855's straight line for each type, µV/°C (data sheet 19-5793, table 1; K as in its text, the others from memory).
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
#: Terminals outside of this are not believed, °C: the chips' own range is -55 to 125, a box of electronics stays well inside.
COLD_LOW_C, COLD_HIGH_C = -30.0, 110.0
#: A correction is carried on beyond the first and last calibration point by so much, K; further out it is said.
BEYOND_K = 200.0
#: A conversion that stands so far from those before and after it, to the same side, is wild: the greater of this and of 10 times the sensor's
#: noise, K. No oven goes to and fro so fast; a ramp, a step and an opened door go one way.
WILD_K, WILD_NOISE = 5.0, 10.0


@dataclass(frozen=True, slots=True)
class Seen:
    """One sensor now. `value_c` NaN with a fault; `faults` words; `count` conversions so far; `recent` the last believed ones; `bits` the newest
    answer as it came; `rejects` how many wild conversions the median has hidden so far."""

    value_c: float = math.nan
    cold_c: float | None = None
    faults: tuple[str, ...] = ("no-chip",)
    count: int = 0
    raw_count: int = -1
    recent: tuple[float, ...] = ()
    bits: bytes = b""
    rejects: int = 0


def linear_31855_c(kind: str, shown_c: float, cold_c: float) -> float:
    """True temperature behind a MAX31855's reading: its straight line is undone and the reference functions of ITS-90 are put in its place.
    Range: what the type's functions cover (K to 1372 °C); outside NaN. Accuracy 0.15 °C for type K from 0 to 1300 °C."""
    try:
        return temperature_c(kind, (shown_c - cold_c) * LINE_UV_PER_K[kind] * 1e-3 + emf_mv(kind, cold_c))
    except ValueError:
        return math.nan


def calibrated_c(sensor: Sensor, value_c: float) -> float:
    """The reading corrected by the sensor's calibration table: straight lines between its points, the nearest point's offset outside."""
    points = sensor.calibration
    if not points or not math.isfinite(value_c):
        return value_c
    if value_c <= points[0].reads_c:
        return value_c + points[0].true_c - points[0].reads_c
    for a, b in zip(points, points[1:]):
        if value_c <= b.reads_c:
            return a.true_c + (value_c - a.reads_c) * (b.true_c - a.true_c) / (b.reads_c - a.reads_c)
    return value_c + points[-1].true_c - points[-1].reads_c


def beyond_calibration(sensor: Sensor, highest_c: float) -> str:
    """Words when the oven goes far above the highest calibrated point; else empty."""
    points = sensor.calibration
    if not points or highest_c <= points[-1].reads_c + BEYOND_K:
        return ""
    return (
        f"the calibration ends at {points[-1].reads_c:.0f} °C and the oven goes to {highest_c:.0f} °C: above it the last point's offset of "
        f"{points[-1].true_c - points[-1].reads_c:+.1f} K is carried on"
    )


def check(sensor: Sensor, where: str) -> None:
    """Raises KilnctlError for a type that its converter cannot take."""
    if sensor.front_end == "max31855" and sensor.type not in LINE_UV_PER_K:
        raise KilnctlError(f"{where}: there is no MAX31855 for type {sensor.type} thermocouples; use a max31856")


def seen(sensor: Sensor, last: Seen, raw: bytes, raw_count: int) -> Seen:
    """The next state from a converter's six raw bytes (a MAX31855's word in the first four) and its conversions counter. A conversion that
    was seen before is not taken twice: then nothing changes, and `count` stands still."""
    if raw_count == last.raw_count:
        return last
    if sensor.front_end == "max31855":
        hot, cold, bits = chips.decode_31855((raw[0] << 8) | raw[1], (raw[2] << 8) | raw[3])
    else:
        hot, cold, bits = chips.decode_31856(*raw)
    count = last.count + 1
    cold_c = cold / 128.0
    faults = tuple(word for bit, word in WORDS.items() if bits & bit)
    if not faults and not COLD_LOW_C <= cold_c <= COLD_HIGH_C:
        faults = ("cold-junction",)
    value = hot / 128.0
    if not faults and sensor.front_end == "max31855":
        value = linear_31855_c(sensor.type, value, cold_c)
        if not math.isfinite(value):
            faults = ("bus-error",)
    told = cold_c if bits & ~(chips.OPEN | chips.SHORT_GROUND | chips.SHORT_SUPPLY) == 0 else None
    if faults:
        return Seen(math.nan, told, faults, count, raw_count, (), raw, last.rejects)
    recent = (*last.recent, value)[-3:]
    # The middle of three: a single wild word never gets through, and a step gets through with the second one.
    middle = sorted(recent)[len(recent) // 2] if len(recent) == 3 else recent[-1]
    return Seen(
        calibrated_c(sensor, middle), told, (), count, raw_count, recent, raw, last.rejects + _wild(sensor, recent)
    )


def _wild(sensor: Sensor, recent: tuple[float, ...]) -> bool:
    """Whether the middle one in time of three stands alone. What the median hides has to be counted somewhere."""
    if len(recent) < 3:
        return False
    before, after = recent[1] - recent[0], recent[1] - recent[2]
    return before * after > 0.0 and min(abs(before), abs(after)) > max(WILD_K, WILD_NOISE * sensor.noise_k)
