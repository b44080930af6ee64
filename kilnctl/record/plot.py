"""Line charts as SVG text: several panels under one time axis, readable without colour, small even for long runs."""

import math
from dataclasses import dataclass, field
from typing import Sequence
from xml.sax.saxutils import escape

import numpy as np

WIDTH, LEFT, RIGHT, TOP, GAP, BOTTOM = 960, 64, 150, 54, 28, 44
_INK, _FAINT, _GRID = "#1d2433", "#5b6475", "#dfe3ea"
#: Colours that differ in lightness too (after Okabe and Ito), each with a dash of its own: nothing is said by colour alone.
STYLES = {
    "reference": ("#5b6475", "7 5", 1.6), "chamber": ("#b3400a", "", 2.0), "part": ("#00638f", "2 3", 2.2),
    "second": ("#7a4fa3", "9 3 2 3", 1.6), "power": ("#b3400a", "", 1.4), "other": ("#00745a", "4 3", 1.8), "plain": ("#8a6d00", "12 4", 1.6),
}  # fmt: skip


@dataclass(frozen=True)
class Series:
    """x and y of one length; NaNs break the line. `style` is a key of STYLES; `band` a half-width drawn as a shade."""

    x: Sequence[float]
    y: Sequence[float]
    label: str
    style: str = "chamber"
    band: Sequence[float] | None = None


@dataclass(frozen=True)
class Panel:
    """`shades`: (from, to, label) on the x axis; `marks`: (x, label) vertical lines; `share`: of the height."""

    y_label: str
    series: tuple[Series, ...]
    shades: tuple[tuple[float, float, str], ...] = ()
    marks: tuple[tuple[float, str], ...] = ()
    share: float = 1.0
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True)
class Chart:
    title: str
    panels: tuple[Panel, ...]
    x_label: str = "time, h:min"
    x_is_time: bool = True
    height: int = 520
    lines: tuple[str, ...] = field(default_factory=tuple)


def ticks(low: float, high: float, wanted: int = 6) -> list[float]:
    """Round values in [low, high]: multiples of 1, 2 or 5 times a power of ten."""
    span = max(high - low, 1e-12)
    raw = span / max(1, wanted)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    return [round(i * step, 12) for i in range(first, math.floor(high / step + 1e-9) + 1)]


def time_ticks(low_s: float, high_s: float, wanted: int = 8) -> list[float]:
    """Round times: seconds, minutes or hours that people count in."""
    steps = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800)
    step = next((s for s in steps if (high_s - low_s) / s <= wanted), steps[-1])
    return [i * step for i in range(math.ceil(low_s / step), math.floor(high_s / step) + 1)]


def time_label(seconds: float) -> str:
    return f"{int(seconds // 3600)}:{int(seconds % 3600 // 60):02d}" if seconds % 60 == 0 else f"{int(seconds // 60)}′{int(seconds % 60):02d}″"


def thin(x: np.ndarray, y: np.ndarray, pixels: int) -> tuple[np.ndarray, np.ndarray]:
    """At most about four points a pixel column, first, last, least and greatest of each: no peak is lost."""
    if len(x) <= 4 * pixels:
        return x, y
    edges = np.linspace(0, len(x), pixels + 1).astype(int)
    keep = []
    for a, b in zip(edges, edges[1:]):
        if b <= a:
            continue
        part = y[a:b]
        chosen = {a, b - 1}
        if np.isfinite(part).any():
            chosen |= {a + int(np.nanargmin(part)), a + int(np.nanargmax(part))}
        bad = np.flatnonzero(~np.isfinite(part))
        if len(bad):
            chosen.add(a + int(bad[0]))
        keep += sorted(chosen)
    keep = np.array(keep)
    return x[keep], y[keep]


def _path(x: np.ndarray, y: np.ndarray) -> str:
    parts, pen = [], False
    for a, b in zip(x.tolist(), y.tolist()):
        if b != b:
            pen = False
            continue
        parts.append(f"{'L' if pen else 'M'}{a:.1f} {b:.1f}")
        pen = True
    return "".join(parts)


def svg(chart: Chart) -> str:
    """The chart as one SVG element with a title, a description and no scripts."""
    every = [s for p in chart.panels for s in p.series]
    xs = [np.asarray(s.x, float) for s in every if len(s.x)]
    x_low = min((float(x[0]) for x in xs), default=0.0)
    x_high = max((float(x[-1]) for x in xs), default=1.0)
    x_high = x_high if x_high > x_low else x_low + 1.0
    inner = WIDTH - LEFT - RIGHT
    room = chart.height - TOP - BOTTOM - GAP * (len(chart.panels) - 1)
    total = sum(p.share for p in chart.panels)

    def to_x(v):
        return LEFT + (v - x_low) / (x_high - x_low) * inner

    out = [f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {chart.height}" role="img" font-family="system-ui, sans-serif" '
           f'font-size="12"><title>{escape(chart.title)}</title><rect width="{WIDTH}" height="{chart.height}" fill="#fff"/>',
           f'<text x="{LEFT}" y="22" font-size="15" font-weight="600" fill="{_INK}">{escape(chart.title)}</text>']  # fmt: skip
    top = TOP
    marks = time_ticks(x_low, x_high) if chart.x_is_time else ticks(x_low, x_high, 8)
    for number, panel in enumerate(chart.panels):
        height = room * panel.share / total
        out += _panel(panel, top, height, to_x, marks, inner)
        if number == len(chart.panels) - 1:
            for t in marks:
                label = time_label(t) if chart.x_is_time else f"{t:g}"
                out.append(f'<text x="{to_x(t):.1f}" y="{top + height + 17:.1f}" text-anchor="middle" fill="{_FAINT}">{label}</text>')
            out.append(f'<text x="{LEFT + inner / 2:.0f}" y="{top + height + 36:.1f}" text-anchor="middle" fill="{_FAINT}">{escape(chart.x_label)}</text>')
        top += height + GAP
    out.append("</svg>")
    return "\n".join(out)


def _limits(panel: Panel) -> tuple[float, float]:
    values = [np.asarray(s.y, float) for s in panel.series]
    finite = [v[np.isfinite(v)] for v in values]
    finite = [v for v in finite if len(v)]
    low = min((float(v.min()) for v in finite), default=0.0) if panel.low is None else panel.low
    high = max((float(v.max()) for v in finite), default=1.0) if panel.high is None else panel.high
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    pad = 0.04 * (high - low)
    return (low if panel.low is not None else low - pad), high + pad


def _panel(panel: Panel, top: float, height: float, to_x, x_marks: list[float], inner: int) -> list[str]:
    low, high = _limits(panel)

    def to_y(v):
        return top + height - (v - low) / (high - low) * height

    out = [f'<g><rect x="{LEFT}" y="{top:.1f}" width="{inner}" height="{height:.1f}" fill="#fbfcfe"/>']
    for a, b, label in panel.shades:
        out.append(f'<rect x="{to_x(a):.1f}" y="{top:.1f}" width="{max(0.5, to_x(b) - to_x(a)):.1f}" height="{height:.1f}" fill="#f1ead9" stroke="#fff"/>')
        if label and height > 150 and to_x(b) - to_x(a) > 6.5 * len(label):
            out.append(f'<text x="{(to_x(a) + to_x(b)) / 2:.1f}" y="{top + height - 7:.1f}" text-anchor="middle" font-size="11" fill="{_FAINT}">{escape(label)}</text>')
    for t in x_marks:
        out.append(f'<line x1="{to_x(t):.1f}" x2="{to_x(t):.1f}" y1="{top:.1f}" y2="{top + height:.1f}" stroke="{_GRID}"/>')
    for v in ticks(low, high, max(3, int(height / 34))):
        out.append(f'<line x1="{LEFT}" x2="{LEFT + inner}" y1="{to_y(v):.1f}" y2="{to_y(v):.1f}" stroke="{_GRID}"/>'
                   f'<text x="{LEFT - 7}" y="{to_y(v) + 4:.1f}" text-anchor="end" fill="{_FAINT}">{v:g}</text>')  # fmt: skip
    out.append(f'<text x="{LEFT}" y="{top - 6:.1f}" fill="{_FAINT}">{escape(panel.y_label)}</text>')
    ends: list[tuple[float, str, str]] = []
    for series in panel.series:
        x, y = np.asarray(series.x, float), np.asarray(series.y, float)
        if not len(x) or not np.isfinite(y).any():
            continue
        colour, dash, width = STYLES[series.style]
        if series.band is not None:
            band = np.nan_to_num(np.asarray(series.band, float))
            good = np.isfinite(y)
            bx, upper = thin(x[good], (y + band)[good], 300)
            _, lower = thin(x[good], (y - band)[good], 300)
            n = min(len(upper), len(lower))
            points = [f"{to_x(a):.1f},{to_y(b):.1f}" for a, b in zip(bx[:n], upper[:n])] + [f"{to_x(a):.1f},{to_y(b):.1f}" for a, b in zip(bx[:n][::-1], lower[:n][::-1])]
            out.append(f'<polygon points="{" ".join(points)}" fill="{colour}" fill-opacity="0.14"/>')
        tx, ty = thin(x, y, 480)
        drawn = _path(to_x(tx), np.clip(to_y(ty), top - 2, top + height + 2))
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        out.append(f'<path d="{drawn}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-linejoin="round"{dashes}/>')
        last = np.flatnonzero(np.isfinite(y))[-1]
        ends.append((float(np.clip(to_y(y[last]), top + 6, top + height)), series.label, series.style))
    for x, label in panel.marks:
        # Near the right edge the words stand on the left of their line.
        side, anchor = (-4, "end") if to_x(x) > LEFT + 0.8 * inner else (4, "start")
        out.append(f'<line x1="{to_x(x):.1f}" x2="{to_x(x):.1f}" y1="{top:.1f}" y2="{top + height:.1f}" stroke="#a3122a" stroke-width="1.5"/>'
                   f'<text x="{to_x(x) + side:.1f}" y="{top + 0.55 * height:.1f}" text-anchor="{anchor}" font-size="11" fill="#a3122a">{escape(label)}</text>')  # fmt: skip
    # Labels at the right ends of their lines, pushed apart where they would cover each other.
    ends.sort()
    at = -math.inf
    for y, label, style in ends:
        at = max(y, at + 15.0)
        colour, dash, width = STYLES[style]
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        shown = min(at, top + height + 8)
        out.append(f'<line x1="{LEFT + inner + 6}" x2="{LEFT + inner + 26}" y1="{shown - 4:.1f}" y2="{shown - 4:.1f}" stroke="{colour}" stroke-width="{width}"{dashes}/>'
                   f'<text x="{LEFT + inner + 31}" y="{shown:.1f}" fill="{colour}">{escape(label)}</text>')  # fmt: skip
    out.append("</g>")
    return out
