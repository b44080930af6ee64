"""The service's answer as metrics in the open text format (OpenMetrics 1.0.0), for programs that collect them."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

CONTENT_TYPE = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@dataclass(frozen=True, slots=True)
class Metric:
    """One family. `of`: the key of the service's answer."""

    name: str
    kind: str
    doc: str
    of: str


#: Base units, and names that end in them, as the format asks.
METRICS = (
    Metric("kilnctl_chamber_celsius", "gauge", "Control sensor, as read", "chamber_c"),
    Metric("kilnctl_limit_celsius", "gauge", "Second sensor, as read", "limit_c"),
    Metric("kilnctl_part_celsius", "gauge", "Thermocouple on the part, as read", "part_c"),
    Metric("kilnctl_part_estimate_celsius", "gauge", "Part as the model sees it", "part_estimate_c"),
    Metric("kilnctl_reference_celsius", "gauge", "Where the chamber should be now", "reference_c"),
    Metric("kilnctl_duty_ratio", "gauge", "Share of full power that the gate lets pass", "duty"),
    Metric("kilnctl_demand_watts", "gauge", "Power that control asks for", "demand_w"),
    Metric(
        "kilnctl_unexplained_watts", "gauge", "Heat into the chamber that the model does not explain", "unexplained_w"
    ),
    Metric("kilnctl_full_watts", "gauge", "Full power as estimated", "full_w"),
    Metric("kilnctl_supply_volts", "gauge", "Supply voltage, where measured", "supply_v"),
    Metric("kilnctl_contactor_closed", "gauge", "1 while the contactor is told to be closed", "contactor"),
    Metric("kilnctl_door_open", "gauge", "1 while the door is open", "door_open"),
    Metric("kilnctl_running", "gauge", "1 while a run goes on", "running"),
    Metric("kilnctl_run_seconds", "gauge", "Time since the run's start", "run_s"),
    Metric("kilnctl_left_seconds", "gauge", "Time to the schedule's end, as expected", "left_s"),
    Metric("kilnctl_energy_joules", "gauge", "Electric energy of the run", "energy_j"),
    Metric("kilnctl_ticks", "counter", "Control ticks", "ticks.count"),
    Metric("kilnctl_tick_overruns", "counter", "Ticks that took longer than their period", "ticks.overruns"),
    Metric("kilnctl_tick_p99_seconds", "gauge", "99th percentile of a tick's duration", "ticks.p99_s"),
    Metric("kilnctl_tick_worst_seconds", "gauge", "Longest tick", "ticks.worst_s"),
    Metric("kilnctl_record_rows", "counter", "Samples written to the run's record", "record.written"),
    Metric("kilnctl_record_dropped", "counter", "Samples that the record lost", "record.dropped"),
)


def metrics(status: dict, fresh: bool, oven: str) -> str:
    """The exposition, closed by its end mark. `status`: the service's last answer; `fresh`: it answers. An unmeasured
    quantity has no sample: a zero would be a false claim."""
    label = f'{{oven="{_escaped(oven)}"}}'
    lines = list(_family("kilnctl_up", "gauge", "1 while the oven's service answers", label, float(fresh)))
    if fresh:
        for metric in METRICS:
            value = _value(status, metric)
            if value is not None:
                lines += _family(metric.name, metric.kind, metric.doc, label, value)
        lines += ["# TYPE kilnctl_trip gauge", "# HELP kilnctl_trip 1 for each safety trip that stands"]
        lines += [
            f'kilnctl_trip{{oven="{_escaped(oven)}",fault="{_escaped(str(t.get("fault", "")))}"}} 1'
            for t in status.get("trips", [])
        ]
        danger = float(bool(status.get("danger")))
        lines += _family("kilnctl_danger", "gauge", "1 while heat cannot be cut, or something as bad", label, danger)
        lines += ["# TYPE kilnctl_state stateset", "# HELP kilnctl_state What the oven does"]
        state = _escaped(str(status.get("state", "")))
        lines += [f'kilnctl_state{{oven="{_escaped(oven)}",kilnctl_state="{state}"}} 1']
    return "\n".join([*lines, "# EOF"]) + "\n"


def _family(name: str, kind: str, doc: str, label: str, value: float) -> Iterator[str]:
    yield f"# TYPE {name} {kind}"
    yield f"# HELP {name} {doc}"
    yield f"{name}{'_total' if kind == 'counter' else ''}{label} {value:.10g}"


def _value(status: dict, metric: Metric) -> float | None:
    value = status
    for key in metric.of.split("."):
        value = value.get(key) if isinstance(value, dict) else None
    if not isinstance(value, (int, float)) or not math.isfinite(value):
        return None
    return float(value)


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
