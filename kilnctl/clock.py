"""The clock that control and safety go by."""

import time

_COUNTS_SUSPEND = getattr(time, "CLOCK_BOOTTIME", None)


def passed_s() -> float:
    """Seconds that only go forward and that nobody can set; those in which the computer was suspended count where the platform knows them (Linux:
    CLOCK_BOOTTIME; its monotonic clock stands still meanwhile, and an hour without control would look like a tick)."""
    return time.clock_gettime(_COUNTS_SUSPEND) if _COUNTS_SUSPEND is not None else time.monotonic()
