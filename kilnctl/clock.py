"""The clock that control and safety go by."""

import time

COUNTS_SUSPEND = getattr(time, "CLOCK_BOOTTIME", None)


def passed_s() -> float:
    """Seconds on a clock that only goes forward and cannot be set. Seconds of suspend count where the platform knows
    them (Linux: CLOCK_BOOTTIME); a clock that stands still during suspend would make an hour without control look like
    one tick."""
    return time.clock_gettime(COUNTS_SUSPEND) if COUNTS_SUSPEND is not None else time.monotonic()
