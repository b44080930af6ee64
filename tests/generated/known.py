"""What drawn ovens do not reach yet, with its cause. A crash is never listed: it is mended.

Keys are those of test_generated_ovens.py: the number of one of the forty, "cold N" of the slow set, or a kept file's
name.
"""

BURSTS = "the pattern's bursts on light elements swing an ideal sensor without mass; means over a minute are calm"
NOISY = (
    "12 kW in 36 litres, read with 0.8 K of noise: bursts swing an ideal sensor; means over a minute stay within 1.3 K"
)
MINIMUM_ON = "the file's 'minimum on' is kept to the letter and is longer than the elements bear: `check` says so"

NO_COOLING = (
    "the fan's 49 W hold more than the soak, and the wet load of a nearly closed chamber no longer cools it by drying: "
    "nothing can cool it below what the fan holds"
)

NOT_TRACED = "7 K over on the way up from the cold since linings hold heat by depth (1.1 K before); not traced yet"

OPEN: dict[int | str, dict[str, str]] = {
    "cold 6": {"swing of bursts only": BURSTS},
    "cold 8": {"swing of bursts only": NOISY},
    "cold 12": {"swing of minimum on": MINIMUM_ON},
    "drawn-199": {"overshoot": NOT_TRACED, "swing": NOT_TRACED},
    "much-wire": {"swing of bursts only": BURSTS},
    "quick-muffle": {"swing of bursts only": BURSTS},
    "strong-fan": {"overshoot": NO_COOLING, "swing": NO_COOLING},
}
