"""After a power cut: which run was interrupted, how long the outage was, how far the oven has cooled, and whether the
run goes on. `decide` is pure; `judge` reads the files and the clocks for it.

A run goes on only if its schedule says so, the outage was short and its length is known, the control reading is good,
and the oven is where the model expects it after such an outage. A clock that was set, a door that stood open, or a
relay that went on heating all show as a temperature that does not fit. Without a battery, a small computer's clock
restarts at the last saved time. A clock that is not known to be right is believed only if the oven's cooling shows that
the outage was not longer than allowed.
"""

import math
import time
from dataclasses import dataclass

from ..clock import passed_s
from ..errors import KilnctlError
from ..model.energy import CHAMBER, EnergyModel
from ..run.prepare import PreparedRun
from ..settings.schedule import load_schedule
from . import operating_system
from .saved_state import outage_s
from .session import cooled_state, prepare
from .view import ServiceView

#: Longest outage after which a run may go on, s (a board's clock without battery is trusted no further).
LONGEST_OUTAGE_S = 900.0
#: How far the chamber may be from what the model expects: this, K, plus this share of the expected fall.
APART_K, APART_SHARE = 8.0, 0.35
#: Outage lengths, as multiples of the longest, that the cooling must rule out if no clock is known to be right.
LATER = (1.0, 2.0, 4.0, 16.0)
#: A saved state is at most this old when the power fails, s: the oven may have been heated for that long after it.
STATE_AGE_S = 12.0


@dataclass(frozen=True)
class ResumeVerdict:
    """`go`: the run goes on; `words`: what happened and why, for the record and the person; `outage_s`: NaN when no
    clock knows it."""

    go: bool
    words: str
    outage_s: float


def unfinished(saved: dict) -> dict | None:
    """What was running when the last process ended without an end, or None."""
    run = saved.get("run")
    return run if isinstance(run, dict) and run.get("folder") else None


def judge(service: ServiceView, run: dict) -> tuple[ResumeVerdict, PreparedRun | None]:
    """Whether the interrupted `run` goes on, from the first readings; with its order where it could be prepared.
    Anything that cannot be read stops the run, with a reason. Checks that need no preparation come first, because
    preparing takes seconds."""
    saved, (boot_id, boottime_s) = service.saved, operating_system.boot()
    place = run.get("place")
    # The same boot's clock is right by itself; another boot's only where both wall clocks were known to be.
    right = saved.get("boot") == boot_id or (bool(saved.get("clock")) and bool(operating_system.clock_source()))
    began_s = passed_s()
    away_s = outage_s(saved, boot_id, boottime_s, time.time()) + float((place or {}).get("outage_s", 0.0))
    reading_c = math.nan if service.chamber_c is None else service.chamber_c

    def stays(why: str) -> tuple[ResumeVerdict, None]:
        return ResumeVerdict(False, f"a run was cut off, and {why}", away_s), None

    if service.oven.sha256 != run.get("oven_sha256"):
        return stays("the oven's description has been changed since: it does not go on")
    try:
        schedule = load_schedule(run.get("schedule") or "")
        if schedule.sha256 != run.get("schedule_sha256"):
            return stays("its schedule has been changed since: it does not go on")
        early = decide(place, schedule.after_power_loss, None, away_s, reading_c, right)
        if not early.go:
            return early, None
        order = prepare(service.oven, schedule, run.get("model") or None, reading_c)
    except KilnctlError as error:
        return stays(f"cannot go on: {error}")
    away_s += passed_s() - began_s
    return decide(place, schedule.after_power_loss, order.model, away_s, reading_c, right), order


def decide(
    place: dict | None,
    policy: str,
    model: EnergyModel | None,
    out_s: float,
    reading_c: float,
    clock_is_right: bool = True,
) -> ResumeVerdict:
    """Whether the run at `place` goes on. `policy` is the schedule's ("resume" or "stop"), `out_s` from `outage_s`;
    `model`: None before it is prepared; then its checks are left out."""
    if place is None:
        return ResumeVerdict(
            False,
            "a run was cut off before it had got going, or after a trip, or what was saved of it cannot be read; "
            "it does not go on",
            out_s,
        )
    then_c = float(place["chamber_c"])
    known = math.isfinite(out_s)
    x = cooled_state(model, place, min(out_s, 4.0 * LONGEST_OUTAGE_S)) if known and model is not None else None
    expected = x[CHAMBER] if x is not None else math.nan
    # A power cut, or a program that was ended: this process cannot tell them apart, and the oven felt the same.
    away = f"a run was cut off for {out_s:.0f} s" if known else "a run was cut off, and no clock knows for how long"
    seen = f"{away}; the chamber was at {then_c:.0f} °C and is at {reading_c:.0f} °C now"
    if math.isfinite(expected):
        seen += f", where the model expects {expected:.0f} °C"

    def no(why: str) -> ResumeVerdict:
        return ResumeVerdict(False, f"{seen}. The run does not go on: {why}", out_s)

    if policy != "resume":
        return no("its schedule says to stop after a power cut")
    if not known:
        return no("how long that was is not known")
    if out_s > LONGEST_OUTAGE_S:
        return no(f"that is longer than {LONGEST_OUTAGE_S / 60.0:.0f} min")
    if not math.isfinite(reading_c):
        return no("the control sensor gives no reading")
    if model is None:
        return ResumeVerdict(True, seen, out_s)
    if x is None:
        return no("what was saved of it does not fit the model")
    allowed = _allowed_k(model, place, expected)
    if abs(reading_c - expected) > allowed:
        return no(
            f"it is {abs(reading_c - expected):.0f} K {'above' if reading_c > expected else 'below'} that, more than "
            f"the {allowed:.0f} K that count as the same; a door, a heater that stayed on, or a clock that was set "
            "would look like this"
        )
    if not clock_is_right and not _shorter(model, place, reading_c):
        return no(
            "this computer's clock is not known to be right (it has no battery, or was not synchronised), and the oven "
            "could have cooled as little in a much longer time. A person decides: look at the oven and start again"
        )
    return ResumeVerdict(True, f"{seen}. The run goes on where it was", out_s)


def _allowed_k(model: EnergyModel, place: dict, expected_c: float) -> float:
    """How far the chamber may be from where the model expects it, K: the model's uncertainty grows with the fall, and
    the oven may have been heated for a while after the state was saved."""
    then_c = float(place["chamber_c"])
    last_c = model.step(tuple(place["state_c"]), model.power_w, STATE_AGE_S, model.ambient_c)[CHAMBER]
    return APART_K + APART_SHARE * abs(then_c - expected_c) + max(0.0, last_c - then_c)


def _shorter(model: EnergyModel, place: dict, reading_c: float) -> bool:
    """Whether the oven is still so hot that every outage longer than the limit is ruled out: the cooling serves as a
    clock."""
    for times in LATER:
        x = cooled_state(model, place, times * LONGEST_OUTAGE_S)
        if x is None or reading_c - x[CHAMBER] <= _allowed_k(model, place, x[CHAMBER]):
            return False
    return True
