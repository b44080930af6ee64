"""A history for people: a table of runs, what has changed, and a page with the figures over the runs."""

from ..output import METRIC_UNITS, Units, clock
from ..terms import Outcome
from .ageing import History
from .html import aside, document, notice, section, table
from .summary_text import of_soak
from .svg import NARROW, WIDTH, Chart, Series, Subplot, svg

_HEAD = ("run", "schedule", "outcome", "duration", "energy", "overshoot", "highest chamber", "trips")


def _rows(history: History, units: Units) -> list[tuple[str, ...]]:
    return [
        (
            p.started or p.folder.name,
            p.schedule,
            p.summary.outcome + ("" if p.asked or p.summary.outcome != Outcome.FINISHED else ", not as asked"),
            clock(p.summary.duration_s),
            f"{p.summary.energy_kwh:.2f} kWh",
            of_soak(p.summary, p.summary.overshoot_k, units),
            units.temperature(p.summary.highest_chamber_c, 1),
            ", ".join(p.trips) or "–",
        )
        for p in history.runs
    ]


def _compared(history: History) -> list[tuple[str, ...]]:
    return [
        (
            f.figure.title,
            f.figure.shown(f.figure.value),
            f.figure.shown(f.usual),
            str(f.runs),
            f"{100 * f.change:+.1f} %",
            "changed" if f.warning else "as before",
        )
        for f in history.findings
    ]


def _lines(head, rows) -> list[str]:
    widths = [max(len(r[i]) for r in (head, *rows)) for i in range(len(head))]
    return [
        "  ".join(
            c.ljust(w) if i < 2 else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in (head, *rows)
    ]


def history_text(history: History, units: Units = METRIC_UNITS) -> str:
    """For a terminal."""
    count = len(history.runs)
    compared = _compared(history)
    lines = [f"{history.oven}: {count} run{'s' * (count != 1)}{_verdict(history)}", ""]
    lines += [f"WARNING: {w}\n" for w in history.warnings]
    lines += _lines(_HEAD, _rows(history, units))
    if compared:
        lines += [
            "",
            *_lines(("newest run against its past", "now", "usual", "runs", "change", ""), compared),
        ]
    else:
        lines += [
            "",
            "Too few runs alike (same schedule, load and starting temperature) to compare: it takes four.",
        ]
    lines += [f"left out: {text}" for text in history.left_out]
    return "\n".join(lines)


def _verdict(history: History) -> str:
    """The answer to "has the oven changed?", as the end of the first line."""
    if history.warnings:
        return "; it has changed"
    return "; it is as before" if history.findings else ""


def history_page(history: History, units: Units = METRIC_UNITS) -> str:
    """A self-contained HTML page."""
    body = "".join(notice(w, "alarm", "Changed:") for w in history.warnings) or "<p>These runs show no change.</p>"
    body += _pictures(history)
    body += section(
        "The newest figures against their past",
        table(("figure", "now", "usual", "of the first runs", "change", ""), _compared(history)),
    )
    body += section("Runs", table(_HEAD, _rows(history, units), words=(1, 7)))
    body += "".join(notice(text) for text in history.left_out)
    body += aside(
        "Compared are runs of the same schedule with the same load from about the same temperature: power to hold "
        "over the last third of a soak; time to the first soak; rise per kilowatt hour from 20 to 70 % of the way "
        "there; measured power for each commanded share, at rated voltage. Power is measured where current is, else "
        "as commanded (at the measured voltage, where it is). Usual is the median of the first runs."
    )
    return document(f"{history.oven}: its history", body, f"{len(history.runs)} runs")


def _pictures(history: History) -> str:
    kinds = [f for f in history.findings if f.figure.what in ("strength", "hold", "gain")][:3]
    if not kinds:
        return ""
    panels = []
    for finding in kinds:
        points = [
            (i, f.value)
            for i, run in enumerate(history.runs, 1)
            for f in run.figures
            if f.alike == finding.figure.alike
        ]
        x, y = zip(*points, strict=True)
        usual = Series((x[0], x[-1]), (finding.usual,) * 2, "usual", "reference", (3.0 * finding.spread,) * 2)
        panels.append(
            Subplot(f"{finding.figure.title}, {finding.figure.unit}", (usual, Series(x, y, "run", "chamber")))
        )
    out = ""
    for kind, width in (("wide", WIDTH), ("narrow", NARROW)):
        chart = Chart(
            f"{history.oven}: ageing",
            tuple(panels),
            "number of the run",
            False,
            130 + 170 * len(panels),
            width,
        )
        out += f'<div class="{kind}">{svg(chart)}</div>'
    return out
