"""What a rig or a virtual oven reports once per tick. Everything above the rig decides from this alone."""

from dataclasses import dataclass

#: Words in `Reading.faults`. `SENSOR_FAULTS` are of the control sensor; with the prefix "limit-" or "part-" the same
#: words are of the other two.
SENSOR_FAULTS = ("open", "short-ground", "short-supply", "no-chip", "bus-error", "cold-junction")


@dataclass(slots=True)  # never changed; `frozen` would make each of them five times as slow
class Reading:
    """One look at the oven. `None` means "this rig cannot tell", never "all is well".

    chamber_c        control thermocouple, °C, linearised; NaN when the front end reports a fault
    limit_c          second, separately placed thermocouple, °C
    part_c           thermocouple on the part, °C
    cold_junction_c  terminal temperature of the control thermocouple, °C
    faults           words from SENSOR_FAULTS (also with "limit-", "part-" before them), "board-lost", "board-fault"
    fired            share of the time since the last reading in which power really reached the elements, 0..1
    commanded        share of that time in which the rig itself commanded the relay to conduct, where it times the mains
                     cycles and counts them; None where the relay follows the control loop's own plan
    supply_v         measured supply voltage, V rms
    current_a        measured element current averaged (rms) over the on-time, A; 0 when nothing was fired
    mean_current_a   the same averaged over the whole time since the last reading, on and off, A: with the voltage it
                     gives the power, however the element groups take turns
    contactor_closed read-back of an auxiliary contact or of the voltage behind the contactor
    door_open        the software's copy of the door switch
    airflow_proved   ventilation proved by a flow or pressure switch
    sample           counter of the front end's conversions, or of its readings: it stands still when reading stops
    bits             the control converter's newest answer as it came, before any median: only it shows an answer that
                     repeats; None where chamber_c and cold_junction_c are that answer
    rejects          counter of the control converter's conversions that a median took out as wild
    """

    chamber_c: float
    limit_c: float | None = None
    part_c: float | None = None
    cold_junction_c: float | None = None
    faults: tuple[str, ...] = ()
    fired: float | None = None
    supply_v: float | None = None
    current_a: float | None = None
    contactor_closed: bool | None = None
    door_open: bool | None = None
    airflow_proved: bool | None = None
    sample: int | None = None
    commanded: float | None = None
    bits: bytes | None = None
    rejects: int | None = None
    mean_current_a: float | None = None

    @property
    def door_is_open(self) -> bool:
        """The door switch says so, or says what it cannot say: anything but a plain False (shut) and None (no switch,
        or no answer) is an open door."""
        return self.door_open is not False and self.door_open is not None

    def fired_or(self, otherwise: float) -> float:
        """`fired`, or `otherwise` where this rig cannot tell or reports something outside 0 to 1."""
        return self.fired if self.fired is not None and 0.0 <= self.fired <= 1.0 else otherwise
