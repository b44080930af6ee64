"""Whether a run did what its schedule asks, in one sentence: the first line of what is told about it."""

import math
from dataclasses import dataclass

from ..output import METRIC_UNITS, Units, clock
from ..record.run_data import RunData
from ..run.summary import Soak, Summary
from ..terms import SKIP, Outcome

_ENDS: dict[str, str] = {
    Outcome.TRIPPED: "a trip ended it",
    Outcome.STOPPED: "a person stopped it",
    Outcome.INTERRUPTED: "a person interrupted it",
    Outcome.LOST: "the hardware was gone",
}
#: For any other end.
_NO_ENDING = "the record has no ending: the program or the power went away, or it still runs"


@dataclass(frozen=True)
class RunVerdict:
    """`good`: it came to its end, with every step done, every soak in its band and a full cure where one was asked;
    `words`: a sentence without its full stop."""

    good: bool
    words: str


def verdict(run: RunData, summary: Summary, units: Units = METRIC_UNITS) -> RunVerdict:
    """How a run went, from what was measured or computed. A product's own data sheet decides about the product."""
    short = [*_cure(summary), *_soaks(run, summary, units), *_skipped(run)]
    if run.outcome != Outcome.FINISHED:
        return RunVerdict(False, "; ".join([f"not finished: {_ENDS.get(run.outcome, _NO_ENDING)}", *short]))
    if short:
        return RunVerdict(False, "; ".join(["it ran to its end, but not as asked", *short]))
    return RunVerdict(True, "; ".join([f"as asked: {_done(summary)}", *_past(run, summary, units)]))


def _done(s: Summary) -> str:
    said = []
    if s.soaks:
        said.append("every soak kept to its band" if len(s.soaks) > 1 else "the soak kept to its band")
    if s.cure_share is not None:
        said.append(f"the part got {_share(s)} of the reference cure")
    return ", ".join(said) if said else "it ran to its end"


def _cure(s: Summary) -> list[str]:
    if s.cure_share is None or s.cure_share >= 1.0:
        return []
    if s.cure_most is not None and s.cure_most >= 1.0:
        return [f"whether the part is cured is not known ({_share(s)} of the reference cure, by an estimate)"]
    return [f"NOT CURED: the part got {_share(s)} of the reference cure"]


def _share(s: Summary) -> str:
    assert s.cure_share is not None
    least = percent(s.cure_share)
    return least if s.cure_most is None else f"{least} to {percent(s.cure_most)}"


def percent(share: float) -> str:
    """A share of the reference cure, rounded down: less than a full cure is never told as 100 %."""
    return f"{math.floor(100.0 * share):d} %"


def _soaks(run: RunData, s: Summary, units: Units) -> list[str]:
    bands_k = [step.within_k for step in run.schedule.steps if step.hold_s > 0.0]
    said = []
    for soak, within_k in zip(s.soaks, bands_k, strict=False):
        if not math.isfinite(soak.arrived_s):
            said.append(f"{_named(soak, units)} was not reached")
        elif not math.isfinite(soak.worst_k):
            said.append(f"{_named(soak, units)} was not measured all the time")
        elif abs(soak.worst_k) > within_k:
            said.append(
                f"{_named(soak, units)} was {units.difference(soak.worst_k)} off at worst, "
                f"{units.difference(within_k)} was asked"
            )
    return said


def _past(run: RunData, s: Summary, units: Units) -> list[str]:
    """Landings beyond the band. The time of a soak counts in its band alone, so it still is as asked."""
    bands_k = [step.within_k for step in run.schedule.steps if step.hold_s > 0.0]
    return [
        f"but {_named(soak, units)} was {units.difference(soak.past_k)} past its target before it settled"
        for soak, within_k in zip(s.soaks, bands_k, strict=False)
        if abs(soak.past_k) > within_k
    ]


def _skipped(run: RunData) -> list[str]:
    """A step that a person ended early: a soak in its band may have been a short one."""
    at_s = [e.time_s for e in run.events if e.kind == "request" and e.text.startswith(str(SKIP))]
    return [f"a person skipped to the next step at {', '.join(clock(t) for t in at_s)}"] if at_s else []


def _named(soak: Soak, units: Units) -> str:
    return f"'{soak.name}' at {units.temperature(soak.target_c)}"
