"""Sentences with what a maker should know besides the figures of a sizing."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from ..body import full_power_c
from ..thermal import elements as electric
from ..thermal.surfaces import extrapolated
from ..thermal.walls import solve_wall

if TYPE_CHECKING:
    from .ranges import Range
    from .sizing import Sizing


def notes_of(sizing: Sizing) -> tuple[str, ...]:
    """All notes: elements, the outside, what limits the temperature, what lies beyond the data."""
    chamber_c = sizing.reached_c
    notes = [
        *(() if sizing.wire else _element_notes(sizing, chamber_c)),
        touch_note(sizing.shell_range_c(chamber_c), chamber_c, sizing.oven.site.ambient_c),
        *_bare_note(sizing, chamber_c),
        *_corner_note(sizing),
        *_end_notes(sizing),
    ]
    for report in sizing.layers(chamber_c):
        notes += [f"{report.face}: {flag}" for flag in report.flags]
    return tuple(dict.fromkeys(notes + _reach_notes(sizing, chamber_c)))


def touch_note(shell: Range, chamber_c: float, room_c: float) -> str:
    """What a shell temperature means for a hand (ISO 13732-1, burn thresholds, from memory: bare metal 65 °C for a
    second and 58 °C for four; anything 51 °C for a minute, 48 °C for ten, 43 °C for hours). The warmest of its range
    decides."""
    where = (
        f"with the chamber at {chamber_c:.0f} °C in a room of {room_c:.0f} °C the middle of the hottest outside face "
        f"is at about {shell.value:.0f} °C ({shell.low:.0f} °C to {shell.high:.0f} °C)"
    )
    harm = next(words for below_c, words in _HARM if shell.high < below_c)
    return f"{where}: {harm}. Gaps, collars and terminals are hotter; keep children away"


_HARM = (
    (43.0, "it may be touched there"),
    (51.0, "warm; it burns a hand that stays: at 48 °C within ten minutes, at 51 °C within one"),
    (58.0, "it burns within a minute; guard it or warn"),
    (65.0, "bare metal burns within four seconds; guard it"),
    (math.inf, "it burns at a touch (bare metal within a second); guard it"),
)


#: Skin → (its emissivity without paint, its words): bare metal radiates little and gets hotter (from memory).
_BARE = {
    "steel": (0.25, "galvanised steel"),
    "stainless steel": (0.3, "bare stainless steel"),
    "aluminium": (0.1, "bare aluminium"),
    "copper": (0.1, "bare copper"),
    "brass": (0.1, "bare brass"),
}
#: More than this, K, is worth a word.
_BARE_K = 3.0
#: How often better a hot face conducts than what is behind it, so that it must not run through to the outside.
_CARRIES = 3.0


def _bare_note(sizing: Sizing, chamber_c: float) -> list[str]:
    """How hot the hottest outside of assumed emissivity would be if its metal were not painted."""
    oven, room, found = sizing.oven, sizing.oven.site.ambient_c, []
    faces = sizing.at(chamber_c).walls
    painted = sizing.steady.middles_c(chamber_c)
    for wall in sizing.walls:
        key = wall.face.name if getattr(oven.walls, wall.face.name, None) is not None else "sides"
        if wall.layers[-1].material.name not in _BARE or f"walls.{key}.outer emissivity" in oven.places:
            continue
        bare, words = _BARE[wall.layers[-1].material.name]
        hot_c, g = max(faces[wall.face.name].hot_face_c, room + 1e-6), wall.geometry
        if extrapolated(painted[wall.face.name], room, g.outer_length_m, wall.face.orientation):
            continue
        endless = solve_wall(wall.layers, hot_c, room, g.outer_length_m, wall.face.orientation, bare)
        at_c = room + g.middle_share * (endless.cold_face_c - room)
        if at_c > painted[wall.face.name] + _BARE_K:
            found.append((at_c, wall.face.name, f"as {words} (emissivity {bare:g}) its middle would be at about"))
    if not found:
        return []
    at_c, name, words = max(found)
    return [
        f"{name}: taken as painted; {words} {at_c:.0f} °C. Say which it is (walls: outer emissivity)",
    ]


def _corner_note(sizing: Sizing) -> list[str]:
    """A hot face that conducts well loses heat wherever it reaches the outside."""
    for wall in sizing.walls:
        inner = [x.material for x in wall.layers if x.material.kind != "metal"]
        mean_c = 0.5 * sizing.reached_c
        if len(inner) > 1 and inner[0].conductivity(mean_c) > _CARRIES * min(m.conductivity(mean_c) for m in inner):
            words = (
                "conducts far better than what is behind it: at edges, lid and door it must end behind the insulation"
            )
            loses = (
                "where it runs through to the outside, the oven loses up to twice as much in all, and the skin burns"
            )
            return [f"{inner[0].name} {words}, as it is reckoned here; {loses} there"]
    return []


def _element_notes(sizing: Sizing, chamber_c: float) -> list[str]:
    """Notes on the elements' load at that temperature; for a guessed surface, whether it has room."""
    oven, heater, load = sizing.oven, sizing.steady.elements, sizing.element_load_w_m2
    e = oven.elements
    if "surface" in heater.guessed:
        if not heater.crowded:
            return []
        return [
            (
                f"elements of {e.power_w / 1000:.2f} kW hardly find room in this chamber: "
                f"even on {heater.surface_m2:.2g} m² they would carry {load / 1e4:.1f} W/cm²; "
                "describe them (elements: surface), or take less power"
            )
        ]
    notes = []
    recommended = electric.recommended_load_w_m2(e.alloy, chamber_c)
    if load > 1.05 * recommended:
        notes.append(
            f"the elements carry {load / 1e4:.1f} W/cm²; about {recommended / 1e4:.1f} W/cm² is advised at "
            f"{chamber_c:.0f} °C for a long life (makers' tables, from memory)"
        )
    hottest = full_power_c(oven, load, chamber_c, heater.diameter_m)
    if hottest > heater.limit_c:
        notes.append(
            f"at full power in a chamber of {chamber_c:.0f} °C the elements would glow at about {hottest:.0f} °C; "
            f"their limit is {heater.limit_c:.0f} °C"
        )
    return notes


def _end_notes(sizing: Sizing) -> list[str]:
    """What ended the search for the highest temperature."""
    notes = []
    if sizing.max_chamber_c < sizing.top_c:
        notes.append(
            f"full power holds about {sizing.max_chamber_c:.0f} °C; the description allows schedules up to "
            f"{sizing.top_c:.0f} °C"
        )
    if sizing.limited_c is not None:
        notes.append(
            f"the highest temperature was looked for up to {sizing.limited_c:.0f} °C only: beyond, the elements would "
            "be hotter than the formulas go, and than any element bears"
        )
    return notes


def _reach_notes(sizing: Sizing, chamber_c: float) -> list[str]:
    """Where the description is beyond what the formulas were made for."""
    here, oven, notes = sizing.at(chamber_c), sizing.oven, []
    tall = [
        w.face.name
        for w in sizing.steady.walls
        if extrapolated(here.shells_c[w.face.name], oven.site.ambient_c, w.geometry.outer_length_m, w.face.orientation)
    ]
    if tall:
        notes.append(
            f"{' and '.join(tall)}: so large that the film of the room's air outside is extrapolated; the outside "
            "temperature may be off by some tens of per cent of its rise"
        )
    for body in (oven.shelf, oven.usual_load):
        if body is not None and body.area_m2 > oven.chamber.inner_m2:
            notes.append(
                f"'{body.name}' has more surface ({body.area_m2:.2g} m²) than the inside of the chamber "
                f"({oven.chamber.inner_m2:.2g} m²): radiation reaches only its outline, so it warms more slowly than "
                "is calculated here"
            )
    return notes
