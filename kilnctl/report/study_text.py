"""Studies in words: many draws, the thickness of a layer, settings of the trim."""

import numpy as np

from ..output import METRIC_UNITS, Units
from ..studies.draw import MEASURES, Measure
from ..studies.inputs import INPUTS, WORDS, varied
from ..studies.many_draws import Study
from ..studies.sensitivity import Influence, Spread, influences, spread
from ..studies.thickness import THICKEST_M, Thickness
from ..studies.tuning import EQUAL_K, Setting, suggest

#: Influences below this share, or below twice their standard error, are not mentioned.
WORTH = 0.03


def shown(m: Measure, value: float, units: Units = METRIC_UNITS) -> float:
    """In the unit that people read."""
    if m.name.endswith("_s"):
        return value / 60.0
    if m.name.endswith("_c"):
        return units.degrees(value)
    return units.kelvins(value) if m.name.endswith("_k") else value


def title_of(m: Measure, units: Units = METRIC_UNITS) -> str:
    """A measure's name and the unit that people read."""
    unit = {"°C": units.degree, "K": units.kelvin}.get(m.unit, m.unit)
    return f"{m.words}, {unit}" if unit else m.words


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
    """Names of the inputs that vary and their columns in a row's deviates. Deviates of a fit are independent directions
    of its covariance; "fit 1" is the widest."""
    case = study.case
    names = varied(case.vary, case.fitted is not None)
    columns = [INPUTS.index(n) for n in names]
    labels = [WORDS[n] for n in names]
    if case.fitted is not None:
        n = len(case.fitted.names)
        # eigh sorts in rising order: the last direction is the widest. More than a few directions would need too many
        # draws.
        wide = range(n - 1, max(-1, n - 7), -1)
        columns += [len(INPUTS) + i for i in wide]
        labels += [f"fit {i + 1}" for i in range(len(wide))]
    return tuple(labels), columns


def explained(found: tuple[Influence, ...]) -> str:
    """ "leakage 62 % (more is less), power 20 %": the inputs that matter."""
    told = [i for i in found if i.share > WORTH and i.share > 2.0 * i.error][:4]
    words = [
        f"{i.name} {100 * min(1.0, i.share):.0f} %" + (" (+)" if i.slope > 0.1 else " (−)" if i.slope < -0.1 else "")
        for i in told
    ]
    return ", ".join(words)


def study_text(study: Study, units: Units = METRIC_UNITS) -> str:
    """Distributions, trips, and what explains them."""
    n = len(study.rows)
    out = [
        (
            f"{n} draws: {len(study.good) - len(study.tripped)} ran to the end, {len(study.tripped)} tripped, "
            f"{len(study.failed)} failed"
        ),
        "",
    ]
    out.append(f"{'':38s} {'5 %':>9s} {'50 %':>9s} {'95 %':>9s} {'worst':>9s}  draw")
    for m, s in spreads(study):
        cells = "".join(f" {shown(m, v, units):9.{m.decimals}f}" for v in (s.low, s.middle, s.high, s.worst))
        few = f"  ({s.count} of {n})" if s.count < len(study.good) else ""
        out.append(f"{title_of(m, units):38.38s}{cells}  {s.worst_draw}{few}")
    out += ["", *trips_text(study)]
    told = [(m, explained(ranking(study, m.name))) for m, s in spreads(study)]
    told = [(m, words) for m, words in told if words]
    if told:
        out += [
            (
                "what explains the spread (share of the variance that would go if it were known; + more gives more, − "
                "less):"
            )
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


def thickness_text(t: Thickness, u: Units = METRIC_UNITS) -> str:
    """The answer in the reader's units."""
    reach = u.temperature(t.reach_c)
    out = [f"{'each layer of ' + t.layer:40s} ovens that hold {reach}"]
    out += [f"{u.thickness(thickness):>40} {100 * share:10.1f} %" for thickness, share in t.tried]
    if t.needed_m is None:
        out.append(
            f"\nnot even {u.thickness(THICKEST_M)} do it with {100 * t.confidence:g} % confidence (only "
            f"{100 * t.share:.0f} % of {t.draws} draws): more power is needed, or less is lost elsewhere (door, "
            "bridges, other layers)"
        )
    else:
        now = " and ".join(u.thickness(x) for x in t.now)
        out.append(
            f"\n{u.thickness(t.needed_m)} hold {reach} with {100 * t.confidence:g} % confidence ({100 * t.share:.1f} "
            f"% of {t.draws} draws); the description has {now}"
        )
        face = f"its hot face is then at about {u.temperature(t.hot_c)}, and it bears {u.temperature(t.limit_c)}"
        out.append(
            face if t.borne else f"NOT USABLE: {face}; put more insulation before it, or choose another material"
        )
    return "\n".join(out)


def tuning_text(settings: tuple[Setting, ...], now: float, u: Units = METRIC_UNITS) -> str:
    """The table and the suggestion, in the reader's units."""
    unit = u.kelvin
    chosen = suggest(settings)
    out = [
        (
            f"{'trim':>6s} {'overshoot, ' + unit:>13s} {'soak, ' + unit:>9s} {'restlessness, 1/min':>20s} "
            f"{'lost draws':>11s}   (95 of 100 draws are below)"
        )
    ]
    for s in settings:
        out.append(
            f"{s.trim:6g} {u.kelvins(s.overshoot_k):13.2f} {u.kelvins(s.deviation_k):9.2f} {s.activity:20.3f} "
            f"{100 * s.failed:9.1f} %" + ("   suggested" if s is chosen else "") + ("   now" if s.trim == now else "")
        )
    out.append(
        f"\nsuggested: 'control: {{trim: {chosen.trim:g}}}' — within {u.plain_difference(EQUAL_K)} of the best "
        "control of these, with the calmest duty"
    )
    return "\n".join(out)
