"""A run that was cut off: what it was, and whether it goes on, judged by the service's first readings."""

import math
import time

from ..errors import KilnctlError
from ..run.prepare import PreparedRun
from ..settings.schedule import load_schedule
from . import operating_system, resume
from .session import prepare


def unfinished(saved: dict) -> dict | None:
    """What was running when the last process ended without an end, or None."""
    run = saved.get("run")
    return run if isinstance(run, dict) and run.get("folder") else None


def judge_resume(service, run: dict) -> tuple[resume.Verdict, PreparedRun | None]:
    """Whether the run that was cut off goes on, from the first readings. Raises nothing; what cannot be read stops it, in words."""
    boot_id, boottime = operating_system.boot()
    away = resume.outage_s(service.saved_before, boot_id, boottime, time.time()) + float(
        (run.get("place") or {}).get("outage_s", 0.0)
    )
    # As the status says it: nothing where safety does not trust the reading.
    seen = service.snapshot.get("chamber_c")
    reading = math.nan if seen is None else seen
    nothing = lambda why: (resume.Verdict(False, why, away, math.nan, reading), None)
    if service.oven.sha256 != run.get("oven_sha256"):
        return nothing("a run was cut off, and the oven's description has been changed since: it does not go on")
    try:
        schedule = load_schedule(run.get("schedule") or "")
        if schedule.sha256 != run.get("schedule_sha256"):
            return nothing("a run was cut off, and its schedule has been changed since: it does not go on")
        order = prepare(service.oven, schedule, run.get("model") or None, reading if math.isfinite(reading) else None)
    except KilnctlError as error:
        return nothing(f"a run was cut off, and cannot go on: {error}")
    return resume.decide(run.get("place"), schedule.after_power_loss, order.model, away, reading), order
