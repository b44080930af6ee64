"""Verdicts on what feeds the oven: breaker, cable, plug, earth, residual-current device."""

from collections.abc import Iterator

from ..terms import Finding, Mark
from ..thermal import wiring_rules as rules
from .circuit import TRANSFORMER_BELOW_V, Circuit

#: Default air temperature along a cable, °C: that of the tables.
CABLE_AIR_C = 30.0
#: Resistivity of warm copper (40 °C), ohm·m; usual and excessive voltage drop, shares.
COPPER_OHM_M, USUAL_DROP, MOST_DROP = 1.9e-8, 0.03, 0.05


def cabling_findings(c: Circuit) -> Iterator[Finding]:
    """All findings, in the order of the current path."""
    yield from _plug(c)
    yield from _breaker(c)
    yield from _cable(c)
    yield from _drop(c)
    yield _earth(c)
    yield _residual(c)


def voltage_drop(c: Circuit) -> float | None:
    """Voltage drop in the cable, as a share; None if the cable is not described."""
    s = c.oven.supply
    if s.cable_area_m2 is None or s.cable_length_m is None:
        return None
    ways = 3.0**0.5 if c.three_phase else 2.0
    return ways * COPPER_OHM_M * s.cable_length_m / s.cable_area_m2 * c.line_a / s.voltage_v


def volts_share(c: Circuit) -> float:
    """Voltage at the elements at full power over the supply's, a share; 1 if the cable is not described. Elements of R
    behind a cable of r are a voltage divider (Ohm's and Kirchhoff's laws): of R + r they get R, and r by R is the drop
    at the rated current, which `voltage_drop` reckons. Three balanced phases are three of them. Power goes by its
    square."""
    return 1.0 / (1.0 + (voltage_drop(c) or 0.0))


def carries_a(c: Circuit, area_m2: float, laid: str = "") -> float:
    """Current-carrying capacity of a cable of that cross-section under this cable's conditions (or laid in that way),
    A. Raises ValueError beyond the tables."""
    s = c.oven.supply
    laid, air = laid or s.cable_laid or rules.WORST_LAID, CABLE_AIR_C if s.cable_at_c is None else s.cable_at_c
    base = rules.capacity_a(c.rules, area_m2, laid, c.loaded, c.rated_c)
    worked = base * rules.surroundings_factor(c.rules, air, c.rated_c)
    worked *= rules.together_factor(c.rules, s.circuits_together or 1, c.loaded)
    terminals = rules.terminals_a(c.rules, area_m2)
    return worked if terminals is None else min(worked, terminals)


def fitting(c: Circuit) -> str:
    """The smallest breaker and cable that would be fine, as a sentence."""
    wanted = c.continuous * c.most_a
    for breaker in (a for a in rules.breakers_a(c.rules) if a >= wanted):
        for area in rules.sizes_m2(c.rules):
            carried = carries_a(c, area)
            if carried >= wanted and breaker <= min(carried, rules.largest_breaker_a(c.rules, area, carried)):
                return f"{breaker:.0f} A with {rules.size_words(c.rules, area)} would be the smallest that fit"
        break
    return "no cable of the table fits: ask an electrician"


def _plug(c: Circuit) -> Iterator[Finding]:
    s = c.oven.supply
    if s.plug is None:
        yield Finding("plug", Mark.ASKED, "fixed, or which plug? (supply: plug)")
        return
    if s.plug == rules.FIXED:
        yield Finding("plug", Mark.FINE, "a fixed connection; it needs a switch-disconnector that can be locked")
        return
    plug, words = rules.PLUGS[s.plug], f"{c.line_a:.1f} A for hours in {s.plug}"
    low, high = plug.volts
    if not low <= s.voltage_v <= high or (plug.phases == 3) != c.three_phase:
        phases = "three phases" if plug.phases == 3 else "one phase"
        yield Finding("plug", Mark.WRONG, f"{s.plug} is for {low:.0f} to {high:.0f} V, {phases}: not for this supply")
        return
    breaker = s.breaker_a
    if breaker is not None and breaker > plug.rated_a and not plug.fused:
        # Several sockets for 15 A may share a circuit of 20 A there.
        shared = c.north_american and (plug.rated_a, breaker) == (15.0, 20.0)
        yield Finding(
            "plug's breaker",
            Mark.TIGHT if shared else Mark.WRONG,
            f"{s.plug} bears {plug.rated_a:.0f} A, and a breaker of {breaker:g} A stands before it: the plug burns "
            "before the breaker opens" + ("; allowed only where several sockets share the circuit" if shared else ""),
            _plug_rule(c),
        )
    if c.line_a > plug.hours_a:
        yield Finding(
            "plug",
            Mark.WRONG,
            f"{words}: it bears {plug.hours_a:.0f} A so long, more overheats its contacts and starts fires; use a "
            "fixed connection or a larger industrial plug",
            _plug_rule(c),
        )
    else:
        mark = Mark.TIGHT if c.most_a > plug.hours_a else Mark.FINE
        yield Finding("plug", mark, f"{words}: it bears {plug.hours_a:.0f} A so long", _plug_rule(c))


def _plug_rule(c: Circuit) -> str:
    if c.north_american:
        return "NFPA 70, 210.23 and table 210.21(B)(2), from memory"
    return "rating of IEC 60309-1; 10 A for domestic ones, common practice"


def _breaker(c: Circuit) -> Iterator[Finding]:
    breaker, rule = c.oven.supply.breaker_a, c.cite("overload")
    wanted = c.continuous * c.line_a
    if breaker is None:
        yield Finding("breaker", Mark.ASKED, f"what is its rating? (supply: breaker) {fitting(c)}")
    else:
        of_hours = f" (times {c.continuous:g} for hours: {wanted:.1f} A)" if c.continuous > 1.0 else ""
        words = f"{c.line_a:.1f} A{of_hours} on a {breaker:g} A breaker"
        if c.line_a > breaker:
            yield Finding("breaker", Mark.WRONG, f"{words}: it will open; {fitting(c)}", rule)
        elif wanted > breaker:
            yield Finding("breaker", Mark.WRONG, f"{words}: too small; {fitting(c)}", rule)
        elif c.continuous * c.most_a > breaker:
            yield Finding("breaker", Mark.TIGHT, f"{words}: not at the supply's upper tolerance; {fitting(c)}", rule)
        else:
            yield Finding("breaker", Mark.FINE, words, rule)
    poles = c.oven.supply.breaker_poles
    if c.connection == "line and neutral":
        return
    if poles is None:
        yield Finding("breaker's poles", Mark.ASKED, f"does it open {c.poles} lines together? (supply: breaker poles)")
    else:
        mark = Mark.FINE if poles >= c.poles else Mark.WRONG
        yield Finding("breaker's poles", mark, f"{poles}, and {c.poles} lines have to open together", c.cite("poles"))


#: What is asked of a cable by its key, and what is taken instead.
_SURROUNDINGS = {
    "cable laid": ("how is it laid", "as the worst way of laying"),
    "cable at": ("how warm is it there", f"in air of {CABLE_AIR_C:.0f} °C"),
    "circuits together": ("what runs with it", "alone"),
}


def _cable(c: Circuit) -> Iterator[Finding]:
    s, rule = c.oven.supply, c.cite("capacity")
    if s.cable_area_m2 is None:
        yield Finding("cable", Mark.ASKED, f"what is its cross-section? (supply: cable area) {fitting(c)}")
        return
    unknown = [
        key
        for key, value in (
            ("cable laid", "there" if c.north_american else s.cable_laid),
            ("cable at", s.cable_at_c),
            ("circuits together", s.circuits_together),
        )
        if value is None
    ]
    if unknown:
        asked, taken = zip(*(_SURROUNDINGS[key] for key in unknown), strict=True)
        yield Finding(
            "cable's surroundings",
            Mark.ASKED,
            f"{', '.join(asked)}? (supply: {', '.join(unknown)}) Reckoned {', '.join(taken)}",
        )
    laid = s.cable_laid or rules.WORST_LAID
    found = _cable_verdict(c, s.cable_area_m2, laid, rule)
    if found.mark is Mark.WRONG and s.cable_laid is None and not c.north_american:
        # Not "wrong" if only the worst assumption makes it so.
        better = _cable_verdict(c, s.cable_area_m2, rules.BEST_LAID, rule)
        if better.mark is not Mark.WRONG:
            words = f"if laid in the worst way: {found.words}; {rules.BEST_LAID}: {better.words} (supply: cable laid)"
            found = Finding("cable", Mark.TIGHT, words, rule)
    yield found


def _cable_verdict(c: Circuit, area_m2: float, laid: str, rule: str) -> Finding:
    breaker = c.oven.supply.breaker_a
    try:
        name = rules.size_words(c.rules, area_m2)
        carried = carries_a(c, area_m2, laid)
        full = rules.capacity_a(c.rules, area_m2, laid, c.loaded, c.rated_c)
        largest = rules.largest_breaker_a(c.rules, area_m2, carried)
    except ValueError as error:
        thin = area_m2 < 2.2e-6
        mark, asks = (Mark.WRONG, fitting(c)) if thin else (Mark.ASKED, "ask an electrician")
        return Finding("cable", mark, f"{area_m2 * 1e6:.3g} mm²: {error}; {asks}", rule)
    words = f"{name} carries {carried:.3g} A here"
    terminals = rules.terminals_a(c.rules, area_m2)
    for_hours = full if terminals is None else min(full, terminals)
    wrong = []
    if breaker is not None and breaker > largest * (1.0 + 1e-9):
        wrong.append(
            f"its breaker of {breaker:g} A is too large for it, and the cable burns before the breaker opens: "
            f"{largest:.3g} A at most"
        )
    if c.line_a > carried:
        wrong.append(f"the oven draws {c.line_a:.1f} A")
    elif c.continuous * c.line_a > for_hours:
        wrong.append(f"for hours {c.continuous * c.line_a:.1f} A have to fit")
    if wrong:
        return Finding("cable", Mark.WRONG, f"{words}; {'; '.join(wrong)}; {fitting(c)}", rule)
    if breaker is None:
        return Finding("cable", Mark.FINE, f"{words}; its breaker may have {largest:.3g} A at most", rule)
    if breaker > carried * (1.0 + 1e-9):
        return Finding("cable", Mark.TIGHT, f"{words}, and the breaker is the next size above: {breaker:g} A", rule)
    return Finding("cable", Mark.FINE, f"{words}, behind a {breaker:g} A breaker", rule)


def _drop(c: Circuit) -> Iterator[Finding]:
    drop = voltage_drop(c)
    if drop is None:
        if c.oven.supply.cable_area_m2 is not None:
            yield Finding("voltage drop", Mark.ASKED, "how long is the cable? (supply: cable length)")
        return
    mark = Mark.FINE if drop <= USUAL_DROP else Mark.TIGHT if drop <= MOST_DROP else Mark.WRONG
    usual = f"{100.0 * USUAL_DROP:.0f} % is usual, {100.0 * MOST_DROP:.0f} % the most"
    yield Finding("voltage drop", mark, f"{100.0 * drop:.1f} % in the cable; {usual}", c.cite("drop"))


def _earth(c: Circuit) -> Finding:
    s = c.oven.supply
    line, breaker = s.cable_area_m2, s.breaker_a
    if s.earth_area_m2 is None:
        sizes = "14 AWG behind 15 A, 12 behind 20 A, 10 behind 60 A" if c.north_american else "As the line up to 16 mm²"
        return Finding(
            "earth",
            Mark.ASKED,
            f"what cross-section has the protective conductor? (supply: earth area) {sizes}; straps of their own to "
            "door and lid, 0.1 ohm at most",
        )
    if line is None or (breaker is None and c.north_american):
        return Finding("earth", Mark.ASKED, "its size follows from cable and breaker: describe them")
    least = rules.earth_m2(c.rules, line, breaker or 0.0)
    mark = Mark.FINE if s.earth_area_m2 >= 0.98 * least else Mark.WRONG
    given, wanted = (_earth_words(c, area) for area in (s.earth_area_m2, least))
    return Finding("earth", mark, f"{given}, and {wanted} is the least", c.cite("earth"))


def _earth_words(c: Circuit, area_m2: float) -> str:
    """A cross-section, also one beyond the gauges that are known here."""
    try:
        return rules.size_words(c.rules, area_m2)
    except ValueError:
        return f"{area_m2 * 1e6:.3g} mm²"


def _residual(c: Circuit) -> Finding:
    given, about, rule = c.oven.supply.residual, "residual-current device", c.cite("leakage")
    if c.oven.supply.voltage_v < TRANSFORMER_BELOW_V:
        return Finding(about, Mark.ASKED, "how the mains side of the transformer is protected")
    if given is None:
        wants = "5 mA for people, or 30 mA for equipment" if c.north_american else "30 mA, type A or better"
        return Finding(about, Mark.ASKED, f"which one stands before the oven? (supply: residual) Usual here: {wants}")
    if given == "none":
        return Finding(about, Mark.WRONG, "nothing opens when the hot lining or a damaged wire leaks", rule)
    if given == "5 mA for people":
        return Finding(
            about,
            Mark.TIGHT if c.north_american else Mark.WRONG,
            "it protects people; hot sheathed elements, filters and the relay's snubber may trip it: that is a case "
            "for an electrician, never for a bridge" + ("" if c.north_american else "; not a device of this country"),
            rule,
        )
    if given in ("100 mA or more", "30 mA for equipment"):
        return Finding(about, Mark.TIGHT if c.north_american else Mark.WRONG, "protects the building, not people", rule)
    if given == "30 mA type AC":
        return Finding(about, Mark.WRONG, "blind to the pulsating leakage behind a half-shorted relay: type A", rule)
    if c.north_american:
        return Finding(about, Mark.TIGHT, f"{given}: not a device of this country; ask whether it is accepted", rule)
    return Finding(about, Mark.FINE, given, rule)
