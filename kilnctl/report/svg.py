"""Line charts as SVG text: several panels under one time axis, readable without colour, small even for
long runs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import numpy as np

from .look import ALARM, CARE, FAINT, HELD, INK, LINE, SOAK, SOAK_BAND, WARM

#: Width of a picture in pixels, on a desk and on a phone.
WIDTH, NARROW = 960, 400
_SMALL = 'font-size="11"'
#: Colours that differ in lightness too (after Okabe and Ito), each with its own dash pattern: colour alone carries no
#: information.
STYLES = {
    "reference": (FAINT, "7 5", 1.6),
    "chamber": (WARM, "", 1.4),
    "part": ("#00638f", "2 3", 2.2),
    "second": ("#7a4fa3", "9 3 2 3", 1.6),
    "power": (WARM, "", 1.4),
    "other": ("#00745a", "4 3", 1.8),
    "plain": ("#8a6d00", "12 4", 1.6),
}


#: Numbers of one line.
Values = Sequence[float] | np.ndarray


@dataclass(frozen=True)
class Series:
    """x and y of one length; NaNs break the line. `style` is a key of STYLES; `band` a half-width drawn as
    a shade."""

    x: Values
    y: Values
    label: str
    style: str = "chamber"
    band: Values | None = None


#: Kind of a flag → its colour; a trip's line is whole, the others' are dashed.
FLAGS = {"trip": ALARM, "door": CARE, "supply": CARE, "hold": HELD, "step": FAINT, "note": FAINT}


@dataclass(frozen=True)
class Flag:
    """What happened at x. `kind` is a key of FLAGS; its words are drawn where they have room, a step's never."""

    x: float
    words: str
    kind: str = "note"


@dataclass(frozen=True)
class Subplot:
    """`shades`: (from, to, label) on the x axis, `tints` their colours if they differ; `bands`: (from, to, low, high),
    boxes in which a soak's time counts; `phases`: (from, to, words) along the lower edge; `unit`: stands at the highest
    tick; `share`: of the height."""

    y_label: str
    series: tuple[Series, ...]
    shades: tuple[tuple[float, float, str], ...] = ()
    flags: tuple[Flag, ...] = ()
    share: float = 1.0
    low: float | None = None
    high: float | None = None
    tints: tuple[str, ...] = ()
    bands: tuple[tuple[float, float, float, float], ...] = ()
    phases: tuple[tuple[float, float, str], ...] = ()
    unit: str = ""


@dataclass(frozen=True)
class Chart:
    """Up to 600 wide, the names of the lines stand above each panel (for a phone); else at the lines'
    right ends."""

    title: str
    panels: tuple[Subplot, ...]
    x_label: str = "time since the start"
    x_is_time: bool = True
    height: int = 520
    width: int = WIDTH


@dataclass(frozen=True)
class _Frame:
    """Where things are in the picture."""

    narrow: bool
    left: int
    right: int
    top: int
    gap: int
    bottom: int
    inner: int


def _frame(width: int) -> _Frame:
    if width <= 600:
        return _Frame(True, 54, 10, 64, 46, 40, width - 64)
    return _Frame(False, 64, 150, 54, 28, 44, width - 214)


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
    """Each with its unit, so that two minutes and two hours never look alike; as the panel writes them."""
    s = round(seconds)
    if s == 0:
        return "0"
    if s < 60:
        return f"{s} s"
    if s < 3600:
        return f"{s // 60}:{s % 60:02d} min" if s % 60 else f"{s // 60} min"
    past = f" {s % 3600 // 60:02d}" + (f":{s % 60:02d}" if s % 60 else "") if s % 3600 else ""
    hours = s % 86400 // 3600
    if s < 86400:
        return f"{hours} h{past}"
    return f"{s // 86400} d" + (f" {hours} h{past}" if hours or past else "")


def thin(x: np.ndarray, y: np.ndarray, pixels: int) -> tuple[np.ndarray, np.ndarray]:
    """At most about four points a pixel column, first, last, least and greatest of each: no peak is lost."""
    if len(x) <= 4 * pixels:
        return x, y
    edges = np.linspace(0, len(x), pixels + 1).astype(int)
    keep = []
    for a, b in pairwise(edges):
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
    for a, b in zip(x.tolist(), y.tolist(), strict=True):
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
    frame = _frame(chart.width)
    room = chart.height - frame.top - frame.bottom - frame.gap * (len(chart.panels) - 1)
    total = sum(p.share for p in chart.panels)

    def to_x(v):
        return frame.left + (v - x_low) / (x_high - x_low) * frame.inner

    wanted = max(3, frame.inner // 95)
    marks = time_ticks(x_low, x_high, wanted) if chart.x_is_time else ticks(x_low, x_high, wanted)
    said = "; ".join(f"{p.y_label}: {', '.join(s.label for s in p.series)}" for p in chart.panels)
    title = f'font-size="{13 if frame.narrow else 15}" font-weight="600"'
    out = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {chart.width} {chart.height}" role="img" '
            f'font-family="system-ui, sans-serif" font-size="12" fill="{INK}">'
        ),
        f"<title>{escape(chart.title, False)}</title><desc>{escape(said, False)}</desc>",
        f'<rect width="{chart.width}" height="{chart.height}" fill="#fff"/>',
        _text(6 if frame.narrow else frame.left, 20, chart.title, INK, more=title),
    ]
    top = float(frame.top)
    for panel in chart.panels:
        height = room * panel.share / total
        out += _panel(panel, top, height, to_x, marks, frame)
        top += height + frame.gap
    bottom = top - frame.gap
    for t in marks:
        out.append(_text(to_x(t), bottom + 17, time_label(t) if chart.x_is_time else f"{t:g}", anchor="middle"))
    out += [_text(frame.left + frame.inner / 2, bottom + 36, chart.x_label, anchor="middle"), "</svg>"]
    return "\n".join(out)


def _text(x: float, y: float, words: str, colour: str = FAINT, anchor: str = "start", more: str = "") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" fill="{colour}"' + (f' text-anchor="{anchor}"' if anchor != "start" else "")
    return f"<text {place}{' ' if more else ''}{more}>{escape(words, False)}</text>"


def _rule(x1: float, y1: float, x2: float, y2: float, stroke: str) -> str:
    return f'<line x1="{x1:.1f}" x2="{x2:.1f}" y1="{y1:.1f}" y2="{y2:.1f}" {stroke}/>'


def _limits(panel: Subplot) -> tuple[float, float]:
    values = [
        np.asarray(s.y, float) + sign * np.nan_to_num(np.asarray(0.0 if s.band is None else s.band, float))
        for s in panel.series
        for sign in ((0.0,) if s.band is None else (-1.0, 1.0))
    ]
    finite = [v[np.isfinite(v)] for v in values]
    finite = [v for v in finite if len(v)]
    low = min((float(v.min()) for v in finite), default=0.0) if panel.low is None else panel.low
    high = max((float(v.max()) for v in finite), default=1.0) if panel.high is None else panel.high
    if high - low < 1e-9:
        low, high = low - 1.0, high + 1.0
    pad = 0.04 * (high - low)
    # Flags and their words stand above the lines, phases below them.
    above, below = (3.0 if panel.flags else 1.0), (2.0 if panel.phases else 1.0)
    return (low if panel.low is not None else low - below * pad), high + above * pad


def _panel(panel: Subplot, top: float, height: float, to_x, x_marks: list[float], frame: _Frame) -> list[str]:
    low, high = _limits(panel)
    left, inner, bottom = frame.left, frame.inner, top + height

    def to_y(v):
        return bottom - (v - low) / (high - low) * height

    out = [f'<g><rect x="{left}" width="{inner}" y="{top:.1f}" height="{height:.1f}" fill="#fbfcfe"/>']
    out += _grounds(panel, top, height, to_x, to_y)
    grid = f'stroke="{LINE}"'
    out += [_rule(to_x(t), top, to_x(t), bottom, grid) for t in x_marks]
    values = ticks(low, high, min(8, max(3, int(height / 34))))
    for v in values:
        out.append(_rule(left, to_y(v), left + inner, to_y(v), grid))
        unit = f" {panel.unit}" if panel.unit and v == values[-1] else ""
        out.append(_text(left - 7, to_y(v) + 4, f"{v:g}{unit}", anchor="end"))
    out.append(_text(6, top - 22, panel.y_label) if frame.narrow else _text(left, top - 6, panel.y_label))
    ends: list[tuple[float, str, str]] = []
    for series in panel.series:
        x, y = np.asarray(series.x, float), np.asarray(series.y, float)
        if not len(x) or not np.isfinite(y).any():
            continue
        out += _line(series, x, y, to_x, lambda v: np.clip(to_y(v), top - 2, bottom + 2), max(80, frame.inner // 2))
        last = np.flatnonzero(np.isfinite(y))[-1]
        ends.append((float(np.clip(to_y(y[last]), top + 6, bottom)), series.label, series.style))
    out += _flags(panel.flags, top, height, to_x, frame)
    out += _names(ends, top, bottom, frame)
    out.append("</g>")
    return out


def _grounds(panel: Subplot, top: float, height: float, to_x, to_y) -> list[str]:
    """What lies below the lines: shades of the whole height, boxes of soaks, the phases' names."""
    out, bottom = [], top + height
    tints = panel.tints or (SOAK,) * len(panel.shades)
    for (a, b, label), tint in zip(panel.shades, tints, strict=True):
        width = to_x(b) - to_x(a)
        place = f'x="{to_x(a):.1f}" width="{max(0.5, width):.1f}" y="{top:.1f}" height="{height:.1f}"'
        out.append(f'<rect {place} fill="{tint}" stroke="#fff"/>')
        if label and height > 150 and width > 6.5 * len(label):
            out.append(_text(to_x(a) + width / 2, bottom - 7, label, anchor="middle", more=_SMALL))
    for a, b, low, high in panel.bands:
        # At least so high that it is seen.
        middle, half = (to_y(low) + to_y(high)) / 2, max(4.0, (to_y(low) - to_y(high)) / 2)
        place = f'x="{to_x(a):.1f}" width="{max(0.5, to_x(b) - to_x(a)):.1f}" y="{middle - half:.1f}"'
        out.append(f'<rect {place} height="{2 * half:.1f}" fill="{SOAK_BAND}"/>')
    for a, b, words in panel.phases:
        if to_x(b) - to_x(a) > 6.5 * len(words):
            out.append(_text((to_x(a) + to_x(b)) / 2, bottom - 7, words, anchor="middle", more=_SMALL))
    return out


def _flags(flags: tuple[Flag, ...], top: float, height: float, to_x, frame: _Frame) -> list[str]:
    """A flag at the upper edge for what happened, its words where they cover neither a flag nor other words; a trip's
    come first."""
    out: list[str] = []
    taken = [(to_x(f.x) - 1.0, to_x(f.x) + 9.0) for f in flags]
    for flag in sorted(flags, key=lambda f: (f.kind != "trip", f.x)):
        at, colour, loud = to_x(flag.x), FLAGS[flag.kind], flag.kind == "trip"
        how = ' stroke-width="2"' if loud else ' stroke-width="1" stroke-dasharray="3 3"'
        out.append(_rule(at, top, at, top + height, f'stroke="{colour}"{how}'))
        points = f"{at:.1f},{top:.1f} {at + 8:.1f},{top + 5:.1f} {at:.1f},{top + 10:.1f}"
        out.append(f'<path d="M{points.replace(" ", "L")}Z" fill="{colour}"/>')
        width = 6.2 * len(flag.words)
        # Near the right edge the words stand on the left of their line.
        left = at + 12.0 + width > frame.left + frame.inner
        begin = at - 4.0 - width if left else at + 12.0
        covers = any(begin < b and a < begin + width for a, b in taken if a != at - 1.0)
        if flag.kind == "step" or (covers and not loud):
            continue
        taken.append((begin, begin + width))
        end = "end" if left else "start"
        out.append(_text(begin + width if left else begin, top + 9, flag.words, colour, end, _SMALL))
    return out


def _stroke(style: str) -> str:
    colour, dash, width = STYLES[style]
    return f'stroke="{colour}" stroke-width="{width}"' + (f' stroke-dasharray="{dash}"' if dash else "")


def _line(series: Series, x: np.ndarray, y: np.ndarray, to_x, to_y, pixels: int) -> list[str]:
    """A line, with its shaded band beneath it where it has one."""
    out = []
    if series.band is not None:
        band, good = np.nan_to_num(np.asarray(series.band, float)), np.isfinite(y)
        # Both edges are thinned at the same points; thinned apart, their points would not belong together.
        keep = np.unique(np.linspace(0, good.sum() - 1, min(int(good.sum()), 300)).astype(int))
        bx, middle, half = x[good][keep], y[good][keep], band[good][keep]
        upper = zip(to_x(bx), to_y(middle + half), strict=True)
        lower = zip(to_x(bx)[::-1], to_y(middle - half)[::-1], strict=True)
        edge = [*upper, *lower]
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in edge)
        out.append(f'<polygon points="{points}" fill="{STYLES[series.style][0]}" fill-opacity="0.14"/>')
    tx, ty = thin(x, y, pixels)
    out.append(f'<path d="{_path(to_x(tx), to_y(ty))}" fill="none" stroke-linejoin="round" {_stroke(series.style)}/>')
    return out


def _names(ends: list[tuple[float, str, str]], top: float, bottom: float, frame: _Frame) -> list[str]:
    """The lines' names: at their right ends, pushed apart where they would cover each other; in a narrow
    picture above the panel."""
    out = []
    if frame.narrow:
        x = 6.0
        for _, label, style in ends:
            out.append(_rule(x, top - 10, x + 18, top - 10, _stroke(style)))
            out.append(_text(x + 22, top - 6, label, STYLES[style][0]))
            x += 34.0 + 6.6 * len(label)
        return out
    # Down from the uppermost, then up again from the lower edge: no name covers another.
    ends, places = sorted(ends), [y for y, _, _ in sorted(ends)]
    for i in range(1, len(places)):
        places[i] = max(places[i], places[i - 1] + 15.0)
    for i in reversed(range(len(places))):
        places[i] = min(places[i], bottom + 8 - 15.0 * (len(places) - 1 - i))
    for (_, label, style), shown in zip(ends, places, strict=True):
        x = frame.left + frame.inner
        out.append(_rule(x + 6, shown - 4, x + 26, shown - 4, _stroke(style)))
        out.append(_text(x + 31, shown, label, STYLES[style][0]))
    return out
