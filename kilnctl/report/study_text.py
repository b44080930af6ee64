"""A study in words and in one picture page."""

from html import escape

import numpy as np

from ..studies.draw import MEASURES, Measure
from ..studies.inputs import INPUTS, WORDS, varied
from ..studies.sensitivity import Influence, Spread, influences, spread
from ..studies.study import Study
from . import html

#: Influences below this share, or below twice their standard error, are not worth a word.
WORTH = 0.03


def shown(m: Measure, value: float, unit: str = "C") -> float:
    """In the unit that people read."""
    if m.name.endswith("_s"):
        return value / 60.0
    if unit == "F":
        return value * 1.8 + 32.0 if m.name.endswith("_c") else value * 1.8 if m.name.endswith("_k") else value
    return value


def unit_of(m: Measure, unit: str = "C") -> str:
    return m.unit.replace("°C", "°F").replace("K", "°F") if unit == "F" and m.name.endswith(("_c", "_k")) else m.unit


def spreads(study: Study) -> list[tuple[Measure, Spread]]:
    """The measures that the draws have."""
    found = [(m, spread(study.values(m.name), m.worst)) for m in MEASURES]
    return [(m, s) for m, s in found if s is not None]


def ranking(study: Study, measure: str) -> tuple[Influence, ...]:
    """What explains the spread of a measure, among the inputs that vary; the parameters of a fit are among them."""
    values = study.values(measure)
    rows = [r for r in study.good if r["draw"] in values]
    names, columns = inputs_of(study)
    if not rows or not columns:
        return ()
    return influences(
        names, np.array([[r["z"][c] for c in columns] for r in rows]), np.array([values[r["draw"]] for r in rows])
    )


def inputs_of(study: Study) -> tuple[tuple[str, ...], list[int]]:
    """Names of the inputs that vary and their columns in a row's deviates. Deviates of a fit are independent directions of its
    covariance; "fit 1" is the widest."""
    case = study.case
    names = varied(case.vary, case.fitted is not None)
    columns = [INPUTS.index(n) for n in names]
    labels = [WORDS[n] for n in names]
    if case.fitted is not None:
        n = len(case.fitted.names)
        # eigh sorts rising: the last direction is the widest. More than a few of them would want too many draws.
        wide = range(n - 1, max(-1, n - 7), -1)
        columns += [len(INPUTS) + i for i in wide]
        labels += [f"fit {i + 1}" for i in range(len(wide))]
    return tuple(labels), columns


def explained(found: tuple[Influence, ...]) -> str:
    """ "leakage 62 % (more is less), power 20 %": the inputs worth a word."""
    told = [i for i in found if i.share > WORTH and i.share > 2.0 * i.error][:4]
    words = [
        f"{i.name} {100 * min(1.0, i.share):.0f} %" + (" (+)" if i.slope > 0.1 else " (−)" if i.slope < -0.1 else "")
        for i in told
    ]
    return ", ".join(words)


def as_text(study: Study, unit: str = "C") -> str:
    """Distributions, trips, and what explains them."""
    n = len(study.rows)
    out = [
        f"{n} draws: {len(study.good) - len(study.tripped)} ran to the end, {len(study.tripped)} tripped, {len(study.failed)} failed",
        "",
    ]
    out.append(f"{'':38s} {'5 %':>9s} {'50 %':>9s} {'95 %':>9s} {'worst':>9s}  draw")
    for m, s in spreads(study):
        cells = "".join(f" {shown(m, v, unit):9.{m.decimals}f}" for v in (s.low, s.middle, s.high, s.worst))
        few = f"  ({s.count} of {n})" if s.count < len(study.good) else ""
        name = m.words + (f", {unit_of(m, unit)}" if m.unit else "")
        out.append(f"{name:38.38s}{cells}  {s.worst_draw}{few}")
    out += ["", *trips_text(study)]
    told = [(m, explained(ranking(study, m.name))) for m, s in spreads(study)]
    told = [(m, words) for m, words in told if words]
    if told:
        out += [
            "what explains the spread (share of the variance that would go if it were known; + more gives more, − less):"
        ]
        out += [f"  {m.words:32s} {words}" for m, words in told]
    elif len(study.good) > 1:
        out.append("too few draws to say which input explains the spread")
    for row in study.failed[:10]:
        out.append(f"draw {row['draw']} failed: {row['failed']}")
    return "\n".join(out)


def trips_text(study: Study) -> list[str]:
    count: dict[str, int] = {}
    for row in study.tripped:
        count[row["trips"][0][0]] = count.get(row["trips"][0][0], 0) + 1
    if not count:
        return []
    named = ", ".join(f"{fault} in {k}" for fault, k in sorted(count.items(), key=lambda i: (-i[1], i[0])))
    return [f"trips: {named} of {len(study.good)} draws", ""]


# ---- the page ------------------------------------------------------------------------------------------------------


def as_page(study: Study, unit: str = "C") -> str:
    """One self-contained page: a distribution for each measure and what explains it."""
    case = study.case
    about = f"{case.oven.name}, {case.schedule.name}: {len(study.rows)} virtual ovens, seed {case.seed}"
    heads = [
        ("ran to the end", str(len(study.good) - len(study.tripped))),
        ("tripped", str(len(study.tripped))),
        ("failed", str(len(study.failed))),
    ]
    cards = "".join(_card(study, m, s, unit) for m, s in spreads(study))
    grid = (
        f'<div style="display:grid;grid-template-columns:repeat(auto-fit,minmax(17rem,1fr));gap:1.4rem">{cards}</div>'
    )
    names = varied(case.vary, case.fitted is not None)
    width = [(WORDS[n], _width(n, getattr(case.vary, n), unit)) for n in names]
    if case.fitted is not None:
        width.append(("the model's parameters", "by the covariance of its fit"))
    body = (
        html.figures(heads)
        + html.section("Spread over the draws", grid)
        + html.section("Trips", "".join(f"<p>{escape(t)}</p>" for t in trips_text(study) if t))
    )
    body += html.section("What was varied (95 of 100 ovens lie within)", html.facts(width))
    return html.document("How sure is it?", body, about)


def _width(name: str, value: float, unit: str = "C") -> str:
    if unit == "F" and name.endswith("_k"):
        return f"± {1.8 * value:g} °F"
    return f"± {value:g} K" if name.endswith("_k") else f"± {100 * value:g} %"


def _card(study: Study, m: Measure, s: Spread, unit: str) -> str:
    values = np.array([shown(m, v, unit) for v in study.values(m.name).values()])
    low, high = (shown(m, v, unit) for v in (s.low, s.high))
    middle, worst, d = shown(m, s.middle, unit), shown(m, s.worst, unit), m.decimals
    told = explained(ranking(study, m.name))
    name = m.words + (f", {unit_of(m, unit)}" if m.unit else "")
    words = (
        f"90 of 100 from {low:.{d}f} to {high:.{d}f}, middle {middle:.{d}f}, worst {worst:.{d}f} (draw {s.worst_draw})"
    )
    return (
        f"<figure style='margin:0'><figcaption><strong>{escape(name)}</strong></figcaption>{histogram(values, low, middle, high, f'{name}: {words}', d)}"
        f"<p class='small'>{escape(words)}</p>"
        + (f"<p class='small faint'>explained by {escape(told)}</p>" if told else "")
        + "</figure>"
    )


def histogram(values: np.ndarray, low: float, middle: float, high: float, title: str, decimals: int) -> str:
    """Counts in equal bins as SVG, the middle 90 % framed, the median marked."""
    width, height, base = 300.0, 110.0, 88.0
    first, last = float(values.min()), float(values.max())
    span = (last - first) or 1.0
    counts, edges = np.histogram(
        values, bins=min(30, max(5, len(values) // 10)), range=(first - 0.02 * span, last + 0.02 * span)
    )
    to_x = lambda v: 4.0 + (v - edges[0]) / (edges[-1] - edges[0]) * (width - 8.0)
    parts = [
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{escape(title, True)}"><title>{escape(title)}</title>'
    ]
    parts.append(
        f'<rect x="{to_x(low):.1f}" y="4" width="{max(1.0, to_x(high) - to_x(low)):.1f}" height="{base - 4:.0f}" fill="#f6ead9"/>'
    )
    for count, a, b in zip(counts, edges, edges[1:]):
        tall = count / max(1, counts.max()) * (base - 10.0)
        parts.append(
            f'<rect x="{to_x(a) + 0.5:.1f}" y="{base - tall:.1f}" width="{max(0.5, to_x(b) - to_x(a) - 1.0):.1f}" height="{tall:.1f}" fill="#b3400a"/>'
        )
    parts.append(
        f'<line x1="{to_x(middle):.1f}" x2="{to_x(middle):.1f}" y1="4" y2="{base:.0f}" stroke="#1d2433" stroke-dasharray="4 3"/>'
    )
    parts.append(f'<line x1="4" x2="{width - 4:.0f}" y1="{base:.0f}" y2="{base:.0f}" stroke="#5b6475"/>')
    for value, anchor in ((first, "start"), (last, "end")):
        x = 4.0 if anchor == "start" else width - 4.0
        parts.append(
            f'<text x="{x:.0f}" y="{height - 6:.0f}" font-size="12" fill="#5b6475" text-anchor="{anchor}">{value:.{decimals}f}</text>'
        )
    return "".join(parts) + "</svg>"
