"""How long a hand may stay on a hot outside: burn thresholds of ISO 13732-1, from memory."""

import math

#: (°C, how long a hand stays unburnt below it): smooth metal, thin paint on it included, and brick, board or concrete.
_METAL = (
    (43.0, "for hours"),
    (48.0, "ten minutes"),
    (51.0, "a minute"),
    (55.0, "ten seconds"),
    (58.0, "four seconds"),
    (65.0, "a second"),
    (math.inf, "not at all"),
)
_MINERAL = (*_METAL[:3], (66.0, "ten seconds"), (80.0, "a second"), (math.inf, "not at all"))


def touch_words(outside_c: float, metal: bool) -> str:
    """How long a hand may stay on an outside at outside_c, °C."""
    return next(words for below_c, words in (_METAL if metal else _MINERAL) if outside_c < below_c)
