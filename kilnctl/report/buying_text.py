"""What to buy, and two ovens side by side, as people read them."""

import dataclasses
import math

from ..output import Units, about
from ..sizing.buying import MORE_M
from ..sizing.comparison import Figures, Offer, RunAsked, figures_of
from ..sizing.sizing import HIGHEST_C, Sizing
from ..terms import Mark
from ..units import UNITS

BUY_HEAD = ("highest", "heat-up", "to hold", "outside", "a run", "saves")


def run_words(run: RunAsked, sizing: Sizing, u: Units) -> str:
    """The run that is compared, in words."""
    load = sizing.oven.usual_load
    loaded = f" with {load.name}" if load is not None else ", empty,"
    return f"a run is heat-up{loaded} to {u.temperature(run.to_c)} at full power, and {about(run.hold_s)} there"


def highest_words(f: Figures, u: Units) -> str:
    """The highest temperature, and what ends it."""
    if f.highest_c >= HIGHEST_C:
        return f"over {u.temperature(HIGHEST_C)}"
    return f"{u.temperature(f.highest_c)}, {f.limited_by}"


def run_energy(f: Figures) -> str:
    """Energy of a run from the mains, and its price if one is known."""
    if not math.isfinite(f.run_j):
        return "–"
    return f"{f.run_j / 3.6e6:.2f} kWh" + ("" if f.run_cost is None else f" = {f.run_cost:.2f}")


def cells_of(f: Figures, u: Units) -> list[str]:
    """Highest, heat-up, power to hold, outside, a run."""
    hold = u.heat_flow(f.hold_w) if f.hold_w > 0.0 else "fan alone"
    heat_up = about(f.heat_up_s) if math.isfinite(f.heat_up_s) else "never"
    return [highest_words(f, u), heat_up, hold, u.temperature(f.shell_c), run_energy(f)]


def saved_words(offer: Offer, now: Figures) -> str:
    """What a change saves in each run."""
    if not math.isfinite(now.run_j):
        return "–"
    if abs(offer.saved_j) < 0.005 * now.run_j:
        return "next to nothing"
    return f"{offer.saved_j / 3.6e6:.2f} kWh, {100.0 * offer.saved_j / now.run_j:.0f} %"


def money_words(offer: Offer) -> str:
    """What a change costs, and when that is saved."""
    if offer.cost is None:
        return ""
    if offer.saved_j <= 0.0:
        return f"costs {offer.cost:.0f}, saves no energy in such a run"
    pays = "" if offer.pays_after is None else f"; paid after {math.ceil(offer.pays_after)} runs"
    return (
        f"costs {offer.cost:.0f}: {1e3 * offer.saved_j / 3.6e6 / offer.cost:.3g} Wh a run for each unit of money{pays}"
    )


def change_words(offer: Offer, u: Units) -> str:
    """A change in words, with its cost and its caution."""
    words = u.words(offer.change.words)
    if money := money_words(offer):
        words += f" ({money})"
    return words + (f" ({offer.change.caution})" if offer.change.caution else "")


def buying_text(sizing: Sizing, run: RunAsked, now: Figures, offers: tuple[Offer, ...], u: Units) -> str:
    """The table for a terminal: the oven as it is, then each change, the best first."""
    widths = (18, 12, 12, 9, 20, 18)

    def row(cells: list[str], words: str) -> str:
        return "".join(f"{c:>{w}}" for c, w in zip(cells, widths, strict=True)) + f"  {words}"

    lines = [
        f"what to change; {run_words(run, sizing, u)}",
        "",
        row(list(BUY_HEAD), "change"),
        row([*cells_of(now, u), ""], "as it is"),
        *(row([*cells_of(o.figures, u), saved_words(o, now)], change_words(o, u)) for o in offers),
    ]
    if not offers:
        lines.append("  nothing found that saves more than 0.2 %")
    return "\n".join([*lines, "", *explained(sizing, u)])


def explained(sizing: Sizing, u: Units) -> tuple[str, str]:
    """How changes are ordered and what their prices mean."""
    piece = u.length(MORE_M[sizing.oven.units], 0)
    order = (
        "The best first: what saves most in a run for the money where a price is known, then what saves most in a run, "
        "then what is less power to hold."
    )
    prices = f"Prices are per area, {piece} thick, times the outside of the walls (corners and waste included)"
    return order, f"{prices}; without sheet, glue and work."


def comparison_rows(a: Sizing, b: Sizing, run: RunAsked, u: Units) -> list[tuple[str, str, str]]:
    """(what, of one, of the other) for two ovens, all at the same temperature."""
    both = [(s, figures_of(s.oven, run)) for s in (a, b)]
    at = u.temperature(run.to_c)

    def row(what: str, tell) -> tuple[str, str, str]:
        first, second = (tell(s, f) for s, f in both)
        return what, first, second

    rows = [
        row("power", lambda s, _: f"{s.oven.elements.rated_w / 1000:.2f} kW"),
        row("current", lambda s, _: f"{s.wiring.current_a:.1f} A"),
        row("schedules up to", lambda s, _: u.temperature(s.top_c)),
        row("highest", lambda _, f: highest_words(f, u)),
        row(f"heat-up to {at}", lambda _, f: cells_of(f, u)[1]),
        row(f"to hold {at}", lambda _, f: cells_of(f, u)[2]),
        row(f"hottest outside at {at}", lambda _, f: u.temperature(f.shell_c)),
        row("a run", lambda _, f: run_energy(f)),
        row("stored heat", lambda s, _: u.energy(s.stored_j(min(run.to_c, s.steady.valid_c), s.oven.usual_load))),
        row("inside", lambda s, _: _volume(s, u)),
        row("verdicts: wrong", lambda s, _: _marked(s, Mark.WRONG)),
        row("verdicts: tight", lambda s, _: _marked(s, Mark.TIGHT)),
    ]
    return rows + _where(a, b, run, u)


def _volume(s: Sizing, u: Units) -> str:
    c = s.oven.chamber
    volume = c.width_m * c.depth_m * c.height_m
    return f"{volume / UNITS['ft'][0] ** 3:.2f} ft³" if u.imperial else f"{1000.0 * volume:.0f} l"


def _marked(s: Sizing, mark: Mark) -> str:
    found = [f.about for f in (*s.wiring.findings, *s.protection, *s.wire) if f.mark is mark]
    return ", ".join(found) or "nothing"


def _where(a: Sizing, b: Sizing, run: RunAsked, u: Units) -> list[tuple[str, str, str]]:
    """Where the watts go, the largest of the first oven first."""
    ledgers = [s.ledger_w(min(run.to_c, s.steady.valid_c)) for s in (a, b)]
    names = sorted({*ledgers[0], *ledgers[1]}, key=lambda n: -max(ledger.get(n, 0.0) for ledger in ledgers))

    def cell(ledger: dict[str, float], name: str) -> str:
        return u.heat_flow(ledger[name]) if name in ledger else "–"

    return [(f"  through {name}", cell(ledgers[0], name), cell(ledgers[1], name)) for name in names]


def comparison_text(a: Sizing, b: Sizing, run: RunAsked, u: Units) -> str:
    """Two ovens side by side for a terminal."""
    rows = comparison_rows(a, b, run, u)
    widths = [max(len(r[i]) for r in [*rows, ("", a.oven.name, b.oven.name)]) for i in (0, 1)]

    def line(what: str, first: str, second: str) -> str:
        return f"{what:<{widths[0]}}  {first:<{widths[1]}}  {second}"

    lines = [run_words(run, a, u), "", line("", a.oven.name, b.oven.name), *(line(*r) for r in rows)]
    return "\n".join(lines)


def buying_json(run: RunAsked, now: Figures, offers: tuple[Offer, ...]) -> dict:
    """The same for programs; infinite values as null."""

    def plain(figures: Figures) -> dict:
        return {k: None if v == math.inf else v for k, v in dataclasses.asdict(figures).items()}

    return {
        "run": dataclasses.asdict(run),
        "now": plain(now),
        "changes": [
            {
                "change": o.change.words,
                "caution": o.change.caution,
                "area_m2": o.change.area_m2,
                "saved_j": o.saved_j if math.isfinite(o.saved_j) else None,
                "cost": o.cost,
                "pays_after_runs": o.pays_after,
                **plain(o.figures),
            }
            for o in offers
        ],
    }
