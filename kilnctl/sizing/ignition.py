"""Elements as a source of ignition for a vapour."""

from ..body import full_power_c
from ..safety import VapourSum
from ..terms import Finding, Mark
from .sizing import Sizing

#: How far below the ignition temperature the elements must stay, K: both temperatures are known to some tens of kelvin.
MARGIN_K = 50.0
_RULE = "an ignition source by EN 1539, from memory"


def ignition_finding(sizing: Sizing, summed: VapourSum) -> Finding:
    """Whether the elements, at full power in the hottest chamber of that schedule, get above the vapour's auto-ignition
    temperature."""
    heater = sizing.steady.elements
    hottest = full_power_c(sizing.oven, sizing.element_load_w_m2, summed.hottest_c, heater.diameter_m)
    guess = " (their surface is guessed)" if "surface" in heater.guessed else ""
    glow = f"at full power they get to about {hottest:.0f} °C{guess}"
    if summed.ignition_c is None:
        return Finding(
            "elements", Mark.ASKED, f"{glow}: at what temperature does this vapour ignite? (vapour: ignition)"
        )
    ignites = f"this vapour ignites by itself from {summed.ignition_c:.0f} °C"
    if hottest < summed.ignition_c - MARGIN_K:
        return Finding("elements", Mark.FINE, f"{glow}; {ignites}", _RULE)
    return Finding(
        "elements",
        Mark.TIGHT,
        f"{glow}, and {ignites}: all rests on the air; put them out of reach of drips and powder, in the stream of "
        "fresh air, no open glowing wire, or take more element surface",
        _RULE,
    )
