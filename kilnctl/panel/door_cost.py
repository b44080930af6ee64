"""What an open door has cost a run: how long it was open, how far the chamber fell, when it was back, and by the model
what left by it. Pure: fed with one status after the other."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

#: The chamber is back when it is this near to where it was, K.
BACK_K = 1.0
#: Longest time between two statuses that is counted, s.
LONGEST_S = 60.0


@dataclass(frozen=True, slots=True)
class DoorCost:
    """Of the newest opening of a run. `opened_s`: time since its start, s; `open_s`: how long it was or is open, s;
    `from_c`, `lowest_c`: the chamber when it was opened, and its lowest since; `back_s`: when it was back there, s
    after the opening, None if it is not; `lost_j`: what left by the door, by the model."""

    run: str
    opened_s: float
    open_s: float
    from_c: float
    lowest_c: float
    is_open: bool
    back_s: float | None
    lost_j: float
    last_s: float

    def view(self) -> dict:
        """For the page."""
        return {
            "is_open": self.is_open,
            "open_s": self.open_s,
            "fell_k": max(0.0, self.from_c - self.lowest_c),
            "back_s": self.back_s,
            "lost_j": self.lost_j,
        }


def after(cost: DoorCost | None, status: Mapping, before: Mapping | None = None) -> DoorCost | None:
    """The cost with one more status of the service; None where no door was opened in its run. `before`: the status
    before it, of a moment when the chamber had not begun to fall."""
    run, chamber = str(status.get("folder") or ""), status.get("chamber_c")
    if not status.get("running"):
        return cost
    if cost is not None and cost.run != run:
        cost = None
    now, is_open = float(status.get("run_s") or 0.0), bool(status.get("door_open"))
    if cost is None or (is_open and not cost.is_open):
        if not is_open or chamber is None:
            return cost
        was = (before or {}).get("chamber_c") if str((before or {}).get("folder") or "") == run else None
        return DoorCost(run, now, 0.0, chamber if was is None else max(was, chamber), chamber, True, None, 0.0, now)
    dt = min(LONGEST_S, max(0.0, now - cost.last_s))
    if cost.is_open:
        leaves = max(0.0, (status.get("ledger_w") or {}).get("unexplained") or 0.0)
        cost = replace(cost, open_s=cost.open_s + dt, lost_j=cost.lost_j + leaves * dt)
    if chamber is not None and cost.back_s is None:
        cost = replace(cost, lowest_c=min(cost.lowest_c, chamber))
        if not is_open and chamber >= cost.from_c - BACK_K:
            cost = replace(cost, back_s=now - cost.opened_s)
    return replace(cost, is_open=is_open, last_s=now)
