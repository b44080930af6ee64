"""After a power cut: what ran, how long it was out, how far the oven has fallen, and whether to go on. Pure.

Going on needs all of: the schedule says so; the outage was short; its length is known; the control reading is good; and the oven is
where the model says it should be after such an outage. A clock that was set, a door that stood open, or a relay that went on heating
all show as a temperature that does not fit.
"""

import math
from dataclasses import dataclass

from ..model.energy import CHAMBER
from .session import cooled_state

#: Longest outage after which a run may go on, s (a board's clock without battery is trusted no further).
LONGEST_OUTAGE_S = 900.0
#: How far the chamber may be from what the model expects: so much, and so much of the expected fall.
APART_K, APART_SHARE = 8.0, 0.35
#: Saved states are at most this old when the power goes, s: the oven went on being heated for up to so long.
STATE_AGE_S = 12.0


@dataclass(frozen=True)
class Verdict:
    """`go`: the run goes on; `words`: what happened and why, for the record and the person; `outage_s` NaN when nobody knows."""

    go: bool
    words: str
    outage_s: float
    expected_c: float
    reading_c: float


def outage_s(state: dict, boot_id: str, boottime_s: float, wall_s: float) -> float:
    """How long the service was away, s; NaN where no clock can tell. Within one boot the boot's own clock knows, else the wall's."""
    saved = state.get("boottime_s")
    if boot_id and state.get("boot") == boot_id and isinstance(saved, (int, float)) and boottime_s >= saved:
        return float(boottime_s - saved)
    wall = state.get("wall_s")
    if not isinstance(wall, (int, float)) or not math.isfinite(wall) or wall_s < wall:
        return math.nan
    return float(wall_s - wall)


def decide(place: dict | None, policy: str, model, out_s: float, reading_c: float) -> Verdict:
    """Whether the run at `place` goes on. `policy` is the schedule's ("resume" or "stop"), `out_s` from `outage_s`."""
    if place is None:
        return Verdict(
            False,
            "a run was cut off before it had got going, or after a trip; it does not go on",
            out_s,
            math.nan,
            reading_c,
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

    def no(why: str) -> Verdict:
        return Verdict(False, f"{seen}. The run does not go on: {why}", out_s, expected, reading_c)

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
            f"it is {abs(reading_c - expected):.0f} K {'above' if reading_c > expected else 'below'} that, more than the {allowed:.0f} K that "
            "count as the same; a door, a heater that stayed on, or a clock that was set would look like this"
        )
    return Verdict(True, f"{seen}. The run goes on where it was", out_s, expected, reading_c)
