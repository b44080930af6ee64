"""Verdicts on what switches the elements: contactor, its coil and read-back, relay, its fuse and heat sink."""

from collections.abc import Iterator

from ..terms import Finding, Mark
from .circuit import TRANSFORMER_BELOW_V, Circuit

RELAY_W_PER_A = 1.2  # on-state loss of a solid-state relay (from memory: 1.0 to 1.5 W/A)
#: Hottest heat sink of a relay, °C (common practice), and the default air temperature around it, °C: an electronics box
#: in a warm shop.
RELAY_SINK_C, CABINET_C = 65.0, 45.0
#: Shares of a relay's printed rating that are prudent, and too much: the printed rating assumes a better heat sink.
PRUDENT, TOO_MUCH = 0.5, 0.8
#: Contactors for heating are chosen a quarter larger than the load (common practice).
CONTACTOR_MARGIN = 1.25
#: Leads must stay this far below their insulation's limit, K: a loose screw adds more heat than this.
LEADS_MARGIN_K = 20.0
_AC1 = "AC-1 of IEC 60947-4-1, from memory"
_MEMORY = "from memory"


def switchgear_findings(c: Circuit) -> Iterator[Finding]:
    """All findings on switching."""
    yield _contactor(c)
    yield _poles(c)
    yield _feedback(c)
    yield _coil(c)
    yield _relay(c)
    yield from _fuse(c)
    yield _sink(c)
    yield _terminals(c)


def relay_loss_w(c: Circuit) -> float:
    """Heat of all relays together, W."""
    return RELAY_W_PER_A * c.line_a * (3.0 if c.three_phase else 1.0)


def largest_sink_k_per_w(c: Circuit) -> float:
    """Largest thermal resistance of one heat sink for all relays, K/W; 0 where no sink helps."""
    return max(0.0, (RELAY_SINK_C - cabinet_c(c)) / relay_loss_w(c))


def cabinet_c(c: Circuit) -> float:
    """Air at the heat sink, °C."""
    given = c.oven.switching.cabinet_air_c
    return max(CABINET_C, c.oven.site.ambient_c) if given is None else given


def _contactor(c: Circuit) -> Finding:
    rated, wanted = c.oven.switching.contactor_current_a, CONTACTOR_MARGIN * c.line_a
    if rated is None:
        return Finding(
            "contactor", Mark.ASKED, f"its AC-1 current? (switching: contactor current) {wanted:.0f} A or more", _AC1
        )
    mark = Mark.FINE if rated >= wanted else Mark.TIGHT if rated >= c.line_a else Mark.WRONG
    return Finding("contactor", mark, f"{c.line_a:.1f} A through one for {rated:g} A; {wanted:.0f} A is advised", _AC1)


def _poles(c: Circuit) -> Finding:
    poles, rule = c.oven.switching.contactor_poles, c.cite("poles")
    if poles is None:
        return Finding(
            "contactor's poles", Mark.ASKED, f"how many? (switching: contactor poles) {c.poles} cut all that is live"
        )
    if poles >= c.poles:
        return Finding("contactor's poles", Mark.FINE, f"{poles}: all that is live is cut", rule)
    live = c.connection != "line and neutral" or c.reversible
    why = (
        "the elements stay live through the other line"
        if c.connection != "line and neutral"
        else "this plug may be turned, and the elements then stay live"
        if c.reversible
        else "where line and neutral are swapped the elements stay live"
    )
    return Finding("contactor's poles", Mark.WRONG if live else Mark.TIGHT, f"{poles}, not {c.poles}: {why}", rule)


def _feedback(c: Circuit) -> Finding:
    given, rule = c.oven.switching.feedback, "IEC 60947-4-1 annex F, from memory"
    if given == "ordinary contact":
        return Finding(
            "contactor's read-back",
            Mark.WRONG,
            "an ordinary contact can say 'open' while a main pole is welded, and so can its broken wire: use a mirror "
            "contact between the input and 3.3 V with a pull-down of some 2 kohm (broken then reads closed), or "
            "isolated voltage sensing behind the contactor",
            rule,
        )
    if given is not None:
        return Finding("contactor's read-back", Mark.FINE, given, rule)
    if c.oven.meters.contactor:
        return Finding(
            "contactor's read-back",
            Mark.ASKED,
            "a mirror contact, voltage behind it, or an ordinary contact? (switching: feedback)",
        )
    return Finding(
        "contactor's read-back", Mark.TIGHT, "there is none: a welded contactor shows after minutes only", rule
    )


def _coil(c: Circuit) -> Finding:
    given, rule = c.oven.switching.coil_circuit, c.cite("coil")
    if given is None:
        return Finding(
            "coil circuit",
            Mark.ASKED,
            "24 V, an earthed control transformer, or mains? (switching: coil circuit) Best is 24 V, one side earthed",
        )
    if given != "mains":
        return Finding("coil circuit", Mark.FINE, f"{given}; one side earthed, the coil on that side", rule)
    if c.connection == "line and neutral" and not c.reversible:
        return Finding(
            "coil circuit",
            Mark.TIGHT,
            "at mains voltage it is right only while line and neutral are not swapped; 24 V, one side earthed, is safe",
            rule,
        )
    why = "the plug may be turned" if c.reversible else "both lines are live"
    return Finding(
        "coil circuit",
        Mark.WRONG,
        f"at mains voltage, and {why}: one fault to earth can hold the contactor in past every switch; use 24 V with "
        "one side earthed, or an earthed control transformer",
        rule,
    )


def _relay(c: Circuit) -> Finding:
    rated, each = c.oven.switching.relay_current_a, c.line_a / (1 if c.three_phase else c.oven.switching.relays)
    if rated is None:
        wanted = each / PRUDENT
        return Finding("relay", Mark.ASKED, f"its rating? (switching: relay current) {wanted:.0f} A or more is prudent")
    share = each / rated
    mark = Mark.FINE if share <= PRUDENT else Mark.TIGHT if share <= TOO_MUCH else Mark.WRONG
    return Finding("relay", mark, f"{each:.1f} A of its {rated:g} A; half of the printed rating is prudent", _MEMORY)


def _fuse(c: Circuit) -> Iterator[Finding]:
    s, rule = c.oven.switching, "IEC 60269-4, from memory"
    if s.fuse_i2t_a2s is None or s.relay_i2t_a2s is None:
        yield Finding(
            "relay's fuse",
            Mark.ASKED,
            "its total I²t and the I²t of the relay? (switching: fuse i2t, relay i2t) A breaker or a gG fuse protects "
            "no relay; an ultra-fast one (aR, gR) beside the breaker does",
        )
    else:
        share = s.fuse_i2t_a2s / s.relay_i2t_a2s
        mark = Mark.FINE if share <= 0.9 else Mark.TIGHT if share < 1.0 else Mark.WRONG
        ends = "the relay outlives a short circuit" if share < 1.0 else "the relay dies first, usually shorted"
        words = f"it lets {s.fuse_i2t_a2s:g} A²s through, the relay bears {s.relay_i2t_a2s:g} A²s: {ends}"
        yield Finding("relay's fuse", mark, words, rule)
    if s.fuse_current_a is not None:
        each = c.line_a / (1 if c.three_phase else s.relays)
        mark = Mark.FINE if s.fuse_current_a >= 1.1 * each else Mark.TIGHT if s.fuse_current_a >= each else Mark.WRONG
        yield Finding("relay's fuse rating", mark, f"{each:.1f} A through a fuse for {s.fuse_current_a:g} A", rule)


def _sink(c: Circuit) -> Finding:
    given, air, largest = c.oven.switching.heat_sink_k_per_w, cabinet_c(c), largest_sink_k_per_w(c)
    taken = "" if c.oven.switching.cabinet_air_c is not None else ", which is taken (switching: cabinet air)"
    words = f"{relay_loss_w(c):.0f} W in air of {air:.0f} °C{taken}"
    if largest <= 0.0:
        return Finding("relay's heat sink", Mark.WRONG, f"{words}: no sink keeps below {RELAY_SINK_C:.0f} °C", _MEMORY)
    if given is None:
        return Finding("relay's heat sink", Mark.ASKED, f"{words}: {largest:.2g} K/W or less (switching: heat sink)")
    # Not "wrong" if only the assumed warm box makes it too small.
    allowed = largest if not taken else max(largest, (RELAY_SINK_C - c.oven.site.ambient_c) / relay_loss_w(c))
    mark = Mark.FINE if given <= largest else Mark.TIGHT if given <= allowed else Mark.WRONG
    return Finding("relay's heat sink", mark, f"{given:.2g} K/W for {words}; {largest:.2g} K/W or less", _MEMORY)


def _terminals(c: Circuit) -> Finding:
    e, about = c.oven.elements, "element terminals"
    if e.terminals_at_c is None or e.leads_rated_c is None:
        return Finding(
            about,
            Mark.ASKED,
            "how hot do they get, and what do their leads bear? (elements: terminals at, leads rated) Tails twisted "
            "double, ceramic or brass terminals outside the insulation, nickel lugs, no solder; leads of glass or "
            "mica-silicone, no PVC near the shell; retighten after the first heats",
            "common practice",
        )
    left = e.leads_rated_c - e.terminals_at_c
    mark = Mark.FINE if left >= LEADS_MARGIN_K else Mark.TIGHT if left >= 0.0 else Mark.WRONG
    nickel = "; copper scales there: nickel" if e.terminals_at_c > 200.0 else ""
    words = f"{e.terminals_at_c:.0f} °C at leads for {e.leads_rated_c:.0f} °C{nickel}"
    return Finding(about, mark, words, "common practice")


def step_finding(c: Circuit, step: float) -> Iterator[Finding]:
    """How switching dims other lamps on the supply."""
    if c.oven.supply.voltage_v >= TRANSFORMER_BELOW_V:
        yield Finding(
            "supply's dip",
            Mark.FINE if step <= 0.033 else Mark.TIGHT,
            f"{100.0 * step:.1f} % when the elements switch on; 3.3 % is the limit up to 16 A, above ask the network",
            "IEC 61000-3-3 and 61000-3-11, from memory",
        )
