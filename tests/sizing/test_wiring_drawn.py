"""Drawn supplies and switchgear: none is too odd to be judged, and what a verdict proposes is fine by it."""

import dataclasses
import math
import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kilnctl import load_oven
from kilnctl.settings.equipment import Supply, Switching
from kilnctl.sizing.wiring import wiring_of
from kilnctl.terms import Mark
from kilnctl.thermal import wiring_rules as rules

MM2 = 1e-6


@pytest.fixture(scope="module")
def kept_oven():
    return load_oven(Path(__file__).parents[2] / "configs/ovens/curing-cabinet.yaml")


def _drawn(cls, source):
    """Each setting of that part left out, or anything within its bounds."""
    values = {}
    for f in dataclasses.fields(cls):
        meta = f.metadata
        required = f.default is dataclasses.MISSING
        if not required and source.random() < 0.4:
            continue
        if meta["kind"] == "choice":
            values[f.name] = source.choice(meta["options"])
        elif meta["kind"] == "integer":
            values[f.name] = source.randint(meta["low"], meta["high"])
        elif meta["kind"] == "quantity":
            values[f.name] = source.uniform(meta["low"], meta["high"])
    values["frequency_hz"] = source.choice((50.0, 60.0))
    return values


@settings(max_examples=300)
@given(st.integers(0, 2**32), st.floats(20.0, 20000.0))
def test_no_description_is_too_odd_to_be_judged(kept_oven, seed, watts):
    source = random.Random(seed)
    supply, switching = _drawn(Supply, source), _drawn(Switching, source)
    del switching["frequency_hz"]
    odd = dataclasses.replace(
        kept_oven,
        supply=Supply(**supply),
        switching=Switching(**switching),
        elements=dataclasses.replace(kept_oven.elements, power_w=watts),
    )
    w = wiring_of(odd)
    assert math.isfinite(w.current_a) and w.current_a > 0.0 and math.isfinite(w.sink_k_per_w)
    assert len({(f.about, f.words) for f in w.findings}) == len(w.findings) > 8
    assert all(f.words and "None" not in f.words and "nan" not in f.words for f in w.findings)


@given(st.floats(30.0, 20000.0), st.sampled_from((120.0, 208.0, 230.0, 240.0, 400.0)), st.sampled_from((50.0, 60.0)))
def test_what_is_said_to_fit_does_fit(kept_oven, watts, volts, hertz):
    """The breaker and cable that a report proposes are fine by its own verdict."""
    o = dataclasses.replace(
        kept_oven,
        elements=dataclasses.replace(kept_oven.elements, power_w=watts),
        supply=Supply(voltage_v=volts, frequency_hz=hertz),
    )
    said = next(f.words for f in wiring_of(o).findings if f.about == "breaker")
    if "no cable" in said:
        assert watts / volts > 75.0
        return
    amps, size = said.split("(supply: breaker) ")[1].split(" would")[0].split(" A with ")
    number, unit = size.split()
    area = float(number) * MM2 if unit == "mm²" else rules.AWG_A[int(number)][0] * MM2
    built = dataclasses.replace(o, supply=dataclasses.replace(o.supply, breaker_a=float(amps), cable_area_m2=area))
    found = {f.about: f.mark for f in wiring_of(built).findings}
    assert found["breaker"] is found["cable"] is Mark.FINE
