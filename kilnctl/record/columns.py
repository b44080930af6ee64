"""The columns of a run's samples: one list for the writer, the reader, the pictures and the docs. Names
end in their unit."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class SampleColumn:
    """One column. `decimals` fixes how it is written, so that equal runs give equal files."""

    name: str
    unit: str
    decimals: int
    doc: str


COLUMNS = (
    SampleColumn("time_s", "s", 1, "time since the start, monotonic"),
    SampleColumn(
        "reference_c",
        "°C",
        2,
        "where the chamber (or the part) should be now; empty while cooling without heat",
    ),
    SampleColumn("chamber_c", "°C", 3, "the control sensor, as read"),
    SampleColumn("true_chamber_c", "°C", 3, "the chamber itself; a virtual oven only"),
    SampleColumn("limit_c", "°C", 3, "the second sensor, as read"),
    SampleColumn("part_c", "°C", 3, "the thermocouple on the part, as read"),
    SampleColumn("true_part_c", "°C", 3, "surface of the part itself; a virtual oven only"),
    SampleColumn("part_estimate_c", "°C", 2, "the part as the model sees it"),
    SampleColumn("part_sd_k", "K", 2, "standard deviation of that estimate"),
    SampleColumn("element_estimate_c", "°C", 1, "the elements as the model sees them"),
    SampleColumn("expected_c", "°C", 2, "the chamber as the estimator sees it now"),
    SampleColumn("duty", "1", 4, "share of full power that the gate let pass"),
    SampleColumn(
        "fired",
        "1",
        4,
        "share of full power that was fired since the last sample, as measured; empty without a current meter",
    ),
    SampleColumn(
        "commanded", "1", 4, "share of full power that was commanded since the last sample; it proves nothing"
    ),
    SampleColumn(
        "power_w",
        "W",
        1,
        "electric power since the last sample, by the best meters there are; as commanded without a meter",
    ),
    SampleColumn("demand_w", "W", 1, "what the control asks for, whether or not the gate lets it pass"),
    SampleColumn("feedforward_w", "W", 1, "of it, the energy balance's part"),
    SampleColumn("trim_w", "W", 1, "of it, the feedback's part"),
    SampleColumn("unexplained_w", "W", 1, "heat into the chamber that the model cannot explain"),
    SampleColumn("supply_v", "V", 1, "supply voltage, where measured"),
    SampleColumn("current_a", "A", 2, "element current while any flows, where measured"),
    SampleColumn("contactor", "1", 0, "1 while the contactor is commanded to be closed"),
    SampleColumn("step", "1", 0, "step of the schedule, from 1"),
    SampleColumn("reason", "", 0, "why, in plain words"),
)
NAMES = tuple(c.name for c in COLUMNS)
INDEX = {name: i for i, name in enumerate(NAMES)}
_DECIMALS = tuple(c.decimals for c in COLUMNS)


def row_text(row: tuple) -> list[str]:
    """The cells of one sample as they are written: fixed decimals, empty for NaN, words on one line."""
    return [_cell(value, decimals) for value, decimals in zip(row, _DECIMALS, strict=True)]


def _cell(value, decimals: int) -> str:
    if isinstance(value, str):
        return " ".join(value.split()) if "\n" in value or "\r" in value else value
    return "" if value != value else f"{value:.{decimals}f}"


def row_of(time_s: float, reading, act, chamber_c: float | None = None, part_c: float | None = None) -> tuple:
    """One sample in the order of `COLUMNS`, from a reading and what the chain made of it (a
    `kilnctl.run.chain.Actuation`); chamber_c and part_c are the true ones, where a virtual oven tells them."""
    d = act.decision
    return (
        time_s,
        d.reference_c,
        reading.chamber_c,
        _number(chamber_c),
        _number(reading.limit_c),
        _number(reading.part_c),
        _number(part_c),
        _number(d.part_c),
        _number(d.part_sd_k),
        _number(d.element_c),
        d.expected_c,
        act.duty,
        _number(reading.fired),
        act.commanded,
        act.power_w,
        d.demand_w,
        d.feedforward_w,
        d.trim_w,
        d.unexplained_w,
        _number(reading.supply_v),
        _number(reading.current_a),
        1.0 if act.contactor else 0.0,
        float(d.step + 1),
        act.verdict.reason if act.verdict.permit is None and d.demand_w > 0.0 else d.reason,
    )


def _number(value) -> float:
    return math.nan if value is None else value
