"""What benches, trials, tests and `tools/same_records` run on the workshop's ovens: the one list.

Plain data without an import of kilnctl, so that it outlives every change of the program. What happens to an oven in the
control bench is in `control_scenarios.py`, which begins with the temperatures given here.
"""

from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CONFIGS = ROOT / "configs"


@dataclass(frozen=True)
class Trials:
    """What one oven is tried on.

    `top_c`, `low_c`: its working temperatures, °C; `settled_s`: from cold until a soak at the top has settled, s;
    `everyday`: its usual schedule in configs/schedules; `more`: others that it can do; `unseen`: those that test a fit
    (no learning run looks like them); `learn_low_c`: the ceiling of a learning run that stays far below them, °C.
    `short`: schedules of an hour and less, as texts of their files, with `short_learning`, a learning run's ceiling low
    enough for a short one: most of its time is the fall from there."""

    top_c: float
    low_c: float
    settled_s: int
    everyday: str
    more: tuple[str, ...]
    unseen: tuple[str, str]
    learn_low_c: float
    short: dict[str, str]
    short_learning: str


#: The short schedules have ramps by rate and by time, jumps, soaks with a band, a controlled fall, free cooling, a
#: schedule of the part with vapour (purge) and cure, degrees Fahrenheit, a rate that the oven cannot do. The first of
#: each oven is the shortest.
WORKSHOP = {
    "curing-cabinet": Trials(
        top_c=200.0,
        low_c=160.0,
        settled_s=3600,
        everyday="powder-cure",
        more=("dry", "part-cure"),
        unseen=("temper", "dry"),
        learn_low_c=105.0,
        short={
            "jump": """
steps:
  - {name: up, to: 90 °C, hold: 6 min, within: 3 K}
  - {name: cool, to: 80 °C, let cool: yes}
""",
            "ramps": """
steps:
  - {name: a, to: 80 °C, at: 4 °C/min, hold: 5 min}
  - {name: b, to: 120 °C, in: 10 min, hold: 6 min, within: 4 K}
  - {name: c, to: 112 °C, at: 1 °C/min, hold: 2 min}
highest: 150 °C
too fast: stretch
""",
            "part": """
follows: part
steps:
  - {name: cure, to: 120 °C, hold: 8 min, within: 6 K}
highest: 180 °C
part highest: 140 °C
flammable vapour: yes
vapour: {powder: 60 g, volatiles: 4 %}
cure: {at: 120 °C, time: 8 min}
""",
        },
        short_learning="110 °C",
    ),
    "bench-muffle": Trials(
        top_c=700.0,
        low_c=560.0,
        settled_s=3600,
        everyday="anneal",
        more=("temper",),
        unseen=("lab-steps", "anneal"),
        learn_low_c=620.0,
        short={
            "jump": """
steps:
  - {name: up, to: 600 °F, hold: 8 min, within: 5 °F}
  - {name: cool, to: 580 °F, let cool: yes}
""",
            "ramps": """
steps:
  - {name: a, to: 250 °C, at: 12 °C/min, hold: 5 min}
  - {name: b, to: 400 °C, in: 15 min, hold: 6 min, within: 4 K}
  - {name: c, to: 385 °C, at: 2 °C/min, hold: 4 min}
too fast: stretch
""",
            "hot": """
steps:
  - {name: up, to: 820 °C, at: 3000 °C/h, hold: 10 min, within: 5 K}
  - {name: cool, to: 700 °C, let cool: yes}
load: {name: one block, mass: 400 g, material: steel, area: 150 cm², emissivity: 0.8, thickness: 12 mm}
too fast: stretch
""",
        },
        short_learning="400 °C",
    ),
    "brick-kiln": Trials(
        top_c=800.0,
        low_c=640.0,
        settled_s=7800,
        everyday="tile-firing",
        more=("lab-steps",),
        unseen=("tile-firing", "anneal"),
        learn_low_c=900.0,
        short={
            "jump": """
steps:
  - {name: up, to: 200 °C, hold: 10 min, within: 5 K}
  - {name: cool, to: 190 °C, let cool: yes}
""",
            "ramps": """
steps:
  - {name: a, to: 120 °C, at: 300 °C/h, hold: 6 min}
  - {name: b, to: 230 °C, in: 14 min, hold: 8 min, within: 4 K}
  - {name: c, to: 222 °C, at: 90 °C/h, hold: 4 min}
too fast: stretch
""",
            "hot": """
steps:
  - {name: up, to: 640 °C, at: 2000 °C/h, hold: 8 min, within: 6 K}
  - {name: cool, to: 600 °C, let cool: yes}
load: {name: few tiles, mass: 1 kg, material: cordierite, area: 0.1 m², emissivity: 0.9, thickness: 8 mm}
too fast: stretch
""",
        },
        short_learning="300 °C",
    ),
}
OVENS = tuple(WORKSHOP)
#: A sag, the door, a noisy sensor and a relay that fails short: warnings, a trip and what comes after it.
FAULTS = """about: what the lock breaks
faults:
  - {kind: supply sag, at: 1 min, for: 40 s, size: 8 %}
  - {kind: door open, at: 2 min, for: 15 s, size: 60 %}
  - {kind: thermocouple noisy, sensor: limit, at: 3 min, for: 1 min, size: 3 K}
  - {kind: relay shorted, at: 5 min}
"""


def oven_file(name: str) -> Path:
    """Where the description of a workshop oven is."""
    return CONFIGS / "ovens" / f"{name}.yaml"


def schedule_file(name: str) -> Path:
    """Where a schedule of the workshop is."""
    return CONFIGS / "schedules" / f"{name}.yaml"
