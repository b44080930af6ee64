"""The sizing as one page for a browser: what matters large, pictures of the walls, tables, verdicts."""

import math
from html import escape

from ..output import Units
from ..sizing.comparison import Figures, Offer, RunAsked
from ..sizing.sizing import HIGHEST_C, Range, Sizing
from ..terms import Finding, Mark
from . import html
from .buying_text import (
    BUY_HEAD,
    cells_of,
    change_words,
    comparison_rows,
    explained,
    run_words,
    saved_words,
)
from .sizing_pictures import power_picture, wall_picture
from .sizing_text import CLOSING, holding, levels, notes_of_sizing, temperature_range, time_range, time_span
from .svg import NARROW, WIDTH

_ORDER = (Mark.WRONG, Mark.TIGHT, Mark.FINE, Mark.ASKED)


def sizing_page(
    sizing: Sizing,
    u: Units,
    bought: tuple[RunAsked, Figures, tuple[Offer, ...]] | None = None,
    other: tuple[Sizing, RunAsked] | None = None,
) -> str:
    """The whole page. `bought`: what `offers_of` found, for its run; `other`: an oven to compare it with, for a run."""
    o, reach = sizing.oven, sizing.reached_c
    body = [html.notice(u.words(str(f)), "alarm", "Before anything else:") for f in sizing.wrong]
    body.append(html.figures(_figures(sizing, u)))
    if other is not None:
        body.append(html.section(f"Beside {other[0].oven.name}", _beside(sizing, *other, u)))
    body += [
        html.section(f"Through the walls at {u.temperature(reach)}", _walls(sizing, u)),
        html.section("Power against temperature", _both(lambda width: power_picture(sizing, u, width))),
        html.section("Levels", _levels(sizing, u)),
        html.section(f"Where the watts go at {u.temperature(reach)}", _ledger(sizing, u)),
    ]
    if bought is not None:
        body.append(html.section("What to change", _bought(sizing, *bought, u)))
    w = sizing.wiring
    body += [
        html.section(f"Supply, by {w.rules}", _findings(w.findings, u)),
        html.section("The elements' wire", _findings(sizing.wire, u) if sizing.wire else ""),
        html.section("Limiter, fan, lamps on the same line", _findings(sizing.protection, u)),
        html.section("To note", _list(u.words(n) for n in notes_of_sizing(sizing))),
        html.section("Assumed, because the file does not say", _list(u.words(a) for a in o.assumptions)),
        *(html.aside(line) for line in CLOSING),
    ]
    lead = f"{o.elements.rated_w / 1000:.2f} kW, schedules up to {u.temperature(sizing.top_c)}"
    return html.document(f"{o.name}: sizing", "\n".join(body), lead + (f"; {o.about}" if o.about else ""))


def _figures(sizing: Sizing, u: Units) -> list[tuple[str, str]]:
    reach = sizing.reached_c
    heat_up = sizing.heat_up_range_s(sizing.oven.site.ambient_c, 0.98 * reach)
    between = f" ({time_span(heat_up)})" if math.isfinite(heat_up.value) else ""
    hold, shell = sizing.power_range_w(reach), sizing.shell_range_c(reach)
    power = sizing.max_chamber_range_c

    def span(r: Range, tell) -> str:
        return f"{tell(r.low)} to {tell(r.high)}"

    highest = f" ({span(power, u.temperature)})" if power.high < HIGHEST_C else ""
    return [
        (f"highest by power{highest}", temperature_range(power, u).split(" (")[0]),
        ("highest for the lining", u.temperature(sizing.lining_limit_c)),
        (f"heat-up, empty, to {u.temperature(0.98 * reach)}{between}", time_range(heat_up).split(" (")[0]),
        (f"to hold {u.temperature(reach)} ({span(hold, u.heat_flow)})", holding(hold, u).split(" (")[0]),
        (f"hottest outside face ({span(shell, u.temperature)})", u.temperature(shell.value)),
    ]


def _both(draw) -> str:
    """A picture for a desk and one for a phone."""
    return f'<div class="wide">{draw(WIDTH)}</div><div class="narrow">{draw(NARROW)}</div>'


def _walls(sizing: Sizing, u: Units) -> str:
    """Each wall's picture with its layers by number."""
    reports, parts = sizing.layers(sizing.reached_c), []
    for wall in sizing.walls:
        name = wall.face.name
        parts.append(_both(lambda width, wall=wall: wall_picture(sizing, wall, u, width)))
        rows = [
            (
                f"{r.number} {r.material}",
                u.length(r.thickness_m),
                u.temperature(r.hot_c),
                u.temperature(r.cold_c),
                u.temperature(r.limit_c),
            )
            for r in reports
            if r.face == name
        ]
        parts.append(html.table(("layer", "thickness", "hot face", "cold face", "limit"), rows))
    return "".join(parts)


def _levels(sizing: Sizing, u: Units) -> str:
    rows = [
        (
            u.temperature(t),
            holding(sizing.power_range_w(t), u),
            u.temperature(sizing.shell_c(t)),
            u.temperature(float(sizing.at(t).element_c)),
        )
        for t in levels(sizing, u)
    ]
    return html.table(("chamber", "power to hold it, and its range", "outside", "element"), rows)


def _ledger(sizing: Sizing, u: Units) -> str:
    ledger = sizing.ledger_w(sizing.reached_c)
    total = sum(ledger.values())
    rows = [
        (name, u.heat_flow(watts), f"{100 * watts / total:.0f} %")
        for name, watts in sorted(ledger.items(), key=lambda item: -item[1])
    ]
    return html.table(("through", "heat", "share"), [*rows, ("sum", u.heat_flow(total), "")])


def _bought(sizing: Sizing, run: RunAsked, now: Figures, offers: tuple[Offer, ...], u: Units) -> str:
    rows = [("as it is", *cells_of(now, u), "")]
    rows += [(change_words(o, u), *cells_of(o.figures, u), saved_words(o, now)) for o in offers]
    said = [run_words(run, sizing, u), *explained(sizing, u)]
    return html.table(("change", *BUY_HEAD), rows, words=(0,)) + "".join(html.aside(s) for s in said)


def _beside(sizing: Sizing, other: Sizing, run: RunAsked, u: Units) -> str:
    rows = comparison_rows(sizing, other, run, u)
    head = ("", sizing.oven.name, other.oven.name)
    return html.table(head, rows, words=(1, 2)) + html.aside(run_words(run, sizing, u))


def _findings(findings: tuple[Finding, ...], u: Units) -> str:
    rows = [(mark.upper(), u.words(str(f))) for mark in _ORDER for f in findings if f.mark is mark]
    return html.table(("verdict", "what"), rows, words=(1,))


def _list(lines) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""
