"""The vapour sum: whether the described and proved ventilation keeps the vapour of a load below a quarter of its lower
explosive limit. It is a calculation and measures nothing; users must also follow their local code."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..errors import KilnctlError
from ..terms import Finding, Mark
from ..thermal import vapour as physics

if TYPE_CHECKING:
    from ..settings.construction import Vent
    from ..settings.flammable import Vapour
    from ..settings.oven import Oven
    from ..settings.schedule import Schedule

#: Changes of the chamber's air before there is heat (NFPA 86, from memory): well mixed, they leave 1.8 % of the earlier
#: vapour. No purge is shorter than this, s.
PURGE_CHANGES, SHORTEST_PURGE_S = 4.0, 30.0  # ±30 %: none
#: Time in which most of the vapour is given off if the file does not say, s: thin films on parts of a few millimetres
#: in a hot oven (from memory).
POWDER_OVER_S, SOLVENT_OVER_S = 600.0, 300.0  # ±30 %: none
#: If more than this share of the proved flow is needed, the margin is small: powder masses are known to a fifth at
#: best.
TIGHT_SHARE = 0.8  # ±30 %: none
_RULE = "EN 1539 and NFPA 86, from memory"


@dataclass(frozen=True)
class VapourSum:
    """given_off_kg: mass of vapour; share: highest concentration over the lower explosive limit at hottest_c;
    needed_m3_per_s: least flow for a quarter of it; flow_m3_per_s: what is proved; over_s: time in which it is given
    off; ignition_c: lowest auto-ignition temperature of what is in it, °C (None: the data sheet does not
    say); cautions: what to watch for with that load."""

    given_off_kg: float
    hottest_c: float
    over_s: float
    share: float
    needed_m3_per_s: float
    flow_m3_per_s: float
    ignition_c: float | None
    words: str
    findings: tuple[Finding, ...]
    cautions: tuple[str, ...]


def ventilation_of(oven: "Oven", schedule: "Schedule") -> "Vent":
    """The ventilation that this load needs. Raises KilnctlError if it is missing or not proved."""
    vent = oven.vent
    if vent is None or not vent.proved or vent.flow_m3_per_s <= 0.0:
        raise KilnctlError(
            f"{_named(schedule)}: the load gives off flammable vapour, and this oven has no proved "
            "ventilation (vent: {flow: …, proved: yes}); without it such a load must not be heated"
        )
    if vent.proof == "fan contact":
        raise KilnctlError(
            f"{_named(schedule)}: the load gives off flammable vapour, and only a contact of the fan's motor tells of "
            "the ventilation: it does not see a shut damper or a torn duct; fit a flow switch or a differential "
            "pressure switch (vent: proof); without it such a load must not be heated"
        )
    return vent


def purge_s(oven: "Oven", vent: "Vent") -> float:
    """How long the proved flow takes for PURGE_CHANGES of the chamber's air, s."""
    c = oven.chamber
    return max(SHORTEST_PURGE_S, PURGE_CHANGES * c.width_m * c.depth_m * c.height_m / vent.proved_m3_per_s)


def vapour_sum(oven: "Oven", schedule: "Schedule", hottest_c: float) -> VapourSum:
    """The sum for a schedule that is marked `flammable vapour`, with the chamber at `hottest_c` at most. Raises
    KilnctlError where the load must not be heated: no proved ventilation, load not described, chlorinated solvent, too
    hot for the sum, or more air needed than is proved."""
    vent, load = ventilation_of(oven, schedule), schedule.vapour
    if load is None:
        raise KilnctlError(
            f"{_named(schedule)}: the load gives off flammable vapour, and the file does not say how much: add "
            "'vapour: {powder: 60 g, volatiles: 4 %}' with the most powder on all parts together and the share from "
            "its data sheet, or 'vapour: {solvent: xylene, solvent mass: 2 g}'; without it such a load must not be "
            "heated"
        )
    if load.solvent == physics.CHLORINATED:
        raise KilnctlError(
            f"{_named(schedule)}: parts with chlorinated solvent on them must not be heated: hot metal and elements "
            "turn its vapour into phosgene and hydrogen chloride, and no ventilation sum helps; let it dry off outside"
        )
    if hottest_c > physics.HOTTEST_C:
        raise KilnctlError(
            f"{_named(schedule)}: the chamber may get to {hottest_c:.0f} °C, and flammable vapour is reckoned here up "
            f"to {physics.HOTTEST_C:.0f} °C: above, it catches fire by itself, and the oven needs another design; give "
            "the schedule a 'highest'"
        )
    summed = _sum(oven, vent, schedule, load, hottest_c)
    if summed.needed_m3_per_s > summed.flow_m3_per_s:
        raise KilnctlError(f"{_named(schedule)}: too little air: {summed.words}; less load, or more air that is proved")
    return summed


def _named(schedule: "Schedule") -> str:
    return schedule.file or schedule.name


def _sum(oven: "Oven", vent: "Vent", schedule: "Schedule", load: "Vapour", hottest_c: float) -> VapourSum:
    parts, said = _given_off(load)
    over_s = load.over_s or (SOLVENT_OVER_S if load.solvent_kg is not None else POWDER_OVER_S)
    c = oven.chamber
    volume_m3 = c.width_m * c.depth_m * c.height_m
    # Vapours together by Le Chatelier's rule: each counts by its mass over its own limit.
    reference = min(limit for _, limit in parts)
    as_one_kg = sum(mass * reference / limit for mass, limit in parts)
    limit = reference * physics.limit_factor(hottest_c)
    flow = vent.proved_m3_per_s
    share = physics.highest_kg_per_m3(as_one_kg, over_s, flow, volume_m3, hottest_c) / limit
    needed = physics.needed_m3_per_s(as_one_kg, over_s, volume_m3, hottest_c, physics.ALLOWED_SHARE * limit)
    given_off = sum(mass for mass, _ in parts)
    words = (
        f"{said} give off {1000.0 * given_off:.3g} g within {over_s / 60.0:.3g} min; in {3600.0 * flow:.3g} m³/h of "
        f"proved air, with the chamber at {hottest_c:.0f} °C at most, that comes to {100.0 * share:.0f} % of the lower "
        f"explosive limit; {100.0 * physics.ALLOWED_SHARE:.0f} % is allowed, which takes {3600.0 * needed:.3g} m³/h"
    )
    tight = needed > TIGHT_SHARE * flow
    findings = (
        Finding("air against vapour", Mark.TIGHT if tight else Mark.FINE, words, _RULE),
        *_described(oven, vent, load),
        *_wet(oven, schedule),
    )
    return VapourSum(
        given_off, hottest_c, over_s, share, needed, flow, _ignition_c(load), words, findings, cautions_of(load)
    )


def _ignition_c(load: "Vapour") -> float | None:
    """Lowest auto-ignition temperature of the vapours, °C; None if no data sheet says."""
    if load.ignition_c is not None or load.given_off_kg is not None:
        return load.ignition_c
    found = [physics.POWDER_IGNITION_C] if load.powder_kg is not None else []
    found += [physics.SOLVENTS[load.solvent].ignition_c] if load.solvent is not None else []
    return min(found)


def _given_off(load: "Vapour") -> tuple[list[tuple[float, float]], str]:
    """(mass in kg, lower explosive limit at 20 °C in kg/m³) of each vapour, and what it comes from."""
    if load.given_off_kg is not None and load.lower_limit_kg_per_m3 is not None:
        return [(load.given_off_kg, load.lower_limit_kg_per_m3)], "the load, by its data sheet, may"
    parts, said = [], []
    if load.powder_kg is not None:
        share = physics.POWDER_SHARE if load.volatiles is None else load.volatiles
        parts.append((load.powder_kg * share, physics.SOLVENTS[physics.POWDER_AS].lower_limit_kg_per_m3))
        guess = " (its data sheet is not known: the worst is taken)" if load.volatiles is None else ""
        said.append(f"{1000.0 * load.powder_kg:.3g} g of powder with {100.0 * share:.3g} % volatiles{guess}")
    if load.solvent is not None and load.solvent_kg is not None:
        parts.append((load.solvent_kg, physics.SOLVENTS[load.solvent].lower_limit_kg_per_m3))
        said.append(f"{1000.0 * load.solvent_kg:.3g} g of {load.solvent}")
    return parts, " and ".join(said)


def _described(oven: "Oven", vent: "Vent", load: "Vapour") -> list[Finding]:
    """What the sum assumes and cannot show."""
    found = []
    if vent.proof is None:
        found.append(
            Finding("proof of the air", Mark.ASKED, "by a flow switch or a differential pressure switch? (vent: proof)")
        )
    if vent.switch_opens_m3_per_s is None:
        found.append(
            Finding(
                "switch of the air",
                Mark.ASKED,
                "at what flow does it open? (vent: switch opens) Until that is told the sum trusts the whole flow; set "
                "it to open at 80 % of the flow at least",
            )
        )
    if oven.door.catch is None:
        found.append(
            Finding("door", Mark.ASKED, "does its catch give way to a push from inside, or hold? (door: catch)")
        )
    elif oven.door.catch == "holds":
        found.append(
            Finding(
                "door",
                Mark.WRONG,
                "its catch holds against a burst of pressure: fit one that gives way, and let nobody stand before it",
                _RULE,
            )
        )
    if oven.fan is None:
        found.append(
            Finding(
                "mixing", Mark.TIGHT, "the sum is for well mixed air, and without a circulation fan vapour may gather"
            )
        )
    elif oven.fan.watched_by is None:
        found.append(
            Finding(
                "mixing",
                Mark.TIGHT,
                "the sum is for well mixed air, and nothing that is described watches the circulation fan: with vapour "
                "it belongs into the interlock, an airflow or rotation switch in the coil circuit (fan: watched by)",
                "NFPA 86, from memory",
            )
        )
    if load.metallic:
        found.append(
            Finding(
                "metal flakes",
                Mark.TIGHT,
                "aluminium dust explodes far more violently than plain powder, and water or foam on it feeds a fire; "
                "keep a class D extinguisher, earth all of it, let no dust gather",
                "NFPA 484, from memory",
            )
        )
    return found


def _wet(oven: "Oven", schedule: "Schedule") -> list[Finding]:
    body = schedule.load if schedule.load is not None else oven.usual_load
    if body is None or body.moisture_kg <= 0.0:
        return []
    words = (
        "its steam takes the air's place, and powder or paint over water spits: dry the parts before they are coated"
    )
    return [Finding("wet load", Mark.TIGHT, words, "common practice")]


def cautions_of(load: "Vapour") -> tuple[str, ...]:
    """What to watch for with that load, for people."""
    said = []
    if load.powder_kg is not None:
        said.append(
            "loose powder in air is an explosive dust (from some 20 g/m³): never spray near or into a warm oven, load "
            "the parts gently, and leave the circulation off until the powder has gelled; keep powder off the elements"
        )
    if load.solvent_kg is not None:
        said.append(
            "no dripping, pooled or soaked parts: let them drain and dry outside until no more than the mass in the "
            "file is left; weigh one part wet and dry to know it"
        )
    said.append("this sum measures nothing and replaces neither the local code nor a qualified person")
    return tuple(said)
