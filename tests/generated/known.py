"""What drawn ovens do not reach yet, with its cause. A crash is never listed: it is mended.

Keys are those of test_generated_ovens.py: the number of one of the forty, "cold N" of the slow set, or a kept file's
name.
"""

BURSTS = "the pattern's bursts on light elements swing an ideal sensor without mass; means over a minute are calm"
MINIMUM_ON = "the file's 'minimum on' is kept to the letter and is longer than the elements bear: `check` says so"

BARELY = "its 135 W reach the soak after 13.5 hours, and a quarter of an hour later it still lacks a kelvin"
NO_COOLING = (
    "the fan's 49 W hold more than the soak without any heat, `check` says at which temperature it stays, and the "
    "control gives no heat above the soak: nothing can cool this chamber"
)

DRIED = (
    "at 1291 s the virtual load's last water goes within one tick, and with it the 84 W that warm its vapour: the "
    "light air jumps by 3 K in 1.5 s and 10 K in 16 s, before the sensor shows it; until then the soak is within 0.4 K"
)

OPEN: dict[int | str, dict[str, str]] = {
    "cold 6": {"swing of bursts only": BURSTS},
    "cold 12": {"swing of minimum on": MINIMUM_ON},
    "drawn-199": {"overshoot": DRIED, "swing": DRIED},
    "much-wire": {"swing of bursts only": BURSTS},
    "cold 15": {"swing of bursts only": BARELY},
    "quick-muffle": {"swing of bursts only": BURSTS, "overshoot of bursts only": BURSTS},
    "strong-fan": {"soak cannot be held": NO_COOLING},
}
