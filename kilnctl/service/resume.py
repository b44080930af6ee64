"""After a power cut: which run was interrupted, how long the outage was, how far the oven has cooled, and whether the
run goes on. `decide` is pure; `judge` reads the files and the clocks for it.

A run goes on only if its schedule says so, the outage was short and its length is known, the control reading is good,
and the oven is where the model expects it after such an outage. A clock that was set, a door that stood open, or a
relay that went on heating all show as a temperature that does not fit.
"""

import math
import time
from dataclasses import dataclass

from ..errors import KilnctlError
from ..model.energy import CHAMBER
from ..run.prepare import PreparedRun
from ..settings.schedule import load_schedule
from . import operating_system
from .session import cooled_state, prepare
from .view import ServiceView

#: Longest outage after which a run may go on, s (a board's clock without battery is trusted no further).
LONGEST_OUTAGE_S = 900.0
#: How far the chamber may be from what the model expects: this, and this share of the expected fall.
APART_K, APART_SHARE = 8.0, 0.35
#: A saved state is at most this old when the power goes, s: the oven may have been heated for as long after it.
STATE_AGE_S = 12.0


@dataclass(frozen=True)
class ResumeVerdict:
    """`go`: the run goes on; `words`: what happened and why, for the record and the person; `outage_s`: NaN when no
    clock knows it."""

    go: bool
    words: str
    outage_s: float


def outage_s(state: dict, boot_id: str, boottime_s: float, wall_s: float) -> float:
    """How long the service was away, s; NaN where no clock can tell. Within one boot that boot's clock counts, else the
    wall clock."""
    saved = state.get("boottime_s")
    if boot_id and state.get("boot") == boot_id and isinstance(saved, (int, float)) and boottime_s >= saved:
        return float(boottime_s - saved)
    wall = state.get("wall_s")
    if not isinstance(wall, (int, float)) or not math.isfinite(wall) or wall_s < wall:
        return math.nan
    return float(wall_s - wall)


def unfinished(saved: dict) -> dict | None:
    """What was running when the last process ended without an end, or None."""
    run = saved.get("run")
    return run if isinstance(run, dict) and run.get("folder") else None


def judge(service: ServiceView, run: dict) -> tuple[ResumeVerdict, PreparedRun | None]:
    """Whether the interrupted `run` goes on, from the first readings; with its order where it could be prepared. What
    cannot be read stops it, in words."""
    boot_id, boottime = operating_system.boot()
    before_s = float((run.get("place") or {}).get("outage_s", 0.0))
    away_s = outage_s(service.saved, boot_id, boottime, time.time()) + before_s
    reading_c = math.nan if service.chamber_c is None else service.chamber_c

    def stays(why: str) -> tuple[ResumeVerdict, None]:
        return ResumeVerdict(False, f"a run was cut off, and {why}", away_s), None

    if service.oven.sha256 != run.get("oven_sha256"):
        return stays("the oven's description has been changed since: it does not go on")
    try:
        schedule = load_schedule(run.get("schedule") or "")
        if schedule.sha256 != run.get("schedule_sha256"):
            return stays("its schedule has been changed since: it does not go on")
        order = prepare(
            service.oven, schedule, run.get("model") or None, reading_c if math.isfinite(reading_c) else None
        )
    except KilnctlError as error:
        return stays(f"cannot go on: {error}")
    return decide(run.get("place"), schedule.after_power_loss, order.model, away_s, reading_c), order


def decide(place: dict | None, policy: str, model, out_s: float, reading_c: float) -> ResumeVerdict:
    """Whether the run at `place` goes on. `policy` is the schedule's ("resume" or "stop"), `out_s` from `outage_s`."""
    if place is None:
        return ResumeVerdict(
            False,
            "a run was cut off before it had got going, or after a trip; it does not go on",
            out_s,
        )
    then_c = float(place["chamber_c"])
    x = cooled_state(model, place, min(out_s, 4.0 * LONGEST_OUTAGE_S)) if math.isfinite(out_s) else None
    expected = x[CHAMBER] if x is not None else math.nan
    away = (
        f"the power was out for {out_s:.0f} s"
        if math.isfinite(out_s)
        else "the power was out, and no clock knows for how long"
    )
    seen = f"{away}; the chamber was at {then_c:.0f} °C and is at {reading_c:.0f} °C now"
    if math.isfinite(expected):
        seen += f", where the model expects {expected:.0f} °C"

    def no(why: str) -> ResumeVerdict:
        return ResumeVerdict(False, f"{seen}. The run does not go on: {why}", out_s)

    if policy != "resume":
        return no("its schedule says to stop after a power cut")
    if not math.isfinite(out_s):
        return no("how long it was out is not known")
    if out_s > LONGEST_OUTAGE_S:
        return no(f"that is longer than {LONGEST_OUTAGE_S / 60.0:.0f} min")
    if not math.isfinite(reading_c):
        return no("the control sensor gives no reading")
    if x is None:
        return no("what was saved of it does not fit the model")
    last_c = model.step(tuple(place["state_c"]), model.power_w, STATE_AGE_S, model.ambient_c)[CHAMBER]
    allowed = APART_K + APART_SHARE * abs(then_c - expected) + max(0.0, last_c - then_c)
    if abs(reading_c - expected) > allowed:
        return no(
            f"it is {abs(reading_c - expected):.0f} K {'above' if reading_c > expected else 'below'} that, more than "
            f"the {allowed:.0f} K that count as the same; a door, a heater that stayed on, or a clock that was set "
            "would look like this"
        )
    return ResumeVerdict(True, f"{seen}. The run goes on where it was", out_s)
