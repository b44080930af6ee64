"""The metrics, read back by the reference parser of their format (prometheus-client)."""

import json
import math
import re
from pathlib import Path

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from kilnctl.panel.metrics import METRICS, metrics

STATUS = {
    "state": "soak", "running": True, "chamber_c": 187.25, "limit_c": None, "part_c": math.nan, "duty": 0.125,
    "contactor": True, "door_open": False, "energy_j": 7.2e6, "trips": [], "danger": "",
    "ticks": {"count": 12345, "overruns": 0, "p99_s": 0.0012, "worst_s": 0.01}, "record": None,
}  # fmt: skip


def read(text):
    return {f.name: f for f in text_string_to_metric_families(text)}


def value(families, name):
    (sample,) = families[name].samples
    return sample.value


def test_the_reference_parser_reads_what_was_measured_and_nothing_else():
    families = read(metrics(STATUS, True, "Brick kiln"))
    assert value(families, "kilnctl_up") == 1.0 and value(families, "kilnctl_chamber_celsius") == 187.25
    assert value(families, "kilnctl_contactor_closed") == 1.0 and value(families, "kilnctl_door_open") == 0.0
    assert value(families, "kilnctl_ticks") == 12345 and families["kilnctl_ticks"].type == "counter"
    assert "kilnctl_limit_celsius" not in families and "kilnctl_part_celsius" not in families
    assert "kilnctl_record_rows" not in families and not families["kilnctl_trip"].samples


def test_a_service_that_does_not_answer_leaves_no_stale_value():
    assert list(read(metrics(STATUS, False, "Brick kiln"))) == ["kilnctl_up"]


def test_trips_and_dangers_stand():
    status = STATUS | {"trips": [{"fault": "over-temperature"}, {"fault": "sensor-jump"}], "danger": "pull the plug"}
    families = read(metrics(status, True, "k"))
    assert [s.labels["fault"] for s in families["kilnctl_trip"].samples] == ["over-temperature", "sensor-jump"]
    assert value(families, "kilnctl_danger") == 1.0


@pytest.mark.parametrize("name", ['a "quoted" kiln', "back\\slash", "two\nlines", "Ofen für Übungen"])
def test_any_name_of_an_oven_comes_back_whole(name):
    (sample,) = read(metrics(STATUS, True, name))["kilnctl_up"].samples
    assert sample.labels == {"oven": name}


def test_names_end_in_their_base_unit_and_are_one_each():
    assert len({m.name for m in METRICS}) == len(METRICS)
    units = {"celsius", "ratio", "watts", "volts", "seconds", "joules", "closed", "open", "running"}
    assert {m.name.rsplit("_", 1)[1] for m in METRICS if m.kind == "gauge"} <= units


def test_the_dashboard_asks_for_metrics_that_are_served():
    """configs/dashboard.json, for a dashboard program that reads such metrics by their names."""
    told = json.loads((Path(__file__).parents[2] / "configs" / "dashboard.json").read_text(encoding="utf-8"))
    asked = {
        name
        for panel in told["panels"]
        for target in panel["targets"]
        for name in re.findall(r"kilnctl_\w+", target["expr"])
    }
    served = {m.name + ("_total" if m.kind == "counter" else "") for m in METRICS}
    assert asked and asked <= served | {"kilnctl_up", "kilnctl_trip", "kilnctl_danger"}
    assert all('{oven="$oven"}' in target["expr"] for panel in told["panels"] for target in panel["targets"])
    places = [panel["gridPos"] for panel in told["panels"]]
    cells = [(x, y) for g in places for x in range(g["x"], g["x"] + g["w"]) for y in range(g["y"], g["y"] + g["h"])]
    assert len(set(cells)) == len(cells) and max(x for x, _ in cells) < 24, "no picture hides another"
