"""The schedules, faults and commissioning runs of `tools/same_records`, as the texts of their files."""

#: Three schedules per oven, an hour and less each: ramps by rate and by time, jumps, soaks with a band, a controlled
#: fall, free cooling, a schedule of the part with vapour (purge) and cure, degrees Fahrenheit, a rate that the oven
#: cannot do. The first is the one of --quick.
SCHEDULES = {
    "curing-cabinet": {
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
    "bench-muffle": {
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
    "brick-kiln": {
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
}
#: A sag, the door, a noisy sensor and a relay that fails short: warnings, a trip and what comes after it.
FAULTS = """about: what the lock breaks
faults:
  - {kind: supply sag, at: 1 min, for: 40 s, size: 8 %}
  - {kind: door open, at: 2 min, for: 15 s, size: 60 %}
  - {kind: thermocouple noisy, sensor: limit, at: 3 min, for: 1 min, size: 3 K}
  - {kind: relay shorted, at: 5 min}
"""
#: The commissioning runs never go above this; low, since the long fall from it is most of the time.
CEILINGS = {"curing-cabinet": "110 °C", "bench-muffle": "400 °C", "brick-kiln": "300 °C"}
