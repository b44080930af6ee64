"""Verdicts besides the wiring: the limiter's setting, who watches the circulation fan, and lamps on the same line."""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING

from ..body import full_power_c
from ..body.bursts import pattern_for
from ..firing import flicker
from ..settings.oven import Oven
from ..terms import Finding, Mark
from ..thermal.wiring_rules import NORTH_AMERICAN
from .circuit import circuit_of

if TYPE_CHECKING:
    from .sizing import Sizing

#: By how much a limiter may open late, as a share of its setting in °C, and at least, K: a thermocouple of class 2 is
#: off by 0.75 % (IEC 60584-1), and the device by as much (common practice).
LATE_SHARE, LATE_K = 0.015, 10.0
#: Largest current, A, of IEC 61000-3-3; above it stands IEC 61000-3-11.
SMALL_A = 16.0
_LIMITER_RULE = "limits of the materials and of the elements' alloy; IEC 60584-1 for its lateness; from memory"


def protection_findings(sizing: Sizing) -> tuple[Finding, ...]:
    """Limiter, circulation fan (where there is one) and flicker (where it is judged)."""
    found = (limiter_finding(sizing), fan_finding(sizing.oven), flicker_finding(sizing.oven))
    return tuple(f for f in found if f is not None)


# ---- limiter ---------------------------------------------------------------------------------------------------------


def limiter_finding(sizing: Sizing) -> Finding:
    """The limiter's setting against what lining and elements bear while a relay that stays on heats with full power."""
    at_c = sizing.oven.limits.limiter_c
    if at_c is None:
        return Finding("limiter", Mark.ASKED, "no independent limiter is described (limits: limiter); build one")
    found = [_lining(sizing, at_c), _elements(sizing, at_c)]
    mark = next(m for m in (Mark.WRONG, Mark.TIGHT, Mark.FINE) if m in [f[0] for f in found])
    words = "; ".join(said for m, said in found if m is mark)
    return Finding("limiter", mark, f"it opens at {at_c:.0f} °C; {words}", _LIMITER_RULE)


def _lining(sizing: Sizing, at_c: float) -> tuple[Mark, str]:
    bears_c, reach_c = sizing.lining_limit_c, sizing.max_chamber_range_c.high
    late_c = at_c + max(LATE_K, LATE_SHARE * at_c)
    if bears_c >= late_c or bears_c >= sizing.steady.valid_c:
        return Mark.FINE, f"the lining bears a chamber of {bears_c:.0f} °C"
    if reach_c <= bears_c:
        return Mark.FINE, f"the lining bears {bears_c:.0f} °C, and full power reaches no more than {reach_c:.0f} °C"
    hot_c = min(late_c, sizing.steady.valid_c)
    which = ", ".join(dict.fromkeys(f"{r.face}: {r.material}" for r in sizing.layers(hot_c) if r.over is not None))
    if bears_c < at_c:
        return Mark.WRONG, (
            f"the lining ({which}) bears a chamber of {bears_c:.0f} °C only: set it lower, with highest and trip, or "
            "take a better lining"
        )
    return Mark.TIGHT, (
        f"the lining ({which}) bears a chamber of {bears_c:.0f} °C, and a limiter with its thermocouple may open at "
        f"{late_c:.0f} °C"
    )


def _elements(sizing: Sizing, at_c: float) -> tuple[Mark, str]:
    heater = sizing.steady.elements
    if heater.limit_c < at_c:
        return Mark.WRONG, f"the elements bear {heater.limit_c:.0f} °C only: set it lower, with highest and trip"
    chamber_c = min(at_c, sizing.max_chamber_range_c.high)
    glow_c = full_power_c(sizing.oven, sizing.element_load_w_m2, chamber_c, heater.diameter_m)
    guess = " (their surface is guessed)" if "surface" in heater.guessed else ""
    glow = f"with a relay that stays on the elements get to about {glow_c:.0f} °C before it opens{guess}"
    if glow_c > heater.melts_c and not guess:
        return Mark.WRONG, f"{glow}, and they melt at {heater.melts_c:.0f} °C: take more element surface or less power"
    if glow_c > heater.limit_c:
        return Mark.TIGHT, (
            f"{glow}; they bear {heater.limit_c:.0f} °C: the limiter saves the lining, not them; look at them after "
            "it has opened, or take more element surface"
        )
    return Mark.FINE, f"{glow}; they bear {heater.limit_c:.0f} °C"


# ---- circulation fan -------------------------------------------------------------------------------------------------


def fan_finding(oven: Oven) -> Finding | None:
    """Who watches the circulation fan; None where there is none."""
    if oven.fan is None:
        return None
    if oven.fan.watched_by is not None:
        said = f"its {oven.fan.watched_by} stands in the coil circuit; try it with the limiter (SAFETY.md)"
        return Finding("circulation fan", Mark.FINE, said, "common practice")
    hurt = "sheathed elements" if oven.elements.alloy == "sheathed" else "elements"
    said = (
        f"what watches it? kilnctl does not, and when it stands the {hurt} lose their air and get hotter: an airflow "
        "or rotation switch in the coil circuit (fan: watched by)"
    )
    return Finding("circulation fan", Mark.ASKED, said)


# ---- lamps on the same line ------------------------------------------------------------------------------------------


def flicker_finding(oven: Oven) -> Finding | None:
    """Whether lamps on the same line bear the switching, else what the supply must be; None where it is not judged.

    The change of the voltage, and Pst with it, is nearly proportional to the impedance while it is a few per cent.
    """
    supply = flicker.supply_of(oven)
    if supply is None:
        return None
    c = circuit_of(oven)
    duty, pst = flicker.worst(pattern_for(oven), oven.elements.rated_w, supply)
    standard = "IEC 61000-3-3" if c.line_a <= SMALL_A else "IEC 61000-3-11"
    rule = f"{standard}, from memory"
    behind = f"Pst {pst:.2f} at the worst duty ({100 * duty:.0f} %) behind {_ohm(supply.impedance_ohm)}"
    if supply.impedance_ohm == flicker.REFERENCE_OHM:
        behind += ", the reference impedance of IEC 60725"
        if c.rules in NORTH_AMERICAN:
            behind += " (Europe's; a 120/240 V service has another, mostly lower)"
    lamps = "; 60 Hz is taken with lamps of 120 V" if supply.hz == 60 else ""
    allowed = f"{flicker.PLT_LIMIT:g} over two hours is allowed{lamps}"
    if pst <= flicker.PLT_LIMIT:
        return Finding("flicker", Mark.FINE, f"{behind}; {allowed}", rule)
    needed = supply.impedance_ohm * (0.95 * flicker.PLT_LIMIT / pst)
    return Finding(
        "flicker",
        Mark.TIGHT,
        f"{behind}: {flicker.in_words(pst)}; {allowed}. With this pattern it takes a supply of {_ohm(needed)} or less "
        "where the lights branch off: have it measured and write it down (supply: resistance, reactance); if it is "
        "more, ask the network operator before you connect it (conditional connection, IEC 61000-3-11). Never half "
        "waves instead: direct current in the mains (IEC 61000-3-2)",
        rule,
    )


def quieter(oven: Oven) -> float | None:
    """Pst at the worst duty with the pattern "quiet lights", where that is less than with the oven's own by a tenth."""
    supply, watts = flicker.supply_of(oven), oven.elements.rated_w
    if supply is None:
        return None
    quiet = dataclasses.replace(
        oven, switching=dataclasses.replace(oven.switching, pattern="quiet lights", minimum_on_s=None)
    )
    found = flicker.worst(pattern_for(quiet), watts, supply)[1]
    return found if found < 0.9 * flicker.worst(pattern_for(oven), watts, supply)[1] else None


def _ohm(z: complex) -> str:
    return f"{z.real:.2g} + j{z.imag:.2g} ohm"
