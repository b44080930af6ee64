"""The firing pattern that an oven's elements can take.

A burst of full power first warms the elements themselves: a shortest run of t seconds warms them by P·t/C, and the
chamber follows by a tenth to two thirds of that. A pattern's name therefore gives only the longest runs; elements of
little mass get shorter ones. A time that the file gives in seconds (switching: minimum on) is always kept."""

import dataclasses

from ..firing import Pattern, cycles
from ..settings.oven import Oven
from .heaters import heater_of

#: A pattern's shortest run warms the elements by at most this, K, and so the chamber by about 1 K.
ELEMENTS_SWING_K = 2.0
#: A shortest run given in seconds that warms them by more than this, K, is reported.
SPOKEN_OF_K = 4.0


def pattern_for(oven: Oven) -> Pattern:
    """The pattern that a description asks for, with runs short enough for its elements."""
    return cycles.pattern_for(oven, ELEMENTS_SWING_K / elements_k_per_s(oven))


def elements_k_per_s(oven: Oven) -> float:
    """How fast full power warms the elements while they give off no heat, K/s, at half of the oven's highest
    temperature."""
    heater = heater_of(oven)
    return oven.elements.power_w / (heater.mass_kg * heater.material.heat_capacity(0.5 * oven.limits.highest_c))


def bursts_note(oven: Oven) -> str | None:
    """A sentence about the pattern for the user, or None."""
    switching, pattern, rate = oven.switching, pattern_for(oven), elements_k_per_s(oven)
    run_s = pattern.shortest_run / pattern.frequency_hz
    if switching.minimum_on_s is not None:
        if run_s * rate <= SPOKEN_OF_K:
            return None
        return (
            f"bursts of {run_s:.2g} s move these elements by {run_s * rate:.0f} K and swing the chamber; "
            f"{without_minimum_on(oven)}"
        )
    asked_s = cycles.SHORTEST_RUN_S[switching.pattern]
    if asked_s <= run_s + 0.5 / pattern.frequency_hz:
        return None
    guessed = "mass" in heater_of(oven).guessed
    which = "elements of the assumed mass" if guessed else "these elements"
    hint = "If yours are heavier, say so (elements: mass)" if guessed else "Heavier elements can take longer ones"
    return (
        f'the pattern "{switching.pattern}" fires in runs of {asked_s:.2g} s where it can; {which} would swing '
        f"by {asked_s * rate:.0f} K, and the chamber "
        f"with them, so they are fired in runs of {run_s:.2g} s. {hint}"
    )


def without_minimum_on(oven: Oven) -> str:
    """How long the pattern's runs would be here without a time in seconds, in words."""
    named = pattern_for(dataclasses.replace(oven, switching=dataclasses.replace(oven.switching, minimum_on_s=None)))
    run_s = named.shortest_run / named.frequency_hz
    return f"without 'minimum on' the pattern \"{oven.switching.pattern}\" would fire in runs of {run_s:.2g} s here"
