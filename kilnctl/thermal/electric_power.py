"""Electric power into the elements from what the meters tell. Pure; no numpy: it is worked out in every tick."""

#: Without a voltmeter: a current within this share of the rated one is taken as a change of the supply (P ∝ I²), a
#: larger difference as one of the elements (P ∝ I).
SUPPLY_SHARE = 0.12
#: A meter that reads more than this many times the rated value is not believed: no supply of an oven gives that.
BELIEVED = 5.0


def electric_w(
    share: float,
    rated_w: float,
    rated_v: float,
    supply_v: float | None = None,
    current_a: float | None = None,
    mean_current_a: float | None = None,
) -> float:
    """Mean electric power over the time since the last reading, W, by the best that there is.

    share           of full power that was fired in that time: measured, else commanded
    rated_w         power of the hot elements at the voltage rated_v
    supply_v        measured supply voltage, V; current_a: measured while any flowed, A rms; mean_current_a: averaged
    over all the time, A.
                    None or NaN where it is not measured

    Voltage and current: P = V·I (the elements are resistive, power factor 1). Voltage alone: P = share·V²/R with R =
    rated_v²/rated_w. Current alone: I²·R near the rated current, V·I at the rated voltage where it is far from it.
    Neither: share·rated_w.
    """
    rated_a = rated_w / rated_v
    volts = _measured(supply_v, BELIEVED * rated_v)
    amps, mean = _measured(current_a, BELIEVED * rated_a), _measured(mean_current_a, BELIEVED * rated_a)
    if mean is None and amps:
        mean = share * amps
    if volts is not None:
        return volts * mean if mean is not None else share * rated_w * (volts / rated_v) ** 2
    if mean is None:
        return share * rated_w
    ratio = amps * rated_v / rated_w if amps else 1.0
    return mean * rated_v * (ratio if abs(ratio - 1.0) <= SUPPLY_SHARE else 1.0)


def _measured(value: float | None, most: float) -> float | None:
    """The meter's value, or None where it is missing or impossible."""
    return value if value is not None and 0.0 <= value <= most else None
