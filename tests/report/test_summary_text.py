"""A summary in words, alone and next to another."""

import math
import re
from dataclasses import replace

from kilnctl.output import IMPERIAL, Units
from kilnctl.plants.moisture import Drying
from kilnctl.report.summary_text import drying_words, summaries_compared, summary_text
from kilnctl.run.summary import Soak, Summary
from kilnctl.thermal.psychrometrics import share_of


def summary(**facts) -> Summary:
    soak = Soak("cure", 200.0, 60.0, facts.pop("settled_s", 100.0), 900.0, facts.pop("worst_k", -0.5), 0.1)
    usual = Summary("finished", 1000.0, (soak,), 0.2, 0.5, 0.4, 1.5, 200.2, 195.0, 3.0, None, None, "the sensor")
    return replace(usual, **facts)


def test_comparison_in_words():
    text = summaries_compared(
        summary(cure_share=1.2),
        summary(settled_s=math.nan, worst_k=7.0, overshoot_k=6.5, cure_share=2.0),
        "thermostat",
    )
    lines = {line[:32].strip(): line[32:].split("  ") for line in text.splitlines()}
    cells = {name: [c.strip() for c in cells if c.strip()] for name, cells in lines.items()}
    assert cells["first soak within ±1 K after"] == ["1 min 40 s", "never"]
    assert cells["worst deviation in a soak"] == ["0.50 K", "7.00 K"] and cells["overshoot"] == [
        "0.20 K",
        "6.50 K",
    ]
    assert cells["of the reference cure"] == ["120 %", "200 %"]
    bare = summaries_compared(summary(soaks=()), summary(soaks=()), "other", Units(IMPERIAL))
    assert "±1.8 °F after" in bare and "–" in bare and "reference cure" not in bare


def test_a_comparison_says_how_long_each_run_took():
    """A thermostat's soak in a narrow band takes twice as long, and so its energy is no measure of its waste."""
    text = summaries_compared(summary(), summary(duration_s=4000.0, outcome="tripped", energy_kwh=3.0), "thermostat")
    assert re.search(r"the run ends after +16 min 40 s +1 h 06 min 40 s, tripped\nenergy +1.50 kWh +3.00 kWh", text)


def test_text_says_cure_with_its_edges_and_trips():
    cure = dict(cure_share=1.2, cure_most=1.5, part_by="part, estimate")
    text = summary_text(summary(**cure, trips=((700.0, "over-temperature"),)))
    assert "at least 120 % of the reference cure (at most 150 %, by the part, estimate)" in text
    assert "over-temperature at 11 min 40 s" in text
    assert "trips                none" in summary_text(summary())
    assert "no soak in this schedule" in summary_text(summary(soaks=()))


def test_drying_is_told_on_one_line():
    wet = drying_words(Drying(2.0, 0.5, None, 64.2, share_of(0.156)))
    assert "2 kg of water of which 0.5 kg are left" in wet and "the part is at 64 °C" in wet and "is 60 °C" in wet
    assert drying_words(Drying(2.0, 0.0, 7200.0, None, None)).endswith("gone after 2 h")
