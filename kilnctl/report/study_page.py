"""A study as one page: a small picture for each measure, and what explains its spread."""

from html import escape

import numpy as np

from ..output import METRIC_UNITS, Units
from ..studies.draw import Measure
from ..studies.inputs import WORDS, varied
from ..studies.many_draws import Study
from ..studies.sensitivity import Spread
from . import html
from .look import FAINT, INK, MIDDLE, WARM
from .study_text import explained, ranking, shown, spreads, title_of, trips_text


def study_page(study: Study, units: Units = METRIC_UNITS) -> str:
    """One self-contained page: a distribution for each measure and what explains it."""
    case = study.case
    about = f"{case.oven.name}, {case.schedule.name}: {len(study.rows)} virtual ovens, seed {case.seed}"
    heads = [
        ("ran to the end", str(len(study.good) - len(study.tripped))),
        ("tripped", str(len(study.tripped))),
        ("failed", str(len(study.failed))),
    ]
    cards = "".join(_card(study, m, s, units) for m, s in spreads(study))
    grid = (
        f'<div style="display:grid;grid-template-columns:repeat(auto-fit,minmax(17rem,1fr));gap:1.4rem">{cards}</div>'
    )
    names = varied(case.vary, case.fitted is not None)
    width = [(WORDS[n], _width(n, getattr(case.vary, n), units)) for n in names]
    if case.fitted is not None:
        width.append(("the model's parameters", "by the covariance of its fit"))
    body = (
        html.figures(heads)
        + html.section("Spread over the draws", grid)
        + html.section("Trips", "".join(f"<p>{escape(t)}</p>" for t in trips_text(study) if t))
    )
    body += html.section("What was varied (95 of 100 ovens lie within)", html.facts(width))
    return html.document("How sure is it?", body, about)


def _width(name: str, value: float, units: Units) -> str:
    return f"± {units.plain_difference(value)}" if name.endswith("_k") else f"± {100 * value:g} %"


def _card(study: Study, m: Measure, s: Spread, units: Units) -> str:
    values = np.array([shown(m, v, units) for v in study.values(m.name).values()])
    low, high = (shown(m, v, units) for v in (s.low, s.high))
    middle, worst, d = shown(m, s.middle, units), shown(m, s.worst, units), m.decimals
    told = explained(ranking(study, m.name))
    name = title_of(m, units)
    words = (
        f"90 of 100 from {low:.{d}f} to {high:.{d}f}, middle {middle:.{d}f}, worst {worst:.{d}f} (draw {s.worst_draw})"
    )
    picture = histogram(values, low, middle, high, f"{name}: {words}", d)
    caption = f"<figcaption><strong>{escape(name)}</strong></figcaption>"
    why = f"<p class='small faint'>explained by {escape(told)}</p>" if told else ""
    return f"<figure style='margin:0'>{caption}{picture}<p class='small'>{escape(words)}</p>{why}</figure>"


def histogram(values: np.ndarray, low: float, middle: float, high: float, title: str, decimals: int) -> str:
    """Counts in equal bins as SVG, the middle 90 % framed, the median marked."""
    width, height, base = 300.0, 110.0, 88.0
    first, last = float(values.min()), float(values.max())
    span = (last - first) or 1.0
    counts, edges = np.histogram(
        values, bins=min(30, max(5, len(values) // 10)), range=(first - 0.02 * span, last + 0.02 * span)
    )

    def to_x(v: float) -> float:
        return 4.0 + (v - edges[0]) / (edges[-1] - edges[0]) * (width - 8.0)

    parts = [
        (
            f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" '
            f'aria-label="{escape(title, True)}"><title>{escape(title)}</title>'
        )
    ]
    parts.append(
        f'<rect x="{to_x(low):.1f}" y="4" width="{max(1.0, to_x(high) - to_x(low)):.1f}" height="{base - 4:.0f}" '
        f'fill="{MIDDLE}"/>'
    )
    for count, a, b in zip(counts, edges[:-1], edges[1:], strict=True):
        tall = count / max(1, counts.max()) * (base - 10.0)
        parts.append(
            f'<rect x="{to_x(a) + 0.5:.1f}" y="{base - tall:.1f}" width="{max(0.5, to_x(b) - to_x(a) - 1.0):.1f}" '
            f'height="{tall:.1f}" fill="{WARM}"/>'
        )
    parts.append(
        f'<line x1="{to_x(middle):.1f}" x2="{to_x(middle):.1f}" y1="4" y2="{base:.0f}" stroke="{INK}" '
        'stroke-dasharray="4 3"/>'
    )
    parts.append(f'<line x1="4" x2="{width - 4:.0f}" y1="{base:.0f}" y2="{base:.0f}" stroke="{FAINT}"/>')
    for value, anchor in ((first, "start"), (last, "end")):
        x = 4.0 if anchor == "start" else width - 4.0
        parts.append(
            f'<text x="{x:.0f}" y="{height - 6:.0f}" font-size="12" fill="{FAINT}" '
            f'text-anchor="{anchor}">{value:.{decimals}f}</text>'
        )
    return "".join(parts) + "</svg>"
