"""The page of evidence of one run: what was asked, what happened, how well, with what settings, and how
far to trust it."""

import csv
import hashlib
import io
import json
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np

from .. import __version__
from ..errors import KilnctlError
from ..output import METRIC_UNITS, Units, clock
from ..record.care import CareDone
from ..record.coarse import coarse, together
from ..record.folder import plain
from ..record.run_data import RunData
from ..run.summary import SETTLED_K, Summary, part_of, sample_s
from .care_section import care_section
from .html import aside, document, facts, figures, folded, notice, section, table
from .run_curves import curves
from .summary_text import of_soak, waited_words
from .verdict import percent, verdict

_PRICE = re.compile(r"([^\d\s./,-]{0,4})\s*(\d{1,6}(?:\.\d{1,6})?)\s*([^\d\s/]{0,12})\s*/\s*kWh", re.IGNORECASE)
#: Tolerance of a new class 2 thermocouple: (K, share of °C). IEC 60584-1, from memory; S, R and B have their own row.
_CLASS_2 = {
    "K": (2.5, 0.0075),
    "N": (2.5, 0.0075),
    "J": (2.5, 0.0075),
    "E": (2.5, 0.0075),
    "T": (1.0, 0.0075),
    "S": (1.5, 0.0025),
    "R": (1.5, 0.0025),
    "B": (1.5, 0.0025),
}


#: How near to a soak's target the part counts as being at it, K.
NEAR_K = 5.0


@dataclass(frozen=True)
class Price:
    """Price of a kilowatt hour, in the user's currency."""

    amount: float
    currency: str
    before: bool

    def of(self, energy_kwh: float) -> str:
        cost = f"{self.amount * energy_kwh:.2f}"
        return f"{self.currency}{cost}" if self.before else f"{cost} {self.currency}".strip()


def parse_price(text: str) -> Price:
    """ "0.30/kWh", "0.30 EUR/kWh" or "€0.30/kWh". Raises KilnctlError."""
    match = _PRICE.fullmatch(text.strip())
    if not match or (match[1] and match[3]):
        raise KilnctlError(f"price '{text}': write for example 0.30/kWh or 0.30 EUR/kWh")
    return Price(float(match[2]), match[1] or match[3], bool(match[1]))


def run_page(
    run: RunData,
    summary: Summary,
    units: Units = METRIC_UNITS,
    price: Price | None = None,
    care: Sequence[CareDone] | None = None,
) -> str:
    """The whole page as HTML text, self-contained; same arguments, same bytes. `care`: what the oven's log says of the
    tests of SAFETY.md."""
    units = Units(units.system).knowing(run.oven, run.schedule)
    parts = [_outcome(run, summary, units), _figures(summary, units, price)]
    if len(run.time_s):
        for kind in ("wide", "narrow"):
            parts.append(f'<div class="{kind}">{curves(run, summary, units, narrow=kind == "narrow")}</div>')
    parts += [
        section("Soaks", _soaks(run, summary, units)),
        section("The part", _part(run, summary, units)),
        section("Energy", _energy(summary, price)),
        section("What happened", _events(run, units)),
        section("Sensors", _sensors(run, units)),
        section("Tests of SAFETY.md", care_section(run, care)),
        section("Settings, model and record", _origin(run)),
    ]
    parts.append(
        aside(
            "This page shows what was measured or computed. It does not say that a product meets its specification: "
            "that is for the product's own data sheet and for calibrated instruments. A record is no safety device."
        )
    )
    return document(f"{run.schedule.name} · {run.oven.name}", "".join(parts), run.schedule.about or "")


def _outcome(run: RunData, summary: Summary, units: Units) -> str:
    found = verdict(run, summary, units)
    words = f"{found.words[0].upper()}{found.words[1:]}."
    lead = f"<p>{escape(words)}</p>" if found.good else notice(words)
    if run.started:
        lead += f"<p>{escape(f'Started {run.started}.')}</p>"
    elif run.rig in ("", "virtual"):
        lead += "<p>A rehearsal on a virtual oven: nothing was heated.</p>"
    trips = "".join(
        notice(
            units.words(" ".join(t.lines)),
            "alarm",
            f"Trip at {clock(t.time_s)}: {t.fault}.",
        )
        for t in run.trips
    )
    return lead + trips


def _figures(s: Summary, units: Units, price: Price | None) -> str:
    shown = [
        ("duration", clock(s.duration_s)),
        ("overshoot", of_soak(s, s.overshoot_k, units)),
        ("highest chamber", units.temperature(s.highest_chamber_c, 1)),
        ("highest part", units.temperature(s.highest_part_c, 1)),
        ("energy", f"{s.energy_kwh:.2f} kWh"),
    ]
    if s.cure_share is not None:
        least = "" if s.cure_most is None else "at least "
        shown.insert(4, ("of the reference cure", f"{least}{percent(s.cure_share)}"))
    if price is not None:
        shown.append(("cost", price.of(s.energy_kwh)))
    return figures(shown)


def _soaks(run: RunData, s: Summary, units: Units) -> str:
    band = units.plain_difference(SETTLED_K)
    rows = [
        (
            x.name,
            units.temperature(x.target_c),
            clock(x.arrived_s),
            clock(x.settled_s),
            clock(x.end_s),
            units.difference(x.worst_k),
            units.difference(x.rms_k),
        )
        for x in s.soaks
    ]
    shown = table(("soak", "target", "reached", "settled", "until", "worst", "rms"), rows)
    if not shown:
        return "<p>This schedule has no soak.</p>"
    never = [x.name for x in s.soaks if not math.isfinite(x.arrived_s)]
    told = notice(f"Never reached: {', '.join(never)}.") if never else ""
    how = (
        f"Judged by {s.measured_on}. Reached: first inside the step's own band. Settled: inside ±{band} for a minute; "
        "worst and rms deviation from the target count from there to the end of the soak."
    )
    return shown + told + aside(how)


def _part(run: RunData, s: Summary, units: Units) -> str:
    run = coarse(run)
    part, spread, what = part_of(run)
    if not np.isfinite(part).any():
        return ""
    rows = []
    for soak in s.soaks:
        inside = (run.time_s >= soak.arrived_s) & (run.time_s <= soak.end_s) & np.isfinite(part)
        if inside.any():
            first, last = np.flatnonzero(inside)[[0, -1]]
            sd = "–" if spread is None else "± " + units.difference(2.0 * float(spread[last]))
            near = np.sum(inside & (np.abs(part - soak.target_c) <= NEAR_K)) * sample_s(run.time_s)
            rows.append(
                (
                    soak.name,
                    units.temperature(float(part[first]), 1),
                    units.temperature(float(part[last]), 1),
                    sd,
                    clock(float(near)),
                )
            )
    out = table(
        (
            "soak",
            "part at its start",
            "at its end",
            "uncertainty (2 sd)",
            f"within {units.plain_difference(NEAR_K)} of the target",
        ),
        rows,
    )
    out += aside(f"The temperature is that of {_source(run, what)}.")
    out += "".join(notice(f"{words}.") for words in waited_words(s))
    cure = run.schedule.cure
    if cure is not None and s.cure_share is not None:
        least = "" if s.cure_most is None else "at least "
        around = (
            ""
            if s.cure_most is None
            else f" (by the lower edge of the estimate; at most {percent(s.cure_most)}, by its upper edge)"
        )
        out += (
            f"<p>The part got <strong>{least}{percent(s.cure_share)}</strong> of the reference cure{around}: as "
            f"much as {clock(s.cure_share * cure.time_s)} at {units.temperature(cure.at_c)}, where "
            f"{clock(cure.time_s)} is a full one.</p>"
        )
        out += aside(
            f"Time at temperature, weighted by exp(−E/R·(1/T − 1/T₀)) with E = {cure.activation_j_per_mol / 1000:g} "
            "kJ/mol (Arrhenius). A cure beyond 100 % is not a better one; the coating's or compound's own data sheet "
            "decides."
        )
        if s.cure_share < 1.0:
            out += notice("Less than the reference cure.")
    return out


def _source(run: RunData, what: str) -> str:
    if what == "part":
        return "the virtual part's surface, which only a virtual oven can know"
    if what == "part, estimate":
        return "the middle of the model's estimate, with its band; no sensor was on the part, and its lower edge counts"
    sensor = run.oven.sensors.part if run.oven.sensors else None
    kelvin, share = _CLASS_2.get(sensor.type if sensor else "K", (2.5, 0.0075))
    return (
        f"a thermocouple on the part; a new one of class 2 is right within ±{kelvin:g} K or ±{100 * share:g} % of the "
        "reading in °C, whichever is more (IEC 60584-1), and a badly fixed one is far worse"
    )


def _energy(s: Summary, price: Price | None) -> str:
    hours = s.duration_s / 3600.0
    pairs = [
        ("used", f"{s.energy_kwh:.2f} kWh"),
        ("mean power", f"{1000.0 * s.energy_kwh / hours:.0f} W" if hours else "–"),
        (
            "switching",
            f"{s.switchings_per_h:.0f} an hour (changes of more than half the power between samples)",
        ),
    ]
    if price is not None:
        pairs.insert(1, ("cost", f"{price.of(s.energy_kwh)} at {price.of(1.0)} for 1 kWh"))
    if not s.power_by:
        return facts(pairs)
    pairs.append(("known by", s.power_by))
    measured = s.power_by.startswith("measured")
    return facts(pairs) + aside(
        "Counted by the controller's own meters, not by a billing meter."
        if measured
        else "A commanded cycle is no proof of heat: only a current meter shows what flowed."
    )


def _events(run: RunData, units: Units) -> str:
    return table(
        ("time", "kind", "what"),
        [(clock(e.time_s), e.kind, units.words(e.text)) for e in run.events if e.kind not in ("start", "end")],
        words=(1, 2),
    )


def _sensors(run: RunData, units: Units) -> str:
    sensors = run.oven.sensors
    if sensors is None:
        return ""
    rows, bare = [], []
    for name, sensor in (("control", sensors.control), ("limit", sensors.limit), ("part", sensors.part)):
        if sensor is None:
            continue
        points = "; ".join(
            f"reads {units.temperature(p.reads_c, 1)} at {units.temperature(p.true_c, 1)}" for p in sensor.calibration
        )
        rows.append(
            (
                name,
                f"type {sensor.type}",
                sensor.front_end,
                points or "none entered",
                Path(sensor.file).name if sensor.file else "–",
            )
        )
        if not points:
            bare.append(name)
    shown = table(("sensor", "thermocouple", "converter", "calibration", "certificate"), rows, words=(1, 2, 3, 4))
    if bare:
        shown += aside(
            f"Without a calibration entered ({', '.join(bare)}): the readings are as good as the thermocouple and "
            "converter are."
        )
    return shown


def model_checksum(model) -> str:
    """SHA-256 of a model's parameters as sorted JSON; the same for a model and for its copy in run.json."""
    return hashlib.sha256(json.dumps(plain(model), sort_keys=True).encode()).hexdigest()


def _origin(run: RunData) -> str:
    pairs = [
        (f"{what} file", f"{Path(x.file).name or x.name} · sha256 {x.sha256}") if x.sha256 else (what, x.name)
        for what, x in (("oven", run.oven), ("schedule", run.schedule))
    ]
    pairs += [
        ("controller", run.controller),
        ("program", f"kilnctl {run.version or __version__}"),
    ]
    if run.seed is not None:
        pairs.append(("seed of the virtual oven", str(run.seed)))
    between_s = np.diff(run.time_s)
    count = len(run.data["time_s"])
    every = float(np.median(between_s)) if count > 1 else math.nan
    gaps = int(np.sum(between_s > 3.0 * every)) if count > 1 else 0
    pairs.append(("samples", f"{count}, one every {every:g} s, {gaps or 'no'} gap{'' if gaps == 1 else 's'}"))
    if (times := together(run)) > 1:
        pairs.append(("soaks and pictures", f"of means over {times} samples"))
    model = plain(run.model) if run.model is not None else None
    if isinstance(model, dict):
        pairs.append(("model", " · ".join(w for w in (run.model_words, f"sha256 {model_checksum(model)}") if w)))
    if run.lesson:
        pairs.append(("what it taught the model", run.lesson))
    told = "".join(notice(p[0].upper() + p[1:] + ".") for p in run.problems)
    if not isinstance(model, dict):
        return facts(pairs) + told
    values = [(name, _value(value)) for name, value in model.items()]
    return facts(pairs) + told + folded("The model's parameters", facts(values))


def _value(value) -> str:
    if isinstance(value, (list, tuple)):
        return ", ".join(_value(v) for v in value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def run_csv(run: RunData, s: Summary, price: Price | None = None) -> str:
    """The figures as CSV text: what, value, unit; times in s, temperatures in °C."""
    text = io.StringIO()
    write = csv.writer(text, lineterminator="\n").writerow
    write(("what", "value", "unit"))

    def put(what: str, value, unit: str, decimals: int = 3) -> None:
        if value is not None and not (isinstance(value, float) and not math.isfinite(value)):
            write((what, f"{value:.{decimals}f}" if isinstance(value, float) else value, unit))

    put("outcome", run.outcome, "")
    put("duration", s.duration_s, "s", 1)
    for x in s.soaks:
        for what, value, unit in (
            ("target", x.target_c, "°C"),
            ("reached", x.arrived_s, "s"),
            ("settled", x.settled_s, "s"),
            ("end", x.end_s, "s"),
            ("worst deviation", x.worst_k, "K"),
            ("rms deviation", x.rms_k, "K"),
        ):
            put(f"{x.name}: {what}", value, unit)
    put("overshoot", s.overshoot_k, "K")
    put("energy", s.energy_kwh, "kWh", 4)
    put("energy known by", s.power_by, "")
    if price is not None:
        put("cost", price.amount * s.energy_kwh, price.currency)
    put("highest chamber", s.highest_chamber_c, "°C")
    put("highest part", s.highest_part_c, "°C")
    put("share of the reference cure", s.cure_share, "1", 4)
    put("the same by the upper edge of the estimate", s.cure_most, "1", 4)
    for t in run.trips:
        put(f"trip {t.fault}", float(t.time_s), "s", 1)
    return text.getvalue()
